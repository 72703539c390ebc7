"""Open one layer of a map file of any kind and bring it to WGS 84."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from evenacre.errors import InputError
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.maps.crs import to_wgs84
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.archives import unpacked
from evenacre.io.untrusted.files import read_start, read_whole
from evenacre.io.untrusted.kinds import LOOKED_AT, MapKind, map_kind
from evenacre.io.untrusted.map_reader import UnreadableMapError, map_reader

_ZIPPED = {".shp", ".gpkg", ".geojson", ".json", ".kml", ".fgb"}
_PARTS = {".shx", ".dbf", ".prj", ".cpg"}
_POLYGONAL = {"Polygon", "MultiPolygon", "CurvePolygon", "MultiSurface"}
_LINEAR = {"LineString", "MultiLineString"}
FORMATS = "GeoJSON, GeoPackage, Shapefile (all its parts, or zipped), KML, FlatGeobuf or GeoParquet"


LayerCache = dict[tuple[Path, str | None, bool], tuple[str, gpd.GeoDataFrame]]
"""Layers already read: by file, layer asked for and whether areas are preferred."""


@dataclass(frozen=True)
class Source:
    """Where a layer is to be read from."""

    path: Path
    layer: str | None = None  # needed when the file holds several
    # Keep only the features whose attributes have these values
    where: Mapping[str, object] = field(default_factory=dict)
    crs: str | None = None  # what the coordinates are in, over whatever the file says
    label: str = ""  # how the file is named to people; its name when empty

    @property
    def name(self) -> str:
        """How the file is named to people."""
        return self.label or self.path.name

    def error(self, what: str, remedy: str, layer: str = "") -> InputError:
        """Build the error for something wrong in the file, or in a layer of it."""
        return InputError.at(self.name, f'layer "{layer}"' if layer else "", what, remedy)


def read_layer(
    source: Source, *, polygons: bool = True, cache: LayerCache | None = None
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Read the chosen features of one layer: two-dimensional, no empty geometry.

    The index is the feature's number in the file, from 1.

    Parameters
    ----------
    polygons : bool
        Prefer the one layer with polygons when the file has several and none is named.
    cache : LayerCache, optional
        Keeps whole layers between calls, for files that hold many fields.
    """
    warnings: list[str] = []
    cache = {} if cache is None else cache
    key = (source.path, source.layer, polygons)
    if key not in cache:
        cache[key] = _read(source, polygons)
    layer, frame = cache[key]
    if frame.empty:
        raise source.error("There are no features in it.", "Export it again.", layer)
    frame = _select(source, frame)
    blank = frame.geometry.isna() | frame.geometry.is_empty
    if blank.all():
        remedy = "Export it again with its geometry."
        raise source.error("None of its features has a shape.", remedy, layer)
    if blank.any():
        numbers = ", ".join(str(i) for i in frame.index[blank][:10])
        warnings.append(
            f"{source.name}: {blank.sum()} features have no shape and were left out ({numbers})."
        )
        frame = frame[~blank]
    frame = frame.set_geometry(shapely.force_2d(frame.geometry.array), crs=frame.crs)
    frame, more = to_wgs84(frame, source.name, source.crs)
    return frame, warnings + more


def layer_names(source: Source) -> list[str]:
    """Name every layer with shapes of a map file, or of those in a zip."""
    with _layers(source) as layers:
        return [layer.name for layer in layers]


class _Layer(NamedTuple):
    """A layer of a map file, or of one of those in a zip."""

    file: Path
    name: str
    kind: str


def _unreadable(source: Source) -> InputError:
    if source.path.suffix.lower() == ".shp" and not source.path.with_suffix(".shx").exists():
        return source.error(
            "A Shapefile is several files, and the .shx part is not beside it.",
            "Copy all the parts (.shp, .shx, .dbf, .prj) into one folder.",
        )
    return source.error("It could not be read as a map file.", f"Export it as {FORMATS}.")


