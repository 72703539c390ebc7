"""Overlays of polygons that neither fail nor lose ground.

In floating point, edges that all but coincide now and then make an overlay raise, or drop a
whole piece without a word. On a fixed grid (snap rounding) the result is always right to the
grid, a micrometre here: far below what any receiver can tell and any figure shows. The grid
takes three times as long, so callers that can prove a floating-point result by its areas try
that first (`first_consistent`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.arrays import FloatArray

Result = TypeVar("Result")
Geometries = npt.NDArray[np.object_]
Shape = TypeVar("Shape", Geometries, BaseGeometry)

GRID_M = 1e-6
GRID_DEG = 1e-11
"""The same in degrees."""

_TILE_POINTS = 4000  # corners of ground that is worked on in one go
_COARSER = (1.0, 1e2, 1e4)  # times the grid: a centimetre at most


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


def _overlay(
    operation: Callable[..., Geometries], *geometry: Geometries | BaseGeometry, grid_m: float | None
) -> Geometries:
    """Overlay on a grid, and on coarser ones should that fail; in floating point it may raise."""
    try:
        return operation(*geometry, grid_size=grid_m)
    except shapely.GEOSException as error:
        if grid_m is None:
            raise
        failure = error
    for times in _COARSER:
        try:
            sound = [shapely.set_precision(_mended(g), times * grid_m) for g in geometry]
            return operation(*sound, grid_size=times * grid_m)
        except shapely.GEOSException as error:
            failure = error
    raise failure


def _mended(geometry: Geometries | BaseGeometry) -> Geometries | BaseGeometry:
    one = isinstance(geometry, BaseGeometry)
    return valid(np.array([geometry]))[0] if one else valid(geometry)


def union(geometry: Geometries, grid_m: float | None = GRID_M) -> BaseGeometry:
    """Union of polygons; an empty polygon of none."""
    if not len(geometry):
        return shapely.Polygon()
    # Not `disjoint_subset_union_all`, which is faster: GEOS 3.14 was seen not to come back from it.
    return _overlay(shapely.union_all, geometry, grid_m=grid_m)


def intersect(
    a: Geometries, b: Geometries | BaseGeometry, grid_m: float | None = GRID_M
) -> Geometries:
    """Polygons common to a and b, pair by pair."""
    return polygonal(_overlay(shapely.intersection, a, b, grid_m=grid_m))


def subtract(
    a: Geometries, b: Geometries | BaseGeometry, grid_m: float | None = GRID_M
) -> Geometries:
    """Polygons of a without b, pair by pair."""
    return polygonal(_overlay(shapely.difference, a, b, grid_m=grid_m))


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


def along(lines: Geometries, region: BaseGeometry) -> Geometries:
    """What of each line, or group of lines, lies in a region."""
    return first_consistent(lambda grid: _overlay(shapely.intersection, lines, region, grid_m=grid))


def around(geometry: Shape, distance_m: float, **style: Any) -> Shape:
    """Buffer shapes (a negative distance narrows them), in the style of `shapely.buffer`."""
    # Slivers draw no warnings, only nothing.
    with np.errstate(divide="ignore", invalid="ignore"):
        try:
            return shapely.buffer(geometry, distance_m, **style)
        except shapely.GEOSException:
            rounded = shapely.set_precision(_mended(geometry), GRID_M)
            return shapely.buffer(rounded, distance_m, **style)


def widen(geometry: Geometries, distance_m: float) -> Geometries:
    """Buffer with square corners (negative: narrow)."""
    return valid(around(geometry, distance_m, join_style="mitre"))


def by_tiles(
    ground: BaseGeometry, operation: Callable[[BaseGeometry], BaseGeometry], margin_m: float
) -> BaseGeometry:
    """Work on ground piece by piece, where what becomes of a spot hangs on what is near it alone.

    Buffers of one polygon with many holes take time by the square of their number.

    Parameters
    ----------
    operation : callable
        Given the part of the ground in a rectangle and so much around it.
    margin_m : float
        How far what is near reaches.
    """
    done: list[BaseGeometry] = []
    whole = shapely.bounds(ground)
    tiles = [(ground, whole)] if not ground.is_empty else []
    while tiles:
        part, box = tiles.pop()
        wide = box[2] - box[0] >= box[3] - box[1]
        side = max(box[2] - box[0], box[3] - box[1])
        if shapely.get_num_coordinates(part) <= _TILE_POINTS or side < 20 * margin_m:
            found = operation(part)
            done.append(found if box is whole else _in_box(found, box))
            continue
        middle = (box[0] + box[2]) / 2 if wide else (box[1] + box[3]) / 2
        for low in (True, False):
            half = box.copy()
            half[(2 if low else 0) + (not wide)] = middle
            near = half + margin_m * np.array([-1.0, -1.0, 1.0, 1.0])
            inside = _in_box(part, near)
            if not inside.is_empty:
                tiles.append((inside, half))
    if len(done) == 1:
        return done[0]
    return first_consistent(lambda grid: union(np.array(done, dtype=object), grid))


def _in_box(ground: BaseGeometry, box: FloatArray) -> BaseGeometry:
    """What of some ground lies in an upright rectangle."""
    cut = polygonal(np.array([shapely.clip_by_rect(ground, *box)]))
    return cut[0] if shapely.is_valid(cut[0]) else common(ground, shapely.box(*box))


def simplified(geometry: Geometries, tolerance: float, *, sound: bool = True) -> Geometries:
    """Drop vertices that matter less than a tolerance; not ``sound``: outlines may then cross."""
    try:
        return shapely.simplify(geometry, tolerance, preserve_topology=sound)
    except shapely.GEOSException:
        return geometry


def outlines(polygons: Geometries, tolerance: float) -> tuple[Geometries, npt.NDArray[np.intp]]:
    """Rings of polygons to be drawn, and the polygon of each: the outer one, then the holes.

    Vertices that matter less than a tolerance are left out ring by ring, which takes a twentieth
    of the time that keeping rings clear of one another does: they may cross by as much. One that
    would come to nothing keeps its shape.
    """
    rings, owner = shapely.get_rings(polygons, return_index=True)
    drawn = simplified(rings, tolerance, sound=False)
    lost = shapely.get_num_coordinates(drawn) < 4
    drawn[lost] = simplified(rings[lost], tolerance)
    return drawn, owner
