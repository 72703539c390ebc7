"""Legs along a boundary, bent no more sharply than a towed tool can follow."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.ndimage import convolve1d, maximum_filter1d
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray

_STEP_M = 0.5
# A line is off by no more than this after points are left out.
_OFF_M = 0.01
_SHIFTS = 4


def smoothed(
    line: shapely.LineString, reach_m: float, ground: BaseGeometry, width_m: float
) -> shapely.LineString:
    """Spread each bend of a leg over a reach to both sides of it, inside the ground.

    Positions are averaged with a triangle's weights, so curvature rises and falls evenly. Where
    that would bring the tool over the edge of the ground, the leg is moved over.
    """
    xy = np.asarray(line.coords)
    if len(xy) < 3:
        return line
    closed = bool(np.allclose(xy[0], xy[-1]))
    count = max(int(np.ceil(line.length / _STEP_M)), 4)
    fine = shapely.get_coordinates(
        shapely.line_interpolate_point(line, np.linspace(0.0, line.length, count + 1))
    )
    half = min(max(round(reach_m / (line.length / count)), 1), count // 2)
    weights = np.convolve(np.ones(half), np.ones(half))
    weights /= weights.sum()

    def averaged(values: FloatArray) -> FloatArray:
        if closed:
            round_it = convolve1d(values[:-1], weights, axis=0, mode="wrap")
            return np.concatenate([round_it, round_it[:1]])
        # Beyond its ends a leg goes straight on.
        lead = np.arange(-half, 0)[:, None] * (values[1] - values[0]) + values[0]
        on = np.arange(1, half + 1)[:, None] * (values[-1] - values[-2]) + values[-1]
        return convolve1d(np.concatenate([lead, values, on]), weights, axis=0)[half:-half]

    path = averaged(fine)
    shapely.prepare(ground)
    for _ in range(_SHIFTS):
        ahead = np.gradient(path, axis=0)
        left = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.hypot(*ahead.T)[:, None]
        # How far each end of the tool is out of the ground.
        out_left, out_right = (
            shapely.distance(ground, shapely.points(path + side * width_m / 2 * left))
            for side in (1.0, -1.0)
        )
        if max(out_left.max(), out_right.max()) <= _OFF_M:
            break
        mode = "wrap" if closed else "nearest"
        shift = [
            averaged(averaged(maximum_filter1d(out, 4 * half + 1, mode=mode)[:, None]))
            for out in (out_left + _OFF_M * (out_left > 0), out_right + _OFF_M * (out_right > 0))
        ]
        path = path + (shift[1] - shift[0]) * left
    return shapely.LineString(path).simplify(_OFF_M)
