"""Names of files and folders made from names that people give."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

MAPS, TABLES, GEOPARQUET = "maps", "tables", "geoparquet"
RESULT_FOLDERS = (MAPS, TABLES, GEOPARQUET)
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
