"""Layers in longitude and latitude: continuous over the antimeridian, and small on a page."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS, Transformer

from evenacre.arrays import BoolArray, FloatArray
from evenacre.geo.overlay import outlines, simplified
from evenacre.model.audit_result import AuditResult

SCALE = 10_000_000  # whole units of 1e-7 degree, about a centimetre
TOLERANCE_M = 0.02

WGS84 = CRS.from_epsg(4326)


@lru_cache(maxsize=256)  # each field of a season has a plane of its own
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
    degrees = shapely.transform(
        frame.geometry.to_numpy(), lambda xy: _in_degrees(xy, frame.crs, lon)
    )
    return frame.set_geometry(gpd.GeoSeries(degrees, index=frame.index, crs=WGS84))


def _in_degrees(xy: FloatArray, crs: CRS, lon: float) -> FloatArray:
    x, y = transformer(crs, WGS84).transform(xy[:, 0], xy[:, 1])
    x = np.where(x - lon > 180, x - 360, np.where(x - lon < -180, x + 360, x))
    return np.column_stack([x, y])


def encode(frame: gpd.GeoDataFrame, lon: float, lat: float) -> list[Any]:
    """Geometries in a plane as nested lists of whole numbers, simplified to two centimetres.

    Per feature a list of parts; a polygon part is a list of rings, a line part one chain. Each
    ring or chain is flat: the first point as (lon, lat) from the origin ``lon``, ``lat`` in 1e-7
    degree, then the step from each point to the next. A ring is not closed.
    """
    features: list[Any] = [[] for _ in range(len(frame))]
    parts, feature = shapely.get_parts(frame.geometry.to_numpy(), return_index=True)
    some = ~shapely.is_empty(parts)
    parts, feature = parts[some], feature[some]
    ground = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    rings, polygon = outlines(parts[ground], TOLERANCE_M)
    lines = simplified(parts[~ground], TOLERANCE_M, sound=False)
    part = np.concatenate([np.flatnonzero(ground)[polygon], np.flatnonzero(~ground)])
    order = np.argsort(part, kind="stable")
    part = part[order]
    chains = _chains(np.concatenate([rings, lines])[order], ground[part], frame.crs, lon, lat)
    before = -1
    for n, chain in zip(part.tolist(), chains, strict=True):
        owner = features[feature[n]]
        if not ground[n]:
            owner.append(chain)
        elif n == before:
            owner[-1].append(chain)
        else:
            owner.append([chain])
        before = n
    return features


def _chains(
    shapes: npt.NDArray[np.object_], closed: BoolArray, crs: CRS, lon: float, lat: float
) -> Iterator[list[int]]:
    """Points of lines one by one, of closed ones all but the last, as `encode` has them."""
    if not len(shapes):
        return
    xy, owner = shapely.get_coordinates(shapes, return_index=True)
    last = np.diff(owner, append=-1) != 0
    kept = ~(last & closed[owner])
    xy, owner = xy[kept], owner[kept]
    whole = np.rint((_in_degrees(xy, crs, lon) - (lon, lat)) * SCALE).astype(np.int64)
    steps = np.diff(whole, axis=0, prepend=0)
    starts = np.flatnonzero(np.diff(owner, prepend=-1))
    steps[starts] = whole[starts]
    flat: list[int] = steps.ravel().tolist()
    for a, b in pairwise([*(2 * starts).tolist(), len(flat)]):
        yield flat[a:b]
