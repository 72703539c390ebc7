"""Declared tables as JSON types in SI, in a stable order."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from evenacre.reports.column import Table


def record(table: Table, row: Any) -> dict[str, Any]:
    """One row by key; what is not known is None."""
    return {column.key: column.value(row) for column in table.of("json")}


def records(table: Table, rows: Iterable[Any]) -> list[dict[str, Any]]:
    """Rows by key."""
    return [record(table, row) for row in rows]
