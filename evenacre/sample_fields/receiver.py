"""Logs as a receiver would give them: five records a second, none of them quite true."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from evenacre.sample_fields import spans
from evenacre.sample_fields.chain import Rig, antenna
from evenacre.sample_fields.clock import Schedule
from evenacre.sample_fields.faults import Fault, LostLog, Restart
from evenacre.sample_fields.paths import FloatArray

INTERVAL_S = 0.2
DELAY_S = 1.5
JITTER_M = 0.012
WANDER_M = 0.006
WANDER_TIME_S = 120.0
JUMPS = 5


@dataclass(frozen=True)
class Records:
    """What the receiver wrote, in its own order.

    Attributes
    ----------
    time_s : (n,) float
        Seconds since the start of the job.
    x, y : (n,) float
        Antenna in the field's frame, with the receiver's errors.
    speed_mps, course_rad : (n,) float
        Of the antenna; the course is counter-clockwise from the frame's x axis.
    towers : (n, 4) bool
        Whether the meter fed each tower, from the left.
    splits : tuple of int
        Records at which a new file begins.
    gaps : tuple of (float, float)
        Last record before and first record after each lost stretch, seconds.
    """

    time_s: FloatArray
    x: FloatArray
    y: FloatArray
    speed_mps: FloatArray
    course_rad: FloatArray
    towers: np.ndarray
    splits: tuple[int, ...]
    gaps: tuple[tuple[float, float], ...]


def record(timed: Schedule, rig: Rig, faults: Sequence[Fault], rng: np.random.Generator) -> Records:
    """Log a drive. The meter's states are logged, which lead the ground by the delay."""
    path = timed.drive.path
    true_x, true_y = antenna(path, rig)
    count = int((timed.time_s[-1] - DELAY_S) / INTERVAL_S)
    time_s: FloatArray = np.arange(count, dtype=np.float64) * INTERVAL_S
    x = np.interp(time_s, timed.time_s, true_x)
    y = np.interp(time_s, timed.time_s, true_y)
    run_x, run_y = np.gradient(x, INTERVAL_S), np.gradient(y, INTERVAL_S)
    ground = timed.where(time_s + DELAY_S)
    towers = np.column_stack([spans.contains(on, ground) for on in timed.drive.on])
    x, y = x + _jitter(rng, count), y + _jitter(rng, count)
    for _ in range(JUMPS):
        at, length = int(rng.integers(100, count - 100)), int(rng.integers(1, 4))
        bearing, size = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(5.0, 9.0)
        x[at : at + length] += size * np.cos(bearing)
        y[at : at + length] += size * np.sin(bearing)
    order = np.arange(count)
    splits: list[int] = []
    gaps: list[tuple[float, float]] = []
    for fault in faults:
        if not isinstance(fault, LostLog | Restart):
            continue
        began = timed.when(np.array(timed.drive.passes[fault.on_pass][0] + fault.after_m))
        at = int(np.searchsorted(time_s[order], float(began)))
        if isinstance(fault, LostLog):
            resume = at + round(fault.seconds / INTERVAL_S)
            gaps.append((float(time_s[order[at - 1]]), float(time_s[order[resume]])))
            order = np.delete(order, slice(at, resume))
        else:
            order = np.concatenate((order[:at], order[at - fault.repeated :]))
            splits.append(at)
    speed = np.hypot(run_x, run_y) * (1.0 + 0.003 * rng.standard_normal(count))
    course = np.arctan2(run_y, run_x) + 0.005 * rng.standard_normal(count)
    return Records(
        time_s[order],
        x[order],
        y[order],
        speed[order],
        course[order],
        towers[order],
        tuple(splits),
        tuple(gaps),
    )


def _jitter(rng: np.random.Generator, count: int) -> FloatArray:
    """White noise and a slow wander (first-order Gauss-Markov), metres."""
    keep = float(np.exp(-INTERVAL_S / WANDER_TIME_S))
    kicks = rng.standard_normal(count) * WANDER_M * (1.0 - keep**2) ** 0.5
    kicks[0] = rng.standard_normal() * WANDER_M
    wander = lfilter([1.0], [1.0, -keep], kicks)
    return np.asarray(JITTER_M * rng.standard_normal(count) + wander)
