"""The places to go back to, as waypoints a phone or a guidance display can take."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree as ET

import pandas as pd

from evenacre import __version__

_GPX = "http://www.topografix.com/GPX/1/1"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"
_DEGREE_DIGITS = 7


def write_gpx(path: Path, stops: pd.DataFrame) -> None:
    """Write GPX 1.1 waypoints in the order of the list.

    Parameters
    ----------
    path : Path
    stops : DataFrame
        As in :class:`evenacre.deliverables.Deliverables`; may be empty.
    """
    root = ET.Element(
        "gpx",
        {
            "version": "1.1",
            "creator": f"Evenacre {__version__}",
            "xmlns": _GPX,
            "xmlns:xsi": _XSI,
            "xsi:schemaLocation": f"{_GPX} {_GPX}/gpx.xsd",
        },
    )
    for stop in stops.to_dict("records"):
        point = ET.SubElement(
            root, "wpt", {"lat": _degrees(stop["lat"]), "lon": _degrees(stop["lon"])}
        )
        ET.SubElement(point, "name").text = _xml_text(stop["name"])
        ET.SubElement(point, "desc").text = _xml_text(
            f"{stop['field']}, {stop['operation']}. {stop['advice']}"
        )
        ET.SubElement(point, "type").text = _xml_text(stop["kind"])
    ET.indent(root)
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)


def write_geojson(path: Path, stops: pd.DataFrame) -> None:
    """Write the same stops as GeoJSON points (RFC 7946)."""
    features = [
        {
            "type": "Feature",
            "geometry": {
                "type": "Point",
                "coordinates": [round(s["lon"], _DEGREE_DIGITS), round(s["lat"], _DEGREE_DIGITS)],
            },
            "properties": {
                "name": s["name"],
                "kind": s["kind"],
                "cause": s["cause"],
                "field": s["field"],
                "operation": s["operation"],
                "advice": s["advice"],
                "area_m2": round(s["area_m2"], 3),
                "mean_width_m": round(s["mean_width_m"], 3),
                "length_m": round(s["length_m"], 3),
            },
        }
        for s in stops.to_dict("records")
    ]
    text = json.dumps(
        {"type": "FeatureCollection", "features": features},
        ensure_ascii=False,
        allow_nan=False,
        indent=1,
    )
    path.write_text(text + "\n", encoding="utf-8")


def _degrees(value: float) -> str:
    return f"{value:.{_DEGREE_DIGITS}f}"


def _xml_text(text: str) -> str:
    """Drop the control characters that XML 1.0 cannot hold."""
    return "".join(c for c in str(text) if c >= " " or c in "\t\n\r")
