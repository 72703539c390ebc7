"""Printing on a standard output that may be closed or full."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from evenacre.errors import InputError


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
        # What is still buffered must not fail once more at the end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if error.errno != errno.EPIPE:
            raise InputError.at(
                "standard output",
                "",
                f"It could not be written ({error.strerror}).",
                "Files of the result are complete; free some space, or print elsewhere.",
            ) from None
