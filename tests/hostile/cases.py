"""What a hostile file is, what may be read for it, and the commands that open it."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

SECRET = "secret-neighbour.geojson"
"""Lies beside every hostile file; nobody named it, so nobody may open it."""
VICTIM = "secret-victim.gpkg"
"""Lies there too, for a file that would write over it."""

SQUARE = [[-92.33, 38.95], [-92.329, 38.95], [-92.329, 38.951], [-92.33, 38.951], [-92.33, 38.95]]


@dataclass(frozen=True)
class Place:
    """Where the files of one case go.

    Attributes
    ----------
    folder : Path
        For what the case makes; the commands run in it.
    home : Path
        Another folder, which no command was told of.
    port : int
        Of this machine, where a listener counts who calls.
    """

    folder: Path
    home: Path
    port: int

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def filled(self, text: str) -> str:
        """Put this place's own names into a text."""
        for token, value in (
            ("@URL@", self.url),
            ("@SECRET@", SECRET),
            ("@VICTIM@", VICTIM),
            ("@OUTSIDE@", str(self.home / "written-outside")),
            ("@HOME@", str(self.home)),
        ):
            text = text.replace(token, value)
        return text

    def write(self, name: str, content: str | bytes) -> str:
        """Write a file and return its name."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(self.filled(content).encode() if isinstance(content, str) else content)
        return name


@dataclass(frozen=True)
class Case:
    """A hostile file and the part it plays.

    Attributes
    ----------
    name : str
    role : str
        A key of `ROLES`: what the file is given as.
    make : callable
        Writes the files, and returns the name to give to a command.
    reads : sequence of str
        Files elsewhere that the case names outright, so that reading them is no fault.
    heavy : bool
        Only made when every case is asked for.
    restless : bool
        Its own files change or cannot be read, so they are not compared.
    chief : bool
        Tried with every command, always.
    """

    name: str
    role: str
    make: Callable[[Place], str]
    reads: Sequence[str] = ()
    heavy: bool = False
    restless: bool = False
    chief: bool = False


def texts(role: str, files: Iterable[tuple[str, str | bytes]], label: str = "") -> list[Case]:
    """Cases that are one file each: (name, content)."""
    return [
        Case(f"{label}{name}", role, lambda at, name=name, content=content: at.write(name, content))
        for name, content in files
    ]


def polygon(ring: Sequence[Sequence[float]] = SQUARE) -> dict[str, object]:
    """A geometry of GeoJSON."""
    return {"type": "Polygon", "coordinates": [ring]}


def collection(*geometries: object, **more: object) -> str:
    """Geometries as a text of GeoJSON, with whatever else it is to say."""
    features = [
        {"type": "Feature", "properties": {"name": f"n{i}"}, "geometry": geometry}
        for i, geometry in enumerate(geometries or (polygon(),))
    ]
    return json.dumps({"type": "FeatureCollection", **more, "features": features})


Command = list[str]


@dataclass(frozen=True)
class Known:
    """Sound files that go along with a hostile one."""

    folder: str
    boundary: str
    log: str


def _toml(value: object) -> str:
    return json.dumps(str(value), ensure_ascii=True)


def season_text(known: Known, **lines: str) -> str:
    """A season of one field and one operation, with lines of it replaced."""
    given = {
        "boundary": f"boundary = {{ file = {_toml(known.boundary)} }}",
        "tracks": f"tracks = [ {_toml(known.log)} ]",
        "field": "",
        "operation": "",
        "top": "",
        **lines,
    }
    return "\n".join(
        (
            given["top"],
            '[[product]]\nname = "18-46-0"',
            '[[implement]]\nname = "drill"\nwidth = "6.096 m"\nrows = 8\nrows_per_tower = 4',
            f'[[field]]\nname = "Home"\n{given["boundary"]}\n{given["field"]}',
            '[[operation]]\nname = "Seeding"\nfield = "Home"\nimplement = "drill"',
            f"date = 2026-04-14\n{given['tracks']}\n{given['operation']}",
            'products = [ { product = "18-46-0", rate = "100 kg/ha" } ]\n',
        )
    )


def _season(place: Path, known: Known, **lines: str) -> str:
    name = f"season-{'-'.join(lines)}.toml"
    (place / name).write_text(season_text(known, **lines))
    return name


_PADDOCKS = """
[[product]]
name = "clover"
kind = "seed"
[[implement]]
name = "drill"
width = "6.096 m"
rows = 8
[[herd]]
class = "cows"
head = 40
weight = "1200 lb"
intake = 2.6
[grazing]
start = 2026-08-04
rest = "35 days"
forage = "1800 lb/ac"
growth = "20 lb/ac/day"
utilization = 50
[seeding]
product = "clover"
implement = "drill"
rate = "10 lb/ac"
on_hand = "420 lb"
hours = "6 h"
"""

OUT = ["--out", "../place/out", "--quiet"]
ALONE = ["--jobs", "1"]
WIDTH = ["--width", "6.096 m"]


def _whatever(name: str, place: Path) -> list[Command]:
    """Commands that take any file; of a folder they would read all that is in it."""
    return [["check", name], ["gather", name, *OUT]] if os.path.isfile(place / name) else []


def _as_map(name: str, place: Path, known: Known) -> list[Command]:
    log = ["--tracks", known.log, *WIDTH]
    boundary = ["--boundary", known.boundary]
    file = f"{{ file = {_toml(name)} }}"
    near = f'{{ file = {_toml(name)}, distance = "100 ft" }}'
    (place / "season-paddocks.toml").write_text(_PADDOCKS + f"[paddocks]\nfile = {_toml(name)}\n")
    return [
        *_whatever(name, place),
        ["check", _season(place, known, boundary=f"boundary = {file}")],
        ["audit", "--boundary", name, *log, *ALONE, *OUT],
        ["check", _season(place, known, field=f"unworkable = {file}")],
        ["passes", "--boundary", name, *WIDTH, *OUT],
        ["check", _season(place, known, zones="", field=f"zones = {file}")],
        ["audit", "--tracks", name, *WIDTH, *ALONE, *OUT],
        ["check", _season(place, known, setbacks="", field=f"setbacks = {near}")],
        ["finish", "--boundary", name, *log, "--rate", "100 kg/ha", "--left", "90 kg", *OUT],
        ["check", _season(place, known, tracks=f"tracks = [ {_toml(name)} ]")],
        ["audit", *boundary, *log, "--zones", name, *ALONE, *OUT],
        ["audit", *boundary, *log, "--unworkable", name, *ALONE, *OUT],
        [
            *("audit", *boundary, *log, "--setbacks", name, "--setback-distance", "100 ft"),
            *(*ALONE, *OUT),
        ],
        ["audit", *boundary, *log, "--blockages", name, *ALONE, *OUT],
        ["interseed", "season-paddocks.toml", *OUT],
        [
            *("export", _season(place, known, boundary=f"boundary = {file}")),
            *("--out", "../place/plan.zip"),
        ],
    ]


def _as_log(name: str, place: Path, known: Known) -> list[Command]:
    return [
        *_whatever(name, place),
        ["check", _season(place, known, tracks=f"tracks = [ {_toml(name)} ]")],
        ["audit", "--boundary", known.boundary, "--tracks", name, *WIDTH, *ALONE, *OUT],
        ["audit", "--tracks", name, *WIDTH, *ALONE, *OUT],
        [
            *("finish", "--boundary", known.boundary, "--tracks", name, *WIDTH),
            *("--rate", "100 kg/ha", "--left", "90 kg", *OUT),
        ],
    ]


def _as_taskdata(name: str, place: Path, known: Known) -> list[Command]:
    return [
        *_whatever(name, place),
        ["audit", name, *WIDTH, *ALONE, *OUT],
        ["audit", "--boundary", known.boundary, "--tracks", name, *WIDTH, *ALONE, *OUT],
        ["finish", name, "--left", "90 kg", *OUT],
    ]


def _as_season(name: str, place: Path, known: Known) -> list[Command]:
    return [
        *_whatever(name, place),
        ["audit", name, *ALONE, *OUT],
        ["interseed", name, *OUT],
        ["passes", name, *OUT],
        ["export", name, "--out", "../place/plan.zip"],
        ["finish", name, "--left", "90 kg", *OUT],
        ["calibrate", "--season", name, *CATCH, "--no-book"],
    ]


CATCH = [
    *("--product", "18-46-0", "--setting", "42", "--catch", "10.2 10.4 10.3 lb"),
    *("--area", "0.1 ac", "--target", "110 lb/ac"),
]


def _as_plan(name: str, place: Path, known: Known) -> list[Command]:
    return [["audit", _season(place, known, top=""), "--plan", name, *ALONE, *OUT]]


def _as_tickets(name: str, place: Path, known: Known) -> list[Command]:
    named = f"loads = {_toml(name)}"
    return [
        *_whatever(name, place),
        ["audit", _season(place, known, operation=named), *ALONE, *OUT],
        ["check", _season(place, known, operation=named)],
        [
            *("finish", "--boundary", known.boundary, "--tracks", known.log, *WIDTH),
            *("--rate", "100 kg/ha", "--loads", name, *OUT),
        ],
    ]


def _as_rain(name: str, place: Path, known: Known) -> list[Command]:
    paddock = f"[[paddock]]\nname = 'Home'\nboundary = {_toml(known.boundary)}\n"
    past = f'rain = {_toml(name)}\nrain_that_stops = "5 mm"\n'
    (place / "season-rain.toml").write_text(_PADDOCKS + past + paddock)
    return [
        *_whatever(name, place),
        ["check", "season-rain.toml"],
        ["interseed", "season-rain.toml", *OUT],
    ]


def _as_blockages(name: str, place: Path, known: Known) -> list[Command]:
    return [
        *_whatever(name, place),
        ["check", _season(place, known, operation=f"blockages = {_toml(name)}")],
        [
            *("audit", "--boundary", known.boundary, "--tracks", known.log, *WIDTH),
            *("--rows", "8", "--rows-per-tower", "4", "--blockages", name, *ALONE, *OUT),
        ],
    ]


def _as_book(name: str, place: Path, known: Known) -> list[Command]:
    return [
        ["calibrate", "--lookup", *CATCH[:2], *CATCH[-2:], "--book", name],
        ["calibrate", *CATCH, "--book", name],
    ]


ROLES: dict[str, Callable[[str, Path, Known], list[Command]]] = {
    "map": _as_map,
    "log": _as_log,
    "task data": _as_taskdata,
    "season": _as_season,
    "plan": _as_plan,
    "tickets": _as_tickets,
    "rain": _as_rain,
    "blockages": _as_blockages,
    "book": _as_book,
}
