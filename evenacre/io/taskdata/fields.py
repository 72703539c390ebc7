"""Fields (PFD) with their boundaries, unworkable ground and guidance lines."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree.ElementTree import Element

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.geo.geodesy import WGS84_GEOD
from evenacre.geo.overlay import only_polygons
from evenacre.io.common.findings import Findings
from evenacre.io.maps.field_layers import check_reach
from evenacre.io.taskdata.element_types import GuidanceLine, PlotRecord
from evenacre.io.taskdata.shapes import areas, points
from evenacre.io.taskdata.tree import by_id, named, number, text
from evenacre.model import Field, FloatArray

_BOUNDARY = {"1"}
# Water, buildings, roads, obstacles, windbreaks.
_UNWORKABLE = {"3", "4", "5", "6", "12"}
# What some exporters use for the outline: flag, other, main field and headland.
_STAND_INS = ({"9", "10"}, {"8"}, {"7"})
_KINDS = {"1": "straight", "2": "straight", "3": "curve", "4": "pivot", "5": "spiral"}
_FROM_POINT_AND_HEADING = "2"
_PATH_LINE = "5"
_SHOWN_M = 100.0


def read_plots(root: Element, label: str, findings: Findings) -> dict[str, PlotRecord]:
    """Read every field, by id in file order."""
    plots: dict[str, PlotRecord] = {}
    for identity, element in by_id(root, "PFD"):
        name = named(element, identity, "C")
        about = f'{label}, field "{name}"'
        plots[identity] = PlotRecord(
            identity, _field(element, name, about, findings), _guidance(element, about, findings)
        )
    return plots


def _field(element: Element, name: str, about: str, findings: Findings) -> Field:
    polygons = element.findall("PLN")
    boundary = None
    for kinds in (_BOUNDARY, *_STAND_INS):
        chosen = [p for p in polygons if text(p, "A") in kinds]
        boundary = areas(chosen, about, "boundary", findings)
        if boundary is not None:
            if kinds is not _BOUNDARY:
                findings.warn(
                    f"{about}: none of its outlines is marked as the boundary; the one marked "
                    "otherwise was taken."
                )
            break
    obstacles = areas(
        [p for p in polygons if text(p, "A") in _UNWORKABLE], about, "obstacle", findings
    )
    if boundary is not None:
        try:
            outline = gpd.GeoDataFrame(geometry=[boundary], index=[1], crs=4326)
            for doubt in check_reach(outline, about, "field"):
                findings.warn(doubt)
        except InputError as error:
            findings.warn(f"{error.problems[0]} Its boundary was left out.")
            boundary = None
    return Field(name, boundary, _inside(obstacles, boundary, about, findings))


def _inside(
    obstacles: BaseGeometry | None, boundary: BaseGeometry | None, about: str, findings: Findings
) -> BaseGeometry | None:
    if obstacles is None or boundary is None:
        return obstacles
    inside = only_polygons(shapely.intersection(obstacles, boundary))
    if inside.is_empty:
        return None
    if inside.covers(boundary):
        findings.warn(f"{about}: its obstacles cover the whole field and were left out.")
        return None
    return inside


def _guidance(element: Element, about: str, findings: Findings) -> tuple[GuidanceLine, ...]:
    return tuple(_patterns(element, about, findings))


def _patterns(element: Element, about: str, findings: Findings) -> Iterator[GuidanceLine]:
    for group in element.findall("GGP"):
        for pattern in group.findall("GPN"):
            name = named(pattern, named(group, text(pattern, "A")))
            kind = _KINDS.get(text(pattern, "C"), "path")
            for line in pattern.findall("LSG"):
                lonlat = points(line, about, findings)
                if text(pattern, "C") == _FROM_POINT_AND_HEADING and len(lonlat) == 1:
                    lonlat = _along(lonlat, number(pattern, "G"))
                yield from _line(name, kind, lonlat, about, findings)
    # Version 3 keeps guidance lines among the other lines of the field.
    for line in element.findall("LSG"):
        if text(line, "A") == _PATH_LINE:
            lonlat = points(line, about, findings)
            yield from _line(named(line, "guidance line"), "path", lonlat, about, findings)


def _along(start: FloatArray, heading_deg: float) -> FloatArray:
    """Draw a point and a heading as a short line."""
    lon, lat, _ = WGS84_GEOD.fwd(start[0, 0], start[0, 1], heading_deg, _SHOWN_M)
    return np.vstack([start, [[lon, lat]]]) if np.isfinite([lon, lat]).all() else start


def _line(
    name: str, kind: str, lonlat: FloatArray, about: str, findings: Findings
) -> Iterator[GuidanceLine]:
    if len(lonlat) < 2:
        findings.warn(f'{about}: the guidance line "{name}" has fewer than two points; left out.')
        return
    yield GuidanceLine(name, kind, shapely.LineString(lonlat))
