"""Elements of task data version 4, as other readers expect them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from xml.etree.ElementTree import Element, SubElement, indent, tostring

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre import __version__
from evenacre.geo.geodesy import geodesic_area_m2, wrapped
from evenacre.io.taskdata import ddis
from evenacre.model import Field
from evenacre.shown_text import shown

BOUNDARY, TREATMENT_ZONE, OBSTACLE = "1", "2", "6"
_OUTER, _INNER = "1", "2"
_OTHER_POINT = "2"
_PLANNED = "1"
_NAME_LENGTH = 32
FARM = "FRM1"
SOFTWARE = "Evenacre"
FROM_OFFICE = "1"
"""Origin of task data that no machine has worked with yet."""
OUTSIDE = 0
"""Code of the zone for ground where nothing is planned."""


def root_element() -> Element:
    """Begin a set of task data."""
    return Element(
        "ISO11783_TaskData",
        VersionMajor="4",
        VersionMinor="3",
        ManagementSoftwareManufacturer=SOFTWARE,
        ManagementSoftwareVersion=__version__,
        DataTransferOrigin=FROM_OFFICE,
    )


def to_bytes(root: Element) -> bytes:
    """Write a tree as an XML file."""
    indent(root)
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, "utf-8") + b"\n"


def name(words: str) -> str:
    """Cut a name to what the format holds, without characters XML cannot."""
    return shown(" ".join(words.split()))[:_NAME_LENGTH].rstrip()


def add_polygons(above: Element, ground: BaseGeometry, kind: str) -> None:
    """Add an area: a PLN for each of its parts, holes as inner rings."""
    for part in shapely.get_parts(ground):
        polygon = SubElement(above, "PLN", A=kind)
        _add_ring(polygon, part.exterior, _OUTER)
        for hole in part.interiors:
            _add_ring(polygon, hole, _INNER)


def _add_ring(polygon: Element, ring: BaseGeometry, kind: str) -> None:
    line = SubElement(polygon, "LSG", A=kind)
    lon, lat = shapely.get_coordinates(ring).T
    for east, north in zip(wrapped(lon), lat, strict=True):
        add_point(line, _OTHER_POINT, east, north)


def add_point(line: Element, kind: str, east_deg: float, north_deg: float) -> None:
    """Add a point."""
    SubElement(line, "PNT", A=kind, C=_degrees(north_deg), D=_degrees(east_deg))


def _degrees(value: float) -> str:
    return f"{value:.9f}"


def add_field(root: Element, identity: str, field: Field, boundary: BaseGeometry) -> Element:
    """Add a field with its boundary and unworkable ground, and return its element."""
    plot = SubElement(
        root, "PFD", A=identity, C=name(field.name), D=f"{geodesic_area_m2(boundary):.0f}"
    )
    if root.find("FRM") is not None:
        plot.set("F", FARM)
    add_polygons(plot, boundary, BOUNDARY)
    if field.unworkable is not None:
        add_polygons(plot, field.unworkable, OBSTACLE)
    return plot


def add_task(root: Element, identity: str, words: str, plot: str, default: int) -> Element:
    """Add a planned task on a field; what lies outside of it gets nothing."""
    task = SubElement(root, "TSK", A=identity, B=name(words))
    if root.find("FRM") is not None:
        task.set("D", FARM)
    task.set("E", plot)
    task.set("G", _PLANNED)
    for key, code in (("H", default), ("I", OUTSIDE), ("J", OUTSIDE)):
        task.set(key, str(code))
    return task


def add_zone(
    task: Element,
    code: int,
    words: str,
    kg_per_m2: Mapping[str, float],
    ground: BaseGeometry | None = None,
) -> None:
    """Add a treatment zone and what it should get of each product, by id."""
    zone = SubElement(task, "TZN", A=str(code), B=name(words))
    if ground is not None:
        add_polygons(zone, ground, TREATMENT_ZONE)
    for product, rate in kg_per_m2.items():
        steps = round(rate / ddis.KG_PER_M2)
        SubElement(zone, "PDV", A=f"{ddis.SETPOINT_RATE:04X}", B=str(steps), C=product)


def add_grid(
    task: Element,
    corner: tuple[float, float],
    cell: tuple[float, float],
    steps: np.ndarray,
    code: int,
    file: str,
) -> Iterator[tuple[str, bytes]]:
    """Add a grid of values.

    Parameters
    ----------
    corner, cell : (float, float)
        Outer corner in the south-west and size of a cell, degrees east and north.
    steps : (rows, columns) int
        mg per m2, rows from the south.
    code : int
        The zone that says what the values are.
    file : str
        Name without ending.

    Yields
    ------
    name and bytes of the file of cells
    """
    data = np.ascontiguousarray(steps, dtype="<i4").tobytes()
    rows, columns = steps.shape
    SubElement(
        task,
        "GRD",
        A=_degrees(corner[1]),
        B=_degrees(float(wrapped(np.array([corner[0]]))[0])),
        C=f"{cell[1]:.12f}",
        D=f"{cell[0]:.12f}",
        E=str(columns),
        F=str(rows),
        G=file,
        H=str(len(data)),
        I="2",
        J=str(code),
    )
    yield f"{file}.BIN", data
