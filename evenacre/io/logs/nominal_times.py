"""Fixes known by their order only: times assumed, and stops between separate runs."""

from __future__ import annotations

import numpy as np

from evenacre.io.logs.columns.clock import Clock
from evenacre.io.logs.columns.positions import step_m
from evenacre.io.logs.columns.records_table import Findings
from evenacre.model import BoolArray, FloatArray, IntArray

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
    file : str
    lon, lat : (n,) float
        Degrees.
    runs : (n,) int
        Number of the run each fix belongs to, in order.
    findings : Findings
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
