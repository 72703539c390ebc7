"""Declared tables as frames: in the reader's units for CSV and workbook, or tidy in SI."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pandas as pd

from evenacre.reports.column import Display, Table


def data_frame(table: Table, rows: Iterable[Any], display: Display) -> pd.DataFrame:
    """A row for each row, in the reader's units, which stand in the column names."""
    columns = [(c.title(display), c) for c in table.of("table")]
    cells = [{title: c.in_table(row, display) for title, c in columns} for row in rows]
    return pd.DataFrame(cells, columns=[title for title, _ in columns])
