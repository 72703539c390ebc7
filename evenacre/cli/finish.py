"""``evenacre finish``: come out even."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenacre.cli.options.finish_options import FinishTexts, amount_left, typed_finish
from evenacre.cli.options.reading_options import (
    BoundaryCrs,
    BoundaryLayer,
    BoundaryWhere,
    Columns,
    TimeZone,
    TracksCrs,
    TracksLayer,
)
from evenacre.cli.options.season_input import season_given
from evenacre.cli.options.shared import AsJson, Quiet, UnitName, Units, option, plain_errors
from evenacre.cli.options.streams import printing
from evenacre.cli.options.terminal import say
from evenacre.errors import InputError

if TYPE_CHECKING:
    from evenacre.model import OperationPlan, Season
    from evenacre.processes.written import Written

JOB, TYPED, LEFT, FIELD = (
    "The job",
    "Without a log",
    "What is left",
    "Field and log without a season file",
)
_EXAMPLES = (
    'evenacre finish season.toml --operation NAME --left "1400 lb"',
    "evenacre finish --boundary F --tracks F --width 20ft --left ...",
    'evenacre finish --area "18 ac" --left "2900 lb"',
)


def finish(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            help="A season file (season.toml), ISO 11783-10 task data (a zip or folder), "
            "or further logs after --tracks."
        ),
    ] = None,
    operation: Annotated[str | None, option(JOB, "Which operation of the season.")] = None,
    field: Annotated[str | None, option(JOB, "Its field, where the name is not enough.")] = None,
    product: Annotated[str | None, option(JOB, "Which product; needed when there are several.")] = (
        None
    ),
    rate: Annotated[str | None, option(JOB, 'Present rate: "150 lb/ac".')] = None,
    rate_min: Annotated[str | None, option(JOB, "Least rate allowed.")] = None,
    rate_max: Annotated[str | None, option(JOB, "Highest rate allowed.")] = None,
    left: Annotated[str | None, option(LEFT, 'Mass left: "1400 lb".')] = None,
    left_error: Annotated[
        str | None, option(LEFT, 'Its standard uncertainty: "20 lb", or "1 %" (the usual).')
    ] = None,
    loads: Annotated[Path | None, option(LEFT, "Table of load tickets, instead of --left.")] = None,
    area: Annotated[str | None, option(TYPED, 'Ground still to do: "18 ac".')] = None,
    area_error: Annotated[
        str | None, option(TYPED, 'Its standard uncertainty: "0.2 ac", or "1 %" (the usual).')
    ] = None,
    overlap: Annotated[str | None, option(TYPED, 'Ground driven twice: "3 %" (the usual).')] = None,
    boundary: Annotated[Path | None, option(FIELD, "Field boundary; any map file.")] = None,
    tracks: Annotated[list[Path] | None, option(FIELD, "Log of the drive so far.")] = None,
    unworkable: Annotated[Path | None, option(FIELD, "Waterways, rock piles ...")] = None,
    width: Annotated[str | None, option(FIELD, 'Working width: "20 ft".')] = None,
    rows: Annotated[int | None, option(FIELD, "Rows across the width.")] = None,
    row_spacing: Annotated[str | None, option(FIELD, 'Instead of rows: "7.5 in".')] = None,
    column: Columns = None,
    time_zone: TimeZone = None,
    tracks_layer: TracksLayer = None,
    tracks_crs: TracksCrs = None,
    boundary_layer: BoundaryLayer = None,
    boundary_where: BoundaryWhere = None,
    boundary_crs: BoundaryCrs = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for a map; none is written without it.")
    ] = None,
    units: Units = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Tell the rate that ends the load with the field, and where it runs out at this one.

    From a season file, from a boundary and tracks so far, or from acres and pounds typed in.
    """
    with plain_errors() as written:
        texts = FinishTexts(
            left, left_error, rate, rate_min, rate_max, area, area_error, overlap, product
        )
        if area is not None:
            if files or tracks or boundary:
                raise InputError.at(
                    "--area",
                    "",
                    "It does not go with a season file, a boundary or tracks.",
                    "Leave one of them out.",
                )
            _typed(texts, out, units, written, as_json=as_json, quiet=quiet)
            return
        single = {
            "boundary": boundary,
            "width": width,
            "rows": rows,
            "row_spacing": row_spacing,
            "unworkable": unworkable,
            "columns": column or [],
            "time_zone": time_zone,
            "tracks_layer": tracks_layer,
            "tracks_crs": tracks_crs,
            "boundary_layer": boundary_layer,
            "boundary_where": boundary_where or [],
            "boundary_crs": boundary_crs,
        }
        season, plan = _plan(files or [], tracks or [], operation, field, product, single)
        _from_tracks(season, plan, texts, loads, out, units, written, as_json=as_json, quiet=quiet)


