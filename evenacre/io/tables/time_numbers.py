"""Times written as numbers: days of spreadsheets, digits without marks."""

from __future__ import annotations

import numpy as np

from evenacre.io.common.years import days_since_1970
from evenacre.model import FloatArray

SPREADSHEET_DAYS = (20_000.0, 80_000.0)
"""Days since 1899-12-30, as spreadsheets count them, from 1954 to 2119."""
_DAY_S = 86400.0


def are_spreadsheet_days(known: FloatArray) -> bool:
    """Tell days with parts of them from seconds: a log's are close together, but for few days."""
    low, high = SPREADSHEET_DAYS
    apart = np.diff(np.unique(known))
    inside = low < known.min() and known.max() < high
    return bool(inside and apart.size and (known % 1 > 0).any() and np.median(apart) < 0.005)


def written_out(values: FloatArray) -> FloatArray | None:
    """Seconds since 1970 of numbers such as 20190505041904; None when they are no such numbers."""
    known = values[np.isfinite(values)]
    if known.min() < 1970_01_01_00_00 or known.max() > 2100_12_31_23_59_59:
        return None
    if known.max() < 2100_12_31_23_59 + 1:
        values = values * 100  # without seconds
    day, clock = np.divmod(values, 1_000_000)
    days = days_since_1970(day // 10_000, day // 100 % 100, day % 100)
    seconds = second_of_day(clock, sure=True)
    if seconds is None or (np.isnan(days) & np.isfinite(values)).any():
        return None
    return np.asarray(days * _DAY_S + seconds)


def second_of_day(values: FloatArray, *, sure: bool) -> FloatArray | None:
    """Seconds since midnight of numbers such as 41904; None when they are no such numbers.

    Parameters
    ----------
    sure : bool
        False when they may as well be a count of seconds, which would run through 60 to 99.
    """
    known = values[np.isfinite(values)]
    good = (known % 100 < 60) & (known // 100 % 100 < 60) & (known >= 0) & (known < 240_000)
    if not good.all():
        return None
    many = len(np.unique(known // 100)) >= 3 and len(np.unique(known % 100)) >= 30
    if not (sure or (many and known.max() >= 10_000)):
        return None
    return np.asarray(values // 10_000 * 3600 + values // 100 % 100 * 60 + values % 100)
