"""Outlines as people draw them: corners, cut, joined, and brought onto each other's fences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.arrays import FloatArray
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import intersect, polygonal, union, valid, without

# Corners of two outlines that are one corner, drawn or computed twice.
_SAME_M = 0.001
# A corner that was put into an edge on a screen lies so far off it at most.
_SHARED_M = 0.05


def rings_of(shape: BaseGeometry) -> list[FloatArray]:
    """Corners of each ring, line or point of a shape, (n, 2), longitude first; rings are open."""
    found = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon":
            found += [shapely.get_coordinates(ring)[:-1] for ring in shapely.get_rings(part)]
        else:
            found.append(shapely.get_coordinates(part))
    return found


def ground_in(rings: Sequence[FloatArray]) -> BaseGeometry:
    """Ground that rings of corners, shape (n, 2), enclose: what lies in one within another is out.

    Rings that cross themselves or each other give a shape that is not valid.
    """
    each = [shapely.Polygon(ring) for ring in rings]
    if len(each) == 1:
        return each[0]
    around = [
        [n for n, other in enumerate(each) if n != number and other.contains(one)]
        for number, one in enumerate(each)
    ]
    shells = [n for n, outer in enumerate(around) if len(outer) % 2 == 0]
    parts = [
        shapely.Polygon(
            rings[n],
            [
                rings[hole]
                for hole, outer in enumerate(around)
                if n in outer and len(outer) == len(around[n]) + 1
            ],
        )
        for n in shells
    ]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def split(ground: BaseGeometry, line: BaseGeometry) -> list[BaseGeometry]:
    """Cut ground along a line, both in degrees; the largest piece comes first.

    An end of the line that lies inside is drawn on straight to the edge. Pieces share the cut,
    corner for corner, and keep the corners that the ground had. A line that does not cross the
    ground gives one piece.
    """
    plane = WorkingPlane.around(ground)
    flat, cut = plane.project(ground), plane.project(line)
    cut = _drawn_on(flat, _drawn_on(flat, cut).reverse())
    noded = shapely.union_all([flat.boundary, cut])
    pieces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    pieces = pieces[shapely.contains(flat, shapely.point_on_surface(pieces))]
    pieces = pieces[np.argsort(-shapely.area(pieces), kind="stable")]
    return list(_in_degrees(plane, pieces, ground))


def _drawn_on(ground: BaseGeometry, line: BaseGeometry) -> BaseGeometry:
    """A line that begins on the edge of the ground, or outside it."""
    corners = shapely.get_coordinates(line)
    start = corners[0]
    if not ground.contains(shapely.Point(start)):
        return line
    ahead = (start - corners[1]) / np.hypot(*(start - corners[1]))
    west, south, east, north = ground.bounds
    beyond = start + ahead * (east - west + north - south)
    inside = shapely.intersection(shapely.LineString([start, beyond]), ground)
    first = shapely.get_coordinates(shapely.get_parts(inside)[0])
    # A little farther, so that it crosses the edge and does not only touch it.
    end = first[np.argmax(np.hypot(*(first - start).T))] + ahead * _SAME_M
    return shapely.LineString([end, *corners])


def joined(shapes: Sequence[BaseGeometry]) -> BaseGeometry:
    """Ground of several outlines in degrees as one; a fence between them goes."""
    every = np.array(shapes, dtype=object)
    plane = WorkingPlane.around(every)
    return _in_degrees(plane, np.array([union(plane.project(every), _SAME_M)]), *shapes)[0]


def apart_m(one: BaseGeometry, other: BaseGeometry) -> float:
    """Distance between two outlines in degrees."""
    plane = WorkingPlane.around(np.array([one, other]))
    return float(plane.project(one).distance(plane.project(other)))


def left_of(ground: BaseGeometry, others: Sequence[BaseGeometry]) -> BaseGeometry:
    """Ground in degrees without that of others: it ends at their fences, corner for corner."""
    every = np.array([ground, *others], dtype=object)
    plane = WorkingPlane.around(ground)
    flat = valid(plane.project(every))
    near = flat[1:][shapely.intersects(flat[1:], flat[0])]
    if not len(near):
        return ground
    left = polygonal(np.array([without(flat[0], union(near))]))
    return _in_degrees(plane, left, *every)[0]


def shared_m2(one: BaseGeometry, others: Sequence[BaseGeometry]) -> FloatArray:
    """Area that a shape has in common with each of others, (n,), all in degrees."""
    every = np.array([one, *others], dtype=object)
    flat = valid(WorkingPlane.around(one).project(every))
    return np.asarray(shapely.area(intersect(flat[1:], flat[0])))


def onto_fences(
    rings: Sequence[FloatArray], others: Sequence[BaseGeometry], within_m: float
) -> tuple[list[FloatArray], int]:
    """Bring corners that are near an outline onto it, so that both share a fence.

    Parameters
    ----------
    rings : sequence of array
        Corners, (n, 2), longitude first, of outlines that close.
    others : sequence of geometry
        Outlines in degrees.
    within_m : float
        How near counts: a corner goes to a corner within twice that, else to the nearest edge;
        corners of others this near to an edge become corners of it.

    Returns
    -------
    list of array
    int
        How many corners were moved or added.
    """
    if not len(others):
        return list(rings), 0
    whole = np.array([*others, *map(shapely.MultiPoint, rings)], dtype=object)
    plane = WorkingPlane.around(whole[len(others) :])
    known = np.vstack([r for other in others for r in rings_of(other)])
    flat = np.column_stack(plane.xy(known[:, 0], known[:, 1]))
    seen = np.isfinite(flat).all(axis=1)  # those beyond what the plane can show are far away
    known, flat = known[seen], flat[seen]
    fences = shapely.boundary(plane.project(whole[: len(others)]))
    fences = fences[np.isfinite(shapely.bounds(fences)).all(axis=1)]
    if not len(fences):
        return list(rings), 0
    corners = shapely.STRtree(shapely.points(flat))
    found, changed = [], 0
    for ring in rings:
        xy = np.column_stack(plane.xy(ring[:, 0], ring[:, 1]))
        moved, to = ring.copy(), xy.copy()
        at = shapely.points(xy)
        for number, point in enumerate(at):
            near = corners.query_nearest(point, max_distance=2 * within_m, all_matches=False)
            if len(near):
                moved[number], to[number] = known[near[0]], flat[near[0]]
                continue
            away = shapely.distance(fences, point)
            if away.min() <= within_m:
                fence = fences[np.argmin(away)]
                spot = shapely.line_interpolate_point(fence, fence.project(point))
                to[number] = shapely.get_coordinates(spot)[0]
                moved[number] = _lonlat(plane, to[number : number + 1])[0]
        changed += int((np.hypot(*(to - xy).T) > _SAME_M).sum())
        kept = _without_repeats(moved, to)
        with_theirs, added = _with_corners_of(moved[kept], to[kept], known, flat, within_m)
        found.append(with_theirs)
        changed += added
    return found, changed


def moved_along(
    shape: BaseGeometry, moves: Sequence[tuple[FloatArray, FloatArray]]
) -> BaseGeometry:
    """An outline with the corners that it shares with a neighbour where the neighbour moved them.

    Parameters
    ----------
    shape : geometry
        In degrees.
    moves : sequence of (array, array)
        From where to where, each (longitude, latitude). What was on an edge becomes a corner.
    """
    plane = WorkingPlane.around(shape)
    rings = rings_of(shape)
    flats = [np.column_stack(plane.xy(ring[:, 0], ring[:, 1])) for ring in rings]
    changed = [ring.copy() for ring in rings]
    added: list[list[tuple[float, FloatArray]]] = [[] for _ in rings]
    for start, end in moves:
        xy = np.column_stack(plane.xy(start[:1], start[1:]))[0]
        for ring, flat, more in zip(changed, flats, added, strict=True):
            at = np.flatnonzero(np.hypot(*(flat - xy).T) <= _SHARED_M)
            fence = shapely.LinearRing(flat)
            if len(at):
                ring[at] = end
            elif fence.distance(shapely.Point(xy)) <= _SHARED_M:
                more.append((fence.project(shapely.Point(xy)), end))
    for n, (flat, more) in enumerate(zip(flats, added, strict=True)):
        ends = np.cumsum(np.hypot(*(np.roll(flat, -1, axis=0) - flat).T))
        more.sort(key=lambda one: one[0], reverse=True)
        for along, end in more:
            changed[n] = np.insert(changed[n], int(np.searchsorted(ends, along)) + 1, end, axis=0)
    return ground_in(changed) if any(map(len, changed)) else shape


def _without_repeats(ring: FloatArray, xy: FloatArray) -> FloatArray:
    """Which corners are not the one before them again; all, where too few would be left."""
    kept = np.hypot(*(xy - np.roll(xy, 1, axis=0)).T) > _SAME_M
    return kept if kept.sum() >= 3 else np.full(len(ring), True)


def _with_corners_of(
    ring: FloatArray, xy: FloatArray, known: FloatArray, flat: FloatArray, within_m: float
) -> tuple[FloatArray, int]:
    """A ring with corners of others that lie along its edges put in between."""
    rows: list[FloatArray] = []
    for number, start in enumerate(xy):
        rows.append(ring[number : number + 1])
        way = xy[(number + 1) % len(xy)] - start
        length = float(np.hypot(*way))
        if length <= _SAME_M:
            continue
        along = (flat - start) @ way / length
        off = np.abs((flat - start) @ np.array([-way[1], way[0]])) / length
        between = (off <= within_m) & (along > 2 * within_m) & (along < length - 2 * within_m)
        order = np.argsort(along[between], kind="stable")
        spots = along[between][order]
        # One corner that several outlines share comes once.
        once = np.concatenate([[True], np.diff(spots) > _SAME_M])[: len(spots)]
        rows.append(known[between][order][once])
    whole = np.vstack(rows)
    return whole, len(whole) - len(ring)


def _in_degrees(plane: WorkingPlane, shapes: np.ndarray, *were: BaseGeometry) -> np.ndarray:
    """Bring shapes of the plane back to degrees; corners that had degrees keep them."""
    known = np.vstack([shapely.get_coordinates(one) for one in were])
    flat = np.column_stack(plane.xy(known[:, 0], known[:, 1]))
    usable = np.isfinite(flat).all(axis=1)
    tree = shapely.STRtree(shapely.points(flat[usable]))

    def back(xy: FloatArray) -> FloatArray:
        lonlat = _lonlat(plane, xy)
        here, there = tree.query_nearest(
            shapely.points(xy), max_distance=_SAME_M, all_matches=False
        )
        lonlat[here] = known[usable][there]
        return lonlat

    return np.asarray(shapely.transform(shapes, back))


def _lonlat(plane: WorkingPlane, xy: FloatArray) -> FloatArray:
    """Degrees of places in the plane, to a micrometre.

    PROJ's inverse alone is a millimetre or two off; what it is off by is taken from it once.
    """
    once = plane.lonlat(xy[:, 0], xy[:, 1])
    off = np.column_stack(plane.xy(*once)) - xy
    return np.column_stack(plane.lonlat(*(xy - off).T))
