"""Runs of fixes made from shapes: times where none are told, and the tool up between runs."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np
import pyarrow as pa

from evenacre.geo.geodesy import step_m
from evenacre.io.common.findings import Findings
from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.clock import Clock
from evenacre.io.logs.columns.column_roles import ColumnPlan, ColumnUse
from evenacre.io.logs.columns.work_states import working_states
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr
from evenacre.model import BoolArray, FloatArray, IntArray, Track

NOMINAL_SPEED_MPS = 2.0
"""Assumed where a file has an order but no times."""

_DOWN = "tool down"
_STOP_S = 0.01  # time at either end of a run in which its tool is said to be up
_BETWEEN_RUNS_S = 60.0


def run_tracks(
    table: RecordTable,
    plan: ColumnPlan,
    time_zone: str | None,
    findings: Findings,
    *,
    feature: IntArray,
    runs: IntArray,
    lon: FloatArray,
    lat: FloatArray,
    clock: Clock,
    without: Collection[str],
    measured: Mapping[str, FloatArray] | None = None,
) -> list[Track]:
    """Turn n fixes made from features into tracks whose tool is up between runs.

    Parameters
    ----------
    table, plan : RecordTable, ColumnPlan
        Of the features; every fix gets the attributes of its own.
    feature, runs : (n,) int
        Row of the feature each fix comes from, and the number of its run, in order.
    lon, lat : (n,) float
        Degrees.
    clock : Clock
        Times of the fixes.
    without : collection of str
        Roles that say something of the feature but not of its fixes.
    measured : mapping of str to array, optional
        SI values by role found from the shapes themselves, one per feature.
    """
    measured = measured or {}
    rows, time_s, down = _with_stops(clock.time_s, runs)
    feature = feature[rows]
    data = table.data.take(pa.array(feature))
    working = working_states(table, plan, findings)
    if working is not None:
        down = down & working[feature]
    uses = [use for use in plan.uses if use.role not in {*without, "work", *measured}]
    for role, values in measured.items():
        name = f"{role} of the shape"
        data = data.append_column(name, pa.array(values[feature]))
        uses.append(ColumnUse(role, "", name, 1.0, asked=True))
    data = data.append_column(_DOWN, pa.array(down))
    uses.append(ColumnUse("work", "", _DOWN, None, asked=True))
    moving = replace(table, data=data, place=lambda row: table.place(int(feature[row])))
    clock = replace(clock, time_s=time_s)
    own = ColumnPlan(tuple(uses))
    return build_tracks(moving, lon[rows], lat[rows], own, time_zone, findings, clock=clock)


def nominal_clock(
    file: str, lon: FloatArray, lat: FloatArray, runs: IntArray, findings: Findings
) -> Clock:
    """Give times by distance at a nominal speed, with a pause between runs."""
    findings.warn(
        tr(
            "{file}: it holds no times; the order of the file and {nominal_speed:g} m/s are "
            "assumed, so times and speeds are not known.",
            file=file,
            nominal_speed=NOMINAL_SPEED_MPS,
        )
    )
    fresh = np.diff(runs, prepend=runs[:1]) != 0
    pause = np.where(fresh, _BETWEEN_RUNS_S, np.nan_to_num(step_m(lon, lat)) / NOMINAL_SPEED_MPS)
    return Clock(np.cumsum(pause), dated=False, assumed=True)


def _with_stops(time_s: FloatArray, runs: IntArray) -> tuple[IntArray, FloatArray, BoolArray]:
    """Add a record with the tool up at both ends of every run, so that runs do not join.

    Returns which fix each record repeats, its time and whether the tool is down. Times are drawn
    together by a hundredth of a second, so that a run stays within its own time even where the
    next one starts as it ends.
    """
    fresh = np.diff(runs) != 0
    firsts = np.flatnonzero(np.concatenate(([True], fresh)))
    lasts = np.flatnonzero(np.concatenate((fresh, [True])))
    sizes = lasts - firsts + 1
    begin, length = time_s[firsts], time_s[lasts] - time_s[firsts]
    room = np.clip(length / 10, 0.0, _STOP_S)
    shrink = np.where(length > 0, 1 - 2 * room / np.where(length > 0, length, 1.0), 1.0)
    since = time_s - np.repeat(begin, sizes)
    inside = np.repeat(begin + room, sizes) + since * np.repeat(shrink, sizes)
    rows = np.concatenate((firsts, np.arange(len(runs)), lasts))
    place = np.repeat([-1, 0, 1], [len(firsts), len(runs), len(lasts)])
    times = np.concatenate((begin + room / 2, inside, time_s[lasts] - room / 2))
    order = np.lexsort((place, rows))
    return rows[order].astype(np.int64), times[order], place[order] == 0
