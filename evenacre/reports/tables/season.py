"""What the season put down: products, nutrients, needs, seed, salt and money."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from evenacre.planning.season.money import Money
from evenacre.planning.season.needs import NeedBalance
from evenacre.planning.season.nutrients import NutrientAmount, Placement
from evenacre.planning.season.salt import CAUTION, SOURCE, SaltScreen
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports.column import (
    AREA,
    HOURS,
    MASS,
    MONEY,
    NAMES,
    NUMBER,
    RATE,
    SHARE,
    Column,
    Display,
    Table,
    measured,
    worded,
)
from evenacre.reports.writers.as_frame import data_frame
from evenacre.reports.writers.as_html import PageTable, page_table
from evenacre.reports.writers.as_json import records
from evenacre.units.display import DisplayUnit

_INCH_M = 0.0254


def place(field: str, zone: str | None) -> str:
    """Name a field, or one of its zones."""
    return f"{field}, {zone}" if zone else field


def ground(b: NeedBalance) -> str:
    """Name the ground of a need."""
    if b.left_out:
        return f"{b.need.field}, but for {' and '.join(b.left_out)}"
    return place(b.need.field, b.need.zone)


def analysis_text(analysis: Mapping[str, float]) -> str:
    """Write a label's percentages: ``N 18 %, P2O5 46 %``."""
    return ", ".join(f"{name} {percent:g} %" for name, percent in analysis.items() if percent)


def _placements_remark(rows: Sequence[Placement], _: Display) -> str:
    guessed = dict.fromkeys(p.product for p in rows if p.amounts_from == "target")
    text = (
        "Rate is the mean over the area covered; the total is what lies on it. The same list is in "
        "tables/placements.csv."
    )
    if guessed:
        names = ", ".join(guessed)
        text += f" No rate of {names} is logged everywhere: its target rate stands in for it."
    return text


PLACEMENTS = Table(
    "placements",
    (
        Column("field", name="field", head="Field"),
        Column("operation", name="operation"),
        Column("date", name="date", head="Date"),
        Column("product", name="product", head="Product"),
        Column("kind", name="kind"),
        Column("analysis_percent", lambda p: dict(p.analysis), name="analysis", cell=analysis_text),
        Column(
            "analysis",
            lambda p: analysis_text(p.analysis) or ("seed" if p.kind == "seed" else ""),
            head="Analysis",
            json=False,
            shows=("analysis_percent", "kind"),
        ),
        Column("rate_kg_per_m2", quantity=RATE, name="rate", head="Rate"),
        Column("area_m2", quantity=AREA, name="area", head="Area"),
        Column("total_kg", quantity=MASS, name="total", head="Total", digits=4),
        Column(
            "outside_kg",
            quantity=MASS,
            name="outside the field",
            why="the page gives it with the operation",
        ),
        Column("method", name="method of placement", head="Placed"),
        Column("amounts_from", name="amounts from"),
        Column("sources", lambda p: list(p.sources), NAMES, name="source files", head="Log"),
    ),
    title="What was put down",
    json=(
        *("field", "operation", "date", "product", "kind", "analysis_percent", "rate_kg_per_m2"),
        *("area_m2", "total_kg", "outside_kg", "amounts_from", "method", "sources"),
    ),
    page=(
        *("field", "product", "analysis", "method", "sources", "date"),
        *("rate_kg_per_m2", "area_m2", "total_kg"),
    ),
    words=5,
    remark=_placements_remark,
)


def _per_area(kg: float, area_m2: float) -> float | None:
    return kg / area_m2 if area_m2 else None


def _on_its_ground(a: NutrientAmount, kg: float) -> float | None:
    """A rate for the page: a mean over all fields is no field's rate."""
    return _per_area(kg, a.area_m2) if a.field else None


def _pure(a: NutrientAmount) -> bool:
    return a.element != a.nutrient


