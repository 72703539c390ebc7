"""Elements of task data version 4, as other readers expect them."""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree.ElementTree import Element, SubElement, indent, tostring

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre import __version__
from evenacre.geo.local_crs import wrapped
from evenacre.io.maps.repair import geodesic_area_m2
from evenacre.model import Field
from evenacre.shown_text import shown

TREATMENT_ZONE = "2"
_BOUNDARY, _OBSTACLE = "1", "6"
_OUTER, _INNER = "1", "2"
_OTHER_POINT = "2"
_NAME_LENGTH = 32
_FARM = "FRM1"
SOFTWARE = "Evenacre"
FROM_OFFICE = "1"
"""Origin of task data that no machine has worked with yet."""


def root_element(farm: str) -> Element:
    """Begin a set of task data, with a farm unless its name is empty."""
    root = Element(
        "ISO11783_TaskData",
        VersionMajor="4",
        VersionMinor="3",
        ManagementSoftwareManufacturer=SOFTWARE,
        ManagementSoftwareVersion=__version__,
        DataTransferOrigin=FROM_OFFICE,
    )
    if farm:
        SubElement(root, "FRM", A=_FARM, B=name(farm))
    return root


def farm_reference(root: Element, attribute: str) -> dict[str, str]:
    """Return the attribute by which an element names the farm, if there is one."""
    return {} if root.find("FRM") is None else {attribute: _FARM}


def to_bytes(root: Element) -> bytes:
    """Write a tree as an XML file."""
    indent(root)
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, "utf-8") + b"\n"


def name(words: str) -> str:
    """Cut a name to what the format holds, without characters XML cannot."""
    return shown(" ".join(words.split()))[:_NAME_LENGTH].rstrip()


def ids(kind: str, names: Iterable[str]) -> dict[str, str]:
    """Give each name an identity of a kind of element."""
    return {name: f"{kind}{number}" for number, name in enumerate(dict.fromkeys(names), start=1)}


def add_polygons(above: Element, ground: BaseGeometry, kind: str) -> None:
    """Add an area: a PLN for each of its parts, holes as inner rings."""
    for part in shapely.get_parts(ground):
        polygon = SubElement(above, "PLN", A=kind)
        rings = [(part.exterior, _OUTER), *((hole, _INNER) for hole in part.interiors)]
        for ring, ring_kind in rings:
            line = SubElement(polygon, "LSG", A=ring_kind)
            for lon, lat in shapely.get_coordinates(ring):
                add_point(line, _OTHER_POINT, lon, lat)


def add_point(line: Element, kind: str, lon: float, lat: float) -> None:
    """Add a point; its longitude may run on past the antimeridian."""
    east = float(wrapped(np.array(lon)))
    SubElement(line, "PNT", A=kind, C=f"{lat:.9f}", D=f"{east:.9f}")


def add_field(root: Element, identity: str, field: Field, boundary: BaseGeometry) -> Element:
    """Add a field with its boundary and unworkable ground, and return its element."""
    place = SubElement(
        root,
        "PFD",
        A=identity,
        C=name(field.name),
        D=f"{geodesic_area_m2(boundary):.0f}",
        **farm_reference(root, "F"),
    )
    add_polygons(place, boundary, _BOUNDARY)
    if field.unworkable is not None:
        add_polygons(place, field.unworkable, _OBSTACLE)
    return place
