"""What the season put down: products, nutrients, needs, seed, salt and money."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from evenacre.planning.season.nutrients import NutrientAmount
from evenacre.planning.season.salt import CAUTION, SOURCE, SaltScreen
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports import quantities as q
from evenacre.reports.column import (
    INTERVALS,
    PLACE,
    Column,
    Table,
    joined,
    json_only,
    mass_between,
    named,
    nested,
    several,
)
from evenacre.reports.sentences import findings
from evenacre.reports.sentences import season as sentences
from evenacre.reports.writers.as_frame import data_frame
from evenacre.reports.writers.as_html import PageTable, page_table
from evenacre.units.display import DisplayUnit

_INCH_M = 0.0254


PLACEMENTS = Table(
    "placements",
    (
        *several("field operation date product kind"),
        named("analysis_percent", None, "analysis", of="analysis", cell=sentences.analysis_text),
        joined("analysis", "Analysis", lambda p, _: sentences.analysis(p), "analysis_percent kind"),
        *several("rate_kg_per_m2 area_m2"),
        named("total_kg", digits=4),
        mass_between("total_kg"),
        named("outside_kg", None, "outside the field", why="the page has it with the operation"),
        named("method", "Placed", "method of placement"),
        named("amounts_from", None),
        named("sources", "Log", "source files", q.NAMES),
        INTERVALS,
    ),
    title="What was put down",
    json="field operation date product kind analysis_percent rate_kg_per_m2 area_m2 total_kg "
    "outside_kg amounts_from method sources interval_90",
    page="field product analysis method sources date rate_kg_per_m2 area_m2 total_kg total_between",
    words=5,
    remark=lambda rows, _: sentences.placements_remark(rows),
)


def _per_area(kg: float, area_m2: float) -> float | None:
    return kg / area_m2 if area_m2 else None


def _page_rate(a: NutrientAmount, kg: float, display: q.Display) -> str:
    """A rate for the page: a mean over all fields is no field's rate."""
    return display.units.rate.text(kg / a.area_m2) if a.field and a.area_m2 else ""


def _as_element(a: NutrientAmount, words: str) -> str:
    """Words on a nutrient as an element; none where that is what it is called anyway."""
    return "" if a.element == a.nutrient else words


_QUOTIENT = "JSON gives mass and area"
NUTRIENTS = Table(
    "season_nutrients",
    (
        named("field", None, cell=lambda v: v or "whole season"),
        named("zone", None),
        joined(
            "where",
            "Where",
            lambda a, _: sentences.place(a.field, a.zone) if a.field else "Whole season",
            "field zone",
        ),
        named("nutrient"),
        named("area_m2", None, why="the page gives it with the field"),
        named("kg", "Total", "total", quantity=q.MASS),
        mass_between("kg"),
        named(
            "mean_rate_kg_per_m2",
            None,
            of=lambda a: _per_area(a.kg, a.area_m2),
            json=False,
            why=_QUOTIENT,
        ),
        joined("rate", "Per area", lambda a, d: _page_rate(a, a.kg, d), "mean_rate_kg_per_m2"),
        named("element", None),
        named("element_kg", None, "total as element"),
        joined(
            "as_element",
            "As element",
            lambda a, d: _as_element(a, f"{a.element}: {d.units.mass.text(a.element_kg)}"),
            "element element_kg",
        ),
        named(
            "element_rate_kg_per_m2",
            None,
            "mean rate as element",
            of=lambda a: _per_area(a.element_kg, a.area_m2),
            json=False,
            why=_QUOTIENT,
        ),
        joined(
            "element_rate",
            "Element per area",
            lambda a, d: _as_element(a, _page_rate(a, a.element_kg, d)),
            "element_rate_kg_per_m2",
        ),
        INTERVALS,
    ),
    title="Nutrients by field",
    json="field zone nutrient kg element element_kg area_m2 interval_90",
    words=2,
    remark=(
        "Added up over all operations, in the terms of the label; phosphorus and potassium as "
        "elements too. Per area counts missed ground."
    ),
)
NUTRIENTS_BY_ZONE = replace(NUTRIENTS, title="Nutrients by zone", folded=True, remark="")
NUTRIENT_TOTALS = replace(NUTRIENTS, json="nutrient kg element element_kg area_m2 interval_90")


