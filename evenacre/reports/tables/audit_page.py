"""The tables of the report: rows of words and figures for one operation."""

from __future__ import annotations

import math

from evenacre.model.audit_result import AuditResult
from evenacre.reports import figure_text as figures
from evenacre.reports.writers.as_html import PageTable
from evenacre.units.display import UnitSystem

_WORTH_SAYING = 0.0001  # of what was logged: less is rounding


def accounts(result: AuditResult, units: UnitSystem, *, currency: str = "USD") -> list[PageTable]:
    """Every table of one operation that has rows."""
    every = [
        _ground(result, units),
        _products(result, units, currency),
        _zones(result, units),
        _nutrients(result, units),
        _setbacks(result, units),
        _work(result, units),
        _passes(result, units),
    ]
    return [table for table in every if table.rows]


def _ground(r: AuditResult, u: UnitSystem) -> PageTable:
    def row(name: str, area_m2: float, sigma: str = "") -> tuple[str, ...]:
        spread = r.uncertainty.get(sigma)
        if spread is None:
            text = figures.deserved(area_m2, r.uncertainty.get("covered_area_m2"), u)
        else:
            text = figures.plus_minus(area_m2, spread, u.area)
        return name, text, figures.share(area_m2, whole)

    whole = r.workable_area_m2
    rows = [
        row("Ground to be worked", whole),
        row("Covered", r.covered_area_m2, "covered_area_m2"),
        row("— once", r.covered_once_m2),
        row("— twice", r.covered_twice_m2),
        row("— three times or more", r.covered_more_m2),
        row("Missed", r.skip_area_m2, "skip_area_m2"),
        row("Overlap", r.overlap_area_m2, "overlap_area_m2"),
        row("Excess", r.excess_area_m2),
        row("Headland", r.headland_area_m2),
        row("Overlap in the headland", r.headland_overlap_m2),
        row("Worked outside the field", r.outside_area_m2),
    ]
    if not r.boundary_given:
        rows.pop()
    return PageTable(
        "The ground",
        ("", "Area", "Share"),
        rows,
        remark=(
            "Once, twice, three times or more and missed make up the ground to be worked. "
            "Overlap is what was covered twice or more; excess counts it once for every cover "
            "beyond the first. "
            f"The boundary holds {u.area.text(r.boundary_area_m2, 4)}."
        ),
    )


def _products(r: AuditResult, u: UnitSystem, currency: str) -> PageTable:
    rows = []
    for p in r.products:
        near = p.within_10_percent_of_target_area_m2
        rows.append(
            (
                p.product,
                u.mass.text(p.logged_kg, 4),
                u.mass.text(p.applied_in_field_kg, 4),
                u.mass.text(p.outside_kg),
                "" if p.target_kg is None else u.mass.text(p.target_kg, 4),
                u.rate.text(p.mean_rate_kg_per_m2, 4),
                "" if p.target_kg_per_m2 is None else u.rate.text(p.target_kg_per_m2, 4),
                "" if near is None else figures.share(near, r.covered_area_m2),
                u.mass.text(p.overlap_kg),
                "" if p.overlap_cost is None else figures.money(p.overlap_cost, currency),
            )
        )
    head = (
        "Product",
        "Logged",
        "On the field",
        "Outside",
        "Wanted",
        "Mean rate",
        "Target rate",
        "Within 10 % of target",
        "On overlap",
        "Its cost",
    )
    lifted = [
        f"{u.mass.text(p.unplaced_kg)} of {p.product} was logged while no row was down and is "
        "not counted."
        for p in r.products
        if p.unplaced_kg > _WORTH_SAYING * p.logged_kg
    ]
    return PageTable("Amounts", head, rows, remark=" ".join(lifted))


