"""Longitudes, distances and areas on the earth."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pyproj
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.arrays import FloatArray
from evenacre.geo.overlay import valid

ShapeArray = npt.NDArray[np.object_]

WGS84_GEOD = pyproj.Geod(ellps="WGS84")
"""Lengths, bearings and areas on the ellipsoid."""

_EARTH_RADIUS_M = 6371008.8  # mean radius, IUGG


def geodesic_area_m2(shape: BaseGeometry) -> float:
    """Area on the WGS 84 ellipsoid of a geometry in degrees, whichever way it is wound."""
    # Normal form winds every shell one way and every hole the other.
    return abs(float(WGS84_GEOD.geometry_area_perimeter(shapely.normalize(shape))[0]))


def step_m(lon: FloatArray, lat: FloatArray) -> FloatArray:
    """Distance of each record from the one before it on a sphere, (n,); the first is NaN.

    Good to 0.5 %: for telling units apart, not for measuring.
    """
    east = np.radians(np.diff(lon)) * np.cos(np.radians(lat[1:]))
    north = np.radians(np.diff(lat))
    return np.concatenate(([np.nan], _EARTH_RADIUS_M * np.hypot(east, north)))


def plain_xy(lon: FloatArray, lat: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Metres east and north of the middle of some places on a sphere; NaN stays NaN.

    Good to 0.5 %: for telling near from far, not for measuring.
    """
    known = np.isfinite(lon) & np.isfinite(lat)
    if not known.any():
        return lon, lat
    lon0, lat0 = np.median(lon[known]), np.median(lat[known])
    scale = np.radians(1.0) * _EARTH_RADIUS_M
    return (lon - lon0) * scale * np.cos(np.radians(lat0)), (lat - lat0) * scale


def wrapped(lon: FloatArray) -> FloatArray:
    """Longitudes in -180..180, as files want them."""
    return np.where(np.abs(lon) > 180.0, (lon + 180.0) % 360.0 - 180.0, lon)


def near(lon: FloatArray, middle: float) -> FloatArray:
    """Move longitudes by whole turns to within half a turn of a middle one."""
    return lon + 360.0 * np.round((middle - lon) / 360.0)


def far(lon: FloatArray, middle: float) -> bool:
    """Tell whether any longitude is more than half a turn from a middle one."""
    return bool((np.abs(lon - middle) > 180.0).any())


def unwrap(shapes: ShapeArray, near_lon: float | None = None) -> ShapeArray:
    """Let longitudes run on past 180 where shapes cross the antimeridian.

    Parameters
    ----------
    shapes : array of geometry
        WGS 84 degrees.
    near_lon : float, optional
        Put the shapes on the same turn of the globe as this longitude.
    """
    lon = shapely.get_coordinates(shapes)[:, 0]
    if not len(lon):
        return shapes
    turned = np.mod(lon, 360.0)
    if near_lon is not None:
        if not far(lon, near_lon):
            return shapes
        # What spans more than half the globe comes out crossing itself.
        return valid(_map_lon(shapes, lambda x: near(x, near_lon)))
    if np.ptp(turned) < np.ptp(lon) - 1e-9:
        # Only what crosses runs on; the rest stays between -180 and 180.
        return _map_lon(shapes, lambda x: np.mod(x, 360.0))
    shift = 360.0 * np.round(lon.mean() / 360.0)
    return _map_lon(shapes, lambda x: x - shift) if shift and np.ptp(lon) < 180 else shapes


def _map_lon(shapes: ShapeArray, change: Callable[[FloatArray], FloatArray]) -> ShapeArray:
    def move(xy: FloatArray) -> FloatArray:
        return np.column_stack([change(xy[:, 0]), xy[:, 1]])

    moved: ShapeArray = shapely.transform(np.asarray(shapes), move)
    return moved
