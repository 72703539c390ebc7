"""What the season put down: products, nutrients, needs, seed, salt and money."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from evenacre.language import mark, number, tr
from evenacre.planning.season.nutrients import (
    AuditedJob,
    NutrientAmount,
    nutrient_amounts,
    product_totals,
)
from evenacre.planning.season.salt import CAUTION, SOURCE, SaltScreen
from evenacre.planning.season.season_totals import Ledger, Money
from evenacre.reports import figure_text
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
from evenacre.reports.tables.audit_products import zones, zones_side_by_side
from evenacre.reports.writers.as_frame import data_frame
from evenacre.reports.writers.as_html import PageTable, page_table, side_by_side
from evenacre.units.display import DisplayUnit

_INCH_M = 0.0254


PLACEMENTS = Table(
    "placements",
    (
        *several("field operation"),
        named("date", text=lambda v, _: figure_text.day(v)),
        *several("product kind"),
        named("analysis_percent", None, "analysis", of="analysis", cell=sentences.analysis_text),
        joined("analysis", "Analysis", lambda p, _: sentences.analysis(p), "analysis_percent kind"),
        named("rate_kg_per_m2"),
        named(
            "area_m2",
            told=lambda p, d: figure_text.deserved(p.area_m2, p.area_sigma_m2, d.units),
        ),
        named("total_kg"),
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


def _element_mass(a: NutrientAmount, display: q.Display) -> str:
    each = a.kg_each or (a.kg,)
    part = a.element_kg / a.kg if a.kg else 0.0
    return display.units.mass.in_all(part * kg for kg in each)


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
            lambda a, _: sentences.place(a.field, a.zone) if a.field else tr("Whole season"),
            "field zone",
        ),
        named("nutrient"),
        named("area_m2", None, why="the page gives it with the field"),
        named(
            "kg",
            "Total",
            "total",
            quantity=q.MASS,
            told=lambda a, d: d.units.mass.in_all(a.kg_each or (a.kg,)),
        ),
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
            lambda a, d: _as_element(a, f"{a.element}: {_element_mass(a, d)}"),
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
        named("need.nutrient"),
        named("needed_kg_per_m2=need.kg_per_m2", quantity=q.TOLD_RATE),
        named(
            "mean_kg_per_m2",
            "Put down",
            "put down",
            means="All that the season put down of it, over the ground that the need is for.",
        ),
        named("needed_kg", None, why="the page gives rates"),
        named("applied_kg", None, "put down", why="the page gives rates"),
        named("verdict", "On average", "on average", q.OUR_WORDS),
        named("area_m2", None, why="met, short and over make it up"),
        *several("met_m2 short_m2 over_m2"),
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
    lambda v, d, n: DisplayUnit("", 1 / d.units.small_area.per_si).text(v, n).strip(),
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
        named(
            "rate.pls_kg_per_m2",
            "Pure live seed",
            "pure live seed",
            means="Bulk rate times purity times germination and hard seed.",
        ),
        *(
            named(
                f"rate.{kind}_seeds_per_m2",
                lambda d, words=words: tr(words, area=d.units.small_area.word),
                f"{kind} seeds",
                _SEEDS,
            )
            for kind, words in (
                ("pure", mark("Seeds per {area}")),
                ("live", mark("Live seeds per {area}")),
            )
        ),
        named("total_kg"),
        mass_between("total_kg"),
        INTERVALS,
    ),
    title="Seed",
    words=3,
    remark="Pure live seed is purity times (germination + hard seed), as on the tag.",
)


def _inches(d: q.Display) -> DisplayUnit:
    return DisplayUnit("in", 1 / _INCH_M) if d.units.name == "us" else DisplayUnit("cm", 100.0)


SHORT = q.measured(
    "m", _inches, lambda v, d, _: f"{number(_inches(d).of(v), '.3g')} {_inches(d).word}"
)
_PERCENT = q.measured(
    "%", lambda _: DisplayUnit("%", 1.0), lambda v, _, __: f"{number(v, '.1f')} %"
)


_OVER = q.Quantity(
    lambda over, _: "over" if over else "within",
    lambda over, _, __: tr("over") if over else tr("within"),
)


def _taken(s: SaltScreen, d: q.Display) -> str:
    """Everything that is put into the formula, under its letters."""
    spread, spacing = (SHORT.text(v, d, 3) for v in (s.spread_m, s.row_spacing_m))
    plain = (s.tolerated_loss_percent, s.slope_percent_per_lb_ac, s.soil_factor)
    loss, slope, soil = (number(value, "g") for value in plain)
    return f"S {spread}, T {loss} %, C {slope}, R {spacing}, M {soil}"


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
        *several("spread_m row_spacing_m", None, quantity=SHORT),
        named("tolerated_loss_percent", None, "tolerated loss [%]", q.plain_number("%")),
        named("soil_factor", None, quantity=q.NUMBER),
        named("limit_kg_per_m2", "Most (F)", "most"),
        named("placed_kg_per_m2"),
        named("loss_percent", "Stand lost", "stand lost", _PERCENT),
        named("over", "", "verdict", _OVER),
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
        named("field"),
        named("operation", "Job"),
        named("product", quantity=q.MONEY),
        named(
            "overlap_product",
            "Overlap: product",
            quantity=q.MONEY,
            told=lambda m, d: (
                figure_text.money_in_all(m.overlap_each, d.currency) if m.overlap_each else ""
            ),
            means="What was put down on ground that was covered already, at its price.",
        ),
        named(
            "overlap_time",
            "Overlap: time",
            quantity=q.MONEY,
            means="Time spent on ground that was covered already, at the cost of an hour.",
        ),
        named(
            "skip_product",
            "Missed: product",
            "missed product",
            q.MONEY,
            means="What the missed ground would take at the target rate, at its price.",
        ),
        named(
            "skip_time",
            "Missed: time",
            "missed time",
            q.MONEY,
            means="Time to fill it at this job's field capacity, at the cost of an hour.",
        ),
        named("own_work", quantity=q.MONEY, means="Time in the field at the cost of an hour."),
        named(
            "hired_work",
            "Hired",
            quantity=q.MONEY,
            means="The quote times the ground to be worked.",
        ),
        named(
            "own_over_hired",
            "Own beside hired",
            quantity=q.MONEY,
            told=lambda m, d: sentences.own_beside_hired(m, d.currency),
        ),
        named("overlap_time_s", "Time on overlap"),
        named("skip_time_s", "Time to fill", "missed time"),
        named("without_price=unpriced", None, "without a price", q.NAMES),
        INTERVALS,
    ),
    title="Money",
    json="field operation product overlap_product overlap_time overlap_time_s skip_product "
    "skip_time skip_time_s own_work hired_work own_over_hired without_price interval_90",
    words=2,
    remark=lambda rows, _: sentences.money_remark(rows),
)

_ON_PAPER: dict[str, Any] = {"outputs": ("page",), "why": "fewer columns, for sheets of paper"}
_PLACED = replace(
    PLACEMENTS,
    page="product analysis method rate_kg_per_m2 area_m2 total_kg total_between",
    words=3,
    remark=lambda rows, _: sentences.by_target_remark(rows),
    **_ON_PAPER,
)
_ALL_PLACED = replace(
    PLACEMENTS,
    page="field product analysis method date rate_kg_per_m2 area_m2 total_kg total_between",
    words=4,
    **_ON_PAPER,
)
_CARRIED = replace(
    NUTRIENTS,
    columns=tuple(replace(column, why="") for column in NUTRIENTS.columns),
    title="Nutrients",
    page="nutrient kg kg_between rate as_element element_rate",
    words=1,
    remark="As the label names them, and as elements. Per area counts missed ground.",
    **_ON_PAPER,
)
_SOWN = replace(
    SEED,
    page="product part bulk_kg_per_m2 pls_kg_per_m2 live_seeds_per_m2 total_kg total_between",
    words=2,
    **_ON_PAPER,
)
_CARRIED_IN_ALL = replace(
    NUTRIENTS,
    title="Nutrients in all",
    page="nutrient kg kg_between as_element",
    words=1,
    remark="",
    **_ON_PAPER,
)
_ALL_COST = replace(
    COSTS,
    page="field operation product overlap_product overlap_time skip_product skip_time own_work "
    "hired_work",
    **_ON_PAPER,
)
_COST = replace(
    COSTS, page="field operation product overlap_product own_work hired_work", **_ON_PAPER
)

TOTALS = Table(
    "product_totals",
    (
        named("product"),
        named(
            "total_kg",
            "On the fields",
            None,
            told=lambda t, d: d.units.mass.in_all(t.total_each),
        ),
        mass_between("total_kg"),
        named(
            "outside_kg",
            "Outside the fields",
            None,
            told=lambda t, d: d.units.mass.in_all(t.outside_each),
        ),
    ),
    title="Products in all",
    outputs=("page",),
    why="placements and their intervals add up to it",
)

SETBACKS = Table(
    "setbacks",
    (
        *several("field setback", name=None),
        named("operation", "Job", None),
        named("product", name=None),
        named("area_m2", name=None, quantity=q.PLACE_AREA),
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


def season_page_tables(
    ledger: Ledger, display: q.Display, *, together: bool = False
) -> list[PageTable]:
    """Every table of the season that has rows, for the page.

    Nutrients of a zone stand ``together`` on a line where paper is short, and logs and times are
    left out.
    """
    fields = [a for a in ledger.amounts if a.zone is None]
    several = len({a.field for a in fields}) > 1
    in_zones = [a for a in ledger.amounts if a.zone is not None]

    def shown(*every: tuple[Table, Sequence[Any]]) -> list[PageTable]:
        return [page_table(table, rows, display) for table, rows in every if rows]

    return [
        *shown(
            (NEEDS, ledger.needs),
            (_ALL_PLACED if together else PLACEMENTS, ledger.placements),
            (NUTRIENTS, [*fields, *(ledger.totals if several else ())]),
        ),
        *(_by_zone(in_zones, display) if together else shown((NUTRIENTS_BY_ZONE, in_zones))),
        *shown(
            (SETBACKS, ledger.setbacks),
            (SEED, ledger.seed),
            (SALT, ledger.salt),
            (_ALL_COST if together else COSTS, ledger.money),
        ),
    ]


def job_sheet_tables(
    job: AuditedJob, ledger: Ledger, display: q.Display, *, left_out: Sequence[str] = ()
) -> list[PageTable]:
    """What one job put down, for a sheet of paper: products, its own nutrients, seed.

    Products are ``left_out`` where nobody knows how much was put down.
    """

    def own(rows: Sequence[Any]) -> list[Any]:
        names = (job.result.field, job.result.operation, job.result.date)
        named = (row for row in rows if (row.field, row.operation, row.date) == names)
        return [row for row in named if row.product not in left_out]

    carried = nutrient_amounts(_known([job], left_out))
    every = (
        (_PLACED, own(ledger.placements)),
        (_CARRIED, [a for a in carried if a.zone is None]),
        (_SOWN, own(ledger.seed)),
    )
    tables = [page_table(table, rows, display) for table, rows in every if rows]
    placed = [z for z in zones(job.result) if z.product not in left_out]
    return [*tables, *zones_side_by_side(placed, display), *_by_zone(carried, display)]


def together_tables(
    jobs: Sequence[AuditedJob], display: q.Display, *, left_out: Sequence[str] = ()
) -> list[PageTable]:
    """What several jobs come to together, for a sheet of paper: products, nutrients by zone."""
    if len(jobs) < 2:
        return []
    known = _known(jobs, left_out)
    totals = [total for total in product_totals(known) if total.product not in left_out]
    tables = [page_table(TOTALS, totals, display)] if totals else []
    carried = nutrient_amounts(known)
    whole = [a for a in carried if a.zone is None]
    fields = {a.field for a in whole}
    for field in dict.fromkeys(a.field for a in whole):
        own = [a for a in carried if a.field == field]
        rows = [a for a in own if a.zone is None]
        made = [page_table(_CARRIED, rows, display), *_by_zone(own, display)]
        if len(fields) > 1:
            made = [replace(table, title=f"{table.title}: {field}") for table in made]
        tables += made
    return tables


def costs_on_paper(costs: Sequence[Money], display: q.Display) -> PageTable:
    """What jobs cost, in fewer columns."""
    return page_table(_COST, costs, display)


def _known(jobs: Sequence[AuditedJob], left_out: Sequence[str]) -> list[AuditedJob]:
    """Jobs without the products that are left out."""
    kept = [tuple(p for p in job.result.products if p.product not in left_out) for job in jobs]
    return [
        replace(job, result=replace(job.result, products=products))
        for job, products in zip(jobs, kept, strict=True)
    ]


def _by_zone(amounts: Sequence[NutrientAmount], display: q.Display) -> list[PageTable]:
    """Nutrients side by side, a line for each zone."""
    in_zones = [a for a in amounts if a.zone is not None]
    several = len({a.field for a in in_zones}) > 1

    def where(a: NutrientAmount) -> str:
        return sentences.place(a.field, a.zone) if several else str(a.zone)

    return side_by_side(
        NUTRIENTS_BY_ZONE, in_zones, display, where=where, what="nutrient", keys=("kg", "rate")
    )


def season_sheet_tables(
    jobs: Sequence[AuditedJob], ledger: Ledger, display: q.Display, *, left_out: Sequence[str] = ()
) -> list[PageTable]:
    """What the season comes to, for a sheet of paper; some products may be ``left_out``."""
    every = (
        (TOTALS, [total for total in product_totals(jobs) if total.product not in left_out]),
        (_CARRIED_IN_ALL, ledger.totals),
        (NEEDS, ledger.needs),
        (SETBACKS, ledger.setbacks),
        (_COST, ledger.money),
    )
    return [page_table(table, rows, display) for table, rows in every if rows]
