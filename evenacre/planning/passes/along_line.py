"""Passes that run parallel to a line: offset curves, a tool's width apart."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from scipy.ndimage import uniform_filter1d
from shapely.geometry.base import BaseGeometry

from evenacre.model import BoolArray, FloatArray
from evenacre.planning.ground import whole_of
from evenacre.planning.passes.pass_types import PlannedPass

_STEP_M = 0.5
# Two stretches of a pass this near to each other (widths) are driven in one go; shorter ones than
# this (widths) are none.
_HOP, _SHORT = 0.5, 0.5
# A line is off by no more than this after points are left out.
_OFF_M = 0.01
_MOST_SMOOTHINGS = 40


def passes_along(
    line: shapely.LineString,
    parts: Sequence[shapely.Polygon],
    width_m: float,
    radius_m: float,
    room: BaseGeometry,
) -> tuple[list[PlannedPass], float]:
    """Lay passes over parts of ground; numbered from the right of the line to its left.

    The line goes straight on beyond its ends. A pass bends no more sharply than the radius, and is
    as near to a width from the one before it as that allows; each runs as far as any of the tool
    has ground to do and all of it stays on the room there is. Returned is also how far the line
    itself had to be smoothed.
    """
    if not parts:
        return [], 0.0
    west, south, east, north = shapely.total_bounds([*parts, line])
    reach = math.hypot(east - west, north - south)
    base, moved = gentle(_lengthened(line, reach), radius_m)
    ground = whole_of(parts)
    shapely.prepare(ground)
    shapely.prepare(room)
    far = shapely.distance(shapely.points(shapely.get_coordinates(ground)), base).max()
    count = math.ceil(float(far) / width_m)
    right, left = (_beside(base, step, radius_m, count) for step in (-width_m, width_m))
    rows = [*[*right][::-1], base, *left]
    found: list[PlannedPass] = []
    number = 0
    for row in rows:
        stretches = [*_stretches(row, width_m, ground, room)]
        number += bool(stretches)
        found += [PlannedPass("pass", number, stretch) for stretch in stretches]
    return found, moved


def gentle(line: shapely.LineString, radius_m: float) -> tuple[shapely.LineString, float]:
    """Smooth a line until it bends no more sharply than a radius, and tell how far it moved."""
    count = max(math.ceil(line.length / _STEP_M), 4)
    at = np.linspace(0.0, line.length, count + 1)
    drawn = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    fine = drawn
    size = 3
    for _ in range(_MOST_SMOOTHINGS):
        if _sharpest(fine) <= 1.0 / radius_m:
            break
        # Positions averaged over ever more of the line; beyond its ends it goes straight on.
        size = min(math.ceil(1.25 * size) | 1, 2 * (count // 2) + 1)
        half = size
        lead = drawn[0] + np.arange(-half, 0)[:, None] * (drawn[1] - drawn[0])
        tail = drawn[-1] + np.arange(1, half + 1)[:, None] * (drawn[-1] - drawn[-2])
        long = np.concatenate([lead, drawn, tail])
        fine = uniform_filter1d(uniform_filter1d(long, size, axis=0), size, axis=0)[half:-half]
    if fine is drawn:
        return line, 0.0
    smooth = shapely.LineString(fine).simplify(_OFF_M)
    return smooth, float(shapely.distance(shapely.points(fine), line).max())


def _sharpest(xy: FloatArray) -> float:
    """Curvature of a line, taken over two metres: corners of a chain of short steps are none."""
    step = np.diff(xy, axis=0)
    length = np.hypot(*step.T)
    bend = np.angle(np.exp(1j * np.diff(np.arctan2(step[:, 1], step[:, 0]))))
    window = np.ones(min(max(round(2.0 / float(length.mean())), 1), len(bend)))
    turned = np.abs(np.convolve(bend, window, mode="valid"))
    # Averaging draws places together where a line bends.
    along = np.convolve((length[1:] + length[:-1]) / 2, window, mode="valid")
    return float((turned / along).max())


def _lengthened(line: shapely.LineString, by_m: float) -> shapely.LineString:
    xy = np.asarray(line.coords)

    def beyond(end: FloatArray, before: FloatArray) -> FloatArray:
        step = end - before
        return np.asarray(end + by_m * step / np.hypot(*step))

    return shapely.LineString([beyond(xy[0], xy[1]), *xy, beyond(xy[-1], xy[-2])])


def _beside(
    base: shapely.LineString, step_m: float, radius_m: float, count: int
) -> Iterator[shapely.LineString]:
    """So many curves to one side, a step apart; from one that had to be smoothed on, beside it."""
    row, away = base, 0.0
    for _ in range(count):
        away += step_m
        parts = shapely.get_parts(shapely.line_merge(shapely.offset_curve(row, away, quad_segs=32)))
        if not len(parts):
            return
        beside = max(parts, key=lambda part: part.length)
        begin = shapely.Point(base.coords[0])
        if begin.distance(shapely.Point(beside.coords[0])) > (
            begin.distance(shapely.Point(beside.coords[-1]))
        ):
            beside = beside.reverse()
        smooth, moved = gentle(beside, radius_m)
        if moved > 0:
            row, away = smooth, 0.0
        yield smooth


def _stretches(
    row: shapely.LineString, width_m: float, ground: BaseGeometry, room: BaseGeometry
) -> Iterator[shapely.LineString]:
    """Stretches of a curve along which the tool has ground to do and stays on the room."""
    count = max(math.ceil(row.length / _STEP_M), 2)
    at = np.linspace(0.0, row.length, count + 1)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(row, at))
    ahead = np.gradient(xy, axis=0)
    side = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.hypot(*ahead.T)[:, None]
    ends = np.stack([xy - width_m / 2 * side, xy + width_m / 2 * side], axis=1)
    tool = shapely.linestrings(ends)
    near = shapely.intersects(tool, ground)
    # Ground begins and ends between two places.
    near[1:-1] |= near[:-2] | near[2:]
    fits = np.zeros(len(tool), dtype=bool)
    fits[near] = shapely.covers(room, tool[near])
    for first, last in _runs(_joined(near, round(_HOP * width_m / _STEP_M)) & (fits | ~near)):
        if at[last] - at[first] >= _SHORT * width_m:
            yield shapely.LineString(xy[first : last + 1]).simplify(_OFF_M)


def _joined(on: BoolArray, hop: int) -> BoolArray:
    """Close gaps of so few places."""
    joined = on.copy()
    for first, last in _runs(~on):
        if first > 0 and last < len(on) - 1 and last - first < hop:
            joined[first : last + 1] = True
    return joined


def _runs(on: BoolArray) -> Iterator[tuple[int, int]]:
    """First and last place of each run of true ones."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(int)))
    yield from zip(edge[::2].tolist(), (edge[1::2] - 1).tolist(), strict=True)
