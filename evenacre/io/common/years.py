"""The years that a farm's logs and papers can be of; any other is a slip or damage."""

from __future__ import annotations

import datetime as dt

import numpy as np

from evenacre.language import tr
from evenacre.model import BoolArray, FloatArray

YEARS = (1970, 2100)
"""First and last."""
THESE_YEARS = "between 1970 and 2100"

_GRACE = dt.timedelta(days=1)  # for time zones
_FIRST_S, _LAST_S = (
    (moment - dt.datetime(1970, 1, 1)).total_seconds()
    for moment in (dt.datetime(YEARS[0], 1, 1) - _GRACE, dt.datetime(YEARS[1] + 1, 1, 1) + _GRACE)
)


def other_years(time_s: FloatArray) -> BoolArray:
    """Tell which times are of no such year; unknown ones (NaN) are not told.

    Parameters
    ----------
    time_s : (n,) float
        Seconds since 1970-01-01, on any clock on earth.
    """
    return np.asarray((time_s < _FIRST_S) | (time_s > _LAST_S), dtype=bool)


def days_since_1970(year: FloatArray, month: FloatArray, day: FloatArray) -> FloatArray:
    """Days from 1970-01-01 to some dates; NaN for what is none, such as 31 April."""
    good = (year >= 1) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    good &= (year % 1 == 0) & (month % 1 == 0)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + (np.where(good, day, 1) - 1).astype("timedelta64[D]")
    good &= days.astype("datetime64[M]") == months
    return np.where(good, days.astype(np.int64), np.nan)


def read_day(text: str) -> dt.date:
    """Read an ISO date of such a year.

    Raises
    ------
    ValueError
        With what is wrong, for a person to read.
    """
    try:
        day = dt.date.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(tr('"{said}" is not a date.', said=text)) from None
    check_day(day)
    return day


def check_day(day: dt.date) -> None:
    """Refuse a day of another year, as :func:`read_day` does."""
    if not YEARS[0] <= day.year <= YEARS[1]:
        raise ValueError(
            tr('"{day}" is not a date {these_years}.', day=day, these_years=THESE_YEARS)
        )
