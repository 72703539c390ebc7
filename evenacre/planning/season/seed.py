"""Seed lots and blends: pure live seed, bulk rates, and seeds on the ground."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from evenacre.model import Product
from evenacre.model.finding import Finding

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
    for code, more, values, ratio in (
        ("seeds_unlike", "heavier", seed_kg, SIZE_RATIO),
        ("densities_unlike", "denser", density, DENSITY_RATIO),
    ):
        most, least = (pick(values, key=values.__getitem__, default="") for pick in (max, min))
        if len(values) > 1 and values[most] > ratio * values[least]:
            of = {more: most, "lighter": least, "times": values[most] / values[least]}
            found.append(Finding.warning(code, **of))
    if len(seed_kg) < 2 and len(density) < 2:
        found.append(Finding.warning("separation_unknown"))
    return [finding.at(product.name) for finding in found]
