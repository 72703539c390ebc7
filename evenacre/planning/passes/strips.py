"""Parallel passes: strips of the tool's width over ground, and the best heading for them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray, IntArray
from evenacre.planning.ground import overlaid

LEFTOVER = 0.02
"""A last strip of less than this share of the width is taken along by the one before it."""

# Two pieces of a strip this near each other (shares of the width) are driven in one go.
_HOP = 0.5

_GRID_RAD = math.radians(6.0)
_REFINE_RAD = np.radians([-3.0, -1.5, -0.75, 0.75, 1.5, 3.0])
_SIDES = 10
# Of all these, so many that promise most are laid.
_LAID = 14
# Ground that reaches into a strip by less is none of it.
_HAIR_M = 1e-9
# Detail that does not count when headings are only compared.
_COARSE_M = 0.5
# Headings nearer than this are one.
_SAME_RAD = math.radians(0.25)


@dataclass(frozen=True)
class PassStrips:
    """Pieces of passes over one connected part of ground, in a frame with its x axis along them."""

    row: IntArray  # (k,); pass of each piece, from the right of the heading
    # (k,); along the pass
    start_m: FloatArray
    end_m: FloatArray
    middle_m: FloatArray  # (k,); across, of the middle of the tool

    def __len__(self) -> int:
        return len(self.row)

    @property
    def length_m(self) -> float:
        """All pieces together."""
        return float((self.end_m - self.start_m).sum())

    def boxes(self, width_m: float) -> np.ndarray:
        """Ground that each piece sweeps, shape (k,)."""
        low, high = self.middle_m - width_m / 2, self.middle_m + width_m / 2
        return np.asarray(shapely.box(self.start_m, low, self.end_m, high))

    def lines(self, heading_rad: float) -> np.ndarray:
        """Middles of the pieces in the plane, shape (k,) of LineString."""
        begin = np.column_stack([self.start_m, self.middle_m])
        ends = np.stack([begin, np.column_stack([self.end_m, self.middle_m])], axis=1)
        return np.asarray(shapely.linestrings(back_from(ends, heading_rad)))


def along(geometry: BaseGeometry, heading_rad: float) -> BaseGeometry:
    """Turn a geometry so that the heading runs along the x axis."""
    cos, sin = math.cos(heading_rad), math.sin(heading_rad)
    return affinity.affine_transform(geometry, [cos, sin, -sin, cos, 0.0, 0.0])


def back_from(xy: FloatArray, heading_rad: float) -> FloatArray:
    """Turn points, the last axis x and y, back from where `along` turned them."""
    cos, sin = math.cos(heading_rad), math.sin(heading_rad)
    return np.asarray(xy @ np.array([[cos, sin], [-sin, cos]]))


def strip_steps(part: BaseGeometry, width_m: float) -> FloatArray:
    """How far across each strip over a part begins and the last ends: one more than strips."""
    _, south, _, north = part.bounds
    count = max(math.ceil((north - south) / width_m - LEFTOVER), 1)
    return np.arange(count + 1) * width_m


def cut_strips(part: BaseGeometry, low: FloatArray, high: FloatArray) -> np.ndarray:
    """Ground of strips along the x axis, shape (n,)."""
    west, _, east, _ = part.bounds
    boxes = shapely.box(west - 1, low, east + 1, high)
    return np.asarray(overlaid(shapely.intersection, part, boxes))


def lay_strips(part: shapely.Polygon, width_m: float, room: BaseGeometry | None) -> PassStrips:
    """Lay strips over one part of ground that is turned as `along` turns it.

    A piece runs as far as any of its strip has ground to do, so the tool takes a point row at
    full width. Where the tool would leave the room there is (None: it may run anywhere), a strip
    moves over, and its piece ends sooner.
    """
    _, south, _, north = part.bounds
    low = south + strip_steps(part, width_m)[:-1]
    row, start, end = _joined(*_reaches(part, low, low + width_m), _HOP * width_m)
    strips = PassStrips(row, start, end, low[row] + width_m / 2)
    return strips if room is None else _within(strips, width_m, room, south, north)


def _reaches(
    part: BaseGeometry, low: FloatArray, high: FloatArray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Stretches along strips (n,) that together are as long as the ground in each: (k,) each.

    What a strip has of the ground is bounded by bits of its outline, and of both sides of the strip
    where these run inside it.
    """
    xy, ring = shapely.get_coordinates(
        shapely.get_rings(shapely.get_parts(part)), return_index=True
    )
    same = ring[1:] == ring[:-1]
    begin, end = xy[:-1][same], xy[1:][same]
    rising = (begin[:, 1] <= end[:, 1])[:, None]
    (x0, y0), (x1, y1) = np.where(rising, begin, end).T, np.where(rising, end, begin).T
    level = y0 == y1
    aside = np.divide(x1 - x0, y1 - y0, out=np.zeros_like(x0), where=~level)
    low, high = low[:, None], high[:, None]
    bottom, top = np.maximum(y0, low), np.minimum(y1, high)
    row, edge = np.nonzero((top - bottom > _HAIR_M) | (level & (y0 > low) & (y0 < high)))
    one = x0[edge] + (bottom[row, edge] - y0[edge]) * aside[edge]
    other = np.where(level[edge], x1[edge], one + (top - bottom)[row, edge] * aside[edge])
    found = [(row, np.minimum(one, other), np.maximum(one, other))]
    # Above the lower side, and below the upper one, lies ground of the strip.
    crossed = ((y0 <= low) & (low < y1), low), ((y0 < high) & (high <= y1), high)
    for crosses, side in crossed:
        row, edge = np.nonzero(crosses)
        x = x0[edge] + (side[row, 0] - y0[edge]) * aside[edge]
        order = np.lexsort((x, row))
        found.append((row[order][::2], x[order][::2], x[order][1::2]))
    row, start, end = (np.concatenate(of) for of in zip(*found, strict=True))
    return row, start, end


