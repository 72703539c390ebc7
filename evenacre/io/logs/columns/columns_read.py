"""What the columns of a log were taken for, beside some of its records."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from evenacre.io.common.findings import one_line
from evenacre.io.tables.record_table import RecordTable
from evenacre.units.parsing import Dimension

_SHARES = (1, 2, 3)  # records at so many quarters of the log: its first ones often tell nothing


@dataclass(frozen=True)
class ColumnRead:
    """A column and what it was taken for.

    Attributes
    ----------
    name : str
    roles : tuple of str
        As the season file writes them, ``rate:18-46-0`` say; empty of a column that is not used.
    dimension : Dimension or None
        Of what its numbers count in the first of these roles.
    unit_si : float or None
        SI value of one of its numbers, where its name or somebody tells that.
    asked : bool
        Whether somebody said what it is.
    cells : tuple of str
        One for each of the records shown.
    """

    name: str
    roles: tuple[str, ...]
    dimension: Dimension | None
    unit_si: float | None
    asked: bool
    cells: tuple[str, ...]


@dataclass(frozen=True)
class ColumnsRead:
    """The columns of one file, and where in it the records shown stand."""

    file: str
    places: tuple[str, ...]
    columns: tuple[ColumnRead, ...]


Seen = Callable[[ColumnsRead], None]
"""Told what a log's columns were taken for, before anything else of it can turn out wrong."""


def rows_shown(table: RecordTable) -> list[int]:
    """Numbers of a few records that lie apart."""
    last = max(len(table) - 1, 0)
    return sorted({last * share // 4 for share in _SHARES}) if len(table) else []


def cells_of(table: RecordTable, column: str, rows: list[int]) -> tuple[str, ...]:
    """Some cells of a column, as short text."""
    cells = (table.data.column(column)[row].as_py() for row in rows)
    return tuple("" if cell is None else one_line(cell, 30) for cell in cells)