def _zones(r: AuditResult, u: UnitSystem) -> PageTable:
    rows = [
        (
            z.zone,
            p.product,
            figures.size(z.area_m2, u, 4),
            u.mass.text(z.applied_kg, 4),
            u.rate.text(z.applied_kg / z.area_m2) if z.area_m2 else "n/a",
        )
        for p in r.products
        for z in p.zones
    ]
    rest = [
        f"{u.mass.text(p.unzoned_kg)} of {p.product} lies in no zone."
        for p in r.products
        if p.zones and p.unzoned_kg > 1e-6 * max(p.logged_kg, 1e-9)
    ]
    head = ("Zone", "Product", "Area", "Applied", "Per area")
    return PageTable("Amounts by zone", head, rows, words=2, remark=" ".join(rest))


def _nutrients(r: AuditResult, u: UnitSystem) -> PageTable:
    totals: dict[tuple[str, str], float] = {}
    for p in r.products:
        for way, amounts in (("as on the label", p.nutrients_kg), ("as element", p.elements_kg)):
            for name, kg in amounts.items():
                if kg > 0:
                    totals[name, way] = totals.get((name, way), 0.0) + kg
    rows = [
        (
            name,
            way,
            u.mass.text(kg),
            u.rate.text(kg / r.covered_area_m2) if r.covered_area_m2 else "n/a",
        )
        for (name, way), kg in totals.items()
        if way == "as on the label" or (name, "as on the label") not in totals
    ]
    head = ("Nutrient", "Counted", "On the field", "Per covered area")
    return PageTable("Nutrients from the label", head, rows, words=2)


def _setbacks(r: AuditResult, u: UnitSystem) -> PageTable:
    rows = [
        (
            s.name,
            p.product,
            figures.size(s.area_m2, u),
            u.mass.text(s.applied_kg),
            f"{s.lat:.6f}, {s.lon:.6f}",
        )
        for p in r.products
        for s in p.setbacks
    ]
    head = ("Setback", "Product", "Area", "Applied", "Latitude, longitude")
    return PageTable("Product inside setbacks", head, rows, words=2)


def _work(r: AuditResult, u: UnitSystem) -> PageTable:
    rows = [
        ("Passes", f"{r.pass_count:,}"),
        ("Distance worked", u.distance.text(r.worked_distance_m)),
        ("Working width", u.length.text(r.width_m)),
    ]
    if not math.isfinite(r.field_time_s):
        rows.append(("Times and speeds", "not in the log"))
        return PageTable("The work", ("", ""), rows)
    clock = r.time_zone or "clock of the log"
    breaks = figures.duration(r.idle_time_s) if r.idle_time_s else "none"
    rows += [
        ("Mean speed while working", u.speed.text(r.mean_speed_mps)),
        ("Time working", figures.duration(r.worked_time_s)),
        ("Time in the field", figures.duration(r.field_time_s)),
        ("Breaks over an hour, not counted", breaks),
        ("Field capacity", u.capacity.text(r.field_capacity_m2_per_s)),
        ("Theoretical field capacity", u.capacity.text(r.theoretical_capacity_m2_per_s)),
        ("Field efficiency", figures.share(r.field_efficiency, 1.0)),
        (f"First work ({clock})", figures.day_and_clock(r.start_s, r.time_zone)),
        (f"Last work ({clock})", figures.day_and_clock(r.end_s, r.time_zone)),
    ]
    return PageTable(
        "The work",
        ("", ""),
        rows,
        remark=(
            "Field capacity is ground covered per hour in the field; field efficiency is its "
            "share of what full width at the mean speed would cover. Turning, filling, stops "
            "and overlap take it down."
        ),
    )


def _passes(r: AuditResult, u: UnitSystem) -> PageTable:
    frame = r.layers["passes"].rename(columns={"pass": "number"})
    rows = [
        (
            str(p.number),
            "headland" if p.headland else "",
            figures.clock(p.start_s, r.time_zone),
            figures.clock(p.end_s, r.time_zone),
            figures.distance(p.length_m, u),
            figures.size(p.area_m2, u, 3),
            u.speed.text(p.mean_speed_mps),
            f"{round(p.heading_deg) % 360}°",
        )
        for p in frame.itertuples()
    ]
    head = ("Pass", "", "Start", "End", "Length", "Area", "Speed", "Heading")
    return PageTable(f"Passes ({r.pass_count:,})", head, rows, words=2, folded=True)
