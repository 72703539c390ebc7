"""GPX 1.1 files: places to go back to, and passes to drive."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import BinaryIO
from xml.etree.ElementTree import Element, ElementTree, SubElement, indent

import pandas as pd
from shapely.geometry.base import BaseGeometry

from evenacre import __version__
from evenacre.shown_text import shown

GPX = "http://www.topografix.com/GPX/1/1"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"


def write_waypoints(path: Path | BinaryIO, stops: pd.DataFrame) -> None:
    """Write waypoints in the order of a fix list (:class:`evenacre.model.outputs.Deliverables`)."""
    root = _root()
    for stop in stops.to_dict("records"):
        point = _add_point(root, "wpt", stop["lon"], stop["lat"])
        advice = f"{stop['field']}, {stop['operation']}. {stop['advice']}"
        for key, text in (("name", stop["name"]), ("desc", advice), ("type", stop["kind"])):
            _add_text(point, key, text)
    _write(path, root)


def write_drives(
    path: Path | BinaryIO, drives: Iterable[tuple[str, Sequence[BaseGeometry]]]
) -> None:
    """Write a track for each field, with a segment for each of its lines in their order."""
    root = _root()
    for name, lines in drives:
        track = SubElement(root, "trk")
        _add_text(track, "name", name)
        for line in lines:
            segment = SubElement(track, "trkseg")
            for lon, lat in line.coords:
                _add_point(segment, "trkpt", lon, lat)
    _write(path, root)


def _root() -> Element:
    return Element(
        "gpx",
        {
            "version": "1.1",
            "creator": f"Evenacre {__version__}",
            "xmlns": GPX,
            "xmlns:xsi": _XSI,
            "xsi:schemaLocation": f"{GPX} {GPX}/gpx.xsd",
        },
    )


def _add_point(above: Element, kind: str, lon: float, lat: float) -> Element:
    return SubElement(above, kind, {"lat": f"{lat:.7f}", "lon": f"{lon:.7f}"})  # to 1 cm


def _add_text(above: Element, key: str, text: str) -> None:
    """Add text without what XML 1.0 cannot hold."""
    SubElement(above, key).text = shown(text)


def _write(path: Path | BinaryIO, root: Element) -> None:
    indent(root)
    ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)
