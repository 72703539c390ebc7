"""Fixes known by their order only: times assumed, and stops between separate runs."""

from __future__ import annotations

import numpy as np

from evenacre.io.positions import step_m
from evenacre.io.table import Findings
from evenacre.io.times import Clock
from evenacre.model import BoolArray, FloatArray, IntArray

NOMINAL_SPEED_MPS = 2.0
"""Assumed where a file has an order but no times."""

STOP_S = 0.01
"""How long before and after a run its tool is said to be up."""

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
    return Clock(np.cumsum(pause), dated=False)


def with_stops(runs: IntArray) -> tuple[IntArray, FloatArray, BoolArray]:
    """Add a record with the tool up at both ends of every run, so that runs do not join.

    Parameters
    ----------
    runs : (n,) int
        Number of the run each fix belongs to, in order.

    Returns
    -------
    rows : (m,) int
        Which fix each record repeats.
    shift_s : (m,) float
        What to add to its time.
    down : (m,) bool
        False for the added records.
    """
    fresh = np.diff(runs) != 0
    firsts = np.flatnonzero(np.concatenate(([True], fresh)))
    lasts = np.flatnonzero(np.concatenate((fresh, [True])))
    rows = np.concatenate((firsts, np.arange(len(runs)), lasts))
    shift = np.repeat([-STOP_S, 0.0, STOP_S], [len(firsts), len(runs), len(lasts)])
    order = np.lexsort((shift, rows))
    return rows[order].astype(np.int64), shift[order], shift[order] == 0
