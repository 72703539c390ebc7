"""Names of what is no file: pipes, devices, links in circles, and files without end."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress

from hostile.cases import Case, Place, collection

_TERABYTE = 1 << 40


def _pipe(at: Place, name: str) -> None:
    os.mkfifo(at.folder / name)


def _socket(at: Place, name: str) -> None:
    here = os.getcwd()
    os.chdir(at.folder)  # its address may only be short
    try:
        with socket.socket(socket.AF_UNIX) as listener:
            listener.bind(name)
    finally:
        os.chdir(here)


def _folder(at: Place, name: str) -> None:
    (at.folder / name).mkdir()
    (at.folder / name / "secret.geojson").write_text(collection())


def _nowhere(at: Place, name: str) -> None:
    (at.folder / name).symlink_to("nowhere")


def _circle(at: Place, name: str) -> None:
    (at.folder / name).symlink_to("other")
    (at.folder / "other").symlink_to(name)


def _to(target: str) -> Callable[[Place, str], None]:
    return lambda at, name: (at.folder / name).symlink_to(target)


def _sparse(start: bytes) -> Callable[[Place, str], None]:
    """A file of a terabyte, of which next to nothing is on the disk."""

    def make(at: Place, name: str) -> None:
        at.write(name, start)
        os.truncate(at.folder / name, _TERABYTE)

    return make


_GROWS = """
import sys, time
line = open(sys.argv[1]).read().splitlines()[-1]
end = time.monotonic() + 5
with open(sys.argv[1], "a") as file:
    while time.monotonic() < end and file.tell() < 100_000_000:
        file.write((line + "\\n") * 200)
        file.flush()
        time.sleep(0.005)
"""


def _growing(start: str) -> Callable[[Place, str], None]:
    """A file that is written to for as long as it is being read."""

    def make(at: Place, name: str) -> None:
        at.write(name, start)
        subprocess.Popen(
            [sys.executable, "-c", _GROWS, str(at.folder / name)], stderr=subprocess.DEVNULL
        )

    return make


def _closed(at: Place, name: str) -> None:
    at.write(name, collection())
    (at.folder / name).chmod(0)


def _held(at: Place, name: str) -> None:
    """A folder that holds itself through a link."""
    (at.folder / name).mkdir()
    (at.folder / name / "a.gdb").symlink_to(".", target_is_directory=True)
    with suppress(OSError):
        (at.folder / name / "TASKDATA").symlink_to("..", target_is_directory=True)


_KINDS: dict[str, Callable[[Place, str], None]] = {
    "pipe": _pipe,
    "socket": _socket,
    "folder": _folder,
    "link to nowhere": _nowhere,
    "link in a circle": _circle,
    "link to zeros": _to("/dev/zero"),
    "link to noise": _to("/dev/random"),
    "link to the terminal": _to("/dev/tty"),
    "link to standard input": _to("/proc/self/fd/0"),
    "link to memory": _to("/proc/self/mem"),
    "link to the kernel": _to("/proc/kmsg"),
    "link to its folder": _to("."),
    "folder in itself": _held,
    "closed file": _closed,
}
_LINE = "time,lon,lat\n2026-04-14T12:00:00Z,-92.33,38.95\n2026-04-14T12:00:01Z,-92.33,38.9501\n"
_LARGE: dict[str, tuple[str, str, Callable[[Place, str], None]]] = {
    "terabyte of json": ("map", "a.geojson", _sparse(collection().encode())),
    "terabyte of open json": ("map", "a.geojson", _sparse(collection().encode()[:-10])),
    "terabyte of a database": ("map", "a.gpkg", _sparse(b"SQLite format 3\0")),
    "terabyte of kml": ("map", "a.kml", _sparse(b"<kml>")),
    "terabyte of parquet": ("map", "a.parquet", _sparse(b"PAR1")),
    "terabyte of flatgeobuf": ("map", "a.fgb", _sparse(b"fgb\3fgb\1" + b"\xff\xff\xff\x0f")),
    "terabyte of zip": ("map", "a.zip", _sparse(b"PK\3\4")),
    "terabyte of shapefile": ("map", "a.shp", _sparse(b"\0\0\x27\x0a")),
    "terabyte of a table": ("log", "a.csv", _sparse(_LINE.encode())),
    "terabyte of sentences": ("log", "a.nmea", _sparse(b"$GPRMC,")),
    "terabyte of gpx": ("log", "a.gpx", _sparse(b"<gpx>")),
    "terabyte of task data": ("task data", "TASKDATA.XML", _sparse(b"<ISO11783_TaskData>")),
    "terabyte of zipped task data": ("task data", "a.zip", _sparse(b"PK\3\4")),
    "terabyte of season": ("season", "season.toml", _sparse(b'farm = "a"\n')),
    "terabyte of plan": ("plan", "plan.json", _sparse(b"{")),
    "terabyte of tickets": ("tickets", "loads.csv", _sparse(b"event,weight (lb)\n")),
    "terabyte of rain": ("rain", "rain.csv", _sparse(b"date,rain (in)\n")),
    "terabyte of blockages": ("blockages", "b.csv", _sparse(b"start,end,tower\n")),
    "terabyte of a book": ("book", "book.csv", _sparse(b"product,setting\n")),
    "growing table": ("log", "a.csv", _growing(_LINE)),
    "growing sentences": (
        "log",
        "a.nmea",
        _growing("$GPRMC,120000,A,3857,N,09219,W,1,0,140426,,\n"),
    ),
    "growing lines of json": ("map", "a.geojsonl", _growing(collection() + "\n")),
    "growing tickets": ("tickets", "loads.csv", _growing("event,weight (lb)\nfilled,100\n")),
}
_NAMES = {
    "map": "a.geojson",
    "log": "a.csv",
    "task data": "a.zip",
    "season": "a.toml",
    "plan": "plan.json",
    "tickets": "loads.csv",
    "rain": "rain.csv",
    "blockages": "b.csv",
    "book": "book.csv",
}
_DEVICES = ("/dev/zero", "/dev/random", "/dev/null", "/proc/self/fd/0", "/dev/stdin", "/proc/kmsg")


def _made(kind: Callable[[Place, str], None], name: str) -> Callable[[Place], str]:
    def make(at: Place) -> str:
        kind(at, name)
        return name

    return make


def cases() -> list[Case]:
    """Each kind in each role."""
    found = [
        Case(f"{kind} as {role}", role, _made(make, name), reads=("/dev", "/proc"), restless=True)
        for kind, make in _KINDS.items()
        for role, name in _NAMES.items()
        if (kind, role) != ("link to nowhere", "book")  # that starts a book there
    ]
    found += [
        Case(f"{device} as {role}", role, lambda at, device=device: device, reads=("/dev",))
        for device in _DEVICES
        for role in _NAMES
    ]
    found += [
        Case(f"pipe called {name}", "map", _made(_pipe, name), restless=True)
        for name in ("a.gpkg", "a.shp", "a.kml", "a.fgb", "a.gml", "a.parquet", "a.zip", "a.gdb")
    ]
    found += [
        Case(f"folder called {name}", "map", _made(_folder, name))
        for name in ("a.gpkg", "a.shp", "a.kml", "a.fgb", "a.gml", "a.parquet", "a.zip", "a.gdb")
    ]
    found += [
        Case(name, role, _made(make, file), restless=True)
        for name, (role, file, make) in _LARGE.items()
    ]
    return found
