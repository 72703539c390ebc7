"""Read a farm's table of past days and their rain."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings, counted, one_line
from evenacre.io.common.suggestions import listed
from evenacre.io.common.years import THESE_YEARS, other_years
from evenacre.io.tables.headers import Header, read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.io.tables.text_table import read_delimited
from evenacre.io.tables.time_texts import read_time_texts
from evenacre.model import BoolArray, FloatArray, IntArray
from evenacre.units.parsing import Dimension, parse_quantity, plain_number

_DAY_S = 86400.0
_DAYS = {"date", "day", "datetime", "time", "timestamp"}
_RAINS = {"rain", "rainfall", "precipitation", "precip", "prcp", "niederschlag", "regen", "pluie"}
_RAINS |= {"lluvia", "precipitacion", "precipitations"}
_TRACE, _MISSING = {"t", "tr", "trace"}, {"", "m", "missing", "nan"}
_MOST_M = 2.0  # 1.825 m is the most that ever fell in a day (World Meteorological Organization)
_REMEDY = 'It is a table of two columns, such as "date" and "rain (in)".'


def read_rain(path: Path, findings: Findings) -> tuple[dt.date, FloatArray]:
    """Read the rain of every day from the first in a table to the last.

    Lines of one day are added up. Where a table names no day without rain, the days that it
    leaves out had none.

    Parameters
    ----------
    path : Path
    findings : Findings
        Told what was taken how, and what looks wrong.

    Returns
    -------
    first : date
    rain_m : (n,) float
        Depth on each day from ``first`` on, m; NaN where nothing tells it.

    Raises
    ------
    InputError
        When a date, an amount or its unit cannot be told.
    """
    table = read_delimited(path, findings)
    date, amount = _column(table, _DAYS, "the day"), _column(table, _RAINS, "rain")
    rain = _rain_m(table, amount, findings)
    cells = zip(table.words(date.name), table.words(amount.name), strict=True)
    written = np.array([any(both) for both in cells], dtype=bool)
    day = _days(table, date.name, written, findings)
    rain, day = rain[written], day[written]
    first = int(day.min())
    fell, told = np.zeros((2, int(day.max()) - first + 1))
    # In a table that writes no nought, an empty cell is one.
    every = bool((rain == 0).any())
    known = np.isfinite(rain) if every else np.ones(len(rain), dtype=bool)
    np.add.at(fell, day[known] - first, np.nan_to_num(rain[known]))
    np.add.at(told, day[known] - first, 1)
    if (several := int((told > 1).sum())) > 0:
        many = counted(several, "day", "have")
        findings.warn(f"{table.file}: {many} more than one line; what they tell was added up.")
    if not every:
        findings.warn(
            f"{table.file}: it names no day without rain, so days that it leaves out, from the "
            "first to the last, were taken to be dry."
        )
    rain_m = np.where((told > 0) | (not every), fell, np.nan)
    return dt.date(1970, 1, 1) + dt.timedelta(days=first), rain_m


def _column(table: RecordTable, words: set[str], what: str) -> Header:
    headers = [read_header(name) for name in table.names]
    found = [header for header in headers if words & {*header.words, *header.meant}]
    if len(found) == 1:
        return found[0]
    names = listed([header.name for header in found] or table.names)
    said = f"Several columns may tell {what}: {names}." if found else ""
    raise table.error("", said or f"No column tells {what}; it has {names}.", _REMEDY)


def _days(table: RecordTable, column: str, written: BoolArray, findings: Findings) -> IntArray:
    """Days since 1970-01-01, whatever the hour, of the lines (n,) that are not empty."""
    texts = pc.replace_substring_regex(table.text(column), r"^(\d{4})(\d{2})(\d{2})$", r"\1-\2-\3")
    read = read_time_texts(pc.replace_substring_regex(texts, r"(\d)[T ,]+\d{1,2}:.*$", r"\1"))
    bad = ~np.isfinite(read.wall_s) | other_years(read.wall_s) | (not read.dated)
    bad &= written
    if bad.any():
        cell = one_line(table.words(column)[int(np.flatnonzero(bad)[0])])
        place = f'{table.first(bad)}, column "{column}"'
        raise table.error(
            place, f'"{cell}" is not a date {THESE_YEARS}.', "Write it as 2026-04-14."
        )
    if not read.sure:
        first = one_line(table.first_text(column))
        findings.warn(
            f'{table.about(column)}: dates such as "{first}" were read with the month first; '
            "write them as 2026-04-14 to be sure."
        )
    return np.floor(np.nan_to_num(read.wall_s) / _DAY_S).astype(np.int64)


def _rain_m(table: RecordTable, column: Header, findings: Findings) -> FloatArray:
    """Depth of rain by line; NaN where none is told, or none that can have fallen."""
    cells = pc.dictionary_encode(pa.array(table.words(column.name), pa.string()))
    unit = column.unit(Dimension.LENGTH)
    depth = [_depth_m(table, column, text, unit) for text in cells.dictionary.to_pylist()]
    rain = np.array(depth)[cells.indices.to_numpy()]
    odd = (rain < 0) | (rain > _MOST_M)
    if odd.any():
        findings.warn(
            f"{table.about(column.name)} has {counted(int(odd.sum()), 'amount')} that cannot have "
            f"fallen, taken as not known; the first is at {table.first(odd)}."
        )
    return np.where(odd, np.nan, rain)


def _depth_m(table: RecordTable, column: Header, text: str, unit_m: float | None) -> float:
    plain = text.strip().lower()
    if plain in _TRACE | _MISSING:
        return 0.0 if plain in _TRACE else float("nan")
    number = plain_number(plain.replace(",", ".") if table.decimal_comma else plain)
    if number is not None and unit_m is not None:
        return number * unit_m
    place = f'column "{column.name}"'
    if number is not None:
        what = f'What its unit is, is not told ("{text}").'
        remedy = f'Name the column "{column.name} (in)" or "{column.name} (mm)".'
        raise table.error(place, what, remedy)
    if not re.search(r"\d", plain):
        raise table.error(place, f'"{one_line(text)}" is no amount of rain.', _REMEDY)
    try:
        return parse_quantity(text, Dimension.LENGTH, file=table.file, place=place)
    except InputError as error:
        raise table.error(place, error.problems[0].what, _REMEDY) from None
