"""Open one layer of a map file of any kind and bring it to WGS 84."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from evenacre.errors import InputError
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.maps.crs import to_wgs84
from evenacre.io.tables.headers import read_header
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.archives import Member, Unpacked, open_archive, unpacked
from evenacre.io.untrusted.files import read_start, read_whole
from evenacre.io.untrusted.kinds import LOOKED_AT, MAPS, SHAPEFILE_PARTS, MapKind, map_kind
from evenacre.io.untrusted.map_reader import UnreadableMapError, map_reader
from evenacre.io.untrusted.shapefile import with_index
from evenacre.language import tr

_ZIPPED = MAPS | {".json"}
IN_ZIPS = _ZIPPED | set(SHAPEFILE_PARTS)
"""Suffixes of maps and their parts in zips."""
_DEGREES = ("longitude", "latitude")
_POLYGONAL = {"Polygon", "MultiPolygon", "CurvePolygon", "MultiSurface"}
_LINEAR = {"LineString", "MultiLineString"}
FORMATS = "GeoJSON, GeoPackage, Shapefile (all its parts, or zipped), KML, FlatGeobuf or GeoParquet"


Rank = Callable[[Sequence[str]], int]

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
    inside: Unpacked | None = None  # what was taken out of it already, with `IN_ZIPS`

    @property
    def name(self) -> str:
        """How the file is named to people."""
        return self.label or self.path.name

    def error(self, what: str, remedy: str, layer: str = "") -> InputError:
        """Build the error for something wrong in the file, or in a layer of it."""
        return InputError.at(
            self.name, tr('layer "{layer}"', layer=layer) if layer else "", what, remedy
        )


def read_layer(
    source: Source,
    *,
    polygons: bool = True,
    cache: LayerCache | None = None,
    wanted: Rank | None = None,
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Read the chosen features of one layer: two-dimensional, no empty geometry.

    The index is the feature's number in the file, from 1.

    Parameters
    ----------
    polygons : bool
        Prefer the one layer with polygons when the file has several and none is named.
    cache : LayerCache, optional
        Keeps whole layers between calls, for files that hold many fields.
    wanted : callable, optional
        Tells by the names of its attributes how well a layer is what is looked for, 0: not at
        all; asked when the file has several.
    """
    warnings: list[str] = []
    cache = {} if cache is None else cache
    key = (source.path, source.layer, polygons)
    if key not in cache:
        layer, frame, warnings = _read(source, polygons, wanted)
        cache[key] = layer, frame
    layer, frame = cache[key]
    if frame.empty:
        raise source.error(tr("There are no features in it."), tr("Export it again."), layer)
    frame = _select(source, frame)
    blank = frame.geometry.isna() | frame.geometry.is_empty
    if blank.all():
        remedy = tr("Export it again with its geometry.")
        raise source.error(tr("None of its features has a shape."), remedy, layer)
    if blank.any():
        numbers = ", ".join(str(i) for i in frame.index[blank][:10])
        warnings.append(
            tr(
                "{name}: {blank} features have no shape and were left out ({numbers}).",
                name=source.name,
                blank=blank.sum(),
                numbers=numbers,
            )
        )
        frame = frame[~blank]
    frame = frame.set_geometry(shapely.force_2d(frame.geometry.array), crs=frame.crs)
    if wanted is not None and source.crs is None and frame.crs is None:
        frame = _placed_by_columns(source, frame, warnings)
    frame, more = to_wgs84(frame, source.name, source.crs)
    return frame, warnings + more


def layer_names(source: Source) -> list[str]:
    """Name every layer with shapes of a map file, or of those in a zip."""
    with _layers(source, []) as layers:
        return [_shown(layer, layers) for layer in layers]


class _Layer(NamedTuple):
    """A layer of a map file, or of one of those in a zip."""

    file: Path
    name: str
    kind: str
    member: str = ""  # the file's name in the zip

    def is_called(self, name: str) -> bool:
        """Whether a person may call it so: by its layer, or by its file in the zip."""
        return name in (self.name, self.member, PurePosixPath(self.member).name, self.full)

    @property
    def full(self) -> str:
        """A name that no other layer has."""
        return f"{self.member}/{self.name}" if self.member else self.name


