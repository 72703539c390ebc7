"""Tracks from GPX files."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from xml.etree.ElementTree import ParseError

from defusedxml import DefusedXmlException

from evenacre.errors import InputError
from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.column_roles import plan_columns
from evenacre.io.logs.columns.positions import to_degrees
from evenacre.io.logs.columns.records_table import Findings
from evenacre.io.logs.formats.gpx_parser import parse_points
from evenacre.io.logs.nominal_times import nominal_clock
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_whole
from evenacre.model import Track

_OWN = {"lon": "lon", "lat": "lat", "time": "time", "speed": "speed (m/s)"}


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
        content = read_whole(path)
        budget.check_count(content, b"<", budget.TAGS, path.name)
        points = parse_points(content)
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
    except (LookupError, ValueError):
        raise InputError.at(
            path.name, "line 1", "its encoding is not known.", "Save it as UTF-8."
        ) from None
    if not points.segments:
        other = "waypoints or routes" if points.waypoints else "nothing"
        raise InputError.at(
            path.name,
            "",
            f"there are no track points in it, but {other}.",
            "Export the track itself.",
        )
    table, segments = points.table(path.name, findings)
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
