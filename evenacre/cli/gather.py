"""``evenacre gather``: a season file from everything in a folder or zip."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenacre.cli.options.progress import stages, tell_lines
from evenacre.cli.options.shared import AsJson, Quiet, plain_errors


def gather(
    folder: Annotated[Path, typer.Argument(help="A folder or zip of logs, maps, task data ...")],
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Season file, or its folder; season.toml in the folder."),
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Make a season file of everything in a folder or zip, or add what is new to it.

    Boundaries, zones, logs, task data and tickets are told apart by their content, drives are
    matched to fields and jobs, doubles are left out, and every guess stands in a comment.
    """
    with plain_errors() as written:
        from evenacre.workflows.gather import (
            gather as gathered,
        )
        from evenacre.workflows.gather import (
            gathered_lines,
            gathered_summary,
            season_place,
        )

        season = season_place(folder, out)
        with stages("looking around", quiet=quiet or as_json) as say:
            found = gathered(folder, season, say=say, written=written)
        first = "Fill in the width, then go" if found.written.lacks_width else "Go"
        closing = f"{first} on with: evenacre audit {season}"
        lines = [*gathered_lines(found, wrote=True), closing]
        tell_lines(gathered_summary(found), lines, as_json=as_json, quiet=quiet)
