"""Vector layers as GeoPackage, GeoParquet and GeoJSON."""

from __future__ import annotations

import errno
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from evenacre.io.common.json_text import json_text
from evenacre.shown_text import shown

_CONFIGURED = {
    # The format wants a time of last change; a fixed one keeps equal results equal.
    "OGR_CURRENT_DATE": "2000-01-01T00:00:00.000Z",
    # Whoever puts the file in its place sees to it that the disk has it: once, and not after
    # each of some 200 steps, which takes longer than a small audit.
    "OGR_SQLITE_SYNCHRONOUS": "OFF",
}
_DEGREE_DIGITS = 7
_PROPERTY_DIGITS = 3


def write_geopackage(path: Path, layers: Mapping[str, gpd.GeoDataFrame]) -> None:
    """Write every layer, empty ones too, as multi-part geometries of one kind, else of polygons.

    OSError when the disk does not take it.
    """
    with _configured():
        for name, frame in layers.items():
            whole = frame[~(frame.geometry.is_empty | frame.geometry.isna())]
            kinds = {g.geom_type for g in shapely.get_parts(whole.geometry.to_numpy())}
            try:
                pyogrio.write_dataframe(
                    _shown_frame(whole),
                    path,
                    layer=name,
                    driver="GPKG",
                    geometry_type=f"Multi{kinds.pop()}" if kinds else "MultiPolygon",
                    promote_to_multi=True,
                    append=False,
                )
            except (DataSourceError, DataLayerError) as error:
                raise OSError(errno.EIO, f"{path.name}: {error}") from error


@contextmanager
def _configured() -> Iterator[None]:
    before = {name: pyogrio.get_gdal_config_option(name) for name in _CONFIGURED}
    pyogrio.set_gdal_config_options(_CONFIGURED)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


def write_geoparquet(path: Path, frame: gpd.GeoDataFrame) -> None:
    """Write one layer as GeoParquet 1.0, its coordinate system inside, which it has to have."""
    if frame.crs is None:
        raise ValueError("a layer without a coordinate system cannot be stored")
    _shown_frame(frame).reset_index(drop=True).to_parquet(
        path, index=False, compression="zstd", geometry_encoding="WKB", schema_version="1.0.0"
    )


def write_geojson(path: Path, frame: gpd.GeoDataFrame) -> None:
    """Write one layer, in EPSG:4326, as GeoJSON (RFC 7946); what is not known is null."""
    shapes = shapely.set_precision(frame.geometry.to_numpy(), 10.0**-_DEGREE_DIGITS)
    rows = frame.drop(columns=frame.geometry.name).to_dict("records")
    features = [
        {
            "type": "Feature",
            "geometry": json.loads(shapely.to_geojson(shapely.orient_polygons(shape))),
            "properties": {str(name): _plain(value) for name, value in row.items()},
        }
        for shape, row in zip(shapes, rows, strict=True)
    ]
    text = json_text({"type": "FeatureCollection", "features": features}, indent=1)
    path.write_text(f"{text}\n", encoding="utf-8", newline="\n")


def _plain(value: Any) -> Any:
    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return None
    if isinstance(value, np.generic):
        value = value.item()
    return round(value, _PROPERTY_DIGITS) if isinstance(value, float) else value


def _shown_frame(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Leave out of every text of a layer, and of its columns' names, what nobody should see."""
    texts = [n for n, kind in frame.dtypes.items() if pd.api.types.is_string_dtype(kind)]
    clean = {n: [shown(v) if isinstance(v, str) else v for v in frame[n]] for n in texts}
    return frame.assign(**clean).rename(columns=shown)
