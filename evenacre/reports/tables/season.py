"""The season's tables in the reader's units, which stand in the column names."""

from __future__ import annotations

import pandas as pd

from evenacre.planning.season.season_totals import Ledger
from evenacre.reports.tables.audit import Row, in_unit
from evenacre.reports.tables.season_page import analysis_text
from evenacre.reports.writers import figure_text as figures
from evenacre.units.display import DisplayUnit, UnitSystem


def season_tables(
    ledger: Ledger, units: UnitSystem, *, currency: str = "USD"
) -> dict[str, pd.DataFrame]:
    """Every table of the season that has rows, by name."""
    every = {
        "placements": _placements(ledger, units),
        "season_nutrients": _nutrients(ledger, units),
        "needs": _needs(ledger, units),
        "seed": _seed(ledger, units),
        "salt": _salt(ledger, units),
        "money": _money(ledger, currency),
    }
    return {name: pd.DataFrame(rows) for name, rows in every.items() if rows}


def _placements(ledger: Ledger, u: UnitSystem) -> list[Row]:
    return [
        {
            "field": p.field,
            "operation": p.operation,
            "date": p.date,
            "product": p.product,
            "kind": p.kind,
            "analysis": analysis_text(p.analysis),
            **in_unit(u.rate, rate=p.rate_kg_per_m2),
            **in_unit(u.area, area=p.area_m2),
            **in_unit(u.mass, total=p.total_kg, outside_the_field=p.outside_kg),
            "method of placement": p.method,
            "amounts from": p.amounts_from,
            "source files": ", ".join(p.sources),
        }
        for p in ledger.placements
    ]


def _nutrients(ledger: Ledger, u: UnitSystem) -> list[Row]:
    return [
        {
            "field": a.field or "whole season",
            "zone": a.zone or "",
            "nutrient": a.nutrient,
            **in_unit(u.area, area=a.area_m2),
            **in_unit(u.mass, total=a.kg),
            **in_unit(u.rate, mean_rate=a.kg / a.area_m2 if a.area_m2 else None),
            "element": a.element,
            **in_unit(u.mass, total_as_element=a.element_kg),
            **in_unit(u.rate, mean_rate_as_element=a.element_kg / a.area_m2 if a.area_m2 else None),
        }
        for a in (*ledger.amounts, *ledger.totals)
    ]


def _needs(ledger: Ledger, u: UnitSystem) -> list[Row]:
    return [
        {
            "field": b.need.field,
            "zone": b.need.zone or "",
            "nutrient": b.need.nutrient,
            **in_unit(u.rate, needed=b.need.kg_per_m2, put_down=b.mean_kg_per_m2),
            **in_unit(u.mass, needed=b.needed_kg, put_down=b.applied_kg),
            "on average": b.verdict,
            **in_unit(u.area, area=b.area_m2, met=b.met_m2, short=b.short_m2, over=b.over_m2),
            "judged by": b.judged_by,
            "zones left out": ", ".join(b.left_out),
        }
        for b in ledger.needs
    ]


def _seed(ledger: Ledger, u: UnitSystem) -> list[Row]:
    count = DisplayUnit(f"per {u.small_area.label}", 1 / u.small_area.per_si)
    return [
        {
            "field": s.field,
            "operation": s.operation,
            "date": s.date,
            "product": s.product,
            "seed": s.rate.product,
            "share by mass [%]": figures.significant([100 * s.rate.share])[0],
            **in_unit(u.rate, bulk=s.rate.bulk_kg_per_m2, pure_live_seed=s.rate.pls_kg_per_m2),
            **in_unit(
                count, pure_seeds=s.rate.pure_seeds_per_m2, live_seeds=s.rate.live_seeds_per_m2
            ),
            **in_unit(u.mass, total=s.total_kg),
        }
        for s in ledger.seed
    ]


def _salt(ledger: Ledger, u: UnitSystem) -> list[Row]:
    inch = DisplayUnit("in", 1 / 0.0254) if u.name == "us" else DisplayUnit("cm", 100.0)
    return [
        {
            "field": s.field,
            "operation": s.operation,
            "product": s.product,
            "crop": s.crop,
            "material": s.material,
            "slope [% per lb/ac]": s.slope_percent_per_lb_ac,
            **in_unit(inch, spread=s.spread_m, row_spacing=s.row_spacing_m),
            "tolerated loss [%]": s.tolerated_loss_percent,
            "soil factor": s.soil_factor,
            **in_unit(u.rate, most=s.limit_kg_per_m2, placed=s.placed_kg_per_m2),
            "stand lost [%]": figures.significant([s.loss_percent])[0],
            "verdict": "over" if s.over else "within",
        }
        for s in ledger.salt
    ]


def _money(ledger: Ledger, currency: str) -> list[Row]:
    unit, hour = DisplayUnit(currency, 1.0), DisplayUnit("h", 1 / 3600)
    return [
        {
            "field": m.field,
            "operation": m.operation,
            **in_unit(
                unit,
                product=m.product,
                overlap_product=m.overlap_product,
                overlap_time=m.overlap_time,
                missed_product=m.skip_product,
                missed_time=m.skip_time,
                own_work=m.own_work,
                hired_work=m.hired_work,
                own_over_hired=m.own_over_hired,
            ),
            **in_unit(hour, overlap_time=m.overlap_time_s, missed_time=m.skip_time_s),
            "without a price": ", ".join(m.unpriced),
        }
        for m in ledger.money
    ]
