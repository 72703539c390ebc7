"""The ground of an audited field: what can be worked, and what is left of it."""

from __future__ import annotations

import math

import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import common, first_consistent, without
from evenacre.model.audit_result import AuditResult

_ROUNDING = 1e-6


def layer_ground(result: AuditResult, layer: str) -> BaseGeometry:
    """All of a layer as one geometry, in the working plane."""
    return shapely.union_all(result.layers[layer].geometry.to_numpy())


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
