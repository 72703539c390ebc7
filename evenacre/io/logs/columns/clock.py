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
from evenacre.io.common.arrow_arrays import bools
from evenacre.io.common.findings import FEW, Findings, one_line
from evenacre.io.common.time_zones import localised, zone_of
from evenacre.io.common.years import THESE_YEARS, other_years
from evenacre.io.logs.columns.column_roles import ColumnUse
from evenacre.io.tables.record_table import RecordTable
from evenacre.io.tables.time_numbers import (
    SPREADSHEET_DAYS,
    are_spreadsheet_days,
    second_of_day,
    written_out,
)
from evenacre.io.tables.time_texts import TimeTexts, read_time_texts
from evenacre.language import mark, tr, trn
from evenacre.model import UNDATED_S, BoolArray, FloatArray

_DAY_S = 86400.0
# Smallest number that counts as so many units since 1970, and that unit; 1e8 s is 1973.
_EPOCHS = (
    *((1e17, 1e-9, "nanoseconds"), (1e14, 1e-6, "microseconds"), (1e11, 1e-3, "milliseconds")),
    (1e8, 1.0, "seconds"),
)
_SPREADSHEET_EPOCH_S = -25_569 * _DAY_S  # 1899-12-30, where spreadsheets count days from
_REMEDY = mark(
    "Name the time column with --column time=COLUMN; times are ISO "
    "(2019-05-05T04:19:04Z), text such as 5/5/2019 4:19:04 AM, or seconds."
)


@dataclass(frozen=True)
class Clock:
    """Times of records."""

    # (n,) Seconds since 1970-01-01 UTC, or of local wall time when no zone is known; NaN: none
    time_s: FloatArray
    dated: bool  # False when the file tells the time but not the day
    assumed: bool = False  # True when the file tells no times: these only keep the records in order


def read_clock(
    table: RecordTable,
    time: ColumnUse,
    date: ColumnUse | None,
    time_zone: str | None,
    findings: Findings,
) -> Clock:
    """Read the times of records from one column, or from a date and a time column."""
    reader = _TimeReader(table, time, zone_of(time_zone), findings)
    if table.holds_numbers(time.column):
        return reader.from_numbers(date)
    texts = table.text(time.column)
    read = read_time_texts(texts)
    if date is not None and not read.dated:
        texts = pc.binary_join_element_wise(_dates(table, date), texts, " ")
        read = read_time_texts(texts)
    reader.judge_unread(time, texts, read)
    return reader.on_one_clock(read)


def _dates(table: RecordTable, date: ColumnUse) -> pa.Array:
    """Dates without a time of day, with marks between year, month and day."""
    texts = table.text(date.column)
    if table.holds_numbers(date.column):
        values = table.numbers(date.column, "date", Findings())
        known = values[np.isfinite(values)]
        low, high = SPREADSHEET_DAYS
        if known.size and low < known.min() and known.max() < high:
            stamps = pd.to_datetime(np.floor(values), unit="D", origin="1899-12-30")
            return pa.array(stamps.strftime("%Y-%m-%d"), pa.string(), from_pandas=True)
    days = pc.replace_substring_regex(texts, r"[T\s].*$", "")
    return pc.replace_substring_regex(days, r"^(\d{4})(\d{2})(\d{2})(\.0)?$", r"\1-\2-\3")


