"""Time logs of one task that tell of one drive in parts, joined into one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from evenacre.geo.geodesy import step_m
from evenacre.io.common.findings import Findings, Subject
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.time_log import Log, Logged, LoggedValue
from evenacre.language import tr
from evenacre.model import BoolArray, FloatArray

Named = tuple[str, Log, Findings]
"""A log, its name, and what was found while it was read."""

_SHARED = 0.5  # of the shorter log's time, or of its positions
_LEAST_SHARED = 10  # positions, to the last digit, that no second drive over the ground repeats
# Positions of one receiver at one time agree this well; of a machine driving on, so well.
_SAME_M, _NEAR_M, _MOST_MPS = 5.0, 20.0, 15.0
_LEAST_GAP_S, _USUAL_STEPS = 5.0, 5.0
# What stops counting where the log it stands in ends before the drive does.
_WORKING = {
    *(ddis.WORK_STATE, *ddis.CONDENSED_STATES, ddis.ACTUAL_RATE, ddis.ACTUAL_FLOW),
    *ddis.UNWEIGHED,
}


def join_logs(logs: Sequence[Named], about: Subject) -> list[Named]:
    """Join logs that run beside each other, or of which one goes on without states of its own."""
    joined: list[Named] = []
    for name, log, own in logs:
        for place, (first, other, findings) in enumerate(joined):
            shift = _clock_shift(other, log)
            moved = replace(log, stamps=log.stamps._replace(time_s=log.stamps.time_s + shift))
            if not (_beside(other, moved) or _goes_on(other, moved)):
                continue
            main, added = sorted((other, moved), key=lambda part: -int(_placed(part).sum()))
            both = f"{first} + {name}"
            how = f", its clock moved by {shift:+,.0f} s" if shift else ""
            about.note(
                tr(
                    "{first} and {name} tell of one drive and were joined by time{how}.",
                    first=first,
                    name=name,
                    how=how,
                )
            )
            merged = Findings([*findings.notes, *own.notes], [*findings.warnings, *own.warnings])
            joined[place] = (both, _merged(main, added), merged)
            break
        else:
            joined.append((name, log, own))
    return joined


def _placed(log: Log) -> BoolArray:
    stamps = log.stamps
    placed: BoolArray = np.isfinite(stamps.time_s) & np.isfinite(stamps.lon)
    return placed


def _clock_shift(one: Log, other: Log) -> float:
    """Seconds to add to the times of a log that repeats another's positions; 0 if it does not."""
    spots = []
    for log in (one, other):
        there = np.isfinite(log.stamps.lon)
        spot = np.round(log.stamps.lon[there] * 1e7) + 1j * np.round(log.stamps.lat[there] * 1e7)
        value, first, count = np.unique(spot, return_index=True, return_counts=True)
        spots.append((value[count == 1], log.stamps.time_s[there][first[count == 1]]))
    (mine, my_time), (its, its_time) = spots
    shared, a, b = np.intersect1d(mine, its, return_indices=True)
    if len(shared) < _LEAST_SHARED or len(shared) < _SHARED * len(its):
        return 0.0
    shift = my_time[a] - its_time[b]
    middle = float(np.median(shift)) if np.isfinite(shift).all() else 0.0
    steady = np.abs(shift - middle) < 1.0
    return middle if abs(middle) >= 1.0 and steady.mean() > _SHARED else 0.0


def _beside(one: Log, other: Log) -> bool:
    """Whether both run at the same time, and where both tell a place, at the same place."""
    times = [np.sort(log.stamps.time_s[np.isfinite(log.stamps.time_s)]) for log in (one, other)]
    if min(len(t) for t in times) == 0:
        return False
    overlap = min(t[-1] for t in times) - max(t[0] for t in times)
    if overlap <= 0 or overlap < _SHARED * min(t[-1] - t[0] for t in times):
        return False
    a, b = (_placed(log) for log in (one, other))
    if not a.any() or not b.any():
        return bool(a.any() or b.any())
    there, order = other.stamps, np.argsort(one.stamps.time_s[a], kind="stable")
    clock = one.stamps.time_s[a][order]
    during = b & (there.time_s >= clock[0]) & (there.time_s <= clock[-1])
    if not during.any():
        return False
    lon, lat = (
        np.interp(there.time_s[during], clock, values[a][order])
        for values in (one.stamps.lon, one.stamps.lat)
    )
    return float(np.median(_apart_m(lon, lat, there.lon[during], there.lat[during]))) <= _SAME_M


