"""The ground of a season as it is drawn: each outline, and what is drawn in it, shape by shape."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.errors import Problem
from evenacre.io.common.problem_collector import ProblemCollector
from evenacre.io.maps.field_layers import NAME_COLUMNS, names_of, read_boundary
from evenacre.io.maps.read_layer import LayerCache, Source, read_layer
from evenacre.io.result_folder.whole_file import write_whole
from evenacre.io.season.files import KnownShapes, SeasonFiles
from evenacre.io.season.pasture.paddocks import Paddocks, read_paddocks
from evenacre.io.season.pasture.schema import GrazingTable, PaddocksTable, PaddockTable
from evenacre.io.season.schema import DrivenTable, FieldTable, SourceTable, as_source

Kind = Literal["field", "paddock"]
PARTS = {
    "unworkable": "The ground not worked",
    "cross": "The waterway",
    "keep_out": "The wet ground",
    "setbacks": "What to keep away from",
    "line": "The line",
    "gate": "The gate",
}
"""What is drawn of a plot beside its outline, by key."""
_MODELS: Mapping[str, type[DrivenTable]] = {"field": FieldTable, "paddock": PaddockTable}
_DECIMALS = 9  # of degrees: a tenth of a millimetre


@dataclass(frozen=True)
class Shape:
    """A shape of a map in longitude and latitude, with what it is called there."""

    geometry: BaseGeometry
    name: str = ""


@dataclass(frozen=True)
class Plot:
    """A field or a paddock.

    Attributes
    ----------
    number : int or None
        Among the tables of its kind; None of a paddock that only the map of paddocks knows.
    table : mapping
        As it stands in the season file.
    outline : geometry or None
        Longitude and latitude; None where it is not given, or cannot be read.
    drawn_in : str
        The file of its outline; empty of a paddock that goes by a field's.
    on_map : bool
        Whether the map of paddocks has it.
    parts : dict of str to tuple of Shape
        What else is drawn of it, by key.
    """

    kind: Kind
    name: str
    number: int | None
    table: Mapping[str, Any]
    outline: BaseGeometry | None = None
    drawn_in: str = ""
    on_map: bool = False
    parts: Mapping[str, tuple[Shape, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Ground:
    """All ground of a season.

    Attributes
    ----------
    map_shapes : dict of str to geometry
        Outlines on the map of paddocks, by name.
    """

    plots: tuple[Plot, ...] = ()
    map_shapes: Mapping[str, BaseGeometry] = field(default_factory=dict)

    def plot(self, kind: str, name: str) -> Plot | None:
        """The plot of a name."""
        return next((one for one in self.plots if (one.kind, one.name) == (kind, name)), None)

    def beside(self, kind: str, name: str) -> list[Plot]:
        """Plots with an outline, but for one and for those that go by its outline."""
        return [
            one
            for one in self.plots
            if one.outline is not None
            and (one.kind, one.name) != (kind, name)
            and (one.drawn_in or one.name != name)
        ]


def read_ground(raw: Mapping[str, Any], base: Path, known: KnownShapes | None = None) -> Ground:
    """Read the ground of a season as far as it can be read; what is wrong is left to `load`.

    Parameters
    ----------
    raw : mapping
        The season's tables.
    base : Path
        Its folder.
    known : mapping, optional
        Maps that are not read again; those that are read join them.
    """
    files = SeasonFiles(base, ProblemCollector(lambda _: ("", "")), known=known)
    plots = [_plot("field", number, table, files, {}) for number, table in _named(raw, "field")]
    fields = {one.name: one.outline for one in plots if one.outline is not None}
    map_shapes, map_file = _map_of_paddocks(raw.get("paddocks"), files)
    for number, table in _named(raw, "paddock"):
        one = _plot("paddock", number, table, files, {**map_shapes, **fields})
        goes_by_map = not one.drawn_in and one.name in map_shapes and one.name not in fields
        plots.append(
            Plot(
                *("paddock", one.name, number, table, one.outline),
                map_file if goes_by_map else one.drawn_in,
                one.name in map_shapes,
                one.parts,
            )
        )
    listed = {one.name for one in plots if one.kind == "paddock"}
    plots += [
        Plot(
            *("paddock", name, None, {}, fields.get(name, shape)),
            "" if name in fields else map_file,
            on_map=True,
        )
        for name, shape in map_shapes.items()
        if name not in listed
    ]
    return Ground(tuple(plots), map_shapes)


def read_shapes(
    source: Source, column: str | None = None, *, cache: LayerCache | None = None
) -> tuple[tuple[Shape, ...], list[str]]:
    """Read every feature of a map, one by one."""
    frame, warnings = read_layer(source, polygons=False, cache=cache)
    names = names_of(frame, NAME_COLUMNS, source, column)
    pairs = zip(frame.geometry.array, names, strict=True)
    return tuple(Shape(shape, name) for shape, name in pairs), warnings


def verdict(
    plot: Plot, beside: Sequence[Plot], written: Mapping[str, Any]
) -> tuple[list[Problem], list[str]]:
    """What the season's own readers say of a plot whose shapes no file holds yet.

    Parameters
    ----------
    plot : Plot
        As it is to be; its outline is there.
    beside : sequence of Plot
        The others.
    written : mapping
        What its table says beside shapes, by key: ``{"cross": {"width": "30 ft"}}``.

    Returns
    -------
    list of Problem
        The key of the table is the place, with dots; what readers say of a map has none.
    list of str
        Warnings.
    """
    held: dict[str, gpd.GeoDataFrame] = {"The outline": _frame([Shape(plot.outline)])}
    table: dict[str, Any] = {"name": plot.name, "boundary": "The outline"}
    for key, label in PARTS.items():
        if shapes := plot.parts.get(key):
            held[label] = _frame(shapes)
            table[key] = {"file": label, **written.get(key, {})}
    problems = ProblemCollector(lambda path: ("", ".".join(map(str, path[2:]))))
    files = SeasonFiles(Path(), problems, held)
    if plot.kind == "field":
        checked = problems.check(FieldTable, table, ("field", 0), ("name",))
        said = files.field(checked, ("field", 0))[1] if checked else []
        return problems.problems, said
    paddocks = [one for one in beside if one.kind == "paddock"]
    for number, one in enumerate(paddocks):
        held[f"Outline {number}"] = _frame([Shape(one.outline)])
    others = [{"name": one.name, "boundary": f"Outline {n}"} for n, one in enumerate(paddocks)]
    entries = [*others, table]
    read = Paddocks(files, {}, GrazingTable(), None, entries, grazed=False)
    mine = [p for p in problems.problems if p.file or f'"{plot.name}"' in p.what or p.place]
    return mine, [text for text in read.warnings if f'"{plot.name}"' in text or '"' not in text]


def write_shapes(path: Path, shapes: Sequence[Shape]) -> None:
    """Write shapes as GeoJSON (RFC 7946), whole or not at all."""
    features = [
        {
            "type": "Feature",
            "properties": {"name": one.name} if one.name else {},
            "geometry": json.loads(shapely.to_geojson(rounded(one.geometry))),
        }
        for one in shapes
    ]
    content = json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False)
    write_whole(path, f"{content}\n".encode())


def rounded(shape: BaseGeometry) -> BaseGeometry:
    """A shape in degrees as it is written: to a tenth of a millimetre, shells anticlockwise."""
    return shapely.orient_polygons(shapely.transform(shape, lambda xy: np.round(xy, _DECIMALS)))


def _named(raw: Mapping[str, Any], key: str) -> Iterator[tuple[int, Mapping[str, Any]]]:
    held = raw.get(key)
    for number, table in enumerate(held if isinstance(held, list) else [held]):
        name = table.get("name") if isinstance(table, Mapping) else None
        if isinstance(name, str) and name.strip():
            yield number, table


def _map_of_paddocks(drawn: object, files: SeasonFiles) -> tuple[dict[str, BaseGeometry], str]:
    path = ("paddocks",)
    table = files.problems.check(PaddocksTable, as_source(drawn), path) if drawn else None
    if table is None:
        return {}, ""
    frame = files.shapes(read_paddocks, table, path, [], name_column=table.name_column)
    if frame is None:
        return {}, ""
    return dict(zip(frame["name"], frame.geometry, strict=True)), table.file


def _plot(
    kind: Kind,
    number: int,
    written: Mapping[str, Any],
    files: SeasonFiles,
    known: Mapping[str, BaseGeometry],
) -> Plot:
    name = str(written["name"]).strip()
    table: Any = files.problems.check(_MODELS[kind], written, (kind, number), ("name",))
    if table is None:
        return Plot(kind, name, number, written)
    outline, drawn_in = known.get(name), ""
    if table.boundary is not None:
        outline = files.shapes(read_boundary, table.boundary, (kind, number, "boundary"), [])
        drawn_in = table.boundary.file
    parts: dict[str, tuple[Shape, ...]] = {}
    for key in PARTS:
        drawn: Any = getattr(table, key, None)
        if isinstance(drawn, list):  # of several, each by itself, nothing can be drawn as one
            drawn = drawn[0] if len(drawn) == 1 else None
        if getattr(drawn, "place", None) is not None:
            parts[key] = (Shape(shapely.Point(drawn.place[::-1])),)
        elif drawn is not None and drawn.file is not None:
            source = SourceTable(
                **{name: getattr(drawn, name) for name in SourceTable.model_fields}
            )
            column = getattr(drawn, "name_column", None)
            read = files.shapes(read_shapes, source, (kind, number, key), [], column)
            parts[key] = read or ()
    return Plot(kind, name, number, written, outline, drawn_in, parts=parts)


def _frame(shapes: Sequence[Shape]) -> gpd.GeoDataFrame:
    names = {"name": [one.name for one in shapes]}
    return gpd.GeoDataFrame(names, geometry=[one.geometry for one in shapes], crs="EPSG:4326")