@dataclass(frozen=True)
class _TimeReader:
    """A column of times."""

    table: RecordTable
    time: ColumnUse
    zone: ZoneInfo | None
    findings: Findings

    @property
    def about(self) -> str:
        return self.table.about(self.time.column)

    def from_numbers(self, date: ColumnUse | None) -> Clock:
        unit, note = self.time.unit, self.findings.note
        values = self.table.numbers(self.time.column, "time", self.findings)
        known = values[np.isfinite(values)]
        if not known.size:
            raise self._none(self.time)
        middle = float(np.median(known))
        if unit is None and (written := written_out(values)) is not None:
            note(
                tr(
                    "{about} taken as year, month, day and time written without marks.",
                    about=self.about,
                )
            )
            return self._on_wall(written)
        for least, epoch_unit, name in _EPOCHS:
            if middle >= least:
                note(tr("{about} taken as {name} since 1970 (UTC).", about=self.about, name=name))
                return Clock(self._of_this_age(values * epoch_unit), dated=True)
        if unit is None and are_spreadsheet_days(known):
            note(
                tr(
                    "{about} taken as days since 1899-12-30, as spreadsheets keep dates.",
                    about=self.about,
                )
            )
            return self._on_wall(np.round(values * _DAY_S, 3) + _SPREADSHEET_EPOCH_S)
        clock = None if unit is not None else second_of_day(values, sure=date is not None)
        if date is None and clock is not None:
            note(
                tr(
                    "{about} taken as hours, minutes and seconds (hhmmss); no date is known.",
                    about=self.about,
                )
            )
            return Clock(_past_midnight(clock), dated=False)
        if date is None:
            said = tr(" (no unit is given: seconds)") if unit is None else ""
            note(
                tr(
                    "{about} taken as time since the start of the log{said}; no date is known.",
                    about=self.about,
                    said=said,
                )
            )
            time_s = values * (1.0 if unit is None else unit)
            words = f"within {UNDATED_S / _DAY_S:.0f} days of the start of the log"
            return Clock(self._without(time_s, np.abs(time_s) >= UNDATED_S, words), dated=False)
        days = read_time_texts(_dates(self.table, date))
        self.judge_unread(date, self.table.text(date.column), days)
        if unit is None and known.min() >= 0 and known.max() < 1 and (known > 0).any():
            note(
                tr("{about} taken as parts of a day, as spreadsheets keep times.", about=self.about)
            )
            values = np.round(values * _DAY_S, 3)
        elif clock is not None:
            note(tr("{about} taken as hours, minutes and seconds (hhmmss).", about=self.about))
            values = clock
        else:
            note(tr("{about} taken as seconds since midnight.", about=self.about))
            values = values * (unit or 1.0)
        return self._on_wall(days.wall_s + values)

    def judge_unread(self, use: ColumnUse, texts: pa.Array, read: TimeTexts) -> None:
        filled = bools(pc.is_valid(texts))
        if not filled.any():
            raise self._none(use)
        unread = np.isnan(read.wall_s) & filled
        self.table.judge(
            use.column,
            unread,
            int(filled.sum()),
            self.findings,
            wrong=tr(
                "is not a {role} ({such_cells}).",
                role=use.role,
                such_cells=trn("{count:,} such cell", "{count:,} such cells", unread.sum()),
            ),
            few=tr(
                "{cells} that cannot be read as a time",
                cells=trn("{count:,} cell", "{count:,} cells", unread.sum()),
            ),
            remedy=tr(_REMEDY),
            cells=texts,
        )

    def on_one_clock(self, read: TimeTexts) -> Clock:
        """Bring wall times to UTC as far as the file and the person tell how."""
        about, wall = self.about, read.wall_s
        if not read.dated:
            self.findings.note(tr("{about} holds the time of day; no date is known.", about=about))
            return Clock(_past_midnight(wall), dated=False)
        wall = self._of_this_age(wall)
        if read.day_first is not None:
            order = "day, month" if read.day_first else "month, day"
            say = self.findings.note if read.sure else self.findings.warn
            unsure = "" if read.sure else ", though both readings are possible"
            say(
                tr(
                    "{about}: dates are read as {order}, year{unsure}.",
                    about=about,
                    order=order,
                    unsure=unsure,
                )
            )
        if read.letters:
            self.findings.note(
                tr(
                    '{about}: the zone letters "{letters}" are not used.',
                    about=about,
                    letters=read.letters,
                )
            )
        if not np.isnan(read.offset_s).all():
            return Clock(self._zoned(wall, read.offset_s), dated=True)
        if self.zone is not None:
            self.findings.note(
                tr("{about} names no time zone: {key} is used.", about=about, key=self.zone.key)
            )
            wall = localised(wall, self.zone, self.findings, about)
        elif re.search(r"(?<![a-z])(utc|gmt|zulu)", self.time.column.lower()):
            self.findings.note(tr("{about} taken as UTC because of its name.", about=about))
        else:
            self.findings.note(
                tr(
                    "{about} names no time zone: times are those of the clock on the machine "
                    "(name it with --time-zone).",
                    about=about,
                )
            )
        return Clock(wall, dated=True)

    def _on_wall(self, wall_s: FloatArray) -> Clock:
        unzoned = np.full(len(wall_s), np.nan)
        return self.on_one_clock(TimeTexts(wall_s, unzoned, True, None, True, ""))

    def _zoned(self, wall: FloatArray, offset: FloatArray) -> FloatArray:
        """Wall times to UTC by the offsets written with them."""
        about, zone = self.about, self.zone
        known = ~np.isnan(offset)
        offsets, counts = np.unique(offset[known], return_counts=True)
        if len(offsets) > 1:
            hours = ", ".join(f"{o / 3600:+g}" for o in offsets)
            self.findings.warn(
                tr(
                    "{about} mixes time zones ({hours} hours from UTC); all brought to UTC.",
                    about=about,
                    hours=hours,
                )
            )
        bare = ~known & ~np.isnan(wall)
        if not bare.any():
            return wall - offset
        usual = float(offsets[np.argmax(counts)])
        taken = zone.key if zone else f"{usual / 3600:+g} hours from UTC, as most others"
        self.findings.warn(
            tr(
                "{about}: {times} no zone; {taken} is taken for them.",
                about=about,
                times=trn("{count:,} time names", "{count:,} times name", bare.sum()),
                taken=taken,
            )
        )
        utc = wall - np.where(known, offset, usual)
        if zone is not None:
            utc[bare] = localised(wall[bare], zone, self.findings, about)
        return utc

    def _of_this_age(self, time_s: FloatArray) -> FloatArray:
        return self._without(time_s, other_years(time_s), THESE_YEARS)

    def _without(self, time_s: FloatArray, wild: BoolArray, words: str) -> FloatArray:
        """Refuse times that no log can be of; a few are taken as missing."""
        if not wild.any():
            return time_s
        place, column = self.table.first(wild), self.time.column
        if wild.sum() > FEW * np.isfinite(time_s).sum():
            cell = one_line(self.table.text(column)[int(np.flatnonzero(wild)[0])])
            what = tr('"{cell}" is not a time {words}.', cell=cell, words=words)
            raise self.table.error(
                tr('{place}, column "{column}"', place=place, column=column), what, tr(_REMEDY)
            )
        self.findings.warn(
            tr(
                "{about} has {times} not {words}, taken as missing; the first is at {place}.",
                about=self.about,
                times=trn("{count:,} time", "{count:,} times", wild.sum()),
                words=words,
                place=place,
            )
        )
        return np.where(wild, np.nan, time_s)

    def _none(self, use: ColumnUse) -> InputError:
        return self.table.error(
            tr('column "{column}"', column=use.column), tr("no record has a time."), tr(_REMEDY)
        )


def _past_midnight(second_of_day: FloatArray) -> FloatArray:
    """Let a clock without a date run on past midnight."""
    known = ~np.isnan(second_of_day)
    wraps = np.concatenate(([0], np.cumsum(np.diff(second_of_day[known]) < -_DAY_S / 2)))
    later = second_of_day.copy()
    later[known] += wraps[: known.sum()] * _DAY_S
    return later


def dates_of(time_s: FloatArray, time_zone: str | None) -> list[str]:
    """ISO dates a log touches, in the given zone (else as the times are)."""
    seconds = np.unique(np.floor(time_s[np.isfinite(time_s)] / 900.0)) * 900.0
    stamps = pd.DatetimeIndex(pd.to_datetime(seconds, unit="s", utc=True))
    zone = zone_of(time_zone)
    if zone is not None:
        stamps = stamps.tz_convert(zone)
    return [str(day) for day in stamps.strftime("%Y-%m-%d").unique()]
