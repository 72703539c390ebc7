"""Dates and times written as text: columns of them in bulk, and those typed beside a log."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from evenacre.io.common.arrow_arrays import bools, floats
from evenacre.io.common.findings import Findings
from evenacre.io.common.time_zones import localised, zone_of
from evenacre.io.common.years import THESE_YEARS, days_since_1970, other_years
from evenacre.language import tr
from evenacre.model import UNDATED_S, FloatArray, Track

_CLOCK = (
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{1,2}(?:[.,]\d+)?))?"
    r"\s*(?P<half>[AaPp])?(?:\.?[Mm]\.?)?\s*(?P<zone>[A-Za-z]{1,5}|[+-]\d{2}:?\d{2}|[+-]\d{2})?$"
)
_DAY = r"^(?P<one>\d{1,4})(?P<mark>[-/.])(?P<two>\d{1,2})[-/.](?P<three>\d{1,4})"
_DAY_AND_CLOCK = _DAY + r"(?:[T\s,]+" + _CLOCK[:-1] + r")?$"
# ISO 8601 without marks, with seconds
_COMPACT = r"^(\d{4})(\d{2})(\d{2})[T ]?(\d{2})(\d{2})(\d{2}(?:\.\d+)?)(Z?)$"
_FARTHEST_S = 15 * 3600.0  # from UTC, more than any place on earth
_LONGEST = 80  # characters of a time
_TRIED = 1000
_UTC_NAMES = ("Z", "UTC", "GMT")
_MILLISECONDS = 1e11
_HAS_CLOCK = re.compile(r"\d:\d\d")


@dataclass(frozen=True)
class TimeTexts:
    """What a column of times says."""

    # (n,) Seconds since 1970-01-01 on the clock that wrote them; NaN where unreadable or empty.
    # Since midnight when ``dated`` is False.
    wall_s: FloatArray
    offset_s: FloatArray  # (n,) how far that clock is ahead of UTC; NaN where the text does not say
    dated: bool  # True when the texts hold dates
    # How dates such as 5/4/2019 were read; None when there was nothing to choose
    day_first: bool | None
    sure: bool  # False when both readings were possible and the choice was a guess
    letters: str  # letters of a zone that were passed over, such as ``CDT``


def read_time_texts(texts: pa.Array) -> TimeTexts:
    """Read ISO 8601 and everyday spellings such as ``5/5/2019 4:19:04 AM``.

    Parameters
    ----------
    texts : (n,) pyarrow string array
        Null where empty.
    """
    short = pc.less_equal(pc.utf8_length(texts), _LONGEST)
    texts = pc.if_else(short, texts, pa.scalar(None, pa.string()))
    distinct = pc.dictionary_encode(texts)  # many fixes share a second
    codes = pc.fill_null(distinct.indices, -1).to_numpy(zero_copy_only=False)
    read = _read_distinct(distinct.dictionary)
    wall_s, offset_s = (np.append(part, np.nan)[codes] for part in (read.wall_s, read.offset_s))
    return replace(read, wall_s=wall_s, offset_s=offset_s)


def _read_distinct(texts: pa.Array) -> TimeTexts:
    if len(texts) and re.match(_COMPACT, texts[0].as_py() or ""):
        texts = pc.replace_substring_regex(texts, _COMPACT, r"\1-\2-\3 \4:\5:\6\7")
    if (quick := _plain_iso(texts)) is not None:
        return quick
    dated = pc.extract_regex(texts, _DAY_AND_CLOCK)
    undated = pc.extract_regex(texts[:1000], "^" + _CLOCK)
    if undated.null_count < dated[:1000].null_count:
        undated = pc.extract_regex(texts, "^" + _CLOCK)
        second, offset, letters = _clock(undated)
        return TimeTexts(second, offset, False, None, True, letters)
    second, offset, letters = _clock(dated)
    day, day_first, sure = _day(dated)
    wall = day * 86400.0 + second
    unread = np.isnan(wall)
    if unread.mean() > 0.5:
        wall, offset = _other_spellings(texts)
    return TimeTexts(wall, offset, True, day_first, sure, letters)


def _plain_iso(texts: pa.Array) -> TimeTexts | None:
    """Read texts that are all ISO, all in UTC or all without a zone; None for any other."""
    zulu = pc.ends_with(texts, "Z")
    offset = 0.0 if len(texts) and zulu[0].as_py() else np.nan
    if offset == 0.0:
        if not pc.all(zulu).as_py():
            return None
        texts = pc.utf8_slice_codeunits(texts, 0, -1)
    try:
        stamps = pc.cast(pc.cast(texts, pa.timestamp("us")), pa.int64())
    except pa.ArrowInvalid:
        return None
    wall = stamps.to_numpy(zero_copy_only=False) * 1e-6
    return TimeTexts(wall, np.full(len(wall), offset), True, None, True, "")


def _number(parts: pa.Array, name: str) -> FloatArray:
    cells = pc.struct_field(parts, name)
    cells = pc.if_else(pc.equal(cells, ""), None, pc.replace_substring(cells, ",", "."))
    return floats(pc.cast(cells, pa.float64()))


def _clock(parts: pa.Array) -> tuple[FloatArray, FloatArray, str]:
    """Seconds of the day, offset from UTC, and zone letters passed over."""
    hour, minute, second = (
        np.where(bools(pc.is_valid(parts)), np.nan_to_num(_number(parts, name)), np.nan)
        for name in ("hour", "minute", "second")
    )
    half = pc.utf8_lower(pc.struct_field(parts, "half"))
    noon = bools(pc.equal(half, "p"))
    halved = noon | bools(pc.equal(half, "a"))
    hour = np.where(halved, hour % 12 + 12 * noon, hour)
    zone = pc.utf8_upper(pc.struct_field(parts, "zone"))
    digits = pc.replace_substring(zone, ":", "")
    numeric = pc.fill_null(pc.match_substring_regex(digits, r"^[+-]\d"), False)
    whole = pc.utf8_rpad(pc.if_else(numeric, digits, "+0000"), 5, "0")
    hhmm = np.nan_to_num(floats(pc.cast(pc.replace_substring(whole, "+", ""), pa.float64())))
    offset = np.sign(hhmm) * (np.abs(hhmm) // 100 * 3600 + np.abs(hhmm) % 100 * 60.0)
    utc = bools(pc.is_in(zone, value_set=pa.array(_UTC_NAMES)))
    named = ~utc & ~bools(numeric) & bools(pc.not_equal(zone, ""))
    letters = str(zone[int(np.flatnonzero(named)[0])]) if named.any() else ""
    ok = (hour < 24) & (minute < 60) & (second < 61) & (np.abs(offset) <= _FARTHEST_S)
    second_of_day = np.where(ok, hour * 3600 + minute * 60 + second, np.nan)
    return second_of_day, np.where(utc | bools(numeric), offset, np.nan), letters


def _day(parts: pa.Array) -> tuple[FloatArray, bool | None, bool]:
    """Days since 1970-01-01, and whether 5/4/2019 was read with the day first."""
    one, two, three = (_number(parts, name) for name in ("one", "two", "three"))
    four_digits = bools(pc.greater(pc.utf8_length(pc.struct_field(parts, "one")), 2))
    year_first = (one > 31) | four_digits
    rest = ~year_first & ~np.isnan(one)
    day_first: bool | None = None
    sure = True
    if (rest & (one != two)).any():
        if (one[rest] > 12).any():
            day_first = True
        elif (two[rest] > 12).any():
            day_first = False
        else:
            half = bools(pc.not_equal(pc.struct_field(parts, "half"), ""))
            dots = bools(pc.equal(pc.struct_field(parts, "mark"), "."))
            # A twelve-hour clock goes with the month first, dots with the day first.
            day_first, sure = bool(dots.any()), bool(half.any() or dots.any())
    year = np.where(year_first, one, np.where(three < 100, three + 2000, three))
    month = np.where(year_first, two, two if day_first else one)
    day = np.where(year_first, three, one if day_first else two)
    return days_since_1970(np.where(year < 3000, year, np.nan), month, day), day_first, sure


def _other_spellings(texts: pa.Array) -> tuple[FloatArray, FloatArray]:
    """Month names and the like, left to pandas; it is slow, so only when all else fails.

    Nothing is read when hardly any of the first texts is a time, and no word without a digit:
    pandas takes "today" and "now" for the moment it reads them.
    """
    nothing = np.full(len(texts), np.nan)
    texts = pc.if_else(pc.match_substring_regex(texts, r"\pN"), texts, pa.scalar(None, pa.string()))
    if len(texts) > _TRIED and np.isnan(_other_spellings(texts[:_TRIED])[0]).mean() > 0.5:
        return nothing, nothing
    series = pd.Series(texts.to_pylist(), dtype=object)
    try:
        stamps = pd.to_datetime(series, errors="coerce", format="mixed", utc=True)
    except (pd.errors.OutOfBoundsDatetime, OverflowError):
        return nothing, nothing
    micro = stamps.dt.tz_localize(None).to_numpy(dtype="datetime64[us]")
    seconds = np.where(np.isnat(micro), np.nan, micro.astype(np.int64) * 1e-6)
    shape = r"(Z|UTC|GMT|\d[+-]\d{2}:?\d{2})$"
    zoned = bools(pc.match_substring_regex(texts, shape))
    return np.asarray(seconds, dtype=float), np.where(zoned, 0.0, np.nan)


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
    return tr('"{said}" is not a time{years}.', said=text, years=years)


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
