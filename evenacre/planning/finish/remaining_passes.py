"""Passes laid side by side over ground still to do, in the order they would be driven."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray

# A last strip narrower than this share of the tool is taken along by the one before it.
_LEFTOVER = 0.02
# Pieces of a strip smaller than this share of a square of the tool's width are corners.
_CORNER = 0.05


@dataclass(frozen=True)
class PassAhead:
    """One pass to come."""

    line: shapely.LineString  # its middle, in the direction of travel, in the working plane
    ground: BaseGeometry  # the undone ground it takes
    area_m2: float
    length_m: float


def passes_ahead(
    undone: BaseGeometry, width_m: float, heading_rad: float, start: FloatArray
) -> tuple[PassAhead, ...]:
    """Lay passes at one width over the ground, parallel to a heading.

    Each part of the ground is begun from the side nearer to the machine, the nearest part
    first, and passes are driven to and fro.

    Parameters
    ----------
    undone : polygonal geometry
        In the working plane.
    heading_rad : float
        Counter-clockwise from the x axis; a half turn makes no difference.
    start : (2,) float
        Where the machine is.
    """
    cos, sin = math.cos(heading_rad), math.sin(heading_rad)
    turned = affinity.affine_transform(undone, [cos, sin, -sin, cos, 0, 0])
    here = np.array([cos * start[0] + sin * start[1], -sin * start[0] + cos * start[1]])
    parts = [p for p in shapely.get_parts(turned) if p.area > _CORNER * width_m**2]
    passes: list[PassAhead] = []
    while parts:
        parts.sort(key=lambda p: (p.distance(shapely.Point(here)), p.bounds))
        for strip in _strips(parts.pop(0), width_m, here[1]):
            pieces = [p for p in shapely.get_parts(strip) if p.area > _CORNER * width_m**2]
            if not pieces:
                continue
            left, _, right, _ = shapely.total_bounds(pieces)
            backward = bool(abs(here[0] - right) < abs(here[0] - left))
            pieces.sort(key=lambda p: p.bounds[0], reverse=backward)
            for piece in pieces:
                west, south, east, north = piece.bounds
                middle = (south + north) / 2
                ends = np.array([[west, middle], [east, middle]])[:: -1 if backward else 1]
                here = ends[1]
                back = ends @ np.array([[cos, sin], [-sin, cos]])
                ground = affinity.affine_transform(piece, [cos, -sin, sin, cos, 0, 0])
                passes.append(PassAhead(shapely.LineString(back), ground, piece.area, east - west))
    return tuple(passes)


def _strips(part: BaseGeometry, width_m: float, beside: float) -> list[BaseGeometry]:
    """Cut a part into strips along x, from the side nearer to ``beside``."""
    west, south, east, north = part.bounds
    count = max(math.ceil((north - south) / width_m - _LEFTOVER), 1)
    step = np.arange(count + 1) * width_m
    step[-1] = max(step[-1], north - south)
    if abs(beside - north) < abs(beside - south):
        low, high = north - step[1:], north - step[:-1]
    else:
        low, high = south + step[:-1], south + step[1:]
    return list(shapely.intersection(part, shapely.box(west - 1, low, east + 1, high)))
