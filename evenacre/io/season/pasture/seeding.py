"""Make seeding of its table, of a drill and of a seed product."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import choice
from evenacre.io.season.pasture.schema import BookedTable, SeedingTable
from evenacre.io.season.pasture.schema_types import Height, Standing
from evenacre.io.season.seed_rates import bulk_target, rate_range
from evenacre.model import Booking, Implement, Product, Seeding
from evenacre.units.display import in_both

_PLAIN = {
    "opens_after": "opens_after_days",
    "closes_after": "closes_after_days",
    "first_day": "first_day",
    "last_day": "last_day",
    "day_from": "day_from_s",
    "day_to": "day_to_s",
    "hours": "hours_most_s",
    "lost_chance": "lost_chance",
    "speed": "speed_mps",
    "turn_speed": "turn_speed_mps",
    "turn_radius": "turn_radius_m",
    "setup": "setup_s",
    "refill": "refill_s",
    "rest": "rest_days",
    "withholding": "withholding_days",
    "treated": "treated",
    "rounds": "rounds",
    "prefer": "prefer",
    "runs": "runs",
    "random_seed": "random_seed",
}
_ROUNDING = 1e-9
_AT: KeyPath = ("seeding",)


def seeding_of(
    written: object,
    implements: Mapping[str, Implement | None],
    products: Mapping[str, Product | None],
    complaints: ProblemCollector,
) -> tuple[Seeding | None, list[str]]:
    """Check the ``[seeding]`` table against the drills and the seed there are.

    Parameters
    ----------
    written : object
        The table as it stands in the file.
    implements, products : mapping
        By name. One that could not be made is None: it is already complained about.

    Returns
    -------
    Seeding or None
        None when something was complained about.
    list of str
        Warnings.
    """
    before = len(complaints.problems)
    table = complaints.check(SeedingTable, written, _AT)
    if table is None:
        return None, []
    keys = written if isinstance(written, Mapping) else {}
    builder = _SeedingBuilder(table, keys, implements, products, complaints)
    seeding = builder.build()
    return None if len(complaints.problems) > before else seeding, builder.warnings


@dataclass
class _SeedingBuilder:
    """Puts one table together."""

    table: SeedingTable
    written: Mapping[str, Any]
    implements: Mapping[str, Implement | None]
    products: Mapping[str, Product | None]
    complaints: ProblemCollector
    warnings: list[str] = field(default_factory=list)

    def build(self) -> Seeding | None:
        table = self.table
        implement = self._named("implement", table.implement, self.implements)
        product = self._named("product", table.product, self.products)
        if product is not None and product.kind != "seed":
            self.complaints.add(
                (*_AT, "product"),
                f'"{product.name}" is not seed.',
                'Name a seed lot or a blend; or write kind = "seed" under its [[product]].',
            )
            product = None
        rates = self._rates(product)
        self._check_days()
        bookings = tuple(self._booking(b, index) for index, b in enumerate(table.booked))
        residual = self._standing("residual", table.residual)
        regrowth = self._standing("regrowth_limit", table.regrowth_limit)
        if implement is None or product is None or rates is None:
            return None
        given = {
            attribute: getattr(table, key)
            for key, attribute in _PLAIN.items()
            if getattr(table, key) is not None
        }
        rate, least, most = rates
        return Seeding(
            product=product,
            implement=implement,
            rate_kg_per_m2=rate,
            least_rate_kg_per_m2=least,
            most_rate_kg_per_m2=most,
            on_hand_kg=product.bought_kg if table.on_hand is None else table.on_hand,
            residual_most_kg_per_m2=residual,
            regrowth_most_kg_per_m2=regrowth,
            lost_days=tuple(sorted(set(table.lost_days))),
            bookings=bookings,
            load_kg=self._load_kg(product, implement),
            **given,
        )

    def _named(self, key: str, name: str | None, nouns: Mapping[str, Any]) -> Any:
        place = (*_AT, key)
        if name is None:
            if key not in self.written:
                known = next((noun for noun in nouns if noun), "drill")
                what, remedy = f"{key} is missing.", f'Add {key} = "{known}".'
                self.complaints.add(place, what, remedy)
            return None
        if name not in nouns:
            remedy = choice(name, nouns, f"Define it under [[{key}]].")
            self.complaints.add(place, f'There is no {key} "{name}".', remedy)
        return nouns.get(name)

    def _rates(self, product: Product | None) -> tuple[float, float, float] | None:
        """Return the bulk rate wanted, the least and the highest, kg per m2."""
        table = self.table
        if not {"rate", "pls_rate"} & set(self.written):
            self.complaints.add(
                (*_AT, "rate"), "The seed has no rate.", 'Add rate = "10 lb/ac", or pls_rate.'
            )
        if product is None:
            return None
        rate = table.rate
        if table.pls_rate is not None:
            rate = bulk_target(
                rate,
                table.pls_rate,
                product,
                self.products,
                self.complaints,
                (*_AT, "pls_rate"),
            )
        before = len(self.complaints.problems)
        least, most = rate_range(table.rate_min, table.rate_max, self.complaints, _AT)
        if len(self.complaints.problems) > before:
            return None
        least = product.rate_min_kg_per_m2 if least is None else least
        most = product.rate_max_kg_per_m2 if most is None else most
        if rate is None:
            return None
        where = (*_AT, "rate" if table.pls_rate is None else "pls_rate")
        shown = in_both("rate", rate)
        if least is not None and rate < least * (1 - _ROUNDING):
            what = f"The rate of {shown} is under rate_min, {in_both('rate', least)}."
            self.complaints.add(where, what, "Correct one of them.")
        elif most is not None and rate > most * (1 + _ROUNDING):
            what = f"The rate of {shown} is over rate_max, {in_both('rate', most)}."
            self.complaints.add(where, what, "Correct one of them.")
        return rate, min(rate, least or rate), max(rate, most or rate)

    def _check_days(self) -> None:
        table = self.table
        first, last = table.first_day, table.last_day
        if first is not None and last is not None and last < first:
            what = f"Seeding ends on {last}, but begins only on {first}."
            self.complaints.add((*_AT, "last_day"), what, "Change them over, or correct one.")
        begin, end = table.day_from, table.day_to
        if begin is not None and end is not None and end <= begin:
            self.complaints.add(
                (*_AT, "to"),
                "The day's work ends before it begins.",
                'Write from = "07:30" and to = "19:00".',
            )
        opens, closes = table.opens_after, table.closes_after
        if closes is None:
            closes = Seeding.closes_after_days
        if opens is not None and closes < opens:
            self.complaints.add(
                (*_AT, "closes_after"),
                f"Every window closes after {closes} days, before it opens after {opens}.",
                "Give closes_after more days than opens_after.",
            )

    def _booking(self, table: BookedTable, index: int) -> Booking:
        last = table.first if table.last is None else table.last
        if last < table.first:
            self.complaints.add(
                (*_AT, "booked", index, "to"),
                f"It ends on {last}, but begins only on {table.first}.",
                "Change them over, or correct one.",
            )
        return Booking(table.first, last, table.what, table.hours)

    def _standing(self, key: str, value: Standing | None) -> float | None:
        """Mass per area of what stands, where it may be told by its height."""
        if not isinstance(value, Height):
            return value
        if self.table.mass_per_height is None:
            if "mass_per_height" not in self.written:
                self.complaints.add(
                    (*_AT, key),
                    "It is a height, but not told what stands on an area for each bit of it.",
                    'Add mass_per_height = "250 lb/ac/in", or give a mass per area.',
                )
            return None
        return value.height_m * self.table.mass_per_height

    def _load_kg(self, product: Product, implement: Implement) -> float | None:
        """What a full cart holds, as told or by its volume."""
        if self.table.load is not None or "load" in self.written:
            return self.table.load
        volume_m3 = sum(bin_.volume_m3 for bin_ in implement.compartments)
        density, whose = self._density(product)
        if not volume_m3 or density is None:
            self.warnings.append(
                "How much seed the cart takes is not known, so no refills are planned. Give load "
                "under [seeding], or the volumes of the compartments and the seed's bulk density."
            )
            return None
        load_kg = volume_m3 * density
        self.warnings.append(
            f"A load was taken to be {in_both('mass', load_kg)}: all compartments level full of "
            f"{product.name}, by {whose}."
        )
        return load_kg

    def _density(self, product: Product) -> tuple[float | None, str]:
        """Bulk density of a seed lot or a blend, kg/m3, and whose it is.

        A blend whose own is not told takes the volume of its parts. It packs denser than that:
        the small seed fills gaps.
        """
        if product.bulk_density_kg_per_m3 is not None:
            return product.bulk_density_kg_per_m3, "its bulk density"
        lots = [(self.products.get(name), part) for name, part in product.parts if part > 0]
        volume_m3 = 0.0
        for lot, part in lots:
            if lot is None or lot.bulk_density_kg_per_m3 is None:
                return None, ""
            volume_m3 += part / lot.bulk_density_kg_per_m3
        if not volume_m3:
            return None, ""
        return sum(part for _, part in lots) / volume_m3, "the bulk densities of its parts"
