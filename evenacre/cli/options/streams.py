"""Printing on standard streams that may be closed, lost or full."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

import typer

from evenacre.errors import InputError
from evenacre.language import tr
from evenacre.shown_text import shown

_MOST_LINES = 50


def say(text: object, *, err: bool = False) -> None:
    """Print a line; names in it may hold anything, and no control sequence gets through."""
    typer.echo(shown(str(text)), err=err)


@contextmanager
def printing() -> Iterator[None]:
    """Go on when the reader of standard output has left (``| head``); tell when it is full.

    Raises
    ------
    InputError
        When standard output takes no more.
    """
    try:
        yield
    except OSError as error:
        _to_nowhere(sys.stdout)
        if error.errno != errno.EPIPE:
            raise InputError.at(
                tr("standard output"),
                "",
                tr("It could not be written ({strerror}).", strerror=error.strerror),
                tr("Files of the result are complete; free some space, or print elsewhere."),
            ) from None


def complain(text: str) -> None:
    """Print on standard error; that nobody may be left to read it is no further trouble."""
    try:
        say(text, err=True)
    except OSError:
        _to_nowhere(sys.stderr)


def first(lines: list[str]) -> list[str]:
    """Return as many lines as anybody reads, and how many more there are."""
    more = len(lines) - _MOST_LINES
    return (
        lines if more <= 0 else [*lines[:_MOST_LINES], f"... and {more:,} more; mend these first."]
    )


@contextmanager
def standard_streams() -> Iterator[None]:
    """Have all three standard streams from start to end.

    A file of the result must not get the number of one that was closed, or what a library
    prints would go into it.
    """
    while (descriptor := os.open(os.devnull, os.O_RDWR)) <= 2:
        pass
    os.close(descriptor)
    try:
        yield
    finally:
        for stream in (sys.stdout, sys.stderr):
            try:
                if stream is not None:
                    stream.flush()
            except OSError:
                _to_nowhere(stream)


def _to_nowhere(stream: TextIO) -> None:
    """Let what is still buffered not fail once more at the end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
