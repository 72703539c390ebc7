"""Files of a finished plan to come out even."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from evenacre.io.result_folder.ownership import SUMMARY, write_account
from evenacre.io.result_folder.staging import staged_folder
from evenacre.io.writers.json_file import json_text
from evenacre.processes.written import Written

_DEGREE_DIGITS = 7


def write_finish(
    out: Path,
    account: dict[str, Any],
    features: gpd.GeoDataFrame | None,
    png: bytes | None,
    *,
    written: Written | None = None,
) -> None:
    """Write ``summary.json``, ``finish.geojson`` and ``finish.png``, all or nothing.

    Parameters
    ----------
    out : Path
        An earlier result of the same kind is replaced; that of an audit is not.
    account : dict
        JSON types only, with its ``schema``.
    features : GeoDataFrame or None
        EPSG:4326; None when there is no field to draw.
    png : bytes or None
    written : Written, optional
        Told what was written, and of files that were kept.

    Raises
    ------
    InputError
        When the folder holds anything else, or cannot be written.
    """
    kind, _, _ = account["schema"].rpartition("/")
    with staged_folder(out, kind=kind, written=written) as stage:
        if features is not None:
            (stage / "finish.geojson").write_text(
                geojson_text(features), encoding="utf-8", newline="\n"
            )
        if png is not None:
            (stage / "finish.png").write_bytes(png)
        write_account(stage, SUMMARY, account)


def geojson_text(features: gpd.GeoDataFrame) -> str:
    """Features as GeoJSON (RFC 7946); what is not known is null.

    Parameters
    ----------
    features : GeoDataFrame
        EPSG:4326.
    """
    shapes = shapely.set_precision(features.geometry.to_numpy(), 10.0**-_DEGREE_DIGITS)
    rows = features.drop(columns=features.geometry.name).to_dict("records")
    collection = {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "geometry": json.loads(shapely.to_geojson(shapely.orient_polygons(shape))),
                "properties": {str(name): _plain(value) for name, value in row.items()},
            }
            for shape, row in zip(shapes, rows, strict=True)
        ],
    }
    return json_text(collection, indent=1) + "\n"


def _plain(value: Any) -> Any:
    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return None
    if isinstance(value, np.generic):
        value = value.item()
    return round(value, 3) if isinstance(value, float) else value
