"""Declared tables as tables of text for the pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

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
    remark: str = ""  # a sentence below it


def page_table(table: Table, rows: Sequence[Any], display: Display) -> PageTable:
    """Rows as text in the reader's units."""
    columns = table.of("page")
    head = tuple(c.heading(display) for c in columns)
    lines = [tuple(c.on_page(row, display) for c in columns) for row in rows]
    return _shown(table, rows, display, head, lines)


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


def _shown(
    table: Table,
    rows: Sequence[Any],
    display: Display,
    head: tuple[str, ...],
    lines: Sequence[tuple[str, ...]],
) -> PageTable:
    title = table.title(rows) if callable(table.title) else table.title
    remark = table.remark(rows, display) if callable(table.remark) else table.remark
    return PageTable(title, head, lines, table.words, table.folded, remark)


def last_row(table: Table, **texts: str) -> tuple[str, ...]:
    """What is told of all rows together, by key; other cells stay empty."""
    return tuple(texts.get(column.key, "") for column in table.of("page"))
