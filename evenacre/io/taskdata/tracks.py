"""From a time log to a track."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from evenacre.io.common.findings import Subject, counted
from evenacre.io.common.fix_quality import position_sigma_m, report_quality
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.amounts import Allotment, read_amounts
from evenacre.io.taskdata.counters import Sums, compare_log, sums_of
from evenacre.io.taskdata.machines import MAX_WIDTH_M, Machines, width_of
from evenacre.io.taskdata.time_log import Log
from evenacre.io.taskdata.work_states import LoggedWork, logged_work, sections_on, working
from evenacre.model import FloatArray, Track

_MAX_SPEED_MPS = 40.0
_STEP_M = ddis.QUANTITIES[ddis.ACTUAL_WIDTH].step
_STEP_MPS = ddis.QUANTITIES[ddis.SPEED].step


@dataclass(frozen=True)
class Driven:
    """A track and what else its log tells."""

    track: Track
    boom: str  # Id of the element that did the work; empty when no part of a machine is named
    width_m: float | None  # Full working width, as the machine describes it or the log's widest
    targets_kg_per_m2: dict[str, float]  # Steady setpoints by product
    sums: Sums


def track_of(
    log: Log, allotments: Sequence[Allotment], machines: Machines, about: Subject
) -> Driven | None:
    """Make the track of a log; None (and a warning) when it holds no position with a time.

    It gets the name and the findings of its subject.
    """
    time_s, lon, lat, quality = log.stamps
    timed = np.isfinite(time_s)
    placed = timed & np.isfinite(lon)
    if not placed.any():
        about.warn("no record has both a time and a position; it was left out.")
        return None
    if not timed.all():
        about.warn(f"left out {counted(int((~timed).sum()), 'record')} without a time.")
    report_quality(about.name, quality[placed], about.findings)
    sigma = np.where(placed, position_sigma_m(quality), np.nan)
    work = logged_work(log, machines, about)
    sections, on = sections_on(work), working(work)
    amounts = read_amounts(work, allotments, sections)
    width = _width(work)

    def kept(values: Any) -> Any:
        return None if values is None else values[timed]

    track = Track(
        source=about.name,
        time_s=time_s[timed],
        lon=lon[timed],
        lat=lat[timed],
        working=kept(on),
        sections=kept(sections),
        width_m=kept(width),
        speed_mps=kept(_speed(log)),
        rates={product: values[timed] for product, values in amounts.rates.items()},
        flows={product: values[timed] for product, values in amounts.flows.items()},
        sigma_m=sigma[timed] if np.isfinite(sigma).any() else None,
        unweighed=tuple(replace(u, values=u.values[timed]) for u in amounts.unweighed),
    )
    full = width_of(work.boom, machines, about)
    if full is None and width is not None and np.isfinite(width).any():
        full = float(np.nanmax(width)) or None
    sums = sums_of(track, full)
    compare_log(log, machines, sums, about)
    track = replace(
        track, notes=tuple(about.findings.notes), warnings=tuple(about.findings.warnings)
    )
    return Driven(track, work.boom, full, amounts.targets_kg_per_m2, sums)


def _width(work: LoggedWork) -> FloatArray | None:
    """Working width of each record: that of the boom or what it belongs to, else of its parts."""
    log, own = work.log, work.log.index_by_part(ddis.ACTUAL_WIDTH)
    chosen = work.nearest(ddis.ACTUAL_WIDTH)[:1]
    chosen = chosen or [own[part.id] for part in work.sections if part.id in own]
    if not chosen:
        return None
    values = [log.values(index) for index in chosen]
    width = (values[0] if len(values) == 1 else np.nansum(values, axis=0)) * _STEP_M
    bad = (width < 0) | (width > MAX_WIDTH_M)
    return work.without(width, bad, "a working width that cannot be")


def _speed(log: Log) -> FloatArray | None:
    """Speed where one is logged; impossible ones are missing."""
    indices = log.indices(ddis.SPEED)
    if not indices:
        return None
    speed = log.values(indices[0]) * _STEP_MPS
    return np.where((speed < 0) | (speed > _MAX_SPEED_MPS), np.nan, speed)