def _joined(
    row: IntArray, start: FloatArray, end: FloatArray, hop_m: float
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Join pieces of a strip that overlap or all but meet along it."""
    order = np.lexsort((start, row))
    row, start, end = row[order], start[order], end[order]
    # The farthest end so far in each row: rows are kept apart by a shift beyond all lengths.
    shift = row * (np.ptp(np.concatenate([start, end, [0.0, 1.0]])) + 2 * hop_m + 1.0)
    reached = np.maximum.accumulate(end + shift)
    first = np.ones(len(row), dtype=bool)
    first[1:] = start[1:] + shift[1:] > reached[:-1] + hop_m
    group = np.flatnonzero(first)
    return row[group], start[group], np.maximum.reduceat(end, group) if len(group) else end


def _within(
    strips: PassStrips, width_m: float, room: BaseGeometry, south: float, north: float
) -> PassStrips:
    """Move strips over, and cut pieces off, where the tool would leave the room."""
    shapely.prepare(room)
    out = ~shapely.contains(room, strips.boxes(width_m))
    if not out.any():
        return strips
    # Only the last strip sticks out of the ground sideways; inward is where it has room.
    sideways = out & (strips.middle_m + width_m / 2 > north)
    inward = max(north - width_m / 2, (south + north) / 2)
    strips = replace(strips, middle_m=np.where(sideways, inward, strips.middle_m))
    boxes = strips.boxes(width_m)
    index: list[int] = []
    spans: list[tuple[float, float]] = []
    for k, fits in enumerate(shapely.contains(room, boxes)):
        start, end = strips.start_m[k], strips.end_m[k]
        kept = [(start, end)] if fits else _cut(boxes[k], start, end, width_m / 2, room)
        spans += kept
        index += [k] * len(kept)
    ends = np.array(spans, dtype=np.float64).reshape(-1, 2)
    at = np.array(index, dtype=int)
    return PassStrips(strips.row[at], ends[:, 0], ends[:, 1], strips.middle_m[at])


def _cut(
    box: BaseGeometry, start: float, end: float, half: float, room: BaseGeometry
) -> list[tuple[float, float]]:
    """Stretches of a piece over which the whole tool is on the room."""
    outside = shapely.get_parts(overlaid(shapely.difference, box, room))
    bounds = shapely.bounds(outside[shapely.area(outside) > 1e-9])
    spans = []
    at = start
    for west, east in sorted(zip(bounds[:, 0], bounds[:, 2], strict=True)):
        if west - at > half:
            spans.append((at, west))
        at = max(at, east)
    if end - at > half or (not spans and at == start):
        spans.append((at, end))
    return spans


def best_heading(ground: Sequence[shapely.Polygon], width_m: float, prefer: str) -> float:
    """Find the heading that a field is best driven at, from the x axis, 0 to pi.

    Tried are the longest sides of the connected parts inside the headland, headings all round, and
    those about the best. ``prefer`` is ``"turns"`` (fewest passes, then least overlap) or
    ``"overlap"`` (the other way about).
    """
    parts = [part.simplify(_COARSE_M) for part in ground]

    def cost(heading_rad: float) -> tuple[float, float]:
        laid = [lay_strips(along(part, heading_rad), width_m, None) for part in parts]
        # A square metre more or less is the same overlap.
        count, swept = sum(map(len, laid)), round(sum(s.length_m for s in laid) * width_m)
        return (count, swept) if prefer == "turns" else (swept, count)

    # From the longest side on, so that the answer turns with the field.
    sides = _sides(parts)
    first = np.concatenate(
        [sides, np.mod(sides[0] + np.arange(_GRID_RAD, math.pi, _GRID_RAD), math.pi)]
    )
    first = first[np.sort(np.argsort(_expected(parts, first, prefer), kind="stable")[:_LAID])]
    best = min((cost(angle), index, angle) for index, angle in enumerate(first))
    near = [(cost(angle), 1000, angle) for angle in best[2] + _REFINE_RAD]
    return float(min([best, *near])[2]) % math.pi


def _expected(parts: Sequence[BaseGeometry], headings_rad: FloatArray, prefer: str) -> FloatArray:
    """What the outlines let expect of headings, up to a factor.

    A side ends as many passes as it is wide across them, in all twice their number, and doubles
    ground at the end of each in proportion to how far it runs along them.
    """
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    sides = np.concatenate([np.diff(shapely.get_coordinates(ring), axis=0) for ring in rings])
    cos, sin = np.cos(headings_rad)[:, None], np.sin(headings_rad)[:, None]
    across = cos * sides[:, 1] - sin * sides[:, 0]
    along_m = cos * sides[:, 0] + sin * sides[:, 1]
    return np.asarray(np.abs(across if prefer == "turns" else along_m).sum(axis=1))


def _sides(parts: Sequence[BaseGeometry]) -> FloatArray:
    """Headings of the longest sides, the longest first, each once."""
    found: list[tuple[float, float]] = []
    for part in parts:
        for ring in (part.exterior, *part.interiors):
            step = np.diff(np.array(ring.coords), axis=0)
            angles = np.mod(np.arctan2(step[:, 1], step[:, 0]), math.pi)
            found += zip(np.hypot(*step.T).tolist(), angles.tolist(), strict=True)
    found.sort(reverse=True)
    kept: list[float] = []
    for _, angle in found:
        apart = [(angle - other + math.pi / 2) % math.pi - math.pi / 2 for other in kept]
        if all(abs(a) > _SAME_RAD for a in apart):
            kept.append(angle)
        if len(kept) == _SIDES:
            break
    return np.array(kept)
