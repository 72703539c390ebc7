"""What an audit hands to the writers: plain tables, layers, rasters and texts, no paths."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from affine import Affine
from pyproj import CRS

from evenacre.model import Field


@dataclass(frozen=True)
class Raster:
    """A north-up raster to be stored.

    Attributes
    ----------
    values : (rows, cols) array
    transform : affine.Affine
        Cell to plane coordinates, metres.
    crs : pyproj.CRS
    nodata : float
        The value that stands for nothing known.
    units, description : str
        Stored with the raster.
    """

    values: npt.NDArray[np.generic]
    transform: Affine
    crs: CRS
    nodata: float
    units: str
    description: str


@dataclass(frozen=True)
class OperationFiles:
    """Files of one operation.

    Attributes
    ----------
    slug : str
        Folder name when there are several operations.
    rasters : dict of str to Raster
        File stem to raster.
    maps : dict of str to bytes
        File stem to PNG.
    """

    slug: str
    rasters: Mapping[str, Raster]
    maps: Mapping[str, bytes]


@dataclass(frozen=True)
class Deliverables:
    """Everything one audit writes.

    Attributes
    ----------
    summary : dict
        The machine-readable account, JSON types only.
    report : str
        The whole HTML page.
    layers : dict of str to GeoDataFrame
        Layer name to features, EPSG:4326.
    tables : dict of str to DataFrame
        Table name to rows, in the reader's units.
    fix_list : DataFrame
        Places worth going back to, largest first: ``name``, ``kind``, ``field``,
        ``operation``, ``advice``, ``area_m2``, ``mean_width_m``, ``length_m``, ``lon``,
        ``lat``.
    tracks : GeoDataFrame or None
        Records of every log as points, EPSG:4326. When given, they and the chief layers are
        written as GeoParquet too.
    """

    summary: dict[str, Any]
    report: str
    layers: Mapping[str, gpd.GeoDataFrame]
    tables: Mapping[str, pd.DataFrame]
    fix_list: pd.DataFrame
    operations: tuple[OperationFiles, ...] = field(default=())
    tracks: gpd.GeoDataFrame | None = None


@dataclass(frozen=True)
class CalendarEvent:
    """An entry of a calendar.

    Attributes
    ----------
    uid : str
        The same whenever the same plan is written, and unlike that of any other event.
    start, end : date or datetime
        Of one kind: dates for whole days, ``end`` left out; datetimes for times of day, in the
        zone they carry or, without one, on whatever clock the reader's device keeps.
    title, text, place : str
    """

    uid: str
    start: date | datetime
    end: date | datetime
    title: str
    text: str = ""
    place: str = ""


@dataclass(frozen=True)
class GuidancePattern:
    """A line to steer by.

    Attributes
    ----------
    name : str
    line : LineString
        WGS 84 degrees; two points for a straight.
    repeated : bool
        To both sides, width by width, and beyond its ends.
    """

    name: str
    line: shapely.LineString
    repeated: bool = False


@dataclass(frozen=True)
class GuidedField:
    """A field and its guidance patterns, group by group.

    Attributes
    ----------
    field : Field
        With a boundary.
    width_m : float
        From line to line.
    groups : tuple of (str, tuple of GuidancePattern)
    """

    field: Field
    width_m: float
    groups: tuple[tuple[str, tuple[GuidancePattern, ...]], ...]


@dataclass(frozen=True)
class PassFiles:
    """Planned passes for the writers.

    Attributes
    ----------
    layers : dict of str to GeoDataFrame
        Layer name to features, EPSG:4326.
    fields : tuple of GuidedField
    drives : tuple of (str, tuple of LineString)
        Name of a field and its passes in the order they are driven, WGS 84 degrees.
    """

    layers: Mapping[str, gpd.GeoDataFrame]
    fields: tuple[GuidedField, ...]
    drives: tuple[tuple[str, tuple[shapely.LineString, ...]], ...]
