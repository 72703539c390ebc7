"""Tables as CSV files and one workbook."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Mapping
from datetime import datetime
from itertools import takewhile
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from evenacre.io.writers.cells import cell
from evenacre.shown_text import shown

_CREATED = datetime(2000, 1, 1)  # fixed, so that equal results give equal files
_WIDEST = 60
_CELL = 32_767  # characters a cell of the workbook format holds
_DEGREES = ("longitude", "latitude")
_UNIT = re.compile(r"\[([^\]]+)\]$")  # in the column's name
_MONEY = re.compile(r"[A-Z]{3}")  # a currency
_DECIMALS = {
    **dict.fromkeys(("sq ft", "m²"), 0),
    **dict.fromkeys(("lb", "kg", "ft", "m", "%", "deg", "mph", "km/h"), 1),
    **dict.fromkeys(("ac", "ha", "lb/ac", "kg/ha", "mi", "km", "h", "ac/h", "ha/h"), 2),
}
"""How many are shown, by unit; what is behind them is in the cell."""
_NAMES = ("field", "operation")
_DAY = re.compile(r"(\d{4}-\d\d-\d\d)")
_TIME = re.compile(r"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d)(?:[+-]\d\d:\d\d)?")
_WIDTH = len("2026-01-31 10:00:00")
_FIRST_DAY = datetime(1900, 3, 1)  # the format takes 1900 for a leap year


def write_tables(folder: Path, workbook: Path, tables: Mapping[str, pd.DataFrame]) -> None:
    """Write each table to ``folder/<name>.csv`` and to a sheet of the workbook."""
    folder.mkdir()
    for name, table in tables.items():
        write_csv(folder / f"{name}.csv", table)
    write_workbook(workbook, tables)


def write_csv(path: Path, table: pd.DataFrame) -> None:
    """Write a table with text that could run as a formula behind an apostrophe."""
    safe = pd.DataFrame(
        {
            cell(name): column
            if pd.api.types.is_numeric_dtype(column)
            else [cell(value) for value in column]
            for name, column in table.items()
        },
        index=table.index,
    )
    # The mark at the start makes spreadsheets read the file as UTF-8.
    safe.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")


def write_workbook(path: Path, tables: Mapping[str, pd.DataFrame]) -> None:
    """Write every table to its own sheet: frozen header, widths, numbers as numbers."""
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, {"in_memory": True}) as book:
        book.set_properties({"created": _CREATED, "title": "Evenacre"})
        formats = {
            "head": book.add_format({"bold": True, "text_wrap": True, "valign": "top"}),
            "degrees": book.add_format({"num_format": "0.0000000"}),
            "whole": book.add_format({"num_format": "#,##0"}),
            "large": book.add_format({"num_format": "#,##0.0"}),
            "small": book.add_format({"num_format": "0.0000"}),
            0: book.add_format({"num_format": "#,##0"}),
            1: book.add_format({"num_format": "#,##0.0"}),
            2: book.add_format({"num_format": "#,##0.00"}),
            "day": book.add_format({"num_format": "yyyy-mm-dd", "align": "left"}),
            "time": book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss", "align": "left"}),
            "text": book.add_format({}),
        }
        for name, table in tables.items():
            _sheet(book.add_worksheet(name[:31]), table, formats)
    path.write_bytes(buffer.getvalue())


def _sheet(sheet: Worksheet, table: pd.DataFrame, formats: Mapping[Any, Any]) -> None:
    names = sum(1 for _ in takewhile(_NAMES.__contains__, table.columns))
    sheet.freeze_panes(1, names)
    sheet.hide_gridlines(0)
    for place, name in enumerate(table.columns):
        values = table.iloc[:, place].tolist()
        sheet.write_string(0, place, shown(str(name))[:_CELL], formats["head"])
        style = _style(str(name), table.iloc[:, place])
        moment = {"day": _day, "time": _time}.get(str(style))
        texts = [f"{v:,.4f}" if isinstance(v, float) else str(v) for v in values]
        longest = _WIDTH if moment else max(map(len, texts), default=0)
        wide = min(max(longest, min(len(str(name)), 16)) + 2, _WIDEST)
        sheet.set_column(place, place, wide, formats[style])
        for row, value in enumerate(values, start=1):
            if moment and (found := moment(value)):
                sheet.write_datetime(row, place, found)
            elif isinstance(value, str):
                sheet.write_string(row, place, shown(value)[:_CELL])
            elif value is not None and not (isinstance(value, float) and not math.isfinite(value)):
                sheet.write_number(row, place, value)
    if len(table) and len(table.columns):
        sheet.autofilter(0, 0, len(table), len(table.columns) - 1)


def _style(name: str, column: pd.Series) -> str | int:
    """Which format a column is shown in."""
    if pd.api.types.is_numeric_dtype(column):
        unit = found[1] if (found := _UNIT.search(name)) else ""
        if name in _DEGREES:
            return "degrees"
        if pd.api.types.is_integer_dtype(column):
            return "whole"
        if _MONEY.fullmatch(unit):
            return 2
        if unit in _DECIMALS:
            return _DECIMALS[unit]
        return "large" if column.abs().max() >= 100 else "small"
    values = [value for value in column if value]
    for style, moment in (("day", _day), ("time", _time)):
        if values and all(map(moment, values)):
            return style
    return "text"


def _day(value: object) -> datetime | None:
    """The day that a text is, if it is one and the workbook can hold it."""
    return _moment(value, "%Y-%m-%d", _DAY)


def _time(value: object) -> datetime | None:
    """The time that a text is, likewise, on the clock of the place: workbooks know no zones."""
    return _moment(value, "%Y-%m-%dT%H:%M:%S", _TIME)


def _moment(value: object, form: str, pattern: re.Pattern[str]) -> datetime | None:
    found = pattern.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        return None
    try:
        moment = datetime.strptime(found[1], form)
    except ValueError:
        return None
    return moment if moment >= _FIRST_DAY else None
