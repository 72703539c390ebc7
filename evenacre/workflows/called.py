"""Complaints in the words of a Python call."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from evenacre.errors import InputError

_FLAG = re.compile(r'(?<![\w-])--([a-z]+(?:-[a-z]+)*)(?: (?="))?')
OF_THE_TERMINAL = re.compile(r" \(on the command line [^)]*\)| with --(?:out|book)\b")
"""What of a complaint is for the command line alone."""


@contextmanager
def about_arguments(**called: str) -> Iterator[None]:
    """Let complaints name arguments as a call has them, not as the command line does.

    Parameters
    ----------
    **called : str
        Options that the call has under another name.
    """

    def argument(flag: re.Match[str]) -> str:
        name = flag[1].replace("-", "_")
        return f"{called.get(name, name)}{'=' if flag[0].endswith(' ') else ''}"

    def in_python(text: str) -> str:
        return _FLAG.sub(argument, OF_THE_TERMINAL.sub("", text))

    try:
        yield
    except InputError as error:
        raise InputError(
            replace(
                p,
                file=in_python(p.file),
                place=in_python(p.place),
                what=in_python(p.what),
                remedy=in_python(p.remedy),
            )
            for p in error.problems
        ) from None
