"""What an audit hands to the writers: plain tables, layers, rasters and texts, no paths."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from affine import Affine
from pyproj import CRS

from evenacre.model.field import Field

Part = Literal["report", "maps", "layers", "rasters", "tables", "fixes"]
"""Parts of a result beside its summary; the report comes with the page on how it was made."""


@dataclass(frozen=True)
class Raster:
    """A north-up raster to be stored."""

    values: npt.NDArray[np.generic]  # (rows, cols)
    transform: Affine  # cell to plane coordinates, metres
    crs: CRS
    nodata: float  # the value that stands for nothing known
    # Stored with the raster
    units: str
    description: str


@dataclass(frozen=True)
class OperationFiles:
    """Files of one operation."""

    slug: str  # folder name when there are several operations
    rasters: Mapping[str, Raster]  # file stem to raster
    maps: Mapping[str, bytes]  # file name to drawing
    charts: Mapping[str, bytes]  # file stem to SVG
    fix_list: pd.DataFrame | None  # as of all operations, below
    laid_down: str = ""  # folder of the stage that holds its rasters, maps and charts already


@dataclass(frozen=True)
class Deliverables:
    """Everything one audit writes; what is None was not asked for."""

    summary: dict[str, Any]  # the machine-readable account, JSON types only
    report: str | None  # the whole HTML page
    method: str | None  # how it was worked out, likewise
    layers: Mapping[str, gpd.GeoDataFrame] | None  # layer name to features, EPSG:4326
    tables: Mapping[str, pd.DataFrame] | None  # table name to rows, in the reader's units
    # Places to go back to or to leave, job by job in the order of driving: ``name``, ``kind``,
    # ``field``, ``operation``, ``advice``, ``verdict``, ``trip``, ``area_m2``, ``mean_width_m``,
    # ``length_m``, ``lon``, ``lat``
    fix_list: pd.DataFrame | None
    operations: tuple[OperationFiles, ...] = field(default=())
    charts: Mapping[str, bytes] = field(default_factory=dict)  # of all of them: file stem to SVG
    # Records of every log as points, EPSG:4326. When given, they and the chief layers are written
    # as GeoParquet too.
    tracks: gpd.GeoDataFrame | None = None
    papers: Mapping[str, bytes] = field(default_factory=dict)  # path below the folder to PDF


@dataclass(frozen=True)
class CalendarEvent:
    """An entry of a calendar."""

    uid: str  # the same whenever the same plan is written, and unlike that of any other event
    # Of one kind: dates for whole days, ``end`` left out; datetimes for times of day, in the zone
    # they carry or, without one, on whatever clock the reader's device keeps
    start: date | datetime
    end: date | datetime
    title: str
    text: str = ""
    place: str = ""


@dataclass(frozen=True)
class GuidancePattern:
    """A line to steer by."""

    name: str
    line: shapely.LineString  # WGS 84 degrees; two points for a straight
    repeated: bool = False  # to both sides, width by width, and beyond its ends


@dataclass(frozen=True)
class GuidedField:
    """A field and its guidance patterns, group by group."""

    field: Field  # with a boundary
    width_m: float  # from line to line
    groups: tuple[tuple[str, tuple[GuidancePattern, ...]], ...]


@dataclass(frozen=True)
class PassFiles:
    """Planned passes for the writers."""

    layers: Mapping[str, gpd.GeoDataFrame]  # layer name to features, EPSG:4326
    fields: tuple[GuidedField, ...]
    # Name of a field and its passes in the order they are driven, WGS 84 degrees
    drives: tuple[tuple[str, tuple[shapely.LineString, ...]], ...]
