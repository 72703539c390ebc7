"""Declared tables as tables of text for the pages."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from evenacre.language import tr
from evenacre.reports.column import Column, Table
from evenacre.reports.quantities import Display


@dataclass(frozen=True)
class PageTable:
    """A table of text."""

    title: str
    head: tuple[str, ...]
    rows: Sequence[tuple[str, ...]]
    words: int = 1  # columns from the left that are words; the others are figures
    folded: bool = False  # at first
    stacked: bool = False  # on a phone: each row below the other, a line for each figure
    remark: str = ""  # a sentence below it
    order: Sequence[tuple[str, ...]] = ()  # what rows are sorted by, those that are not sums


def page_table(table: Table, rows: Sequence[Any], display: Display) -> PageTable:
    """Rows as text in the reader's units."""
    columns = table.of("page")
    head = tuple(c.heading(display) for c in columns)
    lines = [tuple(c.on_page(row, display) for c in columns) for row in rows]
    order = [
        tuple("" if c.told and not c.quantity.si else _in_order(c.value(row)) for c in columns)
        for row in rows
    ]
    return replace(_shown(table, rows, display, head, lines), order=order)


def _in_order(value: Any) -> str:
    """What a cell is sorted by: a number as it is, a day by its number, else the text in it."""
    if isinstance(value, str):
        try:
            return str(date.fromisoformat(value).toordinal())
        except ValueError:
            return ""
    return f"{value:.9g}" if isinstance(value, int | float) and math.isfinite(value) else ""


def page_record(
    table: Table,
    row: Any,
    display: Display,
    head: tuple[str, ...] = ("", ""),
    cells: Callable[[Column], tuple[str, ...]] | None = None,
) -> PageTable:
    """One row, turned: a line for each column of it, with its name and its text or other cells."""
    lines = [
        (c.heading(display), *(cells(c) if cells else (c.on_page(row, display),)))
        for c in table.of("page")
    ]
    return _shown(table, [row], display, head, lines)


def side_by_side(
    table: Table,
    rows: Sequence[Any],
    display: Display,
    *,
    where: Callable[[Any], str],
    what: str,
    keys: Sequence[str],
) -> list[PageTable]:
    """Rows that share a place on one line; none where there are no rows.

    Parameters
    ----------
    table : Table
    rows : sequence
    display : Display
    where : callable
        Tells a row's place, the first cell of its line.
    what : str
        Key of what heads a column: a product, say.
    keys : sequence of str
        Of the figures told of each, in one cell.
    """
    if not rows:
        return []
    heads = list(dict.fromkeys(str(table.by_key[what].value(row)) for row in rows))
    told = {
        (where(row), str(table.by_key[what].value(row))): ", ".join(
            said for key in keys if (said := table.by_key[key].on_page(row, display))
        )
        for row in rows
    }
    lines = [
        (place, *(told.get((place, head), "") for head in heads))
        for place in dict.fromkeys(where(row) for row in rows)
    ]
    return [PageTable(tr(str(table.title)), (tr("Zone"), *heads), lines)]


def _shown(
    table: Table,
    rows: Sequence[Any],
    display: Display,
    head: tuple[str, ...],
    lines: Sequence[tuple[str, ...]],
) -> PageTable:
    title = table.title(rows) if callable(table.title) else tr(table.title)
    remark = table.remark(rows, display) if callable(table.remark) else tr(table.remark)
    return PageTable(title, head, lines, table.words, table.folded, table.stacked, remark)


def with_sums(table: PageTable, *rows: tuple[str, ...]) -> PageTable:
    """Add rows that add others up, and say that they are rounded by themselves."""
    said = tr("Sums are rounded by themselves: one may differ a little from what is printed above.")
    return replace(table, rows=[*table.rows, *rows], remark=f"{table.remark} {said}".strip())


def last_row(table: Table, **texts: str) -> tuple[str, ...]:
    """What is told of all rows together, by key; other cells stay empty."""
    return tuple(texts.get(column.key, "") for column in table.of("page"))
