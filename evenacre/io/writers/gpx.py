"""What every GPX 1.1 file that is written here has in common."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

from evenacre import __version__
from evenacre.shown_text import shown

_GPX = "http://www.topografix.com/GPX/1/1"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"
_DEGREE_DIGITS = 7  # 1 cm


def gpx_root() -> ET.Element:
    """Begin a file."""
    return ET.Element(
        "gpx",
        {
            "version": "1.1",
            "creator": f"Evenacre {__version__}",
            "xmlns": _GPX,
            "xmlns:xsi": _XSI,
            "xsi:schemaLocation": f"{_GPX} {_GPX}/gpx.xsd",
        },
    )


def add_point(above: ET.Element, kind: str, lon: float, lat: float) -> ET.Element:
    """Add a ``wpt``, ``rtept`` or ``trkpt``."""
    return ET.SubElement(above, kind, {"lat": _degrees(lat), "lon": _degrees(lon)})


def add_text(above: ET.Element, key: str, text: str) -> None:
    """Add text without what XML 1.0 cannot hold."""
    ET.SubElement(above, key).text = shown(text)


def write_root(path: Path, root: ET.Element) -> None:
    """Write the file."""
    ET.indent(root)
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)


def _degrees(value: float) -> str:
    return f"{value:.{_DEGREE_DIGITS}f}"
