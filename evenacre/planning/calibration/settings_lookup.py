"""Where a new job finds its first setting: in what the farm did before."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenacre.model import PastSetting
from evenacre.model.finding import Finding
from evenacre.units.parsing import plain_number

FARTHEST_FACTOR = 1.5
"""A setting is carried over rates and densities up to half as much again; ours, no source."""
_MOST_SHOWN = 3


@dataclass(frozen=True)
class Match:
    """A past setting and how far the job asked about lies from it."""

    past: PastSetting
    rate_factor: float  # rate asked for over the rate found then
    # Bulk density of the job over the one then; None when one of them is not known
    density_factor: float | None
    same_product: bool

    @property
    def distance(self) -> float:
        """Distance in the logarithms of rate and density: twice is as far as half."""
        return math.hypot(math.log(self.rate_factor), math.log(self.density_factor or 1.0))

    @property
    def reach(self) -> float:
        """The larger of the two steps, as a factor of 1 or more."""
        steps = (self.rate_factor, self.density_factor or 1.0)
        return max(max(step, 1.0 / step) for step in steps)


@dataclass(frozen=True)
class LookUp:
    """What the book has to say about a job."""

    matches: tuple[Match, ...]  # nearest first
    rates_kg_per_m2: tuple[float, float] | None  # lowest and highest rate of everything comparable
    outside: bool  # the rate asked for lies outside of those
    # Setting to start the test at, carried over from the nearest; None: refused
    start: float | None
    refused: Finding | None = None  # why there is no start


def look_up(
    past: Sequence[PastSetting],
    rate_kg_per_m2: float,
    bulk_density_kg_per_m3: float | None = None,
    product: str = "",
    roller: str = "",
    *,
    allow_far: bool = False,
) -> LookUp:
    """Find the past settings nearest in bulk density and rate, and one to start at.

    A roller carries volume, so at one roller the setting goes with rate over bulk density
    (common practice, no source): that carries a past setting over to the new job, for a test
    to correct; ``allow_far`` even farther than half as much again. Without a bulk density only
    lines of the same product are compared; lines of another roller than that given are left out.
    """
    name = _plain(product)
    matches = []
    for line in past:
        same = bool(name) and _plain(line.product) == name
        now, then = bulk_density_kg_per_m3, line.bulk_density_kg_per_m3
        if line.rate_kg_per_m2 is None or not (same or None not in (now, then)):
            continue
        if roller and line.roller and _plain(line.roller) != _plain(roller):
            continue
        factor = now / then if now and then else None
        matches.append(Match(line, rate_kg_per_m2 / line.rate_kg_per_m2, factor, same))
    matches.reverse()  # of equals the latest line of the book counts
    ranked = sorted(matches, key=lambda m: (round(m.distance, 9), not m.same_product))
    if not ranked:
        return LookUp((), None, False, None, Finding.note("nothing_comparable"))
    rates = [m.past.rate_kg_per_m2 for m in ranked if m.past.rate_kg_per_m2 is not None]
    low, high = min(rates), max(rates)
    outside = not low * (1 - 1e-9) <= rate_kg_per_m2 <= high * (1 + 1e-9)
    nearest, start, refused = ranked[0], None, None
    then = setting_number(nearest.past.setting)
    if then is None:
        refused = Finding.note("noted_setting_no_number")
    elif not allow_far and nearest.reach > FARTHEST_FACTOR * (1 + 1e-9):
        refused = Finding.note("noted_setting_too_far")
    else:
        start = then * nearest.rate_factor / (nearest.density_factor or 1.0)
    return LookUp(tuple(ranked[:_MOST_SHOWN]), (low, high), outside, start, refused)


def setting_number(text: str) -> float | None:
    """Return a setting as a number, where it is one above zero."""
    value = plain_number(text)
    return value if value is not None and 0 < value < math.inf else None


def _plain(text: str) -> str:
    return " ".join(text.lower().split())
