"""The season's tables of the report: rows of words and figures from its ledger."""

from __future__ import annotations

from collections.abc import Mapping

from evenacre.planning.season.money import Money
from evenacre.planning.season.needs import NeedBalance
from evenacre.planning.season.nutrients import NutrientAmount, Placement
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports.tables.audit_page import Account
from evenacre.reports.tables.seed_page import salt_account, seed_account
from evenacre.reports.writers import figure_text as figures
from evenacre.units.display import UnitSystem


def season_accounts(ledger: Ledger, u: UnitSystem, *, currency: str = "USD") -> list[Account]:
    """Every table of the season that has rows."""
    every = [
        _needs(ledger, u),
        _placements(ledger, u),
        _nutrients(ledger, u),
        _zones(ledger, u),
        _setbacks(ledger, u),
        seed_account(ledger, u),
        salt_account(ledger, u),
        _money(ledger, u, currency),
    ]
    return [table for table in every if table.rows]


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


def _placements(ledger: Ledger, u: UnitSystem) -> Account:
    rows = [
        (
            p.field,
            p.product,
            analysis_text(p.analysis) or ("seed" if p.kind == "seed" else ""),
            p.method,
            ", ".join(p.sources),
            p.date,
            u.rate.text(p.rate_kg_per_m2),
            figures.size(p.area_m2, u, 3),
            u.mass.text(p.total_kg, 4),
        )
        for p in ledger.placements
    ]
    head = ("Field", "Product", "Analysis", "Placed", "Log", "Date", "Rate", "Area", "Total")
    guessed = [p for p in ledger.placements if p.amounts_from == "target"]
    return Account(
        "What was put down",
        head,
        rows,
        words=5,
        remark=(
            "Rate is the mean over the area covered; the total is what lies on it. The same list "
            f"is in tables/placements.csv.{_guessed(guessed)}"
        ),
    )


def _guessed(placements: list[Placement]) -> str:
    if not placements:
        return ""
    names = ", ".join(dict.fromkeys(p.product for p in placements))
    return f" No rate of {names} is logged everywhere: its target rate stands in for it."


_NUTRIENTS = ("Where", "Nutrient", "Total", "Per area", "As element", "Per area")


def _nutrient(a: NutrientAmount, u: UnitSystem) -> tuple[str, ...]:
    pure = a.element != a.nutrient
    per_area = bool(a.field) and a.area_m2 > 0  # a mean over all fields is no field's rate
    return (
        place(a.field, a.zone) if a.field else "Whole season",
        a.nutrient,
        u.mass.text(a.kg),
        u.rate.text(a.kg / a.area_m2) if per_area else "",
        f"{a.element}: {u.mass.text(a.element_kg)}" if pure else "",
        u.rate.text(a.element_kg / a.area_m2) if pure and per_area else "",
    )


def _zones(ledger: Ledger, u: UnitSystem) -> Account:
    rows = [_nutrient(a, u) for a in ledger.amounts if a.zone is not None]
    return Account("Nutrients by zone", _NUTRIENTS, rows, words=2, folded=True)


def _nutrients(ledger: Ledger, u: UnitSystem) -> Account:
    fields = [a for a in ledger.amounts if a.zone is None]
    several = len({a.field for a in fields}) > 1
    rows = [_nutrient(a, u) for a in (*fields, *(ledger.totals if several else ()))]
    return Account(
        "Nutrients by field",
        _NUTRIENTS,
        rows,
        words=2,
        remark=(
            "Added up over all operations, in the terms of the label; phosphorus and potassium as "
            "elements too. Per area counts missed ground."
        ),
    )


def _needs(ledger: Ledger, u: UnitSystem) -> Account:
    def row(b: NeedBalance) -> tuple[str, ...]:
        return (
            ground(b),
            b.need.nutrient,
            b.verdict,
            u.rate.text(b.need.kg_per_m2),
            u.rate.text(b.mean_kg_per_m2),
            *(figures.size(area, u) for area in (b.met_m2, b.short_m2, b.over_m2)),
        )

    head = ("Where", "Nutrient", "On average", "Needed", "Put down", "Met", "Short", "Over")
    rough = any(b.judged_by != "cell" for b in ledger.needs)
    return Account(
        "Against what was needed",
        head,
        [row(b) for b in ledger.needs],
        words=3,
        remark=(
            "Met is ground whose total of the season is within 10 % of the need."
            + (" Some of it could only be judged by the mean of a zone or field." if rough else "")
        ),
    )


def _setbacks(ledger: Ledger, u: UnitSystem) -> Account:
    rows = [
        (
            s.field,
            s.setback,
            s.operation,
            s.product,
            figures.size(s.area_m2, u),
            u.mass.text(s.applied_kg),
            f"{s.lat:.6f}, {s.lon:.6f}",
        )
        for s in ledger.setbacks
    ]
    head = ("Field", "Setback", "Operation", "Product", "Area", "Inside", "Latitude, longitude")
    return Account("Product inside setbacks", head, rows, words=4)


def _money(ledger: Ledger, u: UnitSystem, currency: str) -> Account:
    def cost(amount: float | None) -> str:
        return "" if amount is None else figures.money(amount, currency)

    def row(m: Money) -> tuple[str, ...]:
        return (
            m.field,
            m.operation,
            cost(m.product),
            cost(m.overlap_product),
            cost(m.overlap_time),
            cost(m.skip_product),
            cost(m.skip_time),
            cost(m.own_work),
            cost(m.hired_work),
            _difference(m, currency),
        )

    head = (
        *("Field", "Operation", "Product", "Overlap: product", "Overlap: time"),
        *("Missed: product", "Missed: time", "Own work", "Hired", ""),
    )
    lacking = ", ".join(dict.fromkeys(name for m in ledger.money for name in m.unpriced))
    return Account(
        "Money",
        head,
        [row(m) for m in ledger.money],
        words=2,
        remark=(
            "Missed ground is priced at the product and time it takes to fill it; the stand lost "
            "there is not priced."
            + (f" No price is given for {lacking}, so it is in no sum." if lacking else "")
        ),
    )


def _difference(m: Money, currency: str) -> str:
    more = m.own_over_hired
    if more is None:
        return ""
    return f"own {figures.money(abs(more), currency)} {'dearer' if more > 0 else 'cheaper'}"
