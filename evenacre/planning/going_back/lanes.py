"""Lanes of one drill over missed places: where it is let down, and on which ground."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray, Implement

LIFT_M = 2.0
"""Let down so far before bare ground, and lifted so far behind it: common practice, no source."""

STAY_DOWN_M = 10.0
"""Between bare spots no farther apart the drill stays down: common practice, no source."""

_SPECK_M = 0.01


@dataclass(frozen=True)
class Lanes:
    """Straight parallel runs over some places."""

    lines: tuple[shapely.LineString, ...]  # from the first letting down to the last lifting
    ground: np.ndarray  # rectangles on which some rows are down, none upon another
    downs: int  # how often the drill is let down


def lanes_over(
    places: np.ndarray,
    heading_rad: float,
    implement: Implement,
    workable: BaseGeometry,
    side: float,
) -> Lanes:
    """Lay as few lanes over places as cover them.

    Parameters
    ----------
    places : (n,) polygons
        In the plane, metres.
    heading_rad : float
        Of the lanes, counter-clockwise from the x axis.
    implement : Implement
        Of its sections, where it has some, those are down that come over a place.
    workable : polygons
        Beyond it the drill is not let down early, nor lifted late.
    side : float
        Where the lanes are wider than the places: 0 has these at their right edge, 1 at their
        left, 0.5 in the middle.
    """
    there, ground = _turned(places, -heading_rad), _turned(np.array([workable]), -heading_rad)
    left, low, right, high = shapely.total_bounds(there).tolist()
    width = implement.width_m
    count = max(math.ceil((high - low - _SPECK_M) / width), 1)
    base = low + (1.0 - side) * (high - low - count * width)
    bottoms, tops = shapely.bounds(there)[:, [1, 3]].T
    edges = np.concatenate([[0.0], np.cumsum(_sections(implement))])
    lines: list[FloatArray] = []
    rectangles: list[BaseGeometry] = []
    downs = 0
    for lane in range(count):
        bottom = base + lane * width
        spans = [
            (a, b, along)
            for a, b in zip(bottom + edges[:-1], bottom + edges[1:], strict=True)
            for along in _along(there[(bottoms <= b) & (tops >= a)], ground, a, b)
        ]
        if not spans and count == 1:  # nothing that can be seen
            spans = [(bottom, bottom + width, (left - LIFT_M, right + LIFT_M))]
        if not spans:
            continue
        rectangles += [shapely.box(start, a, end, b) for a, b, (start, end) in spans]
        runs = _joined([along for *_, along in spans], _SPECK_M)
        downs += len(runs)
        ends = np.array([[runs[0][0], bottom + width / 2], [runs[-1][1], bottom + width / 2]])
        lines.append(ends[:: -1 if len(lines) % 2 else 1])
    back = _turned(np.array([shapely.LineString(ends) for ends in lines]), heading_rad)
    return Lanes(tuple(back), _turned(np.array(rectangles), heading_rad), downs)


def _sections(implement: Implement) -> FloatArray:
    """Widths that can be switched each by itself, from the right: all of it without sections."""
    rows = implement.section_rows or (implement.rows,)
    return np.array(rows[::-1], dtype=float) * implement.row_spacing_m


def _turned(shapes: np.ndarray, angle_rad: float) -> np.ndarray:
    sin, cos = math.sin(angle_rad), math.cos(angle_rad)
    turn = np.array([[cos, sin], [-sin, cos]])
    return np.asarray(shapely.transform(shapes, lambda xy: xy @ turn))


def _along(
    there: np.ndarray, ground: np.ndarray, bottom: float, top: float
) -> list[tuple[float, float]]:
    """From where to where the rows between two heights are down."""
    if not len(there):
        return []
    left, _, right, _ = shapely.total_bounds(there)
    parts = shapely.get_parts(shapely.clip_by_rect(there, left - 1, bottom, right + 1, top))
    parts = parts[shapely.area(parts) > _SPECK_M**2]
    if not len(parts):
        return []
    bounds = shapely.bounds(parts)
    bare = _joined([(a, b) for a, b in bounds[:, [0, 2]].tolist()], STAY_DOWN_M)
    reach = [
        shapely.bounds(shapely.clip_by_rect(ground[0], a - LIFT_M, bottom, b + LIFT_M, top))
        for a, b in bare
    ]
    within = [
        (max(a - LIFT_M, min(a, r[0])), min(b + LIFT_M, max(b, r[2])))
        for (a, b), r in zip(bare, reach, strict=True)
    ]
    return within


def _joined(spans: Sequence[tuple[float, float]], gap: float) -> list[tuple[float, float]]:
    """Join spans that overlap or lie no farther apart than a gap."""
    out: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if out and start - out[-1][1] <= gap:
            out[-1] = out[-1][0], max(out[-1][1], end)
        else:
            out.append((start, end))
    return out
