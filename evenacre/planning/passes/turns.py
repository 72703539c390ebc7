"""The shortest turn from one pass to the next for a machine with a tightest turn.

A shortest path that never turns tighter than a radius is made of three pieces, arcs of that
radius and straights, in one of six ways (Dubins 1957, American Journal of Mathematics 79);
the lengths are those of Shkel and Lumelsky 2001, Robotics and Autonomous Systems 34.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from evenacre.geo.overlay import union
from evenacre.model import FloatArray
from evenacre.planning.passes.pass_types import PassPlan, PlannedPass

# Each way: left turns are 1, straights 0, right turns -1.
_WAYS = np.array(
    [[1, 0, 1], [-1, 0, -1], [1, 0, -1], [-1, 0, 1], [-1, 1, -1], [1, -1, 1]], dtype=float
)
_STEP_M = 1.0
_FULL = 2.0 * np.pi

# A turn that leaves the ground by no more than this runs along its edge.
_EDGE_M = 0.1


def turn_lines(
    start: FloatArray, end: FloatArray, radius_m: float
) -> tuple[shapely.LineString, ...]:
    """Shortest turns between poses as lines, a point about every metre.

    Poses are x and y in metres and the heading in radians, counter-clockwise from the x axis,
    shape (n, 3); the radius of the tightest turn is more than 0.
    """
    way, parts = shortest_turns(start, end, radius_m)
    return tuple(
        _line(pose, last[:2], _WAYS[w], part, radius_m)
        for pose, last, w, part in zip(start, end, way, parts, strict=True)
    )


def shortest_turns(
    start: FloatArray, end: FloatArray, radius_m: float
) -> tuple[FloatArray, FloatArray]:
    """The shortest way of each pair (n,), and its three lengths in radii (n, 3)."""
    dx, dy = (end[:, :2] - start[:, :2]).T / radius_m
    d = np.hypot(dx, dy)
    toward = np.arctan2(dy, dx)
    a, b = np.mod(start[:, 2] - toward, _FULL), np.mod(end[:, 2] - toward, _FULL)
    ways = np.stack(_lengths(d, a, b))  # (6, n, 3)
    total = np.nan_to_num(ways.sum(axis=2), nan=np.inf)
    way = np.argmin(total, axis=0)
    return way, ways[way, np.arange(len(d))]


def _lengths(d: FloatArray, a: FloatArray, b: FloatArray) -> list[FloatArray]:
    """Lengths of the six ways, in the order of ``_WAYS``; NaN where there is no such way.

    They come in pairs: every other one is the one before it in a mirror.
    """
    cab, sides = np.cos(a - b), []
    for left, right in ((a, b), (-a, -b)):
        sa, sb, ca, cb = np.sin(left), np.sin(right), np.cos(left), np.cos(right)
        with np.errstate(invalid="ignore"):
            aim = np.arctan2(cb - ca, d + sa - sb)
            p = _root(2 + d**2 - 2 * cab + 2 * d * (sa - sb))
            lsl = _three(aim - left, p, right - aim)
            p = _root(-2 + d**2 + 2 * cab + 2 * d * (sa + sb))
            aim = np.arctan2(-ca - cb, d + sa + sb) - np.arctan2(-2.0, p)
            lsr = _three(aim - left, p, aim - right)
            p = _FULL - np.arccos((6 - d**2 + 2 * cab + 2 * d * (sa - sb)) / 8)
            t = left - np.arctan2(ca - cb, d - sa + sb) + p / 2
            rlr = _three(t, p, left - right - t + p)
        sides.append((lsl, lsr, rlr))
    return [way for pair in zip(*sides, strict=True) for way in pair]


def _root(square: FloatArray) -> FloatArray:
    # Rounding must not turn a straight of no length into none at all.
    return np.sqrt(np.where(np.abs(square) < 1e-12, 0.0, square))


def _three(first: FloatArray, middle: FloatArray, last: FloatArray) -> FloatArray:
    arcs = np.mod(np.stack([first, last]), _FULL)
    # A full circle less rounding is no turn at all.
    arcs = np.where(arcs > _FULL - 1e-9, 0.0, arcs)
    return np.stack([arcs[0], middle, arcs[1]], axis=1)


def _line(
    start: FloatArray, end: FloatArray, way: FloatArray, parts: FloatArray, radius_m: float
) -> shapely.LineString:
    """Follow the three pieces, and end where the next pass begins."""
    x, y, heading = start
    points = [np.array([[x, y]])]
    for bend, part in zip(way, parts, strict=True):
        s = np.linspace(0.0, part, max(int(np.ceil(part * radius_m / _STEP_M)), 1) + 1)[1:]
        turned = heading + bend * s
        if bend:
            dx = (np.sin(turned) - np.sin(heading)) / bend
            dy = (np.cos(heading) - np.cos(turned)) / bend
        else:
            dx, dy = s * np.cos(heading), s * np.sin(heading)
        points.append(np.column_stack([x + radius_m * dx, y + radius_m * dy]))
        x, y = points[-1][-1]
        heading = turned[-1]
    line = np.concatenate(points)
    line[-1] = end
    return shapely.LineString(line)


def driven_in_order(passes: list[PlannedPass], start: FloatArray) -> list[PlannedPass]:
    """Order passes, driven either way: from where one ends to the nearest end of one still to do.

    The machine is at ``start`` (2,) to begin with.
    """
    if not passes:
        return []
    ends = np.array([[p.line.coords[0], p.line.coords[-1]] for p in passes])
    left = np.ones(len(passes), dtype=bool)
    here, out = start, []
    for _ in passes:
        away = np.hypot(*np.moveaxis(ends - here, 2, 0))
        away[~left] = np.inf
        which, end = divmod(int(np.argmin(away)), 2)
        left[which] = False
        chosen = passes[which]
        line = chosen.line.reverse() if end else chosen.line
        out.append(replace(chosen, line=line))
        here = ends[which, 1 - end]
    return out


def poses(passes: list[PlannedPass]) -> tuple[FloatArray, FloatArray]:
    """Where each pass begins and ends, and the headings there, shape (n, 3) each."""
    ways = [np.array(planned.line.coords) for planned in passes]
    begin = [[*xy[0], np.arctan2(*(xy[1] - xy[0])[::-1])] for xy in ways]
    finish = [[*xy[-1], np.arctan2(*(xy[-1] - xy[-2])[::-1])] for xy in ways]
    return np.array(begin).reshape(-1, 3), np.array(finish).reshape(-1, 3)


@dataclass(frozen=True)
class TurnRoom:
    """Turns that leave the ground that is worked or crossed."""

    turns: int
    beyond_m: float  # the farthest that the middle of the tool gets from the ground


def turn_room(plan: PassPlan) -> TurnRoom:
    """Find the turns of a drive that leave the ground it works or crosses, and how far."""
    if not plan.turns:
        return TurnRoom(0, 0.0)
    points, turn = shapely.get_coordinates(np.array(plan.turns), return_index=True)
    ground = union(np.array([plan.workable, plan.crossed])) if plan.crossed else plan.workable
    shapely.prepare(ground)
    away = shapely.distance(shapely.points(points), ground)
    out = away > _EDGE_M
    return TurnRoom(len(np.unique(turn[out])), float(away.max()) if out.any() else 0.0)
