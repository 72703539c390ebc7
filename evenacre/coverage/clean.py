"""From logged records to usable fixes: order, repeats, jumps, gaps."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import around
from evenacre.model import BoolArray, FloatArray, IntArray, Settings, Track
from evenacre.model.finding import Finding

NEAR_FIELD_M = 50.0
"""Records further than this from the boundary are left out."""

# Farm machines do not change velocity faster than this (0.4 g; common practice, no source), and
# receivers' jitter adds no more than this over two steps; a jump does.
_MAX_ACCELERATION_MPS2, _MAX_JITTER_M = 4.0, 0.44
# How far driving may have led away from a straight continuation over a jump.
_RESUME_M, _DRIVING_MPS2 = 0.3, 3.0
# A jump that comes back within this many records is dropped; a longer one cuts the path.
_MAX_JUMP_RECORDS = 5
# Above this share of records that repeat the last time at a new place, the clock is coarse.
_COARSE_CLOCK_SHARE = 0.2


@dataclass(frozen=True)
class Fixes:
    """Cleaned records of one operation in time order.

    Attributes
    ----------
    time_s, x_m, y_m : (n,) float
    track, record : (n,) int
        Which track a fix came from and its row there.
    run : (n,) int
        Unbroken stretches of the log, numbered from 0; a new one starts at each cut.
    handover_s : (n - 1,) float
        When the say of one record ends and that of the next begins: midway between them, or
        at the earlier one where the later record states the time it covers.
    counts : dict of str to int
        Records read, used and dropped, by reason.
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    track: IntArray
    record: IntArray
    run: IntArray
    handover_s: FloatArray
    counts: dict[str, int] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def take(
        self, tracks: Sequence[Track], column: Callable[[Track], FloatArray | None]
    ) -> FloatArray | None:
        """Gather a logged column at the fixes; NaN where a track lacks it, None if all do."""
        logged = [column(t) for t in tracks]
        if all(c is None for c in logged):
            return None
        out = np.full(len(self.time_s), np.nan)
        for i, values in enumerate(logged):
            if values is not None:
                mine = self.track == i
                out[mine] = values[self.record[mine]]
        return out


def typical_interval_s(time_s: FloatArray) -> float:
    """Median time between records, ignoring repeats; 1 s if there are too few."""
    steps = np.diff(time_s)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 1.0


def clean(
    tracks: Sequence[Track],
    plane: WorkingPlane,
    settings: Settings,
    boundary: BaseGeometry | None = None,
) -> Fixes:
    """Order the records of all tracks by time and drop or cut what cannot be ground truth.

    Parameters
    ----------
    tracks : sequence of Track
        The logs of one operation; where one file ends and the next begins does not matter.
    boundary : geometry, optional
        In the plane. Records far from it belong to other fields or the road.

    Returns
    -------
    Fixes
        May be empty.
    """
    track = np.concatenate([np.full(len(t), i) for i, t in enumerate(tracks)]).astype(np.int64)
    record = np.concatenate([np.arange(len(t)) for t in tracks]).astype(np.int64)
    time = np.concatenate([t.time_s for t in tracks])
    x, y = plane.xy(
        np.concatenate([t.lon for t in tracks]), np.concatenate([t.lat for t in tracks])
    )
    counts = {"read": len(time)}
    findings: tuple[Finding, ...] = ()
    kept = np.arange(len(time))

    def keep(mask: BoolArray, reason: str) -> None:
        nonlocal kept
        counts[reason] = int((~mask).sum())
        kept = kept[mask]

    keep(np.isfinite(time) & np.isfinite(x) & np.isfinite(y), "without position or time")
    if boundary is not None:
        near = around(boundary, NEAR_FIELD_M)
        shapely.prepare(near)
        keep(shapely.contains_xy(near, x[kept], y[kept]), "away from the field")
    counts["out of order"] = int((np.diff(time[kept]) < 0).sum())
    kept = kept[np.argsort(time[kept], kind="stable")]
    stayed = np.hypot(np.diff(x[kept], prepend=np.nan), np.diff(y[kept], prepend=np.nan)) == 0
    keep(~(_same_time(time[kept]) & stayed), "exact repeats")
    shared = _same_time(time[kept])
    if shared.sum() > _COARSE_CLOCK_SHARE * len(kept):
        time[kept] = _spread(time[kept])
        findings = (Finding.note("coarse_clock"),)
        shared[:] = False
    keep(~shared, "same time, other place")
    jumped = _jump_records(time[kept], x[kept], y[kept], settings.max_speed_mps)
    keep(~jumped, "position jumps")
    time, x, y, track, record = time[kept], x[kept], y[kept], track[kept], record[kept]

    max_gap = settings.max_gap_s
    if max_gap is None:
        max_gap = max(2.0, 2.5 * typical_interval_s(time))
    cut = _abnormal_steps(time, x, y, settings.max_speed_mps)
    gap = np.diff(time) > max_gap
    counts["cuts at jumps"] = int((cut & ~gap).sum())
    counts["cuts at gaps"] = int(gap.sum())
    run = np.concatenate([[0], np.cumsum(cut | gap)]).astype(np.int64)[: len(time)]
    counts["used"] = len(time)
    midway = (time[1:] + time[:-1]) / 2
    fixes = Fixes(time, x, y, track, record, run, midway, counts, findings)
    return _cover_first_intervals(fixes, tracks)


