"""Fields (PFD): polygons (PLN) as areas in WGS 84 degrees, boundaries and unworkable ground."""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree.ElementTree import Element

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.geo.geodesy import unwrap
from evenacre.geo.overlay import common, in_degrees, union, without
from evenacre.io.common.findings import Subject
from evenacre.io.maps.field_layers import check_reach
from evenacre.io.maps.repair import to_polygons
from evenacre.io.taskdata.tree import by_id, named, number, text
from evenacre.language import tr, trn
from evenacre.model import Field, FloatArray

_BOUNDARY = {"1"}
# Water, buildings, roads, obstacles, windbreaks.
_UNWORKABLE = {"3", "4", "5", "6", "12"}
# What some exporters use for the outline: flag, other, main field and headland.
_STAND_INS = ({"9", "10"}, {"8"}, {"7"})
_INTERIOR = "2"
_RING_POINTS, _MOST_RING_POINTS = 3, 100_000
# Stretches of a sound outline come near a few others; those of a tangle near most.
_NEIGHBOURS, _SAMPLE = 60.0, 200


def read_fields(root: Element, about: Subject) -> dict[str, Field]:
    """Read every field, by id in file order."""
    return {
        identity: _field(element, named(element, identity, "C"), about)
        for identity, element in by_id(root, "PFD")
    }


def _field(element: Element, name: str, root: Subject) -> Field:
    about = root.part(f'field "{name}"')
    polygons = element.findall("PLN")
    boundary = None
    for kinds in (_BOUNDARY, *_STAND_INS):
        boundary = areas([p for p in polygons if text(p, "A") in kinds], about, "boundary")
        if boundary is not None:
            if kinds is not _BOUNDARY:
                about.warn(
                    tr(
                        "none of its outlines is marked as the boundary; the one marked "
                        "otherwise was taken."
                    )
                )
            break
    unworkable = areas([p for p in polygons if text(p, "A") in _UNWORKABLE], about, "obstacle")
    if boundary is not None:
        try:
            outline = gpd.GeoDataFrame(geometry=[boundary], index=[1], crs=4326)
            for warning in check_reach(outline, about.name, "field"):
                about.findings.warn(warning)
        except InputError as error:
            about.findings.warn(
                tr("{problems} Its boundary was left out.", problems=error.problems[0])
            )
            boundary = None
    if unworkable is not None and boundary is not None:
        unworkable = in_degrees(common, unworkable, boundary)
        if unworkable.is_empty:
            unworkable = None
        elif unworkable.covers(boundary):
            about.warn(tr("its obstacles cover the whole field and were left out."))
            unworkable = None
    return Field(name, boundary, unworkable)


def areas(polygons: Iterable[Element], about: Subject, what: str) -> BaseGeometry | None:
    """Join the ground of several polygons (PLN); None when they enclose none."""
    found = [_area(polygon, about) for polygon in polygons]
    return _mended([shape for shape in found if shape is not None], about, what)


def _area(polygon: Element, about: Subject) -> BaseGeometry | None:
    """Ground of one polygon, holes taken out; None when it encloses none.

    A polygon may have several outer rings (version 3 allows it), so holes are taken out of
    all of them together.
    """
    outer: list[BaseGeometry] = []
    inner: list[BaseGeometry] = []
    for line in polygon.findall("LSG"):
        ring = _points(line, about)
        if len(np.unique(ring, axis=0)) < _RING_POINTS:
            about.warn(tr("left out an outline of fewer than three points."))
        elif len(ring) > _MOST_RING_POINTS or _tangled(ring):
            about.warn(
                tr(
                    "left out an outline of {count:,} points that crosses itself over and "
                    "over, or has more points than any field.",
                    count=len(ring),
                )
            )
        else:
            (inner if text(line, "A") == _INTERIOR else outer).append(shapely.Polygon(ring))
    if not outer:
        return None
    if len(outer) == 1 and outer[0].is_valid and all(hole.is_valid for hole in inner):
        shape = shapely.Polygon(outer[0].exterior, [hole.exterior for hole in inner])
        if shape.is_valid:
            return shape
    whole = _mended(outer, about, "outline")
    holes = _mended(inner, about, "hole")
    if whole is None or holes is None:
        return whole
    rest = in_degrees(without, whole, holes)
    return None if rest.is_empty else rest


def _points(line: Element, about: Subject) -> FloatArray:
    """Longitude and latitude of the points of a line (LSG) that have a usable one, (n, 2)."""
    found = line.findall("PNT")
    lonlat = np.array([(number(p, "D"), number(p, "C")) for p in found]).reshape(-1, 2)
    good = np.isfinite(lonlat).all(axis=1)
    good &= (np.abs(lonlat[:, 0]) <= 360) & (np.abs(lonlat[:, 1]) <= 90)
    if not good.all():
        binary = any(text(point, "J") for point in found)
        about.warn(
            tr(
                "left out {points} without a usable position",
                points=trn("{count:,} point", "{count:,} points", int((~good).sum())),
            )
            + (tr(" (points kept in a binary file are not read).") if binary else ".")
        )
    return lonlat[good]


def _tangled(ring: FloatArray) -> bool:
    """Tell an outline that mending would take for ever: every part of it crosses many others."""
    steps = shapely.linestrings(np.stack([ring, np.roll(ring, -1, axis=0)], axis=1))
    some = steps[:: max(1, len(steps) // _SAMPLE)]
    hits = shapely.STRtree(steps).query(some)
    return hits.shape[1] > _NEIGHBOURS * len(some)


def _mended(shapes: list[BaseGeometry], about: Subject, what: str) -> BaseGeometry | None:
    """Join areas into one sound area; None when they enclose no ground."""
    if not shapes:
        return None
    turned = unwrap(np.array(shapes, dtype=object))
    try:
        frame, warnings = to_polygons(
            gpd.GeoDataFrame(geometry=list(turned), crs="EPSG:4326"), about.name, what
        )
    except InputError:
        about.warn(tr("the {what} encloses no ground; left out.", what=what))
        return None
    for warning in warnings:
        about.findings.warn(warning)
    return in_degrees(union, frame.geometry.array)