NUTRIENTS = Table(
    "season_nutrients",
    (
        Column("field", name="field", cell=lambda v: v or "whole season"),
        Column("zone", name="zone"),
        Column(
            "where",
            lambda a: place(a.field, a.zone) if a.field else "Whole season",
            head="Where",
            json=False,
        ),
        Column("nutrient", name="nutrient", head="Nutrient"),
        Column("area_m2", quantity=AREA, name="area", why="the page gives it with the field"),
        Column("kg", quantity=MASS, name="total", head="Total"),
        Column(
            "mean_rate_kg_per_m2",
            lambda a: _per_area(a.kg, a.area_m2),
            RATE,
            name="mean rate",
            json=False,
            why="JSON gives mass and area",
        ),
        Column(
            "rate_on_page",
            lambda a: _on_its_ground(a, a.kg),
            RATE,
            head="Per area",
            json=False,
            shows=("mean_rate_kg_per_m2",),
        ),
        Column("element", name="element"),
        Column("element_kg", quantity=MASS, name="total as element"),
        Column(
            "as_element",
            lambda a: a if _pure(a) else None,
            head="As element",
            json=False,
            text=lambda a, d: f"{a.element}: {d.units.mass.text(a.element_kg)}",
            shows=("element", "element_kg"),
        ),
        Column(
            "element_rate_kg_per_m2",
            lambda a: _per_area(a.element_kg, a.area_m2),
            RATE,
            name="mean rate as element",
            json=False,
            why="JSON gives mass and area",
        ),
        Column(
            "element_rate_on_page",
            lambda a: _on_its_ground(a, a.element_kg) if _pure(a) else None,
            RATE,
            head="Per area",
            json=False,
            shows=("element_rate_kg_per_m2",),
        ),
    ),
    title="Nutrients by field",
    json=("field", "zone", "nutrient", "kg", "element", "element_kg", "area_m2"),
    words=2,
    remark=(
        "Added up over all operations, in the terms of the label; phosphorus and potassium as "
        "elements too. Per area counts missed ground."
    ),
)
NUTRIENTS_BY_ZONE = replace(NUTRIENTS, title="Nutrients by zone", folded=True, remark="")
NUTRIENT_TOTALS = replace(NUTRIENTS, json=NUTRIENTS.json[2:])


def _needs_remark(rows: Sequence[NeedBalance], _: Display) -> str:
    text = "Met is ground whose total of the season is within 10 % of the need."
    if any(b.judged_by != "cell" for b in rows):
        text += " Some of it could only be judged by the mean of a zone or field."
    return text


NEEDS = Table(
    "needs",
    (
        Column("field", "need.field", name="field"),
        Column("zone", "need.zone", name="zone"),
        Column("where", ground, head="Where", json=False, shows=("field", "zone")),
        Column("nutrient", "need.nutrient", name="nutrient", head="Nutrient"),
        Column("needed_kg_per_m2", "need.kg_per_m2", RATE, name="needed", head="Needed"),
        Column("mean_kg_per_m2", quantity=RATE, name="put down", head="Put down"),
        Column("needed_kg", quantity=MASS, name="needed", why="the page gives rates"),
        Column("applied_kg", quantity=MASS, name="put down", why="the page gives rates"),
        Column("verdict", name="on average", head="On average"),
        Column("area_m2", quantity=AREA, name="area", why="met, short and over make it up"),
        Column("met_m2", quantity=AREA, name="met", head="Met", digits=2),
        Column("short_m2", quantity=AREA, name="short", head="Short", digits=2),
        Column("over_m2", quantity=AREA, name="over", head="Over", digits=2),
        Column("judged_by", name="judged by"),
        Column("zones_left_out", lambda b: list(b.left_out), NAMES, name="zones left out"),
    ),
    title="Against what was needed",
    json=(
        *("field", "zone", "nutrient", "needed_kg_per_m2", "mean_kg_per_m2", "area_m2"),
        *("needed_kg", "applied_kg", "verdict", "met_m2", "short_m2", "over_m2"),
        *("judged_by", "zones_left_out"),
    ),
    page=(
        *("where", "nutrient", "verdict", "needed_kg_per_m2", "mean_kg_per_m2"),
        *("met_m2", "short_m2", "over_m2"),
    ),
    words=3,
    remark=_needs_remark,
)

