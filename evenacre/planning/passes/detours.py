"""Turns with the tool lifted that go round ground it must not cross."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from scipy.sparse.csgraph import dijkstra
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from evenacre.model import FloatArray
from evenacre.planning.ground import buffered, overlaid
from evenacre.planning.passes.turns import turn_lines

# Outlines are coarser by this until they have no more corners to go round than that.
_COARSER_M = (0.5, 1.0, 2.0, 4.0, 8.0)
_MOST_CORNERS = 80
# A turn whose middle is on forbidden ground for less than this only brushes it.
_BRUSH_M = 0.5
# A way round that is longer than so many times the way across is none: near a pond it is better to
# back up, or to leave room with one more round.
_FAR = 2.0


class Detours:
    """Free ground for the middle of a lifted tool, and the shortest ways over it.

    Parameters
    ----------
    free : geometry
        Where the tool may be, in the working plane.
    clear_m : float
        How far its middle keeps from the edge of that.
    radius_m : float
        Of the tightest turn.
    coarser_m : sequence of float
        Outlines are taken coarser by the first of these with which they have few corners.
    """

    def __init__(
        self,
        free: BaseGeometry,
        clear_m: float,
        radius_m: float,
        coarser_m: Sequence[float] = _COARSER_M,
    ) -> None:
        self.free = free
        self.lane = buffered(free, -clear_m, quad_segs=4)
        self.radius_m, self.coarser_m = radius_m, coarser_m
        self._graphs: dict[float, tuple[FloatArray, FloatArray]] = {}

    def around(
        self, turns: Sequence[shapely.LineString], start: FloatArray, end: FloatArray
    ) -> tuple[tuple[shapely.LineString, ...], int]:
        """Replace turns that leave free ground where there is a way round; how many still do.

        ``start`` and ``end`` are the poses of each turn, shape (n, 3).
        """
        lines = np.array(turns, dtype=object)
        if not len(lines):
            return tuple(turns), 0
        shapely.prepare(self.free)
        off = np.flatnonzero(~shapely.covers(self.free, lines))
        left = 0
        for k in off[_beyond_m(lines[off], self.free) > _BRUSH_M]:
            # Farther out where a turn close by would loop back over what it goes round.
            for clear_m in (0.0, self.radius_m):
                line = self._detour(start[k], end[k], clear_m)
                good = line is not None and line.length <= _FAR * lines[k].length
                if good and _beyond_m(line, self.free) <= _BRUSH_M:
                    lines[k] = line
                    break
            else:
                left += 1
        return tuple(lines), left

    def _detour(
        self, start: FloatArray, end: FloatArray, clear_m: float
    ) -> shapely.LineString | None:
        """Along the taut string from one end to the other, rounded by turns at its corners."""
        taut = self.taut(start, end, clear_m)
        if taut is None:
            return None
        ahead = np.exp(1j * taut[:, 2]) + np.exp(1j * taut[:, 3])
        poses = np.column_stack([taut[:, :2], np.angle(ahead)])
        every = np.vstack([start[None], poses, end[None]])
        parts = turn_lines(every[:-1], every[1:], self.radius_m)
        way = [np.asarray(part.coords)[1:] for part in parts]
        return shapely.LineString(np.concatenate([start[None, :2], *way]))

    def taut(self, start: FloatArray, end: FloatArray, clear_m: float) -> FloatArray | None:
        """Corners of the taut string from one end to the other, shape (c, 4); None: no way.

        Place, and headings before and after it. They lie ``clear_m`` farther inside than the lane.
        """
        if clear_m not in self._graphs:
            self._graphs[clear_m] = self._graph(clear_m)
        corners, between = self._graphs[clear_m]
        if not len(corners):
            return None
        points = np.vstack([corners, start[None, :2], end[None, :2]])
        count = len(corners)
        away = np.full((count + 2, count + 2), np.inf)
        away[:count, :count] = between
        for own in (count, count + 1):
            away[own, :count] = away[:count, own] = self._seen_m(points[own], corners)
        away[~np.isfinite(away)] = 0.0  # no edge
        _, before = dijkstra(away, indices=count, return_predecessors=True)
        path = [count + 1]
        while path[-1] != count:
            if before[path[-1]] < 0:
                return None
            path.append(int(before[path[-1]]))
        xy = points[path[::-1]]
        step = np.diff(xy, axis=0)
        heading = np.arctan2(step[:, 1], step[:, 0])
        return np.column_stack([xy[1:-1], heading[:-1], heading[1:]])

    def _graph(self, clear_m: float) -> tuple[FloatArray, FloatArray]:
        """Corners so far inside the lane that a taut string bends at; distances where in sight.

        Shapes (n, 2) and (n, n); infinite where one is not seen from the other.
        """
        xy = np.zeros((0, 2))
        for coarser in self.coarser_m:
            # Widened by what it is coarser, so that the string stays off what is forbidden.
            lane = buffered(self.lane, -clear_m - coarser, quad_segs=2).simplify(coarser / 2)
            found = [
                _inward(shapely.get_coordinates(ring)[:-1])
                for part in shapely.get_parts(lane)
                for ring in (orient(part).exterior, *orient(part).interiors)
            ]
            xy = np.concatenate([np.zeros((0, 2)), *found])
            if len(xy) <= _MOST_CORNERS:
                break
        return xy, np.array([self._seen_m(one, xy) for one in xy]).reshape(len(xy), len(xy))

    def _seen_m(self, one: FloatArray, others: FloatArray) -> FloatArray:
        """Distances to points that a straight way over free ground leads to, infinite to others."""
        lines = shapely.linestrings(np.stack([np.broadcast_to(one, others.shape), others], axis=1))
        length = shapely.length(lines)
        # The ends of passes may lie beside what the tool must not cross with all of its width.
        seen = _beyond_m(lines, self.lane) <= _BRUSH_M
        return np.where(seen & (length > 0), length, np.inf)


def _beyond_m(lines: Any, ground: BaseGeometry) -> FloatArray:
    inside = shapely.length(overlaid(shapely.intersection, lines, ground))
    return np.asarray(shapely.length(lines) - inside)


def _inward(xy: FloatArray) -> FloatArray:
    """Corners of a ring, free ground on its left, at which that bends round forbidden ground."""
    if len(xy) < 3:
        return xy[:0]
    ahead = np.roll(xy, -1, axis=0) - xy
    behind = np.roll(ahead, 1, axis=0)
    return xy[behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0] < 0]
