"""The result's map layers, as GeoDataFrames in the working plane."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import shapely
from geopandas.array import from_shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.cover import Cover, PartedGround
from evenacre.coverage.field_plane import PlaneField
from evenacre.coverage.headland import Headland
from evenacre.coverage.swath import Swaths
from evenacre.geo.overlay import polygonal
from evenacre.model import IntArray

# Overlaps smaller than this stay in the cover layer and the totals but are no map feature.
_MIN_OVERLAP_M2 = 1.0


def frame(
    rows: Mapping[str, Sequence[object] | np.ndarray],
    geometry: Sequence[BaseGeometry] | np.ndarray,
    crs: CRS,
) -> gpd.GeoDataFrame:
    """Rows with an ``area_m2`` column; empty geometries are left out."""
    shapes = np.array([*geometry, None], dtype=object)[:-1]
    ground = {"area_m2": shapely.area(shapes), "geometry": from_shapely(shapes, crs=crs)}
    whole = gpd.GeoDataFrame({**rows, **ground}, geometry="geometry")
    empty = shapely.is_empty(shapes)
    return whole[~empty].reset_index(drop=True) if empty.any() else whole


def field_layers(
    name: str, land: PlaneField, headland: Headland, outside: BaseGeometry, crs: CRS
) -> dict[str, gpd.GeoDataFrame]:
    """Layers that describe the field and what lies outside the work."""
    setbacks = frame(
        {
            "name": [s[0] for s in land.setbacks],
            "distance_m": [s[1] for s in land.setbacks],
        },
        [s[2] for s in land.setbacks],
        crs,
    )
    return {
        "field": frame({"name": [name]}, [land.boundary], crs),
        "unworkable": frame({}, [land.unworkable], crs),
        "headland": frame({"rounds": [headland.rounds]}, [headland.band], crs),
        "outside": frame({}, [outside], crs),
        "zones": frame({"zone": [z[0] for z in land.zones]}, [z[1] for z in land.zones], crs),
        "setbacks": setbacks,
    }


def swath_layer(swaths: Swaths, pass_of: IntArray, cover: Cover, crs: CRS) -> gpd.GeoDataFrame:
    """Swath pieces with how much of each was covered again."""
    pieces = len(swaths.geometry)
    repeated = np.zeros(pieces)
    for member in (cover.first, cover.second):
        repeated += np.bincount(member, cover.pair_area_m2, minlength=pieces)
    return frame(
        {
            "piece": np.arange(1, pieces + 1),
            "pass": pass_of,
            "first_row": swaths.first_row,
            "last_row": swaths.last_row,
            "repeated_m2": np.minimum(repeated, cover.piece_area_m2),
            "max_cover": cover.max_cover,
        },
        swaths.geometry,
        crs,
    )


def cover_layers(parted: PartedGround, headland: Headland, crs: CRS) -> dict[str, gpd.GeoDataFrame]:
    """The workable ground by cover count, and its overlaps one by one."""
    by_count = polygonal(np.array([parted.once, parted.twice, parted.more]))
    spots, count = shapely.get_parts(by_count[1:], return_index=True)
    large = shapely.area(spots) >= _MIN_OVERLAP_M2
    spots, count = spots[large], count[large] + 2
    within = shapely.intersects(headland.band, shapely.point_on_surface(spots))
    return {
        "cover": frame({"cover": [1, 2, 3]}, by_count, crs),
        "overlaps": frame({"cover": count, "in_headland": within}, spots, crs),
    }
