"""Make seeding of its table, of a drill and of a seed product."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.season.checks import check_order, is_defined
from evenacre.io.season.pasture.cart import cart_of
from evenacre.io.season.pasture.schema import SeedingTable
from evenacre.io.season.products import bulk_target
from evenacre.io.season.values import Height, Standing
from evenacre.model import Booking, Implement, Product, Seeding
from evenacre.units.display import in_both

_ROUNDING = 1e-9
_AT: KeyPath = ("seeding",)


def seeding_of(
    written: object,
    implements: Mapping[str, Implement | None],
    products: Mapping[str, Product | None],
    problems: ProblemCollector,
) -> tuple[Seeding | None, list[str]]:
    """Check the ``[seeding]`` table against the drills and the seed there are.

    Returns the seeding, or None when something is wrong with it, and warnings.
    """
    before = len(problems.problems)
    table = problems.check(SeedingTable, written, _AT)
    if table is None or not isinstance(written, Mapping):
        return None, []
    builder = _SeedingBuilder(table, written, implements, products, problems)
    seeding = builder.build()
    return None if len(problems.problems) > before else seeding, builder.warnings


@dataclass
class _SeedingBuilder:
    table: SeedingTable
    written: Mapping[str, Any]
    implements: Mapping[str, Implement | None]
    products: Mapping[str, Product | None]
    problems: ProblemCollector
    warnings: list[str] = field(default_factory=list)

    def build(self) -> Seeding | None:
        table = self.table
        implement = self._named("implement", table.implement, self.implements)
        product = self._named("product", table.product, self.products)
        if product is not None and product.kind != "seed":
            remedy = 'Name a seed lot or a blend; or write kind = "seed" under its [[product]].'
            self.problems.add((*_AT, "product"), f'"{product.name}" is not seed.', remedy)
            product = None
        rates = self._rates(product)
        self._check_days()
        residual = self._standing("residual", table.residual)
        regrowth = self._standing("regrowth_limit", table.regrowth_limit)
        if implement is None or product is None or rates is None:
            return None
        made: dict[str, Any] = {
            "product": product,
            "implement": implement,
            **rates,
            "on_hand_kg": product.bought_kg if table.on_hand is None else table.on_hand,
            "residual_most_kg_per_m2": residual,
            "regrowth_most_kg_per_m2": regrowth,
            "hours_most_s": table.hours,
            "ready": tuple(table.ready),
            "lost_days": tuple(sorted(set(table.lost_days))),
            "bookings": tuple(
                Booking(b.first, b.last or b.first, b.what, b.hours) for b in table.booked
            ),
            **self._cart(product, implement),
        }
        return Seeding(**table.given(Seeding) | made)

    def _cart(self, product: Product, implement: Implement) -> dict[str, Any]:
        told = (self.table, self.written, product, implement, self.products)
        made, warnings = cart_of(*told, self.problems)
        self.warnings += warnings
        return made

    def _named(self, key: str, name: str | None, defined: Mapping[str, Any]) -> Any:
        if name is not None:
            is_defined(name, key, defined, self.problems, (*_AT, key))
            return defined.get(name)
        if key not in self.written:
            known = next(filter(None, defined), "drill")
            self.problems.add((*_AT, key), f"{key} is missing.", f'Add {key} = "{known}".')
        return None

    def _rates(self, product: Product | None) -> dict[str, float] | None:
        """Return the bulk rate wanted, the least and the highest, kg per m2."""
        table = self.table
        if not {"rate", "pls_rate"} & set(self.written):
            remedy = 'Add rate = "10 lb/ac", or pls_rate.'
            self.problems.add((*_AT, "rate"), "The seed has no rate.", remedy)
        if product is None:
            return None
        rate = bulk_target(table.rate, table.pls_rate, product, self.products, self.problems, _AT)
        before = len(self.problems.problems)
        what, at = "rate_min is higher than rate_max.", (*_AT, "rate_min")
        check_order(table.rate_min, table.rate_max, what, self.problems, at)
        if rate is None or len(self.problems.problems) > before:
            return None
        least, most = table.rate_min, table.rate_max
        least = product.rate_min_kg_per_m2 if least is None else least
        most = product.rate_max_kg_per_m2 if most is None else most
        told = f"The rate of {in_both('rate', rate)} is"
        what = ""
        if least is not None and rate < least * (1 - _ROUNDING):
            what = f"{told} under rate_min, {in_both('rate', least)}."
        elif most is not None and rate > most * (1 + _ROUNDING):
            what = f"{told} over rate_max, {in_both('rate', most)}."
        if what:
            key = "rate" if table.pls_rate is None else "pls_rate"
            self.problems.add((*_AT, key), what, "Correct one of them.")
        return {
            "rate_kg_per_m2": rate,
            "least_rate_kg_per_m2": min(rate, least or rate),
            "most_rate_kg_per_m2": max(rate, most or rate),
        }

    def _check_days(self) -> None:
        table, problems = self.table, self.problems
        first, last = table.first_day, table.last_day
        what = f"Seeding ends on {last}, but begins only on {first}."
        check_order(first, last, what, problems, (*_AT, "last_day"))
        what, at = "The day's work ends before it begins.", (*_AT, "to")
        remedy = 'Write from = "07:30" and to = "19:00".'
        check_order(table.day_from, table.day_to, what, problems, at, remedy, apart=True)
        opens, closes = table.opens_after, table.closes_after
        closes = Seeding.closes_after_days if closes is None else closes
        what = f"Every window closes after {closes} days, before it opens after {opens}."
        remedy = "Give closes_after more days than opens_after."
        check_order(opens, closes, what, problems, (*_AT, "closes_after"), remedy)
        for index, booked in enumerate(table.booked):
            what = f"It ends on {booked.last}, but begins only on {booked.first}."
            at = (*_AT, "booked", index, "to")
            check_order(booked.first, booked.last, what, problems, at)

    def _standing(self, key: str, value: Standing | None) -> float | None:
        """Mass per area of what stands, where it may be told by its height."""
        if not isinstance(value, Height):
            return value
        if self.table.mass_per_height is not None:
            return value.height_m * self.table.mass_per_height
        if "mass_per_height" not in self.written:
            what = "It is a height, but not told what stands on an area for each bit of it."
            remedy = 'Add mass_per_height = "250 lb/ac/in", or give a mass per area.'
            self.problems.add((*_AT, key), what, remedy)
        return None
