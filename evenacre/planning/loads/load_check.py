"""Hold scale, meter log and target against one another, and correct the meter's factor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import NormalDist

import numpy as np
from scipy.special import chdtrc

from evenacre.coverage.uncertainty.known_errors import METER_CALIBRATION
from evenacre.model import FloatArray, LoadTicket, Operation
from evenacre.model.audit_result import AuditResult, RunningTotals
from evenacre.model.finding import Finding
from evenacre.planning.intervals import REACH, Interval, told
from evenacre.planning.loads.loads import (
    Amount,
    AmountWithin,
    CartLoad,
    by_product,
    loads_of,
    reach_90,
    used_by_scale,
)

METER_SCATTER = 0.01
"""Relative standard uncertainty of a meter from load to load (common practice, no source)."""

LEVEL = 0.01
"""How often amounts that agree may be said to disagree."""

Span = tuple[float, float]
"""Start and end, s."""

_FAR = NormalDist().inv_cdf(1 - LEVEL / 2)  # standard uncertainties, by a two-sided test
_TIDY_SHARE = 0.005


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
    disagree: bool  # errors alone would bring such a difference less often than ``LEVEL``


@dataclass(frozen=True)
class LoadCheck:
    """One load, or all of them together, by every way there is."""

    loads: tuple[CartLoad, ...]
    # None: not weighed to the end, not logged, or no rate was set
    scale: Amount | None
    meter: Amount | None
    target: Amount | None
    swept_m2: float | None  # ground driven with the tool down during it, overlap counted again
    comparisons: tuple[Comparison, ...]
    swept_sigma_m2: float = 0.0

    def within_90(self, way: str) -> AmountWithin | None:
        """Give an amount with its 90 % interval; its meter's calibration errs alike in all loads.

        The standard uncertainty of the meter leaves that out: loads tell it.
        """
        amount: Amount | None = getattr(self, way)
        if amount is None:
            return None
        return amount.within_90(METER_CALIBRATION * amount.kg if way == "meter" else 0.0)

    @property
    def interval_90(self) -> dict[str, Interval]:
        """90 % interval of the ground driven, by key."""
        return told(swept_m2=reach_90(self.swept_m2 or 0.0, self.swept_sigma_m2))

    def compared(self, first: str, second: str) -> Comparison | None:
        """One comparison, or None when either amount is not known."""
        named = [c for c in self.comparisons if (c.first, c.second) == (first, second)]
        return named[0] if named else None


@dataclass(frozen=True)
class _Ways:
    """What a log and a target tell of amounts, and how well."""

    totals: RunningTotals | None
    # (n,); of the one product; None when the log does not tell what the meter counted
    metered: FloatArray | None
    target: float | None  # kg per m2
    # Relative standard uncertainty of the whole operation's area; errors of passes are independent,
    # so that of a load's part is larger by the root of its share
    area_share_sigma: float

    def check(self, loads: Sequence[CartLoad], spans: Sequence[Span | None]) -> LoadCheck:
        """Amounts of loads taken together; their spans may be fewer than they are."""
        scale = used_by_scale(loads) if all(load.closing for load in loads) else None
        meter = asked = swept = None
        sigma_m2 = 0.0
        known = [span for span in spans if span is not None]
        if self.totals is not None and known:
            swept = math.fsum(between(self.totals, self.totals.swept_m2, span) for span in known)
            if self.metered is not None:
                each = [between(self.totals, self.metered, span) for span in known]
                # Each load errs on its own, also where only their sum is known.
                scatter = METER_SCATTER * math.hypot(*each) * math.sqrt(len(each) / len(loads))
                meter = Amount(math.fsum(each), scatter)
            whole = float(self.totals.swept_m2[-1])
            sigma_m2 = self.area_share_sigma * math.sqrt(whole * swept)
            if self.target is not None and swept > 0:
                asked = Amount(self.target * swept, self.target * sigma_m2)
        ways = {"scale": scale, "meter": meter, "target": asked}
        known_ways = [(way, amount) for way, amount in ways.items() if amount is not None]
        pairs = tuple(_compare(*one, *other) for one, other in combinations(known_ways, 2))
        return LoadCheck(tuple(loads), scale, meter, asked, swept, pairs, sigma_m2)


def between(totals: RunningTotals, running: FloatArray, span: Span) -> float:
    """What a running total gained from the start to the end of a span."""
    time = totals.time_s
    at = np.interp(np.clip(span, time[0], time[-1]), time, running)
    return float(at[1] - at[0])


def _compare(first: str, a: Amount, second: str, b: Amount) -> Comparison:
    difference, sigma = a.kg - b.kg, math.hypot(a.sigma_kg, b.sigma_kg)
    share = difference / b.kg if b.kg else math.nan
    return Comparison(first, second, difference, sigma, share, abs(difference) > _FAR * sigma)


@dataclass(frozen=True)
class Correction:
    """What to multiply the meter's mass per turn by."""

    factor: float
    sigma: float
    # 95 % interval
    low: float
    high: float
    needed: bool  # whether scale and meter disagree, by the scatter of the loads too
    scattered: bool  # whether the loads contradict one another by more than their errors explain


@dataclass(frozen=True)
class ProductLoads:
    """All loads of one product in one operation."""

    product: str
    checks: tuple[LoadCheck, ...]  # one a load, in order
    together: LoadCheck | None  # the closed loads as one; None when no load was weighed to its end
    correction: Correction | None  # None without both a scale and a meter log
    outside_kg: float  # metered while no ticket's load was in the cart
    findings: tuple[Finding, ...] = ()
    level: float = LEVEL

    @property
    def interval_90(self) -> dict[str, Interval]:
        """90 % interval of what was metered outside the loads, by key."""
        kg = self.outside_kg
        return told(outside_kg=reach_90(kg, METER_SCATTER * kg, METER_CALIBRATION * kg))


