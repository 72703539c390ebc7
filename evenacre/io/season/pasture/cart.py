"""What the cart takes of the seed: as a whole, in whole bags, or compartment by compartment."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import choice
from evenacre.io.season.checks import is_new
from evenacre.io.season.pasture.schema import SeedBinTable, SeedingTable
from evenacre.language import tr
from evenacre.model import Implement, Product, SeedBin
from evenacre.units.display import in_both

_AT: KeyPath = ("seeding",)
_MOST_BAGS, _BAG_ROUNDING = 200, 1e-3


def cart_of(
    table: SeedingTable,
    written: Mapping[str, Any],
    product: Product,
    implement: Implement,
    products: Mapping[str, Product | None],
    problems: ProblemCollector,
) -> tuple[dict[str, Any], list[str]]:
    """Check what is told of the cart; returned are fields of ``Seeding``, and warnings."""
    cart = _Cart(table, written, products, problems)
    return cart.build(product, implement), cart.warnings


@dataclass
class _Cart:
    table: SeedingTable
    written: Mapping[str, Any]
    products: Mapping[str, Product | None]
    problems: ProblemCollector
    warnings: list[str] = field(default_factory=list)

    def build(self, product: Product, implement: Implement) -> dict[str, Any]:
        """What the cart takes, as a whole or compartment by compartment."""
        table = self.table
        if table.sow_within == 0:
            what = tr("Seed that is sown in 0 days could not be put into the cart.")
            remedy = tr('Give "1 day" where a load is to be sown on the day of its fill.')
            self.problems.add((*_AT, "sow_within"), what, remedy)
        if table.compartments:
            return {"compartments": tuple(self._compartments(product, implement))}
        load_kg = self._load_kg(product, implement)
        if load_kg is None:
            return {}
        least_kg = table.least or 0.0
        whole = SeedBin("", product.name, load_kg, least_kg=least_kg, bag_kg=product.bag_kg)
        key = "load" if "load" in self.written else "product"
        if not self._holds(whole, (*_AT, "least"), (*_AT, key)):
            return {}
        made: dict[str, Any] = {"load_kg": load_kg, "least_kg": least_kg}
        batch_kg = self._batch_kg(product)
        if batch_kg is not None and batch_kg > whole.room_kg:
            self.warnings.append(
                tr(
                    "The parts of {name} come out in whole bags only with {in_both} at a "
                    "time, more than goes into the cart: bags have to be opened and weighed.",
                    name=product.name,
                    in_both=in_both("mass", batch_kg),
                )
            )
        elif batch_kg is not None:
            made["compartments"] = (replace(whole, bag_kg=batch_kg),)
        return made

    def _batch_kg(self, blend: Product) -> float | None:
        """The least of a blend that takes whole bags of each part; None: its bags are not told."""
        bags = [(share, lot.bag_kg) for lot, share in self._lots(blend) if lot and lot.bag_kg]
        if blend.bag_kg or len(bags) < max(len(blend.shares), 2):
            return None
        share, bag_kg = bags[0]
        for count in range(1, _MOST_BAGS):
            batch = count * bag_kg / share
            if all(abs(batch * s / b - round(batch * s / b)) < _BAG_ROUNDING for s, b in bags):
                return batch
        return math.inf

    def _lots(self, blend: Product) -> list[tuple[Product | None, float]]:
        """Lots of a seed and their shares of it."""
        whole = {blend.name: blend}
        return [(whole.get(n) or self.products.get(n), s) for n, s in blend.shares.items()]

    def _compartments(self, seed: Product, implement: Implement) -> Iterator[SeedBin]:
        """Compartments; those of the same seed run empty together."""
        table, at = self.table, (*_AT, "compartments")
        for key in ("load", "least"):
            if key in self.written:
                what = tr("With compartments, {key} is that of each.", key=key)
                self.problems.add((*_AT, key), what, tr("Write {key} in compartments.", key=key))
        names: list[str] = []
        made: list[SeedBin] = []
        for index, one in enumerate(table.compartments):
            if not is_new(one.name, names, self.problems, (*at, index, "name")):
                continue
            names.append(one.name)
            lot = self._seed_of(one, seed, (*at, index, "product"))
            load_kg = None if lot is None else self._bin_kg(one, lot, implement, (*at, index))
            if lot is None or load_kg is None:
                continue
            held = SeedBin(one.name, lot.name, load_kg, least_kg=one.least or 0.0)
            held = replace(held, bag_kg=lot.bag_kg)
            if self._holds(held, (*at, index, "least"), (*at, index, "load")):
                made.append(held)
        if len(made) < len(table.compartments):
            return
        shares = {seed.name: 1.0} if made[0].product == seed.name else seed.shares
        for name in shares:
            if all(b.product != name for b in made):
                what = tr('"{name}" rides in no compartment.', name=name)
                self.problems.add(
                    at, what, tr('Add a compartment with product = "{name}".', name=name)
                )
        for held in made:
            together = sum(b.room_kg for b in made if b.product == held.product)
            if held.product in shares:
                yield replace(held, share=shares[held.product] * held.room_kg / together)
            else:
                what = tr("{name} holds the whole seed, and others a part of it.", name=held.name)
                self.problems.add(at, what, tr("Name the part in each of them, or in none."))

    def _seed_of(self, one: SeedBinTable, seed: Product, at: KeyPath) -> Product | None:
        if one.product in (None, seed.name):
            return seed
        if one.product in seed.shares:
            return self.products.get(one.product)
        remedy = choice(str(one.product), seed.shares, "")
        self.problems.add(
            at, tr('"{product}" is no part of {name}.', product=one.product, name=seed.name), remedy
        )
        return None

    def _bin_kg(
        self, one: SeedBinTable, seed: Product, implement: Implement, at: KeyPath
    ) -> float | None:
        """What a full compartment holds."""
        if one.load is not None:
            return one.load
        volume_m3 = {c.name: c.volume_m3 for c in implement.compartments}.get(one.name)
        density = seed.bulk_density_kg_per_m3 or self._density(seed)
        if volume_m3 is None or density is None:
            lacks = f"{self.table.implement} has no compartment of this name"
            lacks = f"the bulk density of {seed.name} is not told" if volume_m3 else lacks
            what = tr("What it holds is not known: {lacks}.", lacks=lacks)
            self.problems.add((*at, "load"), what, tr('Add load = "120 lb".'))
            return None
        return volume_m3 * density

    def _holds(self, held: SeedBin, least_at: KeyPath, load_at: KeyPath) -> bool:
        """Refuse a least amount, and bags, that the cart or a compartment does not take."""
        where = held.name or "the cart"
        load, least = in_both("mass", held.load_kg), in_both("mass", held.least_kg)
        if held.room_kg <= 0:
            what = tr(
                "The least amount, {least}, is not below what {where} holds: {load}.",
                least=least,
                where=where,
                load=load,
            )
            self.problems.add(least_at, what, tr("Give less than a load."))
            return False
        if held.bag_kg is not None and held.bag_kg > held.room_kg:
            above = f" above the least of {least}" if held.least_kg else ""
            what = tr(
                "A bag of {product}, {in_both}, does not go into {where}, which holds "
                "{load}{above}.",
                product=held.product,
                in_both=in_both("mass", held.bag_kg),
                where=where,
                load=load,
                above=above,
            )
            remedy = tr("Correct bag under [[product]], or load; without bag, loads are weighed.")
            self.problems.add(load_at, what, remedy)
            return False
        return True

    def _load_kg(self, product: Product, implement: Implement) -> float | None:
        """What a full cart holds, as told or by its volume."""
        if self.table.load is not None or "load" in self.written:
            return self.table.load
        volume_m3 = sum(bin_.volume_m3 for bin_ in implement.compartments)
        density, whose = product.bulk_density_kg_per_m3, "its bulk density"
        if density is None:
            density, whose = self._density(product), "the bulk densities of its parts"
        if not volume_m3 or density is None:
            self.warnings.append(
                tr(
                    "How much seed the cart takes is not known, so no refills are planned. "
                    "Give load under [seeding], or the volumes of the compartments and the "
                    "seed's bulk density."
                )
            )
            return None
        load_kg = volume_m3 * density
        self.warnings.append(
            tr(
                "A load was taken to be {in_both}: all compartments level full of {name}, by "
                "{whose}.",
                in_both=in_both("mass", load_kg),
                name=product.name,
                whose=whose,
            )
        )
        return load_kg

    def _density(self, blend: Product) -> float | None:
        """Bulk density, kg/m3, of a blend that takes the volume of its parts.

        It packs denser than that: the small seed fills gaps.
        """
        volume_m3 = 0.0
        for lot, share in self._lots(blend):
            if lot is None or lot.bulk_density_kg_per_m3 is None:
                return None
            volume_m3 += share / lot.bulk_density_kg_per_m3
        return 1.0 / volume_m3 if volume_m3 else None
