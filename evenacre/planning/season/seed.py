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
    return [
        _species(known[name], share, share * bulk_kg_per_m2)
        for name, share in product.shares.items()
    ]


def _species(product: Product, share: float, bulk: float) -> SpeciesRate:
    lot = product.seed
    if lot is None:
        return SpeciesRate(product.name, share, bulk, None, None, None)
    pls, count = bulk * lot.pls_fraction, lot.seeds_per_kg
    return SpeciesRate(
        product=product.name,
        share=share,
        bulk_kg_per_m2=bulk,
        pls_kg_per_m2=pls,
        pure_seeds_per_m2=None if count is None else bulk * lot.purity * count,
        live_seeds_per_m2=None if count is None else pls * count,
    )


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
