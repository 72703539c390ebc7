"""``evenacre demo``: the sample farm, written, planned and audited."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenacre.cli.interseed import PLAN_FOLDER, plan
from evenacre.cli.options.progress import Fresh, Jobs, run, tell
from evenacre.cli.options.shared import AsJson, Language, Quiet, Units, plain_errors
from evenacre.language import speak, tr


def demo(
    directory: Annotated[Path, typer.Argument(help="Folder for the sample farm.")] = Path(
        "three-larks"
    ),
    units: Units = None,
    language: Language = None,
    jobs: Jobs = 0,
    fresh: Fresh = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write the sample farm into a folder, plan its interseeding and audit its season."""
    with plain_errors(language) as written:
        from evenacre.io.result_folder.ownership import PLAN
        from evenacre.io.result_folder.staging import put_farm
        from evenacre.io.season.load import load_season
        from evenacre.sample_fields.three_larks import TRUTH, write_farm

        put_farm(directory, write_farm, TRUTH, written)
        silent = quiet or as_json
        file = directory / "season.toml"
        coming = load_season(file, logs=False, must_hold="seeding")
        speak(language or coming.language)
        plan_folder, folder = directory / PLAN_FOLDER, directory / "evenacre-out"
        planned = plan(coming, plan_folder, units, written, quiet=silent)
        if not silent:
            tell(
                planned,
                tr("Open {file}", file=plan_folder / "report.html"),
                as_json=False,
                quiet=False,
            )
        outcome = run(
            load_season(file),
            folder,
            units,
            jobs,
            quiet=silent,
            plan_file=plan_folder / PLAN,
            fresh=fresh,
            written=written,
        )
        tell(outcome, tr("Open {file}", file=folder / "report.html"), as_json=as_json, quiet=quiet)
