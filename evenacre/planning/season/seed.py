"""Seed lots and blends: pure live seed, bulk rates, and seeds on the ground."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from evenacre.model import Product

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
    """Rates of every lot in a product sown at a bulk rate.

    Parameters
    ----------
    product : Product
        A lot or a blend.
    products : mapping
        By name; holds the parts of the blend.
    bulk_kg_per_m2 : float
        Of the whole.
    """
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


def separation_warnings(product: Product, products: Mapping[str, Product]) -> list[str]:
    """Say whether the parts of a blend may separate in the cart, by size or by density.

    The rule is common practice, no source: the heaviest seed weighs more than ``SIZE_RATIO``
    times the lightest (about 1.4 times its diameter), or the densest part weighs more than
    ``DENSITY_RATIO`` times the lightest of the same volume.
    """
    parts = [products[name] for name in product.shares if name in products]
    if len(parts) < 2:
        return []
    warnings = []
    seed_mass = {p.name: 1.0 / p.seed.seeds_per_kg for p in parts if p.seed and p.seed.seeds_per_kg}
    density = {
        p.name: p.bulk_density_kg_per_m3 for p in parts if p.bulk_density_kg_per_m3 is not None
    }
    for values, ratio, words in (
        (seed_mass, SIZE_RATIO, "a seed of {0} weighs {2:.1f} times one of {1}"),
        (density, DENSITY_RATIO, "{0} is {2:.1f} times as dense as {1}"),
    ):
        if len(values) < 2:
            continue
        most, least = max(values, key=values.__getitem__), min(values, key=values.__getitem__)
        if values[most] > ratio * values[least]:
            told = words.format(most, least, values[most] / values[least])
            warnings.append(
                f"{product.name}: {told}. The blend may separate in the cart: fill often, and "
                "check the last of a load against the first."
            )
    if len(seed_mass) < 2 and len(density) < 2:
        warnings.append(
            f"{product.name}: whether it separates in the cart cannot be told without the seed "
            "counts or bulk densities of its parts."
        )
    return warnings
