"""What a result hangs on: the bytes of its files, and the software that worked it out."""

from __future__ import annotations

import hashlib
import os
import platform
import stat
import sys
import zoneinfo
from collections.abc import Iterable, Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import rasterio
import shapely
from pyproj.database import get_database_metadata

import evenacre
from evenacre.io.taskdata.folder import taskdata_parts

Stamp = tuple[int, ...]

# Variables that libraries underneath heed.
_HEEDED = ("CPL_", "GDAL_", "GEOS_", "OGR_", "OSR_", "PROJ_", "PYPROJ_", "SHAPE_")


def stamps(paths: Iterable[Path]) -> dict[Path, Stamp]:
    """Take the size, times and number of files, of folders, and of all that is read with them.

    OSError when one is not there, or is something that cannot be read twice.
    """
    found: dict[Path, Stamp] = {}
    for path in paths:
        for part in _parts(path):
            seen = part.stat()
            if not stat.S_ISREG(seen.st_mode):
                raise OSError(f"{part} is no plain file")
            found[part] = (seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns, seen.st_ino)
    return found


def files_digest(paths: Iterable[Path]) -> bytes:
    """Digest names and bytes of the same files; the folder they lie in does not count."""
    whole = hashlib.sha256()
    for path in paths:
        parts = list(_parts(path))
        whole.update(_framed(f"{path.name or path}/{len(parts)}"))
        for part in parts:
            whole.update(_framed(part.relative_to(path.parent).as_posix()))
            with part.open("rb") as stream:
                whole.update(hashlib.file_digest(stream, "sha256").digest())
    return whole.digest()


@cache
def software_digest() -> bytes:
    """Digest the program's own source and the versions of all it computes with."""
    installed: list[str] = []  # names and versions of packages, without opening any
    for folder in sys.path:
        with suppress(OSError):
            names = [entry.name for entry in os.scandir(folder or ".")]
            installed += [n for n in names if n.endswith((".dist-info", ".egg-info"))]
    facts: list[object] = [
        evenacre.__version__,
        sys.version,
        platform.machine(),
        np.show_config(mode="dicts"),  # the processor's kind of arithmetic too
        shapely.geos_version_string,
        pyproj.proj_version_str,
        get_database_metadata("EPSG.VERSION"),
        rasterio.__gdal_version__,
        pyogrio.__gdal_version_string__,
        sorted(installed),
        sorted(item for item in os.environ.items() if item[0].startswith(_HEEDED)),
    ]
    whole = hashlib.sha256(repr(facts).encode("utf-8", "backslashreplace"))
    home = Path(evenacre.__file__).parent
    for path in sorted(p for p in home.rglob("*") if p.is_file() and p.suffix != ".pyc"):
        whole.update(_framed(path.relative_to(home).as_posix()))
        whole.update(hashlib.sha256(path.read_bytes()).digest())
    return whole.digest()


def zone_digest(time_zone: str | None) -> bytes:
    """Digest the rules of a time zone as this system has them."""
    for folder in zoneinfo.TZPATH if time_zone else ():
        with suppress(OSError):
            return hashlib.sha256(Path(folder, time_zone or "").read_bytes()).digest()
    return b""  # the rules come from an installed package, which counts as such


def _parts(path: Path) -> Iterator[Path]:
    """Give a file and whatever a reader may open along with it, in order of name."""
    parts = taskdata_parts(path)
    if parts is not None:  # a result may be written into a folder beside them
        yield from parts
    elif path.is_dir():
        for part in sorted(path.rglob("*")):
            if part.is_symlink() and part.is_dir():
                raise OSError(f"{part} is a link")
            if not part.is_dir():
                yield part
    else:
        # Parts of a Shapefile, descriptions and journals go by the name of their file.
        starts = (f"{path.stem}.".casefold(), f"{path.name}-".casefold())
        beside = [p for p in path.parent.iterdir() if p.name.casefold().startswith(starts)]
        yield path
        yield from sorted(
            p for p in beside if p != path and p.is_file() and not p.name.endswith("-shm")
        )


def _framed(text: str) -> bytes:
    data = os.fsencode(text)
    return len(data).to_bytes(8, "big") + data