@contextmanager
def _map_files(source: Source) -> Iterator[list[Path]]:
    """The map file itself, or those in a zip for as long as they are needed."""
    start = read_start(source.path, LOOKED_AT, source.name)
    if not start:
        raise source.error("The file is empty.", "Export or copy it again.")
    kind = map_kind(start)
    if kind is MapKind.GML:
        # A schema beside it could name others anywhere; a copy by itself needs none.
        with tempfile.TemporaryDirectory(prefix="evenacre-") as folder:
            copy = Path(folder, source.path.name)
            copy.write_bytes(read_whole(source.path, source.name, budget.MAP_BYTES))
            yield [copy]
        return
    if kind is not MapKind.ZIP:
        yield [source.path]
        return
    with unpacked(source.path, source.name, _ZIPPED | _PARTS) as members:
        files = [file for file, _ in members if file.suffix in _ZIPPED]
        if not files:
            raise source.error("There is no map file in the zip.", f"Put in {FORMATS}.")
        yield files


@contextmanager
def _layers(source: Source) -> Iterator[list[_Layer]]:
    """The layers of a file, or of every map file in a zip."""
    with _map_files(source) as files:
        try:
            found = [
                _Layer(file, name, kind)
                for file in files
                for name, kind in map_reader().layers(file, source.name)
            ]
        except UnreadableMapError:
            raise _unreadable(source) from None
        if not found:
            raise source.error("There is no layer with shapes in it.", f"Export it as {FORMATS}.")
        yield found


def _read(source: Source, polygons: bool) -> tuple[str, gpd.GeoDataFrame]:
    """Name and features of the one layer that is wanted."""
    with _layers(source) as layers:
        try:
            layer = _choose(source, layers, polygons)
            frame = map_reader().read(layer.file, layer.name, source.name)
        except UnreadableMapError:
            raise _unreadable(source) from None
    if not isinstance(frame, gpd.GeoDataFrame):
        remedy = f"Export it as {FORMATS}."
        raise source.error("It is a table without shapes.", remedy, layer.name)
    return layer.name, frame.set_axis(pd.RangeIndex(1, len(frame) + 1), axis=0)


def _choose(source: Source, layers: list[_Layer], polygons: bool) -> _Layer:
    names = [layer.name for layer in layers]
    if source.layer is not None:
        for layer in layers:
            if layer.name == source.layer:
                return layer
        raise source.error(
            f'There is no layer "{source.layer}". The file has {listed(names)}.',
            choice(source.layer, names),
        )
    if len(layers) > 1 and polygons:
        # Failing areas, an outline may have been walked and stored as a line.
        drawn = [layer for layer in layers if _may_hold(_POLYGONAL, layer, source)]
        layers = drawn or [layer for layer in layers if _may_hold(_LINEAR, layer, source)] or layers
    if len(layers) > 1:
        raise source.error(
            f"It holds several layers: {listed(layer.name for layer in layers)}.",
            f'Name one: layer = "{layers[0].name}" (on the command line --boundary-layer, '
            "--tracks-layer, --zones-layer, --unworkable-layer or --setbacks-layer).",
        )
    return layers[0]


def _may_hold(wanted: set[str], layer: _Layer, source: Source) -> bool:
    plain = re.sub(r"^(2\.5D|3D|Measured)\s+|\s+(Z|M|ZM)$", "", layer.kind)
    if plain not in wanted and plain not in ("Unknown", "GeometryCollection"):
        return False
    shapes = map_reader().read(layer.file, layer.name, source.name, shapes_only=True)
    return bool(isinstance(shapes, gpd.GeoDataFrame) and shapes.geom_type.isin(wanted).any())


def _select(source: Source, frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Keep the features whose attributes have the wanted values."""
    for column, value in source.where.items():
        columns = [str(c) for c in frame.columns if c != frame.geometry.name]
        if column not in columns:
            raise source.error(
                f'There is no attribute "{column}" to select by.',
                choice(column, columns, "The file has no attributes."),
            )
        values = frame[column]
        kept = frame[values.map(attribute_text) == attribute_text(value)]
        if kept.empty:
            known = sorted({attribute_text(v) for v in values} - {""})
            raise source.error(
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


def held_layer(frame: gpd.GeoDataFrame) -> tuple[str, gpd.GeoDataFrame]:
    """What a cache of layers holds of a map that was handed over instead of a file."""
    return "", frame.set_axis(pd.RangeIndex(1, len(frame) + 1), axis=0)
