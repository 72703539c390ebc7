"""Make products of their tables, and question what cannot be."""

from __future__ import annotations

from collections.abc import Mapping

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.season.schema import ProductTable
from evenacre.io.season.seed_rates import rate_range, seed_lot
from evenacre.model import Product
from evenacre.model.product import NUTRIENTS, analysis_in_name
from evenacre.units.parsing import price_currency

_ELEMENTS = {"p": "P2O5", "k": "K2O"}
_SIGNS = {"€": ("EUR",), "£": ("GBP",), "¥": ("JPY", "CNY"), "$": ("USD", "CAD", "AUD", "NZD")}


def product_of(
    table: ProductTable,
    written: Mapping[str, object],
    currency: str,
    complaints: ProblemCollector,
    path: KeyPath,
) -> tuple[Product | None, list[str]]:
    """Check a product's analysis and price; take the analysis from the name if none is given.

    Parameters
    ----------
    table : ProductTable
    written : mapping
        The table as it stands in the file, with what could not be read.

    Returns
    -------
    Product or None
        None when something was complained about.
    list of str
        Warnings.
    """
    before = len(complaints.problems)
    warnings: list[str] = []
    label = analysis_in_name(table.name)
    if table.analysis is not None:
        analysis = _checked_analysis(table.analysis, complaints, (*path, "analysis"))
        differs = [k for k, v in label.items() if analysis.get(k, 0.0) != v]
        if differs and not complaints.problems[before:]:
            warnings.append(
                f"{table.name}: its analysis differs from its name in {', '.join(differs)}; the "
                "analysis was used."
            )
    else:
        analysis = _checked_analysis(label, complaints, (*path, "name"))
    if table.price is not None:
        check_currency(written.get("price"), currency, complaints, (*path, "price"))
    kind, lot = seed_lot(table, written, complaints, path)
    if table.kind is None and kind == "fertilizer" and not analysis:
        kind = "other"
    least, most = rate_range(table.rate_min, table.rate_max, complaints, path)
    if len(complaints.problems) > before:
        return None, warnings
    made = Product(
        name=table.name,
        analysis=analysis,
        price_per_kg=table.price,
        kind=kind,
        bulk_density_kg_per_m3=table.bulk_density,
        rate_min_kg_per_m2=least,
        rate_max_kg_per_m2=most,
        seed=lot,
        parts=tuple(table.parts.items()),
        bought_kg=table.bought,
        season_left_kg=table.left,
    )
    return made, warnings


def check_currency(
    text: object, currency: str, complaints: ProblemCollector, path: KeyPath
) -> None:
    """Complain of a price that is not in the currency of the season."""
    written = price_currency(str(text))
    if written is not None and currency not in _SIGNS.get(written, (written,)):
        complaints.add(
            path,
            f'"{text}" is not in {currency}, the currency of the season.',
            f'Write it in {currency}, or set currency = "{_SIGNS.get(written, (written,))[0]}".',
        )


def _checked_analysis(
    analysis: dict[str, float], complaints: ProblemCollector, path: KeyPath
) -> dict[str, float]:
    symbols = {nutrient.lower(): nutrient for nutrient in NUTRIENTS}
    checked: dict[str, float] = {}
    for key, percent in analysis.items():
        symbol = symbols.get(key.lower())
        if symbol is None:
            label = _ELEMENTS.get(key.lower())
            remedy = (
                f"A label guarantees {label}: write that, with the label's figure."
                if label
                else choice(key, NUTRIENTS)
            )
            complaints.add((*path, key), f'"{key}" is not a nutrient on a label.', remedy)
            continue
        if symbol in checked:
            complaints.add((*path, key), f"{symbol} is given twice.", "Keep one of them.")
        checked[symbol] = percent
    if sum(checked.values()) > 100.0:
        complaints.add(
            path,
            f"{listed(checked)} add up to {sum(checked.values()):g} %, more than all of it.",
            "Give percent of the product's mass.",
        )
    return checked
