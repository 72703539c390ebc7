"""Blocks: ground cut into pieces with headings of their own, where that takes less in all.

A cut needs no headland. It runs along the passes of one of its two blocks, and that block is
driven last: the passes of the other end at the cut and turn on ground that is not worked yet, and
none of its own end there. So blocks are peeled off one after the other, the first peeled off the
last driven, and each is a whole number of passes wide from the cut outward.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from evenacre.geo.overlay import GRID_M, common, first_consistent, union, without
from evenacre.model import FloatArray
from evenacre.planning.passes.pass_types import Block, Drive, PlannedPass
from evenacre.planning.passes.strips import along, lay_strips, strip_steps
from evenacre.planning.passes.turns import shortest_turns

_GRID_RAD = math.radians(6.0)
# Headings, and cuts, that are laid out of those that promise most.
_LAID = 4
# Inward corners cut from, those with the longest sides first; flatter ones are none.
_MOST_CORNERS = 12
_BEND_RAD = math.radians(20.0)
# Lines no farther apart than this, in rad and in m, are one.
_SAME = 1e-6
# Detail that does not count where cuts are looked for, as a share of the width.
_COARSE = 0.25
# The same, where they are compared.
_FINE_M = 0.5
# A block is worth so many turns at least, and has so many squares of the width.
_WORTH = 2.0
_LEAST = 4.0
_MOST_BLOCKS = 6


def blocks_of(parts: Sequence[shapely.Polygon], drive: Drive, radius_m: float) -> list[Block]:
    """Cut connected parts of ground into blocks; each part is a block at least.

    Blocks of one part come in the order in which they have to be driven.
    """
    costs = _Costs.of(drive, radius_m)
    return [
        Block(ground, heading % math.pi, number)
        for number, part in enumerate(parts)
        for ground, heading in costs.peeled(part, _MOST_BLOCKS)
    ]


def block_by_block(
    passes: Sequence[PlannedPass],
    blocks: Sequence[Block],
    after: PlannedPass | None,
    ordered: Callable[[Sequence[PlannedPass], PlannedPass | None], list[PlannedPass]],
) -> list[PlannedPass]:
    """Order passes within each block, and go from each to the nearest that may be driven next."""
    if not blocks:
        return ordered(passes, after)
    todo = {number: [p for p in passes if p.block == number] for number in range(len(blocks))}
    todo = {number: some for number, some in todo.items() if some}
    driven: list[PlannedPass] = []
    while todo:
        ready: dict[int, int] = {}
        for number in todo:
            ready.setdefault(blocks[number].part, number)
        chosen = min(ready.values())
        if after is not None:
            here = shapely.Point(after.line.coords[-1])
            away = {n: min(here.distance(p.line) for p in todo[n]) for n in ready.values()}
            chosen = min(away, key=lambda n: (away[n], n))
        driven += ordered(todo.pop(chosen), after)
        after = driven[-1]
    return driven


@dataclass(frozen=True)
class _Costs:
    """What passes over ground take: seconds at work and in turns, and doubled seed as such.

    Seed of ground that is seeded twice counts as the time it takes to seed it, so that doubled
    ground counts twice: for the driving and for the seed.
    """

    width_m: float
    speed_mps: float
    turn_s: float  # of one turn into a pass beside the last, with no loop

    @classmethod
    def of(cls, drive: Drive, radius_m: float) -> _Costs:
        across = math.ceil(2 * radius_m / drive.width_m) * drive.width_m
        there = np.array([[0.0, across, math.pi]])
        length = radius_m * shortest_turns(np.zeros((1, 3)), there, radius_m)[1].sum()
        return cls(drive.width_m, drive.speed_mps, float(length) / drive.turn_speed_mps)

    def laid_s(self, part: shapely.Polygon, heading_rad: float) -> float:
        """Passes as they would be laid."""
        strips = lay_strips(along(part.simplify(_FINE_M), heading_rad), self.width_m, None)
        swept = strips.length_m * self.width_m
        doubled = max(swept - part.area, 0.0)
        return (swept + doubled) / (self.width_m * self.speed_mps) + len(strips) * self.turn_s

    def outline_s(self, sides: FloatArray, headings_rad: FloatArray) -> FloatArray:
        """What passes are expected to take beyond the ground's own area, by its sides (n, 2) alone.

        A side of length s under an angle a to the passes ends s sin(a) / w of them, each with a
        turn that half belongs to it, and doubles a triangle of w^2 cot(a) / 2 at each end: s w
        cos(a) / 2 in all.
        """
        ahead = np.column_stack([np.cos(headings_rad), np.sin(headings_rad)])
        across = np.abs(ahead[:, :1] * sides[:, 1] - ahead[:, 1:] * sides[:, 0]).sum(axis=1)
        along_m = np.abs(ahead @ sides.T).sum(axis=1)
        return np.asarray(across * self.turn_s / (2 * self.width_m) + along_m / self.speed_mps)

    def best(self, part: shapely.Polygon) -> tuple[float, float]:
        """Seconds and heading that take the least."""
        sides = _sides(part.simplify(_FINE_M))
        headings = _headings(sides)
        promising = headings[np.argsort(self.outline_s(sides, headings), kind="stable")[:_LAID]]
        return min((self.laid_s(part, heading), float(heading)) for heading in promising)

    def peeled(self, part: shapely.Polygon, most: int) -> list[tuple[shapely.Polygon, float]]:
        """Blocks of a part and their headings, in the order they have to be driven."""
        whole_s, heading = self.best(part)
        if most > 1:
            rough = [
                (self._promised_s(line[-1]), line)
                for line in _rough_cuts(part, heading, self.width_m)
            ]
            rough.sort(key=lambda one: one[0])
            sides = _sides(part.simplify(_COARSE * self.width_m))
            most_s = self.outline_s(sides, _headings(sides)).min()
            found = [_exact(part, *line, self.width_m) for s, line in rough[:_LAID] if s < most_s]
            cuts = [cut for cut in found if cut is not None]
            tried = [(self._laid_cut_s(cut), k) for k, cut in enumerate(cuts)]
            least_s, k = min(tried, default=(math.inf, 0))
            if least_s < whole_s - _WORTH * self.turn_s:
                rest: list[tuple[shapely.Polygon, float]] = []
                for piece in cuts[k].rest:
                    rest += self.peeled(piece, most - 1 - len(rest))
                return [*rest, (cuts[k].block, cuts[k].heading_rad)]
        return [(part, heading)]

    def _promised_s(self, cut: _Cut) -> float:
        """Without the doubled triangles of the block along the cut: its passes run beside it."""
        block_s = self.outline_s(_sides(cut.block), np.array([cut.heading_rad]))[0]
        rest = [_sides(piece) for piece in cut.rest]
        rest_s = sum(self.outline_s(sides, _headings(sides)).min() for sides in rest)
        return float(block_s - cut.length_m / self.speed_mps + rest_s)

    def _laid_cut_s(self, cut: _Cut) -> float:
        rest_s = sum(self.best(piece)[0] for piece in cut.rest)
        return self.laid_s(cut.block, cut.heading_rad) + rest_s


@dataclass(frozen=True)
class _Cut:
    """A block cut off, with passes along the cut, and what it is cut from."""

    block: shapely.Polygon
    heading_rad: float
    length_m: float
    rest: list[shapely.Polygon]


def _rough_cuts(
    part: shapely.Polygon, heading_rad: float, width_m: float
) -> Iterator[tuple[FloatArray, float, _Cut]]:
    """Cuts of the outline without its detail along lines through inward corners.

    On along either side of a corner, or along a heading. Given are a corner and a course on each
    line, too.
    """
    coarse = part.simplify(_COARSE * width_m)
    corners: list[tuple[float, FloatArray, tuple[float, float]]] = []
    for ring in _rings(orient(coarse)):
        xy = shapely.get_coordinates(ring)[:-1]
        ahead = np.roll(xy, -1, axis=0) - xy
        behind = np.roll(ahead, 1, axis=0)
        cross = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
        bend = np.arctan2(cross, (behind * ahead).sum(axis=1))
        sides = np.minimum(np.hypot(*ahead.T), np.hypot(*behind.T))
        course = np.arctan2(ahead[:, 1], ahead[:, 0])
        corners += [
            (float(sides[k]), xy[k], (float(course[k - 1]), float(course[k])))
            for k in np.flatnonzero(bend < -_BEND_RAD)
        ]
    corners.sort(key=lambda corner: -corner[0])
    seen: list[tuple[float, float]] = []
    for _, at, courses in corners[:_MOST_CORNERS]:
        for course in (*courses, heading_rad):
            # Corners at both ends of a side are on one line.
            angle = course % math.pi
            beside = float(at[1] * math.cos(angle) - at[0] * math.sin(angle))
            if any(abs(angle - a) < _SAME and abs(beside - b) < _SAME for a, b in seen):
                continue
            seen.append((angle, beside))
            line = partial(_cuts_along, coarse, at, course, width_m)
            for cut in first_consistent(lambda grid_m, line=line: [*line(grid_m)]):  # type: ignore[misc]
                yield at, course, cut


def _exact(
    part: shapely.Polygon, at: FloatArray, course_rad: float, rough: _Cut, width_m: float
) -> _Cut | None:
    """The same cut with all detail; None where detail leaves none like it."""
    cuts = _cuts_along(part, at, course_rad, width_m, GRID_M)
    shared = [(common(cut.block, rough.block).area, cut) for cut in cuts]
    return max(shared, key=lambda one: one[0], default=(0.0, None))[1]


def _cuts_along(
    part: shapely.Polygon, at: FloatArray, course_rad: float, width_m: float, grid_m: float | None
) -> Iterator[_Cut]:
    """Cut off each piece beside a line, whole passes wide."""
    turned = along(part, course_rad)
    level = shapely.get_coordinates(along(shapely.Point(at), course_rad))[0, 1]
    west, south, east, north = turned.bounds
    for low, high in ((level, north + 1.0), (south - 1.0, level)):
        side = common(turned, shapely.box(west - 1.0, low, east + 1.0, high), grid_m)
        for piece in shapely.get_parts(side):
            x0, below, x1, above = piece.bounds
            depth = float(strip_steps(piece, width_m)[-1]) - (above - below)
            if piece.area < _LEAST * width_m**2:
                continue
            xy = shapely.get_coordinates(piece)
            on = xy[np.abs(xy[:, 1] - level) < 1e-6, 0]
            if not len(on):
                continue
            x0, x1 = float(on.min()), float(on.max())
            block = piece
            if depth > 0:
                ends = (level - depth, level) if low == level else (level, level + depth)
                band = common(turned, shapely.box(x0, ends[0], x1, ends[1]), grid_m)
                both = union(np.array([piece, band]), grid_m)
                block = max(shapely.get_parts(both), key=lambda one: one.area)
            rest = shapely.get_parts(without(turned, block, grid_m))
            kept = [one for one in rest if one.area > _LEAST / 80 * width_m**2]
            if kept:
                yield _Cut(
                    along(block, -course_rad),
                    course_rad,
                    x1 - x0,
                    [along(one, -course_rad) for one in kept],
                )


def _rings(part: shapely.Polygon) -> list[shapely.LinearRing]:
    return [part.exterior, *part.interiors]


def _sides(part: shapely.Polygon) -> FloatArray:
    return np.concatenate([np.diff(shapely.get_coordinates(ring), axis=0) for ring in _rings(part)])


def _headings(sides: FloatArray) -> FloatArray:
    """Those of all sides, and all round from the longest."""
    angles = np.arctan2(sides[:, 1], sides[:, 0])
    longest = angles[int(np.argmax(np.hypot(*sides.T)))]
    return np.mod(np.concatenate([longest + np.arange(0.0, math.pi, _GRID_RAD), angles]), math.pi)
