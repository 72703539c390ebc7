"""Tracks that tell ground: shapes that no drive can be read from."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pyarrow as pa
import shapely

from evenacre.geo.geodesy import ShapeArray
from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.common.findings import Findings
from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.clock import Clock
from evenacre.io.logs.columns.column_roles import NAMED_ROLES, ColumnPlan
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr, trn
from evenacre.model import FloatArray, IntArray, Track


def ground_tracks(
    table: RecordTable,
    shapes: ShapeArray,
    inside: FloatArray,
    plane: WorkingPlane,
    plan: ColumnPlan,
    clock: Clock | None,
    time_zone: str | None,
    findings: Findings,
    *,
    without: Collection[str] = (),
) -> list[Track]:
    """Make tracks of which each record is its shape.

    Parameters
    ----------
    shapes : (n,) array of geometry
        In degrees, one for each row of the table.
    inside : (n, 2) float
        A place in each shape, in the plane.
    clock : Clock or None
        When each shape was worked, where the log tells that; it orders nothing.
    without : collection of str
        Further roles that say nothing here.
    """
    drawn = (shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON).all()
    if drawn and all(use.role in NAMED_ROLES for use in plan.uses):
        findings.warn(
            tr(
                "{file}: nothing in it tells of work: no time, width, state or amount. What "
                "it holds ({polygons}) was taken as worked ground; an outline of a field "
                "goes with --boundary.",
                file=table.file,
                polygons=trn("{count:,} polygon", "{count:,} polygons", len(shapes)),
            )
        )
    timed = clock is not None and bool(np.isfinite(clock.time_s).any())
    if clock is None or not timed:
        clock = Clock(np.zeros(len(shapes)), dated=False, assumed=True)
    else:
        known = np.isfinite(clock.time_s)
        clock = replace(clock, time_s=np.where(known, clock.time_s, clock.time_s[known].min()))
    uses = tuple(use for use in plan.uses if use.role not in without)
    lon, lat = plane.lonlat(inside[:, 0], inside[:, 1])
    return build_tracks(
        table, lon, lat, ColumnPlan(uses), time_zone, findings, clock=clock, ground=shapes
    )


def rows_of(table: RecordTable, kept: IntArray) -> RecordTable:
    """Some rows of a table, each under its own name."""
    return replace(
        table,
        data=table.data.take(pa.array(kept)),
        place=lambda row: table.place(int(kept[row])),
    )
