"""Times of records as seconds on one clock."""

from __future__ import annotations

import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from evenacre.errors import InputError
from evenacre.io.common.findings import FEW, Findings, counted, one_line
from evenacre.io.common.time_zones import localised, zone_of
from evenacre.io.common.years import THESE_YEARS, other_years
from evenacre.io.logs.columns.column_roles import ColumnUse
from evenacre.io.logs.columns.records_table import RecordTable
from evenacre.io.logs.columns.time_parsing import TimeTexts, read_time_texts
from evenacre.model import UNDATED_S, BoolArray, FloatArray

_DAY_S = 86400.0
# Smallest number that counts as so many units since 1970, and that unit; 1e8 s is 1973.
_EPOCHS = ((1e17, 1e-9, "nanoseconds"), (1e14, 1e-6, "microseconds"), (1e11, 1e-3, "milliseconds"))
_EPOCH_S = 1e8
_SPREADSHEET_DAYS = (20_000.0, 80_000.0)
_SPREADSHEET_EPOCH_S = -25_569 * _DAY_S  # 1899-12-30, where spreadsheets count days from


@dataclass(frozen=True)
class Clock:
    """Times of records.

    Attributes
    ----------
    time_s : (n,) float
        Seconds since 1970-01-01 UTC, or of local wall time when no zone is known; NaN: none.
    dated : bool
        False when the file tells the time but not the day.
    assumed : bool
        True when the file tells no times: these only keep the records in order.
    """

    time_s: FloatArray
    dated: bool
    assumed: bool = False


def read_clock(
    table: RecordTable,
    time: ColumnUse,
    date: ColumnUse | None,
    time_zone: str | None,
    findings: Findings,
) -> Clock:
    """Read the times of records from one column, or from a date and a time column.

    Raises
    ------
    InputError
        When the column holds no times; it names the first cell that is none.
    """
    zone = zone_of(time_zone)
    if table.holds_numbers(time.column):
        return _from_numbers(table, time, date, zone, findings)
    texts = table.text(time.column)
    read = read_time_texts(texts)
    if date is not None and not read.dated:
        texts = pc.binary_join_element_wise(_dates(table, date), texts, " ")
        read = read_time_texts(texts)
    _judge_unread(table, time, texts, read, findings)
    return _on_one_clock(table, time, read, zone, findings)