def _unreadable(source: Source) -> InputError:
    return source.error(
        tr("It could not be read as a map file."), tr("Export it as {formats}.", formats=FORMATS)
    )


def _inside(source: Source) -> AbstractContextManager[Unpacked]:
    if source.inside is not None:
        return nullcontext(source.inside)
    return unpacked(source.path, source.name, IN_ZIPS)


@contextmanager
def _map_files(source: Source, warnings: list[str]) -> Iterator[list[Member]]:
    """The map file itself, or those in a zip for as long as they are needed."""
    start = read_start(source.path, LOOKED_AT, source.name)
    if not start:
        raise source.error(tr("The file is empty."), tr("Export or copy it again."))
    kind = map_kind(start)
    if kind is MapKind.GML:
        # A schema beside it could name others anywhere; a copy by itself needs none.
        with tempfile.TemporaryDirectory(prefix="evenacre-") as folder:
            copy = Path(folder, source.path.name)
            copy.write_bytes(read_whole(source.path, source.name, budget.MAP_BYTES))
            yield [Member(copy, "")]
    elif kind is MapKind.SHAPEFILE:
        with with_index(source.path, source.name, warnings) as file:
            yield [Member(file, "")]
    elif kind is not MapKind.ZIP:
        yield [Member(source.path, "")]
    else:
        with (
            _inside(source) as found,
            ExitStack() as indexed,
        ):
            warnings += found.warnings
            files = [member for member in found.members if member.file.suffix in _ZIPPED]
            if not files and found.refused:
                raise InputError(found.refused)
            if not files:
                with open_archive(source.path, source.name):
                    pass  # what may have kept it from being known for something else
                raise source.error(
                    tr("There is no map file in the zip."), tr("Put in {formats}.", formats=FORMATS)
                )
            yield [
                member._replace(
                    file=indexed.enter_context(with_index(member.file, source.name, warnings))
                )
                if member.file.suffix == ".shp"
                else member
                for member in files
            ]


@contextmanager
def _layers(source: Source, warnings: list[str]) -> Iterator[list[_Layer]]:
    """The layers of a file, or of every map file in a zip."""
    with _map_files(source, warnings) as files:
        found: list[_Layer] = []
        damaged: list[str] = []
        for file, member in files:
            try:
                layers = map_reader().layers(file, source.name)
            except UnreadableMapError:
                if file.suffix != ".json":  # beside a map it may be anything that describes it
                    damaged.append(member)
                continue
            found += [_Layer(file, name, kind, member) for name, kind in layers]
        if not found:
            if damaged or len(files) == 1:
                raise _unreadable(source)
            raise source.error(
                tr("There is no layer with shapes in it."),
                tr("Export it as {formats}.", formats=FORMATS),
            )
        if damaged:
            warnings.append(
                tr(
                    "{name}: {listed} could not be read as a map and was passed over.",
                    name=source.name,
                    listed=listed(damaged),
                )
            )
        yield found


def ranked_layers(source: Source, wanted: Rank) -> dict[str, int]:
    """Names of the layers in a file and their ranks; empty when it holds no map."""
    try:
        with _layers(source, []) as layers:
            return {_shown(layer, layers): wanted(_fields(layer, source)) for layer in layers}
    except (InputError, UnreadableMapError):
        return {}


def _read(
    source: Source, polygons: bool, wanted: Rank | None
) -> tuple[str, gpd.GeoDataFrame, list[str]]:
    """Name and features of the one layer that is wanted, and what was suspicious about the file."""
    warnings: list[str] = []
    with _layers(source, warnings) as layers:
        try:
            layer = _choose(source, layers, polygons, wanted)
            if wanted and source.layer is None and len(layers) > 1:
                others = listed(_shown(other, layers) for other in layers if other != layer)
                warnings.append(
                    tr(
                        '{name}: of its layers "{shown}" was read, because its attributes '
                        "are those of a log, and not {others}.",
                        name=source.name,
                        shown=_shown(layer, layers),
                        others=others,
                    )
                )
            frame = map_reader().read(layer.file, layer.name, source.name)
        except UnreadableMapError:
            raise _unreadable(source) from None
    if not isinstance(frame, gpd.GeoDataFrame):
        remedy = tr("Export it as {formats}.", formats=FORMATS)
        raise source.error(tr("It is a table without shapes."), remedy, layer.name)
    return layer.name, frame.set_axis(pd.RangeIndex(1, len(frame) + 1), axis=0), warnings


