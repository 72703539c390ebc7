"""The machines of an operation, each followed from its records to the steps of its tool."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.amounts import StepMass, amount_leaps, product_masses
from evenacre.coverage.clean import Fixes, clean
from evenacre.coverage.field_plane import plane_for
from evenacre.coverage.machines import machines_of, told_apart
from evenacre.coverage.measure.antenna_path import AntennaPath
from evenacre.coverage.measure.settings import Evidence, applied, measure
from evenacre.coverage.receiver.behaviour import Behaviour, behaviour
from evenacre.coverage.receiver.judgement import is_steered, judged
from evenacre.coverage.receiver.steering import hand_or_machine
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.rows import RowStates, row_states, with_rows
from evenacre.coverage.smooth import SmoothPath, ground_speed, smooth_path, turn_radius
from evenacre.coverage.steps import Steps, build_steps
from evenacre.coverage.swath import Strips
from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import Application, BoolArray, FloatArray, Implement, Operation, Track
from evenacre.model.audit_result import ToolPath
from evenacre.model.finding import Finding, FindingError, said_once
from evenacre.model.receiver import Receiver


@dataclass(frozen=True)
class Leg:
    """What one machine drove."""

    tracks: tuple[Track, ...]
    fixes: Fixes
    steps: Steps
    jitter_m: float
    left_m: float
    smoothed: bool
    receiver: Receiver
    # Who steered at each fix with the tool down: above 0 a hand, below 0 the machine, 0 not told
    by_hand: FloatArray
    by_speed: bool  # whether nothing but the speed tells of work
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Legs:
    """What all machines drove, one after the other.

    Attributes
    ----------
    legs : tuple of Leg
        One for each machine that can be followed; the first one where none can.
    tracks, fixes, steps
        Those of all legs; no step leads from one leg to the next.
    spans : tuple of slice
        The steps of each leg.
    findings : tuple of Finding
        How machines were told apart.
    implement : Implement
        As it was told and, where nothing was, as the logs tell it.
    evidence : Evidence
        What the logs tell of it.
    """

    legs: tuple[Leg, ...]
    tracks: tuple[Track, ...]
    fixes: Fixes
    steps: Steps
    spans: tuple[slice, ...]
    findings: tuple[Finding, ...]
    implement: Implement
    evidence: Evidence

    @property
    def jitter_m(self) -> float:
        """Of the receiver that scatters most."""
        return max(leg.jitter_m for leg in self.legs)

    @property
    def left_m(self) -> float:
        """What smoothing leaves of it, of the receiver that is left most."""
        return max(leg.left_m for leg in self.legs)

    @property
    def receiver(self) -> Receiver:
        """The one that knows its place least."""
        return max((leg.receiver for leg in self.legs), key=lambda r: r.pass_m)

    @property
    def by_speed(self) -> bool:
        """Whether nothing but the speed tells of some of the work."""
        return any(leg.by_speed for leg in self.legs)

    @property
    def told_apart(self) -> bool:
        """Whether it can be told for sure whose each record is."""
        return told_apart(self.findings)

    @property
    def smoothed(self) -> bool:
        """Whether any machine's positions were smoothed."""
        return any(leg.smoothed for leg in self.legs)

    @property
    def states(self) -> tuple[Finding, ...]:
        """How the rows that were on were told."""
        return said_once(f for leg in self.legs for f in leg.findings)

    def without_records(self) -> Legs:
        """The same, with the balance of the records and the first of them alone."""
        legs = tuple(
            replace(leg, fixes=leg.fixes.first(), by_hand=leg.by_hand[:1]) for leg in self.legs
        )
        return replace(self, legs=legs, fixes=self.fixes.first())

    def masses(
        self, applications: Sequence[Application], strips: Strips, implement: Implement
    ) -> tuple[list[StepMass], list[Finding]]:
        """Step masses of every product, and what looked wrong; ``strips`` of all steps."""
        masses: list[list[StepMass]] = []
        findings: list[Finding] = []
        for leg, span in zip(self.legs, self.spans, strict=True):
            # A single machine drove all steps, and its strips take much memory.
            own = strips if len(self.legs) == 1 else strips.of_steps(span)
            found = product_masses(applications, leg.tracks, leg.fixes, leg.steps, own, implement)
            masses.append(found[0])
            findings += found[1]
        joined = [self._joined_mass(parts, strips) for parts in zip(*masses, strict=True)]
        return joined, list(dict.fromkeys(findings))

    def _joined_mass(self, parts: Sequence[StepMass], strips: Strips) -> StepMass:
        if len(parts) == 1:
            return parts[0]
        mass, metered = (np.zeros(len(self.steps.whole)) for _ in range(2))
        strip_kg = None
        if any(part.strip_kg is not None for part in parts):
            strip_kg = np.zeros(len(strips.step))
        for part, span in zip(parts, self.spans, strict=True):
            mass[span], metered[span] = part.mass_kg, part.metered_kg
            if strip_kg is not None:
                own = strips.in_steps(span)
                strip_kg[own] = part.spread(strips.of_steps(span), self.steps.active.count[span])
        source = next((p.source for p in parts if p.source != "target"), "target")
        return StepMass(mass, metered, source, sum(p.unplaced_kg for p in parts), strip_kg)


