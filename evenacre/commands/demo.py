"""``evenacre demo``: the sample farm, written and audited."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenacre.commands.running import Jobs, run, tell
from evenacre.commands.shared import AsJson, Quiet, Units, plain_errors


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
        outcome = run(season, folder, units, jobs, quiet=quiet or as_json)
        tell(outcome, folder, as_json=as_json, quiet=quiet)
