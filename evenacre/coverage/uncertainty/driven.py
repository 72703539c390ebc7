"""Ground driven with the tool down: width times way, whatever lies between the passes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from evenacre.coverage.steps import Steps
from evenacre.coverage.uncertainty.known_errors import REACH
from evenacre.coverage.uncertainty.position_error import PositionError
from evenacre.model import Implement, IntArray
from evenacre.model.audit_result import ProductResult


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


def by_speed_90_m2(
    intervals: Mapping[str, tuple[float, float]], driven: tuple[float, float]
) -> dict[str, tuple[float, float]]:
    """Intervals of areas where nothing but the speed tells of work.

    Turns among it may have been driven with the tool up. So no more was covered, doubled or worked
    outside than is drawn, and no less covered than what is drawn once.

    Parameters
    ----------
    intervals : mapping of str to (low, high)
        90 % intervals of the areas, by key, were all of it work.
    driven : (float, float)
        Of the ground driven with the tool down.
    """
    out = {key: (0.0, high) for key, (_, high) in intervals.items()}
    least, most = intervals["covered_area_m2"]
    once = min(intervals["covered_once_m2"][0], least)
    missed = intervals["skip_area_m2"]
    out["covered_area_m2"] = out["covered_once_m2"] = (once, most)
    out["skip_area_m2"] = (missed[0], missed[1] + least - once)
    out["swept_area_m2"] = driven
    return out


def by_speed_90_kg(
    product: ProductResult, swept_m2: float, driven: tuple[float, float]
) -> ProductResult:
    """A product with intervals of its masses by the same: they go with the ground driven."""
    least, most = (ground / swept_m2 for ground in driven)

    def wider(key: str, low: float, high: float) -> tuple[float, float]:
        if key == "logged_kg":
            return low * least, high * most
        return (0.0 if key in ("outside_kg", "overlap_kg") else low * least), high

    return replace(
        product,
        interval_90={key: wider(key, *ends) for key, ends in product.interval_90.items()},
        zones=tuple(
            replace(z, interval_90={k: wider(k, *ends) for k, ends in z.interval_90.items()})
            for z in product.zones
        ),
        setbacks=tuple(
            replace(s, interval_90={k: (0.0, high) for k, (_, high) in s.interval_90.items()})
            for s in product.setbacks
        ),
    )