def operation_loads(operation: Operation, result: AuditResult) -> tuple[ProductLoads, ...]:
    """Check the loads, by tickets in order, of every product that has some; see `check_loads`."""
    found = {p.product: p for p in result.products}
    low, high = result.interval_90.get("swept_area_m2", (0.0, 0.0))
    swept = result.swept_area_m2
    area_sigma = (high - low) / (2 * REACH * swept) if swept else 0.0
    return tuple(
        check_loads(
            tickets,
            result.totals,
            metered=name in found and found[name].source != "target",
            target_kg_per_m2=found[name].target_kg_per_m2 if name in found else None,
            area_share_sigma=area_sigma,
        )
        for name, tickets in by_product(operation.tickets).items()
    )


def check_loads(
    tickets: Sequence[LoadTicket],
    totals: RunningTotals | None,
    *,
    metered: bool = True,
    target_kg_per_m2: float | None = None,
    area_share_sigma: float = 0.0,
) -> ProductLoads:
    """Weigh every load of one product, by tickets in order, against the meter log and the target.

    Where the log does not tell what the meter counted (``metered``), only ground and target are
    known. The area of the whole operation has a relative standard uncertainty.
    """
    product = tickets[0].product
    loads = loads_of(tickets)
    spans = _spans(loads, totals)
    metered_kg = totals.metered_kg.get(product) if totals is not None and metered else None
    ways = _Ways(totals, metered_kg, target_kg_per_m2, area_share_sigma)
    paired = list(zip(loads, spans, strict=True))
    checks = [ways.check((load,), [span]) for load, span in paired]
    together = _together(paired, ways)
    outside, findings = 0.0, []
    for load in loads:
        if (used := load.used) is not None and used.kg < 0:
            found = Finding.warning("more_out_than_in", more_kg=-used.kg)
            findings.append(found.at(load.closing[-1].place))
        if not load.closing and load.fills:
            findings.append(Finding.warning("load_not_weighed").at(load.fills[-1].place))
    if totals is not None and metered_kg is not None and all(spans):
        whole = float(metered_kg[-1])
        outside = max(whole - sum(between(totals, metered_kg, s) for s in spans if s), 0.0)
        if outside > _TIDY_SHARE * whole:
            found = Finding.warning("metered_outside_loads", outside_kg=outside, metered_kg=whole)
            findings.append(found.at(product))
    correction = _correction(together, checks) if together else None
    return ProductLoads(product, tuple(checks), together, correction, outside, tuple(findings))


def _spans(loads: Sequence[CartLoad], totals: RunningTotals | None) -> list[Span | None]:
    """When each load was in the cart; what a ticket leaves out, its neighbours may tell."""
    if totals is None:
        return [None] * len(loads)
    ended = [-math.inf, *(load.end_s for load in loads)]
    begun = [*(load.start_s for load in loads), math.inf]
    spans: list[Span | None] = []
    for i, load in enumerate(loads):
        start = ended[i] if load.start_s is None else load.start_s
        end = begun[i + 1] if load.end_s is None else load.end_s
        spans.append(None if start is None or end is None or end < start else (start, end))
    return spans


def _together(paired: Sequence[tuple[CartLoad, Span | None]], ways: _Ways) -> LoadCheck | None:
    """All sound loads as one: those whose times are known, or the whole job without times."""
    sound = [(load, span) for load, span in paired if load.used is not None and load.used.kg >= 0]
    timed = [(load, span) for load, span in sound if span is not None]
    if timed:
        return ways.check([load for load, _ in timed], [span for _, span in timed])
    if not sound:
        return None
    whole = [(-math.inf, math.inf)] if len(sound) == len(paired) else []
    return ways.check([load for load, _ in sound], whole)


def _correction(together: LoadCheck, checks: Sequence[LoadCheck]) -> Correction | None:
    """Ratio of what was weighed to what was metered over all closed loads.

    Where the loads scatter more than their stated errors, the uncertainty is widened by the
    Birge ratio (Birge 1932, Physical Review 40, 207).
    """
    scale, meter = together.scale, together.meter
    compared = together.compared("scale", "meter")
    if scale is None or meter is None or compared is None or meter.kg <= 0 or scale.kg <= 0:
        return None
    factor = scale.kg / meter.kg
    sigma = factor * math.hypot(scale.sigma_kg / scale.kg, meter.sigma_kg / meter.kg)
    single = [
        (c.scale, c.meter) for c in checks if c.loads[0] in together.loads and c.scale and c.meter
    ]
    scattered = False
    if len(single) > 1:
        chi2 = sum(
            (s.kg - factor * m.kg) ** 2 / (s.sigma_kg**2 + (factor * m.sigma_kg) ** 2)
            for s, m in single
            if s.sigma_kg or m.sigma_kg
        )
        scattered = bool(chdtrc(len(single) - 1, chi2) < LEVEL)
        sigma *= math.sqrt(max(1.0, chi2 / (len(single) - 1)))
    reach = NormalDist().inv_cdf(0.975) * sigma
    needed = compared.disagree and abs(factor - 1) > _FAR * sigma
    return Correction(factor, sigma, factor - reach, factor + reach, needed, scattered)
