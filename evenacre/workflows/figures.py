"""The figures of an account as one tidy frame in SI."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from evenacre.reports.quantities import BY_UNIT

if TYPE_CHECKING:
    import pandas as pd

FIGURE_COLUMNS = (
    *("field", "operation", "subject", "name", "value", "unit"),
    *("uncertainty", "expected", "low_90", "high_90"),
)
_NUMBERS = ("value", "uncertainty", "expected", "low_90", "high_90")
_BESIDE = ("uncertainty", "expected", "interval_90")  # tables of what goes with other figures

# By the end of a key, the longest first: of JSON alone, and of what tables declare.
_UNITS = {
    "_kg_per_m3": "kg/m3",
    "_kg_per_day": "kg/d",
    "_seeds_per_m2": "1/m2",
    "_percent": "%",
    "_deg": "deg",
    "_days": "d",
    **{end: quantity.si for end, quantity in BY_UNIT.items()},
}
_WHOLE = {"kg": "kg", "lon": "deg", "lat": "deg"}
# What tells one entry of a list from the next; field and operation have columns of their own.
_TELLS = ("setting", "product", "seed", "paddock", "zone", "name", "nutrient", "date")


def figures_of(summary: Mapping[str, Any]) -> pd.DataFrame:
    """Lay the numbers of an account out, one a row; a key of it ends in the SI unit."""
    import pandas as pd  # what is typed in is answered without

    rows = _rows(summary, {"field": "", "operation": "", "subject": ""}, summary.get("currency"))
    return pd.DataFrame(rows, columns=list(FIGURE_COLUMNS)).astype(dict.fromkeys(_NUMBERS, float))


def _rows(
    node: Mapping[str, Any], about: dict[str, str], currency: str | None
) -> Iterator[dict[str, Any]]:
    about |= {key: node[key] for key in ("field", "operation") if isinstance(node.get(key), str)}
    beside = {key: node[key] for key in _BESIDE if isinstance(node.get(key), Mapping)}
    known, expected, ends = (beside.get(key, {}) for key in _BESIDE)
    for key, value in node.items():
        if key in beside or key == "uncertainty" or "sigma" in key.split("_"):
            continue
        if _is_number(value):
            name, unit = _named(key)
            if unit == "1" and currency and ("cost" in key or about["subject"].startswith("money")):
                unit = currency
            sigma = known.get(key, node.get(key.removesuffix(f"_{unit}") + f"_sigma_{unit}"))
            sigma = node.get(f"sigma_{key}", sigma)
            low, high = ends.get(key, (None, None))
            figure = {"name": name, "value": value, "unit": unit, "uncertainty": sigma}
            yield {
                **about,
                **figure,
                "expected": expected.get(key),
                "low_90": low,
                "high_90": high,
            }
            continue
        for label, child in _children(key, value):
            subject = ", ".join(filter(None, (about["subject"], label)))
            yield from _rows(child, {**about, "subject": subject}, currency)


def _children(key: str, value: Any) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """The tables under a key, each with what to call it."""
    if isinstance(value, Mapping):
        nested = value and all(isinstance(child, Mapping) for child in value.values())
        if nested:
            yield from ((f"{_one_of(key)} {name}", child) for name, child in value.items())
        else:
            yield key, value
    if not isinstance(value, list):
        return
    for number, child in enumerate(value, start=1):
        if isinstance(child, Mapping):
            told = [child[k] for k in _TELLS if isinstance(child.get(k), str)]
            elsewhere = key in ("operations", "fields")
            label = "" if elsewhere else " ".join([_one_of(key), *(told or [str(number)])])
            yield label, child
        elif _is_number(child):
            yield str(number), {key: child}


def _one_of(key: str) -> str:
    return key.removesuffix("es") if key.endswith("sses") else key.removesuffix("s")


def _named(key: str) -> tuple[str, str]:
    """Name and unit of a figure by its key."""
    if key in _WHOLE:
        return key, _WHOLE[key]
    for end, unit in _UNITS.items():
        if key.endswith(end):
            return key.removesuffix(end), unit
    return key, "1"


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
