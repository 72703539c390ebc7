"""What a season put down: products, nutrients, seed, salt, and what it cost."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from evenacre.coverage.uncertainty.known_errors import METER_CALIBRATION
from evenacre.model import Need, Product
from evenacre.model.audit_result import ProductResult
from evenacre.model.finding import Finding
from evenacre.planning.intervals import REACH, Interval, Part, scaled, sum_90, told
from evenacre.planning.season.needs import NeedBalance, compare
from evenacre.planning.season.nutrients import (
    AuditedJob,
    NutrientAmount,
    Placement,
    SetbackPlacement,
    nutrient_amounts,
    placements,
    season_amounts,
    setback_placements,
)
from evenacre.planning.season.salt import SaltScreen, salt_screens

SIZE_RATIO = 3.0
"""Seeds whose masses differ by more than this may separate; common practice, no source."""

DENSITY_RATIO = 1.5
"""So may seeds whose bulk densities differ by more than this; common practice, no source."""


@dataclass(frozen=True)
class SpeciesRate:
    """What one lot puts on the ground, alone or in a blend."""

    product: str
    share: float  # of the bulk mass of the blend; 1 for a lot alone
    bulk_kg_per_m2: float
    pls_kg_per_m2: float | None  # pure live seed; None when the tag is not given
    # None when the tag or the seed count is not given
    pure_seeds_per_m2: float | None
    live_seeds_per_m2: float | None


def species_rates(
    product: Product, products: Mapping[str, Product], bulk_kg_per_m2: float
) -> list[SpeciesRate]:
    """Rates of every lot in a lot or blend sown at a bulk rate; ``products`` holds its parts."""
    known = {**products, product.name: product}
    rates = []
    for name, share in product.shares.items():
        lot, bulk = known[name].seed, share * bulk_kg_per_m2
        pls = bulk * lot.pls_fraction if lot else None
        pure = live = None
        if lot and pls is not None and lot.seeds_per_kg is not None:
            pure, live = bulk * lot.purity * lot.seeds_per_kg, pls * lot.seeds_per_kg
        rates.append(SpeciesRate(name, share, bulk, pls, pure, live))
    return rates


def separation_findings(product: Product, products: Mapping[str, Product]) -> list[Finding]:
    """Say whether the parts of a blend may separate in the cart, by size or by density.

    The rule is common practice, no source: the heaviest seed weighs more than ``SIZE_RATIO``
    times the lightest (about 1.4 times its diameter), or the densest part weighs more than
    ``DENSITY_RATIO`` times the lightest of the same volume.
    """
    parts = [products[name] for name in product.shares if name in products]
    if len(parts) < 2:
        return []
    seed_kg = {p.name: 1.0 / p.seed.seeds_per_kg for p in parts if p.seed and p.seed.seeds_per_kg}
    density = {p.name: d for p in parts if (d := p.bulk_density_kg_per_m3) is not None}
    found = []
    if by_size := _apart(seed_kg, SIZE_RATIO):
        most, least, times = by_size
        found.append(Finding.warning("seeds_unlike", heavier=most, lighter=least, times=times))
    if by_density := _apart(density, DENSITY_RATIO):
        most, least, times = by_density
        found.append(Finding.warning("densities_unlike", denser=most, lighter=least, times=times))
    if len(seed_kg) < 2 and len(density) < 2:
        found.append(Finding.warning("separation_unknown"))
    return [finding.at(product.name) for finding in found]


def _apart(values: Mapping[str, float], ratio: float) -> tuple[str, str, float] | None:
    """Which part has most and which least, and how many times, where that is beyond a ratio."""
    if len(values) < 2:
        return None
    most, least = max(values, key=values.__getitem__), min(values, key=values.__getitem__)
    if values[most] <= ratio * values[least]:
        return None
    return most, least, values[most] / values[least]


@dataclass(frozen=True)
class Money:
    """Costs of one operation, in the currency of the season; None where no price was given."""

    field: str
    operation: str
    product: float | None  # everything that was metered, on the field or beside it
    # What was placed again on covered ground, and the working time spent there
    overlap_product: float | None
    overlap_time: float | None
    # What the missed ground would take at the target rate (the mean rate without one), and the time
    # at this operation's field capacity. A stand that is lost is not priced.
    skip_product: float | None
    skip_time: float | None
    overlap_time_s: float
    skip_time_s: float
    own_work: float | None  # time in the field at the cost of an hour
    # The quote for the ground to be worked (the covered ground when the field has no boundary)
    hired_work: float | None
    unpriced: tuple[str, ...]  # products without a price; they are in none of the sums
    # 90 % intervals by key; empty where nothing tells
    interval_90: Mapping[str, Interval] = dataclasses.field(default_factory=dict)
    overlap_each: tuple[float, ...] = ()  # what makes up ``overlap_product``, product by product

    @property
    def own_over_hired(self) -> float | None:
        """How much own work costs more than hired; below zero it costs less."""
        if self.own_work is None or self.hired_work is None:
            return None
        return self.own_work - self.hired_work

    @property
    def known(self) -> bool:
        """Whether any price was given."""
        return any(v is not None for v in (self.product, self.own_work, self.hired_work))


def money(job: AuditedJob) -> Money:
    """Price one operation."""
    r = job.result
    hourly = job.plan.implement.cost_per_s
    overlap_s = r.worked_time_s * r.excess_area_m2 / r.swept_area_m2 if r.swept_area_m2 else 0.0
    capacity = r.field_capacity_m2_per_s
    skip_s = r.skip_area_m2 / capacity if capacity else 0.0
    ground = r.workable_area_m2 if r.boundary_given else r.covered_area_m2
    quote = job.plan.quote_per_m2
    prices = {p.product: job.product(p.product).price_per_kg for p in r.products}
    priced = [(p, price) for p in r.products if (price := prices[p.product]) is not None]
    wanted = [
        (p.mean_rate_kg_per_m2 if p.target_kg_per_m2 is None else p.target_kg_per_m2, price)
        for p, price in priced
    ]
    overlap_each = tuple(p.overlap_kg * price for p, price in priced)
    return Money(
        field=r.field,
        operation=r.operation,
        product=_sum(p.logged_kg * price for p, price in priced),
        overlap_product=_sum(overlap_each),
        overlap_each=overlap_each,
        overlap_time=_times(overlap_s, hourly),
        skip_product=_sum(rate * r.skip_area_m2 * price for rate, price in wanted),
        skip_time=_times(skip_s, hourly),
        overlap_time_s=overlap_s,
        skip_time_s=skip_s,
        own_work=_times(r.field_time_s, hourly),
        hired_work=_times(ground, quote),
        unpriced=tuple(name for name, price in prices.items() if price is None),
        interval_90=_money_90(job, priced, overlap_s=overlap_s, skip_s=skip_s),
    )


def _money_90(
    job: AuditedJob,
    priced: Sequence[tuple[ProductResult, float]],
    *,
    overlap_s: float,
    skip_s: float,
) -> dict[str, Interval]:
    """Intervals of what follows from masses and areas; time and prices are taken as they are."""
    r, hourly, quote = job.result, job.plan.implement.cost_per_s, job.plan.quote_per_m2
    excess, skip = (r.interval_90.get(key) for key in ("excess_area_m2", "skip_area_m2"))
    overlap_time = _in_proportion(overlap_s, r.excess_area_m2, excess)
    skip_time = _in_proportion(skip_s, r.skip_area_m2, skip)
    hired = None
    if quote is not None and not r.boundary_given:
        hired = scaled(r.interval_90.get("covered_area_m2"), quote)
    own = _times(r.field_time_s, hourly)
    return told(
        product=sum_90(Part(p.interval_90.get("logged_kg"), 0, p.product, c) for p, c in priced),
        overlap_product=sum_90(
            Part(p.interval_90.get("overlap_kg"), 0, p.product, price) for p, price in priced
        ),
        overlap_time=None if hourly is None else scaled(overlap_time, hourly),
        skip_product=sum_90(_to_fill(p, price, skip) for p, price in priced),
        skip_time=None if hourly is None else scaled(skip_time, hourly),
        overlap_time_s=overlap_time,
        skip_time_s=skip_time,
        hired_work=hired,
        own_over_hired=None if own is None or hired is None else (own - hired[1], own - hired[0]),
    )


def _in_proportion(amount: float, area_m2: float, ends: Interval | None) -> Interval | None:
    if not area_m2 or not math.isfinite(amount):
        return None
    return scaled(ends, amount / area_m2)


def _to_fill(p: ProductResult, price: float, skip: Interval | None) -> Part:
    """What missed ground would take: by the mean rate it errs with the meter too."""
    if p.target_kg_per_m2 is not None or skip is None:
        return Part(skip, 0, None, (p.target_kg_per_m2 or 0.0) * price)
    middle, half = (skip[0] + skip[1]) / 2, (skip[1] - skip[0]) / 2
    half = math.hypot(half, REACH * METER_CALIBRATION * middle)
    return Part((middle - half, middle + half), 0, p.product, p.mean_rate_kg_per_m2 * price)


def _sum(costs: Iterable[float]) -> float | None:
    known = list(costs)
    return sum(known) if known else None


def _times(amount: float, price: float | None) -> float | None:
    return None if price is None or not math.isfinite(amount) else amount * price


@dataclass(frozen=True)
class SeedPlacement:
    """What one operation sowed of one lot."""

    field: str
    operation: str
    date: str
    product: str  # what was sown: the lot itself, or the blend that it is part of
    rate: SpeciesRate  # at the mean rate over the covered ground
    total_kg: float  # bulk of the lot on the field
    # 90 % intervals by key; empty where nothing tells
    interval_90: Mapping[str, Interval] = dataclasses.field(default_factory=dict)


@dataclass(frozen=True)
class Ledger:
    """Everything the season put down, and what it was worth."""

    placements: tuple[Placement, ...] = ()
    setbacks: tuple[SetbackPlacement, ...] = ()
    # Nutrients by field and zone, and of the season
    amounts: tuple[NutrientAmount, ...] = ()
    totals: tuple[NutrientAmount, ...] = ()
    needs: tuple[NeedBalance, ...] = ()
    seed: tuple[SeedPlacement, ...] = ()
    salt: tuple[SaltScreen, ...] = ()
    money: tuple[Money, ...] = ()
    findings: tuple[Finding, ...] = ()  # what could not be counted, and what is to be looked at


def ledger(
    jobs: Sequence[AuditedJob], needs: Iterable[Need] = (), products: Iterable[Product] = ()
) -> Ledger:
    """Add up a season; ``products`` are all that are defined, so that blends are known."""
    known = {product.name: product for product in products}
    balances, findings = compare(jobs, needs)
    screens: list[SaltScreen] = []
    for job in jobs:
        screened, said = salt_screens(job)
        screens += screened
        place = f"{job.result.field}, {job.result.operation}"
        findings += [finding.at(place) for finding in said]
    sown = {p.product: job.product(p.product) for job in jobs for p in job.result.products}
    for product in sown.values():
        findings += separation_findings(product, known)
    return Ledger(
        placements=tuple(placements(jobs)),
        setbacks=tuple(setback_placements(jobs)),
        amounts=tuple(nutrient_amounts(jobs)),
        totals=tuple(season_amounts(jobs)),
        needs=tuple(balances),
        seed=tuple(row for job in jobs for row in _sown(job, known)),
        salt=tuple(screens),
        money=tuple(m for m in map(money, jobs) if m.known),
        findings=tuple(dict.fromkeys(findings)),
    )


def _sown(job: AuditedJob, known: Mapping[str, Product]) -> Iterator[SeedPlacement]:
    """Every lot of seed in an operation, those of blends one by one."""
    for p in job.result.products:
        product, r = job.product(p.product), job.result
        if product.parts and not all(name in known for name, _ in product.parts):
            continue
        for rate in species_rates(product, known, p.mean_rate_kg_per_m2):
            if {**known, product.name: product}[rate.product].kind == "seed":
                kg = rate.share * p.applied_in_field_kg
                ends = told(total_kg=scaled(p.interval_90.get("applied_in_field_kg"), rate.share))
                yield SeedPlacement(r.field, r.operation, r.date, p.product, rate, kg, ends)
