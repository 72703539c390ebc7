"""From logged records to usable fixes: order, repeats, jumps, gaps."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from scipy.ndimage import median_filter
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
# Clocks tell at least this fine, so records of one time may be that far apart in time.
_COARSEST_S = 1.0
# Above this share of steps back in time, the order of the file says nothing.
_SHUFFLED_SHARE = 0.05
# A change of state at one time and place is taken to follow it so much later.
_STATE_AFTER_S = 0.001
_LEAST_REACH_M = 0.001  # a way so short has no direction
_NO_CAUSES = ("read", "in the file", "used", "out of order")
# A place repeated within this, and within this share of the step that follows, is one record of
# what changed there.
_TWIN_S, _TWIN_SHARE = 0.05, 0.25
# A silence longer than both of these is one whatever the machine did before and after it.
_DRIVEN_ON_S, _DRIVEN_ON_INTERVALS = 6.0, 5.0
# Courses and speeds at its ends are taken over so many seconds and intervals.
_COURSE_S, _COURSE_INTERVALS = 1.0, 2.0
# Records are few where the middle one of so many steps is long, and so long at most.
_AROUND_STEPS, _SPARSE_S = 11, 30.0
# How well the drive before a silence has to lead to the drive after it.
_SPEED_SLACK, _PLACE_SLACK_M, _DRIVEN_TURN_RAD = 0.1, 0.5, 1.0


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
    metres : dict of str to float
        The way between the records in order of time, and what became of it, by the same keys;
        all of them but ``"read"`` make up that.
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    track: IntArray
    record: IntArray
    run: IntArray
    handover_s: FloatArray
    counts: dict[str, int] = field(default_factory=dict)
    metres: dict[str, float] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def first(self) -> Fixes:
        """The first of them alone, with the balance of all."""
        arrays = ("time_s", "x_m", "y_m", "track", "record", "run")
        one = {name: getattr(self, name)[:1].copy() for name in arrays}
        return replace(self, handover_s=self.handover_s[:0].copy(), **one)

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


def left_out(counts: Mapping[str, int]) -> dict[str, int]:
    """Of a balance of records, those that came to no use, by cause."""
    return {
        cause: count
        for cause, count in counts.items()
        if count and cause not in _NO_CAUSES and not cause.startswith("cuts")
    }


def typical_interval_s(time_s: FloatArray, counted: BoolArray | None = None) -> float:
    """Median time between records, ignoring repeats; 1 s if there are too few.

    Only ``counted`` steps, (n - 1,), where they are given.
    """
    steps = np.diff(time_s)
    steps = steps[steps > 0 if counted is None else (steps > 0) & counted]
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
    kept = np.argsort(time, kind="stable")
    balance = _Balance(time.copy(), x, y, settings.max_speed_mps)
    findings: list[Finding] = []

    def keep(mask: BoolArray, reason: str, *, breaks: bool = False) -> None:
        nonlocal kept
        balance.drop(kept, mask, reason, breaks=breaks)
        kept = kept[mask]

    kept = kept[np.isfinite(time[kept]) & np.isfinite(x[kept]) & np.isfinite(y[kept])]
    balance.begin(len(time), kept, tracks)
    if boundary is not None:
        near = around(boundary, NEAR_FIELD_M)
        shapely.prepare(near)
        keep(shapely.contains_xy(near, x[kept], y[kept]), "away from the field", breaks=True)
    disorder = int((np.diff(time[np.sort(kept)]) < 0).sum())
    balance.counts["out of order"] = disorder
    stayed = np.hypot(np.diff(x[kept], prepend=np.nan), np.diff(y[kept], prepend=np.nan)) == 0
    again = _same_time(time[kept]) & stayed
    changed = np.zeros(len(kept), dtype=bool)
    changed[again] = _state_changes(tracks, track, record, kept, np.flatnonzero(again))
    keep(~again | changed, "exact repeats")
    time[kept] += _STATE_AFTER_S * _ranks(changed[~again | changed])
    shared = _same_time(time[kept])
    if shared.sum() > _COARSE_CLOCK_SHARE * len(kept):
        if disorder > _SHUFFLED_SHARE * len(kept):
            kept = kept[_order_along(time[kept], x[kept], y[kept])]
            findings.append(Finding.warning("order_from_motion", records=int(shared.sum())))
        time[kept] = _spread(time[kept])
        findings.append(Finding.note("coarse_clock"))
        shared[:] = False
    keep(~shared, "same time, other place")
    jumped = _jump_records(time[kept], x[kept], y[kept], settings.max_speed_mps)
    keep(~jumped, "position jumps")
    step_m = balance.steps_m(kept)
    time, x, y, track, record = time[kept], x[kept], y[kept], track[kept], record[kept]
    x, y, twin = _part_twins(time, x, y)

    usual_s = typical_interval_s(time, ~twin)
    cut = _abnormal_steps(time, x, y, settings.max_speed_mps)
    gap = _silent(time, x, y, cut, usual_s, settings.max_gap_s)
    # However long the silence, nothing drives that fast.
    leap = gap & (step_m > settings.max_speed_mps * np.diff(time))
    for mask, reason in (((cut & ~gap) | leap, "cuts at jumps"), (gap & ~leap, "cuts at gaps")):
        balance.counts[reason] = int(mask.sum())
        balance.metres[reason] = float(step_m[mask].sum())
    run = np.concatenate([[0], np.cumsum(cut | gap)]).astype(np.int32)[: len(time)]
    balance.counts["used"] = len(time)
    balance.metres["used"] = float(step_m[~(cut | gap)].sum())
    midway = (time[1:] + time[:-1]) / 2
    fixes = Fixes(
        time,
        x,
        y,
        track.astype(np.int32),
        record.astype(np.int32),
        run,
        midway,
        balance.counts,
        balance.metres,
        tuple(findings),
    )
    return _cover_first_intervals(fixes, tracks)


class _Balance:
    """Records and the way between them by what became of them."""

    def __init__(
        self, time: FloatArray, x: FloatArray, y: FloatArray, max_speed_mps: float
    ) -> None:
        self._time, self._x, self._y, self._max_speed_mps = time, x, y, max_speed_mps
        self.counts: dict[str, int] = {}
        self.metres: dict[str, float] = {}
        # Records on either side of a stretch that was left out have no way between them.
        self.segment = np.zeros(len(x), dtype=np.int64)

    def begin(self, given: int, kept: IntArray, tracks: Sequence[Track]) -> None:
        """Count what the files hold, of which readers gave some, of which some can be placed."""
        left_out: Counter[str] = Counter()
        for track in tracks:
            left_out.update(track.left_out)
        self.counts = {"read": given + left_out.total(), **left_out}
        if any(track.in_file for track in tracks):
            in_file = sum(
                track.in_file or len(track) + sum(track.left_out.values()) for track in tracks
            )
            self.counts["in the file"] = in_file
        self.counts["without position or time"] = given - len(kept)
        self.metres = {"read": self._way_m(kept)}

    def drop(self, kept: IntArray, mask: BoolArray, reason: str, *, breaks: bool) -> None:
        """Count records left out, and the way that is lost without them."""
        self.counts[reason] = int((~mask).sum())
        before = self._way_m(kept)
        if breaks:
            self.segment[kept] += np.cumsum(~mask)
        self.metres[reason] = max(before - self._way_m(kept[mask]), 0.0)  # below it by rounding

    def steps_m(self, kept: IntArray) -> FloatArray:
        """The way from each record to the next, as far as any machine can have driven."""
        step = np.hypot(np.diff(self._x[kept]), np.diff(self._y[kept]))
        most = self._max_speed_mps * (np.diff(self._time[kept]) + _COARSEST_S)
        return np.where(np.diff(self.segment[kept]) == 0, np.minimum(step, most), 0.0)

    def _way_m(self, kept: IntArray) -> float:
        return float(self.steps_m(kept).sum())


def _state_changes(
    tracks: Sequence[Track], track: IntArray, record: IntArray, kept: IntArray, again: IntArray
) -> BoolArray:
    """Which records that repeat the one before them log another state of the tool."""
    own, other = kept[again], kept[again - 1]
    changed = np.zeros(len(again), dtype=bool)
    for i, logged in enumerate(tracks):
        mine = np.flatnonzero((track[own] == i) & (track[other] == i))
        here, before = record[own[mine]], record[other[mine]]
        for states in (logged.working, logged.sections):
            if states is not None:
                differ = states[here] != states[before]
                changed[mine] |= differ if differ.ndim == 1 else differ.any(axis=1)
    return changed


def _ranks(mask: BoolArray) -> IntArray:
    """Running number of each marked record among those marked in a row; 0 elsewhere."""
    count = np.cumsum(mask)
    return np.where(mask, count - np.maximum.accumulate(np.where(mask, 0, count)), 0)


def _part_twins(
    time: FloatArray, x: FloatArray, y: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Move records of a change of state that repeat a place a moment later to where it was then.

    Returns the places and which steps lead to such a record.
    """
    twin = np.zeros(max(len(time) - 1, 0), dtype=bool)
    if len(time) < 3:
        return x, y, twin
    step = np.diff(time)
    still = (np.diff(x) == 0) & (np.diff(y) == 0)
    twin[:-1] = still[:-1] & (step[:-1] <= _TWIN_S) & (step[:-1] < _TWIN_SHARE * step[1:])
    k = np.flatnonzero(twin) + 1
    share = step[k - 1] / (step[k - 1] + step[k])
    x, y = x.copy(), y.copy()
    x[k] += share * (x[k + 1] - x[k])
    y[k] += share * (y[k + 1] - y[k])
    return x, y, twin


