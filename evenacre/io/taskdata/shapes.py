"""Points, lines and areas of task data as geometry in WGS 84 degrees."""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree.ElementTree import Element

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.geo.geodesy import unwrap
from evenacre.geo.overlay import only_polygons
from evenacre.io.common.findings import Findings, counted
from evenacre.io.maps.repair import to_polygons
from evenacre.io.taskdata.tree import number, text
from evenacre.model import FloatArray

INTERIOR = "2"
_RING_POINTS, _MOST_RING_POINTS = 3, 100_000
# Stretches of a sound outline come near a few others; those of a tangle near most.
_NEIGHBOURS, _SAMPLE = 60.0, 200


def points(line: Element, about: str, findings: Findings) -> FloatArray:
    """Longitude and latitude of the points of a line (LSG), (n, 2).

    Points without a usable position are left out with a warning.
    """
    found = line.findall("PNT")
    lonlat = np.array([(number(p, "D"), number(p, "C")) for p in found]).reshape(-1, 2)
    good = np.isfinite(lonlat).all(axis=1)
    good &= (np.abs(lonlat[:, 0]) <= 360) & (np.abs(lonlat[:, 1]) <= 90)
    if not good.all():
        binary = " (points kept in a binary file are not read)" if _binary(found) else ""
        findings.warn(
            f"{about}: left out {counted(int((~good).sum()), 'point')} without a usable "
            f"position{binary}."
        )
    return lonlat[good]


def _binary(found: Iterable[Element]) -> bool:
    return any(text(point, "J") for point in found)


def area(polygon: Element, about: str, findings: Findings) -> BaseGeometry | None:
    """Return the ground of one polygon (PLN), holes taken out; None when it encloses none.

    A polygon may have several outer rings (version 3 allows it), so holes are taken out of
    all of them together.
    """
    outer: list[BaseGeometry] = []
    inner: list[BaseGeometry] = []
    for line in polygon.findall("LSG"):
        ring = points(line, about, findings)
        if len(np.unique(ring, axis=0)) < _RING_POINTS:
            findings.warn(f"{about}: left out an outline of fewer than three points.")
            continue
        if len(ring) > _MOST_RING_POINTS or _tangled(ring):
            findings.warn(
                f"{about}: left out an outline of {len(ring):,} points that crosses itself over "
                "and over, or has more points than any field."
            )
            continue
        (inner if text(line, "A") == INTERIOR else outer).append(shapely.Polygon(ring))
    if not outer:
        return None
    if len(outer) == 1 and outer[0].is_valid and all(hole.is_valid for hole in inner):
        shape = shapely.Polygon(outer[0].exterior, [hole.exterior for hole in inner])
        if shape.is_valid:
            return shape
    whole = mended(outer, about, "outline", findings)
    holes = mended(inner, about, "hole", findings) if inner else None
    if whole is None or holes is None:
        return whole
    rest = only_polygons(shapely.difference(whole, holes))
    return None if rest.is_empty else rest


def _tangled(ring: FloatArray) -> bool:
    """Tell an outline that mending would take for ever: every part of it crosses many others."""
    steps = shapely.linestrings(np.stack([ring, np.roll(ring, -1, axis=0)], axis=1))
    some = steps[:: max(1, len(steps) // _SAMPLE)]
    hits = shapely.STRtree(steps).query(some)
    return hits.shape[1] > _NEIGHBOURS * len(some)


def mended(
    shapes: list[BaseGeometry], about: str, what: str, findings: Findings
) -> BaseGeometry | None:
    """Join areas into one sound area; None when they enclose no ground."""
    if not shapes:
        return None
    turned = unwrap(np.array(shapes, dtype=object))
    try:
        frame, warnings = to_polygons(
            gpd.GeoDataFrame(geometry=list(turned), crs="EPSG:4326"), about, what
        )
    except InputError:
        findings.warn(f"{about}: the {what} encloses no ground; left out.")
        return None
    for warning in warnings:
        findings.warn(warning)
    return only_polygons(shapely.union_all(frame.geometry.array))


def areas(
    polygons: Iterable[Element], about: str, what: str, findings: Findings
) -> BaseGeometry | None:
    """Join the ground of several polygons; None when they enclose none."""
    found = [area(polygon, about, findings) for polygon in polygons]
    return mended([shape for shape in found if shape is not None], about, what, findings)
