"""All files of a result: of an audit, of planned passes."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from evenacre.io.result_folder.ownership import SUMMARY, write_account
from evenacre.io.taskdata.write.guidance import write_guidance
from evenacre.io.writers.cog import write_cog
from evenacre.io.writers.file_names import GEOPARQUET, MAPS, METHOD, REPORT, TABLES
from evenacre.io.writers.gpx import write_drives, write_waypoints
from evenacre.io.writers.tables import write_tables
from evenacre.io.writers.vector_layers import write_geojson, write_geopackage, write_geoparquet
from evenacre.model.going_back import LEAVE
from evenacre.model.outputs import Deliverables, OperationFiles, PassFiles

RESULT_LAYERS = ("fields", "passes", "skips", "overlaps", "cover", "zones")
"""Layers of a result worth a GeoParquet file of their own."""


def write_outputs(folder: Path, deliverables: Deliverables) -> dict[str, Any]:
    """Write a whole audit into an empty staged folder; return what is in ``summary.json``.

    With one operation its rasters and ``maps`` lie at the root; with several each has a folder
    of its own, with its part of the fix list.
    """
    layers, stops = deliverables.layers, deliverables.fix_list
    several = len(deliverables.operations) > 1
    with ThreadPoolExecutor() as pool:
        # Compressing rasters takes longest and leaves Python free for the rest.
        written = [
            pool.submit(_write_operation, folder / o.slug if several else folder, o, several)
            for o in deliverables.operations
        ]
        for name, page in ((REPORT, deliverables.report), (METHOD, deliverables.method)):
            if page is not None:
                (folder / name).write_text(page, encoding="utf-8", newline="\n")
        if layers is not None:
            write_geopackage(folder / "layers.gpkg", layers)
        if deliverables.tables is not None:
            write_tables(folder / TABLES, folder / "tables.xlsx", deliverables.tables)
        if stops is not None:
            _write_fix_list(folder, stops)
        _write_charts(folder, deliverables.charts)
        if deliverables.tracks is not None and layers is not None:
            write_layers(folder / GEOPARQUET, layers)
            write_geoparquet(folder / GEOPARQUET / "tracks.parquet", deliverables.tracks)
        for name, pdf in deliverables.papers.items():
            (folder / name).parent.mkdir(exist_ok=True)
            (folder / name).write_bytes(pdf)
        for operation in written:
            operation.result()
    return write_account(folder, SUMMARY, deliverables.summary)


def write_layers(folder: Path, layers: Mapping[str, gpd.GeoDataFrame]) -> None:
    """Write the chief layers of a result; empty ones too, since no skips is an answer."""
    folder.mkdir()
    for name in RESULT_LAYERS:
        if name in layers:
            write_geoparquet(folder / f"{name}.parquet", layers[name])


def _write_fix_list(folder: Path, stops: pd.DataFrame) -> None:
    """Write every place as data, and those that are not to be left as waypoints."""
    write_waypoints(folder / "fix_list.gpx", stops[stops["verdict"] != LEAVE])
    places = gpd.points_from_xy(stops["lon"], stops["lat"], crs="EPSG:4326")
    facts = stops.drop(columns=["lon", "lat"])
    write_geojson(folder / "fix_list.geojson", gpd.GeoDataFrame(facts, geometry=places))


def lay_down(folder: Path, operation: OperationFiles) -> None:
    """Write rasters, maps and charts of one operation while others are still at work."""
    folder.mkdir()
    _write_operation(folder, operation, several=False)


def _move_into(home: Path, laid_down: Path) -> None:
    for file in sorted(path for path in laid_down.rglob("*") if path.is_file()):
        target = home / file.relative_to(laid_down)
        target.parent.mkdir(parents=True, exist_ok=True)
        file.rename(target)
    shutil.rmtree(laid_down)


def _write_operation(home: Path, operation: OperationFiles, several: bool) -> None:
    stops = operation.fix_list if several else None
    if operation.laid_down:
        _move_into(home, (home.parent if several else home) / operation.laid_down)
    if operation.maps:
        (home / MAPS).mkdir(parents=True, exist_ok=True)
    elif operation.rasters or stops is not None:
        home.mkdir(exist_ok=True)
    if stops is not None:
        _write_fix_list(home, stops)
    for stem, raster in operation.rasters.items():
        write_cog(home / f"{stem}.tif", raster)
    for name, drawing in operation.maps.items():
        (home / MAPS / name).write_bytes(drawing)
    _write_charts(home, operation.charts)


def _write_charts(home: Path, charts: Mapping[str, bytes]) -> None:
    for stem, svg in charts.items():
        (home / MAPS).mkdir(exist_ok=True)
        (home / MAPS / f"{stem}.svg").write_bytes(svg)


def write_passes(folder: Path, files: PassFiles, *, farm: str = "") -> None:
    """Write ``passes.gpkg``, ``passes.gpx`` and ``guidance.zip``."""
    write_geopackage(folder / "passes.gpkg", files.layers)
    write_drives(folder / "passes.gpx", files.drives)
    write_guidance(folder / "guidance.zip", files.fields, farm=farm)