def _from_numbers(
    table: RecordTable,
    time: ColumnUse,
    date: ColumnUse | None,
    zone: ZoneInfo | None,
    findings: Findings,
) -> Clock:
    values = table.numbers(time.column, "time", findings)
    about = f'{table.file}: column "{time.column}"'
    known = values[np.isfinite(values)]
    if not known.size:
        raise InputError.at(table.file, f'column "{time.column}"', "no record has a time.", _REMEDY)
    middle = float(np.median(known))
    for least, unit, name in _EPOCHS:
        if middle >= least:
            findings.note(f"{about} taken as {name} since 1970 (UTC).")
            return Clock(_of_this_age(table, time, values * unit, findings), dated=True)
    if middle >= _EPOCH_S:
        findings.note(f"{about} taken as seconds since 1970 (UTC).")
        return Clock(_of_this_age(table, time, values, findings), dated=True)
    steps = np.abs(np.diff(known))
    step = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    low, high = _SPREADSHEET_DAYS
    if time.unit is None and low < middle < high and 0 < step < 0.005:
        findings.note(f"{about} taken as days since 1899-12-30, as spreadsheets keep dates.")
        wall = values * _DAY_S + _SPREADSHEET_EPOCH_S
        return _on_one_clock(table, time, _plain(wall), zone, findings)
    if date is None:
        unit_s = 1.0 if time.unit is None else time.unit
        said = "" if time.unit is not None else " (no unit is given: seconds)"
        findings.note(f"{about} taken as time since the start of the log{said}; no date is known.")
        return Clock(_of_one_log(table, time, values * unit_s, findings), dated=False)
    days = read_time_texts(_dates(table, date))
    _judge_unread(table, date, table.text(date.column), days, findings)
    hhmmss = (values % 100 < 60) & (values // 100 % 100 < 60) & (values < 240_000)
    if hhmmss[np.isfinite(values)].all() and time.unit is None:
        findings.note(f"{about} taken as hours, minutes and seconds (hhmmss).")
        values = values // 10_000 * 3600 + values // 100 % 100 * 60 + values % 100
    else:
        findings.note(f"{about} taken as seconds since midnight.")
        values = values * (time.unit or 1.0)
    return _on_one_clock(table, time, _plain(days.wall_s + values), zone, findings)


_REMEDY = (
    "Name the time column with --column time=COLUMN; times are ISO (2019-05-05T04:19:04Z), "
    "text such as 5/5/2019 4:19:04 AM, or seconds."
)


def _plain(wall_s: FloatArray) -> TimeTexts:
    return TimeTexts(wall_s, np.full(len(wall_s), np.nan), True, None, True, "")


def _dates(table: RecordTable, date: ColumnUse) -> pa.Array:
    """Dates without a time of day, with marks between year, month and day."""
    days = pc.replace_substring_regex(table.text(date.column), r"[T\s].*$", "")
    return pc.replace_substring_regex(days, r"^(\d{4})(\d{2})(\d{2})(\.0)?$", r"\1-\2-\3")


def _judge_unread(
    table: RecordTable, use: ColumnUse, texts: pa.Array, read: TimeTexts, findings: Findings
) -> None:
    unread = np.isnan(read.wall_s) & np.asarray(
        pc.is_valid(texts).to_numpy(zero_copy_only=False), dtype=bool
    )
    filled = int(pc.count(texts).as_py())
    if filled == 0:
        raise InputError.at(table.file, f'column "{use.column}"', "no record has a time.", _REMEDY)
    if not unread.any():
        return
    row = int(np.flatnonzero(unread)[0])
    if unread.sum() > FEW * filled:
        raise InputError.at(
            table.file,
            f'{table.place(row)}, column "{use.column}"',
            f'"{one_line(texts[row])}" is not a {use.role} ({counted(unread.sum(), "such cell")}).',
            _REMEDY,
        )
    findings.warn(
        f'{table.file}: column "{use.column}" has {counted(unread.sum(), "cell")} that cannot '
        f'be read as a time; the first is "{one_line(texts[row])}" at {table.place(row)}.'
    )


def _of_this_age(
    table: RecordTable, use: ColumnUse, time_s: FloatArray, findings: Findings
) -> FloatArray:
    """Refuse times of years no log can be of; a few are taken as missing."""
    return _without(table, use, time_s, other_years(time_s), THESE_YEARS, findings)


def _of_one_log(
    table: RecordTable, use: ColumnUse, time_s: FloatArray, findings: Findings
) -> FloatArray:
    """Refuse times too long after the start of a log; a few are taken as missing."""
    far = np.abs(time_s) >= UNDATED_S
    words = f"within {UNDATED_S / _DAY_S:.0f} days of the start of the log"
    return _without(table, use, time_s, far, words, findings)


def _without(
    table: RecordTable,
    use: ColumnUse,
    time_s: FloatArray,
    wild: BoolArray,
    words: str,
    findings: Findings,
) -> FloatArray:
    if not wild.any():
        return time_s
    row = int(np.flatnonzero(wild)[0])
    place = table.place(row)
    if wild.sum() > FEW * np.isfinite(time_s).sum():
        raise InputError.at(
            table.file,
            f'{place}, column "{use.column}"',
            f'"{one_line(table.text(use.column)[row])}" is not a time {words}.',
            _REMEDY,
        )
    findings.warn(
        f'{table.file}: column "{use.column}" has {counted(wild.sum(), "time")} not {words}, '
        f"taken as missing; the first is at {place}."
    )
    return np.where(wild, np.nan, time_s)


def _on_one_clock(
    table: RecordTable, use: ColumnUse, read: TimeTexts, zone: ZoneInfo | None, findings: Findings
) -> Clock:
    """Bring wall times to UTC as far as the file and the person tell how."""
    about = f'{table.file}: column "{use.column}"'
    wall, offset = read.wall_s, read.offset_s
    if not read.dated:
        findings.note(f"{about} holds the time of day; no date is known.")
        return Clock(_past_midnight(wall), dated=False)
    wall = _of_this_age(table, use, wall, findings)
    if read.day_first is not None:
        order = "day, month" if read.day_first else "month, day"
        say = findings.note if read.sure else findings.warn
        unsure = "" if read.sure else ", though both readings are possible"
        say(f"{about}: dates are read as {order}, year{unsure}.")
    if read.letters:
        findings.note(f'{about}: the zone letters "{read.letters}" are not used.')
    known = ~np.isnan(offset)
    if known.any():
        return Clock(_zoned(about, wall, offset, known, zone, findings), dated=True)
    if zone is None and re.search(r"(?<![a-z])(utc|gmt|zulu)", use.column.lower()):
        findings.note(f"{about} taken as UTC because of its name.")
    elif zone is None:
        findings.note(
            f"{about} names no time zone: times are those of the clock on the machine "
            "(name it with --time-zone)."
        )
    else:
        findings.note(f"{about} names no time zone: {zone.key} is used.")
        wall = localised(wall, zone, findings, about)
    return Clock(wall, dated=True)


def _zoned(
    about: str,
    wall: FloatArray,
    offset: FloatArray,
    known: BoolArray,
    zone: ZoneInfo | None,
    findings: Findings,
) -> FloatArray:
    """Wall times to UTC by the offsets written with them."""
    offsets, counts = np.unique(offset[known], return_counts=True)
    if len(offsets) > 1:
        hours = ", ".join(f"{o / 3600:+g}" for o in offsets)
        findings.warn(f"{about} mixes time zones ({hours} hours from UTC); all brought to UTC.")
    bare = ~known & ~np.isnan(wall)
    if not bare.any():
        return wall - offset
    usual = float(offsets[np.argmax(counts)])
    taken = zone.key if zone else f"{usual / 3600:+g} hours from UTC, as most others"
    findings.warn(
        f"{about}: {counted(bare.sum(), 'time', 'name')} no zone; {taken} is taken for them."
    )
    utc = wall - np.where(known, offset, usual)
    if zone is not None:
        utc[bare] = localised(wall[bare], zone, findings, about)
    return utc


def _past_midnight(second_of_day: FloatArray) -> FloatArray:
    """Let a clock without a date run on past midnight."""
    known = ~np.isnan(second_of_day)
    wraps = np.concatenate(([0], np.cumsum(np.diff(second_of_day[known]) < -_DAY_S / 2)))
    later = second_of_day.copy()
    later[known] += wraps[: known.sum()] * _DAY_S
    return later


def dates_of(time_s: FloatArray, time_zone: str | None) -> list[str]:
    """ISO dates a log touches, in the given zone (else as the times are).

    Parameters
    ----------
    time_s : (n,) float
    time_zone : str or None
    """
    seconds = np.unique(np.floor(time_s[np.isfinite(time_s)] / 900.0)) * 900.0
    stamps = pd.DatetimeIndex(pd.to_datetime(seconds, unit="s", utc=True))
    zone = zone_of(time_zone)
    if zone is not None:
        stamps = stamps.tz_convert(zone)
    return [str(day) for day in stamps.strftime("%Y-%m-%d").unique()]
