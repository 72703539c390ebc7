"""A field: where it may be worked and how it is divided."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True)
class Field:
    """A field: where it may be worked and how it is divided.

    Attributes
    ----------
    name : str
    boundary : shapely geometry or None
        Polygon or multipolygon; None when no boundary was given.
    unworkable : shapely geometry or None
        Ground inside the boundary that is not to be worked.
    zones : GeoDataFrame or None
        Columns ``zone`` (str) and geometry, EPSG:4326.
    setbacks : GeoDataFrame or None
        Columns ``name`` (str), ``distance_m`` (float) and geometry, EPSG:4326.

    Examples
    --------
    >>> import shapely
    >>> ev.Field("Creek Forty", shapely.box(-93.0, 40.0, -92.996, 40.004)).name
    'Creek Forty'
    """

    name: str
    boundary: BaseGeometry | None = None
    unworkable: BaseGeometry | None = None
    zones: gpd.GeoDataFrame | None = None
    setbacks: gpd.GeoDataFrame | None = None
