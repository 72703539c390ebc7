"""Drives whose passes all begin and end elsewhere, and the ground where that changes anything."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from evenacre.coverage.passes import number_passes
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.steps import Steps
from evenacre.model import BoolArray, FloatArray, IntArray

# Where starts and stops of passes may all lie off by more than so much (root mean square), the
# ground is swept anew with them there, at places so far apart, so many at most.
_ALL_OFF_M, _APART_M, _MOST_PLACES = 0.7, 2.0, 5
# A place that fewer of the draws are nearest to is not worth it.
_LEAST_SHARE = 0.02
# A drive is looked along in steps of this length.
_LOOK_M = 2.0


def places_along(ahead_m: FloatArray) -> FloatArray:
    """Where along the passes each draw begins: the nearest of a few places, (n,).

    Parameters
    ----------
    ahead_m : (n,) float
        How much farther along the passes their starts and stops lie.
    """
    if np.sqrt(np.mean(ahead_m**2)) <= _ALL_OFF_M:
        return np.zeros(len(ahead_m))
    apart = max(_APART_M, float(np.ptp(ahead_m)) / _MOST_PLACES)
    place = np.rint(ahead_m / apart)
    found, count = np.unique(place, return_counts=True)
    kept = found[count >= _LEAST_SHARE * len(ahead_m)]
    nearest = np.abs(place[:, None] - kept).argmin(axis=1)
    return np.asarray(apart * kept[nearest])


@dataclass(frozen=True)
class Beside:
    """Steps of a drive by how near they come to ground that moved ends uncover or cover.

    Attributes
    ----------
    touched : (n - 1,) bool
        What lies across their edges may change.
    near : (n - 1,) bool
        Those, and all that covers ground beside theirs.
    """

    touched: BoolArray
    near: BoolArray


def beside_moved_ends(
    steps: Steps, ways_m: FloatArray, width_m: float, reach_m: float, end_reach_m: float
) -> Beside:
    """Find the steps that come near ground where ends of passes move by up to so much.

    Parameters
    ----------
    ways_m : (w,) float
        How much farther along the drive the ends may lie; where they do not move there are none.
    reach_m, end_reach_m : float
        Sides and ends of passes are looked across this far.
    """
    if not ways_m.any():
        return Beside(*np.zeros((2, len(steps.whole)), dtype=bool))
    way = np.append(0.0, np.cumsum(steps.distance_m))
    switched = _switched(steps, way)
    sooner, later = min(0.0, ways_m.min()), max(0.0, ways_m.max())
    moved = np.searchsorted(switched, way[1:] - sooner, side="right")
    moved = moved > np.searchsorted(switched, way[:-1] - later)
    # Along the drive, and from each spot to the nearest where ends may lie.
    at = np.arange(0.0, way[-1] + _LOOK_M, _LOOK_M)
    spot = np.column_stack([np.interp(at, way, xy) for xy in (steps.tool.x_m, steps.tool.y_m)])
    step = np.clip(np.searchsorted(way, at, side="right") - 1, 0, len(moved) - 1)
    touched_m = width_m + end_reach_m
    near_m = touched_m + width_m + reach_m
    tree = KDTree(spot[moved[step]])
    off, _ = tree.query(spot, distance_upper_bound=near_m + _LOOK_M + steps.distance_m.max())
    middle = np.rint((way[:-1] + way[1:]) / 2 / _LOOK_M).astype(np.int64)
    off = off[np.minimum(middle, len(at) - 1)] - steps.distance_m / 2 - _LOOK_M
    return Beside(moved | (off <= touched_m), moved | (off <= near_m))


def _switched(steps: Steps, way: FloatArray) -> FloatArray:
    """Where along the drive rows go on or off, or the log is cut, ascending."""
    changes = steps.on.changes | ~steps.whole[1:] | ~steps.whole[:-1]
    return np.concatenate([way[:1], way[1:-1][changes], way[-1:]])


@dataclass(frozen=True)
class MovedEnds:
    """The drive with all ends of passes so much farther along it.

    Attributes
    ----------
    steps : Steps
    number : (n - 1,) int
        Pass of each of them.
    of_step : (n - 1,) int
        The step as logged that each is part of.
    added : RowPatterns
        Rows that are on there and not in the log.
    """

    steps: Steps
    number: IntArray
    of_step: IntArray
    added: RowPatterns

    @classmethod
    def by(cls, steps: Steps, way_m: float) -> MovedEnds | None:
        """Move ends; None where the drive is too short for that."""
        there, of_step = steps.switched_later(way_m)
        number = number_passes(there)
        if not number.any():
            return None
        logged = steps.active.at(of_step).states
        added = RowPatterns.of(there.active.states & ~logged)
        return cls(there, number, of_step, added)
