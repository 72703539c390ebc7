"""Planned passes in plain words, for a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from evenacre.language import mark, number, tr, trn
from evenacre.planning.passes.pass_types import SEEN_M2, Drive, FillSpot, PassPlan
from evenacre.planning.passes.turns import turn_room
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.audit import Card
from evenacre.reports.sentences.findings import sentences
from evenacre.units.display import UnitSystem

_LABEL = 18
_SOME_M2 = 1.0  # less than that is none
_AT_END_M = 0.5  # nearer than that to where a run ends is there
_KINDS = {"round": mark(" (round)"), "pass": "", "middle": mark(" (narrow ground)")}
_LEAST_SHARE = 1e-3  # what a share shows no less of
_BEST = {"turns": mark("has fewest turns"), "overlap": mark("has least overlap")}

LOOK_FIRST = mark(
    "Where turns leave the ground, look for fences, ditches, poles and wires before you "
    "drive; turn another way where there is no room."
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
        lines += [
            tr(
                "{count} fields, {area}: {time} of driving, without fills.",
                count=len(plans),
                area=area,
                time=time,
            ),
            "",
        ]
    for plan in plans:
        size = units.area.text(plan.workable_m2)
        lines.append(f"{plan.field}, {size}: {passes_text(plan)}.")
        if plan.passes:
            rows = _rows(plan, units, heading_given)
            lines += [f"  {label:<{_LABEL}}{text}" for label, text in rows]
        lines += [
            f"  {tr('warning: {said}', said=text)}" for text in sentences(plan.findings, "warning")
        ]
        lines += [f"  {tr('note: {said}', said=text)}" for text in pass_notes(plan)]
        lines += [f"  {tr('caution: {said}', said=text)}" for text in pass_cautions(plan, units)]
        lines.append("")
    if any(pass_cautions(plan, units) for plan in plans):
        lines.append(tr(LOOK_FIRST))
    lines.append(tool_sentence(plans, units))
    return [*lines, *(tr("warning: {said}", said=text) for text in warnings)]


def pass_card(plan: PassPlan, units: UnitSystem) -> Card:
    """Say the answer for one field: how it is driven, and what comes of it."""
    if not plan.passes:
        return Card(tr("Nothing to drive"), ())
    text = passes_text(plan)
    told = dict(_rows(plan, units, heading_given=False))
    lines = [
        ("work", f"{told[tr('time')].capitalize()}."),
        ("double", tr("Overlap: {overlap}.", overlap=told[tr("overlap")])),
        ("missed", tr("Missed: {missed}.", missed=told[tr("missed")])),
    ]
    return Card(f"{text[0].upper()}{text[1:]}", tuple(lines))


def pass_notes(plan: PassPlan) -> list[str]:
    """What else is to be known of the passes of a field."""
    # How the radius came about is told of all fields together.
    return sentences([f for f in plan.findings if f.code != "radius_derived"], "note")


def pass_cautions(plan: PassPlan, units: UnitSystem) -> list[str]:
    """Where turns leave the ground, of which nothing beyond it is known."""
    room = turn_room(plan)
    if not room.turns or plan.fenced:
        return []
    return [
        trn(
            "{count:,} turn leaves the ground to be worked, by up to {far} at the middle of the "
            "tool.",
            "{count:,} turns leave the ground to be worked, by up to {far} at the middle of the "
            "tool.",
            room.turns,
            far=figures.distance(room.beyond_m, units),
        )
    ]


def tool_sentence(plans: Sequence[PassPlan], units: UnitSystem) -> str:
    """Say what is driven, and how: the same in all fields."""
    drive = plans[0].drive
    derived = ""
    if any(finding.code == "radius_derived" for finding in plans[0].findings):
        derived = tr(", which its width and tow allow: no turn radius was given")
    return tr(
        "Tool {width} wide, {speed} at work, {turning} in turns, none tighter than {radius} at the "
        "hitch pin{derived}.",
        width=units.length.text(drive.width_m),
        speed=units.speed.text(drive.speed_mps, 2),
        turning=units.speed.text(drive.turn_speed_mps, 2),
        radius=units.length.text(drive.turn_radius_m or 0.0),
        derived=derived,
    )


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
        return tr("nothing to drive")
    laps, count = _laps(plan), runs_of(plan, "pass")
    parts = [trn("{count:,} round", "{count:,} rounds", laps)] if laps else []
    middles = runs_of(plan, "middle")
    if middles:
        parts.append(
            trn(
                "{count:,} run along the middle of narrow ground",
                "{count:,} runs along the middle of narrow ground",
                middles,
            )
        )
    if plan.blocks:
        parts.append(
            tr("{passes} in {count} blocks", passes=_passes(count), count=len(plan.blocks))
        )
    elif count:
        way = f"{axis_words(plan.drive)} ({number(_compass_deg(plan), '.1f')}°)"
        parts.append(f"{_passes(count)} {way}")
    return tr(", then ").join(parts[::-1] if plan.drive.headland == "last" else parts)


def _passes(count: int) -> str:
    return trn("{count:,} pass", "{count:,} passes", count)


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
    for place, block in enumerate(block_rows(plan), 1):
        ground = units.area.text(block.area_m2)
        way = tr(
            "{out:.1f}° and back {back:.1f}°",
            out=block.heading_deg,
            back=block.heading_deg + 180.0,
        )
        yield tr("block {place}", place=place), f"{way}, {_passes(block.passes)}, {ground}"
    if count and not plan.blocks:
        why = tr("as given") if heading_given else tr(_BEST[plan.drive.prefer])
        why = tr("along the line given") if plan.drive.along is not None else why
        out = _compass_deg(plan)
        yield (
            tr("heading"),
            tr("{out:.1f}° and back {back:.1f}°, {why}", out=out, back=out + 180.0, why=why),
        )
    runs = trn("{count:,} run", "{count:,} runs", runs_of(plan, "round"))
    around = {"laps": laps, "runs": runs, "rounds": rounds}
    driven = tr("{laps}, in {runs}, {rounds}, driven first", **around)
    if plan.drive.headland == "last":
        driven = tr("{laps}, in {runs}, {rounds}, driven last", **around)
    yield tr("headland rounds"), driven if laps else tr("none")
    if narrow := runs_of(plan, "middle"):
        yield (
            tr("narrow ground"),
            trn(
                "{count:,} run along the middle, {middles}",
                "{count:,} runs along the middle, {middles}",
                narrow,
                middles=middles,
            ),
        )
    yield tr("passes"), f"{number(count, ',')}, {passes}" if count else tr("none")
    turning = f"{_time(plan.turn_s)}, {units.distance.text(plan.turn_m)}"
    yield tr("turns"), f"{number(len(plan.turns), ',')}, {turning}" if plan.turns else tr("none")
    pace = units.capacity.text(plan.covered_m2 / plan.field_time_s)
    yield tr("time"), tr("{time}, {pace}, without fills", time=_time(plan.field_time_s), pace=pace)
    yield tr("field efficiency"), figures.share(plan.field_efficiency, 1.0)
    yield tr("covered"), figures.share(plan.covered_m2, plan.workable_m2)
    yield tr("overlap"), _part(plan.overlap_m2, plan, units)
    missed = _part(plan.missed_m2, plan, units)
    if plan.left_places:
        missed += trn(
            ", in {count:,} place of {smallest} or more",
            ", in {count:,} places of {smallest} or more",
            plan.left_places,
            smallest=units.small_area.text(SEEN_M2),
        )
    yield tr("missed"), missed
    if plan.fenced:
        yield (
            tr("fence"),
            tr("nothing of tractor, drill and cart leaves it"),
        )
    if plan.gate is not None:
        ways = ((plan.way_in, tr("to the first run")), (plan.way_out, tr("back from the last")))
        told = [f"{figures.distance(w.length, units)} {words}" for w, words in ways if w]
        yield tr("gate"), ", ".join(told) or tr("begun and ended elsewhere")
    for load, spot in enumerate(plan.fills, 1):
        yield tr("fill {load}", load=load), spot_text(spot_record(spot), units)
    if plan.outside_m2 >= _SOME_M2:
        yield tr("outside"), units.area.text(plan.outside_m2)


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
        where = tr("at its {ahead} end", ahead=ahead)
    elif spot["into_m"] < _AT_END_M:
        where = tr("before it begins, at its {back} end", back=back)
    else:
        where = tr(
            "{distance} before its {ahead} end", distance=figures.distance(left, units), ahead=ahead
        )
    kind = tr(_KINDS[spot["kind"]])
    what = tr("pass {run}{kind}, {where}", run=spot["run"], kind=kind, where=where)
    if spot["gate_m"] is None:
        return what
    return tr(
        "{what}, {distance} from the gate",
        what=what,
        distance=figures.distance(spot["gate_m"], units),
    )


def _part(area_m2: float, plan: PassPlan, units: UnitSystem) -> str:
    if area_m2 < _SOME_M2:
        return tr("none")
    part = figures.share(area_m2, plan.workable_m2)
    if area_m2 < _LEAST_SHARE * plan.workable_m2:
        part = tr("under {amount}", amount=figures.share(_LEAST_SHARE, 1.0))
    return f"{part}, {units.area.text(area_m2)}"


def _time(seconds: float) -> str:
    """Hours and minutes; seconds only where minutes are few."""
    if 600 <= seconds < 3570:
        return f"{round(seconds / 60)} min"
    return figures.duration(seconds)