def _typed(
    texts: FinishTexts,
    out: Path | None,
    units: UnitName | None,
    written: Written,
    *,
    as_json: bool,
    quiet: bool,
) -> None:
    """Acres and pounds typed in."""
    from evenacre.reports.sentences.finish import finish_account, finish_lines
    from evenacre.units.display import unit_system

    result, product = typed_finish(texts)
    account = finish_account(result, product=product.name)
    lines = finish_lines(result, unit_system(units.value if units else "us"), product=product)
    if out is not None:
        from evenacre.io.writers.finish import write_finish

        write_finish(out, account, None, None, written=written)
    _tell(account, "", lines, as_json=as_json, quiet=quiet)


def _from_tracks(
    season: Season,
    plan: OperationPlan,
    texts: FinishTexts,
    loads: Path | None,
    out: Path | None,
    units: UnitName | None,
    written: Written,
    *,
    as_json: bool,
    quiet: bool,
) -> None:
    """Audit the tracks so far, and look ahead."""
    from dataclasses import replace

    from evenacre.coverage.audit import audit_operation
    from evenacre.io.season.load_operation import load_operation
    from evenacre.planning.finish.finish_job import finish_job
    from evenacre.reports.maps.finish import finish_features, finish_map, run_out_spot
    from evenacre.reports.sentences.findings import refusals_in_words, sentences
    from evenacre.reports.sentences.finish import finish_account, finish_lines
    from evenacre.units.display import unit_system

    if loads is not None:
        plan = replace(plan, ticket_file=loads)
    plan = replace(plan, applications=texts.with_range(plan.applications))
    left = amount_left(texts)
    job_operation = load_operation(plan)
    with refusals_in_words():
        result = audit_operation(job_operation)
    job = finish_job(
        job_operation, result, product=texts.product, left=left, rate_kg_per_m2=texts.rate_kg_per_m2
    )
    system = unit_system(units.value if units else season.units)
    spot = run_out_spot(result, job)
    names = {"field": result.field, "operation": result.operation, "product": job.product.name}
    account = finish_account(job.finish, **names, job=job, spot=spot)
    warnings = sentences(result.findings, "warning")
    account["warnings"] = [*warnings, *account["warnings"]]
    lines = finish_lines(job.finish, system, product=job.product, job=job, spot=spot)
    lines = [*lines, *(f"warning: {text}" for text in warnings)]
    if out is not None:
        from evenacre.io.writers.finish import write_finish

        features, png = finish_features(result, job), finish_map(result, job, system)
        write_finish(out, account, features, png, written=written)
        lines.append(f"Map: {out / 'finish.png'}")
    title = f"{result.field}, {result.operation}: {job.product.name}"
    _tell(account, title, lines, as_json=as_json, quiet=quiet)


def _tell(
    account: dict[str, Any], title: str, lines: list[str], *, as_json: bool, quiet: bool
) -> None:
    with printing():
        if as_json:
            from evenacre.io.writers.json_file import json_text

            say(json_text(account))
        elif not quiet:
            if title:
                say(title)
            for line in lines:
                say(f"  {line}" if title else line)


def _plan(
    files: list[Path],
    tracks: list[Path],
    operation: str | None,
    field: str | None,
    product: str | None,
    single: dict[str, Any],
) -> tuple[Season, OperationPlan]:
    """The operation to finish."""
    if tracks:
        products = [product] if product else []
        single = {**single, "products": products, "operation_name": operation, "field_name": field}
    season, _ = season_given("finish", files, tracks, single, _EXAMPLES)
    if tracks:
        return season, season.operations[0]
    return season, _chosen(season, files[0], operation, field)


def _chosen(season: Season, file: Path, operation: str | None, field: str | None) -> OperationPlan:
    found = [
        plan
        for plan in season.operations
        if operation in (None, plan.name) and field in (None, plan.field.name)
    ]
    if len(found) == 1:
        return found[0]
    names = ", ".join(f'"{p.name}" on "{p.field.name}"' for p in (found or season.operations)[:8])
    raise InputError.at(
        file.name,
        "",
        "Several operations fit." if found else "No operation of that name is in it.",
        f"Name one with --operation, and --field if need be: {names}.",
    )
