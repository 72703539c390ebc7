"""Tables of the account in the reader's units, which stand in the column names."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from evenacre.model.audit_result import AuditResult
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.tables.fix_list import advice, stops
from evenacre.units.display import DisplayUnit, UnitSystem

Row = dict[str, Any]


def tables(
    results: Sequence[AuditResult], units: UnitSystem, *, currency: str = "USD"
) -> dict[str, pd.DataFrame]:
    """Every table of an audit by name; times are ISO 8601 on the clock of the log."""
    return {
        "operations": pd.DataFrame([_operation(r, units) for r in results]),
        "products": _frame(results, _products, units, currency),
        "zones": _frame(results, _zones, units),
        "nutrients": _frame(results, _nutrients, units),
        "setbacks": _frame(results, _setbacks, units),
        "skips": _frame(results, _skips, units),
        "passes": _frame(results, _passes, units),
        "notes": _frame(results, _notes),
    }


def _frame(results: Sequence[AuditResult], rows: Any, *args: Any) -> pd.DataFrame:
    parts = [_lead(pd.DataFrame(rows(r, *args)), r) for r in results]
    kept = [p for p in parts if not p.empty] or parts[:1]
    return pd.concat(kept, ignore_index=True) if kept else pd.DataFrame()


def _lead(frame: pd.DataFrame, r: AuditResult) -> pd.DataFrame:
    frame.insert(0, "field", r.field)
    frame.insert(1, "operation", r.operation)
    return frame


def in_unit(unit: DisplayUnit, **values: float | None) -> Row:
    """Convert values, under names that end in the unit."""
    numbers = [float("nan") if v is None else unit.of(float(v)) for v in values.values()]
    names = [f"{name.replace('_', ' ')} [{unit.label}]" for name in values]
    return dict(zip(names, figures.significant(numbers), strict=True))


def _column(unit: DisplayUnit, name: str, values: pd.Series[float]) -> dict[str, list[float]]:
    return {f"{name} [{unit.label}]": figures.significant(values * unit.per_si)}


def _hours(**values: float) -> Row:
    return in_unit(DisplayUnit("h", 1 / 3600), **values)


def _operation(r: AuditResult, u: UnitSystem) -> Row:
    sigma = r.uncertainty
    return {
        "field": r.field,
        "operation": r.operation,
        "date": r.date,
        "boundary given": "yes" if r.boundary_given else "no",
        **in_unit(
            u.area,
            boundary=r.boundary_area_m2,
            workable=r.workable_area_m2,
            covered=r.covered_area_m2,
            covered_uncertainty=sigma.get("covered_area_m2"),
            covered_once=r.covered_once_m2,
            covered_twice=r.covered_twice_m2,
            covered_three_or_more=r.covered_more_m2,
            overlap=r.overlap_area_m2,
            overlap_uncertainty=sigma.get("overlap_area_m2"),
            excess=r.excess_area_m2,
            missed=r.skip_area_m2,
            missed_uncertainty=sigma.get("skip_area_m2"),
            outside=r.outside_area_m2,
            headland=r.headland_area_m2,
            headland_overlap=r.headland_overlap_m2,
            swept=r.swept_area_m2,
        ),
        "headland rounds": r.headland_rounds,
        "places to go back for": len(r.layers["skips"]),
        "passes": r.pass_count,
        "start": figures.iso_time(r.start_s, r.time_zone),
        "end": figures.iso_time(r.end_s, r.time_zone),
        **in_unit(u.length, width=r.width_m),
        **in_unit(u.distance, worked_distance=r.worked_distance_m),
        **_hours(worked_time=r.worked_time_s, field_time=r.field_time_s, idle_time=r.idle_time_s),
        **in_unit(u.speed, mean_speed=r.mean_speed_mps),
        **in_unit(
            u.capacity,
            field_capacity=r.field_capacity_m2_per_s,
            theoretical_capacity=r.theoretical_capacity_m2_per_s,
        ),
        "field efficiency [%]": figures.significant([100 * r.field_efficiency])[0],
    }


def _products(r: AuditResult, u: UnitSystem, currency: str) -> list[Row]:
    return [
        {
            "product": p.product,
            "amounts from": p.source,
            **in_unit(
                u.mass,
                logged=p.logged_kg,
                in_field=p.applied_in_field_kg,
                outside=p.outside_kg,
                target=p.target_kg,
                in_no_zone=p.unzoned_kg,
                logged_while_lifted=p.unplaced_kg,
                on_overlap=p.overlap_kg,
            ),
            f"cost of overlap [{currency}]": None
            if p.overlap_cost is None
            else round(p.overlap_cost, 2),
            **in_unit(u.rate, mean_rate=p.mean_rate_kg_per_m2, target_rate=p.target_kg_per_m2),
            **in_unit(u.area, within_10_percent_of_target=p.within_10_percent_of_target_area_m2),
        }
        for p in r.products
    ]


def _zones(r: AuditResult, u: UnitSystem) -> list[Row]:
    return [
        {
            "zone": z.zone,
            "product": p.product,
            **in_unit(u.area, area=z.area_m2),
            **in_unit(u.mass, applied=z.applied_kg),
            **in_unit(u.rate, mean_rate=z.applied_kg / z.area_m2 if z.area_m2 else None),
        }
        for p in r.products
        for z in p.zones
    ]


def _nutrients(r: AuditResult, u: UnitSystem) -> list[Row]:
    return [
        {
            "product": p.product,
            "nutrient": name,
            "counted as": way,
            **in_unit(u.mass, applied=kg),
            **in_unit(u.rate, mean_rate=kg / r.covered_area_m2 if r.covered_area_m2 else None),
        }
        for p in r.products
        for way, amounts in (("label", p.nutrients_kg), ("element", p.elements_kg))
        for name, kg in amounts.items()
    ]


def _setbacks(r: AuditResult, u: UnitSystem) -> list[Row]:
    return [
        {
            "setback": s.name,
            "product": p.product,
            **in_unit(u.small_area, area=s.area_m2),
            **in_unit(u.mass, applied=s.applied_kg),
            "longitude": round(s.lon, 7),
            "latitude": round(s.lat, 7),
        }
        for p in r.products
        for s in p.setbacks
    ]


def _skips(r: AuditResult, u: UnitSystem) -> dict[str, Any]:
    s = stops(r)
    return {
        "stop": s["skip"],
        "kind": s["kind"],
        "cause": s["cause"],
        **_column(u.area, "area", s["area_m2"]),
        **_column(u.small_area, "area", s["area_m2"]),
        **_column(u.length, "mean width", s["mean_width_m"]),
        **_column(u.length, "length", s["length_m"]),
        "longitude": s["lon"].round(7),
        "latitude": s["lat"].round(7),
        "where": advice(r, u),
    }


def _passes(r: AuditResult, u: UnitSystem) -> dict[str, Any]:
    p = r.layers["passes"]
    return {
        "pass": p["pass"],
        "start": [figures.iso_time(t, r.time_zone) for t in p["start_s"]],
        "end": [figures.iso_time(t, r.time_zone) for t in p["end_s"]],
        **_column(u.length, "length", p["length_m"]),
        **_column(u.area, "area", p["area_m2"]),
        **_column(u.speed, "mean speed", p["mean_speed_mps"]),
        "heading [deg]": p["heading_deg"].round(1) % 360,
        "headland": ["yes" if h else "no" for h in p["headland"]],
    }


def _notes(r: AuditResult) -> list[Row]:
    return [
        *({"what": "warning", "text": text} for text in sentences(r.findings, "warning")),
        *({"what": "note", "text": text} for text in sentences(r.findings, "note")),
        *({"what": "records", "text": name, "count": n} for name, n in r.cleaning.items()),
    ]