def follow(
    operation: Operation,
    implement: Implement,
    applications: Sequence[Application],
    plane: WorkingPlane,
    boundary: BaseGeometry | None,
) -> Legs:
    """Follow every machine of an operation.

    Parameters
    ----------
    implement : Implement
        With rows chosen.
    boundary : geometry or None
        In the plane.
    """
    machines, findings = machines_of(operation.tracks, operation.settings)
    drives = [
        _drive(tracks, operation, implement, applications, plane, boundary) for tracks in machines
    ]
    counts = _summed([drive.fixes.counts for drive in drives])
    metres = _summed([drive.fixes.metres for drive in drives])
    drives = [drive for drive in drives if len(drive.fixes.time_s) > 1] or drives[:1]
    evidence = _measured(drives, implement, boundary)
    implement = replace(applied(implement, evidence.measured), error=evidence.error)
    legs = []
    while drives:  # what is no longer needed of each is let go
        legs.append(_leg(drives.pop(0), operation, implement))
    ends = np.cumsum([len(leg.steps.tool.time_s) for leg in legs])
    spans = tuple(
        slice(int(end) - len(leg.steps.tool.time_s), int(end) - 1)
        for leg, end in zip(legs, ends, strict=True)
    )
    fixes = replace(_joined_fixes(legs), counts=counts, metres=metres)
    return Legs(
        tuple(legs),
        tuple(track for leg in legs for track in leg.tracks),
        fixes,
        _joined_steps(legs),
        spans,
        tuple(findings),
        implement,
        evidence,
    )


def measure_operation(operation: Operation) -> Evidence:
    """Tell what the logs of an operation do of the drill, and audit nothing.

    Raises
    ------
    FindingError
        When the logs hold no position.
    """
    implement = with_rows(operation.implement, operation.tracks)
    plane = plane_for(operation.field, operation.tracks)
    near = operation.field.boundary
    boundary = None if near is None else plane.project(near)
    machines, _ = machines_of(operation.tracks, operation.settings)
    drives = [_drive(tracks, operation, implement, (), plane, boundary) for tracks in machines]
    drives = [drive for drive in drives if len(drive.fixes.time_s) > 1]
    if not drives:
        raise FindingError("no_position", ", ".join(t.source for t in operation.tracks))
    return _measured(drives, implement, boundary)


@dataclass(frozen=True)
class _Drive:
    """The antenna of one machine, and what it logged."""

    tracks: tuple[Track, ...]
    fixes: Fixes
    path: SmoothPath
    speed_mps: FloatArray
    radius_m: FloatArray
    states: RowStates
    leap: BoolArray | None


def _drive(
    tracks: tuple[Track, ...],
    operation: Operation,
    implement: Implement,
    applications: Sequence[Application],
    plane: WorkingPlane,
    boundary: BaseGeometry | None,
) -> _Drive:
    settings = operation.settings
    fixes = clean(tracks, plane, settings, boundary)
    path = smooth_path(fixes.time_s, fixes.x_m, fixes.y_m, fixes.run, smooth=settings.smooth)
    speed = ground_speed(fixes.time_s, path, fixes.run)
    radius = turn_radius(fixes.time_s, path, fixes.run, speed)
    states = row_states(fixes, tracks, implement, speed, radius)
    leap = amount_leaps(applications, tracks, fixes)
    return _Drive(tracks, fixes, path, speed, radius, states, leap)


def _measured(
    drives: Sequence[_Drive], implement: Implement, boundary: BaseGeometry | None
) -> Evidence:
    paths = [
        AntennaPath(
            drive.fixes.time_s,
            drive.path.x_m,
            drive.path.y_m,
            drive.path.course_rad,
            drive.speed_mps,
            drive.radius_m,
            drive.fixes.run,
            drive.fixes.handover_s,
            drive.states.on,
            drive.fixes.take(drive.tracks, lambda t: next(iter(t.rates.values()), None)),
        )
        for drive in drives
    ]
    tracks = [track for drive in drives for track in drive.tracks]
    guessed = any(drive.states.by_speed for drive in drives)
    return measure(
        paths,
        implement,
        boundary,
        at_tool=any(track.at_tool for track in tracks),
        switched=not guessed and all(track.timed for track in tracks),
    )


