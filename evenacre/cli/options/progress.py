"""Running an audit with a progress line, and telling what came of it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from evenacre.cli.options.shared import UnitName
from evenacre.cli.options.streams import complain, printing
from evenacre.cli.options.terminal import say
from evenacre.shown_text import shown

if TYPE_CHECKING:
    from evenacre.model import Season
    from evenacre.processes.written import Written
    from evenacre.workflows.result import Outcome

Jobs = Annotated[int, typer.Option("--jobs", min=0, help="Processes to use; 0: all cores.")]
Fresh = Annotated[
    bool, typer.Option("--fresh", help="Compute all; take nothing from an earlier run.")
]


def run(
    season: Season,
    out: Path,
    units: UnitName | None,
    jobs: int,
    written: Written,
    *,
    quiet: bool,
    geoparquet: bool = False,
    plan_file: Path | None = None,
    fresh: bool = False,
) -> Outcome:
    """Audit with a progress line on standard error."""
    from dataclasses import replace

    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    from evenacre.workflows.audit import audit_season

    if units is not None:
        season = replace(season, units=units.value)
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    console = Console(stderr=True)
    silent = quiet or not console.is_terminal  # a file of messages is no place for a moving line
    with Progress(*columns, console=console, transient=True, disable=silent) as bar:
        task = bar.add_task("starting", total=len(season.operations))

        def show(stage: str, done: int) -> None:
            bar.update(task, description=shown(stage), completed=done)

        processes = jobs or os.cpu_count() or 1
        outcome = audit_season(
            season,
            out,
            jobs=processes,
            geoparquet=geoparquet,
            plan_file=plan_file,
            fresh=fresh,
            progress=show,
            written=written,
        )
    if not quiet:
        for remark in outcome.remarks:
            complain(remark)
    return outcome


@contextmanager
def stages(first: str, *, quiet: bool) -> Iterator[Callable[[str], None]]:
    """Show the stage at work on standard error, and give what to tell the next one to."""
    from rich.console import Console
    from rich.text import Text

    console = Console(stderr=True)
    if quiet or not console.is_terminal:  # a file of messages is no place for a moving line
        yield lambda _stage: None
        return
    with console.status(first) as status:
        # As text, so that brackets in a name are no markup.
        yield lambda stage: status.update(Text(shown(stage)))


def tell(outcome: Outcome, closing: str, *, as_json: bool, quiet: bool) -> None:
    """Print the account and a closing line, or the summary as JSON."""
    with printing():
        if as_json:
            from evenacre.io.writers.json_file import json_text

            say(json_text(outcome.summary))
        elif not quiet:
            for line in outcome.lines:
                say(line)
            say(closing)
