"""Planned passes in plain words, for a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from evenacre.io.common.findings import counted
from evenacre.planning.passes.pass_types import SEEN_M2, Drive, FillSpot, PassPlan
from evenacre.planning.passes.turns import turn_room
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.findings import sentences
from evenacre.units.display import UnitSystem

_LABEL = 18
_SOME_M2 = 1.0  # less than that is none
_AT_END_M = 0.5  # nearer than that to where a run ends is there
_KINDS = {"round": " (round)", "pass": "", "middle": " (narrow ground)"}
_LEAST_SHARE = 1e-3  # what a share shows no less of
_BEST = {"turns": "has fewest turns", "overlap": "has least overlap"}

_LOOK_FIRST = (
    "Where turns leave the ground, look for fences, ditches, poles and wires before you drive; "
    "turn another way where there is no room."
)


def pass_lines(
    plans: Sequence[PassPlan],
    units: UnitSystem,
    *,
    heading_given: bool = False,
    warnings: Sequence[str] = (),
) -> list[str]:
    """Say what driving each field comes to, and what to look out for.

    All are driven in the same way, but for the heading if it was not given.
    """
    lines: list[str] = []
    if len(plans) > 1:
        area = units.area.text(sum(plan.workable_m2 for plan in plans))
        time = _time(sum(plan.field_time_s for plan in plans))
        lines += [f"{len(plans)} fields, {area}: {time} of driving, without fills.", ""]
    rooms = [turn_room(plan) for plan in plans]
    for plan, room in zip(plans, rooms, strict=True):
        size = figures.size(plan.workable_m2, units, 3)
        lines.append(f"{plan.field}, {size}: {passes_text(plan)}.")
        if plan.passes:
            rows = _rows(plan, units, heading_given)
            lines += [f"  {label:<{_LABEL}}{text}" for label, text in rows]
        lines += [f"  warning: {text}" for text in sentences(plan.findings, "warning")]
        notes = [f for f in plan.findings if f.code != "radius_derived"]
        lines += [f"  note: {text}" for text in sentences(notes, "note")]
        if room.turns and not plan.fenced:
            lines.append(
                f"  caution: {counted(room.turns, 'turn', 'leave')} the ground to be worked, by up "
                f"to {figures.distance(room.beyond_m, units)} at the middle of the tool."
            )
        lines.append("")
    if any(room.turns and not plan.fenced for room, plan in zip(rooms, plans, strict=True)):
        lines.append(_LOOK_FIRST)
    drive = plans[0].drive
    derived = ""
    if any(finding.code == "radius_derived" for finding in plans[0].findings):
        derived = ", which its width and tow allow: no turn radius was given"
    lines.append(
        f"Tool {units.length.text(drive.width_m)} wide, {units.speed.text(drive.speed_mps, 2)} at "
        f"work, {units.speed.text(drive.turn_speed_mps, 2)} in turns, none tighter than "
        f"{units.length.text(drive.turn_radius_m or 0.0)} at the hitch pin{derived}."
    )
    return [*lines, *(f"warning: {text}" for text in warnings)]


def axis_deg(heading_rad: float) -> float:
    """Compass heading of a line, 0 to 180, whichever way it is driven."""
    return (90.0 - math.degrees(heading_rad)) % 180.0


def axis_words(drive: Drive) -> str:
    """How passes run: ``"east to west"``; empty where there is no heading."""
    angle = drive.heading_rad
    return "" if angle is None else figures.axis_words(math.cos(angle), math.sin(angle))


def runs_of(plan: PassPlan, kind: str) -> int:
    """How many runs are rounds, or passes."""
    return sum(run.kind == kind for run in plan.passes)


def passes_text(plan: PassPlan) -> str:
    """Rounds, passes and how they run: ``"2 rounds, then 42 passes east to west (87.0°)"``."""
    if not plan.passes:
        return "nothing to drive"
    laps, count = _laps(plan), runs_of(plan, "pass")
    parts = [counted(laps, "round")] if laps else []
    middles = runs_of(plan, "middle")
    if middles:
        parts.append(f"{counted(middles, 'run')} along the middle of narrow ground")
    if plan.blocks:
        parts.append(f"{_passes(count)} in {len(plan.blocks)} blocks")
    elif count:
        way = f"{axis_words(plan.drive)} ({_compass_deg(plan):.1f}°)"
        parts.append(f"{_passes(count)} {way}")
    return ", then ".join(parts[::-1] if plan.drive.headland == "last" else parts)


def _passes(count: int) -> str:
    return f"{count:,} {'pass' if count == 1 else 'passes'}"


def _laps(plan: PassPlan) -> int:
    return max((run.number for run in plan.passes if run.kind == "round"), default=0)


def _compass_deg(plan: PassPlan) -> float:
    return round(axis_deg(plan.drive.heading_rad or 0.0), 1) % 180.0


def _rows(plan: PassPlan, units: UnitSystem, heading_given: bool) -> Iterator[tuple[str, str]]:
    rounds, middles, passes = (
        units.distance.text(sum(r.line.length for r in plan.passes if r.kind == kind))
        for kind in ("round", "middle", "pass")
    )
    laps, count = _laps(plan), runs_of(plan, "pass")
    for number, block in enumerate(block_rows(plan), 1):
        ground = figures.size(block.area_m2, units)
        way = f"{block.heading_deg:.1f}° and back {block.heading_deg + 180.0:.1f}°"
        yield f"block {number}", f"{way}, {_passes(block.passes)}, {ground}"
    if count and not plan.blocks:
        why = "as given" if heading_given else _BEST[plan.drive.prefer]
        why = "along the line given" if plan.drive.along is not None else why
        out = _compass_deg(plan)
        yield "heading", f"{out:.1f}° and back {out + 180.0:.1f}°, {why}"
    runs = counted(runs_of(plan, "round"), "run")
    when = plan.drive.headland
    yield "headland rounds", f"{laps}, in {runs}, {rounds}, driven {when}" if laps else "none"
    if narrow := runs_of(plan, "middle"):
        yield "narrow ground", f"{counted(narrow, 'run')} along the middle, {middles}"
    yield "passes", f"{count:,}, {passes}" if count else "none"
    turning = f"{_time(plan.turn_s)}, {units.distance.text(plan.turn_m)}"
    yield "turns", f"{len(plan.turns):,}, {turning}" if plan.turns else "none"
    pace = units.capacity.text(plan.covered_m2 / plan.field_time_s)
    yield "time", f"{_time(plan.field_time_s)}, {pace}, without fills"
    yield "field efficiency", figures.share(plan.field_efficiency, 1.0)
    yield "covered", figures.share(plan.covered_m2, plan.workable_m2)
    yield "overlap", _part(plan.overlap_m2, plan, units)
    missed = _part(plan.missed_m2, plan, units)
    if plan.left_places:
        missed += f", in {counted(plan.left_places, 'place')} of {units.small_area.text(SEEN_M2)} "
        missed += "or more"
    yield "missed", missed
    if plan.fenced:
        yield (
            "fence",
            "nothing of tractor, drill and cart leaves it",
        )
    if plan.gate is not None:
        ways = ((plan.way_in, "to the first run"), (plan.way_out, "back from the last"))
        told = [f"{figures.distance(w.length, units)} {words}" for w, words in ways if w]
        yield "gate", ", ".join(told) or "begun and ended elsewhere"
    for load, spot in enumerate(plan.fills, 1):
        yield f"fill {load}", spot_text(spot_record(spot), units)
    if plan.outside_m2 >= _SOME_M2:
        yield "outside", figures.size(plan.outside_m2, units)


@dataclass(frozen=True)
class BlockRow:
    """What is told of a block: heading clockwise from north (0 to 180), passes, area."""

    heading_deg: float
    passes: int
    area_m2: float


def block_rows(plan: PassPlan) -> list[BlockRow]:
    """Blocks in the order of the plan; none where all passes have one heading."""
    return [
        BlockRow(
            round(axis_deg(block.heading_rad), 1) % 180.0,
            sum(run.block == number for run in plan.passes),
            block.ground.area,
        )
        for number, block in enumerate(plan.blocks)
    ]


def spot_record(spot: FillSpot) -> dict[str, Any]:
    """Where a cart is filled: the run by its place in the drive, and how far into it."""
    return {
        "run": spot.run,
        "kind": spot.kind,
        "number": spot.number,
        "into_m": spot.into_m,
        "length_m": spot.length_m,
        "heading_deg": (90.0 - math.degrees(spot.heading_rad)) % 360.0,
        "gate_m": spot.gate_m,
    }


def spot_text(spot: Mapping[str, Any], units: UnitSystem) -> str:
    """Where the drill stands for a fill: ``"pass 14, at its east end, 210 m from the gate"``.

    Passes are counted as they are driven, rounds among them, as on the map and in the day list.
    """
    turned = math.radians(spot["heading_deg"])
    east, north = math.sin(turned), math.cos(turned)
    ahead, back = figures.compass(east, north), figures.compass(-east, -north)
    left = spot["length_m"] - spot["into_m"]
    if left < _AT_END_M:
        where = f"at its {ahead} end"
    elif spot["into_m"] < _AT_END_M:
        where = f"before it begins, at its {back} end"
    else:
        where = f"{figures.distance(left, units)} before its {ahead} end"
    what = f"pass {spot['run']}{_KINDS[spot['kind']]}, {where}"
    if spot["gate_m"] is None:
        return what
    return f"{what}, {figures.distance(spot['gate_m'], units)} from the gate"


def _part(area_m2: float, plan: PassPlan, units: UnitSystem) -> str:
    if area_m2 < _SOME_M2:
        return "none"
    part = figures.share(area_m2, plan.workable_m2)
    if area_m2 < _LEAST_SHARE * plan.workable_m2:
        part = f"under {figures.share(_LEAST_SHARE, 1.0)}"
    return f"{part}, {figures.size(area_m2, units)}"


def _time(seconds: float) -> str:
    """Hours and minutes; seconds only where minutes are few."""
    if 600 <= seconds < 3570:
        return f"{round(seconds / 60)} min"
    return figures.duration(seconds)
