"""Boundaries, unworkable ground, zones, paddocks and wells as files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import pyogrio
from shapely.geometry import Point, box
from shapely.geometry.base import BaseGeometry

from evenacre.sample_fields.farm import (
    CROP_FIELDS,
    PADDOCK_X_M,
    PADDOCK_Y_M,
    SEEDED_PADDOCK,
    paddocks,
)
from evenacre.sample_fields.plots import Plot

_WRITTEN = "2026-01-02T00:00:00.000Z"


def write_maps(directory: Path) -> None:
    """Write every map of the farm."""
    written = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    # A GeoPackage notes when it was written; a fixed date keeps the bytes the same.
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _WRITTEN})
    try:
        _write_fields(directory / "fields.gpkg")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": written})
    (directory / "zones").mkdir(exist_ok=True)
    for plot in (*CROP_FIELDS, SEEDED_PADDOCK):
        zones = _frame(
            [{"zone": name} for name in plot.zones],
            [plot.geometry_to_lonlat(area) for area in plot.zones.values()],
        )
        _write_geojson(zones, directory / "zones" / f"{plot.slug}.geojson")
    wells = [plot for plot in CROP_FIELDS if plot.well is not None]
    places = [plot.geometry_to_lonlat(Point(plot.well)) for plot in wells]
    names = [{"name": f"{plot.name} well"} for plot in wells]
    _write_geojson(_frame(names, places), directory / "wells.geojson")


def _write_fields(path: Path) -> None:
    path.unlink(missing_ok=True)
    grass = [
        (plot, part, "grass waterway" if plot.waterway is not None else "rock pile")
        for plot in CROP_FIELDS
        if (part := plot.unworkable) is not None
    ]
    layers = {
        "boundaries": _frame(
            [{"name": plot.name} for plot in CROP_FIELDS],
            [plot.geometry_to_lonlat(plot.boundary) for plot in CROP_FIELDS],
        ),
        "unworkable": _frame(
            [{"field": plot.name, "kind": kind} for plot, _, kind in grass],
            [plot.geometry_to_lonlat(part) for plot, part, _ in grass],
        ),
        "paddocks": _frame(
            [
                {"name": plot.name, "order": number, "acres": 8.0}
                for number, plot in enumerate(paddocks(), 1)
            ],
            [plot.geometry_to_lonlat(plot.boundary) for plot in paddocks()],
        ),
        "pasture": _frame([{"name": "Long Pasture"}], [_pasture(paddocks()[0])]),
    }
    for layer, frame in layers.items():
        pyogrio.write_dataframe(frame, path, layer=layer, driver="GPKG", append=path.exists())


def _pasture(any_paddock: Plot) -> BaseGeometry:
    return any_paddock.geometry_to_lonlat(box(0.0, 0.0, 3 * PADDOCK_X_M, 2 * PADDOCK_Y_M))


def _frame(
    attributes: Sequence[Mapping[str, object]], shapes: list[BaseGeometry]
) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(attributes, geometry=shapes, crs=4326)


def _write_geojson(frame: gpd.GeoDataFrame, path: Path) -> None:
    path.write_text(frame.to_json(drop_id=True, indent=1) + "\n", encoding="utf-8")
