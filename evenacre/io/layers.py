"""Open one layer of a map file of any kind and bring it to WGS 84."""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from evenacre.errors import InputError
from evenacre.io.guards import check_attributes, check_own_data
from evenacre.io.hints import choice, listed
from evenacre.io.wgs84 import to_wgs84

_PARQUET = {".parquet", ".geoparquet", ".pq"}
_ZIPPED = {".shp", ".gpkg", ".geojson", ".json", ".kml", ".fgb"}
_POLYGONAL = {"Polygon", "MultiPolygon", "CurvePolygon", "MultiSurface"}
_LINEAR = {"LineString", "MultiLineString"}
FORMATS = "GeoJSON, GeoPackage, Shapefile (all its parts, or zipped), KML, FlatGeobuf or GeoParquet"


@dataclass(frozen=True)
class Source:
    """Where a layer is to be read from.

    Attributes
    ----------
    path : Path
    layer : str or None
        Needed when the file holds several.
    where : mapping of str to value
        Keep only the features whose attributes have these values.
    crs : str or None
        What the coordinates are in, over whatever the file says.
    label : str
        How the file is named to people; its name when empty.
    """

    path: Path
    layer: str | None = None
    where: Mapping[str, object] = field(default_factory=dict)
    crs: str | None = None
    label: str = ""

    @property
    def name(self) -> str:
        """How the file is named to people."""
        return self.label or self.path.name


