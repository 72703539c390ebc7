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
# A pass lies this near to where the next one is looked for, of the way there; wider spacings are
# looked for where no more than a share of the places have a neighbour nearer by.
_NEAR, _SHARE = 0.62, 0.1
# Together these reach from 0.6 to 39 m.
_ANY_M = (1.5, 3.0, 6.0, 12.0, 24.0)
# Seams shorter than this many places, or than this share of the usual, tell nothing.
_FEWEST_PLACES, _SHORT = 5, 0.3


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


def find_seams(path: AntennaPath, width_m: float | None) -> Seams:
    """Find adjacent passes about a width apart or half of one, else about two.

    Any distance apart that tools are wide where no width is known.
    """
    number = path.stretch
    at = _spread(path, number)
    if len(at) < _FEWEST_PLACES:
        nothing = np.zeros(0)
        return Seams(nothing, nothing.astype(int), nothing, nothing)
    x, y, course = path.x_m[at], path.y_m[at], path.course_rad[at]
    tree = cKDTree(np.column_stack([x, y]))
    ways: tuple[tuple[float, ...], ...] = (_ANY_M,)
    if width_m is not None:
        ways = ((0.5 * width_m, width_m), (2.0 * width_m,))
    for apart_m in ways:
        found = pd.concat(
            [
                _beside(tree, x, y, course, number[at], side, way_m)
                for side in (1, -1)
                for way_m in apart_m
            ]
        )
        if len(found) > _SHARE * len(at):
            break
    found = found.sort_values("spacing", kind="stable").drop_duplicates(["place", "hand"])
    seams = found.groupby(["low", "high", "side"]).agg(
        spacing=("spacing", "median"),
        places=("spacing", "size"),
        x=("x", "median"),
        y=("y", "median"),
    )
    # Where a pass is short of its neighbour, the next but one shows for a little.
    fewest = max(_FEWEST_PLACES, _SHORT * seams["places"].median())
    seams = seams[seams["places"] >= fewest].reset_index()
    columns = (seams[name].to_numpy() for name in ("spacing", "side", "x", "y"))
    return Seams(*columns)


def _spread(path: AntennaPath, number: IntArray) -> IntArray:
    """Fixes at work on straight lines, about evenly along the way."""
    step = np.hypot(
        np.diff(path.x_m, prepend=path.x_m[:1]), np.diff(path.y_m, prepend=path.y_m[:1])
    )
    place = np.floor(np.cumsum(step) / _APART_M)
    new = np.diff(place, prepend=-1.0) > 0
    return np.flatnonzero(new & (number > 0))


def _beside(
    tree: cKDTree,
    x: FloatArray,
    y: FloatArray,
    course: FloatArray,
    number: IntArray,
    hand: int,
    apart_m: float,
) -> pd.DataFrame:
    """The nearest parallel pass on one hand (1: right) of each place."""
    across_x, across_y = hand * np.sin(course), -hand * np.cos(course)
    target = np.column_stack([x + apart_m * across_x, y + apart_m * across_y])
    reach_m = _NEAR * apart_m
    count = int(min(tree.n, 2 + 2 * np.ceil(2 * reach_m / _APART_M)))
    distance, other = tree.query(target, k=count, distance_upper_bound=reach_m)
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
            "hand": hand,
            "spacing": spacing,
            "low": np.minimum(number[place], number[other]),
            "high": np.maximum(number[place], number[other]),
            "side": np.where(same, 0, hand),
            "x": x[place],
            "y": y[place],
        }
    )[good & (spacing > apart_m - reach_m)]
    return table.loc[table.groupby("place")["spacing"].idxmin()]
