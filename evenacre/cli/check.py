"""``evenacre check``: every file of a season, or what any other file holds; nothing computed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenacre.cli.options.shared import BAD_INPUT, Quiet, plain_errors
from evenacre.cli.options.streams import first, printing, say
from evenacre.io.untrusted.map_reader import map_reader


def check(
    file: Annotated[
        Path,
        typer.Argument(help="A season file, task data, any log, map or table, or a folder."),
    ],
    quiet: Quiet = False,
) -> None:
    """Check every file of a season, or say what any other file holds, computing nothing."""
    with plain_errors():
        map_reader().begin()
        from evenacre.io.season.load import is_season_file

        tasks = file.suffix.lower() != ".toml" and _is_taskdata(file)
        whole = tasks or not file.exists() or is_season_file(file)
        head, mended = ([], True) if whole and not tasks else _looked_at(file)
        lines, errors = _season(file, quiet=quiet) if whole else ([], int(not mended))
        with printing():
            for line in first([*([] if quiet and mended else head), *lines]):
                say(line)
            if whole and not quiet:
                say(f"{errors} to mend." if errors else "Nothing to mend.")
        if errors:
            raise typer.Exit(BAD_INPUT)


def _is_taskdata(file: Path) -> bool:
    from evenacre.io.stick.files import is_stick
    from evenacre.io.taskdata.folder import is_taskdata

    return not is_stick(file) and is_taskdata(file)


def _season(file: Path, *, quiet: bool) -> tuple[list[str], int]:
    """What there is to say of a season or task data, and how many errors are among it."""
    from evenacre.io.season.validate import check_season

    findings = check_season(file)
    lines = []
    for finding in findings:
        if finding.level == "error" or not quiet:
            about = f" ({finding.operation})" if finding.operation else ""
            lines.append(f"{finding.level}{about}: {finding.text}")
    return lines, sum(finding.level == "error" for finding in findings)


def _looked_at(file: Path) -> tuple[list[str], bool]:
    """What a file holds, how it was read and what to do next; whether it was understood."""
    from evenacre.io.stick.describe import next_step, said_of, told
    from evenacre.io.stick.files import is_stick
    from evenacre.io.stick.identify import Kind, look_at

    if is_stick(file):
        from evenacre.workflows.gather import gathered_lines, preview

        lines = gathered_lines(preview(file), wrote=False)
        return [*lines, f"Go on with: evenacre gather {file}"], True
    found = look_at(file)
    lines = [line for one in found for line in told(one, file.name)]
    for one in found if not any(f.tasks for f in found) else ():
        warnings, notes = said_of(one)
        lines += [f"  warning: {text}" for text in warnings] + [f"  note: {text}" for text in notes]
    lines += filter(None, [next_step(found, file)])
    return lines, any(one.kind is not Kind.UNKNOWN for one in found)
