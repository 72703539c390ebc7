"""What a stationary test says about a meter: rate, scatter, and whether that will do.

A crank test turns the meter as often as stands for some ground; a wheel test turns the
ground wheel that drives it. Either way the ground is known, the catch is weighed, and the
rate is catch over ground.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

CONFIDENCE = 0.90
"""Of every interval here: it holds the truth nine times in ten."""

_MOST_CATCHES = 30
# Quantiles of Student's t for 1 to 29 degrees of freedom that an interval of 90 % reaches to:
# SciPy, which has the others, takes longer to load than a test to work out.
_T_90 = (
    *(6.313751514675037, 2.9199855803537242, 2.3533634348018233, 2.1318467863266495),
    *(2.0150483733330233, 1.9431802805153042, 1.8945786050900062, 1.8595480375308973),
    *(1.833112932656237, 1.8124611228116756, 1.7958848187040433, 1.782287555649319),
    *(1.7709333959868725, 1.761310135774891, 1.753050355692572, 1.7458836762762495),
    *(1.7396067260750725, 1.7340636066175388, 1.7291328115213682, 1.7247182429207866),
    *(1.720742902811878, 1.7171443743802424, 1.713871527747048, 1.710882079909428),
    *(1.7081407612518986, 1.7056179197592727, 1.7032884457221265, 1.7011309342659313),
    1.6991270265334972,
)


def crank_area_m2(turns: float, turns_per_m2: float) -> float:
    """Ground that turns of the meter stand for, by its turns for a unit of ground."""
    return turns / turns_per_m2


def wheel_area_m2(circumference_m: float, turns: float, width_m: float) -> float:
    """Ground that turns of a ground wheel stand for, over the width of the openers caught.

    The circumference is that rolled by one turn, under load.
    """
    return circumference_m * turns * width_m


@dataclass(frozen=True)
class MeterTest:
    """Repeat catches at one setting, each standing for the same ground."""

    catches_kg: tuple[float, ...]
    area_m2: float  # ground that each catch stands for
    turns: float | None = None  # turns behind each catch; None when not counted
    resolution_kg: float = 0.0  # step of the scale: 0.1 lb for one that reads tenths of a pound

    def __post_init__(self) -> None:
        if not self.catches_kg or not all(0 < kg < math.inf for kg in self.catches_kg):
            raise ValueError("a test needs catches, all above zero")
        if not 0 < self.area_m2 < math.inf:
            raise ValueError("a test needs ground above zero")

    @property
    def mean_kg(self) -> float:
        """Mean catch."""
        return math.fsum(self.catches_kg) / len(self.catches_kg)

    @property
    def sd_kg(self) -> float | None:
        """Standard deviation of one catch; None after a single one, which shows no scatter."""
        return float(np.std(self.catches_kg, ddof=1)) if len(self.catches_kg) > 1 else None

    @property
    def se_kg(self) -> float | None:
        """Standard error of the mean catch, the step of the scale included.

        A reading between two steps is off by up to half a step, evenly spread: a standard
        uncertainty of step / sqrt(12) (JCGM 100, clause F.2.2.1). Catches that all fall on the
        same step share it, so repeating does not average it away.
        """
        if self.sd_kg is None:
            return None
        return _standard_error(self.sd_kg, len(self.catches_kg), self.resolution_kg)

    @property
    def rate_kg_per_m2(self) -> float:
        """Rate found."""
        return self.mean_kg / self.area_m2

    @property
    def rates_kg_per_m2(self) -> tuple[float, ...]:
        """Rate of each catch."""
        return tuple(kg / self.area_m2 for kg in self.catches_kg)

    @property
    def kg_per_turn(self) -> float | None:
        """Output of one turn."""
        return self.mean_kg / self.turns if self.turns else None

    @property
    def interval_kg_per_m2(self) -> tuple[float, float] | None:
        """Rates between which the true one lies nine times in ten (Student's t)."""
        if self.se_kg is None:
            return None
        half = _quantile(len(self.catches_kg)) * self.se_kg / self.area_m2
        return self.rate_kg_per_m2 - half, self.rate_kg_per_m2 + half


class MeterStanding(StrEnum):
    """How a test stands to its target."""

    ON_TARGET = "on target"
    OFF_TARGET = "off target"
    CANNOT_TELL = "cannot tell"
    ONE_CATCH = "one catch"


@dataclass(frozen=True)
class Verdict:
    """A test held against a target."""

    # The tolerance is a fraction of the target
    target_kg_per_m2: float
    tolerance: float
    off_by: float  # rate found over target, less one
    within: bool  # the rate found lies within the tolerance, whatever the scatter
    standing: MeterStanding  # with the scatter: on or off target where nine intervals in ten say so
    # So many catches pin the rate down to within the tolerance; None after one catch
    scatter_allows: bool | None
    catches_needed: int | None  # catches that would, at this scatter; None when not even thirty


def judge(test: MeterTest, target_kg_per_m2: float, tolerance: float = 0.05) -> Verdict:
    """Hold a test against the rate wanted, which may be off by a fraction of it.

    Source of 0.05: Field and Solie, Introduction to Agricultural Engineering Technology.
    """
    off_by = test.rate_kg_per_m2 / target_kg_per_m2 - 1
    allowed = tolerance * target_kg_per_m2
    interval = test.interval_kg_per_m2
    standing, allows, needed = MeterStanding.ONE_CATCH, None, None
    if interval is not None and test.sd_kg is not None:
        low, high = (rate - target_kg_per_m2 for rate in interval)
        standing = MeterStanding.CANNOT_TELL
        if -allowed <= low and high <= allowed:
            standing = MeterStanding.ON_TARGET
        elif high < -allowed or low > allowed:
            standing = MeterStanding.OFF_TARGET
        allows = (high - low) / 2 <= allowed
        for catches in range(2, _MOST_CATCHES + 1):
            error = _standard_error(test.sd_kg, catches, test.resolution_kg)
            if _quantile(catches) * error <= allowed * test.area_m2:
                needed = catches
                break
    return Verdict(
        target_kg_per_m2, tolerance, off_by, abs(off_by) <= tolerance, standing, allows, needed
    )


@dataclass(frozen=True)
class Evenness:
    """How evenly the openers share what the meter puts out."""

    mean_kg: float  # mean catch of an opener
    # Between these an opener is accepted
    low_kg: float
    high_kg: float
    ratios: tuple[float, ...]  # catch of each opener over the mean, from the left
    outside: tuple[int, ...]  # openers not accepted, counted from 1
    variation: float  # standard deviation between openers over their mean


def opener_evenness(
    catches_kg: Sequence[float] | Sequence[Sequence[float]], tolerance: float = 0.05
) -> Evenness:
    """Compare the catches of the openers, from the left in each test, with their mean.

    An opener may be off by a fraction of the mean; source of 0.05: Field and Solie, Introduction
    to Agricultural Engineering Technology.
    """
    openers: npt.NDArray[np.float64] = np.atleast_2d(np.asarray(catches_kg, float)).mean(axis=0)
    mean = float(openers.mean())
    if len(openers) < 2 or mean <= 0:
        raise ValueError("evenness needs two openers or more, and something caught")
    low, high = (1 - tolerance) * mean, (1 + tolerance) * mean
    outside = np.flatnonzero((openers < low) | (openers > high)) + 1
    return Evenness(
        mean_kg=mean,
        low_kg=low,
        high_kg=high,
        ratios=tuple((openers / mean).tolist()),
        outside=tuple(outside.tolist()),
        variation=float(openers.std(ddof=1)) / mean,
    )


def _standard_error(sd_kg: float, catches: int, resolution_kg: float) -> float:
    return math.hypot(sd_kg / math.sqrt(catches), resolution_kg / math.sqrt(12))


def _quantile(catches: int) -> float:
    if catches <= _MOST_CATCHES:
        return _T_90[catches - 2]
    from scipy.special import stdtrit

    return float(stdtrit(catches - 1, (1 + CONFIDENCE) / 2))
