"""Declared tables as tables of text for the pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from evenacre.reports.column import Display, Table


@dataclass(frozen=True)
class PageTable:
    """A table of text.

    Attributes
    ----------
    title : str
    head : tuple of str
    rows : sequence of tuple of str
    words : int
        How many columns from the left are words; the others are figures.
    folded : bool
        Whether it is folded away at first.
    remark : str
        A sentence below it.
    """

    title: str
    head: tuple[str, ...]
    rows: Sequence[tuple[str, ...]]
    words: int = 1
    folded: bool = False
    remark: str = ""


def page_table(table: Table, rows: Sequence[Any], display: Display) -> PageTable:
    """Rows as text in the reader's units."""
    columns = table.of("page")
    return PageTable(
        title=table.title(rows) if callable(table.title) else table.title,
        head=tuple(c.heading(display) for c in columns),
        rows=[tuple(c.on_page(row, display) for c in columns) for row in rows],
        words=table.words,
        folded=table.folded,
        remark=table.remark(rows, display) if callable(table.remark) else table.remark,
    )
