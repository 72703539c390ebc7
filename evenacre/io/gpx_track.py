"""Tracks from GPX files."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

import numpy as np
import pyarrow as pa
from defusedxml import DefusedXmlException
from defusedxml.ElementTree import parse

from evenacre.errors import InputError
from evenacre.io.columns import plan_columns
from evenacre.io.order import nominal_clock
from evenacre.io.positions import to_degrees
from evenacre.io.records import build_tracks
from evenacre.io.table import Findings, Table
from evenacre.model import IntArray, Track

# GPX 1.0 and the common point extensions give speed in metres per second.
_NAMES = {"speed": "speed (m/s)", "course": "course (deg)"}
_OWN = {"lon": "lon", "lat": "lat", "time": "time", "speed": "speed (m/s)"}
_UNUSED = {"ele", "magvar", "geoidheight", "fix", "sat", "hdop", "vdop", "pdop", "extensions"}


def read_gpx_tracks(path: Path, columns: Mapping[str, str], time_zone: str | None) -> list[Track]:
    """Read the track points of a GPX file, with their time, speed and extensions.

    Parameters
    ----------
    path : Path
    columns : mapping of str to str
        Role to element name, for extensions.
    time_zone : str or None
        Zone of times that name none (the standard wants UTC).

    Raises
    ------
    InputError
        When it is not a GPX file with track points.
    """
    findings = Findings()
    try:
        root = parse(path).getroot()
    except ParseError as error:
        line, _ = error.position
        raise InputError.at(
            path.name, f"line {line:,}", "the file is damaged or breaks off.", "Export it again."
        ) from None
    except DefusedXmlException:
        raise InputError.at(
            path.name,
            "",
            "the file defines entities, which no log needs and which can do harm.",
            "Export it again with another program.",
        ) from None
    table, segments = _table(root, path.name)
    # These are the standard's own: nothing is guessed.
    own = {role: name for role, name in _OWN.items() if name in table.names}
    plan = plan_columns(table, own | dict(columns), findings)
    lon, lat = to_degrees(
        table.numbers("lon", "lon", findings),
        table.numbers("lat", "lat", findings),
        None,
        path.name,
        "track points",
        findings,
        labelled=True,
    )
    clock = None if plan.get("time") else nominal_clock(path.name, lon, lat, segments, findings)
    return build_tracks(table, lon, lat, plan, time_zone, findings, clock=clock)


def _table(root: Any, file: str) -> tuple[Table, IntArray]:
    """Track points as a table of text, and the number of the segment each is in."""
    rows: list[dict[str, str]] = []
    segments: list[int] = []
    for number, segment in enumerate(root.iterfind(".//{*}trkseg")):
        for point in segment.iterfind("{*}trkpt"):
            row = {"lon": point.get("lon", ""), "lat": point.get("lat", "")}
            for element in point.iterfind(".//*"):
                if element.text and (name := element.tag.rpartition("}")[2]) not in _UNUSED:
                    row.setdefault(_NAMES.get(name, name), element.text)
            rows.append(row)
            segments.append(number)
    if not rows:
        other = "waypoints or routes" if root.find("{*}wpt") is not None else "nothing"
        raise InputError.at(
            file, "", f"there are no track points in it, but {other}.", "Export the track itself."
        )
    names = dict.fromkeys(name for row in rows for name in row)
    data = pa.table(
        {name: pa.array([row.get(name) for row in rows], pa.string()) for name in names}
    )
    return (
        Table(file, data, lambda row: f"track point {row + 1:,}"),
        np.array(segments, dtype=np.int64),
    )
