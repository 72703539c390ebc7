"""Hold the counters of a machine against its own log."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple
from xml.etree.ElementTree import Element

import numpy as np
import pyarrow as pa

from evenacre.geo.geodesy import step_m
from evenacre.io.common.findings import Subject
from evenacre.io.tables.time_texts import read_time_texts
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.machines import BIN, Machines
from evenacre.io.taskdata.time_log import Log
from evenacre.io.taskdata.tree import ddi, number, text
from evenacre.language import tr
from evenacre.model import FloatArray, Track
from evenacre.units.display import Shown, in_both

_APART = 0.10
# Counters step in whole kilograms and square metres; smaller differences say nothing.
_LEAST = {"mass": 20.0, "area": 200.0, "distance": 50.0}
_SHOWN: dict[str, Shown] = {"mass": "mass", "area": "area", "distance": "length"}
_LONGEST_STEP_S, _USUAL_STEPS = 10.0, 3.0
_EFFECTIVE = "4"
# A task that was at work so much longer than its logs last lacks one of them.
_UNLOGGED_S, _UNLOGGED = 60.0, 0.5

Spans = dict[tuple[int, str], tuple[float, float]]
"""First and last value of each counter, by its identifier and the part of the machine."""
Counts = dict[tuple[str, str], float]
"""What counters say, by what they count and the part of the machine they belong to."""


class Sums(NamedTuple):
    """What a log adds up to, roughly: kg, m2 and m; NaN where it tells nothing of it."""

    mass: float
    area: float
    distance: float


def sums_of(track: Track, width_m: float | None) -> Sums:
    """Add up a track by simple steps, good to a few percent: for comparison only."""
    moved = np.nan_to_num(step_m(track.lon, track.lat))
    elapsed = np.diff(track.time_s, prepend=track.time_s[:1])
    usual = float(np.median(elapsed[elapsed > 0])) if (elapsed > 0).any() else 0.0
    good = (elapsed > 0) & (elapsed < max(_LONGEST_STEP_S, _USUAL_STEPS * usual))
    moved, elapsed = np.where(good, moved, 0.0), np.where(good, elapsed, 0.0)
    share = np.ones(len(track)) if track.working is None else track.working.astype(float)
    if track.sections is not None:
        share = share * track.sections.mean(axis=1)
    width = np.zeros(len(track)) if width_m is None else width_m * share
    if track.width_m is not None and track.sections is None:
        width = np.nan_to_num(track.width_m) * share
    # What a record says holds until the next one.
    share, width = np.roll(share, 1), np.roll(width, 1)
    mass = sum(float((np.nan_to_num(flow) * elapsed).sum()) for flow in track.flows.values())
    mass += sum(
        float((np.nan_to_num(rate) * width * moved).sum())
        for product, rate in track.rates.items()
        if product not in track.flows
    )
    if not track.flows and not track.rates:
        mass = float("nan")
    area = float((width * moved).sum())
    if width_m is None and track.width_m is None:
        area = float("nan")
    return Sums(mass, area, float((moved * (share > 0)).sum()))


def compare_log(log: Log, machines: Machines, sums: Sums, about: Subject) -> Spans:
    """Warn where counters logged in the records disagree with the records.

    Returns the first and last value of each.
    """
    spans: Spans = {}
    for key in ddis.TOTALS:
        for index in log.indices(key):
            if index in log.logged:
                first, last = log.logged[index].value[[0, -1]].tolist()
                spans[key, log.columns[index].part] = first, last
    grown: Counts = {}
    for (key, part), (first, last) in spans.items():
        _keep_largest(grown, key, part, float(last - first))
    _compare(grown, machines, [sums], about)
    return spans


def compare_task(
    task: Element, machines: Machines, logs: Sequence[tuple[Sums, Spans]], about: Subject
) -> None:
    """Warn where the totals of a finished task, or of its logs one after another, disagree."""
    found: Counts = {}
    whole: Spans = {}
    for _, spans in logs:
        for counter, (first, last) in spans.items():
            whole[counter] = whole.get(counter, (first, last))[0], last
    for (key, part), (first, last) in whole.items():
        if len(logs) > 1:
            _keep_largest(found, key, part, float(last - first))
    for value in task.findall(f"TIM[@D='{_EFFECTIVE}']/DLV"):
        key_told, counted = ddi(value, "A"), number(value, "B")
        # What is logged too need not begin at zero: its growth was held against the records.
        if key_told in ddis.TOTALS and (key_told, text(value, "C")) not in whole:
            # Totals run on from one stretch of work to the next: the last is the largest.
            _keep_largest(found, key_told, text(value, "C"), counted if counted > 0 else 0.0)
    _compare(found, machines, [sums for sums, _ in logs], about)


def compare_times(task: Element, tracks: Sequence[Track], about: Subject) -> None:
    """Warn where a task was at work far longer than its logs last: one of them is missing."""
    stretches = task.findall(f"TIM[@D='{_EFFECTIVE}']")
    begun, ended = (
        read_time_texts(
            pa.array([text(one, name) or None for one in stretches], pa.string())
        ).wall_s
        for name in "AB"
    )
    worked_s = _together_s(begun, ended)
    logged_s = _together_s(
        np.array([t.time_s.min() for t in tracks]), np.array([t.time_s.max() for t in tracks])
    )
    if worked_s - logged_s > max(_UNLOGGED_S, _UNLOGGED * worked_s):
        about.warn(
            tr(
                "it was at work for {worked:.1f} min by its own account, but its logs last "
                "{logged:.1f} min: one of them is missing. Export the task with all its logs.",
                worked=worked_s / 60,
                logged=logged_s / 60,
            )
        )


def _together_s(begun: FloatArray, ended: FloatArray) -> float:
    """How long stretches of time last together; what lies in several counts once."""
    whole = ended > begun
    order = np.argsort(begun[whole])
    begun, ended = begun[whole][order], np.maximum.accumulate(ended[whole][order])
    return float(np.maximum(ended - np.maximum(begun, np.append(-np.inf, ended)[:-1]), 0).sum())


def _keep_largest(counts: Counts, key: int, part: str, count: float) -> None:
    of, step, _ = ddis.QUANTITIES[key]
    counts[of, part] = max(counts.get((of, part), 0.0), count * step)


def _compare(counts: Counts, machines: Machines, sums: list[Sums], about: Subject) -> None:
    """Join the counters of a machine: bins add up, other parts count the same thing again."""
    bins: dict[str, float] = {}
    others: dict[str, float] = {}
    for (what, part), count in counts.items():
        # Several bins each empty a part of the mass, and all go over the same ground.
        if machines.kind(part) == BIN and what == "mass":
            bins[what] = bins.get(what, 0.0) + count
        else:
            others[what] = max(others.get(what, 0.0), count)
    for what in bins | others:
        counted = max(bins.get(what, 0.0), others.get(what, 0.0))
        summed = sum(getattr(s, what) for s in sums)
        apart = abs(counted - summed)
        if counted > 0 and apart >= _LEAST[what] and apart > _APART * counted:
            says, records = in_both(_SHOWN[what], counted), in_both(_SHOWN[what], summed)
            about.warn(
                tr(
                    "the machine's own counter of {what} says {says}, but its records add up "
                    "to {records}.",
                    what=what,
                    says=says,
                    records=records,
                )
            )
