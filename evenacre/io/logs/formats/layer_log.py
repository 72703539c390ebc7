"""Tracks from map layers of points, lines or polygons."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import shapely

from evenacre.errors import InputError
from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.column_roles import plan_columns
from evenacre.io.logs.columns.positions import to_degrees
from evenacre.io.logs.columns.records_table import Findings, Table
from evenacre.io.logs.formats.line_log import line_tracks
from evenacre.io.logs.formats.polygon_log import polygon_tracks
from evenacre.io.maps.read_layer import LayerCache, Source, read_layer
from evenacre.model import Track

_SINGLE = shapely.GeometryType.POLYGON  # kinds with a higher number have several parts


def read_layer_tracks(
    path: Path,
    columns: Mapping[str, str],
    layer: str | None,
    crs: str | None,
    time_zone: str | None,
) -> list[Track]:
    """Read a log kept as a map layer.

    Points are fixes, each line is a working pass, and each polygon a step of one.

    Parameters
    ----------
    path : Path
    columns : mapping of str to str
        Role to attribute name; see ``columns.ROLES``.
    layer : str or None
        Which layer, when the file holds several.
    crs : str or None
        What the coordinates are in, over whatever the file says.
    time_zone : str or None
        Zone of times that name none.

    Raises
    ------
    InputError
        When the layer cannot be read as a log.
    """
    return layer_tracks(Source(path, layer, crs=crs), columns, time_zone)


def layer_tracks(
    source: Source,
    columns: Mapping[str, str],
    time_zone: str | None,
    cache: LayerCache | None = None,
) -> list[Track]:
    """Read a log from a layer, as `read_layer_tracks` does; one that is at hand from a cache."""
    file = source.name
    frame, warnings = read_layer(source, polygons=False, cache=cache)
    findings = Findings(warnings=list(warnings))
    if (shapely.get_type_id(frame.geometry.array) > _SINGLE).any():
        frame = frame.explode()
    shapes = np.asarray(frame.geometry.array)
    _, first = np.unique(shapely.get_type_id(shapes), return_index=True)
    kinds = {shape.geom_type for shape in shapes[first]}
    if len(kinds) > 1:
        raise InputError.at(
            file,
            "",
            f"the layer mixes shapes: {', '.join(sorted(kinds))}.",
            "Export points, lines or polygons alone.",
        )
    table = _attributes(file, frame)
    plan = plan_columns(table, columns, findings, placed=True)
    kind = kinds.pop()
    if source.path.suffix.lower() == ".fgb" and not any(
        plan.get(r) for r in ("time", "date", "start")
    ):
        findings.warn(
            f"{file}: files of this kind do not keep the order of their features, and there "
            "are no times to put them in order."
        )
    if kind in ("LineString", "LinearRing"):
        return line_tracks(table, shapes, plan, time_zone, findings)
    if kind == "Polygon":
        return polygon_tracks(table, shapes, plan, time_zone, findings)
    lon, lat = to_degrees(
        shapely.get_x(shapes), shapely.get_y(shapes), None, file, "points", findings,
        labelled=True,
    )  # fmt: skip
    return build_tracks(table, lon, lat, plan, time_zone, findings)


def _attributes(file: str, frame: gpd.GeoDataFrame) -> Table:
    """Attributes of features as a table; the frame's index numbers the features."""
    attributes = pd.DataFrame(frame.drop(columns=frame.geometry.name)).reset_index(drop=True)
    columns = {str(name): _cells(attributes[name]) for name in attributes.columns}
    data = pa.table(columns)
    if not columns:
        data = pa.table({"feature": pa.array(frame.index.to_numpy())})
    numbers = frame.index.to_numpy()
    return Table(file, data, lambda row: f"feature {numbers[row]:,}")


def _cells(values: pd.Series[Any]) -> pa.Array:
    """One attribute as numbers, states, times or text; lists, objects and bytes as text."""
    try:
        cells = pa.array(values, from_pandas=True)
    except (pa.ArrowInvalid, pa.ArrowTypeError, pa.ArrowNotImplementedError):
        cells = None
    if cells is None or pa.types.is_nested(cells.type) or pa.types.is_binary(cells.type):
        return pa.array(values.astype(str), pa.string())
    return cells
