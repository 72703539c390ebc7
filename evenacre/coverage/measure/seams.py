"""Spacing of adjacent passes, and whether it alternates between up and down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from evenacre.arrays import FloatArray, IntArray
from evenacre.coverage.measure.antenna_path import AntennaPath

# Neighbours are looked for from places so far apart.
_APART_M = 5.0
_PARALLEL_RAD = np.radians(4.0)
# A pass lies this near to where the next one is looked for, in widths.
_NEAR = 0.62
# Seams shorter than this many places tell nothing.
_FEWEST_PLACES = 5


@dataclass(frozen=True)
class Seams:
    """Where two adjacent passes run side by side, k of them.

    Attributes
    ----------
    spacing_m : (k,) float
        From antenna to antenna.
    side : (k,) int
        1 where both have the other on their right, -1 on their left, 0 where they go the same way.
    x_m, y_m : (k,) float
        A place on it.
    """

    spacing_m: FloatArray
    side: IntArray
    x_m: FloatArray
    y_m: FloatArray

    def of(self, side: int) -> FloatArray:
        """Spacings on one side."""
        return self.spacing_m[self.side == side]


def find_seams(path: AntennaPath, width_m: float) -> Seams:
    """Find adjacent passes about a width apart, else about two widths."""
    number = path.pass_number
    at = _spread(path, number)
    if len(at) < _FEWEST_PLACES:
        nothing = np.zeros(0)
        return Seams(nothing, nothing.astype(int), nothing, nothing)
    x, y, course = path.x_m[at], path.y_m[at], path.course_rad[at]
    tree = cKDTree(np.column_stack([x, y]))
    for apart_m in (width_m, 2 * width_m):
        found = pd.concat(
            [_beside(tree, x, y, course, number[at], side, apart_m, width_m) for side in (1, -1)]
        )
        if len(found) > 0.1 * len(at):
            break
    seams = found.groupby(["low", "high", "side"]).agg(
        spacing=("spacing", "median"),
        places=("spacing", "size"),
        x=("x", "median"),
        y=("y", "median"),
    )
    seams = seams[seams["places"] >= _FEWEST_PLACES].reset_index()
    columns = (seams[name].to_numpy() for name in ("spacing", "side", "x", "y"))
    return Seams(*columns)


def _spread(path: AntennaPath, number: IntArray) -> IntArray:
    """Fixes at work on straight lines, about evenly along the way."""
    step = np.hypot(
        np.diff(path.x_m, prepend=path.x_m[:1]), np.diff(path.y_m, prepend=path.y_m[:1])
    )
    place = np.floor(np.cumsum(step) / _APART_M)
    new = np.diff(place, prepend=-1.0) > 0
    return np.flatnonzero(new & (number > 0) & path.straight)


def _beside(
    tree: cKDTree,
    x: FloatArray,
    y: FloatArray,
    course: FloatArray,
    number: IntArray,
    hand: int,
    apart_m: float,
    width_m: float,
) -> pd.DataFrame:
    """The nearest parallel pass on one hand (1: right) of each place."""
    across_x, across_y = hand * np.sin(course), -hand * np.cos(course)
    target = np.column_stack([x + apart_m * across_x, y + apart_m * across_y])
    reach = _NEAR * width_m
    count = int(min(tree.n, 2 + 2 * np.ceil(2 * reach / _APART_M)))
    distance, other = tree.query(target, k=count, distance_upper_bound=reach)
    place, nth = np.nonzero(np.isfinite(distance))
    other = other[place, nth]
    turn = np.angle(np.exp(1j * (course[other] - course[place])))
    same = np.abs(turn) < _PARALLEL_RAD
    opposite = np.abs(turn) > np.pi - _PARALLEL_RAD
    dx, dy = x[other] - x[place], y[other] - y[place]
    along = dx * np.cos(course[place]) + dy * np.sin(course[place])
    spacing = dx * across_x[place] + dy * across_y[place]
    # To where it passes right beside the place.
    slope = np.where(same, np.sin(turn), -np.sin(turn))
    spacing = spacing + hand * along * slope
    good = (same | opposite) & (np.abs(along) <= _APART_M)
    table = pd.DataFrame(
        {
            "place": place,
            "spacing": spacing,
            "low": np.minimum(number[place], number[other]),
            "high": np.maximum(number[place], number[other]),
            "side": np.where(same, 0, hand),
            "x": x[place],
            "y": y[place],
        }
    )[good & (spacing > (1 - _NEAR) * width_m)]
    return table.loc[table.groupby("place")["spacing"].idxmin()]
