"""Look into GeoPackage and GeoJSON files before GDAL does: they may hold programs or addresses."""

from __future__ import annotations

import json
import mmap
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from evenacre.errors import InputError
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import open_file
from evenacre.language import tr

_MOST_OBJECTS = 10_000
_VIRTUAL = re.compile(r"\s*create\s+virtual\b", re.IGNORECASE)
_RTREE = re.compile(r".*\busing\s+rtree\s*\(", re.IGNORECASE | re.DOTALL)
_COMPUTED = (2, 3)  # what SQLite calls generated columns, in table_xinfo
_AGAIN = "Export its layers again, as tables, into a new GeoPackage."


def check_geopackage(path: Path) -> None:
    """Refuse a GeoPackage that would run anything, or was not saved to its end.

    Layers have to be plain tables: a view or a computed column is a program of the file's
    author, and so is a virtual table other than the spatial index.

    Raises
    ------
    InputError
        Without the name of the file.
    sqlite3.Error
        When it is damaged.
    """
    for suffix in ("-wal", "-journal"):
        beside = path.with_name(path.name + suffix)
        if beside.exists() and beside.stat().st_size:
            raise InputError.at(
                "",
                "",
                tr(
                    'It was not saved to its end: the file "{name}" beside it holds the rest.',
                    name=beside.name,
                ),
                tr("Open it in the program it came from, save and close it there."),
            )
    with _opened(path) as db:
        objects = db.execute(
            "SELECT type, name, coalesce(sql, '') FROM sqlite_master LIMIT ?", (_MOST_OBJECTS + 1,)
        ).fetchall()
        if len(objects) > _MOST_OBJECTS:
            raise InputError.at(
                "",
                "",
                tr("It holds over {most_objects:,} tables.", most_objects=_MOST_OBJECTS),
                _AGAIN,
            )
        kinds = {str(name).lower(): (kind, sql) for kind, name, sql in objects if kind != "trigger"}
        for name, (kind, sql) in kinds.items():
            system = name.startswith(("gpkg_", "rtree_"))
            if (system and kind == "view") or (_VIRTUAL.match(sql) and not _RTREE.match(sql)):
                raise _program(name)
        if "gpkg_contents" not in kinds:
            raise sqlite3.DatabaseError("no GeoPackage")
        layers = db.execute("SELECT table_name FROM gpkg_contents").fetchall()
        budget.check_layers(len(layers))
        for (layer,) in layers:
            kind, _ = kinds.get(str(layer).lower(), ("", ""))
            if kind == "view":
                raise _program(layer)
            columns = db.execute("SELECT hidden FROM pragma_table_xinfo(?)", (layer,)).fetchall()
            if any(hidden in _COMPUTED for (hidden,) in columns):
                raise _program(layer)


def count_layers(path: Path) -> int:
    """Return how many layers a GeoPackage lists that GDAL can number."""
    with _opened(path) as db:
        listed = "SELECT count(*) FROM gpkg_contents WHERE data_type IN ('features', 'attributes')"
        return int(db.execute(listed).fetchone()[0])


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a database for reading alone: no lock, no journal, no trust in its schema."""
    address = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
    with closing(sqlite3.connect(address, uri=True)) as db:
        db.execute("PRAGMA trusted_schema = OFF")
        yield db


def _program(name: str) -> InputError:
    return InputError.at("", f'"{name}"', tr("It is computed when it is read, not stored."), _AGAIN)


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
    with open_file(path) as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
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
                    tr("It does not say its coordinate system, but where to fetch it."),
                    tr("Export it in WGS 84, which needs no such entry."),
                )
