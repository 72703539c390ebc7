"""90 % intervals of sums whose parts err partly in common and partly each by itself."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable
from dataclasses import dataclass

from evenacre.coverage.uncertainty.known_errors import METER_CALIBRATION
from evenacre.coverage.uncertainty.known_errors import REACH as REACH

Interval = tuple[float, float]
"""Low and high."""


@dataclass(frozen=True)
class Part:
    """A mass or an area that enters a sum some times (a content, a price)."""

    interval: Interval | None  # None: not known
    ground: Hashable  # the job: whose edges err together
    # The product, whose meter's calibration errs alike in all jobs; None: no meter counted it
    meter: str | None = None
    times: float = 1.0


def sum_90(parts: Iterable[Part]) -> Interval | None:
    """Interval of a sum; None where that of a part is not known, or there are none.

    Of each part's half width what the meter's calibration makes of it is parted off by squares.
    It adds up over all parts that one meter counted, what edges make over all parts of a job;
    meters and jobs err each by themselves, so these sums add by squares (JCGM 100:2008, 5.1.2
    and 5.2.2).
    """
    middle = 0.0
    common: dict[Hashable, float] = {}
    for part in parts:
        if part.interval is None:
            return None
        low, high = part.interval
        centre, half = (low + high) / 2, (high - low) / 2
        middle += part.times * centre
        counted = 0.0
        if part.meter is not None:
            counted = min(REACH * METER_CALIBRATION * abs(centre), half)
            meter = ("meter", part.meter)
            common[meter] = common.get(meter, 0.0) + part.times * counted
        ground = ("ground", part.ground)
        rest = math.sqrt(half**2 - counted**2)
        common[ground] = common.get(ground, 0.0) + part.times * rest
    if not common:
        return None
    reach = math.hypot(*common.values())
    return middle - reach, middle + reach


def told(**ends: Interval | None) -> dict[str, Interval]:
    """Those intervals that are known, by the key of their figure."""
    return {key: interval for key, interval in ends.items() if interval is not None}


def scaled(interval: Interval | None, times: float) -> Interval | None:
    """Interval of so many times a figure."""
    return None if interval is None else (times * interval[0], times * interval[1])
