"""Tracks from lines: each a working pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import shapely

from evenacre.errors import InputError
from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.clock import Clock, read_clock
from evenacre.io.logs.columns.column_roles import Plan
from evenacre.io.logs.columns.records_table import Findings, Table, counted
from evenacre.io.logs.nominal_times import NOMINAL_SPEED_MPS, nominal_clock, with_stops
from evenacre.io.logs.shape_fixes import RunFixes, run_table
from evenacre.model import FloatArray, IntArray, Track

# A long straight line has two vertices; fixes as dense as a log's keep passes from being
# taken for gaps.
_SPACING_M = 2.0
_USUAL_FIXES = 1e6  # of longer drives fixes lie further apart
_MOST_M = 5e6  # more than any drill drives in a season
# What a line says of its whole length says nothing of one fix.
_WHOLE_LINE = ("distance", "interval", "heading", "time", "date", "start", "end")


def line_tracks(
    table: Table,
    shapes: npt.NDArray[np.object_],
    plan: Plan,
    time_zone: str | None,
    findings: Findings,
) -> list[Track]:
    """Turn lines into tracks whose tool is down along each line and up between lines.

    Parameters
    ----------
    table : Table
        Attributes of n lines; those with a role hold for the whole of their line.
    shapes : (n,) array of LineString
        WGS 84 degrees.
    plan : Plan
        ``start`` and ``end`` (or ``time``) are the times at the ends of a line.
    time_zone : str or None
    findings : Findings

    Raises
    ------
    InputError
        When no line has a length, or all are too long to have been driven.
    """
    plane = WorkingPlane.around(shapes)
    lines = plane.project(shapes)
    lengths = shapely.length(lines)
    kept = np.flatnonzero(lengths > 0)
    if not kept.size:
        raise InputError.at(table.file, "", "no line has a length.", "Export the passes again.")
    if lengths.sum() > _MOST_M:
        raise InputError.at(
            table.file,
            "",
            f"its lines are {lengths.sum() / 1e3:,.0f} km long together, which no drill drives.",
            "Check their coordinates, or export fewer passes at a time.",
        )
    if kept.size < len(lines):
        findings.warn(
            f"{table.file}: left out {counted(len(lines) - kept.size, 'line')} without a length."
        )
    findings.note(
        f"{table.file}: each of the {kept.size:,} lines is taken as a working pass, in the order "
        "of the file."
    )
    spacing_m = max(_SPACING_M, lengths.sum() / _USUAL_FIXES)
    xy, own = shapely.get_coordinates(shapely.segmentize(lines[kept], spacing_m), return_index=True)
    lon, lat = plane.lonlat(xy[:, 0], xy[:, 1])
    along = _along(xy, own)
    clock = _clock(table, plan, kept, lengths[kept], along, own, time_zone, findings)
    if clock is None:
        clock = nominal_clock(table.file, lon, lat, own, findings)
    rows, time_s, down = with_stops(clock.time_s, own)
    fixes = RunFixes(kept[own][rows], lon[rows], lat[rows], down)
    moving, plan = run_table(table, plan, fixes, findings, without=_WHOLE_LINE)
    return build_tracks(
        moving,
        fixes.lon,
        fixes.lat,
        plan,
        time_zone,
        findings,
        clock=replace(clock, time_s=time_s),
    )


def _along(xy: FloatArray, own: IntArray) -> FloatArray:
    """Distance of each vertex from the start of its own line."""
    step = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)
    total = np.cumsum(step)
    first = np.concatenate(([True], np.diff(own) != 0))
    return np.asarray(total - np.repeat(total[first], np.diff(np.flatnonzero([*first, True]))))


def _clock(
    table: Table,
    plan: Plan,
    kept: IntArray,
    lengths: FloatArray,
    along: FloatArray,
    own: IntArray,
    time_zone: str | None,
    findings: Findings,
) -> Clock | None:
    """Times of the vertices from the times at the ends of their lines, if those are logged."""
    start_use = plan.get("start") or plan.get("time")
    if start_use is None:
        return None
    begun = read_clock(table, start_use, plan.get("date"), time_zone, findings)
    start = begun.time_s[kept]
    if np.isnan(start).any():
        findings.warn(f"{table.file}: some lines have no time, so no times are used.")
        return None
    duration = lengths / NOMINAL_SPEED_MPS
    end_use = plan.get("end")
    if end_use is None:
        findings.note(
            f"{table.file}: lines have a start but no end; {NOMINAL_SPEED_MPS:g} m/s is assumed "
            "along them."
        )
    else:
        ended = read_clock(table, end_use, plan.get("date"), time_zone, findings).time_s[kept]
        good = ended > start
        if not good.all():
            findings.warn(
                f"{table.file}: {counted((~good).sum(), 'line', 'do')} not end after its start; "
                f"{NOMINAL_SPEED_MPS:g} m/s is assumed along them."
            )
        duration = np.where(good, ended - start, duration)
    return Clock(start[own] + along / lengths[own] * duration[own], begun.dated)
