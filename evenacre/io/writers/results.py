"""All files of a result: of an audit, of planned passes."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import geopandas as gpd

from evenacre.io.result_folder.ownership import SUMMARY, write_account
from evenacre.io.taskdata.write.guidance import write_guidance
from evenacre.io.writers.cog import write_cog
from evenacre.io.writers.file_names import GEOPARQUET, MAPS, TABLES
from evenacre.io.writers.gpx import write_drives, write_waypoints
from evenacre.io.writers.tables import write_tables
from evenacre.io.writers.vector_layers import write_geojson, write_geopackage, write_geoparquet
from evenacre.model.outputs import Deliverables, OperationFiles, PassFiles

RESULT_LAYERS = ("fields", "passes", "skips", "overlaps", "cover", "zones")
"""Layers of a result worth a GeoParquet file of their own."""


def write_outputs(folder: Path, deliverables: Deliverables) -> dict[str, Any]:
    """Write a whole audit into an empty staged folder; return what is in ``summary.json``.

    With one operation its rasters and ``maps`` lie at the root; with several each has a folder
    of its own.
    """
    layers, stops = deliverables.layers, deliverables.fix_list
    several = len(deliverables.operations) > 1
    with ThreadPoolExecutor() as pool:
        # Compressing rasters takes longest and leaves Python free for the rest.
        written = [
            pool.submit(_write_operation, folder / o.slug if several else folder, o)
            for o in deliverables.operations
        ]
        (folder / "report.html").write_text(deliverables.report, encoding="utf-8", newline="\n")
        write_geopackage(folder / "layers.gpkg", layers)
        write_tables(folder / TABLES, folder / "tables.xlsx", deliverables.tables)
        write_waypoints(folder / "fix_list.gpx", stops)
        places = gpd.points_from_xy(stops["lon"], stops["lat"], crs="EPSG:4326")
        facts = stops.drop(columns=["lon", "lat"])
        write_geojson(folder / "fix_list.geojson", gpd.GeoDataFrame(facts, geometry=places))
        if deliverables.tracks is not None:
            write_layers(folder / GEOPARQUET, layers)
            write_geoparquet(folder / GEOPARQUET / "tracks.parquet", deliverables.tracks)
        for operation in written:
            operation.result()
    return write_account(folder, SUMMARY, deliverables.summary)


def write_layers(folder: Path, layers: Mapping[str, gpd.GeoDataFrame]) -> None:
    """Write the chief layers of a result; empty ones too, since no skips is an answer."""
    folder.mkdir()
    for name in RESULT_LAYERS:
        if name in layers:
            write_geoparquet(folder / f"{name}.parquet", layers[name])


def _write_operation(home: Path, operation: OperationFiles) -> None:
    (home / MAPS).mkdir(parents=True)
    for stem, raster in operation.rasters.items():
        write_cog(home / f"{stem}.tif", raster)
    for stem, png in operation.maps.items():
        (home / MAPS / f"{stem}.png").write_bytes(png)


def write_passes(folder: Path, files: PassFiles, *, farm: str = "") -> None:
    """Write ``passes.gpkg``, ``passes.gpx`` and ``guidance.zip``."""
    write_geopackage(folder / "passes.gpkg", files.layers)
    write_drives(folder / "passes.gpx", files.drives)
    write_guidance(folder / "guidance.zip", files.fields, farm=farm)
