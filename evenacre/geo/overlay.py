"""Overlays of polygons that neither fail nor lose ground.

In floating point, edges that all but coincide now and then make an overlay raise, or drop a
whole piece without a word. On a fixed grid (snap rounding) the result is always right to the
grid, a micrometre here: far below what any receiver can tell and any figure shows. The grid
takes three times as long, so callers that can prove a floating-point result by its areas try
that first (`first_consistent`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

Result = TypeVar("Result")
Geometries = npt.NDArray[np.object_]

GRID_M = 1e-6
GRID_DEG = 1e-11
"""The same in degrees."""


def polygonal(geometry: Geometries) -> Geometries:
    """Keep only the polygons of each geometry (overlays also yield lines and points)."""
    mixed = np.flatnonzero(shapely.get_type_id(geometry) == shapely.GeometryType.GEOMETRYCOLLECTION)
    if len(mixed):
        members, owner = shapely.get_parts(geometry[mixed], return_index=True)
        parts, member = shapely.get_parts(members, return_index=True)
        flat = shapely.get_dimensions(parts) == 2
        whole = np.full(len(mixed), shapely.MultiPolygon(), dtype=object)
        shapely.multipolygons(parts[flat], indices=owner[member[flat]], out=whole)
        geometry = geometry.copy()
        geometry[mixed] = whole
    flat = shapely.get_dimensions(geometry) == 2
    return np.where(flat, geometry, shapely.MultiPolygon())


def valid(geometry: Geometries) -> Geometries:
    """Mend the geometries whose rings cross themselves."""
    bad = ~shapely.is_valid(geometry)
    if bad.any():
        geometry = geometry.copy()
        geometry[bad] = polygonal(shapely.make_valid(geometry[bad]))
    return geometry


def union(geometry: Geometries, grid_m: float | None = GRID_M) -> BaseGeometry:
    """Union of polygons; an empty polygon of none."""
    return shapely.union_all(geometry, grid_size=grid_m) if len(geometry) else shapely.Polygon()


def intersect(
    a: Geometries, b: Geometries | BaseGeometry, grid_m: float | None = GRID_M
) -> Geometries:
    """Polygons common to a and b, pair by pair."""
    return polygonal(shapely.intersection(a, b, grid_size=grid_m))


def subtract(
    a: Geometries, b: Geometries | BaseGeometry, grid_m: float | None = GRID_M
) -> Geometries:
    """Polygons of a without b, pair by pair."""
    return polygonal(shapely.difference(a, b, grid_size=grid_m))


def common(a: BaseGeometry, b: BaseGeometry, grid_m: float | None = GRID_M) -> BaseGeometry:
    """Polygons common to two geometries."""
    return intersect(np.array([a]), b, grid_m)[0]


def without(a: BaseGeometry, b: BaseGeometry, grid_m: float | None = GRID_M) -> BaseGeometry:
    """Polygons of one geometry without another."""
    return subtract(np.array([a]), b, grid_m)[0]


def first_consistent(
    compute: Callable[[float | None], Result],
    consistent: Callable[[Result], bool] = lambda _: True,
    grid: float = GRID_M,
) -> Result:
    """Compute in floating point, and on the grid if that fails or its areas do not add up.

    Parameters
    ----------
    compute : callable
        Given the grid (None: floating point).
    consistent : callable
        Whether a result's areas add up.
    """
    try:
        result = compute(None)
        if consistent(result):
            return result
    except shapely.GEOSException:
        pass
    return compute(grid)


def in_degrees(operation: Callable[..., Result], *shapes: Geometries | BaseGeometry) -> Result:
    """Overlay shapes in degrees: in floating point, and on a grid as fine if that fails."""
    return first_consistent(lambda grid: operation(*shapes, grid), grid=GRID_DEG)


def widen(geometry: Geometries, distance_m: float) -> Geometries:
    """Buffer with square corners (negative: narrow); slivers draw no warnings, only nothing."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return valid(shapely.buffer(geometry, distance_m, join_style="mitre"))
