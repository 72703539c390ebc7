"""Declared tables as frames in the reader's units, for CSV and workbook."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pandas as pd

from evenacre.reports.column import Table
from evenacre.reports.quantities import Display


def data_frame(
    table: Table, rows: Iterable[Any], display: Display, **identifying: str
) -> pd.DataFrame:
    """A row for each row, in the reader's units, which stand in the column names.

    ``identifying`` words are the same for all of them; first, unless they have a column anyway.
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