_SEEDS = measured(
    "1/m2",
    lambda d: DisplayUnit(f"per {d.units.small_area.label}", 1 / d.units.small_area.per_si),
    lambda v, d, _: f"{v / d.units.small_area.per_si:,.3g}",
)

SEED = Table(
    "seed",
    (
        Column("field", name="field", head="Field"),
        Column("operation", name="operation"),
        Column("date", name="date"),
        Column("product", name="product", head="Seed"),
        Column("seed", "rate.product", name="seed"),
        Column(
            "part",
            lambda s: s.rate.product if s.rate.product != s.product else "",
            head="Part",
            json=False,
            shows=("seed",),
        ),
        Column("share", "rate.share", SHARE, name="share by mass", why="the page gives rates"),
        Column("bulk_kg_per_m2", "rate.bulk_kg_per_m2", RATE, name="bulk", head="Bulk"),
        Column(
            "pls_kg_per_m2",
            "rate.pls_kg_per_m2",
            RATE,
            name="pure live seed",
            head="Pure live seed",
        ),
        Column(
            "pure_seeds_per_m2",
            "rate.pure_seeds_per_m2",
            _SEEDS,
            name="pure seeds",
            head=lambda d: f"Seeds per {d.units.small_area.label}",
        ),
        Column(
            "live_seeds_per_m2",
            "rate.live_seeds_per_m2",
            _SEEDS,
            name="live seeds",
            head=lambda d: f"Live seeds per {d.units.small_area.label}",
        ),
        Column("total_kg", quantity=MASS, name="total", head="Total", digits=4),
    ),
    title="Seed",
    words=3,
    remark="Pure live seed is purity times (germination + hard seed), as on the tag.",
)


def _inches(d: Display) -> DisplayUnit:
    return DisplayUnit("in", 1 / _INCH_M) if d.units.name == "us" else DisplayUnit("cm", 100.0)


_SHORT = measured("m", _inches, lambda v, d, _: f"{_inches(d).of(v):.3g} {_inches(d).label}")
_PERCENT = measured("%", lambda _: DisplayUnit("%", 1.0), lambda v, _, __: f"{v:.1f} %")
_OVER = worded(lambda over: "over" if over else "within")
_WITH_OPERATION = "JSON and tables of data give it with the operation"


def _taken(s: SaltScreen, d: Display) -> str:
    """Everything that is put into the formula, under its letters."""
    spread, spacing = (_SHORT.text(v, d, 3) for v in (s.spread_m, s.row_spacing_m))
    return (
        f"S {spread}, T {s.tolerated_loss_percent:g} %, C {s.slope_percent_per_lb_ac:g}, "
        f"R {spacing}, M {s.soil_factor:g}"
    )


SALT = Table(
    "salt",
    (
        Column("field", name="field", head="Field"),
        Column("operation", name="operation"),
        Column("product", name="product", head="Product"),
        Column("crop", name="crop", head="Crop"),
        Column("material", name="material"),
        Column(
            "taken",
            lambda s: s,
            head="Taken",
            json=False,
            text=_taken,
            shows=(
                *("spread_m", "tolerated_loss_percent", "slope_percent_per_lb_ac"),
                *("row_spacing_m", "soil_factor"),
            ),
        ),
        Column("slope_percent_per_lb_ac", quantity=NUMBER, name="slope [% per lb/ac]"),
        Column("spread_m", quantity=_SHORT, name="spread"),
        Column("row_spacing_m", quantity=_SHORT, name="row spacing"),
        Column("tolerated_loss_percent", quantity=NUMBER, name="tolerated loss [%]"),
        Column("soil_factor", quantity=NUMBER, name="soil factor"),
        Column("limit_kg_per_m2", quantity=RATE, name="most", head="Most (F)"),
        Column("placed_kg_per_m2", quantity=RATE, name="placed", head="Placed"),
        Column("loss_percent", quantity=_PERCENT, name="stand lost", head="Stand lost"),
        Column("over", quantity=_OVER, name="verdict", head=""),
    ),
    title="Fertilizer with the seed",
    json=(
        *("field", "operation", "product", "crop", "material", "slope_percent_per_lb_ac"),
        *("spread_m", "row_spacing_m", "tolerated_loss_percent", "soil_factor"),
        *("limit_kg_per_m2", "placed_kg_per_m2", "loss_percent", "over"),
    ),
    page=(
        *("field", "product", "crop", "taken", "over"),
        *("placed_kg_per_m2", "limit_kg_per_m2", "loss_percent"),
    ),
    words=5,
    remark=(
        "F = 30 S T / (C R M): S how wide the opener spreads, in inches; T the loss of stand "
        "that is tolerated; C the loss for each lb/ac; R the row spacing in inches; M soil "
        f"texture and moisture; F in lb/ac. Source: {SOURCE}. {CAUTION}"
    ),
)


