"""What every command shares: exit codes, common options and plain errors."""

from __future__ import annotations

import errno
import signal
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from evenacre.cli.options.streams import complain, first
from evenacre.errors import InputError
from evenacre.language import Tag, now_spoken, spoken, tr
from evenacre.processes.interrupts import Stopped, heeded
from evenacre.processes.written import Written

DONE, FOUND, BAD_INPUT, INTERNAL = 0, 1, 2, 3
STOPPED = 128
"""To which the number of the signal is added, as shells do."""


Units = Annotated[
    Literal["us", "metric"] | None, typer.Option("--units", help="Units of the report.")
]
Language = Annotated[
    Tag | None, typer.Option("--language", help="Language of the report; English if none is told.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the summary on standard output.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print only errors.")]


def fail_on_any(wanted: Iterable[str] | None, found: Mapping[Any, bool]) -> None:
    """Exit with 1 when something that was asked for is among what was found."""
    if any(found[finding] for finding in wanted or ()):
        raise typer.Exit(FOUND)


@contextmanager
def plain_errors(language: str | None = None) -> Iterator[Written]:
    """Turn every way of failing into plain words and an exit code.

    What is yielded has to be told what was written, so that a run that is stopped says what
    there is of it. Complaints are in a language if one was asked for.
    """
    written = Written()
    with spoken(language or now_spoken()):  # in which a command may speak another
        try:
            with heeded():
                yield written
        except InputError as error:
            for line in first(
                [tr("error: {problem}", problem=problem) for problem in error.problems]
            ):
                complain(line)
            raise typer.Exit(BAD_INPUT) from None
        except KeyboardInterrupt as stop:
            complain(written.when_stopped())
            number = stop.number if isinstance(stop, Stopped) else signal.SIGINT
            raise typer.Exit(STOPPED + number) from None
        except (typer.Exit, typer.Abort):
            raise
        except Exception as error:
            # Windows has a number of its own for a name that is too long.
            if isinstance(error, OSError) and (
                error.errno == errno.ENAMETOOLONG or getattr(error, "winerror", None) == 206
            ):
                name = Path(str(error.filename)).name[:60]
                complain(
                    tr(
                        "error: {name}...: The name is too long for this system. Shorten it.",
                        name=name,
                    )
                )
                raise typer.Exit(BAD_INPUT) from None
            import traceback

            complain(traceback.format_exc().rstrip())
            complain(
                f"internal error: {type(error).__name__}: {error}. This is a fault of Evenacre, "
                "not of your files; please report it with the lines above."
            )
            raise typer.Exit(INTERNAL) from None
        finally:
            for note in written.notes:
                complain(tr("note: {said}", said=note))
