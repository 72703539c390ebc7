"""``evenacre passes``: how to drive a field, and its passes for maps and machines."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer

from evenacre.cli.options.derived import READING, SeasonKeys
from evenacre.cli.options.progress import stages, tell
from evenacre.cli.options.shared import AsJson, Language, Quiet, Units, plain_errors
from evenacre.errors import InputError
from evenacre.language import speak, tr
from evenacre.workflows.typed.passes_options import DRIVING, PassesOptions, read_drive

FOLDER = "evenacre-passes"
_EXAMPLES = "`evenacre passes season.toml` or `evenacre passes --boundary F --width 20ft`"
_KEYS = SeasonKeys(
    {
        "One field without a season file": "boundary unworkable cross cross_width gate "
        "gate_width transport_width along field_name rows row_spacing",
        READING: "boundary_layer boundary_where boundary_crs unworkable_layer cross_layer "
        "along_layer",
        "How to drive": DRIVING,
    },
    {
        "row_spacing": 'With rows, makes the width: "7.5 in".',
        "width": 'Working width: "20 ft"; in place of an implement\'s.',
    },
)


def passes(
    chosen: PassesOptions,
    season: Annotated[
        Path | None, typer.Argument(help="The season file (season.toml), or a field's boundary.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help=f"Folder for the result; {FOLDER} beside the file.")
    ] = None,
    units: Units = None,
    language: Language = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    **keys: Annotated[Any, _KEYS],
) -> None:
    """Plan how to drive fields: heading, headland rounds, passes, turns, overlap and hours."""
    with plain_errors(language) as written:
        driving = {key: keys.pop(key) for key in DRIVING.split() if key in keys}
        from evenacre.io.season.load import is_season_file

        named = season is not None and season.exists() and not is_season_file(season)
        if named and "boundary" not in keys:
            season, keys = None, {"boundary": season, **keys}
        file = _file(season, keys, chosen)
        ground, options = read_drive(driving, season, chosen, single=keys)

        from evenacre.units.display import unit_system
        from evenacre.workflows.passes import drive_over, fenced_as, plan_field_passes

        speak(language or ground.language)
        folder = out or file.parent / FOLDER
        ground = fenced_as(ground, options)
        drive, system = drive_over(ground, options), unit_system(units or ground.units)
        with stages("laying passes", quiet=quiet or as_json) as say:
            outcome = plan_field_passes(ground, drive, folder, system, say=say, written=written)
        closing = tr(
            "Open {file}; passes.gpx and guidance.zip are beside it.", file=folder / "report.html"
        )
        tell(outcome, closing, as_json=as_json, quiet=quiet)


def _file(season: Path | None, single: dict[str, Any], chosen: PassesOptions) -> Path:
    """The file to begin with, where the options go together."""
    if season is None:
        if "boundary" not in single:
            what = tr("It needs a season file, or the boundary of a field.")
            raise InputError.at("passes", "", what, tr("Write {examples}.", examples=_EXAMPLES))
        for key in (key for key, value in asdict(chosen).items() if value):
            what = tr(
                "It goes with a season file, and {boundary} is a boundary.",
                boundary=single["boundary"],
            )
            raise InputError.at(f"--{key}", "", what, tr("Leave it out, or give the season file."))
        return Path(single["boundary"])
    if single:
        flag = f"--{next(iter(single)).replace('_', '-')}"
        what = tr("A season file does not go with {flag}.", flag=flag)
        raise InputError.at(season, "", what, tr("Put it into the file, or leave one of them out."))
    return season
