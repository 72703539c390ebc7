"""Parallel passes: strips of the tool's width over ground, and the best heading for them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray, IntArray
from evenacre.planning.ground import overlaid

# A last strip of less than this share of the width is taken along by the one before it.
_LEFTOVER = 0.02
# Two pieces of a strip this near each other (shares of the width) are driven in one go.
_HOP = 0.5

_GRID_RAD = math.radians(6.0)
_REFINE_RAD = np.radians([-3.0, -1.5, -0.75, 0.75, 1.5, 3.0])
_SIDES = 10
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
        half = width_m / 2
        boxes: np.ndarray = shapely.box(
            self.start_m, self.middle_m - half, self.end_m, self.middle_m + half
        )
        return boxes

    def lines(self, heading_rad: float) -> np.ndarray:
        """Middles of the pieces in the plane, shape (k,) of LineString."""
        begin = np.column_stack([self.start_m, self.middle_m])
        ends = np.stack([begin, np.column_stack([self.end_m, self.middle_m])], axis=1)
        lines: np.ndarray = shapely.linestrings(back_from(ends, heading_rad))
        return lines


def along(geometry: BaseGeometry, heading_rad: float) -> BaseGeometry:
    """Turn a geometry so that the heading runs along the x axis."""
    cos, sin = math.cos(heading_rad), math.sin(heading_rad)
    return affinity.affine_transform(geometry, [cos, sin, -sin, cos, 0.0, 0.0])


def back_from(xy: FloatArray, heading_rad: float) -> FloatArray:
    """Turn points, the last axis x and y, back from where `along` turned them."""
    cos, sin = math.cos(heading_rad), math.sin(heading_rad)
    turned: FloatArray = xy @ np.array([[cos, sin], [-sin, cos]])
    return turned


def strip_steps(part: BaseGeometry, width_m: float) -> FloatArray:
    """How far across each strip over a part begins and the last ends: one more than strips."""
    _, south, _, north = part.bounds
    count = max(math.ceil((north - south) / width_m - _LEFTOVER), 1)
    return np.arange(count + 1) * width_m


def cut_strips(part: BaseGeometry, low: FloatArray, high: FloatArray) -> np.ndarray:
    """Ground of strips along the x axis, shape (n,)."""
    west, _, east, _ = part.bounds
    boxes = shapely.box(west - 1, low, east + 1, high)
    ground: np.ndarray = overlaid(shapely.intersection, part, boxes)
    return ground


def lay_strips(part: shapely.Polygon, width_m: float, room: BaseGeometry | None) -> PassStrips:
    """Lay strips over one part of ground that is turned as `along` turns it.

    A piece runs as far as any of its strip has ground to do, so the tool takes a point row at
    full width. Where the tool would leave the room there is (None: it may run anywhere), a strip
    moves over, and its piece ends sooner.
    """
    _, south, _, north = part.bounds
    low = south + strip_steps(part, width_m)[:-1]
    ground = cut_strips(part, low, low + width_m)
    # What is left over beside the last strip by rounding belongs to none.
    pieces, row = shapely.get_parts(ground, return_index=True)
    keep = shapely.area(pieces) > 0
    bounds = shapely.bounds(pieces[keep])
    row, start, end = _joined(row[keep], bounds[:, 0], bounds[:, 2], _HOP * width_m)
    strips = PassStrips(row, start, end, low[row] + width_m / 2)
    return strips if room is None else _within(strips, width_m, room, south, north)


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
    middle = strips.middle_m.copy()
    # Only the last strip sticks out of the ground sideways; inward is where it has room.
    sideways = out & (middle + width_m / 2 > north)
    middle[sideways] = max(north - width_m / 2, (south + north) / 2)
    strips = PassStrips(strips.row, strips.start_m, strips.end_m, middle)
    out = ~shapely.contains(room, strips.boxes(width_m))
    kept = [
        _cut(strips, k, width_m, room) if out[k] else [(strips.start_m[k], strips.end_m[k])]
        for k in range(len(strips))
    ]
    index = np.repeat(np.arange(len(strips)), [len(spans) for spans in kept])
    spans = np.array([span for spans in kept for span in spans], dtype=float).reshape(-1, 2)
    return PassStrips(strips.row[index], spans[:, 0], spans[:, 1], strips.middle_m[index])


def _cut(
    strips: PassStrips, k: int, width_m: float, room: BaseGeometry
) -> list[tuple[float, float]]:
    """Stretches of a piece over which the whole tool is on the room."""
    start, end, half = strips.start_m[k], strips.end_m[k], width_m / 2
    box = shapely.box(start, strips.middle_m[k] - half, end, strips.middle_m[k] + half)
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
    first = np.concatenate([_sides(parts), np.arange(0.0, math.pi, _GRID_RAD)])
    tried = [
        (_cost(parts, width_m, prefer, angle), index, angle) for index, angle in enumerate(first)
    ]
    best = min(tried)
    near = [(_cost(parts, width_m, prefer, angle), 1000, angle) for angle in best[2] + _REFINE_RAD]
    return float(min([best, *near])[2]) % math.pi


def _cost(
    parts: Sequence[BaseGeometry], width_m: float, prefer: str, heading_rad: float
) -> tuple[float, float]:
    count, length = 0, 0.0
    for part in parts:
        strips = lay_strips(along(part, heading_rad), width_m, None)
        count += len(strips)
        length += strips.length_m
    # A square metre more or less is the same overlap.
    swept = round(length * width_m)
    return (count, swept) if prefer == "turns" else (swept, count)


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
