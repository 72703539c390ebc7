"""A field: where it may be worked and how it is divided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import geopandas as gpd
    import shapely
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True)
class Field:
    """A field: where it may be worked and how it is divided.

    Examples
    --------
    >>> import shapely
    >>> ev.Field("Creek Forty", shapely.box(-93.0, 40.0, -92.996, 40.004)).name
    'Creek Forty'
    """

    name: str
    boundary: BaseGeometry | None = None  # polygon or multipolygon; None when no boundary was given
    unworkable: BaseGeometry | None = None  # ground inside the boundary that is not to be worked
    zones: gpd.GeoDataFrame | None = None  # columns ``zone`` (str) and geometry, EPSG:4326
    # Columns ``name`` (str), ``distance_m`` (float) and geometry, EPSG:4326
    setbacks: gpd.GeoDataFrame | None = None
    fenced: bool | None = None  # no part of a machine may leave the boundary; None: not said
    # The part of the unworkable ground that is crossed with the tool lifted: grassed waterways
    crossed: BaseGeometry | None = None
    gate: shapely.Point | None = None  # in the fence, EPSG:4326: the only way in and out
    gate_width_m: float | None = None  # None: not told
    line: shapely.LineString | None = None  # passes run parallel to it, EPSG:4326
