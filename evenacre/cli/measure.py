"""``evenacre measure``: what a log itself tells of the drill."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from evenacre.cli.options.derived import READING, SeasonKeys
from evenacre.cli.options.progress import stages, tell
from evenacre.cli.options.season_input import SEASON_FILES, season_given
from evenacre.cli.options.shared import AsJson, Language, Quiet, Units, plain_errors
from evenacre.language import speak, tr

FOLDER = "evenacre-measure"
_KEYS = SeasonKeys(
    {
        "Field and log without a season file": "boundary tracks field_name operation_name width "
        "rows row_spacing",
        "The drill, as far as it is known": "antenna_ahead antenna_left axle_to_antenna "
        "hitch_to_axle tool_behind delay",
        READING: "column time_zone tracks_layer tracks_crs boundary_layer boundary_where "
        "boundary_crs",
    }
)


def measure(
    files: Annotated[list[Path] | None, typer.Argument(help=SEASON_FILES)] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help=f"Folder for the result; {FOLDER} beside the file.")
    ] = None,
    units: Units = None,
    language: Language = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    **keys: Annotated[Any, _KEYS],
) -> None:
    """Tell what the log does of the drill: where the tool is, its delay, the spacing of passes.

    Each figure with its uncertainty, held against what the season says, or why the log cannot tell.
    """
    with plain_errors(language) as written:
        season, home = season_given(
            "measure",
            files or [],
            keys,
            "evenacre measure season.toml",
            "evenacre measure --boundary F --tracks F --width 20ft",
        )
        from evenacre.units.display import unit_system
        from evenacre.workflows.measure import measure_season

        speak(language or season.language)
        folder = out or home / FOLDER
        with stages("reading the log", quiet=quiet or as_json) as say:
            outcome = measure_season(
                season, folder, unit_system(units or season.units), say=say, written=written
            )
        pictures = [told["picture"] for told in outcome.summary["operations"]]
        shown = folder / pictures[0] if len(pictures) == 1 else folder
        tell(outcome, tr("Open {file} to see why.", file=shown), as_json=as_json, quiet=quiet)
