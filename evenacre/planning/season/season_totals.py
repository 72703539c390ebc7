"""What a season put down: products, nutrients, seed, salt and money."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from evenacre.model import Need, Product
from evenacre.model.finding import Finding
from evenacre.planning.season.money import Money, money
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
from evenacre.planning.season.seed import SpeciesRate, separation_findings, species_rates


@dataclass(frozen=True)
class SeedPlacement:
    """What one operation sowed of one lot."""

    field: str
    operation: str
    date: str
    product: str  # what was sown: the lot itself, or the blend that it is part of
    rate: SpeciesRate  # at the mean rate over the covered ground
    total_kg: float  # bulk of the lot on the field


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
                yield SeedPlacement(r.field, r.operation, r.date, p.product, rate, kg)
