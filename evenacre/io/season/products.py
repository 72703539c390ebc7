"""Make products of their tables: analysis, price, tag of a seed lot, blends."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.season.checks import check_currency, check_order, is_defined
from evenacre.io.season.schema import ProductTable
from evenacre.language import tr
from evenacre.model import Product, SeedLot
from evenacre.model.product import NUTRIENTS, analysis_in_name

_SYMBOLS = {nutrient.lower(): nutrient for nutrient in NUTRIENTS}
_ELEMENTS = {"p": "P2O5", "k": "K2O"}
_TAG = ("purity", "germination", "hard_seed", "seeds_per")


def product_of(
    table: ProductTable,
    written: Mapping[str, object],
    currency: str,
    problems: ProblemCollector,
    path: KeyPath,
) -> tuple[Product | None, list[str]]:
    """Check a product and take the analysis from its name if none is given.

    ``written`` is the table as it stands in the file, with what could not be read. Returns the
    product, or None when something was wrong, and warnings.
    """
    before = len(problems.problems)
    warnings: list[str] = []
    label = analysis_in_name(table.name)
    if table.analysis is not None:
        analysis = _checked_analysis(table.analysis, problems, (*path, "analysis"))
        differs = [k for k, v in label.items() if analysis.get(k, 0.0) != v]
        if differs and not problems.problems[before:]:
            warnings.append(
                tr(
                    "{name}: its analysis differs from its name in {names}; the analysis was used.",
                    name=table.name,
                    names=", ".join(differs),
                )
            )
    else:
        analysis = _checked_analysis(label, problems, (*path, "name"))
    if table.price is not None:
        check_currency(written.get("price"), currency, problems, (*path, "price"))
    kind, lot = _seed_lot(table, written, problems, path)
    if table.kind is None and kind == "fertilizer" and not analysis:
        kind = "other"
    what = tr("rate_min is higher than rate_max.")
    check_order(table.rate_min, table.rate_max, what, problems, (*path, "rate_min"))
    if len(problems.problems) > before:
        return None, warnings
    made = table.given(Product) | {
        "analysis": analysis,
        "price_per_kg": table.price,
        "kind": kind,
        "seed": lot,
        "parts": tuple(table.parts.items()),
        "season_left_kg": table.left,
    }
    return Product(**made), warnings


def _checked_analysis(
    analysis: dict[str, float], problems: ProblemCollector, path: KeyPath
) -> dict[str, float]:
    checked: dict[str, float] = {}
    for key, percent in analysis.items():
        symbol = _SYMBOLS.get(key.lower())
        if symbol is None:
            remedy = choice(key, NUTRIENTS)
            if label := _ELEMENTS.get(key.lower()):
                remedy = tr(
                    "A label guarantees {label}: write that, with the label's figure.", label=label
                )
            problems.add((*path, key), tr('"{key}" is not a nutrient on a label.', key=key), remedy)
            continue
        if symbol in checked:
            problems.add(
                (*path, key), tr("{symbol} is given twice.", symbol=symbol), tr("Keep one of them.")
            )
        checked[symbol] = percent
    if (total := sum(checked.values())) > 100.0:
        what = tr(
            "{listed} add up to {total:g} %, more than all of it.",
            listed=listed(checked),
            total=total,
        )
        problems.add(path, what, tr("Give percent of the product's mass."))
    return checked


def _seed_lot(
    table: ProductTable, written: Mapping[str, object], problems: ProblemCollector, path: KeyPath
) -> tuple[str, SeedLot | None]:
    """Return what kind of product it is, and its tag when it is seed.

    A product with a tag and no ``kind`` is seed.
    """
    given = [key for key in _TAG if getattr(table, key) is not None]
    kind = table.kind or ("seed" if given else "fertilizer")
    if not given:
        return kind, None
    if kind != "seed" or table.parts:
        what, remedy = (
            tr("{given} belongs to seed, not to {kind}.", given=given[0], kind=kind),
            tr('Write kind = "seed".'),
        )
        if kind == "seed":
            what = tr("A blend has no tag of its own here: each of its parts has.")
            remedy = tr("Give {given} with the products that parts names.", given=given[0])
        problems.add((*path, given[0]), what, remedy)
        return kind, None
    purity, germination, hard = table.purity, table.germination, table.hard_seed or 0.0
    for key in ("purity", "germination"):
        if key not in written:
            problems.add(
                (*path, key),
                tr("{key} is missing.", key=key),
                tr("Add {key} = 90, as on the tag.", key=key),
            )
    if purity is None or germination is None:
        return kind, None
    alive = germination + hard
    if alive > 100.0:
        both = f"germination {germination:g} % and hard_seed {hard:g} %"
        what = tr(
            "{both} add up to {alive:g} %, more than all of the seed.", both=both, alive=alive
        )
        remedy = tr("Give germination without the hard seed, as on the tag.")
        problems.add((*path, "germination"), what, remedy)
    elif purity * alive == 0.0:
        key = "purity" if purity == 0.0 else "germination"
        problems.add(
            (*path, key), tr("None of this seed would grow."), tr("Correct {key}.", key=key)
        )
    return kind, SeedLot(purity / 100.0, germination / 100.0, hard / 100.0, table.seeds_per)


def bulk_target(
    rate: float | None,
    pls_rate: float | None,
    product: Product,
    products: Mapping[str, Product | None],
    problems: ProblemCollector,
    path: KeyPath,
) -> float | None:
    """Return the bulk rate that is given, or that holds a rate of pure live seed, kg per m2."""
    if pls_rate is None:
        return rate
    path = (*path, "pls_rate")
    if rate is not None:
        problems.add(path, tr("rate and pls_rate are both given."), tr("Keep one of them."))
    parts = product.parts or ((product.name, 1.0),)
    lots = [(name, lot.seed if (lot := products.get(name)) else None) for name, _ in parts]
    lacking = [name for name, tag in lots if tag is None]
    if lacking:
        problems.add(
            path,
            tr("The tag of {names} is not given.", names=" and ".join(lacking)),
            tr("Give purity and germination under [[product]], or a bulk rate."),
        )
        return None
    tags = [(tag, part) for (_, tag), (_, part) in zip(lots, parts, strict=True) if tag]
    return pls_rate / (sum(t.pls_fraction * p for t, p in tags) / sum(p for _, p in parts))


def with_blends(
    products: Mapping[str, Product | None],
    tables: Iterable[tuple[str, KeyPath, Mapping[str, Any]]],
    problems: ProblemCollector,
) -> dict[str, Product | None]:
    """Give every blend the analysis, kind and price that follow from its parts.

    ``tables`` are name, place and the table as written of each product.
    """
    made = dict(products)
    for name, path, written in tables:
        product = products[name]
        if product is not None and product.parts:
            made[name] = blend = _blend(product, products, path, problems)
            if blend is not None and "kind" in written:
                made[name] = replace(blend, kind=product.kind)
    return made


def _blend(
    blend: Product,
    products: Mapping[str, Product | None],
    path: KeyPath,
    problems: ProblemCollector,
) -> Product | None:
    before = len(problems.problems)
    others = [name for name in products if name != blend.name]
    for name, _ in blend.parts:
        place = (*path, "parts", name)
        part = products.get(name)
        if name == blend.name:
            problems.add(place, tr("A blend cannot be a part of itself."), tr("Take it out."))
        elif is_defined(name, "product", others, problems, place) and part and part.parts:
            remedy = tr("List its parts under {name} instead.", name=blend.name)
            problems.add(place, tr('"{name}" is a blend itself.', name=name), remedy)
    total = sum(share for _, share in blend.parts)
    if total <= 0:
        problems.add(
            (*path, "parts"), tr("The parts add up to nothing."), tr("Give parts by mass.")
        )
    parts = [(products.get(name), share / total) for name, share in blend.parts if total]
    known = [(part, share) for part, share in parts if part is not None]
    if len(problems.problems) > before or len(known) < len(parts):
        return None
    kinds = {part.kind for part, _ in known}
    price, analysis = blend.price_per_kg, dict(blend.analysis)
    if price is None and all(part.price_per_kg is not None for part, _ in known):
        price = sum((part.price_per_kg or 0.0) * share for part, share in known)
    if not blend.analysis:
        for part, share in known:
            for nutrient, percent in part.analysis.items():
                analysis[nutrient] = analysis.get(nutrient, 0.0) + percent * share
    return replace(
        blend,
        kind=kinds.pop() if len(kinds) == 1 else "other",
        price_per_kg=price,
        analysis=analysis,
    )
