"""Times and dates of receiver sentences, over midnights and nights between days of work."""

from __future__ import annotations

from datetime import date

import numpy as np

from evenacre.io.common.years import YEARS
from evenacre.io.logs.formats.nmea.sentences import Sentences
from evenacre.model import FloatArray, IntArray

_DAY_S = 86400.0


def second_of_day(hhmmss: FloatArray) -> FloatArray:
    """Seconds since midnight of times written as hhmmss.sss; NaN for what is none."""
    whole = np.floor(hhmmss)
    hours, minutes, seconds = whole // 10_000, whole // 100 % 100, hhmmss - whole // 100 * 100
    good = (hhmmss >= 0) & (hours < 24) & (minutes < 60) & (seconds < 61)
    # Receivers write no finer than thousandths: rounding takes off what the sum of floats adds.
    return np.where(good, np.round(hours * 3600 + minutes * 60 + seconds, 6), np.nan)


def date_times(
    place: IntArray, second: FloatArray, kinds: dict[str, Sentences], day: date | None
) -> tuple[FloatArray, bool]:
    """Put sentences on one clock, from their times of day and the dates told between them.

    Parameters
    ----------
    place : (n,) int
        Where in the file each stands, growing.
    second : (n,) float
        Seconds since midnight.
    kinds : dict of str to Sentences
        RMC and ZDA tell dates.
    day : datetime.date or None
        Date of the first sentence, for logs that tell none.

    Returns
    -------
    time_s : (n,) float
        Seconds since 1970-01-01 UTC, or since the first midnight when no date is known.
    dated : bool
    """
    known_place, known_s = _known_dates(kinds)
    both = np.concatenate([second, known_s % _DAY_S])
    order = np.argsort(np.concatenate([place, known_place]), kind="stable")
    running = np.empty(len(both))
    running[order] = _past_midnights(both[order])
    running_s, known_running_s = running[: len(second)], running[len(second) :]
    if not len(known_place):
        first = 0.0 if day is None else (day - date(1970, 1, 1)).days * _DAY_S
        return running_s + first, day is not None
    # Of the dates before and behind, the one told nearer in time: a night between two days of
    # work shows in neither the times of day nor their order.
    after = np.searchsorted(known_place, place).clip(max=len(known_place) - 1)
    before = (np.searchsorted(known_place, place, side="right") - 1).clip(min=0)
    to_after = np.abs(known_running_s[after] - running_s)
    told = np.where(to_after < np.abs(known_running_s[before] - running_s), after, before)
    days = np.round((known_s - known_running_s)[told] / _DAY_S)
    return running_s + days * _DAY_S, True


def _past_midnights(second: FloatArray) -> FloatArray:
    """Let times of day run on over midnight."""
    return second - np.cumsum(np.round(np.diff(second, prepend=second[:1]) / _DAY_S)) * _DAY_S


def _known_dates(kinds: dict[str, Sentences]) -> tuple[IntArray, FloatArray]:
    """Sentences that tell a date: where they stand and their time since 1970."""
    rmc, zda = kinds["RMC"], kinds["ZDA"]
    written = rmc.numbers(9)
    day, month, year = written // 10_000, written // 100 % 100, written % 100
    # Satellite positioning is younger than 1980, so two digits are enough.
    rmc_s = _midnight(day, month, np.where(year < 80, 2000 + year, 1900 + year))
    rmc_s += second_of_day(rmc.numbers(1))
    zda_s = _midnight(zda.numbers(2), zda.numbers(3), zda.numbers(4))
    zda_s += second_of_day(zda.numbers(1))
    sure = np.isfinite(rmc_s) & (rmc.letters(2) == "A")
    if not sure.any() and not np.isfinite(zda_s).any():
        sure = np.isfinite(rmc_s)  # a receiver without a fix may still keep its clock
    place = np.concatenate([rmc.place[sure], zda.place[np.isfinite(zda_s)]])
    known = np.concatenate([rmc_s[sure], zda_s[np.isfinite(zda_s)]])
    order = np.argsort(place)
    return place[order], known[order]


def _midnight(day: FloatArray, month: FloatArray, year: FloatArray) -> FloatArray:
    """Seconds from 1970 to the midnight that begins a day; NaN for what is no date."""
    good = (day >= 1) & (day <= 31) & (month >= 1) & (month <= 12)
    good &= (year >= 1980) & (year <= YEARS[1]) & (year % 1 == 0) & (month % 1 == 0)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + np.where(good, day - 1, 0).astype("timedelta64[D]")
    good &= days.astype("datetime64[M]") == months
    return np.where(good, days.astype(np.int64) * _DAY_S, np.nan)
