"""Tables as CSV files and one workbook."""

from __future__ import annotations

import io
import math
from collections.abc import Mapping
from datetime import datetime
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


def write_tables(folder: Path, workbook: Path, tables: Mapping[str, pd.DataFrame]) -> None:
    """Write each table to ``folder/<name>.csv`` and to a sheet of the workbook."""
    folder.mkdir()
    for name, table in tables.items():
        write_csv(folder / f"{name}.csv", table)
    write_workbook(workbook, tables)


def write_csv(path: Path, table: pd.DataFrame) -> None:
    """Write a table with text that could run as a formula behind an apostrophe."""
    safe = table.rename(columns=cell)
    for place, name in enumerate(safe.columns):
        if not pd.api.types.is_numeric_dtype(table.dtypes.iloc[place]):
            safe[name] = [cell(v) for v in safe[name]]
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
            "text": book.add_format({}),
        }
        for name, table in tables.items():
            _sheet(book.add_worksheet(name[:31]), table, formats)
    path.write_bytes(buffer.getvalue())


def _sheet(sheet: Worksheet, table: pd.DataFrame, formats: Mapping[str, Any]) -> None:
    sheet.freeze_panes(1, 0)
    sheet.hide_gridlines(0)
    for place, name in enumerate(table.columns):
        values = table.iloc[:, place].tolist()
        sheet.write_string(0, place, shown(str(name))[:_CELL], formats["head"])
        column = table.iloc[:, place]
        style = "text"
        if pd.api.types.is_numeric_dtype(column):
            style = "large" if column.abs().max() >= 100 else "small"
            style = "whole" if pd.api.types.is_integer_dtype(column) else style
            style = "degrees" if name in _DEGREES else style
        texts = [f"{v:,.4f}" if isinstance(v, float) else str(v) for v in values]
        longest = max(map(len, texts), default=0)
        wide = min(max(longest, min(len(str(name)), 16)) + 2, _WIDEST)
        sheet.set_column(place, place, wide, formats[style])
        for row, value in enumerate(values, start=1):
            if isinstance(value, str):
                sheet.write_string(row, place, shown(value)[:_CELL])
            elif value is not None and not (isinstance(value, float) and not math.isfinite(value)):
                sheet.write_number(row, place, value)
    if len(table) and len(table.columns):
        sheet.autofilter(0, 0, len(table), len(table.columns) - 1)
