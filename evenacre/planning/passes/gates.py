"""The way through a gate."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray

_PROBE_M = 0.5


def heading_out(gate: FloatArray) -> FloatArray:
    """The pose in a gate that heads out of the field."""
    return np.asarray(gate + np.array([0.0, 0.0, np.pi]))


def pose_in_gate(boundary: BaseGeometry, gate: shapely.Point) -> FloatArray:
    """Place of a gate in a fence, and the heading straight in, square to the fence."""
    rings = shapely.get_parts(shapely.boundary(boundary))
    ring = rings[int(np.argmin(shapely.distance(rings, gate)))]
    xy = np.asarray(ring.coords)
    sides = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    side = int(np.argmin(shapely.distance(sides, gate)))
    along = math.atan2(*(xy[side + 1] - xy[side])[::-1])

    def outside_m(heading: float) -> float:
        ahead = _PROBE_M * np.array([math.cos(heading), math.sin(heading)])
        return float(shapely.Point(gate.x + ahead[0], gate.y + ahead[1]).distance(boundary))

    heading = min((along + math.pi / 2, along - math.pi / 2), key=outside_m)
    return np.array([gate.x, gate.y, heading])
