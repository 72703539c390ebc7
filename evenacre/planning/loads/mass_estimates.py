"""The ways to one amount: the scale, the meter's log, the target times the ground."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from evenacre.model import FloatArray
from evenacre.model.audit_result import RunningTotals
from evenacre.planning.loads.loads import Amount, Load, used_by_scale

METER_SCATTER = 0.01
"""Relative standard uncertainty of a meter from load to load (common practice, no source)."""

LEVEL = 0.01
"""How often amounts that agree may be said to disagree."""

Span = tuple[float, float]
"""Start and end, s."""


@dataclass(frozen=True)
class Comparison:
    """Two ways to the same amount."""

    # ``"scale"``, ``"meter"`` or ``"target"``
    first: str
    second: str
    # First less second
    difference_kg: float
    sigma_kg: float
    share: float  # the difference as a fraction of the second
    # Whether errors alone would bring such a difference less often than the stated level
    disagree: bool


@dataclass(frozen=True)
class LoadCheck:
    """One load, or all of them together, by every way there is."""

    loads: tuple[Load, ...]
    # None: not weighed to the end, not logged, or no rate was set
    scale: Amount | None
    meter: Amount | None
    target: Amount | None
    swept_m2: float | None  # ground driven with the tool down during it, overlap counted again
    comparisons: tuple[Comparison, ...]

    def compared(self, first: str, second: str) -> Comparison | None:
        """One comparison, or None when either amount is not known."""
        named = [c for c in self.comparisons if (c.first, c.second) == (first, second)]
        return named[0] if named else None


@dataclass(frozen=True)
class Ways:
    """What a log and a target tell of amounts, and how well."""

    totals: RunningTotals | None
    # (n,); of the one product; None when the log does not tell what the meter counted
    metered: FloatArray | None
    target: float | None  # kg per m2
    # Relative standard uncertainty of the whole operation's area; errors of passes are independent,
    # so that of a load's part is larger by the root of its share
    area_share_sigma: float
    # Relative standard uncertainty of the meter, independent from load to load
    meter_scatter: float
    level: float

    def check(self, loads: tuple[Load, ...], spans: Sequence[Span | None]) -> LoadCheck:
        """Amounts of loads taken together; their spans may be fewer than they are."""
        scale = used_by_scale(loads) if all(load.closing for load in loads) else None
        meter = asked = swept = None
        known = [span for span in spans if span is not None]
        if self.totals is not None and known:
            swept = math.fsum(between(self.totals, self.totals.swept_m2, span) for span in known)
            if self.metered is not None:
                each = [between(self.totals, self.metered, span) for span in known]
                # Each load errs on its own, also where only their sum is known.
                scatter = self.meter_scatter * math.hypot(*each)
                scatter *= math.sqrt(len(each) / len(loads))
                meter = Amount(math.fsum(each), scatter)
            if self.target is not None and swept > 0:
                whole = float(self.totals.swept_m2[-1])
                sigma = self.area_share_sigma * math.sqrt(whole * swept)
                asked = Amount(self.target * swept, self.target * sigma)
        ways = {"scale": scale, "meter": meter, "target": asked}
        pairs = (("scale", "meter"), ("scale", "target"), ("meter", "target"))
        found = [_compare(a, b, ways[a], ways[b], self.level) for a, b in pairs]
        return LoadCheck(
            loads, scale, meter, asked, swept, tuple(c for c in found if c is not None)
        )


def between(totals: RunningTotals, running: FloatArray, span: Span) -> float:
    """What a running total gained from the start to the end of a span."""
    time = totals.time_s
    at = np.interp(np.clip(span, time[0], time[-1]), time, running)
    return float(at[1] - at[0])


def _compare(
    first: str, second: str, a: Amount | None, b: Amount | None, level: float
) -> Comparison | None:
    if a is None or b is None:
        return None
    difference, sigma = a.kg - b.kg, math.hypot(a.sigma_kg, b.sigma_kg)
    least = NormalDist().inv_cdf(1 - level / 2) * sigma
    share = difference / b.kg if b.kg else math.nan
    return Comparison(first, second, difference, sigma, share, abs(difference) > least)
