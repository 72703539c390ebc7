"""Tracks from map layers: points are fixes; lines and polygons are a drive, or ground."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import shapely

from evenacre.errors import InputError
from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.common.findings import Findings
from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.clock import Clock, read_clock
from evenacre.io.logs.columns.column_roles import ColumnPlan, log_rank, plan_columns
from evenacre.io.logs.columns.columns_read import Seen
from evenacre.io.logs.columns.positions import checked_degrees
from evenacre.io.logs.formats.ground_log import ground_tracks, rows_of
from evenacre.io.logs.formats.polygon_log import polygon_tracks
from evenacre.io.logs.formats.runs import NOMINAL_SPEED_MPS, run_tracks
from evenacre.io.maps.read_layer import LayerCache, Source, read_layer
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr, trn
from evenacre.model import FloatArray, IntArray, Track

_SINGLE = shapely.GeometryType.POLYGON  # kinds with a higher number have several parts
# A long straight line has two vertices; fixes as dense as a log's keep passes from being
# taken for gaps.
_SPACING_M = 2.0
_USUAL_FIXES = 1e6  # of longer drives fixes lie further apart
_MOST_M = 5e6  # more than any drill drives in a season
# What a line says of its whole length says nothing of one fix.
_WHOLE_LINE = ("distance", "interval", "mass", "heading", "time", "date", "start", "end")


def read_layer_tracks(
    source: Source,
    columns: Mapping[str, str],
    time_zone: str | None,
    cache: LayerCache | None = None,
    *,
    seen: Seen | None = None,
) -> list[Track]:
    """Read a log kept as a map layer, or at hand in a cache; arguments as of `read_tracks`."""
    path = source.path
    frame, warnings = read_layer(source, polygons=False, cache=cache, wanted=log_rank)
    findings = Findings(warnings=list(warnings))
    dimension = shapely.get_dimensions(frame.geometry.array)
    if (shapely.get_type_id(frame.geometry.array) > _SINGLE).any() and (dimension < 2).any():
        frame = frame.explode()
    shapes = np.asarray(frame.geometry.array)
    _, first = np.unique(shapely.get_type_id(shapes), return_index=True)
    kinds = {shape.geom_type.removeprefix("Multi") for shape in shapes[first]}
    if len(kinds) > 1:
        raise InputError.at(
            path.name,
            "",
            tr("the layer mixes shapes: {names}.", names=", ".join(sorted(kinds))),
            tr("Export points, lines or polygons alone."),
        )
    table = _attributes(path.name, frame)
    plan = plan_columns(table, columns, findings, placed=True, seen=seen)
    kind = kinds.pop()
    order_matters = kind == "Point" and not any(plan.get(r) for r in ("time", "date", "start"))
    if path.suffix.lower() == ".fgb" and order_matters:
        findings.warn(
            tr(
                "{name}: files of this kind do not keep the order of their features, and "
                "there are no times to put them in order.",
                name=path.name,
            )
        )
    if kind in ("LineString", "LinearRing"):
        return line_tracks(table, shapes, plan, time_zone, findings)
    if kind == "Polygon":
        return polygon_tracks(table, shapes, plan, time_zone, findings)
    x, y = shapely.get_x(shapes), shapely.get_y(shapes)
    lon, lat = checked_degrees(x, y, path.name, "points", findings)
    return build_tracks(table, lon, lat, plan, time_zone, findings)


def _attributes(file: str, frame: gpd.GeoDataFrame) -> RecordTable:
    """Attributes of features as a table; the frame's index numbers the features."""
    attributes = pd.DataFrame(frame.drop(columns=frame.geometry.name)).reset_index(drop=True)
    columns = {str(name): _cells(attributes[name]) for name in attributes.columns}
    data = pa.table(columns)
    if not columns:
        data = pa.table({"feature": pa.array(frame.index.to_numpy())})
    numbers = frame.index.to_numpy()
    return RecordTable(file, data, lambda row: f"feature {numbers[row]:,}")


def _cells(values: pd.Series[Any]) -> pa.Array:
    """One attribute as numbers, states, times or text, as the map reader gave it; bytes as text."""
    cells = pa.array(values, from_pandas=True)
    return pa.array(values.astype(str)) if pa.types.is_binary(cells.type) else cells


