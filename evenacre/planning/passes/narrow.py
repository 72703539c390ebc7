"""Runs along the middle of ground that is narrower than the tool."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import Voronoi
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import common, polygonal, without
from evenacre.model import IntArray
from evenacre.planning.ground import buffered, opened, overlaid, whole_of
from evenacre.planning.passes.layout import left_by
from evenacre.planning.passes.smooth_legs import smoothed
from evenacre.planning.passes.strips import LEFTOVER
from evenacre.planning.passes.swaths import stretches_on, swath

# Where less than this share of the tool is on the ground, more is sown beside it than on it.
_NARROWEST = 0.5
# Sides that come together faster than this (both) are a corner and no strip.
_TAPER_RAD = math.radians(10.0)
# Two sides face each other where the middle sees them under more than this.
_FACING_RAD = math.radians(120.0)
# Points on the outline, as shares of the width.
_SAMPLE = 0.125
# A strip is so many widths long at least.
_SHORTEST = 1.0
# How far a run may lie to a side of the middle, in widths, where a fence is near; one is that leads
# over so much more of its length.
_SHIFTS = (0.0, *(sign * share / 20 for share in range(1, 11) for sign in (1, -1)))
_LONGER = 0.1
# Of what a run sweeps on the ground, at least so much is not done yet.
_NEW = 0.5


def middle_runs(
    workable: BaseGeometry,
    lines: Sequence[shapely.LineString],
    width_m: float,
    bend_m: float,
    free: BaseGeometry,
) -> list[shapely.LineString]:
    """Lay runs along strips of ground that are narrower than the tool, and wider than half of it.

    The middle is where the two nearest points of the outline face each other: the medial axis
    without its branches into corners, found from the Voronoi diagram of points on the outline.

    Parameters
    ----------
    workable : geometry
    lines : sequence of geometry
        Runs there are already.
    width_m : float
        Of the tool.
    bend_m : float
        Over how far a bend is spread.
    free : geometry
        Ground the tool may stick out over; a run is left out where it would leave this.
    """
    narrow = without(workable, opened(workable, width_m / 2 * (1 + LEFTOVER), quad_segs=8))
    strips = [g for g in shapely.get_parts(narrow) if g.area > _NARROWEST * width_m**2]
    left = left_by(workable, lines, width_m) if strips else []
    if not left:
        return []
    todo = whole_of(left)
    runs: list[shapely.LineString] = []
    for middle in _middles(workable, whole_of(strips), width_m):
        line = smoothed(middle, bend_m, buffered(shapely.box(*middle.bounds), width_m), width_m)
        line = _to_the_end(line, todo, width_m)
        line = _to_the_end(line.reverse(), todo, width_m)
        for part in _beside(line, free, width_m):
            swept = swath(part, width_m)
            new, ground = common(swept, todo).area, common(swept, workable).area
            if part.length >= _SHORTEST * width_m and new > _NEW * ground:
                runs.append(part)
                todo = without(todo, swept)
    return runs


def _beside(
    line: shapely.LineString, free: BaseGeometry, width_m: float
) -> list[shapely.LineString]:
    """Stretches of a line, or of one to a side of it, along which the tool is over free ground.

    The nearest on which most of it is.
    """
    best: list[shapely.LineString] = []
    for shift in _SHIFTS:
        moved = shapely.offset_curve(line, shift * width_m) if shift else line
        if moved.geom_type != "LineString" or moved.is_empty:
            continue
        found = stretches_on(free, moved, width_m)
        length = sum(part.length for part in found)
        if length > sum(part.length for part in best) + _LONGER * line.length:
            best = found
        if length >= (1 - _LONGER) * line.length:
            break
    return best


def _middles(
    workable: BaseGeometry, strips: BaseGeometry, width_m: float
) -> list[shapely.LineString]:
    """The middle of each strip, without branches."""
    near = shapely.segmentize(polygonal(np.array([workable]))[0], width_m * _SAMPLE)
    points = np.unique(shapely.get_coordinates(near), axis=0)
    diagram = Voronoi(points)
    ridges = np.asarray(diagram.ridge_vertices)
    sides, ridges = diagram.ridge_points[(ridges >= 0).all(axis=1)], ridges[(ridges >= 0).all(1)]
    ends = diagram.vertices[ridges]  # (n, 2, 2)
    away = np.hypot(*np.moveaxis(ends - points[sides[:, :1]], 2, 0))  # (n, 2), to the outline
    apart = np.hypot(*(points[sides[:, 0]] - points[sides[:, 1]]).T)
    keep = (
        (apart[:, None] >= 2 * away * math.sin(_FACING_RAD / 2)).all(axis=1)
        & (away >= _NARROWEST * width_m / 2).all(axis=1)
        & (away <= (1 + LEFTOVER) * width_m / 2).all(axis=1)
    )
    keep[keep] = shapely.contains_xy(workable, *np.moveaxis(ends[keep], 2, 0)).all(axis=1)
    keep[keep] = shapely.intersects(strips, shapely.linestrings(ends[keep]))
    ridges, length = ridges[keep], np.hypot(*(ends[keep, 0] - ends[keep, 1]).T)
    if not len(ridges):
        return []
    clear = np.zeros(len(diagram.vertices))
    clear[ridges] = away[keep]
    size = len(diagram.vertices)
    graph = coo_array((np.maximum(length, 1e-9), tuple(ridges.T)), shape=(size, size)).tocsr()
    _, label = connected_components(graph, directed=False)
    found = []
    for one in np.unique(label[ridges[:, 0]]):
        path = _longest(graph, int(ridges[label[ridges[:, 0]] == one][0, 0]))
        xy = diagram.vertices[path]
        line = shapely.LineString(xy).simplify(_SAMPLE * width_m / 2)
        tapers = abs(clear[path[0]] - clear[path[-1]]) > math.sin(_TAPER_RAD / 2) * line.length
        if line.length > 0 and not tapers:
            found.append(line)
    return found


def _longest(graph: csr_array, start: int) -> IntArray:
    """The longest of the shortest ways through a connected part of a graph, as node numbers."""
    away = dijkstra(graph, directed=False, indices=start)
    first = int(np.argmax(np.where(np.isfinite(away), away, -1.0)))
    away, before = dijkstra(graph, directed=False, indices=first, return_predecessors=True)
    node = int(np.argmax(np.where(np.isfinite(away), away, -1.0)))
    path = [node]
    while node != first:
        node = int(before[node])
        path.append(node)
    return np.array(path)


def _to_the_end(line: shapely.LineString, todo: BaseGeometry, width_m: float) -> shapely.LineString:
    """Run a line straight on as far as there is ground to do ahead of it."""
    xy = np.asarray(line.coords)
    ahead = (xy[-1] - xy[-2]) / np.hypot(*(xy[-1] - xy[-2]))
    on = shapely.LineString([xy[-1], xy[-1] + width_m * ahead])
    ground = overlaid(shapely.intersection, swath(on, width_m), todo)
    reach = ((shapely.get_coordinates(ground) - xy[-1]) @ ahead).max(initial=0.0)
    return shapely.LineString([*xy, xy[-1] + reach * ahead]) if reach > 0 else line
