"""Tracks from GPX files, whose points are picked out as they are parsed."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from xml.etree.ElementTree import ParseError, XMLParser

import numpy as np
import pyarrow as pa
from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.common.receiver_words import note_receiver, receiver_said
from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.column_roles import plan_columns
from evenacre.io.logs.columns.columns_read import Seen
from evenacre.io.logs.columns.positions import checked_degrees
from evenacre.io.logs.formats.runs import nominal_clock
from evenacre.io.tables.record_table import RecordTable
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import narrowed, read_whole
from evenacre.language import tr, trn
from evenacre.model import IntArray, Track

_OWN = {"lon": "lon", "lat": "lat", "time": "time", "speed": "speed (m/s)"}
# GPX 1.0 and the common point extensions give speed in metres per second.
_NAMES = {"speed": "speed (m/s)", "course": "course (deg)"}
_UNUSED = {"ele", "magvar", "geoidheight", "sat", "vdop", "pdop", "extensions"}
# Every name is a column as long as the track, so a file of ever new names could fill any memory.
_MOST_NAMES = 200
_CHUNK = 1 << 20
_DECLARATION = re.compile(rb"<\?xml[^>]*\?>")


def read_gpx_tracks(
    path: Path, columns: Mapping[str, str], time_zone: str | None, seen: Seen | None = None
) -> list[Track]:
    """Read the track points of a GPX file, with their time, speed and extensions.

    ``columns`` names elements of extensions; times that name no zone should be UTC.
    """
    findings = Findings()
    try:
        content = _narrow(read_whole(path))
        budget.check_count(content, b"<", budget.TAGS, path.name)
        points = _parse_points(content)
    except ParseError as error:
        line, _ = error.position
        raise InputError.at(
            path.name,
            tr("line {line:,}", line=line),
            tr("the file is damaged or breaks off."),
            tr("Export it again."),
        ) from None
    except DefusedXmlException:
        raise InputError.at(
            path.name,
            "",
            tr("the file defines entities, which no log needs and which can do harm."),
            tr("Export it again with another program."),
        ) from None
    except (LookupError, ValueError):
        raise InputError.at(
            path.name, tr("line 1"), tr("its encoding is not known."), tr("Save it as UTF-8.")
        ) from None
    if not points.segments:
        other = "waypoints or routes" if points.waypoints else "nothing"
        raise InputError.at(
            path.name,
            "",
            tr("there are no track points in it, but {other}.", other=other),
            tr("Export the track itself."),
        )
    table, segments = points.table(path.name, findings)
    # These are the standard's own: nothing is guessed.
    own = {role: name for role, name in _OWN.items() if name in table.names}
    plan = plan_columns(table, own | dict(columns), findings, seen=seen)
    lon, lat = (table.numbers(name, name, findings) for name in ("lon", "lat"))
    lon, lat = checked_degrees(lon, lat, path.name, "track points", findings)
    clock = None if plan.get("time") else nominal_clock(path.name, lon, lat, segments, findings)
    if receiver := receiver_said(points.creator):
        note_receiver(receiver, path.name, points.creator, findings)
    return build_tracks(table, lon, lat, plan, time_zone, findings, clock=clock, receiver=receiver)


class _Points:
    """What an XML parser finds of track points, in file order."""

    def __init__(self) -> None:
        self.segments: list[int] = []  # number of the segment of each point
        self.creator = ""  # of the file, as it says itself
        self.waypoints = False  # whether the file has some
        self._lon: list[str] = []
        self._lat: list[str] = []
        self._columns: dict[str, tuple[list[int], list[str]]] = {}
        self._left_out: set[str] = set()
        self._local: dict[str, str] = {}
        self._segment, self._inside, self._point = -1, False, False
        self._leaf = False
        self._text: list[str] = []
        # The parser calls this for every piece of text; the list's own method is fastest.
        self.data: Callable[[str], None] = self._text.append

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Begin an element."""
        name = self._local.get(tag) or self._local.setdefault(tag, tag.rpartition("}")[2])
        if self._point:
            self._leaf = True
        elif name == "trkpt" and self._inside:
            self._point = True
            self._lon.append(attributes.get("lon", ""))
            self._lat.append(attributes.get("lat", ""))
            self.segments.append(self._segment)
        elif name == "trkseg":
            self._segment, self._inside = self._segment + 1, True
        elif name == "wpt":
            self.waypoints = True
        elif name == "gpx":
            self.creator = attributes.get("creator", "")
        self._text.clear()

    def end(self, tag: str) -> None:
        """End an element; only one without others inside it holds a value."""
        if self._leaf:
            self._leaf = False
            name = self._local[tag]
            if self._text and name not in _UNUSED:
                self._keep(_NAMES.get(name, name), "".join(self._text))
        elif self._local[tag] == "trkpt":
            self._point = False
        elif self._local[tag] == "trkseg":
            self._inside = False
        self._text.clear()

    def close(self) -> None:
        """End the document."""

    def _keep(self, name: str, text: str) -> None:
        column = self._columns.get(name)
        if column is None:
            if len(self._columns) >= _MOST_NAMES:
                self._left_out.add(name)
                return
            column = self._columns[name] = ([], [])
        rows, texts = column
        row = len(self._lon) - 1
        if not rows or rows[-1] != row:
            rows.append(row)
            texts.append(text)

    def table(self, file: str, findings: Findings) -> tuple[RecordTable, IntArray]:
        """Points as a table of text, and the number of the segment each is in."""
        if self._left_out:
            findings.warn(
                tr(
                    "{file}: its points hold more than {most_names} kinds of value; {kinds} "
                    "of them are not read.",
                    file=file,
                    most_names=_MOST_NAMES,
                    kinds=trn("{count:,} kind", "{count:,} kinds", len(self._left_out)),
                )
            )
        data = {"lon": pa.array(self._lon, pa.string()), "lat": pa.array(self._lat, pa.string())}
        for name, (rows, texts) in self._columns.items():
            which = np.full(len(self._lon), -1, dtype=np.int64)
            which[rows] = np.arange(len(rows))
            places = pa.array(which, mask=which < 0)
            data.setdefault(name, pa.array(texts, pa.string()).take(places))
        return (
            RecordTable(file, pa.table(data), lambda row: f"track point {row + 1:,}"),
            np.array(self.segments, dtype=np.int64),
        )


def _narrow(content: bytes) -> bytes:
    """Text of two bytes a sign as UTF-8, without the declaration that says otherwise."""
    text = narrowed(content)
    return text if text is content else _DECLARATION.sub(b"", text)


def _parse_points(content: bytes) -> _Points:
    # Entities can be defined before the first element only. The guard that looks for them is
    # slow, so it reads up to there and the plain parser, which fetches nothing, reads the rest.
    next(iterparse(io.BytesIO(content), events=("start",)), None)
    points = _Points()
    parser = XMLParser(target=points)
    for start in range(0, len(content), _CHUNK):
        parser.feed(content[start : start + _CHUNK])
    parser.close()
    return points
