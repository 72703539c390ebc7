"""Running an audit with a progress line, and telling what came of it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenacre.cli.options.streams import complain, printing, say
from evenacre.shown_text import shown

if TYPE_CHECKING:
    from evenacre.model import Season
    from evenacre.workflows.result import Outcome

Jobs = Annotated[int, typer.Option("--jobs", min=0, help="Processes to use; 0: all cores.")]
Fresh = Annotated[
    bool, typer.Option("--fresh", help="Compute all; take nothing from an earlier run.")
]


def run(
    season: Season, out: Path, units: str | None, jobs: int, *, quiet: bool, **more: Any
) -> Outcome:
    """Audit with a progress line on standard error; ``more`` is what `audit_season` takes."""
    from dataclasses import replace

    from evenacre.workflows.audit import audit_season

    if units is not None:
        season = replace(season, units=units)
    operations = len(season.operations)
    with counted("starting", quiet=quiet) as show:
        outcome = audit_season(
            season,
            out,
            jobs=jobs or os.cpu_count() or 1,
            progress=lambda stage, done: show(stage, done, operations),
            **more,
        )
    if not quiet:
        for remark in outcome.remarks:
            complain(remark)
    return outcome


@contextmanager
def counted(first: str, *, quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Show a bar on standard error, and give what to tell the stage, what is done and of what."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    console = Console(stderr=True)
    silent = quiet or not console.is_terminal  # a file of messages is no place for a moving line
    with Progress(*columns, console=console, transient=True, disable=silent) as bar:
        task = bar.add_task(first, total=None)
        yield lambda stage, done, whole: bar.update(
            task, description=shown(stage), completed=done, total=whole
        )


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
    tell_lines(outcome.summary, [*outcome.lines, closing], as_json=as_json, quiet=quiet)


def tell_lines(
    account: dict[str, Any], lines: Iterable[str], *, as_json: bool, quiet: bool
) -> None:
    """Print lines, or an account as JSON."""
    with printing():
        if as_json:
            from evenacre.io.common.json_text import json_text

            say(json_text(account))
        elif not quiet:
            for line in lines:
                say(line)
