"""Declared tables as frames: in the reader's units for CSV and workbook, or tidy in SI."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pandas as pd

from evenacre.reports.column import Display, Table
from evenacre.units.display import METRIC


def data_frame(
    table: Table, rows: Iterable[Any], display: Display, **identifying: str
) -> pd.DataFrame:
    """A row for each row, in the reader's units, which stand in the column names.

    Parameters
    ----------
    table : Table
    rows : iterable
    display : Display
    **identifying
        Words that are the same for all of them; first, unless they have a column anyway.
    """
    columns = [(c.title(display), c) for c in table.of("table")]
    cells = [{title: c.in_table(row, display) for title, c in columns} for row in rows]
    frame = pd.DataFrame(cells, columns=[title for title, _ in columns])
    others = {name: words for name, words in identifying.items() if name not in frame}
    for at, (name, words) in enumerate(others.items()):
        frame.insert(at, name, words)
    return frame


def stacked(frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Frames of one table below one another."""
    every = list(frames)
    kept = [frame for frame in every if len(frame)] or every[:1]
    return pd.concat(kept, ignore_index=True) if kept else pd.DataFrame()


def tidy_frame(table: Table, rows: Iterable[Any], **identifying: str) -> pd.DataFrame:
    """A row for each figure that is known, in SI.

    Parameters
    ----------
    table : Table
    rows : iterable
    **identifying
        Words that are the same for all of them.

    Returns
    -------
    DataFrame
        ``table``, the identifying words, ``row`` (from 1), the words of the row, ``name`` (the
        key), ``label``, ``value`` and ``unit``.
    """
    every = [c for c in table.columns if c.json or c.name is not None]
    figures = [c for c in every if c.is_figure]
    words = [c for c in every if c.name is not None and not c.quantity.si]
    found: list[dict[str, Any]] = []
    for number, row in enumerate(rows, start=1):
        about = {c.key: c.in_table(row, Display(METRIC)) for c in words}
        lead = {"table": table.name, **identifying, "row": number, **about}
        found += [
            {**lead, "name": c.key, "label": c.name or c.key, "value": value, "unit": c.quantity.si}
            for c in figures
            if (value := c.value(row)) is not None
        ]
    return pd.DataFrame(found)
