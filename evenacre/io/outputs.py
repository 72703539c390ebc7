"""Every file of an audit, into one folder."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from evenacre.deliverables import Deliverables
from evenacre.io.fixlist_out import write_geojson, write_gpx
from evenacre.io.gpkg_out import write_geopackage
from evenacre.io.parquet_out import write_geoparquet, write_layers
from evenacre.io.raster_out import write_cog
from evenacre.io.staging import SUMMARY
from evenacre.io.table_out import write_tables

__all__ = ["write_outputs"]


def write_outputs(folder: Path, deliverables: Deliverables) -> dict[str, Any]:
    """Write a whole result into an empty folder.

    Parameters
    ----------
    folder : Path
        From :func:`evenacre.io.staging.staged_folder`.
    deliverables : Deliverables
        With one operation its rasters and ``maps`` lie at the root; with several each has a
        folder of its own.

    Returns
    -------
    dict
        As in ``summary.json``.
    """
    (folder / "report.html").write_text(deliverables.report, encoding="utf-8", newline="\n")
    write_geopackage(folder / "layers.gpkg", deliverables.layers)
    write_tables(folder / "tables", folder / "tables.xlsx", deliverables.tables)
    write_gpx(folder / "fix_list.gpx", deliverables.fix_list)
    write_geojson(folder / "fix_list.geojson", deliverables.fix_list)
    if deliverables.tracks is not None:
        write_layers(folder / "geoparquet", deliverables.layers)
        write_geoparquet(folder / "geoparquet" / "tracks.parquet", deliverables.tracks)
    several = len(deliverables.operations) > 1
    for operation in deliverables.operations:
        home = folder / operation.slug if several else folder
        (home / "maps").mkdir(parents=True)
        for stem, raster in operation.rasters.items():
            write_cog(home / f"{stem}.tif", raster)
        for stem, png in operation.maps.items():
            (home / "maps" / f"{stem}.png").write_bytes(png)
    return _write_summary(folder, deliverables)


def _write_summary(folder: Path, deliverables: Deliverables) -> dict[str, Any]:
    """Write the summary last, with the list of files that belong to the result."""
    present = [p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()]
    account = {**deliverables.summary, "files": sorted([*present, SUMMARY])}
    text = json.dumps(account, ensure_ascii=False, allow_nan=False, indent=2)
    (folder / SUMMARY).write_text(text + "\n", encoding="utf-8", newline="\n")
    return account