NEEDS = Table(
    "needs",
    (
        *several("need.field need.zone"),
        joined("where", "Where", lambda b, _: sentences.ground(b), "field zone"),
        *several("need.nutrient needed_kg_per_m2=need.kg_per_m2"),
        named("mean_kg_per_m2", "Put down", "put down"),
        named("needed_kg", None, why="the page gives rates"),
        named("applied_kg", None, "put down", why="the page gives rates"),
        named("verdict", "On average", "on average"),
        named("area_m2", None, why="met, short and over make it up"),
        *several("met_m2 short_m2 over_m2", digits=2),
        named("judged_by", None),
        named("zones_left_out=left_out", None, quantity=q.NAMES),
        INTERVALS,
    ),
    title="Against what was needed",
    json="field zone nutrient needed_kg_per_m2 mean_kg_per_m2 area_m2 needed_kg applied_kg verdict "
    "met_m2 short_m2 over_m2 judged_by zones_left_out interval_90",
    page="where nutrient verdict needed_kg_per_m2 mean_kg_per_m2 met_m2 short_m2 over_m2",
    words=3,
    remark=lambda rows, _: sentences.needs_remark(rows),
)

_SEEDS = q.measured(
    "1/m2",
    lambda d: DisplayUnit(f"per {d.units.small_area.label}", 1 / d.units.small_area.per_si),
    lambda v, d, _: f"{v / d.units.small_area.per_si:,.3g}",
)


SEED = Table(
    "seed",
    (
        named("field"),
        *several("operation date", None),
        named("product", "Seed"),
        named("seed=rate.product", None),
        joined(
            "part",
            "Part",
            lambda s, _: s.rate.product if s.rate.product != s.product else "",
            "seed",
        ),
        named("rate.share", None, "share by mass", q.SHARE, why="the page gives rates"),
        named("rate.bulk_kg_per_m2"),
        named("rate.pls_kg_per_m2", "Pure live seed", "pure live seed"),
        *(
            named(
                f"rate.{kind}_seeds_per_m2",
                lambda d, words=words: f"{words} per {d.units.small_area.label}",
                f"{kind} seeds",
                _SEEDS,
            )
            for kind, words in (("pure", "Seeds"), ("live", "Live seeds"))
        ),
        named("total_kg", digits=4),
        mass_between("total_kg"),
        INTERVALS,
    ),
    title="Seed",
    words=3,
    remark="Pure live seed is purity times (germination + hard seed), as on the tag.",
)


def _inches(d: q.Display) -> DisplayUnit:
    return DisplayUnit("in", 1 / _INCH_M) if d.units.name == "us" else DisplayUnit("cm", 100.0)


_SHORT = q.measured("m", _inches, lambda v, d, _: f"{_inches(d).of(v):.3g} {_inches(d).label}")
_PERCENT = q.measured("%", lambda _: DisplayUnit("%", 1.0), lambda v, _, __: f"{v:.1f} %")


def _taken(s: SaltScreen, d: q.Display) -> str:
    """Everything that is put into the formula, under its letters."""
    spread, spacing = (_SHORT.text(v, d, 3) for v in (s.spread_m, s.row_spacing_m))
    return (
        f"S {spread}, T {s.tolerated_loss_percent:g} %, C {s.slope_percent_per_lb_ac:g}, "
        f"R {spacing}, M {s.soil_factor:g}"
    )


