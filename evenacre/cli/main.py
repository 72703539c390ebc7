"""The command line: every command of ``evenacre`` and its entry point."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from evenacre import __version__
from evenacre.cli.audit import audit
from evenacre.cli.calibrate import calibrate
from evenacre.cli.check import check
from evenacre.cli.demo import demo
from evenacre.cli.export import export
from evenacre.cli.finish import finish
from evenacre.cli.interseed import interseed
from evenacre.cli.options.streams import standard_streams
from evenacre.cli.passes import passes

app = typer.Typer(
    name="evenacre",
    help="An exact account of seeded and fertilized ground: covered once, twice or not at all, "
    "and the pounds on it.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)


@app.callback(invoke_without_command=True)
def root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    """Answer --version."""
    if version:
        typer.echo(f"evenacre {__version__}")
        raise typer.Exit


for command in (audit, check, demo, calibrate, finish, interseed, passes, export):
    app.command()(command)


def main() -> None:
    """Entry point of the ``evenacre`` command."""
    # Consoles that cannot show a character of a file's name should not end the run.
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    with standard_streams():
        app()
