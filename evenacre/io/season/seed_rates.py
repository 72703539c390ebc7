"""Check what a product's table says of seed, and of the rates it can be placed at."""

from __future__ import annotations

from collections.abc import Container, Mapping

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import choice
from evenacre.io.season.schema import OperationTable, ProductTable
from evenacre.model import Implement, Product, SeedLot, WithSeed

_TAG = ("purity", "germination", "hard_seed", "seeds_per")


def seed_lot(
    table: ProductTable, written: Container[str], complaints: ProblemCollector, path: KeyPath
) -> tuple[str, SeedLot | None]:
    """Return what kind of product it is, and its tag when it is seed.

    A product with a tag and no ``kind`` is seed. A key that is ``written`` but not in the
    table is already complained about.
    """
    given = [key for key in _TAG if getattr(table, key) is not None]
    kind = table.kind or ("seed" if given else "fertilizer")
    if not given:
        return kind, None
    if kind != "seed":
        complaints.add(
            (*path, given[0]), f"{given[0]} belongs to seed, not to {kind}.", 'Write kind = "seed".'
        )
        return kind, None
    if table.parts:
        complaints.add(
            (*path, given[0]),
            "A blend has no tag of its own here: each of its parts has.",
            f"Give {given[0]} with the products that parts names.",
        )
        return kind, None
    purity, germination, hard = table.purity, table.germination, table.hard_seed or 0.0
    missing = [key for key in ("purity", "germination") if key not in written]
    for key in missing:
        complaints.add((*path, key), f"{key} is missing.", f"Add {key} = 90, as on the tag.")
    if purity is None or germination is None:
        return kind, None
    if germination + hard > 100.0:
        complaints.add(
            (*path, "germination"),
            f"germination {germination:g} % and hard_seed {hard:g} % add up to "
            f"{germination + hard:g} %, more than all of the seed.",
            "Give germination without the hard seed, as on the tag.",
        )
        return kind, None
    if purity * (germination + hard) == 0.0:
        key = "purity" if purity == 0.0 else "germination"
        complaints.add((*path, key), "None of this seed would grow.", f"Correct {key}.")
        return kind, None
    return kind, SeedLot(purity / 100.0, germination / 100.0, hard / 100.0, table.seeds_per)


def rate_range(
    least: float | None, most: float | None, complaints: ProblemCollector, path: KeyPath
) -> tuple[float | None, float | None]:
    """Return the least and the highest rate, kg per m2."""
    if least is not None and most is not None and least > most:
        what = "rate_min is higher than rate_max."
        complaints.add((*path, "rate_min"), what, "Change them over, or correct one.")
    return least, most


def bulk_target(
    rate: float | None,
    pls_rate: float,
    product: Product,
    products: Mapping[str, Product | None],
    complaints: ProblemCollector,
    path: KeyPath,
) -> float | None:
    """Return the bulk rate that holds a rate of pure live seed, kg per m2."""
    if rate is not None:
        complaints.add(path, "rate and pls_rate are both given.", "Keep one of them.")
    parts = product.parts or ((product.name, 1.0),)
    lots = [(products.get(name), part) for name, part in parts]
    tags = [(lot.seed, part) for lot, part in lots if lot is not None and lot.seed is not None]
    if len(tags) < len(lots):
        lacking = [
            name for (name, _), (lot, _) in zip(parts, lots, strict=True) if not _tagged(lot)
        ]
        complaints.add(
            path,
            f"The tag of {' and '.join(lacking)} is not given.",
            "Give purity and germination under [[product]], or a bulk rate.",
        )
        return None
    live = sum(tag.pls_fraction * part for tag, part in tags) / sum(part for _, part in tags)
    return pls_rate / live


def _tagged(lot: Product | None) -> bool:
    return lot is not None and lot.seed is not None


def with_seed_of(
    table: OperationTable, implement: Implement | None, complaints: ProblemCollector, path: KeyPath
) -> WithSeed | None:
    """Return what is said of fertilizer placed with the seed."""
    asked = table.with_seed
    if asked is None or implement is None:
        return None
    products = [use.product for use in table.products]
    for name in asked.slopes:
        if name not in products:
            complaints.add(
                (*path, "with_seed", "slopes", name),
                f'The operation has no product "{name}".',
                choice(name, products, "Add it to products."),
            )
    if not implement.rows_known:
        complaints.add(
            (*path, "with_seed"),
            "How far apart the rows are is not known.",
            "Give the implement rows or row_spacing.",
        )
        return None
    if asked.spread > implement.row_spacing_m:
        complaints.add(
            (*path, "with_seed", "spread"),
            "The opener spreads wider than the rows are apart.",
            "Give the width of the band that one opener leaves.",
        )
    return WithSeed(
        crop=asked.crop,
        spread_m=asked.spread,
        row_spacing_m=implement.row_spacing_m,
        tolerated_loss_percent=asked.tolerated_loss,
        soil_factor=asked.soil_factor,
        slopes=tuple(asked.slopes.items()),
    )
