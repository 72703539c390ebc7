"""Hold the counters of a machine against its own log."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np

from evenacre.geo.geodesy import step_m
from evenacre.io.common.findings import Findings
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.devices import BIN, Machines
from evenacre.io.taskdata.logs import Log
from evenacre.io.taskdata.tree import ddi, number, text
from evenacre.model import FloatArray, Track
from evenacre.units.display import Shown, in_both

_APART = 0.10
# Counters step in whole kilograms and square metres; smaller differences say nothing.
_LEAST = {"mass": 20.0, "area": 200.0, "distance": 50.0}
_SHOWN: dict[str, Shown] = {"mass": "mass", "area": "area", "distance": "length"}
_LONGEST_STEP_S = 10.0
_EFFECTIVE = "4"

Counts = dict[tuple[str, str], float]
"""What counters say, by what they count and the part of the machine they belong to."""


@dataclass(frozen=True)
class Sums:
    """What a log adds up to, roughly: kg, m2 and m."""

    mass: float
    area: float
    distance: float


def sums_of(track: Track, width_m: float | None) -> Sums:
    """Add up a track by simple steps, good to a few percent: for comparison only."""
    moved = np.nan_to_num(step_m(track.lon, track.lat))
    elapsed = np.diff(track.time_s, prepend=track.time_s[:1])
    good = (elapsed > 0) & (elapsed < _LONGEST_STEP_S)
    moved, elapsed = np.where(good, moved, 0.0), np.where(good, elapsed, 0.0)
    share = _share_on(track)
    width = np.zeros(len(track)) if width_m is None else width_m * share
    if track.width_m is not None and track.sections is None:
        width = np.nan_to_num(track.width_m) * share
    mass = sum(float((np.nan_to_num(flow) * elapsed).sum()) for flow in track.flows.values())
    mass += sum(
        float((np.nan_to_num(rate) * width * moved).sum())
        for product, rate in track.rates.items()
        if product not in track.flows
    )
    return Sums(mass, float((width * moved).sum()), float((moved * (share > 0)).sum()))


def _share_on(track: Track) -> FloatArray:
    share = np.ones(len(track))
    if track.working is not None:
        share = share * track.working
    if track.sections is not None:
        share = share * track.sections.mean(axis=1)
    return share


def compare_log(log: Log, machines: Machines, sums: Sums, about: str, findings: Findings) -> None:
    """Warn where counters logged in the records disagree with the records."""
    grown: Counts = {}
    for key, total in ddis.TOTALS.items():
        for index in log.indices(key):
            logged = log.logged.get(index)
            if logged is not None:
                by = float(int(logged.value[-1]) - int(logged.value[0])) * total.step
                place = (total.what, log.columns[index].part)
                grown[place] = max(grown.get(place, 0.0), by)
    for what, counted in _by_kind(grown, machines).items():
        _compare(what, counted, getattr(sums, what), about, findings)


def compare_task(
    task: Element, machines: Machines, sums: list[Sums], about: str, findings: Findings
) -> None:
    """Warn where the totals of a finished task disagree with its logs."""
    found: Counts = {}
    for time in task.findall("TIM"):
        if time.get("D") != _EFFECTIVE:
            continue
        for value in time.findall("DLV"):
            total = ddis.TOTALS.get(ddi(value, "A") or 0)
            counted = number(value, "B")
            if total is not None and np.isfinite(counted):
                # Totals run on from one stretch of work to the next: the last is the largest.
                place = (total.what, text(value, "C"))
                found[place] = max(found.get(place, 0.0), counted * total.step)
    for what, counted in _by_kind(found, machines).items():
        _compare(what, counted, sum(getattr(s, what) for s in sums), about, findings)


def _by_kind(counts: Counts, machines: Machines) -> dict[str, float]:
    """Join the counters of a machine: bins add up, other parts count the same thing again."""
    bins: dict[str, float] = {}
    whole: dict[str, float] = {}
    for (what, part), count in counts.items():
        if part in machines.parts and machines.parts[part].kind == BIN:
            bins[what] = bins.get(what, 0.0) + count
        else:
            whole[what] = max(whole.get(what, 0.0), count)
    return {what: max(bins.get(what, 0.0), whole.get(what, 0.0)) for what in bins | whole}


def _compare(what: str, counted: float, summed: float, about: str, findings: Findings) -> None:
    if counted <= 0 or summed <= 0 or abs(counted - summed) < _LEAST[what]:
        return
    if abs(counted - summed) > _APART * counted:
        says, records = in_both(_SHOWN[what], counted), in_both(_SHOWN[what], summed)
        findings.warn(
            f"{about}: the machine's own counter of {what} says {says}, but its records add up to "
            f"{records}."
        )
