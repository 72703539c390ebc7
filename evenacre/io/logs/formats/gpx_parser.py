"""Track points picked out of GPX as it is parsed, without keeping its tree."""

from __future__ import annotations

import io
from collections.abc import Callable
from xml.etree.ElementTree import XMLParser

import numpy as np
import pyarrow as pa
from defusedxml.ElementTree import iterparse

from evenacre.io.logs.columns.records_table import Findings, Table, counted
from evenacre.model import IntArray

# GPX 1.0 and the common point extensions give speed in metres per second.
_NAMES = {"speed": "speed (m/s)", "course": "course (deg)"}
_UNUSED = {"ele", "magvar", "geoidheight", "fix", "sat", "hdop", "vdop", "pdop", "extensions"}
# Every name is a column as long as the track, so a file of ever new names could fill any memory.
_MOST_NAMES = 200
_CHUNK = 1 << 20


class Points:
    """What an XML parser finds of track points, in file order.

    Attributes
    ----------
    segments : list of int
        Number of the segment of each point.
    waypoints : bool
        True when the file has waypoints.
    """

    def __init__(self) -> None:
        self.segments: list[int] = []
        self.waypoints = False
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

    def table(self, file: str, findings: Findings) -> tuple[Table, IntArray]:
        """Points as a table of text, and the number of the segment each is in."""
        if self._left_out:
            findings.warn(
                f"{file}: its points hold more than {_MOST_NAMES} kinds of value; "
                f"{counted(len(self._left_out), 'kind')} of them are not read."
            )
        data = {"lon": pa.array(self._lon, pa.string()), "lat": pa.array(self._lat, pa.string())}
        for name, (rows, texts) in self._columns.items():
            which = np.full(len(self._lon), -1, dtype=np.int64)
            which[rows] = np.arange(len(rows))
            places = pa.array(which, mask=which < 0)
            data.setdefault(name, pa.array(texts, pa.string()).take(places))
        return (
            Table(file, pa.table(data), lambda row: f"track point {row + 1:,}"),
            np.array(self.segments, dtype=np.int64),
        )


def parse_points(content: bytes) -> Points:
    """Parse a GPX document.

    Raises
    ------
    defusedxml.DefusedXmlException
        When it defines entities.
    xml.etree.ElementTree.ParseError
        When it is damaged.
    """
    # Entities can be defined before the first element only. The guard that looks for them is
    # slow, so it reads up to there and the plain parser, which fetches nothing, reads the rest.
    next(iterparse(io.BytesIO(content), events=("start",)), None)
    points = Points()
    parser = XMLParser(target=points)
    for start in range(0, len(content), _CHUNK):
        parser.feed(content[start : start + _CHUNK])
    parser.close()
    return points