def _money_remark(rows: Sequence[Money], _: Display) -> str:
    text = (
        "Missed ground is priced at the product and time it takes to fill it; the stand lost "
        "there is not priced."
    )
    lacking = ", ".join(dict.fromkeys(name for m in rows for name in m.unpriced))
    return text + (f" No price is given for {lacking}, so it is in no sum." if lacking else "")


def _difference(more: float, d: Display) -> str:
    return f"own {MONEY.text(abs(more), d, 3)} {'dearer' if more > 0 else 'cheaper'}"


COSTS = Table(
    "money",
    (
        Column("field", name="field", head="Field"),
        Column("operation", name="operation", head="Operation"),
        Column("product", quantity=MONEY, name="product", head="Product"),
        Column("overlap_product", quantity=MONEY, name="overlap product", head="Overlap: product"),
        Column("overlap_time", quantity=MONEY, name="overlap time", head="Overlap: time"),
        Column("skip_product", quantity=MONEY, name="missed product", head="Missed: product"),
        Column("skip_time", quantity=MONEY, name="missed time", head="Missed: time"),
        Column("own_work", quantity=MONEY, name="own work", head="Own work"),
        Column("hired_work", quantity=MONEY, name="hired work", head="Hired"),
        Column("own_over_hired", quantity=MONEY, name="own over hired", head="", text=_difference),
        Column("overlap_time_s", quantity=HOURS, name="overlap time", head="Hours on overlap"),
        Column("skip_time_s", quantity=HOURS, name="missed time", head="Hours to fill"),
        Column("without_price", lambda m: list(m.unpriced), NAMES, name="without a price"),
    ),
    title="Money",
    json=(
        *("field", "operation", "product", "overlap_product", "overlap_time", "overlap_time_s"),
        *("skip_product", "skip_time", "skip_time_s", "own_work", "hired_work"),
        *("own_over_hired", "without_price"),
    ),
    words=2,
    remark=_money_remark,
)

SETBACKS = Table(
    "setbacks",
    (
        Column("field", head="Field"),
        Column("setback", head="Setback"),
        Column("operation", head="Operation"),
        Column("product", head="Product"),
        Column("area_m2", quantity=AREA, head="Area", digits=2, why=_WITH_OPERATION),
        Column("applied_kg", quantity=MASS, head="Inside", why=_WITH_OPERATION),
        Column(
            "place",
            lambda s: f"{s.lat:.6f}, {s.lon:.6f}",
            head="Latitude, longitude",
            json=False,
            shows=("lon", "lat"),
        ),
    ),
    title="Product inside setbacks",
    words=4,
)


def season_frames(ledger: Ledger, display: Display) -> dict[str, pd.DataFrame]:
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


def season_record(ledger: Ledger) -> dict[str, Any]:
    """The season's part of the account, in SI units; what is not known is None."""
    return {
        "placements": records(PLACEMENTS, ledger.placements),
        "nutrients": records(NUTRIENTS, ledger.amounts),
        "totals": records(NUTRIENT_TOTALS, ledger.totals),
        "needs": records(NEEDS, ledger.needs),
        "seed": records(SEED, ledger.seed),
        "salt": records(SALT, ledger.salt),
        "money": records(COSTS, ledger.money),
        "warnings": list(ledger.warnings),
    }


def season_page_tables(ledger: Ledger, display: Display) -> list[PageTable]:
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