def _silent(
    time: FloatArray,
    x: FloatArray,
    y: FloatArray,
    cut: BoolArray,
    usual_s: float,
    max_gap_s: float | None,
) -> BoolArray:
    """Steps over which the log was silent, and the machine may have been anywhere.

    A silence of some seconds is none where the drive before it leads to the drive after it: at
    the same speed, on a straight line or an arc.
    """
    step = np.diff(time)
    if max_gap_s is not None:
        return np.asarray(step > max_gap_s)
    gap = step > max(2.0, 2.5 * usual_s)
    if not gap.any():
        return gap
    # Where records are few for a while, it takes longer to tell.
    around = np.clip(median_filter(step, _AROUND_STEPS), usual_s, max(_SPARSE_S, usual_s))
    driven_on_s = np.maximum(_DRIVEN_ON_S, _DRIVEN_ON_INTERVALS * around)
    doubtful = np.flatnonzero(gap & ~cut & (step <= driven_on_s))
    if not len(doubtful):
        return gap
    # A clock that rounds makes intervals uneven, and speeds with them.
    low, high = np.percentile(step[step <= 2.5 * usual_s], [10, 90])
    course_s, clock_s = max(_COURSE_S, _COURSE_INTERVALS * usual_s), (high - low) / 2
    broken = np.concatenate([[0], np.cumsum((gap & (step > driven_on_s / 2)) | cut)])
    first = np.searchsorted(broken, broken, side="left")
    last = np.searchsorted(broken, broken, side="right") - 1
    before, after = doubtful, doubtful + 1
    past = np.searchsorted(time, time[before] - course_s, side="right") - 1
    past = np.maximum(np.minimum(past, before - 1), first[before])
    coming = np.searchsorted(time, time[after] + course_s, side="left")
    coming = np.minimum(np.maximum(coming, after + 1), last[after])
    place = x + 1j * y

    def velocity(a: IntArray, b: IntArray) -> FloatArray:
        span = time[b] - time[a]
        return np.divide(place[b] - place[a], span, out=np.zeros(len(a), complex), where=span > 0)

    v0, v1 = velocity(past, before), velocity(after, coming)
    chord = velocity(before, after)
    speed = (np.abs(v0) + np.abs(v1)) / 2
    turn = np.angle(v1 * np.conj(v0))
    # The chord of an arc is shorter than the arc, and lies midway between both courses.
    arc = np.abs(chord) / np.sinc(turn / 2 / np.pi)
    off = np.angle(chord * np.conj(v0 * np.exp(0.5j * turn)))
    slack = _SPEED_SLACK * speed + (_PLACE_SLACK_M + clock_s * speed) / step[doubtful]
    driven = (np.abs(v0) > 0) & (np.abs(v1) > 0) & (np.abs(turn) < _DRIVEN_TURN_RAD)
    driven &= (np.abs(np.abs(v0) - np.abs(v1)) < 2 * slack) & (np.abs(arc - speed) < slack)
    driven &= np.abs(chord) * np.abs(np.sin(off)) < slack
    driven &= np.abs(off) < np.pi / 2
    gap[doubtful[driven]] = False
    return gap


def _order_along(time: FloatArray, x: FloatArray, y: FloatArray) -> IntArray:
    """Order of records by time, and by the way the machine went among those that share one."""
    group = np.cumsum(~_same_time(time)) - 1
    size = np.bincount(group)
    middle = (np.bincount(group, x) + 1j * np.bincount(group, y)) / size
    step = np.append(np.diff(middle), 0) + np.insert(np.diff(middle), 0, 0)
    along = ((x + 1j * y) * np.conj(step[group])).real
    return np.lexsort((along, group))


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
    some = reach > _LEAST_REACH_M
    k, dx, dy, step, reach = k[some], dx[some], dy[some], step[some], reach[some]
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
