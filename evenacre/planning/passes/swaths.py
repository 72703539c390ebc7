"""The ground that planned passes sweep."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import ops
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import valid, without
from evenacre.model import FloatArray
from evenacre.planning.ground import buffered

MARGIN_M = 0.05
"""Half of what a hairline between swaths is wide at most."""

# A piece of a swath turns no more than this, so it cannot cover itself.
_SECTOR_RAD = np.pi / 4
# A tool comes round a bend over about so many metres (two records at 5 Hz and working speed).
# Where its inner end would go back by more than twice that, it covers ground again.
_COME_ROUND_M = 1.0
# Segments in a quarter of the fan at a bend.
_ROUND = 16


def swath(line: shapely.LineString, width_m: float) -> BaseGeometry:
    """Ground that the tool sweeps along a line, turning about its middle at bends."""
    ground: BaseGeometry = buffered(line, width_m / 2, cap_style="flat", quad_segs=_ROUND)
    return ground


def stretches_on(
    ground: BaseGeometry, line: shapely.LineString, width_m: float
) -> list[shapely.LineString]:
    """Stretches of a run along which the whole tool is on some ground."""
    out = without(swath(line, width_m), ground)
    spans = []
    for part in shapely.get_parts(out):
        if part.area > 0:
            at = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(part)))
            spans.append((float(at.min()), float(at.max())))
    at, kept = 0.0, []
    for low, high in [*sorted(spans), (line.length, line.length)]:
        if low > at:
            kept.append(ops.substring(line, at, low))
        at = max(at, high)
    return kept


def swath_pieces(line: shapely.LineString, width_m: float) -> np.ndarray:
    """Cut a swath into pieces that meet at shared tool lines and cannot cover themselves.

    At a bend the outer half of the tool sweeps a fan, and the inner half covers ground again.
    """
    points = np.asarray(line.coords)
    step = np.diff(points, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    bend = np.angle(np.exp(1j * np.diff(heading)))
    at = np.cumsum(np.hypot(*step.T))[:-1]
    # A wiggle that is over within that way is no bend.
    around = (np.abs(at[:, None] - at) <= _COME_ROUND_M) @ bend
    back_m = np.minimum(np.abs(bend), np.abs(around)) * width_m / 2
    sharp = np.flatnonzero(back_m > 2 * _COME_ROUND_M) + 1
    chains = [
        chain
        for a, b in zip([0, *sharp], [*sharp, len(points) - 1], strict=True)
        for chain in _sectors(points[a : b + 1], bend[a : b - 1])
    ]
    fans = [_fan(points[k], heading[k - 1], bend[k - 1], width_m / 2) for k in sharp]
    lines = [shapely.LineString(chain) for chain in chains]
    swept = buffered(lines, width_m / 2, cap_style="flat", quad_segs=_ROUND)
    return valid(np.array([*swept, *fans], dtype=object))


def _sectors(points: FloatArray, bend: FloatArray) -> list[FloatArray]:
    """Cut a curve each time it has turned through a sector, halfway along a stretch of it."""
    sector = np.floor(np.append(0.0, np.cumsum(np.abs(bend))) / _SECTOR_RAD)
    chains = []
    rest = points
    for k in np.flatnonzero(np.diff(sector))[::-1] + 1:
        middle = (points[k] + points[k + 1])[None] / 2
        chains.append(np.concatenate([middle, rest[k + 1 :]]))
        rest = np.concatenate([points[: k + 1], middle])
    return [*chains, rest]


def _fan(at: FloatArray, heading: float, bend: float, half_m: float) -> shapely.Polygon:
    """Ground between the tool lines before and after a bend, on its outer side."""
    first = heading - np.copysign(np.pi / 2, bend)
    angle = first + bend * np.linspace(0.0, 1.0, _ROUND + 1)
    rim = at + half_m * np.column_stack([np.cos(angle), np.sin(angle)])
    return shapely.Polygon(np.concatenate([at[None], rim]))
