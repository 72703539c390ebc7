"""Vector layers into one GeoPackage."""

from __future__ import annotations

import errno
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from evenacre.io.writers.cells import shown_frame

# The format wants a time of last change; a fixed one keeps equal results equal.
_DATE = "2000-01-01T00:00:00.000Z"
_MULTI = {"Polygon": "MultiPolygon", "LineString": "MultiLineString", "Point": "MultiPoint"}


def write_geopackage(path: Path, layers: Mapping[str, gpd.GeoDataFrame]) -> None:
    """Write every layer, empty ones too, as multi-part geometries.

    Parameters
    ----------
    path : Path
        Must not exist.
    layers : mapping of str to GeoDataFrame
        Layer name to features; all with the same kind of geometry within a layer. A layer
        without features is stored as polygons.

    Raises
    ------
    OSError
        When the disk does not take it.
    """
    with _fixed_date():
        for name, frame in layers.items():
            try:
                pyogrio.write_dataframe(
                    shown_frame(_whole(frame)),
                    path,
                    layer=name,
                    driver="GPKG",
                    geometry_type=_geometry_type(frame),
                    promote_to_multi=True,
                    append=False,
                )
            except (DataSourceError, DataLayerError) as error:
                raise OSError(errno.EIO, f"{path.name}: {error}") from error


def _whole(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Drop features that have no geometry left."""
    return frame[~(frame.geometry.is_empty | frame.geometry.isna())]


def _geometry_type(frame: gpd.GeoDataFrame) -> str:
    kinds = {g.geom_type for g in shapely.get_parts(_whole(frame).geometry.to_numpy())}
    return _MULTI[kinds.pop()] if kinds else "MultiPolygon"


@contextmanager
def _fixed_date() -> Iterator[None]:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _DATE})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