def _goes_on(one: Log, other: Log) -> bool:
    """Whether a log without states begins where and when one with states ends."""
    if not _tells_states(one) or _tells_states(other):
        return False
    a, b = (np.flatnonzero(_placed(log)) for log in (one, other))
    if not len(a) or not len(b):
        return False
    end, begin = a[np.argmax(one.stamps.time_s[a])], b[np.argmin(other.stamps.time_s[b])]
    gap = float(other.stamps.time_s[begin] - one.stamps.time_s[end])
    apart = _apart_m(
        one.stamps.lon[[end]], one.stamps.lat[[end]],
        other.stamps.lon[[begin]], other.stamps.lat[[begin]],
    )  # fmt: skip
    return 0 <= gap <= _longest_step_s(one.stamps.time_s[a]) and float(apart[0]) <= (
        _NEAR_M + _MOST_MPS * gap
    )


def _tells_states(log: Log) -> bool:
    return any(log.indices(key) for key in (ddis.WORK_STATE, *ddis.CONDENSED_STATES))


def _apart_m(
    lon: FloatArray, lat: FloatArray, other_lon: FloatArray, other_lat: FloatArray
) -> FloatArray:
    """Metres between points of the same place in two lists."""
    between = np.stack([lon, other_lon], axis=1).ravel(), np.stack([lat, other_lat], axis=1).ravel()
    return np.asarray(step_m(*between)[1::2])


def _longest_step_s(time_s: FloatArray) -> float:
    """Longest time between records that is no gap."""
    steps = np.diff(np.sort(time_s))
    steps = steps[steps > 0]
    return max(_LEAST_GAP_S, _USUAL_STEPS * float(np.median(steps)) if len(steps) else 0.0)


def _merged(main: Log, added: Log) -> Log:
    """Put the values of one log at the records of another, and its records where that has none."""
    times = [log.stamps.time_s for log in (main, added)]
    known = np.sort(times[0][_placed(main)])
    reach = _longest_step_s(known)
    at = np.clip(np.searchsorted(known, times[1]), 1, len(known) - 1) if len(known) > 1 else 0
    nearest = np.minimum(np.abs(times[1] - known[at]), np.abs(known[at - 1] - times[1]))
    beyond = (times[1] < known[0]) | (times[1] > known[-1])
    alone = _placed(added) & (beyond | (nearest > reach))
    stamps = [np.concatenate([a, b[alone]]) for a, b in zip(main.stamps, added.stamps, strict=True)]
    order = np.argsort(stamps[0], kind="stable")
    stamps = [values[order] for values in stamps]
    clock = stamps[0]
    own_place = np.empty(len(order), dtype=np.int64)
    own_place[order] = np.arange(len(order))
    # Records of the added log count from the first record of the drive at or after them.
    added_place = np.searchsorted(clock, times[1], side="left")
    ends = np.flatnonzero(clock > np.nanmax(times[1], initial=-np.inf) + reach)
    columns: dict[tuple[int | None, str], int] = {}
    kept: list[LoggedValue] = []
    pieces: dict[int, list[tuple[np.ndarray, np.ndarray]]] = {}
    seen: list[int] = []
    for log, place in ((main, own_place), (added, added_place)):
        for index, column in enumerate(log.columns):
            to = columns.setdefault((column.ddi, column.part), len(kept))
            if to == len(kept):
                kept.append(column)
                seen.append(0)
            seen[to] += int(log.seen[index])
            if index in log.logged:
                record, value = log.logged[index]
                where = place[record]
                inside = where < len(clock)
                where, value = where[inside], value[inside]
                if log is added and column.ddi in _WORKING and len(ends) and to not in pieces:
                    where, value = np.append(where, ends[0]), np.append(value, 0)
                pieces.setdefault(to, []).append((where, value))
    logged = {}
    for index, parts in pieces.items():
        where = np.concatenate([place for place, _ in parts])
        value = np.concatenate([v for _, v in parts])
        order = np.argsort(where, kind="stable")
        last = order[np.diff(where[order], append=-1) != 0]
        if len(last):
            logged[index] = Logged(where[last].astype(np.int32), value[last])
    counts = np.array(seen, dtype=np.int64)
    return Log(tuple(kept), type(main.stamps)(*stamps), logged, counts, main.left_out)
