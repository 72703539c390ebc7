"""The field in the working plane: what is workable, and its zones and setbacks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import around, common, union, valid, widen, without
from evenacre.model import Field, Track

# Segments in a quarter of a setback's arcs: its area is then true to 1e-5.
_ROUND = 128


@dataclass(frozen=True)
class PlaneField:
    """A field in the working plane.

    Attributes
    ----------
    unworkable : geometry
        The part inside the boundary.
    given : bool
        False when the boundary was drawn from the swaths.
    zones : list of (name, geometry)
        Clipped to the workable ground.
    setbacks : list of (name, distance_m, geometry)
        Widened by their distance.
    """

    boundary: BaseGeometry
    unworkable: BaseGeometry
    workable: BaseGeometry
    given: bool
    zones: list[tuple[str, BaseGeometry]]
    setbacks: list[tuple[str, float, BaseGeometry]]


def plane_for(field: Field, tracks: tuple[Track, ...]) -> WorkingPlane:
    """Centre the plane on the boundary, or on the positions when there is none."""
    if field.boundary is not None:
        return WorkingPlane.around(field.boundary)
    lon = np.concatenate([t.lon for t in tracks])
    lat = np.concatenate([t.lat for t in tracks])
    ok = np.isfinite(lon) & np.isfinite(lat)
    if not ok.any():
        return WorkingPlane(0.0, 0.0)
    # Percentiles, so that one wild fix does not move the plane to another county.
    west, east = np.percentile(lon[ok], [1, 99])
    south, north = np.percentile(lat[ok], [1, 99])
    return WorkingPlane((west + east) / 2, (south + north) / 2)


def lay_out(field: Field, plane: WorkingPlane, swept: BaseGeometry, width_m: float) -> PlaneField:
    """Project a field; with no boundary, draw one around the swept ground.

    The drawn boundary closes gaps up to two widths and fills every hole, so missed ground
    inside it still shows, but nothing can be said about its edge.
    """
    if field.boundary is not None:
        boundary = _valid(plane.project(field.boundary))
    else:
        closed = widen(widen(np.array([swept]), width_m), -width_m)
        parts = shapely.get_parts(closed[0])
        boundary = union(shapely.polygons(shapely.get_exterior_ring(parts)))
    unworkable: BaseGeometry = shapely.Polygon()
    if field.unworkable is not None:
        unworkable = common(_valid(plane.project(field.unworkable)), boundary)
    workable = without(boundary, unworkable)
    return PlaneField(
        boundary,
        unworkable,
        workable,
        field.boundary is not None,
        [(str(name), common(area, workable)) for name, area in _rows(field.zones, "zone", plane)],
        [
            (str(name), float(distance), around(feature, distance, quad_segs=_ROUND))
            for (name, feature), distance in zip(
                _rows(field.setbacks, "name", plane),
                [] if field.setbacks is None else field.setbacks["distance_m"],
                strict=True,
            )
        ],
    )


def _valid(geometry: BaseGeometry) -> BaseGeometry:
    return valid(np.array([geometry]))[0]


def _rows(
    table: gpd.GeoDataFrame | None, name: str, plane: WorkingPlane
) -> Iterator[tuple[str, BaseGeometry]]:
    if table is not None:
        for label, geometry in zip(table[name], table.geometry, strict=True):
            yield label, _valid(plane.project(geometry))
