"""Vector layers as GeoPackage, GeoParquet and GeoJSON."""

from __future__ import annotations

import errno
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

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
_KINDS = {0: "Point", 1: "LineString", 3: "Polygon"}
_DEGREE_DIGITS = 7
_PROPERTY_DIGITS = 3


def write_geopackage(path: Path, layers: Mapping[str, gpd.GeoDataFrame]) -> None:
    """Write every layer, empty ones too, as multi-part geometries of one kind, else of polygons.

    OSError when the disk does not take it.
    """
    with _configured():
        for name, frame in layers.items():
            shapes = frame.geometry.to_numpy()
            nothing = shapely.is_empty(shapes) | shapely.is_missing(shapes)
            whole = frame[~nothing] if nothing.any() else frame
            kinds = np.unique(shapely.get_type_id(shapely.get_parts(whole.geometry.to_numpy())))
            try:
                pyogrio.write_dataframe(
                    _shown_frame(whole),
                    path,
                    layer=name,
                    driver="GPKG",
                    geometry_type=f"Multi{_KINDS[kinds[0]]}" if len(kinds) else "MultiPolygon",
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


def write_geoparquet(path: Path | BinaryIO, frame: gpd.GeoDataFrame) -> None:
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
    clean = {}
    for name, kind in frame.dtypes.items():
        if pd.api.types.is_string_dtype(kind):
            texts = frame[name].tolist()
            said = {text: shown(text) for text in set(texts) if isinstance(text, str)}
            if any(text != whole for whole, text in said.items()):
                clean[name] = [said.get(text, text) for text in texts]
    frame = frame.assign(**clean) if clean else frame
    return frame if all(name == shown(name) for name in frame) else frame.rename(columns=shown)
