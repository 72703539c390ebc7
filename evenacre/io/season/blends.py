"""Put blends together from the products they are made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import choice
from evenacre.model import Product


def with_blends(
    products: Mapping[str, Product | None], entries: Sequence[Any], complaints: ProblemCollector
) -> dict[str, Product | None]:
    """Give every blend the analysis, kind and price that follow from its parts.

    Parameters
    ----------
    products : mapping
        By name; None for one that is already complained about.
    entries : sequence
        The tables as written, for the place of a complaint.
    """
    places: dict[str, KeyPath] = {}
    for index, entry in enumerate(entries):
        if isinstance(entry, Mapping) and isinstance(entry.get("name"), str):
            places.setdefault(entry["name"].strip(), ("product", index))
    return {
        name: product
        and (
            _blend(product, entries[int(places[name][1])], products, places[name], complaints)
            if product.parts
            else product
        )
        for name, product in products.items()
    }


def _blend(
    blend: Product,
    entry: Mapping[str, Any],
    products: Mapping[str, Product | None],
    path: KeyPath,
    complaints: ProblemCollector,
) -> Product | None:
    before = len(complaints.problems)
    others = [name for name in products if name != blend.name]
    for name, _ in blend.parts:
        place = (*path, "parts", name)
        part = products.get(name)
        if name == blend.name:
            complaints.add(place, "A blend cannot be a part of itself.", "Take it out.")
        elif name not in products:
            remedy = choice(name, others, "Define it under [[product]].")
            complaints.add(place, f'There is no product "{name}".', remedy)
        elif part is not None and part.parts:
            complaints.add(
                place, f'"{name}" is a blend itself.', f"List its parts under {blend.name} instead."
            )
    total = sum(share for _, share in blend.parts)
    if total <= 0:
        complaints.add((*path, "parts"), "The parts add up to nothing.", "Give parts by mass.")
    parts = [(products.get(name), share / total) for name, share in blend.parts if total]
    known = [(part, share) for part, share in parts if part is not None]
    if len(complaints.problems) > before or len(known) < len(parts):
        return None
    kinds = {part.kind for part, _ in known}
    kind = blend.kind if "kind" in entry else kinds.pop() if len(kinds) == 1 else "other"
    prices = [part.price_per_kg for part, _ in known]
    price = blend.price_per_kg
    if price is None and None not in prices:
        price = sum((p or 0.0) * share for p, (_, share) in zip(prices, known, strict=True))
    return replace(
        blend, kind=kind, price_per_kg=price, analysis=blend.analysis or _analysis(known)
    )


def _analysis(parts: Sequence[tuple[Product, float]]) -> dict[str, float]:
    """Percent of each nutrient by mass: the parts' percentages by their shares."""
    mixed: dict[str, float] = {}
    for part, share in parts:
        for nutrient, percent in part.analysis.items():
            mixed[nutrient] = mixed.get(nutrient, 0.0) + percent * share
    return mixed
