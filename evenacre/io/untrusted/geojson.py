"""Look into a GeoJSON file before GDAL does: it may send its reader elsewhere."""

from __future__ import annotations

import json
import mmap
import re
from pathlib import Path

from evenacre.errors import InputError
from evenacre.io.untrusted.files import open_file

_WINDOW = 1 << 16


def _spelled(word: str) -> str:
    """A word in JSON, any letter of it perhaps as an escape."""
    return "".join(f"(?:{c}|\\\\u00{ord(c):02x})" for c in word)


_CRS = re.compile(
    rf"""["']{_spelled("crs")}["'](?:\s|/\*.*?\*/|//[^\n]*\n)*:[^{{"'\[\w]*{{""".encode(),
    re.IGNORECASE | re.DOTALL,
)


def check_geojson(path: Path) -> None:
    """Refuse a coordinate system that is to be fetched.

    The 2008 form of GeoJSON let a file link to its coordinate system (RFC 7946 took it out).

    Raises
    ------
    InputError
        Without the name of the file.
    """
    with (
        open_file(path) as file,
        mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content,
    ):
        for found in _CRS.finditer(content):
            text = content[found.end() - 1 : found.end() + _WINDOW].decode("utf-8", "replace")
            try:
                system, _ = json.JSONDecoder().raw_decode(text)
            except (ValueError, RecursionError):
                system = {}
            if str(system.get("type")).lower() not in ("name", "epsg", "none"):
                raise InputError.at(
                    "",
                    "crs",
                    "It does not say its coordinate system, but where to fetch it.",
                    "Export it in WGS 84, which needs no such entry.",
                )
