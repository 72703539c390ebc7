"""Every declared figure: its key and unit in JSON, its column in tables of data, its name."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from evenacre.reports import tables
from evenacre.reports.column import Column, Table
from evenacre.reports.quantities import Display
from evenacre.reports.tables import (
    accounts,
    audit,
    calibration,
    export,
    finish,
    interseeding,
    loads,
    measure,
    method,
    passes,
    plan_against_done,
    season,
)
from evenacre.units.display import METRIC, US

_US, _METRIC = Display(US), Display(METRIC)


@dataclass(frozen=True)
class Account:
    """A JSON file, the declared tables in it by their place, and where its tables of data are."""

    title: str
    schema: str
    places: Mapping[str, Table]
    modules: tuple[str, ...] = field(default=())  # of reports/tables whose tables become files


ACCOUNTS = (
    Account(
        "`summary.json` of an audit",
        accounts.AUDIT_SCHEMA,
        {
            "operations[]": audit.OPERATIONS,
            "operations[].loads[]": loads.PRODUCT_LOADS,
            "operations[].halfway[]": loads.HALFWAY,
            "season": season.LEDGER,
            "season.balance[]": loads.BALANCES,
            "planned_done": plan_against_done.COMPARED,
        },
        (
            "audit",
            "audit_products",
            "going_back",
            "season",
            "loads",
            "intervals",
            "plan_against_done",
        ),
    ),
    Account(
        "`plan.json` of seeding behind the herd",
        accounts.PLAN_SCHEMA,
        {"": interseeding.PLAN},
        ("interseeding", "interseeding_days", "interseeding_paddocks", "passes"),
    ),
    Account(
        "`passes.json` of passes to drive",
        accounts.PASSES_SCHEMA,
        {"drive": passes.WAY_OF_DRIVING, "fields[]": passes.DRIVE},
    ),
    Account(
        "`measured.json` of what logs tell of the drill",
        measure.SCHEMA,
        {"operations[].measured[]": measure.MEASURED},
    ),
    Account("`method` in `method.html` of an audit", method.SCHEMA, {"": method.METHOD}),
    Account("`export.json` of task data", export.SCHEMA, {"rates[]": export.RATES}),
    Account("`finish --json`, of a job", finish.SCHEMA, {"": finish.FINISH}),
    Account("`finish --json`, of figures typed in", finish.SCHEMA, {"": finish.RATE_SO_FAR}),
    Account("`calibrate --json`", calibration.SCHEMA, {"": calibration.CALIBRATION}),
)


def figures() -> str:
    """A section for each account, and in it one for each table of figures."""
    lines: list[str] = []
    for account in ACCOUNTS:
        lines += [f"## {account.title}", "", f"Schema `{account.schema}`.", ""]
        shown: set[str] = set()
        stored = _stored(account.modules)
        for place, table in account.places.items():
            for at, one in _walk(place, table):
                shown.add(one.name)
                lines += _section(at, one, stored.get(one.name))
        for name, table in stored.items():
            if name not in shown:
                lines += _section("", table, table)
    return "\n".join(lines) + "\n"


def _stored(modules: tuple[str, ...]) -> dict[str, Table]:
    """Declared tables that become files, by the name of the file."""
    every: dict[str, Table] = {}
    for module in pkgutil.iter_modules(tables.__path__):
        if module.name in modules:
            held = vars(importlib.import_module(f"{tables.__name__}.{module.name}"))
            for name, value in held.items():
                if isinstance(value, Table) and not name.startswith("_") and value.of("table"):
                    every.setdefault(value.name, value)
    return every


def _walk(place: str, table: Table) -> Iterator[tuple[str, Table]]:
    """A table and those nested in it, each with its place in the file."""
    yield place, table
    for column in table.of("json"):
        if column.rows is not None:
            yield from _walk(f"{place}.{column.key}".removeprefix("."), column.rows)


def _section(place: str, table: Table, stored: Table | None) -> Iterator[str]:
    where = f"`{place}`" if place else "At the top" if stored is not table else ""
    file = f"`tables/{stored.name}.csv`" if stored else ""
    yield f"### {' and '.join(part for part in (where, file) if part)}"
    yield ""
    yield "| key | unit | column of the table | on the page | what it is |\n|---|---|---|---|---|"
    columns = [c for c in table.columns if c.json or c.name or c.head]
    json = {c.key for c in table.of("json")}
    kept = {c.key for c in stored.of("table")} if stored else set()
    for column in columns:
        if column.key in json or column.key in kept:
            yield _row(column, in_json=column.key in json, in_table=column.key in kept)
    yield ""


def _row(column: Column, *, in_json: bool, in_table: bool) -> str:
    key = f"`{column.key}`" if in_json else ""
    unit = "a table" if column.rows is not None else column.quantity.si.removeprefix("1")
    page = column.heading(_US) if column.head is not None else ""
    return f"| {key} | {unit} | {_column(column) if in_table else ''} | {page} | {column.means} |"


def _column(column: Column) -> str:
    us, metric = column.title(_US), column.title(_METRIC)
    return us if us == metric else f"{us}, or {metric[len(str(column.name)) + 1 :]}"