def _cover_first_intervals(fixes: Fixes, tracks: Sequence[Track]) -> Fixes:
    """Let records that state the time they cover say where their ground began.

    Such a record speaks for the ground before it. The first one of a run has no fix to reach
    back to, so one is laid where its own distance (or else its speed) says it came from.
    """
    interval = fixes.take(tracks, lambda t: t.interval_s)
    if interval is None or len(fixes.time_s) < 2:
        return fixes
    stated = np.nan_to_num(interval) > 0
    handover = np.where(stated[1:], fixes.time_s[:-1], fixes.handover_s)
    same = np.append(fixes.run[1:] == fixes.run[:-1], False)
    first = stated & same & (np.diff(fixes.run, prepend=-1) > 0)
    first &= np.diff(fixes.time_s, prepend=-np.inf) > np.nan_to_num(interval)
    k = np.flatnonzero(first)
    dx, dy = fixes.x_m[k + 1] - fixes.x_m[k], fixes.y_m[k + 1] - fixes.y_m[k]
    step = np.maximum(np.hypot(dx, dy), 1e-9)
    usual = step * interval[k] / (fixes.time_s[k + 1] - fixes.time_s[k])
    logged = fixes.take(tracks, lambda t: t.distance_m)
    reach = usual if logged is None else np.where(np.isfinite(logged[k]), logged[k], usual)
    reach = np.minimum(reach, 1.5 * usual)
    began = fixes.time_s[k] - interval[k]
    return replace(
        fixes,
        time_s=np.insert(fixes.time_s, k, began),
        x_m=np.insert(fixes.x_m, k, fixes.x_m[k] - dx / step * reach),
        y_m=np.insert(fixes.y_m, k, fixes.y_m[k] - dy / step * reach),
        track=np.insert(fixes.track, k, fixes.track[k]),
        record=np.insert(fixes.record, k, fixes.record[k]),
        run=np.insert(fixes.run, k, fixes.run[k]),
        handover_s=np.insert(handover, k, began),
    )


def _same_time(time: FloatArray) -> BoolArray:
    """Records whose time is that of the one before."""
    same: BoolArray = np.diff(time, prepend=-np.inf) == 0
    return same


def _spread(time: FloatArray) -> FloatArray:
    """Spread records that share a time evenly up to the next time."""
    value, first, size = np.unique(time, return_index=True, return_counts=True)
    tick = np.diff(value, append=value[-1] + typical_interval_s(time))
    tick = np.minimum(tick, typical_interval_s(time))
    rank = np.arange(len(time)) - np.repeat(first, size)
    return time + rank / np.repeat(size, size) * np.repeat(tick, size)


def _abnormal_steps(
    time: FloatArray, x: FloatArray, y: FloatArray, max_speed_mps: float
) -> BoolArray:
    """Steps too fast, or whose velocity jumps from that of both neighbours."""
    if len(time) < 2:
        return np.zeros(0, dtype=bool)
    dt = np.diff(time)
    vx, vy = np.diff(x) / dt, np.diff(y) / dt
    abnormal = np.hypot(vx, vy) > max_speed_mps
    if len(dt) > 2:
        change = np.hypot(np.diff(vx), np.diff(vy))
        driven = _MAX_ACCELERATION_MPS2 * (dt[1:] + dt[:-1]) / 2
        sharp = change > driven + _MAX_JITTER_M / np.minimum(dt[1:], dt[:-1])
        abnormal[1:-1] |= sharp[:-1] & sharp[1:]
        abnormal[0] |= sharp[0] and not sharp[1]
        abnormal[-1] |= sharp[-1] and not sharp[-2]
    return abnormal


def _jump_records(
    time: FloatArray, x: FloatArray, y: FloatArray, max_speed_mps: float
) -> BoolArray:
    """Records between a step out and a step back within a few records.

    A step is the way back when it ends where the velocity before the jump would have led and
    the velocity after it points back to where the jump began. The loop is over abnormal steps,
    which are few, not over records.
    """
    jumped = np.zeros(len(time), dtype=bool)
    steps = np.flatnonzero(_abnormal_steps(time, x, y, max_speed_mps))
    out = -1
    for step in steps.tolist():
        if out < 0 or step - out > _MAX_JUMP_RECORDS:
            out = step
        elif _resumes(time, x, y, out, step + 1):
            jumped[out + 1 : step + 1] = True
            out = -1
    return jumped


def _resumes(time: FloatArray, x: FloatArray, y: FloatArray, before: int, after: int) -> bool:
    """Whether the drive up to one record leads to a later one, and back again."""
    return _leads(time, x, y, before - 1, before, after) and _leads(
        time, x, y, after + 1, after, before
    )


def _leads(
    time: FloatArray, x: FloatArray, y: FloatArray, past: int, start: int, goal: int
) -> bool:
    """Whether the velocity from one record to the next leads to a third; yes if unknown."""
    if not 0 <= past < len(time):
        return True
    span = time[goal] - time[start]
    reach = span / (time[start] - time[past])
    off_x = x[goal] - x[start] - (x[start] - x[past]) * reach
    off_y = y[goal] - y[start] - (y[start] - y[past]) * reach
    allowed = _RESUME_M + _DRIVING_MPS2 / 2 * span**2
    return bool(np.hypot(off_x, off_y) <= allowed)
