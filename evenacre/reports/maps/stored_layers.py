"""Vector layers and rasters of a whole audit, ready to be stored."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from evenacre.io.writers.file_names import unique_slugs
from evenacre.model.audit_result import AuditResult, Grid
from evenacre.model.outputs import Raster
from evenacre.reports import figure_text as figures
from evenacre.reports.geodata import WGS84, centre_lon, to_lonlat
from evenacre.reports.sentences.fix_list import stops
from evenacre.reports.writers.as_frame import stacked

# In the order a map viewer lists them.
LAYERS = (
    *("fields", "unworkable", "passes", "swaths", "cover", "overlaps", "skips", "headland"),
    *("outside", "zones", "setbacks"),
)


def operation_layers(
    result: AuditResult, only: Collection[str] = LAYERS
) -> dict[str, gpd.GeoDataFrame]:
    """Layers of one operation in degrees, ``field`` and ``operation`` first; all if not told.

    ``skips`` are numbered as in the fix list; ``zones`` carry a column
    ``applied_kg_<product>`` for each product.
    """
    return {name: _labelled(result, name) for name in LAYERS if name in only}


def join_layers(
    operations: Sequence[Mapping[str, gpd.GeoDataFrame]],
) -> dict[str, gpd.GeoDataFrame]:
    """Join each layer over the operations."""
    none = pd.DataFrame({"field": [], "operation": [], "geometry": []})
    every = {
        name: stacked(layers[name] for layers in operations) if operations else none
        for name in LAYERS
    }
    return {n: gpd.GeoDataFrame(f, geometry="geometry", crs=WGS84) for n, f in every.items()}


def rasters(result: AuditResult) -> dict[str, Raster]:
    """Cover count and rate of each product, by file stem."""

    def made(grid: Grid, kind: Any, nodata: float, units: str, what: str) -> Raster:
        return Raster(
            values=np.asarray(grid.values, kind),
            transform=grid.transform,
            crs=grid.crs,
            nodata=nodata,
            units=units,
            description=f"{result.field}, {result.operation}: {what}",
        )

    names = unique_slugs(p.product for p in result.products)
    return {
        "cover_count": made(result.cover_grid, np.uint8, 255, "1", "times covered"),
        **{
            f"rate_{name}": made(p.rate, np.float32, math.nan, "kg m-2", f"{p.product} applied")
            for p, name in zip(result.products, names, strict=True)
        },
    }


def _labelled(result: AuditResult, name: str) -> gpd.GeoDataFrame:
    frame = result.layers["field" if name == "fields" else name]
    if name == "fields":
        frame = frame.drop(columns="name", errors="ignore")
    elif name == "skips":
        frame = stops(result).drop(columns=["x_m", "y_m"])
    elif name == "passes":
        frame = frame.assign(
            start=[figures.iso_time(t, result.time_zone) for t in frame["start_s"]],
            end=[figures.iso_time(t, result.time_zone) for t in frame["end_s"]],
        )
    elif name == "zones":
        frame = _with_amounts(result, frame)
    lead = {"operation": result.operation, "field": result.field}
    if named := [column for column in lead if column in frame]:
        frame = frame.drop(columns=named)
    labelled = to_lonlat(frame, centre_lon(result))
    for column, words in lead.items():
        labelled.insert(0, column, words)
    return labelled


def _with_amounts(result: AuditResult, zones: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    names = unique_slugs(p.product for p in result.products)
    applied = [{z.zone: z.applied_kg for z in p.zones} for p in result.products]
    amounts = {
        f"applied_kg_{name}": zones["zone"].map(kg).astype(float)
        for name, kg in zip(names, applied, strict=True)
    }
    return zones.assign(**amounts)