def line_tracks(
    table: RecordTable,
    shapes: npt.NDArray[np.object_],
    plan: ColumnPlan,
    time_zone: str | None,
    findings: Findings,
) -> list[Track]:
    """Turn lines with times into tracks whose tool is down along each line and up between them.

    What a line says holds for the whole of it; ``start`` and ``end`` (or ``time``) are the times
    at its ends. Lines without times are ground as wide as the tool.
    """
    plane = WorkingPlane.around(shapes)
    lines = plane.project(shapes)
    lengths = shapely.length(lines)
    kept = np.flatnonzero(lengths > 0)
    if not kept.size:
        raise table.error("", tr("no line has a length."), tr("Export the passes again."))
    if lengths.sum() > _MOST_M:
        raise table.error(
            "",
            tr(
                "its lines are {lengths:,.0f} km long together, which no drill drives.",
                lengths=lengths.sum() / 1000.0,
            ),
            tr("Check their coordinates, or export fewer passes at a time."),
        )
    if kept.size < len(lines):
        findings.warn(
            tr(
                "{file}: left out {lines} without a length.",
                file=table.file,
                lines=trn("{count:,} line", "{count:,} lines", len(lines) - kept.size),
            )
        )
    start_use = plan.get("start") or plan.get("time")
    begun = None
    if start_use is not None:
        begun = read_clock(table, start_use, plan.get("date"), time_zone, findings)
    if begun is None or np.isnan(begun.time_s[kept]).any():
        findings.note(
            tr(
                "{file}: each of the {size:,} lines is taken as ground as wide as the tool, "
                "not as a drive, because it tells no times.",
                file=table.file,
                size=kept.size,
            )
        )
        middles = shapely.line_interpolate_point(lines[kept], 0.5, normalized=True)
        inside = shapely.get_coordinates(middles)
        table = rows_of(table, kept)
        return ground_tracks(
            table,
            shapes[kept],
            inside,
            plane,
            plan,
            None,
            time_zone,
            findings,
            without=("interval",),
        )
    findings.note(
        tr(
            "{file}: each of the {size:,} lines is taken as a working pass, in the order of "
            "the file.",
            file=table.file,
            size=kept.size,
        )
    )
    if plan.get("mass") is not None:
        findings.warn(
            tr("{file}: the mass of a whole line is not used; give its rate.", file=table.file)
        )
    spacing_m = max(_SPACING_M, lengths.sum() / _USUAL_FIXES)
    xy, own = shapely.get_coordinates(shapely.segmentize(lines[kept], spacing_m), return_index=True)
    lon, lat = plane.lonlat(xy[:, 0], xy[:, 1])
    along = _along(xy, own)
    clock = _clock(table, plan, begun, kept, lengths[kept], along, own, time_zone, findings)
    return run_tracks(
        table,
        plan,
        time_zone,
        findings,
        feature=kept[own],
        runs=own,
        lon=lon,
        lat=lat,
        clock=clock,
        without=_WHOLE_LINE,
    )


def _along(xy: FloatArray, own: IntArray) -> FloatArray:
    """Distance of each vertex from the start of its own line."""
    step = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)
    total = np.cumsum(step)
    first = np.concatenate(([True], np.diff(own) != 0))
    return np.asarray(total - np.repeat(total[first], np.diff(np.flatnonzero([*first, True]))))


def _clock(
    table: RecordTable,
    plan: ColumnPlan,
    begun: Clock,
    kept: IntArray,
    lengths: FloatArray,
    along: FloatArray,
    own: IntArray,
    time_zone: str | None,
    findings: Findings,
) -> Clock:
    """Times of the vertices from the times at the ends of their lines."""
    start = begun.time_s[kept]
    duration = lengths / NOMINAL_SPEED_MPS
    end_use = plan.get("end")
    if end_use is None:
        findings.note(
            tr(
                "{file}: lines have a start but no end; {nominal_speed:g} m/s is assumed "
                "along them.",
                file=table.file,
                nominal_speed=NOMINAL_SPEED_MPS,
            )
        )
    else:
        ended = read_clock(table, end_use, plan.get("date"), time_zone, findings).time_s[kept]
        good = ended > start
        if not good.all():
            findings.warn(
                tr(
                    "{file}: {lines} not end after its start; {nominal_speed:g} m/s is "
                    "assumed along them.",
                    file=table.file,
                    lines=trn("{count:,} line does", "{count:,} lines do", (~good).sum()),
                    nominal_speed=NOMINAL_SPEED_MPS,
                )
            )
        duration = np.where(good, ended - start, duration)
    return Clock(start[own] + along / lengths[own] * duration[own], begun.dated)
