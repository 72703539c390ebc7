"""Rates to come: what the needs of zones ask of the products that carry them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from evenacre.model import Application, Need, OperationPlan, PlannedRate
from evenacre.model.finding import Finding
from evenacre.planning.season.nutrients import content, element_of


@dataclass(frozen=True, eq=False)
class _Use:
    """A product in an operation, and the nutrient it is there for (an element; or none)."""

    operation: int
    application: Application
    lead: str

    @property
    def target_kg_per_m2(self) -> float:
        return self.application.target_kg_per_m2 or 0.0

    def brings(self, nutrient: str) -> float:
        """Mass fraction of a nutrient."""
        return content(self.application.product.analysis, nutrient)


def planned_rates(
    plans: Sequence[OperationPlan], needs: Iterable[Need]
) -> tuple[list[tuple[PlannedRate, ...]], dict[str, list[Finding]]]:
    """Plan the rate of every product with a target, by zone where the field's zones have needs.

    A product answers the need of the nutrient it has most of, of those that zones of the field
    ask for, when no other product of the field's operations answers the same one; what the
    others bring of it along counts. So 18-46-0 is set by P2O5, and urea by the N that is still
    short. Ground whose needs do not say keeps the target rate.

    Returned are the rates for each plan of the season, and findings by field.
    """
    needs = list(needs)
    findings: dict[str, list[Finding]] = {}
    made: list[dict[str, PlannedRate]] = [
        {
            a.product.name: PlannedRate(a.product.name, a.target_kg_per_m2)
            for a in plan.applications
            if a.target_kg_per_m2 is not None
        }
        for plan in plans
    ]
    for field in dict.fromkeys(plan.field.name for plan in plans):
        own = [need for need in needs if need.field == field]
        asked = {element_of(need.nutrient) for need in own if need.zone is not None}
        uses = [
            _Use(i, a, _lead(a, asked))
            for i, plan in enumerate(plans)
            if plan.field.name == field
            for a in plan.applications
            if a.target_kg_per_m2 is not None
        ]
        said: list[Finding] = []
        alone: list[_Use] = []
        for lead in dict.fromkeys(use.lead for use in uses if use.lead):
            same = [use for use in uses if use.lead == lead]
            if len(same) == 1:
                alone += same
                continue
            names = tuple(dict.fromkeys(use.application.product.name for use in same))
            found = Finding.warning("rates_not_told_by_needs", nutrient=lead, products=names)
            said.append(found.at(field))
        for use, rate in _by_need(uses, alone, own, field, said):
            made[use.operation][rate.product] = rate
        findings[field] = list(dict.fromkeys(said))
    return [tuple(rates.values()) for rates in made], findings


def _lead(application: Application, asked: set[str]) -> str:
    """The asked nutrient that a product has most of by its label, as an element."""
    label = {
        element_of(nutrient): percent
        for nutrient, percent in application.product.analysis.items()
        if percent > 0 and element_of(nutrient) in asked
    }
    return max(label, key=lambda element: label[element], default="")


def _by_need(
    uses: Sequence[_Use],
    alone: Sequence[_Use],
    needs: Sequence[Need],
    field: str,
    said: list[Finding],
) -> Iterator[tuple[_Use, PlannedRate]]:
    elsewhere = {element_of(n.nutrient): n for n in needs if n.zone is None}
    rest = _solved(uses, alone, elsewhere)
    zones: dict[str, dict[str, Need]] = {}
    for need in needs:
        if need.zone is not None:
            zones.setdefault(need.zone, dict(elsewhere))[element_of(need.nutrient)] = need
    rates = {zone: _solved(uses, alone, asked) for zone, asked in zones.items()}
    for index, use in enumerate(alone):
        by_zone = {
            zone: _within(rates[zone][index], use, f"{field}, {zone}", said)
            for zone, asked in zones.items()
            if use.lead in asked
        }
        nutrient = next(n.nutrient for n in needs if element_of(n.nutrient) == use.lead)
        name = use.application.product.name
        other = _within(rest[index], use, field, said)
        yield use, PlannedRate(name, other, by_zone, nutrient)


def _solved(uses: Sequence[_Use], alone: Sequence[_Use], asked: Mapping[str, Need]) -> list[float]:
    """Rates, kg per m2, of the products that answer a nutrient alone, to meet it together.

    One that is not needed because others bring enough along is left at nothing, and the rest
    are worked out again without it.
    """
    rates = {use: use.target_kg_per_m2 for use in uses}
    free = [use for use in alone if use.lead in asked]
    while free:
        needs = [asked[use.lead] for use in free]
        fixed = [use for use in uses if use not in free]
        share = np.array([[use.brings(need.nutrient) for use in free] for need in needs])
        left = [
            need.kg_per_m2 - sum(rates[use] * use.brings(need.nutrient) for use in fixed)
            for need in needs
        ]
        found = np.linalg.lstsq(share, np.array(left), rcond=None)[0]
        least = int(np.argmin(found))
        if found[least] >= 0:
            rates |= dict(zip(free, found.tolist(), strict=True))
            break
        rates[free.pop(least)] = 0.0
    return [rates[use] for use in alone]


def _within(rate: float, use: _Use, where: str, said: list[Finding]) -> float:
    """Keep a rate to what the product may be placed at; less than its least is only told of."""
    product = use.application.product
    least, most = product.rate_min_kg_per_m2, product.rate_max_kg_per_m2
    if most is not None and rate > most:
        said.append(Finding.warning("above_highest_rate", product=product.name).at(where))
        return most
    if least is not None and 0 < rate < least:
        said.append(Finding.warning("below_least_rate", product=product.name).at(where))
    return rate
