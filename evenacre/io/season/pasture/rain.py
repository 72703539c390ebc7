"""Read a farm's table of past days and their rain."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings, one_line
from evenacre.io.common.suggestions import listed
from evenacre.io.common.years import THESE_YEARS, other_years
from evenacre.io.tables.headers import Header, read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.io.tables.text_table import read_delimited
from evenacre.io.tables.time_texts import read_time_texts
from evenacre.language import mark, tr, trn
from evenacre.model import BoolArray, FloatArray, IntArray
from evenacre.units.parsing import Dimension, parse_quantity, plain_number

_DAY_S = 86400.0
_DAYS = {"date", "day", "datetime", "time", "timestamp"}
_RAINS = {"rain", "rainfall", "precipitation", "precip", "prcp", "niederschlag", "regen", "pluie"}
_RAINS |= {"lluvia", "precipitacion", "precipitations"}
_TRACE, _MISSING = {"t", "tr", "trace"}, {"", "m", "missing", "nan"}
_MOST_M = 2.0  # 1.825 m is the most that ever fell in a day (World Meteorological Organization)
_REMEDY = mark('It is a table of two columns, such as "date" and "rain (in)".')


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
        many = trn("{count:,} day has", "{count:,} days have", several)
        findings.warn(
            tr(
                "{file}: {many} more than one line; what they tell was added up.",
                file=table.file,
                many=many,
            )
        )
    if not every:
        findings.warn(
            tr(
                "{file}: it names no day without rain, so days that it leaves out, from the "
                "first to the last, were taken to be dry.",
                file=table.file,
            )
        )
    rain_m = np.where((told > 0) | (not every), fell, np.nan)
    return dt.date(1970, 1, 1) + dt.timedelta(days=first), rain_m


def rain_columns(names: Sequence[str]) -> dict[str, Header]:
    """Columns of a table of past days, ``date`` and ``rain``, as far as it is clear which."""
    told = {"date": _named(names, _DAYS), "rain": _named(names, _RAINS)}
    return {what: found[0] for what, found in told.items() if len(found) == 1}


def _named(names: Sequence[str], words: set[str]) -> list[Header]:
    headers = map(read_header, names)
    return [header for header in headers if words & {*header.words, *header.meant}]


def _column(table: RecordTable, words: set[str], what: str) -> Header:
    found = _named(table.names, words)
    if len(found) == 1:
        return found[0]
    names = listed([header.name for header in found] or table.names)
    said = tr("Several columns may tell {what}: {names}.", what=what, names=names) if found else ""
    raise table.error(
        "",
        said or tr("No column tells {what}; it has {names}.", what=what, names=names),
        tr(_REMEDY),
    )


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
            place,
            tr('"{cell}" is not a date {these_years}.', cell=cell, these_years=THESE_YEARS),
            tr("Write it as 2026-04-14."),
        )
    if not read.sure:
        first = one_line(table.first_text(column))
        findings.warn(
            tr(
                '{about}: dates such as "{first}" were read with the month first; write them '
                "as 2026-04-14 to be sure.",
                about=table.about(column),
                first=first,
            )
        )
    return np.floor(np.nan_to_num(read.wall_s) / _DAY_S).astype(np.int64)


def _rain_m(table: RecordTable, column: Header, findings: Findings) -> FloatArray:
    """Depth of rain by line; NaN where none is told, or none that can have fallen."""
    cells = pc.dictionary_encode(pa.array(table.words(column.name), pa.string()))
    unit = column.unit(Dimension.LENGTH)
    line = cells.indices.to_numpy()
    depth = [
        _depth_m(table, column, text, unit, table.first(line == number))
        for number, text in enumerate(cells.dictionary.to_pylist())
    ]
    rain = np.array(depth)[line]
    odd = (rain < 0) | (rain > _MOST_M)
    if odd.any():
        findings.warn(
            tr(
                "{about} has {amounts} that cannot have fallen, taken as not known; the "
                "first is at {first}.",
                about=table.about(column.name),
                amounts=trn("{count:,} amount", "{count:,} amounts", int(odd.sum())),
                first=table.first(odd),
            )
        )
    return np.where(odd, np.nan, rain)


def _depth_m(
    table: RecordTable, column: Header, text: str, unit_m: float | None, line: str
) -> float:
    plain = text.strip().lower()
    if plain in _TRACE | _MISSING:
        return 0.0 if plain in _TRACE else float("nan")
    number = plain_number(plain.replace(",", ".") if table.decimal_comma else plain)
    if number is not None and unit_m is not None:
        return number * unit_m
    if number is not None:
        what = tr('What its unit is, is not told ("{said}").', said=text)
        remedy = tr('Name the column "{name} (in)" or "{name} (mm)".', name=column.name)
        raise table.error(tr('column "{name}"', name=column.name), what, remedy)
    place = f'{line}, column "{column.name}"'
    if not re.search(r"\d", plain):
        raise table.error(
            place, tr('"{one_line}" is no amount of rain.', one_line=one_line(text)), tr(_REMEDY)
        )
    try:
        return parse_quantity(text, Dimension.LENGTH, file=table.file, place=place)
    except InputError as error:
        raise table.error(place, error.problems[0].what, tr(_REMEDY)) from None