SALT = Table(
    "salt",
    (
        *several("field operation product crop material"),
        joined(
            "taken",
            "Taken",
            _taken,
            "spread_m tolerated_loss_percent slope_percent_per_lb_ac row_spacing_m soil_factor",
        ),
        named("slope_percent_per_lb_ac", None, "slope [% per lb/ac]", q.NUMBER),
        *several("spread_m row_spacing_m", None, quantity=_SHORT),
        named("tolerated_loss_percent", None, "tolerated loss [%]", q.plain_number("%")),
        named("soil_factor", None, quantity=q.NUMBER),
        named("limit_kg_per_m2", "Most (F)", "most"),
        named("placed_kg_per_m2"),
        named("loss_percent", "Stand lost", "stand lost", _PERCENT),
        named("over", "", "verdict", q.worded(lambda over: "over" if over else "within")),
    ),
    title="Fertilizer with the seed",
    page="field product crop taken over placed_kg_per_m2 limit_kg_per_m2 loss_percent",
    words=5,
    remark=(
        "F = 30 S T / (C R M): S how wide the opener spreads, in inches; T the loss of stand "
        "that is tolerated; C the loss for each lb/ac; R the row spacing in inches; M soil "
        f"texture and moisture; F in lb/ac. Source: {SOURCE}. {CAUTION}"
    ),
)


COSTS = Table(
    "money",
    (
        *several("field operation"),
        named("product", quantity=q.MONEY),
        named("overlap_product", "Overlap: product", quantity=q.MONEY),
        named("overlap_time", "Overlap: time", quantity=q.MONEY),
        named("skip_product", "Missed: product", "missed product", q.MONEY),
        named("skip_time", "Missed: time", "missed time", q.MONEY),
        named("own_work", quantity=q.MONEY),
        named("hired_work", "Hired", quantity=q.MONEY),
        named(
            "own_over_hired",
            "",
            quantity=q.MONEY,
            text=lambda more, d: (
                f"own {q.MONEY.text(abs(more), d, 3)} {'dearer' if more > 0 else 'cheaper'}"
            ),
        ),
        named("overlap_time_s", "Hours on overlap"),
        named("skip_time_s", "Hours to fill", "missed time"),
        named("without_price=unpriced", None, "without a price", q.NAMES),
        INTERVALS,
    ),
    title="Money",
    json="field operation product overlap_product overlap_time overlap_time_s skip_product "
    "skip_time skip_time_s own_work hired_work own_over_hired without_price interval_90",
    words=2,
    remark=lambda rows, _: sentences.money_remark(rows),
)

SETBACKS = Table(
    "setbacks",
    (
        *several("field setback operation product", name=None),
        named("area_m2", name=None, digits=2),
        named("applied_kg", "Inside", name=None),
        mass_between("applied_kg"),
        *PLACE,
    ),
    title="Product inside setbacks",
    words=4,
    outputs=("page",),
    why="JSON and tables of data give it with the operation",
)


def season_frames(ledger: Ledger, display: q.Display) -> dict[str, pd.DataFrame]:
    """Every table of the season that has rows, by name."""
    every = (
        (PLACEMENTS, ledger.placements),
        (NUTRIENTS, (*ledger.amounts, *ledger.totals)),
        (NEEDS, ledger.needs),
        (SEED, ledger.seed),
        (SALT, ledger.salt),
        (COSTS, ledger.money),
    )
    return {table.name: data_frame(table, rows, display) for table, rows in every if rows}


LEDGER = json_only(
    "season",
    nested("placements", PLACEMENTS),
    nested("nutrients", NUTRIENTS, "amounts"),
    nested("totals", NUTRIENT_TOTALS),
    nested("needs", NEEDS),
    nested("seed", SEED),
    nested("salt", SALT),
    nested("money", COSTS),
    Column("warnings", lambda ledger: findings.sentences(ledger.findings, "warning"), q.NESTED),
    why="tables and page have each part by itself",
)


def season_page_tables(ledger: Ledger, display: q.Display) -> list[PageTable]:
    """Every table of the season that has rows, for the page."""
    fields = [a for a in ledger.amounts if a.zone is None]
    several = len({a.field for a in fields}) > 1
    every = (
        (NEEDS, ledger.needs),
        (PLACEMENTS, ledger.placements),
        (NUTRIENTS, [*fields, *(ledger.totals if several else ())]),
        (NUTRIENTS_BY_ZONE, [a for a in ledger.amounts if a.zone is not None]),
        (SETBACKS, ledger.setbacks),
        (SEED, ledger.seed),
        (SALT, ledger.salt),
        (COSTS, ledger.money),
    )
    return [page_table(table, rows, display) for table, rows in every if rows]
