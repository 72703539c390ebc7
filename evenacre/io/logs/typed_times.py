"""Times that people write beside a log: when a row plugged, when a load was weighed."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import pandas as pd
import pyarrow as pa

from evenacre.io.common.findings import Findings
from evenacre.io.common.time_zones import localised, zone_of
from evenacre.io.common.years import THESE_YEARS, other_years
from evenacre.io.logs.columns.time_parsing import read_time_texts
from evenacre.model import UNDATED_S, FloatArray, Track

_MILLISECONDS = 1e11
_HAS_CLOCK = re.compile(r"\d:\d\d")


def seconds_of(texts: list[str], date: str, time_zone: str | None) -> FloatArray:
    """Return times on the clock that tracks use; NaN where a text is none of this age.

    Times with a zone go to UTC; those without are of ``time_zone`` when it is known, else
    they stay on the machine's own clock. A time of day alone is of ``date``.
    """
    numbers = pd.to_numeric(pd.Series(texts, dtype=str), errors="coerce").to_numpy(dtype=float)
    seconds = np.where(numbers >= _MILLISECONDS, numbers / 1000, numbers)
    words = np.isnan(numbers)
    if words.any():
        chosen = [texts[i] for i in np.flatnonzero(words)]
        clock_only = [bool(date) and bool(re.match(r"\d{1,2}:", t.strip())) for t in chosen]
        dated = [f"{date} {t}" if c else t for t, c in zip(chosen, clock_only, strict=True)]
        seconds[words] = _words(dated, time_zone)
    return np.where(other_years(seconds), np.nan, seconds)


def not_read(text: str) -> str:
    """Say of a text that `seconds_of` found to be none what is wrong with it."""
    years = f" {THESE_YEARS}" if re.search(r"\d", text) else ""
    return f'"{text}" is not a time{years}.'


def _words(texts: list[str], time_zone: str | None) -> FloatArray:
    times = [t if _HAS_CLOCK.search(t) else None for t in texts]
    read = read_time_texts(pa.array(times, pa.string()))
    zone = zone_of(time_zone)
    wall_s = np.where(other_years(read.wall_s), np.nan, read.wall_s)
    if zone is None or not read.dated:
        return np.asarray(wall_s - np.nan_to_num(read.offset_s))
    utc = localised(wall_s, zone, Findings(), "")
    return np.where(np.isnan(read.offset_s), utc, wall_s - read.offset_s)


def time_span(tracks: Sequence[Track]) -> tuple[float, float] | None:
    """First and last time of some tracks; None when they hold none."""
    times = [t.time_s[np.isfinite(t.time_s)] for t in tracks]
    times = [t for t in times if len(t)]
    return (min(t.min() for t in times), max(t.max() for t in times)) if times else None


def on_undated_clock(span: tuple[float, float], times_s: Sequence[float]) -> bool:
    """Tell whether a log gives the time of day only, and all these times a date too."""
    return span[1] < UNDATED_S and all(t > UNDATED_S for t in times_s)


def time_of_day(time_s: float, time_zone: str | None) -> float:
    """Seconds since midnight."""
    stamp = pd.Timestamp(time_s, unit="s", tz="UTC")
    wall = stamp.tz_convert(zone_of(time_zone) or "UTC").tz_localize(None)
    return float((wall - wall.normalize()).total_seconds())
