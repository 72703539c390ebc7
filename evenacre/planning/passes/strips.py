"""Parallel passes: strips of the tool's width over ground, at one heading."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray, IntArray

# A last strip of less than this share of the width is taken along by the one before it.
_LEFTOVER = 0.02
# Two pieces of a strip this near each other (shares of the width) are driven in one go.
_HOP = 0.5


@dataclass(frozen=True)
class Strips:
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
        ends = np.stack(
            [
                np.column_stack([self.start_m, self.middle_m]),
                np.column_stack([self.end_m, self.middle_m]),
            ],
            axis=1,
        )
        cos, sin = math.cos(heading_rad), math.sin(heading_rad)
        lines: np.ndarray = shapely.linestrings(ends @ np.array([[cos, sin], [-sin, cos]]))
        return lines


def along(geometry: BaseGeometry, heading_rad: float) -> BaseGeometry:
    """Turn a geometry so that the heading runs along the x axis."""
    cos, sin = math.cos(heading_rad), math.sin(heading_rad)
    return affinity.affine_transform(geometry, [cos, sin, -sin, cos, 0.0, 0.0])


def lay_strips(part: shapely.Polygon, width_m: float, room: BaseGeometry | None) -> Strips:
    """Lay strips over one part of ground that is turned as `along` turns it.

    A piece runs as far as any of its strip has ground to do, so the tool takes a point row at
    full width. Where the tool would leave the room there is, a strip moves over, and its piece
    ends sooner.

    Parameters
    ----------
    room : polygonal geometry or None
        Ground that the tool may run on; None: anywhere.
    """
    west, south, east, north = part.bounds
    count = max(math.ceil((north - south) / width_m - _LEFTOVER), 1)
    low = south + np.arange(count) * width_m
    ground = shapely.intersection(part, shapely.box(west - 1, low, east + 1, low + width_m))
    # What is left over beside the last strip by rounding belongs to none.
    pieces, row = shapely.get_parts(ground, return_index=True)
    keep = shapely.area(pieces) > 0
    bounds = shapely.bounds(pieces[keep])
    row, start, end = _joined(row[keep], bounds[:, 0], bounds[:, 2], _HOP * width_m)
    strips = Strips(row, start, end, low[row] + width_m / 2)
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
    strips: Strips, width_m: float, room: BaseGeometry, south: float, north: float
) -> Strips:
    """Move strips over, and cut pieces off, where the tool would leave the room."""
    shapely.prepare(room)
    out = ~shapely.contains(room, strips.boxes(width_m))
    if not out.any():
        return strips
    middle = strips.middle_m.copy()
    # Only the last strip sticks out of the ground sideways; inward is where it has room.
    sideways = out & (middle + width_m / 2 > north)
    middle[sideways] = max(north - width_m / 2, (south + north) / 2)
    strips = Strips(strips.row, strips.start_m, strips.end_m, middle)
    out = ~shapely.contains(room, strips.boxes(width_m))
    kept = [
        _cut(strips, k, width_m, room) if out[k] else [(strips.start_m[k], strips.end_m[k])]
        for k in range(len(strips))
    ]
    index = np.repeat(np.arange(len(strips)), [len(spans) for spans in kept])
    spans = np.array([span for spans in kept for span in spans], dtype=float).reshape(-1, 2)
    return Strips(strips.row[index], spans[:, 0], spans[:, 1], strips.middle_m[index])


def _cut(strips: Strips, k: int, width_m: float, room: BaseGeometry) -> list[tuple[float, float]]:
    """Stretches of a piece over which the whole tool is on the room."""
    start, end, half = strips.start_m[k], strips.end_m[k], width_m / 2
    box = shapely.box(start, strips.middle_m[k] - half, end, strips.middle_m[k] + half)
    outside = shapely.get_parts(shapely.difference(box, room))
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
