"""Declared tables as JSON types in SI, in a stable order."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from evenacre.reports.column import Table


def record(table: Table, row: Any) -> dict[str, Any]:
    """One row by key; what is not known is None."""
    return {column.key: _plain(column.rows, column.value(row)) for column in table.of("json")}


def _plain(rows: Table | None, value: Any) -> Any:
    if rows is None or value is None:
        return value
    return records(rows, value) if isinstance(value, list | tuple) else record(rows, value)


def records(table: Table, rows: Iterable[Any]) -> list[dict[str, Any]]:
    """Rows by key."""
    return [record(table, row) for row in rows]
