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
    every = list(rows)
    told = {
        column.title(display): [column.in_table(row, display) for row in every]
        for column in table.of("table")
    }
    first = {name: words for name, words in identifying.items() if name not in told}
    kind = None if every else object
    return pd.DataFrame({**first, **told}, index=range(len(every)), dtype=kind)


def stacked(frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Frames of one table below one another."""
    every = list(frames)
    kept = [frame for frame in every if len(frame)] or every[:1]
    return pd.concat(kept, ignore_index=True) if kept else pd.DataFrame()
