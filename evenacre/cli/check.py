"""``evenacre check``: every file of a season, nothing computed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenacre.cli.options.shared import BAD_INPUT, Quiet, plain_errors
from evenacre.cli.options.streams import first, printing, say


def check(
    season: Annotated[Path, typer.Argument(help="The season file, or task data.")],
    quiet: Quiet = False,
) -> None:
    """Check every file of a season without computing anything."""
    with plain_errors():
        from evenacre.io.season.validate import check_season

        findings = check_season(season)
        errors = sum(finding.level == "error" for finding in findings)
        with printing():
            lines = []
            for finding in findings:
                if finding.level == "error" or not quiet:
                    about = f" ({finding.operation})" if finding.operation else ""
                    lines.append(f"{finding.level}{about}: {finding.text}")
            for line in first(lines):
                say(line)
            if not quiet:
                say(f"{errors} to mend." if errors else "Nothing to mend.")
        if errors:
            raise typer.Exit(BAD_INPUT)
