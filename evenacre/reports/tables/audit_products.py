"""What an audit found of each product: amounts, zones, nutrients, and what lies in setbacks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

from evenacre.language import mark, tr
from evenacre.model.audit_result import AuditResult, ProductResult
from evenacre.reports import figure_text
from evenacre.reports import quantities as q
from evenacre.reports.column import INTERVALS, PLACE, Column, Table, mass_between, named, nested
from evenacre.reports.writers.as_html import PageTable, side_by_side
from evenacre.reports.writers.as_json import record

_WORTH_SAYING = 0.0001  # of what was logged: less is rounding


def _unzoned(rows: Sequence[Any], display: q.Display) -> str:
    every = {z.product: z.of for z in rows}.values()
    return " ".join(
        tr(
            "{mass} of {product} lies in no zone.",
            mass=display.units.mass.text(p.unzoned_kg),
            product=p.product,
        )
        for p in every
        if p.unzoned_kg > 1e-6 * max(p.logged_kg, 1e-9)
    )


def _mean_rate(head: str, area: str) -> Column:
    """Declare what was applied over an area."""

    def rate(row: Any) -> float:
        area_m2 = getattr(row, area)
        return row.applied_kg / area_m2 if area_m2 else math.nan

    why = "JSON gives mass and area"
    return named(
        "mean_rate_kg_per_m2",
        head,
        of=rate,
        json=False,
        why=why,
        means="What lies on ground to be worked over the ground covered.",
    )


ZONES = Table(
    "zones",
    (
        named("zone"),
        named("product", json=False),
        named("area_m2"),
        named("applied_kg"),
        mass_between("applied_kg"),
        _mean_rate("Per area", "area_m2"),
        INTERVALS,
    ),
    title="Amounts by zone",
    words=2,
    remark=_unzoned,
)


def zones(r: AuditResult) -> list[Any]:
    """Rows of `ZONES`, for each product."""
    return [
        SimpleNamespace(**vars(z), product=p.product, of=p) for p in r.products for z in p.zones
    ]


def zones_side_by_side(rows: Sequence[Any], display: q.Display) -> list[PageTable]:
    """A line for each zone, with every product in it."""
    keys = ("applied_kg", "mean_rate_kg_per_m2")
    return side_by_side(
        ZONES, rows, display, where=lambda z: str(z.zone), what="product", keys=keys
    )


_WAYS = {"label": mark("as on the label"), "element": mark("as element")}
NUTRIENTS = Table(
    "nutrients",
    (
        named("product", None, json=False),
        named("nutrient", json=False),
        named(
            "counted_as", "Counted", quantity=q.worded(lambda way: tr(_WAYS[way]), str), json=False
        ),
        named("applied_kg", "On the field"),
        mass_between("applied_kg"),
        _mean_rate("Per covered area", "covered_m2"),
        INTERVALS,
    ),
    title="Nutrients from the label",
    words=2,
)


def nutrients(r: AuditResult) -> list[Any]:
    """Rows of `NUTRIENTS`, for each product."""
    return [
        _nutrient(p.product, name, way, kg, _scaled(p, kg), r)
        for p in r.products
        for way, amounts in (("label", p.nutrients_kg), ("element", p.elements_kg))
        for name, kg in amounts.items()
    ]


def nutrients_together(r: AuditResult) -> list[Any]:
    """Rows of `NUTRIENTS` over all products; as element only what has another name then."""
    every: dict[tuple[str, str], list[Any]] = {}
    for n in nutrients(r):
        if n.applied_kg > 0:
            every.setdefault((n.nutrient, n.counted_as), []).append(n)
    return [
        _nutrient("", name, way, sum(n.applied_kg for n in rows), _together(rows), r)
        for (name, way), rows in every.items()
        if way == "label" or (name, "label") not in every
    ]


Intervals = dict[str, tuple[float, float]]


def _scaled(p: ProductResult, kg: float) -> Intervals:
    """Interval of a nutrient, in proportion to that of its product."""
    whole, ends = p.applied_in_field_kg, p.interval_90.get("applied_in_field_kg")
    if ends is None or not whole:
        return {}
    return {"applied_kg": (kg * ends[0] / whole, kg * ends[1] / whole)}


def _together(rows: Sequence[Any]) -> Intervals:
    """Interval of a sum; the meters of its products err each by themselves."""
    if not all(n.interval_90 for n in rows):
        return {}
    total = sum(n.applied_kg for n in rows)
    below, above = (
        math.hypot(*(n.interval_90["applied_kg"][i] - n.applied_kg for n in rows)) for i in (0, 1)
    )
    return {"applied_kg": (max(total - below, 0.0), total + above)}


def _nutrient(
    product: str, name: str, way: str, kg: float, interval: Intervals, r: AuditResult
) -> Any:
    told = {"product": product, "nutrient": name, "counted_as": way, "applied_kg": kg}
    return SimpleNamespace(**told, interval_90=interval, covered_m2=r.covered_area_m2)


def _by_name(p: ProductResult, amounts_kg: dict[str, float]) -> dict[str, Any]:
    return {
        name: record(NUTRIENTS, SimpleNamespace(applied_kg=kg, interval_90=_scaled(p, kg)))
        for name, kg in amounts_kg.items()
    }


SETBACKS = Table(
    "setbacks",
    (
        named("name", "Setback", "setback"),
        named("product", json=False),
        named("area_m2", quantity=q.SMALL_AREA),
        named("applied_kg"),
        mass_between("applied_kg"),
        *PLACE,
        INTERVALS,
    ),
    title="Product inside setbacks",
    words=2,
)


def setbacks(r: AuditResult) -> list[Any]:
    """Rows of `SETBACKS`, for each product."""
    return [SimpleNamespace(**vars(s), product=p.product) for p in r.products for s in p.setbacks]


def _within(p: Any, _: q.Display) -> str:
    near = p.within_10_percent_of_target_area_m2
    return "" if near is None else figure_text.share(near, p.covered_area_m2)


def _lifted(rows: Sequence[Any], display: q.Display) -> str:
    return " ".join(
        tr(
            "{mass} of {product} was logged while no row was down and is not counted.",
            mass=display.units.mass.text(p.unplaced_kg),
            product=p.product,
        )
        for p in rows
        if p.unplaced_kg > _WORTH_SAYING * p.logged_kg
    )


_SAID_BELOW = "a sentence below the page's table says it where it matters"
PRODUCTS = Table(
    "products",
    (
        named("product"),
        named(
            "source",
            "Amounts by",
            "amounts from",
            text=lambda source, _: tr("target") if source == "target" else tr("meter"),
        ),
        named(
            "logged_kg",
            means="Flow in the log times time; else its rate, or the target, times ground driven.",
        ),
        named(
            "applied_in_field_kg",
            "On the field",
            "in field",
            means="What of it lies on ground to be worked.",
        ),
        named("outside_kg", means="What of it lies on ground that was not to be worked."),
        named("target_kg", "Wanted", means="Target rate times ground to be worked."),
        named("unzoned_kg", None, "in no zone", why=_SAID_BELOW),
        named("unplaced_kg", None, "logged while lifted", why=_SAID_BELOW),
        named(
            "overlap_kg",
            "On overlap",
            "on overlap",
            means="What was put down on ground that was covered already.",
        ),
        named(
            "overlap_cost",
            "Its cost",
            "cost of overlap",
            q.MONEY,
            cell=lambda cost: None if cost is None else round(cost, 2),
        ),
        named("mean_rate_kg_per_m2"),
        named("target_rate_kg_per_m2=target_kg_per_m2", quantity=q.TOLD_RATE),
        named(
            "within_10_percent_of_target_area_m2",
            "Within 10 % of target",
            "within 10 percent of target",
            told=_within,
        ),
        mass_between("applied_in_field_kg"),
        INTERVALS,
        nested("zones", ZONES),
        Column("nutrients", lambda p: _by_name(p, p.nutrients_kg), q.NESTED),
        Column("elements", lambda p: _by_name(p, p.elements_kg), q.NESTED),
        nested("setbacks", SETBACKS),
    ),
    title="Amounts",
    json="product logged_kg applied_in_field_kg outside_kg target_kg mean_rate_kg_per_m2 "
    "within_10_percent_of_target_area_m2 zones nutrients elements source target_rate_kg_per_m2 "
    "unzoned_kg unplaced_kg overlap_kg overlap_cost setbacks interval_90",
    page="product source logged_kg applied_in_field_kg applied_in_field_between outside_kg "
    "target_kg mean_rate_kg_per_m2 target_rate_kg_per_m2 within_10_percent_of_target_area_m2 "
    "overlap_kg overlap_cost",
    words=2,
    remark=_lifted,
)
ON_PAPER = replace(
    PRODUCTS,
    page="product source applied_in_field_kg applied_in_field_between outside_kg target_kg "
    "mean_rate_kg_per_m2 target_rate_kg_per_m2 within_10_percent_of_target_area_m2 overlap_kg",
    outputs=("page",),
    why="paper is narrow: logged is what lies on the field and outside",
)
ON_GROUND_DRIVEN = replace(
    PRODUCTS,
    page="product source logged_kg applied_in_field_kg outside_kg target_rate_kg_per_m2",
    outputs=("page",),
    why="where overlap cannot be told, the page leaves out what hangs on it",
)


def products(r: AuditResult) -> list[Any]:
    """Rows of `PRODUCTS`."""
    return [SimpleNamespace(**vars(p), covered_area_m2=r.covered_area_m2) for p in r.products]
