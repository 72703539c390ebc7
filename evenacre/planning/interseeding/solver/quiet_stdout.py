"""Keep the solver from printing."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def silence() -> Iterator[None]:
    """Send what is printed to nowhere.

    Some of the solver's messages come whatever its options say, from C, and would spoil JSON
    on the standard output.
    """
    try:
        sys.stdout.flush()
        kept = os.dup(1)
    except (OSError, ValueError, AttributeError):  # there is no standard output to spoil
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