def _leg(drive: _Drive, operation: Operation, implement: Implement) -> Leg:
    findings = drive.states.findings
    if drive.tracks[0].at_tool:
        own = implement.at_its_own_places()
        if own != implement:
            findings = (*findings, Finding.note("places_of_the_tool"))
        implement = own
    tracks, fixes, path = drive.tracks, drive.fixes, drive.path
    on = drive.states.on
    by_hand = hand_or_machine(fixes, path, on.any, implement.width_m)

    def seen_where(working: BoolArray) -> Behaviour:
        return behaviour(
            *(tracks, fixes, path, drive.speed_mps, working),
            implement.width_m,
            implement.antenna_left_m,
        )

    seen = seen_where(on.any)
    if 0 < (by_hand > 0).sum() < (by_hand < 0).sum():
        # What a hand drove does not tell how the machine steers.
        rest = seen_where(on.any & (by_hand <= 0))
        seen = rest if is_steered(rest) else seen
    receiver = judged(seen, fixes, tracks, path.jitter_m, operation.settings)
    steps = build_steps(fixes, path, on, implement, operation.blockages, drive.leap)
    smoothed = path.x_m is not fixes.x_m
    by_speed = drive.states.by_speed
    return Leg(
        tracks,
        fixes,
        steps,
        path.jitter_m,
        path.left_m,
        smoothed,
        receiver,
        by_hand,
        by_speed,
        findings,
    )


Number = TypeVar("Number", int, float)


def _summed(parts: Sequence[dict[str, Number]]) -> dict[str, Number]:
    whole = dict(parts[0])
    for part in parts[1:]:
        for key, value in part.items():
            whole[key] = whole.get(key, 0) + value
    return whole


def _joined_fixes(legs: Sequence[Leg]) -> Fixes:
    """Fixes of all legs; tracks and runs are numbered on."""
    if len(legs) == 1:
        return legs[0].fixes
    parts = [leg.fixes for leg in legs]
    tracks = np.cumsum([0, *(len(leg.tracks) for leg in legs)])
    runs = np.cumsum([0, *(int(part.run[-1]) + 1 for part in parts)])

    def joined(name: str) -> np.ndarray:
        return np.concatenate([getattr(part, name) for part in parts])

    handovers = [part.handover_s for part in parts]
    for i, part in enumerate(parts[1:]):
        handovers[i] = np.append(handovers[i], part.time_s[0])
    return Fixes(
        joined("time_s"),
        joined("x_m"),
        joined("y_m"),
        np.concatenate([part.track + n for part, n in zip(parts, tracks, strict=False)]),
        joined("record"),
        np.concatenate([part.run + n for part, n in zip(parts, runs, strict=False)]),
        np.concatenate(handovers),
        findings=tuple(dict.fromkeys(f for part in parts for f in part.findings)),
    )


def _joined_steps(legs: Sequence[Leg]) -> Steps:
    """Steps of all legs, with a step between two legs that bridges nothing."""
    if len(legs) == 1:
        return legs[0].steps
    parts = [leg.steps for leg in legs]
    firsts = np.cumsum([0, *(len(leg.fixes.time_s) for leg in legs)])

    def joined(arrays: Sequence[np.ndarray]) -> np.ndarray:
        """Values of the steps, nothing between legs."""
        nothing = np.zeros((1, *arrays[0].shape[1:]), dtype=arrays[0].dtype)
        spread = [part for array in arrays for part in (array, nothing)]
        return np.concatenate(spread[:-1])

    tool = ToolPath(
        *(
            np.concatenate([getattr(part.tool, name) for part in parts])
            for name in ("time_s", "x_m", "y_m", "heading_rad")
        )
    )
    rows = [part.rows for part in parts]
    off = RowPatterns.of(np.zeros((1, rows[0].rows), dtype=np.int64))
    return Steps(
        tool,
        joined([part.whole for part in parts]),
        RowPatterns.joined([each for part in rows for each in (part, off)][:-1]),
        joined([part.record + n for part, n in zip(parts, firsts, strict=False)]),
        joined([part.distance_m for part in parts]),
        joined([part.duration_s for part in parts]),
    )
