"""``evenacre passes``: how to drive a field, and its passes for maps and machines."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenacre.cli.options.derived import READING, SeasonKeys, option
from evenacre.cli.options.progress import stages, tell
from evenacre.cli.options.shared import AsJson, Quiet, Units, plain_errors
from evenacre.errors import InputError, gathered

if TYPE_CHECKING:
    from evenacre.errors import Problem
    from evenacre.io.season.pass_inputs import Ground
    from evenacre.io.season.pasture.schema import DriveOptions

FOLDER = "evenacre-passes"
SEASON = "From a season file"
_EXAMPLES = "`evenacre passes season.toml` or `evenacre passes --boundary F --width 20ft`"
_DRIVING = (
    "width heading rounds headland speed turn_speed turn_radius prefer blocks fence tractor_length "
    "tractor_width"
)
_KEYS = SeasonKeys(
    {
        "One field without a season file": "boundary unworkable cross cross_width gate along "
        "field_name rows row_spacing",
        READING: "boundary_layer boundary_where boundary_crs unworkable_layer cross_layer "
        "along_layer",
        "How to drive": _DRIVING,
    },
    {
        "row_spacing": 'With rows, makes the width: "7.5 in".',
        "width": 'Working width: "20 ft"; in place of an implement\'s.',
    },
)


def passes(
    season: Annotated[
        Path | None, typer.Argument(help="The season file (season.toml), or a field's boundary.")
    ] = None,
    field: Annotated[
        list[str] | None, option(SEASON, "This field or paddock; any number. All without it.")
    ] = None,
    implement: Annotated[str | None, option(SEASON, "Which implement is driven.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help=f"Folder for the result; {FOLDER} beside the file.")
    ] = None,
    units: Units = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    **keys: Annotated[Any, _KEYS],
) -> None:
    """Plan how to drive fields: heading, headland rounds, passes, turns, overlap and hours."""
    with plain_errors() as written:
        driving = {key: keys.pop(key) for key in _DRIVING.split() if key in keys}
        of_season = {"field": field, "implement": implement}
        from evenacre.io.season.load import is_season_file

        named = season is not None and season.exists() and not is_season_file(season)
        if named and "boundary" not in keys:
            season, keys = None, {"boundary": season, **keys}
        file = _file(season, keys, of_season, "width" in driving)
        ground, options = _read(season, keys, of_season, driving)

        from evenacre.units.display import unit_system
        from evenacre.workflows.passes import drive_over, fenced_as, plan_field_passes

        folder = out or file.parent / FOLDER
        ground = fenced_as(ground, options)
        drive, system = drive_over(ground, options), unit_system(units or ground.units)
        with stages("laying passes", quiet=quiet or as_json) as say:
            outcome = plan_field_passes(ground, drive, folder, system, say=say, written=written)
        maps = [told["map"] for told in outcome.summary["fields"]]
        shown = maps[0] if len(maps) == 1 else "maps"
        closing = f"Open {folder / shown}; passes.gpx and guidance.zip are beside it."
        tell(outcome, closing, as_json=as_json, quiet=quiet)


def _file(
    season: Path | None, single: dict[str, Any], of_season: dict[str, Any], has_width: bool
) -> Path:
    """The file to begin with, where the options go together."""
    if season is None:
        if "boundary" not in single:
            what = "It needs a season file, or the boundary of a field."
            raise InputError.at("passes", "", what, f"Write {_EXAMPLES}.")
        for key in (key for key, value in of_season.items() if value):
            what = f"It goes with a season file, and {single['boundary']} is a boundary."
            raise InputError.at(f"--{key}", "", what, "Leave it out, or give the season file.")
        return Path(single["boundary"])
    if single:
        flag = f"--{next(iter(single)).replace('_', '-')}"
        what = f"A season file does not go with {flag}."
        raise InputError.at(season, "", what, "Put it into the file, or leave one of them out.")
    if has_width and of_season["implement"] is not None:
        what = "It does not go with --implement, which has a width."
        raise InputError.at("--width", "", what, "Leave one of them out.")
    return season


def _read(
    season: Path | None, single: dict[str, Any], of_season: dict[str, Any], driving: dict[str, Any]
) -> tuple[Ground, DriveOptions]:
    """Read the ground and how to drive it, and tell what is wrong with both at once."""
    from evenacre.io.season.pass_inputs import (
        ground_of_options,
        ground_of_season,
        read_drive_options,
    )

    problems: list[Problem] = []
    ground, options = None, None
    with gathered(problems):
        # The width of a field without a season file is checked with its boundary.
        told = driving if season else {**driving, "width": None}
        options = read_drive_options(told)
    with gathered(problems):
        if season is None:
            ground = ground_of_options(**single, width=driving.get("width"))
        else:
            # Any width, where that given is wrong, so that nothing else is missed.
            width_m = options.width if options else 1.0 if "width" in driving else None
            ground = ground_of_season(
                season,
                fields=of_season["field"] or (),
                implement=of_season["implement"],
                width_m=width_m,
            )
    if problems or ground is None or options is None:
        raise InputError(problems)
    return ground, options
