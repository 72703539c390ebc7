"""Ground driven with the tool down: width times way, whatever lies between the passes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from evenacre.coverage.steps import Steps
from evenacre.coverage.uncertainty.known_errors import REACH
from evenacre.coverage.uncertainty.position_error import PositionError
from evenacre.model import Implement, IntArray


def driven_sigma_m2(
    steps: Steps, number: IntArray, implement: Implement, error: PositionError, way_excess: float
) -> float:
    """Standard uncertainty of the ground driven, laps counted again.

    Either end of a pass lies where the receiver wandered to within it, and anywhere between two
    records: uniform, so speed x interval / sqrt(12). The way between is too long by what the
    receiver scatters about it; the width is as the tape has it.

    Parameters
    ----------
    number : (n - 1,) int
        Pass of each step.
    way_excess : float
        Share by which the logged way is longer than straight passes are.
    """
    way_m = float(steps.distance_m[steps.working].sum())
    speed_mps = way_m / float(steps.duration_s[steps.working].sum())
    ends = 2 * int(number.max(initial=0))
    end_m = np.hypot(error.within_m, speed_mps * error.interval_s / np.sqrt(12.0))
    off_m = np.hypot(np.sqrt(ends) * end_m, way_excess * way_m)
    return float(np.hypot(off_m * implement.width_m, way_m * implement.error.width_m.sigma))


def driven_90_m2(
    areas: Mapping[str, float], sigma_m2: float, *, by_speed: bool, brim_m2: float
) -> tuple[float, float]:
    """90 % interval of the ground driven with the tool down.

    Where nothing but the speed tells of work, turns may or may not have been: then at most all
    that was driven inside the field, and at least what it covers once.

    Parameters
    ----------
    areas : mapping of str to float
        ``covered_area_m2``, ``excess_area_m2`` and ``swept_area_m2``.
    brim_m2 : float
        What passes inside the field may seem to cover outside it; infinite without a boundary.
    """
    most = least = areas["swept_area_m2"]
    if by_speed:
        least = areas["covered_area_m2"]
        most = min(most, least + areas["excess_area_m2"] + brim_m2)
    return max(least - REACH * sigma_m2, 0.0), most + REACH * sigma_m2
