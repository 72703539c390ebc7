"""Seed lots and blends: pure live seed, bulk rates, and seeds on the ground."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from evenacre.model import Product, SeedLot

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


def bulk_for_pls(lot: SeedLot, pls: float) -> float:
    """Bulk that holds a mass (or rate) of pure live seed."""
    return pls / lot.pls_fraction


def pls_in_bulk(lot: SeedLot, bulk: float) -> float:
    """Pure live seed in a mass (or rate) of bulk."""
    return bulk * lot.pls_fraction


def bulk_for_plants(lot: SeedLot, plants_per_m2: float, emergence: float = 1.0) -> float:
    """Bulk rate for a number of plants.

    Parameters
    ----------
    lot : SeedLot
        With its seed count.
    emergence : float
        Share of the live seeds that come up.

    Returns
    -------
    float
        kg per m2.

    Raises
    ------
    ValueError
        When the lot has no seed count or the emergence is not a share.
    """
    if lot.seeds_per_kg is None:
        raise ValueError("the lot has no seed count")
    if not 0.0 < emergence <= 1.0:
        raise ValueError("emergence is above 0 and at most 1")
    return plants_per_m2 / (emergence * lot.seeds_per_kg * lot.pls_fraction)


def shares(product: Product) -> dict[str, float]:
    """Share of each lot in the bulk mass; a product that is no blend is its own lot."""
    if not product.parts:
        return {product.name: 1.0}
    total = sum(part for _, part in product.parts)
    return {name: part / total for name, part in product.parts if part > 0}


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
        for name, share in shares(product).items()
    ]


def _species(product: Product, share: float, bulk: float) -> SpeciesRate:
    lot = product.seed
    count = None if lot is None else lot.seeds_per_kg
    return SpeciesRate(
        product=product.name,
        share=share,
        bulk_kg_per_m2=bulk,
        pls_kg_per_m2=None if lot is None else pls_in_bulk(lot, bulk),
        pure_seeds_per_m2=None if lot is None or count is None else bulk * lot.purity * count,
        live_seeds_per_m2=None if lot is None or count is None else pls_in_bulk(lot, bulk) * count,
    )


def blend_pls_fraction(product: Product, products: Mapping[str, Product]) -> float | None:
    """Pure live seed as a share of a product's bulk; None when a tag is not given."""
    rates = species_rates(product, products, 1.0)
    live = [rate.pls_kg_per_m2 for rate in rates if rate.pls_kg_per_m2 is not None]
    return sum(live) if len(live) == len(rates) else None


def blend_for_pls(
    lots: Mapping[str, SeedLot], pls_kg_per_m2: Mapping[str, float]
) -> dict[str, float]:
    """Bulk rates, kg per m2, that give each species its rate of pure live seed.

    They are the parts by mass to blend, and together the rate to sow the blend at.
    """
    return {name: bulk_for_pls(lots[name], rate) for name, rate in pls_kg_per_m2.items()}


def separation_warnings(product: Product, products: Mapping[str, Product]) -> list[str]:
    """Say whether the parts of a blend may separate in the cart, by size or by density.

    The rule is common practice, no source: the heaviest seed weighs more than ``SIZE_RATIO``
    times the lightest (about 1.4 times its diameter), or the densest part weighs more than
    ``DENSITY_RATIO`` times the lightest of the same volume.
    """
    parts = [products[name] for name in shares(product) if name in products]
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
