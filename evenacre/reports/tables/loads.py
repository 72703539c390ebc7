"""Tables of loads, meter corrections and the season's balance, in the reader's units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from evenacre.planning.loads.halfway_check import HalfwayCheck
from evenacre.planning.loads.load_check import ProductLoads
from evenacre.planning.loads.loads import Amount
from evenacre.planning.loads.mass_estimates import LoadCheck
from evenacre.planning.loads.operation_loads import OperationLoads
from evenacre.planning.loads.stock_balance import Balance
from evenacre.reports import figure_text as figures
from evenacre.units.display import DisplayUnit, UnitSystem

Row = dict[str, Any]
Where = tuple[str, str]
"""Field and operation."""


def load_tables(
    books: Sequence[OperationLoads], balances: Iterable[Balance], units: UnitSystem
) -> dict[str, pd.DataFrame]:
    """Every table of loads that has rows, by name.

    Parameters
    ----------
    books : sequence of OperationLoads
        One an operation.
    balances : iterable of Balance
        Of the season.
    units : UnitSystem
    """
    loads = [((b.field, b.operation), product) for b in books for product in b.loads]
    checks = [((b.field, b.operation), check) for b in books for check in b.halfway]
    zones = {(b.field, b.operation): b.time_zone for b in books}
    every = {
        "loads": loads_table(loads, units, zones),
        "meter_corrections": corrections_table(loads),
        "weighings": weighings_table(checks, units),
        "balance": balance_table(balances, units),
    }
    return {name: frame for name, frame in every.items() if len(frame)}


def loads_table(
    loads: Sequence[tuple[Where, ProductLoads]],
    units: UnitSystem,
    zones: Mapping[Where, str | None] | None = None,
) -> pd.DataFrame:
    """One row a load and one for all of them together, by scale, meter and target.

    Parameters
    ----------
    loads : sequence of ((field, operation), ProductLoads)
    units : UnitSystem
    zones : mapping of (field, operation) to str or None, optional
        Time zones to tell the times in; the log's own clock where none is.
    """
    rows: list[Row] = []
    for where, product in loads:
        zone = (zones or {}).get(where)
        rows += [
            _load_row(where, product, str(check.loads[0].number), check, units, zone)
            for check in product.checks
        ]
        if product.together is not None and len(product.together.loads) > 1:
            rows.append(_load_row(where, product, "together", product.together, units, zone))
    return pd.DataFrame(rows)


def _load_row(
    where: Where,
    product: ProductLoads,
    name: str,
    check: LoadCheck,
    units: UnitSystem,
    zone: str | None,
) -> Row:
    first, last = check.loads[0], check.loads[-1]
    row: Row = {
        "field": where[0],
        "operation": where[1],
        "product": product.product,
        "load": name,
        "start": figures.iso_time(first.start_s, zone) if first.start_s is not None else "",
        "end": figures.iso_time(last.end_s, zone) if last.end_s is not None else "",
        "fillings": sum(len(load.fills) for load in check.loads),
    }
    for label, amount in (
        ("by scale", check.scale), ("by meter", check.meter), ("by target", check.target),
    ):  # fmt: skip
        row |= _amount(label, amount, units.mass)
    row |= _value("driven", check.swept_m2, units.area)
    for first_way, second in (("scale", "meter"), ("scale", "target"), ("meter", "target")):
        compared = check.compared(first_way, second)
        name = f"{first_way} over {second} [%]"
        row[name] = figures.significant([100 * compared.share])[0] if compared else float("nan")
        row[f"{first_way} and {second}"] = (
            "" if compared is None else "disagree" if compared.disagree else "agree"
        )
    return row


def corrections_table(
    loads: Sequence[tuple[Where, ProductLoads]],
) -> pd.DataFrame:
    """What to multiply each meter's factor by, and whether to."""
    return pd.DataFrame(
        [
            {
                "field": where[0],
                "operation": where[1],
                "product": product.product,
                "loads": len(product.together.loads) if product.together else 0,
                "multiply the meter's factor by": round(product.correction.factor, 5),
                "uncertainty": round(product.correction.sigma, 5),
                "low (95 %)": round(product.correction.low, 5),
                "high (95 %)": round(product.correction.high, 5),
                "change it": "yes" if product.correction.needed else "no",
                "loads contradict one another": "yes" if product.correction.scattered else "no",
            }
            for where, product in loads
            if product.correction is not None
        ]
    )


def weighings_table(
    checks: Sequence[tuple[Where, HalfwayCheck]], units: UnitSystem
) -> pd.DataFrame:
    """Every weighing of the half-way checks."""
    return pd.DataFrame(
        [
            {
                "field": where[0],
                "operation": where[1],
                "product": check.product,
                **_value("ground left", w.area_left_m2, units.area),
                **_amount("product left", Amount(w.left_kg, w.sigma_kg), units.mass),
                **_value("even", w.even_kg, units.mass),
                **_value("low", w.low_kg, units.mass),
                **_value("high", w.high_kg, units.mass),
                "verdict": w.verdict,
                "ticket": w.place,
            }
            for where, check in checks
            for w in check.weighings
        ]
    )


def balance_table(balances: Iterable[Balance], units: UnitSystem) -> pd.DataFrame:
    """What was bought of each product, where it went and what is not explained.

    ``bought`` is the sum of the rows below it: the operations, ``left`` and ``unexplained``.
    """
    rows: list[Row] = []
    for b in balances:
        bought = b.bought.kg if b.bought else None
        left = b.left.kg if b.left else None
        lines: list[tuple[str, str, str, float | None]] = [("bought", "", "", bought)]
        lines += [
            ("used", u.field, f"{u.operation} (by {u.source})", u.amount.kg) for u in b.usages
        ]
        lines += [("left", "", "", left), ("unexplained", "", _reason(b), b.unexplained_kg)]
        rows += [
            {"product": b.product, "what": what, "field": field, "about": about,
             **_value("mass", kg, units.mass)}
            for what, field, about, kg in lines
        ]  # fmt: skip
    return pd.DataFrame(rows)


def _reason(b: Balance) -> str:
    if b.unexplained_kg is None:
        return "bought or left is not known"
    return "within the errors of weighing" if b.explained else "more than the errors of weighing"


def _amount(name: str, amount: Amount | None, unit: DisplayUnit) -> Row:
    return {
        **_value(name, amount.kg if amount else None, unit),
        **_value(f"{name} uncertainty", amount.sigma_kg if amount else None, unit),
    }


def _value(name: str, si: float | None, unit: DisplayUnit) -> Row:
    value = float("nan") if si is None else unit.of(si)
    return {f"{name} [{unit.label}]": figures.significant([value])[0]}
