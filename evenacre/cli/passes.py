"""``evenacre passes``: how to drive a field, and its passes for maps and machines."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenacre.cli.options.progress import stages, tell
from evenacre.cli.options.reading_options import (
    READING,
    BoundaryCrs,
    BoundaryLayer,
    BoundaryWhere,
)
from evenacre.cli.options.shared import AsJson, Quiet, UnitName, Units, option, plain_errors
from evenacre.errors import InputError

if TYPE_CHECKING:
    from evenacre.errors import Problem
    from evenacre.io.season.pass_inputs import DriveOptions, Ground
    from evenacre.processes.written import Written
    from evenacre.workflows.result import Outcome

FOLDER = "evenacre-passes"
SEASON, ONE, DRIVE = "From a season file", "One field without a season file", "How to drive"
_EXAMPLES = "`evenacre passes season.toml` or `evenacre passes --boundary F --width 20ft`"


class Prefer(StrEnum):
    """What the heading that is found has least of."""

    TURNS = "turns"
    OVERLAP = "overlap"


def passes(
    season: Annotated[Path | None, typer.Argument(help="The season file (season.toml).")] = None,
    field: Annotated[
        list[str] | None, option(SEASON, "This field or paddock; any number. All without it.")
    ] = None,
    implement: Annotated[str | None, option(SEASON, "Which implement is driven.")] = None,
    boundary: Annotated[Path | None, option(ONE, "Field boundary; any map file.")] = None,
    unworkable: Annotated[Path | None, option(ONE, "Waterways, rock piles ...")] = None,
    field_name: Annotated[str | None, option(ONE, "Name of the field.")] = None,
    rows: Annotated[int | None, option(ONE, "Rows across the width.")] = None,
    row_spacing: Annotated[str | None, option(ONE, 'With rows, makes the width: "7.5 in".')] = None,
    boundary_layer: BoundaryLayer = None,
    boundary_where: BoundaryWhere = None,
    boundary_crs: BoundaryCrs = None,
    unworkable_layer: Annotated[
        str | None, option(READING, "Layer of the unworkable ground.")
    ] = None,
    width: Annotated[
        str | None, option(DRIVE, 'Working width: "20 ft"; in place of an implement\'s.')
    ] = None,
    heading: Annotated[
        str | None,
        option(DRIVE, "Of the passes, degrees clockwise from north. The best without it."),
    ] = None,
    rounds: Annotated[int | None, option(DRIVE, "Headland rounds; 2 without it.")] = None,
    speed: Annotated[str | None, option(DRIVE, 'At work: "5 mph".')] = None,
    turn_speed: Annotated[str | None, option(DRIVE, 'Between passes: "3 mph".')] = None,
    turn_radius: Annotated[str | None, option(DRIVE, 'The tightest turn: "20 ft".')] = None,
    prefer: Annotated[
        Prefer | None, option(DRIVE, "What the best heading has least of; turns without it.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help=f"Folder for the result; {FOLDER} beside the file."),
    ] = None,
    units: Units = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Plan how to drive fields: heading, headland rounds, passes, turns, overlap and hours."""
    with plain_errors() as written:
        single = {
            "boundary": boundary,
            "unworkable": unworkable,
            "field_name": field_name,
            "boundary_layer": boundary_layer,
            "boundary_where": boundary_where or [],
            "boundary_crs": boundary_crs,
            "unworkable_layer": unworkable_layer,
            "rows": rows,
            "row_spacing": row_spacing,
        }
        of_season = {"field": field, "implement": implement}
        file = _file(season, single, of_season, width)
        driving = {
            "width": width,
            "heading": heading,
            "rounds": rounds,
            "speed": speed,
            "turn_speed": turn_speed,
            "turn_radius": turn_radius,
            "prefer": prefer.value if prefer else None,
        }
        ground, options = _read(season, {**single, "width": width}, of_season, driving)
        folder = out or file.parent / FOLDER
        outcome = _plan(ground, options, folder, units, written, quiet=quiet or as_json)
        tell(outcome, _closing(outcome, folder), as_json=as_json, quiet=quiet)


def _file(
    season: Path | None, single: dict[str, Any], of_season: dict[str, Any], width: str | None
) -> Path:
    """The file to begin with, where the options go together."""
    if season is None:
        if single["boundary"] is None:
            what = "It needs a season file, or the boundary of a field."
            raise InputError.at("passes", "", what, f"Write {_EXAMPLES}.")
        for key in (key for key, value in of_season.items() if value):
            what = f"It goes with a season file, and {single['boundary']} is a boundary."
            raise InputError.at(f"--{key}", "", what, "Leave it out, or give the season file.")
        return Path(single["boundary"])
    given = [key for key, value in single.items() if value]
    if given:
        flag = f"--{given[0].replace('_', '-')}"
        what = f"A season file does not go with {flag}."
        raise InputError.at(season, "", what, "Put it into the file, or leave one of them out.")
    if width is not None and of_season["implement"] is not None:
        what = "It does not go with --implement, which has a width."
        raise InputError.at("--width", "", what, "Leave one of them out.")
    return season


def _read(
    season: Path | None,
    single: dict[str, Any],
    of_season: dict[str, Any],
    driving: dict[str, Any],
) -> tuple[Ground, DriveOptions]:
    """Read the ground and how to drive it, and complain of both at once."""
    from evenacre.io.season.pass_inputs import (
        ground_of_options,
        ground_of_season,
        read_drive_options,
    )

    problems: list[Problem] = []
    ground, options = None, None
    try:
        # The width of a field without a season file is checked with its boundary.
        told = driving if season else {**driving, "width": None}
        options = read_drive_options(told)
    except InputError as error:
        problems += error.problems
    try:
        if season is None:
            ground = ground_of_options(**single)
        else:
            ground = ground_of_season(
                season,
                fields=of_season["field"] or (),
                implement=of_season["implement"],
                width_m=_width_m(driving, options),
            )
    except InputError as error:
        problems += error.problems
    if problems or ground is None or options is None:
        raise InputError(problems)
    return ground, options


def _width_m(driving: dict[str, Any], options: DriveOptions | None) -> float | None:
    """The width given; any, where it is complained about already, so that none is missed."""
    if driving["width"] is None:
        return None
    return options.width if options else 1.0


def _plan(
    ground: Ground,
    options: DriveOptions,
    out: Path,
    units: UnitName | None,
    written: Written,
    *,
    quiet: bool,
) -> Outcome:
    """Plan with the field at work shown on standard error."""
    from evenacre.units.display import unit_system
    from evenacre.workflows.passes import drive_over, plan_field_passes

    system = unit_system(units.value if units else ground.units)
    drive = drive_over(ground, options)
    with stages("laying passes", quiet=quiet) as say:
        return plan_field_passes(ground, drive, out, system, say=say, written=written)


def _closing(outcome: Outcome, folder: Path) -> str:
    maps = [field["map"] for field in outcome.summary["fields"]]
    shown = maps[0] if len(maps) == 1 else "maps"
    return f"Open {folder / shown}; passes.gpx and guidance.zip are beside it."
