"""Declared tables as JSON types in SI, in a stable order."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from evenacre.reports.column import Table

_DIGITS = 12


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


def json_types(value: Any) -> Any:
    """Turn numpy scalars and dates into plain ones, round off noise, and NaN into None."""
    if dataclasses.is_dataclass(value):
        value = vars(value)
    if isinstance(value, Mapping):
        return {str(k): json_types(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [json_types(v) for v in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None
    if isinstance(value, dt.date):
        return value.isoformat()
    return value
