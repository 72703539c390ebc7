"""Planned passes in plain words, for a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from evenacre.planning.passes.nouns import Drive, PassPlan
from evenacre.planning.passes.room import turn_room
from evenacre.reports import figures
from evenacre.reports.pass_account import axis_deg
from evenacre.units import UnitSystem

_LABEL = 18
_SOME_M2 = 1.0  # less than that is none
_BEST = {"turns": "has fewest turns", "overlap": "has least overlap"}


def pass_lines(
    plans: Sequence[PassPlan],
    units: UnitSystem,
    *,
    heading_given: bool = False,
    warnings: Sequence[str] = (),
) -> list[str]:
    """Say what driving each field comes to, and what to look out for.

    Parameters
    ----------
    plans : sequence of PassPlan
        Driven in the same way, but for the heading.
    units : UnitSystem
    heading_given : bool
        It was not for the plans to choose.
    warnings : sequence of str
        What was found in the inputs.
    """
    lines: list[str] = []
    if len(plans) > 1:
        area = units.area.text(sum(plan.workable_m2 for plan in plans))
        time = figures.duration(sum(plan.field_time_s for plan in plans))
        lines += [f"{len(plans)} fields, {area}: {time} of driving, without fills.", ""]
    for plan in plans:
        lines.append(f"{plan.field}: {headline(plan, units)}.")
        rows = _rows(plan, units, heading_given) if plan.passes else ()
        lines += [f"  {label:<{_LABEL}}{text}" for label, text in rows]
        lines += [f"  warning: {text}" for text in plan.warnings]
        lines += [f"  caution: {text}" for text in cautions(plan, units)]
        lines.append("")
    lines.append(_assumed(plans[0].drive, units))
    return [*lines, *(f"warning: {text}" for text in warnings)]


def headline(plan: PassPlan, units: UnitSystem) -> str:
    """Rounds, passes and the ground: ``"2 rounds, then 42 passes east to west, on 38.2 ac"``."""
    size = figures.size(plan.workable_m2, units, 3)
    if not plan.passes:
        return f"nothing to drive on {size}"
    rounds = [run.number for run in plan.passes if run.kind == "round"]
    count = len(plan.passes) - len(rounds)
    parts = [_counted(max(rounds), "round", "rounds")] if rounds else []
    if count:
        heading = plan.drive.heading_rad or 0.0
        way = figures.axis_words(math.cos(heading), math.sin(heading))
        parts.append(f"{_counted(count, 'pass', 'passes')} {way}")
    return f"{', then '.join(parts)}, on {size}"


def heading_text(plan: PassPlan) -> str:
    """Compass heading of the passes, both ways: ``"87.0° and back 267.0°"``."""
    out = round(axis_deg(plan.drive.heading_rad or 0.0), 1) % 180.0
    return f"{out:.1f}° and back {out + 180.0:.1f}°"


def cautions(plan: PassPlan, units: UnitSystem) -> list[str]:
    """What to look out for, only where it applies."""
    room = turn_room(plan)
    if not room.turns:
        return []
    them = "1 turn leaves" if room.turns == 1 else f"{room.turns} turns leave"
    far = figures.distance(room.beyond_m, units)
    return [
        f"{them} the ground to be worked, by up to {far} at the middle of the tool. Look for "
        "fences, ditches, poles and wires there first; where there is no room, turn another way."
    ]


def _rows(plan: PassPlan, units: UnitSystem, heading_given: bool) -> Iterator[tuple[str, str]]:
    rounds, passes = (
        [run.line.length for run in plan.passes if run.kind == kind] for kind in ("round", "pass")
    )
    if passes:
        why = "as given" if heading_given else _BEST[plan.drive.prefer]
        yield "heading", f"{heading_text(plan)}, {why}"
    if rounds:
        runs = _counted(len(rounds), "run", "runs")
        laps = max(run.number for run in plan.passes if run.kind == "round")
        yield "headland rounds", f"{laps}, in {runs}, {units.distance.text(sum(rounds))}"
    else:
        yield "headland rounds", "none"
    yield "passes", f"{len(passes):,}, {units.distance.text(sum(passes))}" if passes else "none"
    turning = f"{figures.duration(plan.turn_s)}, {units.distance.text(plan.turn_m)}"
    yield "turns", f"{len(plan.turns):,}, {turning}" if plan.turns else "none"
    pace = units.capacity.text(plan.covered_m2 / plan.field_time_s)
    yield "time", f"{figures.duration(plan.field_time_s)}, {pace}, without fills"
    yield "field efficiency", figures.share(plan.field_efficiency, 1.0)
    yield "overlap", _part(plan.overlap_m2, plan, units)
    yield "missed", _part(plan.missed_m2, plan, units)


def _part(area_m2: float, plan: PassPlan, units: UnitSystem) -> str:
    if area_m2 < _SOME_M2:
        return "none"
    return f"{figures.share(area_m2, plan.workable_m2)}, {figures.size(area_m2, units)}"


def _assumed(drive: Drive, units: UnitSystem) -> str:
    return (
        f"Tool {units.length.text(drive.width_m)} wide, {units.speed.text(drive.speed_mps, 2)} at "
        f"work, {units.speed.text(drive.turn_speed_mps, 2)} in turns, none tighter than "
        f"{units.length.text(drive.turn_radius_m)}."
    )


def _counted(number: int, one: str, many: str) -> str:
    return f"{number:,} {one if number == 1 else many}"
