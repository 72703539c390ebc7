"""Layers in longitude and latitude: continuous over the antimeridian, and small on a page."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS, Transformer

from evenacre.geo.overlay import simplified
from evenacre.model.audit_result import AuditResult

SCALE = 10_000_000  # whole units of 1e-7 degree, about a centimetre
TOLERANCE_M = 0.02

WGS84 = CRS.from_epsg(4326)


@lru_cache(maxsize=16)
def transformer(source: CRS, target: CRS) -> Transformer:
    """Return the change of coordinates, x before y; making one takes longer than using it."""
    return Transformer.from_crs(source, target, always_xy=True)


def centre_lon(result: AuditResult) -> float:
    """Longitude around which the layers of a result are kept continuous."""
    xmin, ymin, xmax, ymax = result.layers["field"].total_bounds
    return float(transformer(result.crs, WGS84).transform((xmin + xmax) / 2, (ymin + ymax) / 2)[0])


def to_lonlat(frame: gpd.GeoDataFrame, lon: float) -> gpd.GeoDataFrame:
    """Project to WGS 84 degrees with longitudes within 180 of ``lon``, past 180 if need be."""
    if frame.empty:
        return frame.set_crs(WGS84, allow_override=True)
    degrees = _in_degrees(frame.geometry.to_numpy(), frame.crs, lon)
    return frame.set_geometry(gpd.GeoSeries(degrees, index=frame.index, crs=WGS84))


def _in_degrees(shapes: npt.NDArray[np.object_], crs: CRS, lon: float) -> npt.NDArray[np.object_]:
    to_degrees = transformer(crs, WGS84)

    def move(xy: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        x, y = to_degrees.transform(xy[:, 0], xy[:, 1])
        x = np.where(x - lon > 180, x - 360, np.where(x - lon < -180, x + 360, x))
        return np.column_stack([x, y])

    return shapely.transform(shapely.force_2d(shapes), move)


def encode(frame: gpd.GeoDataFrame, lon: float, lat: float) -> list[Any]:
    """Geometries in a plane as nested lists of whole numbers, simplified to two centimetres.

    Per feature a list of parts; a polygon part is a list of rings, a line part one chain. Each
    ring or chain is flat: the first point as (lon, lat) from the origin ``lon``, ``lat`` in 1e-7
    degree, then the step from each point to the next. A ring is not closed.
    """
    if frame.empty:
        return []
    slim = simplified(frame.geometry.to_numpy(), TOLERANCE_M)
    return [
        [_part(part, lon, lat) for part in shapely.get_parts(g) if not part.is_empty]
        for g in _in_degrees(slim, frame.crs, lon)
    ]


def _part(part: Any, lon: float, lat: float) -> list[Any]:
    if part.geom_type == "Polygon":
        rings = [part.exterior, *part.interiors]
        return [_chain(shapely.get_coordinates(r)[:-1], lon, lat) for r in rings]
    return _chain(shapely.get_coordinates(part), lon, lat)


def _chain(xy: npt.NDArray[np.float64], lon: float, lat: float) -> list[int]:
    whole = np.rint((xy - (lon, lat)) * SCALE).astype(np.int64)
    steps = np.diff(whole, axis=0, prepend=0)
    flat: list[int] = steps.ravel().tolist()
    return flat
