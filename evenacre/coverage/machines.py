"""Machines told apart where one log holds the records of several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenacre.geo.geodesy import plain_xy
from evenacre.model import FloatArray, IntArray, Settings, Track
from evenacre.model.finding import Finding

# Steps no machine drives, from how many and what share of them on machines are looked for.
_FEWEST_JUMPS, _JUMPS_SHARE = 6, 0.001
# A stretch of fewer records that follow one another is no machine, but a jump or a stray.
_FEWEST_RECORDS = 8
# A machine's next stretch may begin so long before its last one ends.
_OVERLAP_INTERVALS = 5.0
# After so many usual intervals without a record, where the machine is cannot be foretold.
_RECENT_INTERVALS = 20.0
# A record may lie this far from where it is foretold, and off by this share of the way to there.
_NEAR_M, _NEAR_SHARE = 1.5, 0.6
# Machines go no faster than so many times their usual speed.
_FASTEST = 1.5
_LAGS = 6
# More of the choices than this could as well have gone to the other machine.
_UNSURE_SHARE = 0.05


def machines_of(
    tracks: Sequence[Track], settings: Settings
) -> tuple[list[tuple[Track, ...]], list[Finding]]:
    """Tracks of each machine: as the log names them, else by the continuity of motion.

    Returns
    -------
    list of tuple of Track
        Machines in order of their first record; with one machine, the tracks as they are.
    list of Finding
        What has to be said of it.
    """
    named: dict[str, list[Track]] = {}
    for track in tracks:
        named.setdefault(track.machine, []).append(track)
    machines: list[tuple[Track, ...]] = []
    findings: list[Finding] = []
    for own in named.values():
        parted = _told_apart(own, settings)
        machines += [tuple(own)] if parted is None else parted.machines(own)
        if parted is not None:
            sizes = np.bincount(parted.machine).tolist()
            code = "machines_mixed" if parted.unsure > _UNSURE_SHARE else "machines_told_apart"
            findings.append(
                Finding.warning(code, machines=len(sizes), fewest=min(sizes), most=max(sizes))
            )
    first = [min(float(np.nanmin(t.time_s, initial=np.inf)) for t in own) for own in machines]
    order = np.argsort(first, kind="stable")
    return [machines[i] for i in order], findings


def told_apart(findings: Sequence[Finding]) -> bool:
    """Whether it can be told for sure whose each record is."""
    return all(finding.code != "machines_mixed" for finding in findings)


@dataclass(frozen=True)
class _Parted:
    """The machine of each of n records of some tracks, one after the other."""

    machine: IntArray
    unsure: float  # share of the choices between machines that were close

    def machines(self, tracks: Sequence[Track]) -> list[tuple[Track, ...]]:
        ends = np.cumsum([len(t) for t in tracks])
        own = np.split(self.machine, ends[:-1])
        parts = []
        for number in range(int(self.machine.max()) + 1):
            some = [t.part(m == number) for t, m in zip(tracks, own, strict=True)]
            parts.append(tuple(replace(t, machine=str(number + 1)) for t in some if len(t)))
        return parts


def _told_apart(tracks: Sequence[Track], settings: Settings) -> _Parted | None:
    """Tell machines apart; None where there is one."""
    time = np.concatenate([t.time_s for t in tracks])
    x, y = plain_xy(
        np.concatenate([t.lon for t in tracks]), np.concatenate([t.lat for t in tracks])
    )
    rows = np.flatnonzero(np.isfinite(time) & np.isfinite(x) & np.isfinite(y))
    rows = rows[np.argsort(time[rows], kind="stable")]
    time, place = time[rows], (x + 1j * y)[rows]
    step_s, step_m = np.diff(time), np.abs(np.diff(place))
    if not (step_s > 0).any():
        return None
    usual_s = float(np.median(step_s[step_s > 0]))
    jumps = step_m > settings.max_speed_mps * (step_s + usual_s)
    if jumps.sum() < max(_FEWEST_JUMPS, _JUMPS_SHARE * len(jumps)):
        return None
    speed = _FASTEST * _usual_speed_mps(time, place)
    near = step_m <= _NEAR_M + speed * (step_s + usual_s / 2)
    near &= step_s <= _RECENT_INTERVALS * usual_s
    start = np.flatnonzero(np.concatenate([[True], ~near]))
    stretch, unsure = _stretches(time, place, start, speed, usual_s)
    stretch = np.repeat(stretch, np.diff(np.append(start, len(rows))))
    own = _by_machine(stretch, time, place, usual_s)
    if own is None:
        return None
    machine = np.zeros(len(x), dtype=np.int64)
    machine[rows] = own
    return _Parted(machine, unsure)


def _usual_speed_mps(time: FloatArray, place: np.ndarray) -> float:
    """Speed of machines in motion, whichever of the records around it is of the same one."""
    slowest = np.full(len(time), np.inf)
    for lag in range(1, min(_LAGS, len(time) - 1) + 1):
        span = time[lag:] - time[:-lag]
        moved = np.abs(place[lag:] - place[:-lag])
        speed = np.divide(moved, span, out=np.full(len(span), np.inf), where=span > 0)
        slowest[:-lag] = np.minimum(slowest[:-lag], speed)
    moving = slowest[np.isfinite(slowest) & (slowest > 0)]
    return float(np.percentile(moving, 75)) if len(moving) else 0.0


def _stretches(
    time: FloatArray, place: np.ndarray, start: IntArray, speed: float, usual_s: float
) -> tuple[IntArray, float]:
    """Number the stretches that follow one another, and say which share of choices was close.

    Runs of near records follow where one leads to the next. The loop is over runs, which end
    where the log goes from one machine to another.
    """
    end = np.append(start[1:], len(time)) - 1
    # Velocity at the end of each run, over about five intervals; of single records from two.
    past = np.searchsorted(time, time[end] - 5 * usual_s, side="left")
    past = np.minimum(np.maximum(past, start), end)
    span = time[end] - time[past]
    velocity = np.divide(
        place[end] - place[past], span, out=np.full(len(end), np.nan, complex), where=span > 0
    )
    recent_s = _RECENT_INTERVALS * usual_s
    runs = zip(
        *(time[start].tolist(), time[end].tolist(), place[start].tolist(), place[end].tolist()),
        velocity.tolist(),
        strict=True,
    )
    going: dict[int, tuple[float, complex, complex]] = {}  # time, place and velocity of each
    chosen: list[int] = []
    choices = close = 0
    for from_s, to_s, begun, ended, way in runs:
        off, least, second, stretch = np.inf, 1.0, 1.0, -1
        for number, (then_s, there, ahead) in list(going.items()):
            since = from_s - then_s
            if since > recent_s:
                del going[number]
                continue
            move = begun - there
            reach = speed * (since + usual_s / 2)
            off = abs(move) / (_NEAR_M + reach)
            if off < 1 and ahead == ahead:
                off = abs(move - ahead * since) / (_NEAR_M + _NEAR_SHARE * reach)
            if off < least:
                least, second, stretch = off, least, number
            elif off < second:
                second = off
        if stretch < 0:
            stretch = len(chosen)
        elif second < 1:
            choices += 1
            close += least > second / 2
        if way != way and stretch in going and from_s > going[stretch][0]:
            then_s, there, _ = going[stretch]
            way = (begun - there) / (from_s - then_s)
        going[stretch] = (to_s, ended, way)
        chosen.append(stretch)
    return np.unique(chosen, return_inverse=True)[1].astype(np.int64), close / max(choices, 1)


def _by_machine(
    stretch: IntArray, time: FloatArray, place: np.ndarray, usual_s: float
) -> IntArray | None:
    """Machine of each record: as many as had to be under way at once; None for one.

    Records of stretches too short to tell go to the machine that needs the least speed to take
    them in.
    """
    size = np.bincount(stretch)
    order = np.argsort(stretch, kind="stable")
    last = order[np.cumsum(size) - 1]
    first = order[np.cumsum(size) - size]
    ended_s: list[float] = []
    ended: list[complex] = []
    machine = np.full(len(size), -1)
    lasting = np.flatnonzero(size >= _FEWEST_RECORDS)
    for number in lasting[np.argsort(time[first[lasting]], kind="stable")].tolist():
        begun_s, begun = float(time[first[number]]), complex(place[first[number]])
        free = [m for m, s in enumerate(ended_s) if s <= begun_s + _OVERLAP_INTERVALS * usual_s]
        if not free:
            free = [len(ended_s)]
            ended_s.append(0.0)
            ended.append(0j)
        else:
            free.sort(key=lambda m: abs(begun - ended[m]) / max(begun_s - ended_s[m], usual_s))
        machine[number] = free[0]
        ended_s[free[0]] = float(time[last[number]])
        ended[free[0]] = complex(place[last[number]])
    if len(ended_s) < 2:
        return None
    own = machine[stretch]
    rest = np.flatnonzero(own < 0)
    needed = np.empty((len(ended_s), len(rest)))
    for number in range(len(ended_s)):
        mine = np.flatnonzero(own == number)
        after = np.searchsorted(time[mine], time[rest])
        needed[number] = 0.0
        for beside in (after - 1, after):
            there = mine[np.clip(beside, 0, len(mine) - 1)]
            span = np.abs(time[there] - time[rest]) + usual_s / 2
            pace = np.abs(place[there] - place[rest]) / span
            some = (beside >= 0) & (beside < len(mine))
            needed[number] = np.maximum(needed[number], np.where(some, pace, 0.0))
    own[rest] = needed.argmin(axis=0)
    return own
