"""``evenacre finish``: come out even."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenacre.cli.options.derived import READING, SeasonKeys
from evenacre.cli.options.finish_options import FinishOptions
from evenacre.cli.options.progress import tell_lines
from evenacre.cli.options.season_input import SEASON_FILES, season_given
from evenacre.cli.options.shared import AsJson, Quiet, Units, plain_errors
from evenacre.errors import InputError

if TYPE_CHECKING:
    from evenacre.model import OperationPlan, Season
    from evenacre.processes.written import Written

_KEYS = SeasonKeys(
    {
        "Field and log without a season file": "boundary tracks unworkable width rows row_spacing",
        READING: "column time_zone tracks_layer tracks_crs boundary_layer boundary_where "
        "boundary_crs",
    },
    {"tracks": "Log of the drive so far."},
)


def finish(
    options: FinishOptions,
    files: Annotated[list[Path] | None, typer.Argument(help=SEASON_FILES)] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for a map; none is written without it.")
    ] = None,
    units: Units = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    **keys: Annotated[Any, _KEYS],
) -> None:
    """Tell the rate that ends the load with the field, and where it runs out at this one.

    From a season file, from a boundary and tracks so far, or from acres and pounds typed in.
    """
    with plain_errors() as written:
        if options.area is None:
            season, plan = _chosen(files or [], options, keys)
            account, lines = _from_tracks(plan, options, out, units or season.units, written)
        elif files or {"tracks", "boundary"} & keys.keys():
            what = "It does not go with a season file, a boundary or tracks."
            raise InputError.at("--area", "", what, "Leave one of them out.")
        else:
            account, lines = _from_figures(options, out, units or "us", written)
        tell_lines(account, lines, as_json=as_json, quiet=quiet)


Told = tuple[dict[str, Any], list[str]]


def _from_figures(options: FinishOptions, out: Path | None, units: str, written: Written) -> Told:
    """Acres and pounds typed in."""
    from evenacre.io.writers.results import write_finish
    from evenacre.reports.column import Display
    from evenacre.reports.sentences.finish import FinishReport, finish_lines
    from evenacre.reports.tables.finish import FINISH
    from evenacre.reports.writers.as_json import record
    from evenacre.units.display import unit_system

    report = FinishReport(*options.typed_finish())
    account = record(FINISH, report)
    system = unit_system(units)
    if out is not None:
        write_finish(out, account, None, None, written=written)
    return account, finish_lines(report, FINISH.texts(report, Display(system)), system)


def _from_tracks(
    plan: OperationPlan, options: FinishOptions, out: Path | None, units: str, written: Written
) -> Told:
    """Audit the tracks so far, and look ahead."""
    from dataclasses import replace

    from evenacre.coverage.audit import audit_operation
    from evenacre.io.season.load_operation import load_operation
    from evenacre.io.writers.results import write_finish
    from evenacre.planning.finish.finish_job import finish_job
    from evenacre.reports.column import Display
    from evenacre.reports.maps.finish import finish_features, finish_map, run_out_spot
    from evenacre.reports.sentences.findings import refusals_in_words, sentences
    from evenacre.reports.sentences.finish import FinishReport, finish_lines
    from evenacre.reports.tables.finish import FINISH
    from evenacre.reports.writers.as_json import record
    from evenacre.units.display import unit_system

    ranged = (
        replace(a, product=options.ranged(a.product))
        if options.product in (None, a.product.name)
        else a
        for a in plan.applications
    )
    plan = replace(plan, ticket_file=options.loads or plan.ticket_file, applications=tuple(ranged))
    left = options.amount_left()
    operation = load_operation(plan)
    with refusals_in_words():
        result = audit_operation(operation)
        job = finish_job(
            operation,
            result,
            product=options.product,
            left=left,
            rate_kg_per_m2=options.rate_kg_per_m2,
        )
    system = unit_system(units)
    report = FinishReport(
        job.finish, job.product, result.field, result.operation, job, run_out_spot(result, job)
    )
    account = record(FINISH, report)
    warnings = sentences(result.findings, "warning")
    account["warnings"] = [*warnings, *account["warnings"]]
    lines = finish_lines(report, FINISH.texts(report, Display(system)), system)
    lines = [*lines, *(f"warning: {text}" for text in warnings)]
    if out is not None:
        features, png = finish_features(result, job), finish_map(result, job, system)
        write_finish(out, account, features, png, written=written)
        lines.append(f"Map: {out / 'finish.png'}")
    title = f"{result.field}, {result.operation}: {job.product.name}"
    return account, [title, *(f"  {line}" for line in lines)]


def _chosen(
    files: list[Path], options: FinishOptions, keys: dict[str, Any]
) -> tuple[Season, OperationPlan]:
    """The operation to finish."""
    if "tracks" in keys:
        keys |= {"operation_name": options.operation, "field_name": options.field}
        keys["product"] = [options.product] if options.product else []
    season, _ = season_given(
        "finish",
        files,
        keys,
        'evenacre finish season.toml --operation NAME --left "1400 lb"',
        "evenacre finish --boundary F --tracks F --width 20ft --left ...",
        'evenacre finish --area "18 ac" --left "2900 lb"',
    )
    if "tracks" in keys:
        return season, season.operations[0]
    found = [
        plan
        for plan in season.operations
        if options.operation in (None, plan.name) and options.field in (None, plan.field.name)
    ]
    if len(found) == 1:
        return season, found[0]
    names = ", ".join(f'"{p.name}" on "{p.field.name}"' for p in (found or season.operations)[:8])
    raise InputError.at(
        files[0].name,
        "",
        "Several operations fit." if found else "No operation of that name is in it.",
        f"Name one with --operation, and --field if need be: {names}.",
    )
