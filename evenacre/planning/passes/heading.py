"""The best heading for parallel passes: fewest turns, or least overlap."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray
from evenacre.planning.passes.strips import along, lay_strips

_GRID_RAD = math.radians(6.0)
_REFINE_RAD = np.radians([-3.0, -1.5, -0.75, 0.75, 1.5, 3.0])
_SIDES = 10
# Detail that does not count when headings are only compared.
_COARSE_M = 0.5
# Headings nearer than this are one.
_SAME_RAD = math.radians(0.25)


def best_heading(ground: Sequence[shapely.Polygon], width_m: float, prefer: str) -> float:
    """Find the heading that a field is best driven at.

    Tried are the longest sides of the ground, headings all round, and those about the best.

    Parameters
    ----------
    ground : sequence of Polygon
        Connected parts inside the headland, in the working plane.
    prefer : str
        ``"turns"``: fewest passes, then least overlap; ``"overlap"``: the other way about.

    Returns
    -------
    float
        Radians counter-clockwise from the x axis, 0 to pi.
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
