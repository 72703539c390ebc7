"""The machine-readable account of an audit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from evenacre import __version__
from evenacre.model import InputFile
from evenacre.model.audit_result import AuditResult
from evenacre.planning.interseeding.comparison import PlannedDone
from evenacre.planning.loads.stock_balance import Balance, OperationLoads
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports.tables.audit import OPERATIONS
from evenacre.reports.tables.loads import BALANCES, load_record
from evenacre.reports.tables.plan_against_done import planned_done_record
from evenacre.reports.tables.season import season_record
from evenacre.reports.writers.as_json import json_types, record, records

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
    warnings : sequence of str
        What was found in the inputs as a whole; those of one operation stand with it.
    generated : str
        ISO 8601 time of the run: the only value of its own that changes between equal runs.
    loads : sequence of OperationLoads
        One for each result, or none at all.

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
            {**record(OPERATIONS, r), **load_record(book)}
            for r, book in zip(results, books, strict=True)
        ],
    }
    if ledger is not None:
        account["season"] = {
            **season_record(ledger),
            "balance": records(BALANCES, balances),
        }
    if planned_done is not None:
        account["planned_done"] = planned_done_record(planned_done)
    clean: dict[str, Any] = json_types(account)
    return clean
