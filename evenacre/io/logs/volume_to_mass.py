"""Amounts logged by volume or count, weighed by what the season says of their product."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from evenacre.language import tr
from evenacre.model import Application, Product, Track, Unweighed


def weigh_amounts(tracks: Sequence[Track], applications: Sequence[Application]) -> list[Track]:
    """Turn volumes into mass by bulk density and counts by seed size, where both are known.

    What was weighed gets a note, and what could not be a warning. A mass that the log holds
    itself goes before.
    """
    products = [a.product for a in applications]
    return [_weigh(track, products) if track.unweighed else track for track in tracks]


def _weigh(track: Track, products: Sequence[Product]) -> Track:
    added = {"area": dict(track.rates), "time": dict(track.flows)}
    notes, warnings = list(track.notes), list(track.warnings)
    for amount in track.unweighed:
        if amount.product in track.rates or amount.product in track.flows:
            continue
        product = _product(amount, products)
        kg_each, known_by = _kg_each(amount, product)
        called = amount.product or (product.name if product else "the product")
        if kg_each is None:
            warnings.append(
                tr(
                    "{source}: the {by} of {called} is logged, which tells nothing of its "
                    "weight; it was not used. Give the product's {known_by} in a season file.",
                    source=track.source,
                    by=amount.by,
                    called=called,
                    known_by=known_by,
                )
            )
            continue
        added[amount.per][amount.product] = amount.values * kg_each
        notes.append(
            tr(
                "{source}: the {by} of {called} was weighed by its {known_by}.",
                source=track.source,
                by=amount.by,
                called=called,
                known_by=known_by,
            )
        )
    return replace(
        track,
        rates=added["area"],
        flows=added["time"],
        unweighed=(),
        notes=tuple(notes),
        warnings=tuple(warnings),
    )


def _product(amount: Unweighed, products: Sequence[Product]) -> Product | None:
    if not amount.product and len(products) == 1:
        return products[0]
    return next((p for p in products if p.name == amount.product), None)


def _kg_each(amount: Unweighed, product: Product | None) -> tuple[float | None, str]:
    """Mass of a cubic metre or of one seed, and the season key that tells it."""
    if amount.by == "volume":
        return (product.bulk_density_kg_per_m3 if product else None), "bulk_density"
    seeds_per_kg = product.seed.seeds_per_kg if product and product.seed else None
    return (1.0 / seeds_per_kg if seeds_per_kg else None), "seeds_per"