def _choose(
    source: Source,
    layers: list[_Layer],
    polygons: bool,
    wanted: Rank | None,
) -> _Layer:
    if source.layer is not None:
        called = [layer for layer in layers if layer.is_called(source.layer)]
        if len(called) == 1:
            return called[0]
        names = [_shown(layer, layers) for layer in called or layers]
        if called:
            what = tr(
                'Several layers are called "{layer}": {listed}.',
                layer=source.layer,
                listed=listed(names),
            )
            raise source.error(what, tr('Name one of these, such as "{names}".', names=names[0]))
        raise source.error(
            tr(
                'There is no layer "{layer}". The file has {listed}.',
                layer=source.layer,
                listed=listed(names),
            ),
            choice(source.layer, names),
        )
    if len(layers) > 1 and polygons:
        # Failing areas, an outline may have been walked and stored as a line.
        drawn = [layer for layer in layers if _may_hold(_POLYGONAL, layer, source)]
        layers = drawn or [layer for layer in layers if _may_hold(_LINEAR, layer, source)] or layers
    if len(layers) > 1 and wanted:
        ranks = [wanted(_fields(layer, source)) for layer in layers]
        layers = [layer for layer, rank in zip(layers, ranks, strict=True) if rank == max(ranks)]
    if len(layers) > 1:
        names = [_shown(layer, layers) for layer in layers]
        raise source.error(
            tr("It holds several layers: {listed}.", listed=listed(names)),
            tr(
                'Name one: layer = "{names}" (on the command line --boundary-layer, '
                "--tracks-layer, --zones-layer, --unworkable-layer or --setbacks-layer).",
                names=names[0],
            ),
        )
    return layers[0]


def _shown(layer: _Layer, layers: Sequence[_Layer]) -> str:
    """The shortest name that tells a layer from the others."""
    for name in (layer.name, PurePosixPath(layer.member).name, layer.member):
        if name and sum(other.is_called(name) for other in layers) == 1:
            return name
    return layer.full


def _fields(layer: _Layer, source: Source) -> list[str]:
    return map_reader().fields(layer.file, layer.name, source.name)


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
                tr('There is no attribute "{column}" to select by.', column=column),
                choice(column, columns, tr("The file has no attributes.")),
            )
        values = frame[column]
        kept = frame[values.map(attribute_text) == attribute_text(value)]
        if kept.empty:
            known = sorted({attribute_text(v) for v in values} - {""})
            raise source.error(
                tr('No feature has {column} = "{value}".', column=column, value=value),
                choice(str(value), known, tr("The attribute is empty everywhere.")),
            )
        frame = kept
    return frame


def _placed_by_columns(
    source: Source, frame: gpd.GeoDataFrame, warnings: list[str]
) -> gpd.GeoDataFrame:
    """Points of an unknown system put where their attributes say that they are in degrees."""
    named = {read_header(str(name)).full: name for name in frame.columns.drop(frame.geometry.name)}
    places = [pd.to_numeric(frame[named[n]], errors="coerce") for n in _DEGREES if n in named]
    shapes = frame.geometry.array
    if len(places) != 2 or np.abs(frame.total_bounds).max() <= 360:
        return frame
    lon, lat = places
    if (shapes.geom_type != "Point").any() or not (lon.abs().le(180) & lat.abs().le(90)).all():
        return frame
    warnings.append(
        tr(
            "{name}: it does not say which coordinate system it is in; positions are those "
            'of its columns "{name_2}" and "{name_3}".',
            name=source.name,
            name_2=lon.name,
            name_3=lat.name,
        )
    )
    return frame.set_geometry(gpd.points_from_xy(lon, lat), crs="EPSG:4326")


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
