"""The season's part of the machine-readable account, in SI units."""

from __future__ import annotations

from typing import Any

from evenacre.planning.season.nutrients import NutrientAmount
from evenacre.planning.season.season_totals import Ledger


def season_summary(ledger: Ledger) -> dict[str, Any]:
    """Account of the season as nested lists and dicts; what is not known is None."""
    return {
        "placements": [
            {
                "field": p.field,
                "operation": p.operation,
                "date": p.date,
                "product": p.product,
                "kind": p.kind,
                "analysis_percent": dict(p.analysis),
                "rate_kg_per_m2": p.rate_kg_per_m2,
                "area_m2": p.area_m2,
                "total_kg": p.total_kg,
                "outside_kg": p.outside_kg,
                "amounts_from": p.amounts_from,
                "method": p.method,
                "sources": list(p.sources),
            }
            for p in ledger.placements
        ],
        "nutrients": [{"field": a.field, "zone": a.zone, **_amount(a)} for a in ledger.amounts],
        "totals": [_amount(a) for a in ledger.totals],
        "needs": [
            {
                "field": b.need.field,
                "zone": b.need.zone,
                "nutrient": b.need.nutrient,
                "needed_kg_per_m2": b.need.kg_per_m2,
                "mean_kg_per_m2": b.mean_kg_per_m2,
                "area_m2": b.area_m2,
                "needed_kg": b.needed_kg,
                "applied_kg": b.applied_kg,
                "verdict": b.verdict,
                "met_m2": b.met_m2,
                "short_m2": b.short_m2,
                "over_m2": b.over_m2,
                "judged_by": b.judged_by,
                "zones_left_out": list(b.left_out),
            }
            for b in ledger.needs
        ],
        "seed": [
            {
                "field": s.field,
                "operation": s.operation,
                "date": s.date,
                "product": s.product,
                "seed": s.rate.product,
                "share": s.rate.share,
                "bulk_kg_per_m2": s.rate.bulk_kg_per_m2,
                "pls_kg_per_m2": s.rate.pls_kg_per_m2,
                "pure_seeds_per_m2": s.rate.pure_seeds_per_m2,
                "live_seeds_per_m2": s.rate.live_seeds_per_m2,
                "total_kg": s.total_kg,
            }
            for s in ledger.seed
        ],
        "salt": [
            {
                "field": s.field,
                "operation": s.operation,
                "product": s.product,
                "crop": s.crop,
                "material": s.material,
                "slope_percent_per_lb_ac": s.slope_percent_per_lb_ac,
                "spread_m": s.spread_m,
                "row_spacing_m": s.row_spacing_m,
                "tolerated_loss_percent": s.tolerated_loss_percent,
                "soil_factor": s.soil_factor,
                "limit_kg_per_m2": s.limit_kg_per_m2,
                "placed_kg_per_m2": s.placed_kg_per_m2,
                "loss_percent": s.loss_percent,
                "over": s.over,
            }
            for s in ledger.salt
        ],
        "money": [
            {
                "field": m.field,
                "operation": m.operation,
                "product": m.product,
                "overlap_product": m.overlap_product,
                "overlap_time": m.overlap_time,
                "overlap_time_s": m.overlap_time_s,
                "skip_product": m.skip_product,
                "skip_time": m.skip_time,
                "skip_time_s": m.skip_time_s,
                "own_work": m.own_work,
                "hired_work": m.hired_work,
                "own_over_hired": m.own_over_hired,
                "without_price": list(m.unpriced),
            }
            for m in ledger.money
        ],
        "warnings": list(ledger.warnings),
    }


def _amount(a: NutrientAmount) -> dict[str, Any]:
    return {
        "nutrient": a.nutrient,
        "kg": a.kg,
        "element": a.element,
        "element_kg": a.element_kg,
        "area_m2": a.area_m2,
    }
