"""From a time log to a track."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from evenacre.io.common.findings import Subject
from evenacre.io.common.fix_quality import position_sigma_m, report_quality, usual_dilution
from evenacre.io.common.receiver_words import note_receiver, receiver_said
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.amounts import Allotment, read_amounts
from evenacre.io.taskdata.counters import Spans, Sums, compare_log, sums_of
from evenacre.io.taskdata.machines import MAX_WIDTH_M, NAVIGATION, Machines, width_of
from evenacre.io.taskdata.time_log import Log
from evenacre.io.taskdata.work_states import (
    LoggedWork,
    agreed,
    logged_work,
    sections_on,
    working,
)
from evenacre.language import tr, trn
from evenacre.model import BoolArray, FloatArray, Track

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
    spans: Spans  # Of its counters
    machines: Machines  # With what the log tells of them


def track_of(
    log: Log, allotments: Sequence[Allotment], machines: Machines, about: Subject
) -> Driven | None:
    """Make the track of a log; None (and a warning) when it holds no position with a time.

    It gets the name and the findings of its subject.
    """
    time_s, lon, lat, quality, hdop = log.stamps
    timed = np.isfinite(time_s)
    placed = timed & np.isfinite(lon)
    if not placed.any():
        about.warn(tr("no record has both a time and a position; it was left out."))
        return None
    if not timed.all():
        about.warn(
            tr(
                "left out {records} without a time.",
                records=trn("{count:,} record", "{count:,} records", int((~timed).sum())),
            )
        )
    report_quality(about.name, quality[placed], about.findings)
    sigma = position_sigma_m(quality, hdop)
    work = logged_work(log, machines.completed(log), about)
    sections, on, width = agreed(work, sections_on(work), working(work), _width(work))
    amounts = read_amounts(work, allotments, sections)

    def kept(values: Any) -> Any:
        return None if values is None else values[placed]

    left_out = {**log.left_out, "without a time": int((~timed & np.isfinite(lon)).sum())}

    track = Track(
        source=about.name,
        time_s=time_s[placed],
        lon=lon[placed],
        lat=lat[placed],
        working=kept(on),
        sections=kept(sections),
        width_m=kept(width),
        speed_mps=kept(_speed(log)),
        rates={product: values[placed] for product, values in amounts.rates.items()},
        flows={product: values[placed] for product, values in amounts.flows.items()},
        sigma_m=sigma[placed] if np.isfinite(sigma[placed]).any() else None,
        dilution=usual_dilution(quality[placed], hdop[placed]),
        unweighed=tuple(replace(u, values=u.values[placed]) for u in amounts.unweighed),
        left_out={cause: count for cause, count in left_out.items() if count},
        receiver=_receiver(machines, about),
    )
    full = width_of(work.boom, work.machines, about)
    if full is None and width is not None and np.isfinite(width).any():
        full = float(np.nanmax(width)) or None
    sums = sums_of(track, full)
    spans = compare_log(log, machines, sums, about)
    track = replace(
        track, notes=tuple(about.findings.notes), warnings=tuple(about.findings.warnings)
    )
    return Driven(track, work.boom, full, amounts.targets_kg_per_m2, sums, spans, work.machines)


def _receiver(machines: Machines, about: Subject) -> str:
    """What the names of the machines' navigation references say of the receiver, where one does."""
    names = [part.name for part in machines.parts.values() if part.kind == NAVIGATION]
    said = {kind: name for name in names if (kind := receiver_said(name))}
    if len(said) != 1:
        return ""
    ((kind, name),) = said.items()
    note_receiver(kind, f"{about.name}: the machine's navigation reference", name, about.findings)
    return kind


def said_once(driven: Sequence[Driven], about: Subject) -> list[Driven]:
    """Say of all logs together what each of several says of itself."""
    tracks = [d.track for d in driven]

    def bare(line: str, track: Track) -> str:
        log = track.source.rpartition(", ")[2]
        return line.partition(f", {log}: ")[2] or line

    for kind in ("notes", "warnings"):
        texts = Counter(bare(line, t) for t in tracks for line in getattr(t, kind))
        common = {text: count for text, count in texts.items() if count > 1}
        for text, count in common.items():
            said = tr(
                "{said} (so in {count:,} of {count_2:,} logs).",
                said=text.removesuffix("."),
                count=count,
                count_2=len(tracks),
            )
            (about.note if kind == "notes" else about.warn)(said)
        for place, track in enumerate(tracks):
            own: dict[str, Any] = {
                kind: tuple(
                    line for line in getattr(track, kind) if bare(line, track) not in common
                )
            }
            tracks[place] = replace(track, **own)
    return [replace(d, track=t) for d, t in zip(driven, tracks, strict=True)]


def worked(track: Track) -> BoolArray:
    """Records at which anything was on, (n,), as far as states and widths tell."""
    on = np.ones(len(track), dtype=bool)
    if track.working is not None:
        on &= track.working
    if track.sections is not None:
        on &= track.sections.any(axis=1)
    if track.width_m is not None:
        on &= np.nan_to_num(track.width_m, nan=1.0) > 0
    return on


def idle_beside_others(driven: Sequence[Driven], about: Subject) -> list[Driven]:
    """Take a log that tells nothing of work, unlike others of its task, as driven without."""

    def silent(track: Track) -> bool:
        told = (track.working, track.sections, track.width_m)
        return all(t is None for t in told) and not (track.rates or track.flows or track.unweighed)

    if all(silent(d.track) for d in driven):
        return [*driven]
    done = []
    for one in driven:
        track = one.track
        if silent(track):
            about.warn(
                tr(
                    "{rpartition} tells of no work, unlike its other logs; its {records} as "
                    "driven without work.",
                    rpartition=track.source.rpartition(", ")[2],
                    records=trn("{count:,} record counts", "{count:,} records count", len(track)),
                )
            )
            track = replace(track, working=np.zeros(len(track), dtype=bool))
        done.append(replace(one, track=track, sums=sums_of(track, one.width_m)))
    return done


def told_apart(driven: Sequence[Driven]) -> list[Driven]:
    """Name as another machine's every log that runs while another does."""
    spans = [(d.track.time_s.min(), d.track.time_s.max()) for d in driven]

    def beside(place: int) -> bool:
        first, last = spans[place]
        return any(k != place and a < last and first < b for k, (a, b) in enumerate(spans))

    return [
        replace(d, track=replace(d.track, machine=d.track.source.rpartition(", ")[2]))
        if beside(place)
        else d
        for place, d in enumerate(driven)
    ]


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
