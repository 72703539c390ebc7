"""Names of files and folders made from names that people give."""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import PurePath
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from evenacre.model import InputFile

MAPS, TABLES, GEOPARQUET, SHEETS = "maps", "tables", "geoparquet", "sheets"
REPORT = "report.html"
METHOD = "method.html"
RESULT_FOLDERS = (MAPS, TABLES, GEOPARQUET, SHEETS)
"""Folders of an audit's result, beside those of its operations."""

_LONGEST = 60
# Devices of Windows, whatever ending follows (learn.microsoft.com, "Naming Files, Paths, and
# Namespaces"); results are copied there from other systems.
_DEVICES = re.compile(r"con|prn|aux|nul|(com|lpt)\d")


def slug(text: str) -> str:
    """File-name form of a name: lower-case ASCII letters, digits and hyphens, 60 at most.

    Such a name means the same on every system: none folds its case or its accents, or takes
    it for a device.
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    words = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:_LONGEST].strip("-")
    return f"{words}-" if _DEVICES.fullmatch(words) else words or "unnamed"


def unique_slugs(names: Iterable[str], taken: Iterable[str] = ()) -> list[str]:
    """File-name forms that differ from one another, and from those taken already, in order."""
    used = set(taken)
    out = []
    for name in names:
        base = candidate = slug(name)
        count = 2
        while candidate in used:
            candidate, count = f"{base}-{count}", count + 1
        used.add(candidate)
        out.append(candidate)
    return out


def unrooted(words: Sequence[str], paths: Sequence[str] | None = None) -> list[str]:
    """Take from names of files what leads to them on one machine, which is nobody's business.

    Those that begin at the root are told from the folder that holds all of ``paths`` that do
    (None: all of these words).
    """
    roots = [path for path in (words if paths is None else paths) if PurePath(path).is_absolute()]
    together = len({PurePath(path).drive for path in roots}) == 1
    home = os.path.commonpath([PurePath(path).parent for path in roots]) if together else ""

    def short(word: str) -> str:
        path = PurePath(word)
        if not path.is_absolute():
            return word
        inside = bool(home) and path.is_relative_to(home)
        return path.relative_to(home).as_posix() if inside else path.name

    return [short(word) for word in words]


def handed_names(files: Sequence[InputFile]) -> list[InputFile]:
    """Files by the names that a reader of what is handed over needs, as :func:`unrooted`."""
    names = unrooted([file.path for file in files])
    return [replace(file, path=path) for file, path in zip(files, names, strict=True)]
