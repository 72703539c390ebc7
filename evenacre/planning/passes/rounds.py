"""Headland rounds: legs along the boundary and round holes, and short runs into sharp corners."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import ops
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import polygonal, without
from evenacre.model import BoolArray, FloatArray
from evenacre.planning.ground import buffered, opened, overlaid
from evenacre.planning.passes.pass_types import PlannedPass
from evenacre.planning.passes.strips import LEFTOVER
from evenacre.planning.passes.swaths import swath

# A bend of more than this within the width of the tool is a corner: lift, turn, and go on. So is
# any that is tighter than the machine turns.
_CORNER_RAD = math.radians(75.0)
# Bends of less than this are not worth a point (m); neither is ground outside by so much.
_SMOOTH_M = 0.02
# Bends of less than this are no part of a corner.
_BEND_RAD = math.radians(2.0)
# Into a sharper corner than this the tool does not run out any further.
_SHARPEST_RAD = math.radians(150.0)
# A round about less ground than this is none.
_LEAST_RING_M2 = 1.0
# Legs shorter than this share of the width are left to the passes.
_SHORT = 0.5

# Headings tried for a run, and how much of the piece, across, it may leave on one side.
_HEADINGS = 24
_LEFT = np.linspace(0.0, 0.5, 6)
# No more runs into one corner, and none for less ground (share of a square of the width).
_MOST_RUNS = 3
_LEAST = 0.03
# Corners are smaller than this, in squares of the width.
_CORNER = 4.0
# A run is at least this long, in widths.
_SHORTEST = 0.25


def headland_legs(
    workable: BaseGeometry,
    width_m: float,
    rounds: int,
    turn_radius_m: float,
    corner_rad: float = _CORNER_RAD,
    *,
    whole: bool = False,
) -> list[PlannedPass]:
    """Lay rounds inside the boundary and about each hole, in the working plane.

    Round after round the middle of the tool keeps half a width from ground that is done or not
    to be worked. At a corner, or where the bend is tighter than the tightest turn, a leg runs
    straight on until the corner is filled, or the tool would leave the workable ground, and the
    next begins where it has something to add, or, where legs are wanted ``whole``, at the corner.
    """
    legs: list[PlannedPass] = []
    rings, inside = 0, workable
    room = buffered(workable, _SMOOTH_M, join_style="mitre")
    for number in range(1, rounds + 1):
        middle = buffered(inside, -width_m / 2, join_style="mitre")
        # Ground hardly wider than the tool is driven once, along its middle.
        twice = opened(middle, LEFTOVER * width_m / 2, join_style="mitre")
        if shapely.get_num_geometries(twice) != shapely.get_num_geometries(middle) or not twice:
            middle = twice
        for part in shapely.get_parts(middle):
            if part.area < _LEAST_RING_M2:
                continue
            for ring in (part.exterior, *part.interiors):
                sharpest = min(corner_rad, width_m / turn_radius_m)
                lines = _Ring(ring, width_m, sharpest, inside, room).legs(whole)
                rings += 1
                legs += [PlannedPass("round", number, line, rings) for line in lines]
        inside = buffered(inside, -width_m, join_style="mitre")
    return legs


class _Ring:
    """One closed round: where it bends sharply, and the legs between."""

    def __init__(
        self,
        ring: shapely.LinearRing,
        width_m: float,
        corner_rad: float,
        inside: BaseGeometry,
        room: BaseGeometry,
    ) -> None:
        self.corner_rad = corner_rad
        self.xy = np.array(ring.simplify(_SMOOTH_M).coords)[:-1]
        self.width_m, self.inside, self.room = width_m, inside, room
        edge = np.roll(self.xy, -1, axis=0) - self.xy
        length = np.hypot(*edge.T)
        self.around_m = float(length.sum())
        self.at_m = np.concatenate([[0.0], np.cumsum(length)[:-1]])
        self.ahead = edge / length[:, None]
        self.behind = np.roll(self.ahead, 1, axis=0)
        self.bend = np.arctan2(
            _cross(self.behind, self.ahead), (self.behind * self.ahead).sum(axis=1)
        )

    def legs(self, whole: bool) -> list[shapely.LineString]:
        """Legs in the order of the ring; one closed line where there is no corner."""
        corners = self._corners()
        if not corners:
            return [shapely.LineString(np.vstack([self.xy, self.xy[:1]]))]
        ends = zip(corners, corners[1:] + corners[:1], strict=True)
        bare = [self._between(last, first) for (_, last), (first, _) in ends]
        ended = list(map(self._run_out, bare, bare[1:] + bare[:1]))
        before = ended[-1:] + ended[:-1]
        begun: list[FloatArray | None]
        if whole:
            turned = [np.asarray(leg[::-1]) for leg in bare]
            begun = [
                self._run_out(leg[::-1], last)[::-1]
                for leg, last in zip(ended, turned[-1:] + turned[:-1], strict=True)
            ]
        else:
            begun = list(map(self._begin, ended, before))
        lines = [shapely.LineString(leg) for leg in begun if leg is not None]
        return [line for line in lines if line.length >= _SHORT * self.width_m]

    def _corners(self) -> list[tuple[int, int]]:
        """First and last point of each sharp bend, in the order of the ring."""
        apart = np.abs(self.at_m[:, None] - self.at_m)
        near = np.minimum(apart, self.around_m - apart) <= self.width_m / 2
        turned = np.abs(near @ self.bend)
        free = turned > self.corner_rad
        found = []
        while free.any():
            sharpest = int(np.argmax(np.where(free, turned + np.abs(self.bend), -1.0)))
            found.append(sharpest)
            free &= ~(near[sharpest] @ near > 0)
        return [self._extent(corner, near[corner]) for corner in sorted(found)]

    def _extent(self, corner: int, near: BoolArray) -> tuple[int, int]:
        """The bends that make up a corner, from the first to the last."""
        count = len(self.xy)
        part = near & (np.abs(self.bend) > _BEND_RAD)
        first = last = corner
        while part[(first - 1) % count] and (first - 1) % count != corner:
            first -= 1
        while part[(last + 1) % count] and (last + 1) % count != corner:
            last += 1
        return first % count, last % count

    def _between(self, first: int, last: int) -> FloatArray:
        """Points of the ring from one to another, going on past its end."""
        count = len(self.xy)
        steps = (last - first - 1) % count + 1  # all round from a point to itself
        return np.asarray(self.xy[(first + np.arange(steps + 1)) % count])

    def _run_out(self, leg: FloatArray, following: FloatArray) -> FloatArray:
        """Run a leg on until the corner is filled or the tool would leave the ground."""
        ahead, after = _unit(leg[-1] - leg[-2]), _unit(following[1] - following[0])
        reach = _corner_m(leg[-1], ahead, following[0], after, self.width_m)
        strip, reach = self._strip(leg[-1], ahead, reach)
        ground = overlaid(shapely.intersection, strip, self.inside)
        if ground.area > 0:
            reach = min(reach, float(_along(ground, leg[-1], ahead).max()))
        return np.vstack([leg[:-1], leg[-1] + max(reach, 0.0) * ahead])

    def _begin(self, leg: FloatArray, before: FloatArray) -> FloatArray | None:
        """Begin a leg where the one before it leaves ground to do, at or behind its start."""
        back = _unit(leg[0] - leg[1])
        ahead = _unit(before[-1] - before[-2])
        reach = _corner_m(leg[0], back, before[-1], -ahead, self.width_m)
        strip, reach = self._strip(leg[0], back, reach)
        length = float(np.hypot(*(leg[1] - leg[0])))
        into = min(self.width_m, length)
        onward = _box(leg[0], -back, into, self.width_m)
        done = swath(shapely.LineString(before), self.width_m)
        both = overlaid(shapely.union, strip, onward)
        todo = overlaid(shapely.intersection, both, self.inside)
        todo = opened(overlaid(shapely.difference, todo, done), _SMOOTH_M, quad_segs=16)
        start = -into if todo.is_empty else min(reach, float(_along(todo, leg[0], back).max()))
        if start <= -length:
            # Nothing is left to do along its first stretch.
            return leg[1:] if len(leg) > 2 else None
        return np.vstack([leg[0] + start * back, leg[1:]])

    def _strip(
        self, point: FloatArray, ahead: FloatArray, reach: float
    ) -> tuple[BaseGeometry, float]:
        """Ground the tool sweeps going straight on, as far as it stays on workable ground."""
        reach = max(reach, 1e-6)
        strip = _box(point, ahead, reach, self.width_m)
        outside = overlaid(shapely.difference, strip, self.room)
        if outside.area > 1e-9:
            reach = max(float(_along(outside, point, ahead).min()), 1e-6)
            strip = _box(point, ahead, reach, self.width_m)
        return strip, reach


def _corner_m(
    point: FloatArray, ahead: FloatArray, other: FloatArray, onward: FloatArray, width_m: float
) -> float:
    """How far straight on the outer end of the tool reaches the corner of its edge.

    From ``point`` to where the middles of both legs meet, and from there half a width times
    the tangent of half the bend.
    """
    cross = _cross(ahead, onward)
    dot = float(ahead @ onward)
    meet = _cross(other - point, onward) / cross if abs(cross) > 1e-9 else 0.0
    half = min(abs(math.atan2(cross, dot)) / 2, _SHARPEST_RAD / 2)
    return max(float(meet), 0.0) + width_m / 2 * math.tan(half)


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _unit(step: FloatArray) -> FloatArray:
    return np.asarray(step / np.hypot(*step))


def _box(point: FloatArray, ahead: FloatArray, reach: float, width_m: float) -> shapely.Polygon:
    side = np.array([-ahead[1], ahead[0]]) * width_m / 2
    far = point + reach * ahead
    return shapely.Polygon([point - side, point + side, far + side, far - side])


def _along(geometry: BaseGeometry, point: FloatArray, ahead: FloatArray) -> FloatArray:
    """How far ahead of a point the vertices of a geometry lie."""
    return np.asarray((shapely.get_coordinates(geometry) - point) @ ahead)


def corner_runs(part: BaseGeometry, width_m: float, room: BaseGeometry) -> list[shapely.LineString]:
    """Find the straight runs that take the most of a piece of ground no larger than a corner.

    The whole tool stays on the room there is, so in a rounded corner a run lies a little
    further in than the legs beside it and reaches further.
    """
    runs: list[shapely.LineString] = []
    while part.area > _LEAST * width_m**2 and part.area < _CORNER * width_m**2:
        tried = _candidates(part, width_m, room)
        if not len(tried) or len(runs) == _MOST_RUNS:
            break
        swept = buffered(tried, width_m / 2, cap_style="flat")
        gain = shapely.area(overlaid(shapely.intersection, swept, part))
        best = int(np.argmax(gain))
        if gain[best] < _LEAST * width_m**2:
            break
        # The ends of a run that take nothing are left off.
        taken = overlaid(shapely.intersection, swath(tried[best], width_m), part)
        xy = shapely.points(shapely.get_coordinates(taken))
        at = shapely.line_locate_point(tried[best], xy)
        runs.append(ops.substring(tried[best], float(at.min()), float(at.max())))
        part = without(part, swath(runs[-1], width_m))
    return runs


def _candidates(part: BaseGeometry, width_m: float, room: BaseGeometry) -> np.ndarray:
    """Runs over a piece at headings all round, each the longest stretch on the room."""
    angle = np.arange(_HEADINGS) * np.pi / _HEADINGS
    ahead = np.column_stack([np.cos(angle), np.sin(angle)])
    side = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    xy = shapely.get_coordinates(part)
    along, across = xy @ ahead.T, xy @ side.T
    south, north = across.min(axis=0)[:, None], across.max(axis=0)[:, None]
    left = _LEFT * (north - south)
    middle = np.concatenate([south + left + width_m / 2, north - left - width_m / 2], axis=1)
    tries = middle.shape[1]
    ahead, side = np.repeat(ahead, tries, axis=0), np.repeat(side, tries, axis=0)
    beside = middle.reshape(-1, 1) * side
    start = np.repeat(along.min(axis=0), tries)[:, None] * ahead + beside
    end = np.repeat(along.max(axis=0), tries)[:, None] * ahead + beside
    lines = shapely.linestrings(np.stack([start, end], axis=1))
    near = buffered(shapely.box(*shapely.total_bounds(lines)), width_m, quad_segs=16)
    swept = buffered(lines, width_m / 2, cap_style="flat")
    near_room = overlaid(shapely.intersection, room, near)
    outside = polygonal(overlaid(shapely.difference, swept, near_room))
    found = [_free(a, b, gone, u) for a, b, gone, u in zip(start, end, outside, ahead, strict=True)]
    return np.array([f for f in found if f and f.length > _SHORTEST * width_m], dtype=object)


def _free(
    start: np.ndarray, end: np.ndarray, outside: BaseGeometry, ahead: np.ndarray
) -> shapely.LineString | None:
    """Find the longest stretch of a run beside which nothing is outside."""
    length = float((end - start) @ ahead)
    bits = [_along(bit, start, ahead) for bit in shapely.get_parts(outside) if not bit.is_empty]
    spans = [(float(bit.min()), float(bit.max())) for bit in bits]
    spans += [(0.0, 0.0), (length, length)]
    at, best = 0.0, (0.0, 0.0)
    for low, high in sorted(spans):
        if low - at > best[1] - best[0]:
            best = (at, low)
        at = max(at, high)
    if best[1] <= best[0]:
        return None
    return shapely.LineString([start + best[0] * ahead, start + best[1] * ahead])
