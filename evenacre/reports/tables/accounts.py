"""The machine-readable accounts of an audit, a plan of interseeding, planned passes and measuring.

All are in SI units, as JSON types in a stable order, ready for ``json.dumps(...,
allow_nan=False)``: what is not known is null. Of what the program adds, only ``generated``, the ISO
8601 time of the run, changes between equal runs. ``warnings`` are of the inputs as a whole; those
of one operation, field or plan stand with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from evenacre import __version__
from evenacre.model import InputFile, OperationPlan, PlannedRate
from evenacre.model.audit_result import AuditResult
from evenacre.planning.interseeding.comparison import PlannedDone
from evenacre.planning.interseeding.plan_types import InterseedPlan
from evenacre.planning.loads.stock_balance import Balance, OperationLoads
from evenacre.planning.passes.pass_types import PassPlan
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.interseeding import interseed_cautions
from evenacre.reports.sentences.measure import MeasureReport
from evenacre.reports.tables.audit import OPERATIONS
from evenacre.reports.tables.export import RATES, rate_rows
from evenacre.reports.tables.export import SCHEMA as EXPORT_SCHEMA
from evenacre.reports.tables.interseeding import PLAN
from evenacre.reports.tables.loads import BALANCES, load_record
from evenacre.reports.tables.measure import MEASURED
from evenacre.reports.tables.measure import SCHEMA as MEASURED_SCHEMA
from evenacre.reports.tables.passes import DRIVE, WAY_OF_DRIVING
from evenacre.reports.tables.plan_against_done import COMPARED
from evenacre.reports.tables.season import LEDGER
from evenacre.reports.writers.as_json import json_types, record, records

AUDIT_SCHEMA = "evenacre/summary/1.8"
PLAN_SCHEMA = "evenacre/plan/1.7"
PASSES_SCHEMA = "evenacre/passes/1.6"


def _account(schema: str, generated: str, farm: str, **content: Any) -> dict[str, Any]:
    program = {"name": "evenacre", "version": __version__}
    head = {"schema": schema, "program": program, "generated": generated, "farm": farm}
    clean: dict[str, Any] = json_types({**head, **content})
    return clean


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
    balances: Iterable[Balance] = (),
    planned_done: PlannedDone | None = None,
) -> dict[str, Any]:
    """Account of every operation; ``loads`` are one for each, or none at all."""
    books: list[OperationLoads | None] = [*loads] or [None] * len(results)
    more: dict[str, Any] = {}
    if ledger is not None:
        more["season"] = {**record(LEDGER, ledger), "balance": records(BALANCES, balances)}
    if planned_done is not None:
        more["planned_done"] = record(COMPARED, planned_done)
    return _account(
        AUDIT_SCHEMA,
        generated,
        farm,
        currency=currency,
        inputs=inputs,
        warnings=warnings,
        operations=[
            {**record(OPERATIONS, r), **load_record(book)}
            for r, book in zip(results, books, strict=True)
        ],
        **more,
    )


def interseed_account(
    plan: InterseedPlan,
    *,
    farm: str,
    generated: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
    time_zone: str | None = None,
) -> dict[str, Any]:
    """Account of a plan; clock times are seconds after midnight, local mean time without a zone."""
    return _account(
        PLAN_SCHEMA,
        generated,
        farm,
        time_zone=time_zone,
        inputs=inputs,
        warnings=[*warnings, *sentences(plan.findings, "warning")],
        notes=sentences(plan.findings, "note"),
        cautions=interseed_cautions(plan),
        **record(PLAN, plan),
    )


def pass_account(
    plans: Sequence[PassPlan],
    *,
    farm: str,
    generated: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
    maps: Sequence[str],
    heading_given: bool,
) -> dict[str, Any]:
    """Account of passes that are driven in the same way, but for the heading if it was not given.

    ``maps`` are the file of each plan's map.
    """
    return _account(
        PASSES_SCHEMA,
        generated,
        farm,
        inputs=inputs,
        warnings=warnings,
        drive={**record(WAY_OF_DRIVING, plans[0].drive), "heading_given": heading_given},
        field_time_s=sum(plan.field_time_s for plan in plans),
        fields=[
            {
                "field": plan.field,
                "map": file,
                **record(DRIVE, plan),
                "warnings": sentences(plan.findings, "warning"),
                "notes": sentences(plan.findings, "note"),
            }
            for plan, file in zip(plans, maps, strict=True)
        ],
    )


def measured_account(
    reports: Sequence[MeasureReport],
    *,
    farm: str,
    generated: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
    pictures: Sequence[str],
) -> dict[str, Any]:
    """Account of what the logs tell of drills; ``pictures`` are the file of each operation's."""
    return _account(
        MEASURED_SCHEMA,
        generated,
        farm,
        inputs=inputs,
        warnings=warnings,
        operations=[
            {
                "field": report.field,
                "operation": report.operation,
                "picture": picture,
                "measured": records(MEASURED, report.evidence.measured),
            }
            for report, picture in zip(reports, pictures, strict=True)
        ],
    )


def export_account(
    jobs: Sequence[tuple[OperationPlan, tuple[PlannedRate, ...]]],
    *,
    farm: str,
    generated: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
) -> dict[str, Any]:
    """Account of jobs that are planned for a machine, and of their rates."""
    return _account(
        EXPORT_SCHEMA,
        generated,
        farm,
        inputs=inputs,
        warnings=warnings,
        jobs=[{"field": job.field.name, "operation": job.name} for job, _ in jobs],
        rates=records(RATES, rate_rows(jobs)),
    )
