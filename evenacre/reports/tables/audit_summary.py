"""The machine-readable account of an audit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from evenacre import __version__
from evenacre.model import InputFile
from evenacre.model.audit_result import AuditResult, ProductResult
from evenacre.planning.interseeding.comparison import PlannedDone
from evenacre.planning.loads.operation_loads import OperationLoads
from evenacre.planning.loads.stock_balance import Balance
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.loads import balance_account, halfway_account, loads_account
from evenacre.reports.tables.fix_list import stops
from evenacre.reports.tables.plan_against_done import planned_done_summary
from evenacre.reports.tables.season import season_record
from evenacre.reports.writers.json_types import json_types

SCHEMA = "evenacre/summary/1.2"


def summary(
    results: Sequence[AuditResult],
    *,
    farm: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str],
    generated: str,
    currency: str = "USD",
    ledger: Ledger | None = None,
    loads: Sequence[OperationLoads] = (),
    balances: Sequence[Balance] = (),
    planned_done: PlannedDone | None = None,
) -> dict[str, Any]:
    """Account of every operation in SI units, as JSON types in a stable order.

    Parameters
    ----------
    results : sequence of AuditResult
    farm : str
    inputs : sequence of InputFile
        Files read, with their SHA-256.
    warnings : sequence of str
        What was found in the inputs as a whole; those of one operation stand with it.
    generated : str
        ISO 8601 time of the run: the only value of its own that changes between equal runs.
    currency : str
        Of the costs.
    ledger : Ledger, optional
        What the season put down.
    loads : sequence of OperationLoads
        One for each result, or none at all.
    balances : sequence of Balance
        Of the season's products; stand with the ledger.
    planned_done : PlannedDone, optional
        A plan of interseeding beside what was done.

    Returns
    -------
    dict
        Ready for ``json.dumps(..., allow_nan=False)``: what is not known is null.
    """
    books: list[OperationLoads | None] = [*loads] or [None] * len(results)
    account: dict[str, Any] = {
        "schema": SCHEMA,
        "program": {"name": "evenacre", "version": __version__},
        "generated": generated,
        "farm": farm,
        "currency": currency,
        "inputs": [{"path": i.path, "sha256": i.sha256} for i in inputs],
        "warnings": list(warnings),
        "operations": [
            {**_operation(r), **_loads(book)} for r, book in zip(results, books, strict=True)
        ],
    }
    if ledger is not None:
        account["season"] = {
            **season_record(ledger),
            "balance": [balance_account(b) for b in balances],
        }
    if planned_done is not None:
        account["planned_done"] = planned_done_summary(planned_done)
    clean: dict[str, Any] = json_types(account)
    return clean


def _operation(r: AuditResult) -> dict[str, Any]:
    return {
        "field": r.field,
        "operation": r.operation,
        "date": r.date,
        "boundary_area_m2": r.boundary_area_m2,
        "workable_area_m2": r.workable_area_m2,
        "covered_area_m2": r.covered_area_m2,
        "covered_once_m2": r.covered_once_m2,
        "covered_twice_m2": r.covered_twice_m2,
        "covered_more_m2": r.covered_more_m2,
        "overlap_area_m2": r.overlap_area_m2,
        "excess_area_m2": r.excess_area_m2,
        "skip_area_m2": r.skip_area_m2,
        "skips": [
            {
                "kind": s.kind,
                "area_m2": s.area_m2,
                "mean_width_m": s.mean_width_m,
                "length_m": s.length_m,
                "lon": s.lon,
                "lat": s.lat,
                "cause": s.cause,
            }
            for s in stops(r).itertuples()
        ],
        "outside_area_m2": r.outside_area_m2,
        "headland_area_m2": r.headland_area_m2,
        "headland_overlap_m2": r.headland_overlap_m2,
        "passes": r.pass_count,
        "worked_distance_m": r.worked_distance_m,
        "worked_time_s": r.worked_time_s,
        "field_time_s": r.field_time_s,
        "mean_speed_mps": r.mean_speed_mps,
        "field_capacity_m2_per_s": r.field_capacity_m2_per_s,
        "field_efficiency": r.field_efficiency,
        "uncertainty": r.uncertainty,
        "products": [_product(p) for p in r.products],
        "boundary_given": r.boundary_given,
        "width_m": r.width_m,
        "headland_rounds": r.headland_rounds,
        "swept_area_m2": r.swept_area_m2,
        "theoretical_capacity_m2_per_s": r.theoretical_capacity_m2_per_s,
        "idle_time_s": r.idle_time_s,
        "start_s": r.start_s,
        "end_s": r.end_s,
        "zones": [{"zone": z.zone, "area_m2": z.area_m2} for z in r.layers["zones"].itertuples()],
        "working_plane": r.crs.to_wkt(),
        "sources": list(r.sources),
        "cleaning": r.cleaning,
        "notes": sentences(r.findings, "note"),
        "warnings": sentences(r.findings, "warning"),
    }


def _loads(book: OperationLoads | None) -> dict[str, Any]:
    return {
        "loads": [loads_account(product) for product in book.loads] if book else [],
        "halfway": [halfway_account(check) for check in book.halfway] if book else [],
    }


def _product(p: ProductResult) -> dict[str, Any]:
    return {
        "product": p.product,
        "logged_kg": p.logged_kg,
        "applied_in_field_kg": p.applied_in_field_kg,
        "outside_kg": p.outside_kg,
        "target_kg": p.target_kg,
        "mean_rate_kg_per_m2": p.mean_rate_kg_per_m2,
        "within_10_percent_of_target_area_m2": p.within_10_percent_of_target_area_m2,
        "zones": [
            {"zone": z.zone, "area_m2": z.area_m2, "applied_kg": z.applied_kg} for z in p.zones
        ],
        "nutrients": {name: {"applied_kg": kg} for name, kg in p.nutrients_kg.items()},
        "elements": {name: {"applied_kg": kg} for name, kg in p.elements_kg.items()},
        "source": p.source,
        "target_rate_kg_per_m2": p.target_kg_per_m2,
        "unzoned_kg": p.unzoned_kg,
        "unplaced_kg": p.unplaced_kg,
        "overlap_kg": p.overlap_kg,
        "overlap_cost": p.overlap_cost,
        "setbacks": [
            {
                "name": s.name,
                "area_m2": s.area_m2,
                "applied_kg": s.applied_kg,
                "lon": s.lon,
                "lat": s.lat,
            }
            for s in p.setbacks
        ],
    }
