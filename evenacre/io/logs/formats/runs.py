"""Runs of fixes made from shapes: times where none are told, and the tool up between runs."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from evenacre.geo.geodesy import step_m
from evenacre.io.common.findings import Findings
from evenacre.io.logs.columns.clock import Clock
from evenacre.io.logs.columns.column_roles import ColumnPlan, ColumnUse
from evenacre.io.logs.columns.records_table import RecordTable
from evenacre.io.logs.columns.work_states import working_states
from evenacre.model import BoolArray, FloatArray, IntArray

_DOWN = "tool down"


@dataclass(frozen=True)
class RunFixes:
    """Fixes made from features."""

    feature: IntArray  # (m,) row of the feature each comes from
    # (m,) Degrees
    lon: FloatArray
    lat: FloatArray
    down: BoolArray  # (m,) False where the tool is up between two runs


def run_table(
    table: RecordTable,
    plan: ColumnPlan,
    fixes: RunFixes,
    findings: Findings,
    *,
    without: Collection[str],
    measured: Mapping[str, FloatArray] | None = None,
) -> tuple[RecordTable, ColumnPlan]:
    """Give every fix the attributes of its feature.

    Parameters
    ----------
    table, plan : RecordTable, ColumnPlan
        Of the features.
    without : collection of str
        Roles that say something of the feature but not of its fixes.
    measured : mapping of str to (n,) float, optional
        SI values by role found from the shapes themselves, one per feature.
    """
    data = table.data.take(pa.array(fixes.feature))
    working = working_states(table, plan, findings)
    down = fixes.down if working is None else fixes.down & working[fixes.feature]
    uses = [use for use in plan.uses if use.role not in {*without, "work", *(measured or {})}]
    for role, values in (measured or {}).items():
        name = f"{role} of the shape"
        data = data.append_column(name, pa.array(values[fixes.feature]))
        uses.append(ColumnUse(role, "", name, 1.0, asked=True))
    data = data.append_column(_DOWN, pa.array(down))
    uses.append(ColumnUse("work", "", _DOWN, None, asked=True))
    moving = RecordTable(
        table.file, data, lambda row: table.place(int(fixes.feature[row])), table.decimal_comma
    )
    return moving, ColumnPlan(tuple(uses))


NOMINAL_SPEED_MPS = 2.0
"""Assumed where a file has an order but no times."""

STOP_S = 0.01
"""Time at either end of a run in which its tool is said to be up."""

_BETWEEN_RUNS_S = 60.0


def nominal_clock(
    file: str, lon: FloatArray, lat: FloatArray, runs: IntArray, findings: Findings
) -> Clock:
    """Give times by distance at a nominal speed, with a pause between runs.

    Parameters
    ----------
    lon, lat : (n,) float
        Degrees.
    runs : (n,) int
        Number of the run each fix belongs to, in order.
    """
    findings.warn(
        f"{file}: it holds no times; the order of the file and {NOMINAL_SPEED_MPS:g} m/s are "
        "assumed, so times and speeds are not known."
    )
    fresh = np.diff(runs, prepend=runs[:1]) != 0
    pause = np.where(fresh, _BETWEEN_RUNS_S, np.nan_to_num(step_m(lon, lat)) / NOMINAL_SPEED_MPS)
    return Clock(np.cumsum(pause), dated=False, assumed=True)


def with_stops(time_s: FloatArray, runs: IntArray) -> tuple[IntArray, FloatArray, BoolArray]:
    """Add a record with the tool up at both ends of every run, so that runs do not join.

    Parameters
    ----------
    time_s : (n,) float
        Times of the fixes.
    runs : (n,) int
        Number of the run each fix belongs to, in order.

    Returns
    -------
    rows : (m,) int
        Which fix each record repeats.
    time_s : (m,) float
        Times of the records, drawn together by a hundredth of a second so that a run stays
        within its own time even where the next one starts as it ends.
    down : (m,) bool
        False for the added records.
    """
    fresh = np.diff(runs) != 0
    firsts = np.flatnonzero(np.concatenate(([True], fresh)))
    lasts = np.flatnonzero(np.concatenate((fresh, [True])))
    sizes = lasts - firsts + 1
    begin, length = time_s[firsts], time_s[lasts] - time_s[firsts]
    room = np.clip(length / 10, 0.0, STOP_S)
    shrink = np.where(length > 0, 1 - 2 * room / np.where(length > 0, length, 1.0), 1.0)
    since = time_s - np.repeat(begin, sizes)
    inside = np.repeat(begin + room, sizes) + since * np.repeat(shrink, sizes)
    rows = np.concatenate((firsts, np.arange(len(runs)), lasts))
    place = np.repeat([-1, 0, 1], [len(firsts), len(runs), len(lasts)])
    times = np.concatenate((begin + room / 2, inside, time_s[lasts] - room / 2))
    order = np.lexsort((place, rows))
    return rows[order].astype(np.int64), times[order], place[order] == 0
