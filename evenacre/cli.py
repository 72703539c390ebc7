"""The command line: parse, call, print."""

from __future__ import annotations

import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenacre import __version__
from evenacre.commands.printing import printing
from evenacre.commands.shared import (
    BAD_INPUT,
    FOUND,
    AsJson,
    Quiet,
    UnitName,
    Units,
    option,
    plain_errors,
)
from evenacre.errors import InputError

if TYPE_CHECKING:
    from evenacre.model import Season
    from evenacre.pipeline import Outcome

app = typer.Typer(
    name="evenacre",
    help="An exact account of seeded and fertilized ground: covered once, twice or not at all, "
    "and the pounds on it.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)


class FailOn(StrEnum):
    """Findings that may make the exit code 1."""

    SKIP = "skip"
    OUTSIDE = "outside"
    SETBACK = "setback"
    WARNING = "warning"


FILES, DRILL, PRODUCT, READING, TUNING = (
    "Field and log",
    "The drill",
    "What was placed",
    "How to read the files",
    "Fine points",
)

Out = Annotated[
    Path | None,
    typer.Option("--out", help="Folder for the result; evenacre-out beside the season file."),
]
Jobs = Annotated[int, typer.Option("--jobs", min=0, help="Processes to use; 0: all cores.")]


@app.callback(invoke_without_command=True)
def root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    """Answer --version."""
    if version:
        typer.echo(f"evenacre {__version__}")
        raise typer.Exit


@app.command()
def audit(
    files: Annotated[
        list[Path] | None,
        typer.Argument(help="A season file (season.toml), or further logs after --tracks."),
    ] = None,
    boundary: Annotated[Path | None, option(FILES, "Field boundary; any map file.")] = None,
    tracks: Annotated[list[Path] | None, option(FILES, "Log of the drive; any number.")] = None,
    zones: Annotated[Path | None, option(FILES, "Zones to report amounts for.")] = None,
    unworkable: Annotated[Path | None, option(FILES, "Waterways, rock piles ...")] = None,
    setbacks: Annotated[Path | None, option(FILES, "Wells, ditches ... to keep off.")] = None,
    setback_distance: Annotated[str | None, option(FILES, 'How far: "100 ft".')] = None,
    blockages: Annotated[
        Path | None, option(FILES, "CSV of blockages: start, end and tower or rows.")
    ] = None,
    field_name: Annotated[str | None, option(FILES, "Name of the field.")] = None,
    operation_name: Annotated[str | None, option(FILES, "Name of the job.")] = None,
    date: Annotated[str | None, option(FILES, "Date of the job, 2026-04-14.")] = None,
    width: Annotated[str | None, option(DRILL, 'Working width: "20 ft".')] = None,
    rows: Annotated[int | None, option(DRILL, "Rows across the width.")] = None,
    row_spacing: Annotated[str | None, option(DRILL, 'Instead of rows: "7.5 in".')] = None,
    rows_per_tower: Annotated[int | None, option(DRILL, "Rows fed by one tower.")] = None,
    antenna_ahead: Annotated[
        str | None, option(DRILL, "Antenna ahead of the hitch pin (or of a mounted tool).")
    ] = None,
    antenna_left: Annotated[str | None, option(DRILL, "Antenna left of the middle.")] = None,
    hitch_to_axle: Annotated[
        list[str] | None, option(DRILL, "Pin to axle of each towed unit, front to back.")
    ] = None,
    tool_behind: Annotated[
        str | None, option(DRILL, "Openers behind the last axle (or behind the pin).")
    ] = None,
    delay: Annotated[str | None, option(DRILL, 'From meter to opener: "2.5 s".')] = None,
    product: Annotated[
        list[str] | None, option(PRODUCT, "Product; 11-52-0 gives its own analysis.")
    ] = None,
    rate: Annotated[list[str] | None, option(PRODUCT, 'Target rate: "150 lb/ac".')] = None,
    price: Annotated[list[str] | None, option(PRODUCT, 'Price: "840 USD/ton".')] = None,
    column: Annotated[
        list[str] | None,
        option(READING, 'What a column of the log is: "flow=mass \\[lb/s]". Repeat as needed.'),
    ] = None,
    time_zone: Annotated[
        str | None, option(READING, "Zone of local times: America/Chicago.")
    ] = None,
    tracks_layer: Annotated[str | None, option(READING, "Layer of the log.")] = None,
    tracks_crs: Annotated[str | None, option(READING, "System of x and y: EPSG:32615.")] = None,
    boundary_layer: Annotated[str | None, option(READING, "Layer of the boundary.")] = None,
    boundary_where: Annotated[
        list[str] | None, option(READING, "Pick features: NAME=VALUE.")
    ] = None,
    boundary_crs: Annotated[str | None, option(READING, "System of the boundary.")] = None,
    zones_layer: Annotated[str | None, option(READING, "Layer of the zones.")] = None,
    zones_name_column: Annotated[
        str | None, option(READING, "Column with the zones' names.")
    ] = None,
    skip_min_width: Annotated[str | None, option(TUNING, "Narrowest skip listed.")] = None,
    skip_min_area: Annotated[str | None, option(TUNING, "Smallest skip listed.")] = None,
    headland_rounds: Annotated[int | None, option(TUNING, "Rounds along the boundary.")] = None,
    pass_to_pass: Annotated[str | None, option(TUNING, "Receiver error between passes.")] = None,
    within_pass: Annotated[str | None, option(TUNING, "Receiver error in a pass.")] = None,
    max_gap: Annotated[str | None, option(TUNING, "Silence that cuts the path.")] = None,
    smooth: Annotated[bool, option(TUNING, "Smooth receiver jitter.")] = True,
    fail_on: Annotated[
        list[FailOn] | None, typer.Option("--fail-on", help="Exit with 1 on such findings.")
    ] = None,
    out: Out = None,
    units: Units = None,
    jobs: Jobs = 0,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Audit a season, or one field from a boundary and a log."""
    with plain_errors():
        single = {
            "boundary": boundary,
            "width": width,
            "rows": rows,
            "row_spacing": row_spacing,
            "products": product or [],
            "rates": rate or [],
            "prices": price or [],
            "zones": zones,
            "unworkable": unworkable,
            "setbacks": setbacks,
            "setback_distance": setback_distance,
            "columns": column or [],
            "boundary_layer": boundary_layer,
            "boundary_where": boundary_where or [],
            "boundary_crs": boundary_crs,
            "zones_layer": zones_layer,
            "zones_name_column": zones_name_column,
            "tracks_layer": tracks_layer,
            "tracks_crs": tracks_crs,
            "time_zone": time_zone,
            "blockages": blockages,
            "field_name": field_name,
            "operation_name": operation_name,
            "date": date,
            "implement": _given(
                rows_per_tower=rows_per_tower,
                antenna_ahead=antenna_ahead,
                antenna_left=antenna_left,
                tow=[{"hitch_to_axle": length} for length in hitch_to_axle or []] or None,
                tool_behind=tool_behind,
                delay=delay,
            ),
            "settings": _given(
                skip_min_width=skip_min_width,
                skip_min_area=skip_min_area,
                headland_rounds=headland_rounds,
                pass_to_pass=pass_to_pass,
                within_pass=within_pass,
                max_gap=max_gap,
                smooth=None if smooth else False,
            ),
        }
        season, home = _season(files or [], tracks or [], single)
        folder = out or home / "evenacre-out"
        outcome = _run(season, folder, units, jobs, quiet=quiet or as_json)
        _tell(outcome, folder, as_json=as_json, quiet=quiet)
        _fail_on(outcome.summary, fail_on or [])


@app.command()
def check(
    season: Annotated[Path, typer.Argument(help="The season file.")],
    quiet: Quiet = False,
) -> None:
    """Check every file of a season without computing anything."""
    with plain_errors():
        from evenacre.io.check import check_season

        findings = check_season(season)
        errors = sum(finding.level == "error" for finding in findings)
        with printing():
            for finding in findings:
                if finding.level == "error" or not quiet:
                    about = f" ({finding.operation})" if finding.operation else ""
                    typer.echo(f"{finding.level}{about}: {finding.text}")
            if not quiet:
                typer.echo(f"{errors} to mend." if errors else "Nothing to mend.")
        if errors:
            raise typer.Exit(BAD_INPUT)


@app.command()
def demo(
    directory: Annotated[Path, typer.Argument(help="Folder for the sample farm.")] = Path(
        "three-larks"
    ),
    units: Units = None,
    jobs: Jobs = 0,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write the sample farm into a folder and audit its season."""
    with plain_errors():
        from evenacre.io.season import load_season
        from evenacre.io.staging import check_demo_folder, disk_troubles_told
        from sample_fields.three_larks import TRUTH, write_farm

        check_demo_folder(directory, TRUTH)
        with disk_troubles_told(directory, "evenacre demo FOLDER"):
            write_farm(directory)
        folder = directory / "evenacre-out"
        season = load_season(directory / "season.toml")
        outcome = _run(season, folder, units, jobs, quiet=quiet or as_json)
        _tell(outcome, folder, as_json=as_json, quiet=quiet)


def _season(files: list[Path], tracks: list[Path], single: dict[str, Any]) -> tuple[Season, Path]:
    """The season to audit and the folder its result goes beside."""
    from evenacre.io.season import load_season, season_from_options

    if tracks:
        return season_from_options(tracks=[*tracks, *files], **single), Path()
    given = sorted(key for key, value in single.items() if value)
    if len(files) == 1 and not given:
        return load_season(files[0]), files[0].parent
    if files and given:
        flag = f"--{given[0].replace('_', '-')}"
        raise InputError.at(
            files[0], "", f"A season file does not go with {flag}.", "Put it into the file."
        )
    raise InputError.at(
        "audit",
        "",
        "It needs one season file, or logs.",
        "Write `evenacre audit season.toml` or "
        "`evenacre audit --boundary F --tracks F --width 20ft`.",
    )


def _given(**keys: Any) -> dict[str, Any]:
    return {key: value for key, value in keys.items() if value is not None}


def _run(season: Season, out: Path, units: UnitName | None, jobs: int, *, quiet: bool) -> Outcome:
    """Audit with a progress line on standard error."""
    from dataclasses import replace

    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    from evenacre.pipeline import audit_season

    if units is not None:
        season = replace(season, units=units.value)
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    console = Console(stderr=True)
    silent = quiet or not console.is_terminal  # a file of messages is no place for a moving line
    with Progress(*columns, console=console, transient=True, disable=silent) as bar:
        task = bar.add_task("starting", total=len(season.operations))

        def say(stage: str, done: int) -> None:
            bar.update(task, description=stage, completed=done)

        return audit_season(season, out, jobs=jobs or os.cpu_count() or 1, progress=say)


def _tell(outcome: Outcome, folder: Path, *, as_json: bool, quiet: bool) -> None:
    with printing():
        if as_json:
            import json

            typer.echo(json.dumps(outcome.summary, ensure_ascii=False, indent=2))
        elif not quiet:
            for line in outcome.lines:
                typer.echo(line)
            typer.echo(f"Open {folder / 'report.html'}")


def _fail_on(summary: dict[str, Any], wanted: list[FailOn]) -> None:
    operations = summary["operations"]
    found = {
        FailOn.SKIP: any(o["skips"] for o in operations),
        FailOn.OUTSIDE: any(o["outside_area_m2"] > 0 for o in operations),
        FailOn.SETBACK: any(p["setbacks"] for o in operations for p in o["products"]),
        FailOn.WARNING: bool(summary["warnings"]) or any(o["warnings"] for o in operations),
    }
    if any(found[finding] for finding in wanted):
        raise typer.Exit(FOUND)


def main() -> None:
    """Entry point of the ``evenacre`` command."""
    # Consoles that cannot show a character of a file's name should not end the run.
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    app()
