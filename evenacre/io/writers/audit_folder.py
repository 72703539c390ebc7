"""Every file of an audit, into one folder."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from evenacre.io.result_folder.ownership import SUMMARY, write_account
from evenacre.io.writers.cog import write_cog
from evenacre.io.writers.file_names import GEOPARQUET, MAPS, TABLES
from evenacre.io.writers.fix_list import write_geojson, write_gpx
from evenacre.io.writers.geopackage import write_geopackage
from evenacre.io.writers.geoparquet import write_geoparquet, write_layers
from evenacre.io.writers.tables import write_tables
from evenacre.model.outputs import Deliverables, OperationFiles

__all__ = ["write_outputs"]


def write_outputs(folder: Path, deliverables: Deliverables) -> dict[str, Any]:
    """Write a whole result into an empty folder.

    Parameters
    ----------
    folder : Path
        From :func:`evenacre.io.result_folder.staging.staged_folder`.
    deliverables : Deliverables
        With one operation its rasters and ``maps`` lie at the root; with several each has a
        folder of its own.

    Returns
    -------
    dict
        As in ``summary.json``.
    """
    with ThreadPoolExecutor() as pool:
        # Compressing rasters takes longest and leaves Python free for the rest.
        written = [pool.submit(_write_operation, *home) for home in _homes(folder, deliverables)]
        (folder / "report.html").write_text(deliverables.report, encoding="utf-8", newline="\n")
        write_geopackage(folder / "layers.gpkg", deliverables.layers)
        write_tables(folder / TABLES, folder / "tables.xlsx", deliverables.tables)
        write_gpx(folder / "fix_list.gpx", deliverables.fix_list)
        write_geojson(folder / "fix_list.geojson", deliverables.fix_list)
        if deliverables.tracks is not None:
            write_layers(folder / GEOPARQUET, deliverables.layers)
            write_geoparquet(folder / GEOPARQUET / "tracks.parquet", deliverables.tracks)
        for operation in written:
            operation.result()
    return write_account(folder, SUMMARY, deliverables.summary)


def _homes(folder: Path, deliverables: Deliverables) -> list[tuple[Path, OperationFiles]]:
    several = len(deliverables.operations) > 1
    return [(folder / o.slug if several else folder, o) for o in deliverables.operations]


def _write_operation(home: Path, operation: OperationFiles) -> None:
    (home / MAPS).mkdir(parents=True)
    for stem, raster in operation.rasters.items():
        write_cog(home / f"{stem}.tif", raster)
    for stem, png in operation.maps.items():
        (home / MAPS / f"{stem}.png").write_bytes(png)