def read_layer(
    source: Source, *, polygons: bool = True, cache: dict[object, gpd.GeoDataFrame] | None = None
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Read the chosen features of one layer.

    Parameters
    ----------
    source : Source
    polygons : bool
        Prefer the one layer with polygons when the file has several and none is named.
    cache : dict, optional
        Keeps whole layers between calls, for files that hold many fields.

    Returns
    -------
    GeoDataFrame
        In EPSG:4326, two-dimensional, no empty geometry, longitudes running on past 180
        where the features cross the antimeridian. The index is the feature's number in
        the file, from 1.
    list of str
        Warnings.

    Raises
    ------
    InputError
        When the file, layer, attribute or coordinate system is missing or unusable.
    """
    warnings: list[str] = []
    dataset, layer = _find_layer(source, polygons)
    key = (dataset, layer)
    frame = None if cache is None else cache.get(key)
    if frame is None:
        frame = _read(source, dataset, layer)
        if cache is not None:
            cache[key] = frame
    if frame.empty:
        raise InputError.at(
            source.name, _place(layer), "There are no features in it.", "Export it again."
        )
    frame = _select(source, frame)
    blank = frame.geometry.isna() | frame.geometry.is_empty
    if blank.all():
        raise InputError.at(
            source.name,
            _place(layer),
            "None of its features has a shape.",
            "Export it again with its geometry.",
        )
    if blank.any():
        numbers = ", ".join(str(i) for i in frame.index[blank][:10])
        warnings.append(
            f"{source.name}: {blank.sum()} features have no shape and were left out ({numbers})."
        )
        frame = frame[~blank]
    frame = frame.set_geometry(shapely.force_2d(frame.geometry.array), crs=frame.crs)
    frame, doubts = to_wgs84(frame, source.name, source.crs)
    return frame, warnings + doubts


def layer_names(path: Path) -> list[str]:
    """Return the names of the layers of a map file.

    Raises
    ------
    InputError
        When it cannot be opened.
    """
    if path.suffix.lower() in _PARQUET:
        return [path.stem]
    return [name for _, name, _ in _layers(Source(path))]


def _place(layer: str | None) -> str:
    return f'layer "{layer}"' if layer else ""


def _check_exists(source: Source) -> None:
    if not source.path.exists():
        raise InputError.at(
            source.name, "", "There is no such file.", "Check the name and the folder."
        )
    if source.path.is_file() and source.path.stat().st_size == 0:
        raise InputError.at(source.name, "", "The file is empty.", "Export or copy it again.")


def _unreadable(source: Source) -> InputError:
    if source.path.suffix.lower() == ".shp" and not source.path.with_suffix(".shx").exists():
        return InputError.at(
            source.name,
            "",
            "A Shapefile is several files, and the .shx part is not beside it.",
            "Copy all the parts (.shp, .shx, .dbf, .prj) into one folder.",
        )
    return InputError.at(
        source.name, "", "It could not be read as a map file.", f"Export it as {FORMATS}."
    )


def _layers(source: Source) -> list[tuple[str, str, str]]:
    """List (data set, layer, geometry type) of a file or of every map file in a zip."""
    _check_exists(source)
    datasets = [str(source.path)]
    if source.path.is_file():
        try:
            with source.path.open("rb") as file:
                check_own_data(file, source.name)
        except OSError:
            raise _unreadable(source) from None
    if source.path.suffix.lower() == ".zip":
        try:
            with zipfile.ZipFile(source.path) as archive:
                members = sorted(n for n in archive.namelist() if Path(n).suffix.lower() in _ZIPPED)
                # The Mac's archiver adds a hidden copy of each name.
                members = [n for n in members if not n.startswith("__MACOSX")]
                for member in members:
                    with archive.open(member) as file:
                        check_own_data(file, source.name)
        except (zipfile.BadZipFile, OSError, RuntimeError, zlib.error):  # locked ones too
            raise _unreadable(source) from None
        if not members:
            raise InputError.at(
                source.name, "", "There is no map file in the zip.", f"Put in {FORMATS}."
            )
        datasets = [f"/vsizip/{source.path.resolve()}/{member}" for member in members]
    found = []
    for dataset in datasets:
        try:
            rows = pyogrio.list_layers(dataset)
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError):
            raise _unreadable(source) from None
        found += [(dataset, str(name), str(kind)) for name, kind in rows if kind is not None]
    if not found:
        raise InputError.at(
            source.name, "", "There is no layer with shapes in it.", f"Export it as {FORMATS}."
        )
    return found


def _find_layer(source: Source, polygons: bool) -> tuple[str, str | None]:
    if source.path.suffix.lower() in _PARQUET:
        _check_exists(source)
        return str(source.path), None
    layers = _layers(source)
    names = [name for _, name, _ in layers]
    if source.layer is not None:
        for dataset, name, _ in layers:
            if name == source.layer:
                return dataset, name
        raise InputError.at(
            source.name,
            "",
            f'There is no layer "{source.layer}". The file has {listed(names)}.',
            choice(source.layer, names),
        )
    if len(layers) > 1 and polygons:
        # Failing areas, an outline may have been walked and stored as a line.
        drawn = [layer for layer in layers if _may_hold(_POLYGONAL, *layer)]
        layers = drawn or [layer for layer in layers if _may_hold(_LINEAR, *layer)] or layers
    if len(layers) > 1:
        raise InputError.at(
            source.name,
            "",
            f"It holds several layers: {listed(name for _, name, _ in layers)}.",
            f'Name one: layer = "{layers[0][1]}" (on the command line --boundary-layer, '
            "--tracks-layer, --zones-layer, --unworkable-layer or --setbacks-layer).",
        )
    return layers[0][0], layers[0][1]


def _may_hold(wanted: set[str], dataset: str, layer: str, kind: str) -> bool:
    plain = re.sub(r"^(2\.5D|3D|Measured)\s+|\s+(Z|M|ZM)$", "", kind)
    if plain not in wanted and plain not in ("Unknown", "GeometryCollection"):
        return False
    shapes = pyogrio.read_dataframe(dataset, layer=layer, columns=[], on_invalid="ignore")
    return bool(isinstance(shapes, gpd.GeoDataFrame) and shapes.geom_type.isin(wanted).any())


def _read(source: Source, dataset: str, layer: str | None) -> gpd.GeoDataFrame:
    try:
        with np.errstate(invalid="ignore"):  # coordinates that are not numbers: said below
            if layer is None:
                frame = gpd.read_parquet(dataset)
            else:
                check_attributes(dataset, layer, source.name, _place(layer))
                frame = pyogrio.read_dataframe(dataset, layer=layer, on_invalid="ignore")
    except InputError:
        raise
    except Exception as error:  # each driver and codec has its own kind of failure
        if isinstance(error, MemoryError):
            raise
        raise _unreadable(source) from error
    if not isinstance(frame, gpd.GeoDataFrame):
        raise InputError.at(
            source.name, _place(layer), "It is a table without shapes.", f"Export it as {FORMATS}."
        )
    return frame.set_axis(pd.RangeIndex(1, len(frame) + 1), axis=0)


def _select(source: Source, frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Keep the features whose attributes have the wanted values."""
    for column, value in source.where.items():
        columns = [str(c) for c in frame.columns if c != frame.geometry.name]
        if column not in columns:
            raise InputError.at(
                source.name,
                "",
                f'There is no attribute "{column}" to select by.',
                choice(column, columns, "The file has no attributes."),
            )
        values = frame[column]
        kept = frame[values.map(attribute_text) == attribute_text(value)]
        if kept.empty:
            known = sorted({attribute_text(v) for v in values} - {""})
            raise InputError.at(
                source.name,
                "",
                f'No feature has {column} = "{value}".',
                choice(str(value), known, "The attribute is empty everywhere."),
            )
        frame = kept
    return frame


def attribute_text(value: object) -> str:
    """Return an attribute as text: whole numbers without a point, missing ones empty."""
    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, float | np.floating) and float(value).is_integer():
        return str(int(value))
    return str(value).strip()
