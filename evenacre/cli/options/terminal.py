"""Words on a terminal: shown as they are, never obeyed."""

from __future__ import annotations

import typer

from evenacre.shown_text import shown


def say(text: object, *, err: bool = False) -> None:
    """Print a line; names in it may hold anything, and no control sequence gets through."""
    typer.echo(shown(str(text)), err=err)
