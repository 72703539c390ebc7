"""What every command shares: exit codes, common options and plain errors."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from evenacre.commands.terminal import say
from evenacre.errors import InputError

DONE, FOUND, BAD_INPUT, INTERNAL, INTERRUPTED = 0, 1, 2, 3, 130


class UnitName(StrEnum):
    """Unit systems of the report."""

    US = "us"
    METRIC = "metric"


def option(panel: str, text: str, *flags: str) -> Any:
    """Return an option with its help text, shown under a heading of its own."""
    return typer.Option(*flags, help=text, rich_help_panel=panel)


Out = Annotated[Path | None, typer.Option("--out", help="Folder for the result.")]
Units = Annotated[UnitName | None, typer.Option("--units", help="Units of the report.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the summary on standard output.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print only errors.")]


@contextmanager
def plain_errors() -> Iterator[None]:
    """Turn every way of failing into plain words and an exit code."""
    try:
        yield
    except InputError as error:
        for problem in error.problems:
            say(f"error: {problem}", err=True)
        raise typer.Exit(BAD_INPUT) from None
    except KeyboardInterrupt:
        say("Stopped. Nothing was written.", err=True)
        raise typer.Exit(INTERRUPTED) from None
    except (typer.Exit, typer.Abort):
        raise
    except Exception as error:
        if isinstance(error, OSError) and _too_long(error):
            name = Path(str(error.filename)).name[:60]
            say(f"error: {name}...: The name is too long for this system. Shorten it.", err=True)
            raise typer.Exit(BAD_INPUT) from None
        import traceback

        say(traceback.format_exc(), err=True)
        say(
            f"internal error: {type(error).__name__}: {error}. This is a fault of Evenacre, not of "
            "your files; please report it with the lines above.",
            err=True,
        )
        raise typer.Exit(INTERNAL) from None


def _too_long(error: OSError) -> bool:
    """Tell whether a system refuses a name or path for its length; Windows has its own code."""
    return error.errno == errno.ENAMETOOLONG or getattr(error, "winerror", None) == 206
