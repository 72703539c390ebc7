"""From a time log to a track."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenacre.io.common.findings import Findings, counted
from evenacre.io.common.fix_quality import position_sigma_m, report_quality
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.amounts import Allotment, read_amounts
from evenacre.io.taskdata.booms import boom_of, sections_of
from evenacre.io.taskdata.counters import Sums, compare_log, sums_of
from evenacre.io.taskdata.devices import Machines
from evenacre.io.taskdata.implements import width_of
from evenacre.io.taskdata.logs import Log
from evenacre.io.taskdata.work_states import read_states
from evenacre.model import BoolArray, FloatArray, Track

_MAX_WIDTH_M, _MAX_SPEED_MPS = 200.0, 40.0


@dataclass(frozen=True)
class Driven:
    """A track and what else its log tells.

    Attributes
    ----------
    track : Track
    boom : str
        Id of the element that did the work; empty when no part of a machine is named.
    width_m : float or None
        Full working width, as the machine describes it or the log's widest.
    targets : dict of str to float
        Steady setpoints by product, kg per m2.
    sums : Sums
    """

    track: Track
    boom: str
    width_m: float | None
    targets: dict[str, float]
    sums: Sums


def track_of(
    log: Log,
    allotments: Sequence[Allotment],
    machines: Machines,
    source: str,
    findings: Findings,
) -> Driven | None:
    """Make the track of a log; None (and a warning) when it holds no position with a time.

    Parameters
    ----------
    source : str
        How the log is named to people.
    findings : Findings
        Of this log; they end in the track.
    """
    timed = np.isfinite(log.stamps.time_s)
    placed = timed & np.isfinite(log.stamps.lon)
    if not placed.any():
        findings.warn(f"{source}: no record has both a time and a position; it was left out.")
        return None
    if not timed.all():
        findings.warn(
            f"{source}: left out {counted(int((~timed).sum()), 'record')} without a time."
        )
    report_quality(source, log.stamps.quality[placed], findings)
    sigma = np.where(placed, position_sigma_m(log.stamps.quality), np.nan)
    boom = boom_of(log, machines, source, findings)
    states = read_states(log, boom, machines, source, findings)
    amounts = read_amounts(log, allotments, machines, boom, states.sections, source, findings)
    width = _width(log, boom, machines, source, findings)
    track = Track(
        source=source,
        time_s=log.stamps.time_s[timed],
        lon=log.stamps.lon[timed],
        lat=log.stamps.lat[timed],
        working=None if states.working is None else states.working[timed],
        sections=None if states.sections is None else states.sections[timed],
        width_m=None if width is None else width[timed],
        speed_mps=_speed(log, timed),
        rates={product: values[timed] for product, values in amounts.rates.items()},
        flows={product: values[timed] for product, values in amounts.flows.items()},
        sigma_m=sigma[timed] if np.isfinite(sigma).any() else None,
        unweighed=tuple(replace(u, values=u.values[timed]) for u in amounts.unweighed),
    )
    full = width_of(boom, machines, source, findings)
    if full is None and width is not None and np.isfinite(width).any():
        full = float(np.nanmax(width)) or None
    sums = sums_of(track, full)
    compare_log(log, machines, sums, source, findings)
    track = replace(track, notes=tuple(findings.notes), warnings=tuple(findings.warnings))
    return Driven(track, boom, full, amounts.targets, sums)


def _width(
    log: Log, boom: str, machines: Machines, about: str, findings: Findings
) -> FloatArray | None:
    """Working width of each record: that of the boom or what it belongs to, else of its parts."""
    own = {log.columns[index].part: index for index in log.indices(ddis.ACTUAL_WIDTH)}
    whole = next((own[p] for p in [boom, *machines.path(boom)[1:]] if p in own), None)
    if whole is not None:
        width = log.values(whole) * ddis.MM
    else:
        parts = [own[p.id] for p in sections_of(boom, machines) if p.id in own]
        if not parts:
            return None
        width = np.nansum([log.values(index) for index in parts], axis=0) * ddis.MM
    bad = (width < 0) | (width > _MAX_WIDTH_M)
    if bad.any():
        findings.warn(
            f"{about}: {counted(int(bad.sum()), 'record', 'have')} a working width that cannot be; "
            "it is taken as missing."
        )
    return np.where(bad, np.nan, width)


def _speed(log: Log, timed: BoolArray) -> FloatArray | None:
    """Speed where one is logged; impossible ones are missing."""
    indices = log.indices(ddis.SPEED)
    if not indices:
        return None
    speed = log.values(indices[0])[timed] * ddis.MM
    return np.where((speed < 0) | (speed > _MAX_SPEED_MPS), np.nan, speed)
