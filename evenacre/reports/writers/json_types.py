"""Accounts for machines as plain JSON types."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

_DIGITS = 12


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
