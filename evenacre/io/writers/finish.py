"""A plan to come out even as GeoJSON."""

from __future__ import annotations

import json
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from evenacre.io.writers.json_file import json_text

_DEGREE_DIGITS = 7


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
