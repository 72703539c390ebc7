"""Ground in the working plane: overlays that never end a run, and what an audit left to do."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import common, first_consistent, without
from evenacre.model.audit_result import AuditResult

_ROUNDING = 1e-6


def overlaid(operation: Callable[..., Any], *shapes: Any) -> Any:
    """Overlay by a function of shapely: in floating point, and on the grid if that fails."""
    return first_consistent(lambda grid: operation(*shapes, grid_size=grid))


def buffered(shape: Any, distance_m: float, **options: Any) -> Any:
    """Widen (negative: narrow) shapes; what fails as it is, is put on the grid first."""

    def widened(grid_m: float | None) -> Any:
        start = shape if grid_m is None else shapely.set_precision(shape, grid_m)
        return shapely.buffer(start, distance_m, **options)

    return first_consistent(widened)


def opened(shape: Any, reach_m: float, **options: Any) -> Any:
    """Take away what is narrower than twice the reach."""
    return buffered(buffered(shape, -reach_m, **options), reach_m, **options)


def whole_of(shapes: Iterable[BaseGeometry]) -> BaseGeometry:
    """All ground of some shapes as one geometry."""
    whole: BaseGeometry = overlaid(shapely.union_all, np.array([*shapes], dtype=object))
    return whole


def layer_ground(result: AuditResult, layer: str) -> BaseGeometry:
    """All of a layer as one geometry, in the working plane."""
    return whole_of(result.layers[layer].geometry)


def workable_ground(result: AuditResult) -> BaseGeometry:
    """The field without its unworkable ground, in the working plane."""
    return left_of(layer_ground(result, "field"), layer_ground(result, "unworkable"))


def left_of(ground: BaseGeometry, taken: BaseGeometry) -> BaseGeometry:
    """Ground without some of it, and none lost: with what is taken it adds up to the whole."""

    def parts(grid_m: float | None) -> tuple[BaseGeometry, BaseGeometry]:
        return without(ground, taken, grid_m), common(ground, taken, grid_m)

    def whole(parts: tuple[BaseGeometry, BaseGeometry]) -> bool:
        return math.isclose(sum(part.area for part in parts), ground.area, rel_tol=_ROUNDING)

    return first_consistent(parts, whole)[0]
