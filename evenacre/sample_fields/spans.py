"""Sets of intervals on a line, as arrays of (start, end) rows in rising order."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.sample_fields.paths import FloatArray


def merged(spans: FloatArray, bridge: float = 0.0) -> FloatArray:
    """Overlapping spans, and spans closer than ``bridge``, made one."""
    if len(spans) == 0:
        return np.empty((0, 2))
    spans = spans[np.argsort(spans[:, 0], kind="stable")]
    reach = np.maximum.accumulate(spans[:, 1])
    first = np.concatenate(([True], spans[1:, 0] > reach[:-1] + bridge))
    last = np.concatenate((first[1:], [True]))
    return np.column_stack((spans[first, 0], reach[last]))


def without(spans: FloatArray, start: float, end: float) -> FloatArray:
    """Spans with everything between ``start`` and ``end`` taken out."""
    before = np.column_stack((spans[:, 0], np.minimum(spans[:, 1], start)))
    after = np.column_stack((np.maximum(spans[:, 0], end), spans[:, 1]))
    both = np.concatenate((before, after))
    return merged(both[both[:, 1] > both[:, 0]])


def where(on: np.ndarray, at: FloatArray, guard: float) -> FloatArray:
    """Spans of ``at`` over which the samples ``on`` are true, widened by ``guard``."""
    change = np.diff(np.concatenate(([0], on.astype(np.int8), [0])))
    first, last = np.flatnonzero(change > 0), np.flatnonzero(change < 0) - 1
    spans = merged(np.column_stack((at[first] - guard, at[last] + guard)), bridge=1.0)
    return np.clip(spans, at[0], at[-1])


def across(area: BaseGeometry, low_y: float, high_y: float, guard: float) -> FloatArray:
    """Spans of x over which a strip along x touches ``area``, widened by ``guard``."""
    min_x, _, max_x, _ = area.bounds
    strip = shapely.box(min_x - 1.0, low_y, max_x + 1.0, high_y)
    parts = shapely.get_parts(shapely.intersection(area, strip))
    parts = parts[shapely.area(parts) > 0.05]
    bounds = shapely.bounds(parts).reshape(-1, 4)
    return merged(np.column_stack((bounds[:, 0] - guard, bounds[:, 2] + guard)), bridge=1.0)


def contains(spans: FloatArray, at: FloatArray) -> np.ndarray:
    """Whether each value of ``at`` lies inside a span."""
    if len(spans) == 0:
        return np.zeros(len(at), dtype=bool)
    index = np.searchsorted(spans[:, 0], at, side="right") - 1
    return np.asarray((index >= 0) & (at < spans[np.maximum(index, 0), 1]))
