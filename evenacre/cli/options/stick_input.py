"""A folder or zip of many files in the place of a season file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from evenacre.cli.options.progress import stages
from evenacre.cli.options.streams import complain, printing, say
from evenacre.processes.written import Written


def season_of_stick(root: Path, written: Written, given: Mapping[str, Any], *, quiet: bool) -> Path:
    """Gather the season of a folder or zip where there is none; else tell of new files."""
    from evenacre.io.season.from_options import told_of_stick
    from evenacre.workflows.gather import (
        gather,
        gathered_lines,
        new_files,
        season_is_there,
        season_place,
    )

    season = season_place(root, None)
    told = told_of_stick(**given) if given else None
    if told is not None and season.exists():
        raise season_is_there(season, next(iter(given)))
    with stages("looking around", quiet=quiet) as show:
        there = season.exists()
        fresh = new_files(root, season, show) if there else []
        found = None if there else gather(root, season, say=show, written=written, told=told)
    if found is not None and not quiet:
        with printing():
            for line in gathered_lines(found, wrote=True):
                say(line)
    if fresh:
        some = ", ".join(fresh[:5]) + (f" and {len(fresh) - 5} more" if len(fresh) > 5 else "")
        complain(
            f"note: {season.name} knows nothing of {some}: `evenacre gather {root}` adds them."
        )
    return season
