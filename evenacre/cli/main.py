"""The command line: every command of ``evenacre`` and its entry point."""

from __future__ import annotations

import inspect
import os
import sys
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from evenacre import __version__
from evenacre.cli.audit import audit
from evenacre.cli.calibrate import calibrate
from evenacre.cli.check import check
from evenacre.cli.county import county
from evenacre.cli.demo import demo
from evenacre.cli.desk import desk
from evenacre.cli.export import export
from evenacre.cli.finish import finish
from evenacre.cli.gather import gather
from evenacre.cli.interseed import interseed
from evenacre.cli.measure import measure
from evenacre.cli.options.derived import with_options
from evenacre.cli.options.streams import standard_streams
from evenacre.cli.passes import passes
from evenacre.processes.garbage import collect_seldom

COMMANDS = {
    command.__name__: command
    for command in (
        *(audit, gather, check, demo, desk, measure, calibrate, finish, interseed, passes, export),
        county,
    )
}
_PLAIN: dict[str, Any] = {"pretty_exceptions_enable": False, "add_completion": False}


class Commands(TyperGroup):
    """Makes the options of a command only when it is to run, so that --help answers at once."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the command that the arguments begin with."""
        name, command, rest = super().resolve_command(ctx, args)
        if name in COMMANDS:
            alone = typer.Typer(**_PLAIN)
            alone.command(name)(with_options(COMMANDS[name]))
            command = typer.main.get_command(alone)
        return name, command, rest


app = typer.Typer(
    cls=Commands,
    name="evenacre",
    help="An exact account of seeded and fertilized ground: covered once, twice or not at all, "
    "and the pounds on it.",
    no_args_is_help=True,
    **_PLAIN,
)


@app.callback(invoke_without_command=True)
def root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    """Answer --version."""
    if version:
        typer.echo(f"evenacre {__version__}")
        raise typer.Exit


for _name, _command in COMMANDS.items():
    app.command(_name, help=inspect.getdoc(_command))(lambda: None)


def main() -> None:
    """Entry point of the ``evenacre`` command."""
    collect_seldom()
    # pydantic would look through all that is installed for plugins, a tenth of the time to start.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    # Consoles that cannot show a character of a file's name should not end the run.
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    with standard_streams():
        app()
