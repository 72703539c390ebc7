"""Short runs into corners that neither rounds nor parallel passes fill."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import ops
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import polygonal, without
from evenacre.planning.passes.swaths import swath

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


def corner_runs(part: BaseGeometry, width_m: float, room: BaseGeometry) -> list[shapely.LineString]:
    """Find the straight runs that take the most of a small piece of ground.

    The whole tool stays on the room there is, so in a rounded corner a run lies a little
    further in than the legs beside it and reaches further.

    Parameters
    ----------
    part : polygonal geometry
        What is to be filled; nothing is found for pieces larger than a corner.
    room : polygonal geometry
        Ground that the tool may run on.
    """
    runs: list[shapely.LineString] = []
    while part.area > _LEAST * width_m**2 and part.area < _CORNER * width_m**2:
        tried = _candidates(part, width_m, room)
        if not len(tried) or len(runs) == _MOST_RUNS:
            break
        swept = shapely.buffer(tried, width_m / 2, cap_style="flat")
        gain = shapely.area(shapely.intersection(swept, part))
        best = int(np.argmax(gain))
        if gain[best] < _LEAST * width_m**2:
            break
        run = _trimmed(tried[best], part, width_m)
        runs.append(run)
        part = without(part, swath(run, width_m))
    return runs


def _candidates(part: BaseGeometry, width_m: float, room: BaseGeometry) -> np.ndarray:
    """Runs over a piece at headings all round, each the longest stretch on the room."""
    angle = np.arange(_HEADINGS) * np.pi / _HEADINGS
    ahead = np.column_stack([np.cos(angle), np.sin(angle)])
    side = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    xy = shapely.get_coordinates(part)
    west, east = (xy @ ahead.T).min(axis=0), (xy @ ahead.T).max(axis=0)
    south, north = (xy @ side.T).min(axis=0), (xy @ side.T).max(axis=0)
    left = _LEFT * (north - south)[:, None]
    middle = np.concatenate(
        [south[:, None] + left + width_m / 2, north[:, None] - left - width_m / 2], axis=1
    )
    across = middle.shape[1]
    middle = middle.ravel()
    ahead, side = np.repeat(ahead, across, axis=0), np.repeat(side, across, axis=0)
    west, east = np.repeat(west, across), np.repeat(east, across)
    start = west[:, None] * ahead + middle[:, None] * side
    end = east[:, None] * ahead + middle[:, None] * side
    lines = shapely.linestrings(np.stack([start, end], axis=1))
    near = shapely.box(*shapely.total_bounds(lines)).buffer(width_m)
    outside = polygonal(
        shapely.difference(
            shapely.buffer(lines, width_m / 2, cap_style="flat"), shapely.intersection(room, near)
        )
    )
    found = [_free(a, b, gone, u) for a, b, gone, u in zip(start, end, outside, ahead, strict=True)]
    return np.array([f for f in found if f and f.length > _SHORTEST * width_m], dtype=object)


def _free(
    start: np.ndarray, end: np.ndarray, outside: BaseGeometry, ahead: np.ndarray
) -> shapely.LineString | None:
    """Find the longest stretch of a run beside which nothing is outside."""
    length = float((end - start) @ ahead)
    spans = [(0.0, 0.0), (length, length)]
    for bit in shapely.get_parts(outside):
        if bit.is_empty:
            continue
        along = (shapely.get_coordinates(bit) - start) @ ahead
        spans.append((float(along.min()), float(along.max())))
    at, best = 0.0, (0.0, 0.0)
    for low, high in sorted(spans):
        if low - at > best[1] - best[0]:
            best = (at, low)
        at = max(at, high)
    if best[1] <= best[0]:
        return None
    return shapely.LineString([start + best[0] * ahead, start + best[1] * ahead])


def _trimmed(line: shapely.LineString, part: BaseGeometry, width_m: float) -> shapely.LineString:
    """Leave off the ends of a run that take nothing."""
    taken = shapely.intersection(swath(line, width_m), part)
    at = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(taken)))
    return ops.substring(line, float(at.min()), float(at.max()))
