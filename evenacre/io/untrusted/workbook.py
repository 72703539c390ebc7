"""Sheets of spreadsheets as text, in the process that a file cannot use.

Cells hold what was last computed: no formula is run. A sheet is as large as its farthest cell,
which may lie a million rows below the others; the bounds of the process hold there too.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import itertools
from collections.abc import Iterable
from pathlib import Path

from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum

from evenacre.errors import InputError
from evenacre.io.untrusted import budget
from evenacre.language import tr

_BEGINNING = 50  # rows


def sheets(path: Path) -> list[tuple[str, str]]:
    """Names of the sheets that hold cells, and their first rows; of a file that is no zip bomb."""
    with CalamineWorkbook.from_path(path) as book:
        budget.check_layers(len(book.sheet_names))
        loaded = [(name, _rows(book, name)) for name in _tables(book)]
        found = [(name, _text(itertools.islice(rows, _BEGINNING))) for name, rows in loaded]
        return [(name, text) for name, text in found if text.strip()]


def sheet(path: Path, name: str) -> str:
    """A sheet as comma-separated values, a line for each of its rows."""
    with CalamineWorkbook.from_path(path) as book:
        return _text(_rows(book, name))


def _tables(book: CalamineWorkbook) -> list[str]:
    """Names of the sheets that are no charts or programs."""
    return [sheet.name for sheet in book.sheets_metadata if sheet.typ == SheetTypeEnum.WorkSheet]


def _rows(book: CalamineWorkbook, name: str) -> Iterable[list[str]]:
    try:
        cells = book.get_sheet_by_name(name)
    except CalamineError as error:  # one sheet may be damaged, and others not
        raise ValueError(str(error)) from None
    above = cells.start[0] if cells.start else 0
    if above + cells.height > budget.RECORDS:
        raise InputError.at(
            "",
            tr('sheet "{name}"', name=name),
            tr(
                "It has over {records:,} rows, more than are read of one file.",
                records=budget.RECORDS,
            ),
            tr("Export less at a time: one field, or a day."),
        )
    return itertools.chain(
        itertools.repeat([], above), ([_cell(c) for c in row] for row in cells.iter_rows())
    )


def _text(rows: Iterable[list[str]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    begun = False
    for row in rows:
        filled = [cell for cell in row if cell]
        begun |= len(filled) > 1
        if filled:
            writer.writerow(row if begun else filled)  # a title is no row of the table
        else:
            out.write("\n")
        if out.tell() > budget.TEXT_BYTES:
            raise budget.too_large("", budget.TEXT_BYTES)
    return out.getvalue()


def _cell(value: object) -> str:
    match value:
        case bool():
            return str(int(value))
        case float() if value.is_integer() and abs(value) < 1e15:
            return str(int(value))
        case float():
            return repr(value)
        case dt.datetime():
            return value.isoformat(sep=" ")
        case dt.timedelta():  # a time of day, as some programs keep it
            return str(dt.datetime.min.replace(year=1900) + value)[11:]
        case dt.date() | dt.time():
            return value.isoformat()
        case _:
            return " ".join(str(value).split())
