"""Plan the drive over a field: headland rounds, then parallel passes inside them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.cover import count_cover
from evenacre.coverage.field_plane import lay_out, plane_for
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import common, polygonal, without
from evenacre.model import Field
from evenacre.model.finding import Finding, FindingError
from evenacre.planning.ground import buffered, opened, overlaid, whole_of
from evenacre.planning.passes.crossing import Crossing
from evenacre.planning.passes.fenced_drive import fenced_drive
from evenacre.planning.passes.fills import filling_spots
from evenacre.planning.passes.gates import pose_in_gate
from evenacre.planning.passes.open_drive import LaidDrive, open_drive
from evenacre.planning.passes.pass_types import SEEN_M2, Drive, FillSpot, PassPlan, PlannedPass
from evenacre.planning.passes.rig import Rig, rig_of
from evenacre.planning.passes.swaths import swath_pieces
from evenacre.planning.passes.turns import poses

# Ground narrower than twice this is no part of what is left.
_HAIR_M = 0.05
# To go from forward to backward, or on again, takes so long; backing up is half as fast as a turn.
# Common practice, no source.
_SHIFT_S = 3.0
# How near the widest circle that does is found.
_RADIUS_M, _RADIUS_SHARE = 0.1, 0.1
# Blocks have to be marked out: for less of a gain than this share they are not made.
_GAIN = 0.01
# How many rounds along ground that is crossed are tried.
_ALONG = (0, 1)
# A plan may miss so much more of the workable ground than another, for less time.
_MORE_MISSED = 0.001

OF_THE_RIG = frozenset({"tow_assumed", "radius_derived", "tractor_assumed"})
"""Codes of what was taken for what drives: the same on every field."""


def plan_passes(field: Field, drive: Drive) -> PassPlan:
    """Plan the drive over a field with a boundary.

    Rounds along the boundary come first, the outermost first, or last; passes go each to the
    nearest end of one still to do. The tool is lifted in turns. Where the field is fenced, no part
    of tractor, tool or cart leaves it, and a run ends where the turn after it has room. The tool
    never leaves the workable ground: what it cannot reach is missed, and is told.

    Raises
    ------
    FindingError
        When nothing turns round inside the fence with the radius given, and would with less; or
        the gate is too narrow for what drives.
    """
    plan = lay_passes(field, drive)
    for found in plan.findings:
        if found.code == "nothing_turns":
            radius_m, most_m = found.values["radius_m"], found.values["most_m"]
            raise FindingError(
                "radius_allows_no_turn",
                field.name,
                "turn_radius",
                radius_m=radius_m,
                most_m=most_m,
            )
    return plan


def lay_passes(field: Field, drive: Drive) -> PassPlan:
    """Plan the drive over one of several fields, as `plan_passes`.

    Where the radius given is too wide to turn round it warns, and plans what can be driven.

    Raises
    ------
    FindingError
        When the gate is too narrow for what drives.
    """
    if field.boundary is None:
        raise ValueError("passes are planned inside a boundary")
    if drive.width_m <= 0 or (drive.turn_radius_m is not None and drive.turn_radius_m <= 0):
        raise ValueError("the tool needs a width, and the machine a turn radius")
    through_gate = _through_gate(field, drive)
    plane = plane_for(field, ())
    site = lay_out(field, plane, shapely.Polygon(), 0.0)
    workable = site.workable
    rig = rig_of(drive, towed=bool(field.fenced))
    line = None if field.line is None else plane.project(field.line)
    asked, drive = drive, replace(drive, turn_radius_m=rig.radius_m, along=line)
    boundary = plane.project(field.boundary)
    gate = None if field.gate is None else plane.project(field.gate)
    pose = None if gate is None else pose_in_gate(boundary, gate)
    crossed: BaseGeometry = shapely.Polygon()
    if field.crossed is not None:
        crossed = common(plane.project(field.crossed), site.unworkable)
    around = buffered(boundary, 2 * rig.radius_m + drive.width_m)
    kept_off = without(site.unworkable, crossed)
    free, fenced = without(around, kept_off), without(boundary, kept_off)

    def driven(drive: Drive, crossing: Crossing | None) -> PassPlan:
        if field.fenced:
            laid = fenced_drive(workable, fenced, boundary, drive, rig, pose, crossing=crossing)
        else:
            laid = open_drive(workable, drive, rig, free, crossing, pose)
        plan = _accounted(field, plane, workable, drive, laid, gate)
        times = int(shapely.intersects(np.array(plan.turns, dtype=object), crossed).sum())
        if not times:
            return plan
        found = Finding.note("crossed_lifted", times=times)
        return replace(plan, crossed=crossed, findings=(*plan.findings, found))

    ways: list[Crossing | None] = [None]
    if crossed:
        ways += [Crossing(crossed, along) for along in _ALONG]
    plans = [_with_or_without_blocks(drive, partial(driven, crossing=way)) for way in ways]
    # None that leaves more ground than another is better for it.
    least_m2 = min(plan.missed_m2 for plan in plans) + _MORE_MISSED * workable.area
    plan = min((p for p in plans if p.missed_m2 <= least_m2), key=lambda p: p.takes_s)
    told = _taken(asked, rig, fenced=bool(field.fenced))
    if field.fenced:
        told += _parts_not_driven(boundary, plan.passes)
    if field.fenced and asked.turn_radius_m is not None and (lost := _dropped(plan.findings)):
        used = replace(plan.drive, heading_rad=asked.heading_rad)
        told += _narrower(
            plan,
            asked,
            rig,
            lost,
            lambda other, most: fenced_drive(workable, fenced, boundary, used, other, pose, most),
        )
    return replace(plan, findings=(*told, *through_gate, *plan.findings))


def _with_or_without_blocks(drive: Drive, driven: Callable[[Drive], PassPlan]) -> PassPlan:
    plan = driven(drive)
    if not plan.blocks:
        return plan
    single = driven(replace(drive, blocks=False))
    pays = plan.takes_s < (1.0 - _GAIN) * single.takes_s
    return _with_gain(plan, single) if pays else single


def _with_gain(plan: PassPlan, single: PassPlan) -> PassPlan:
    """A plan with blocks that tells what they save against a single heading."""
    saved_s = single.field_time_s - plan.field_time_s
    saved_m2 = single.excess_m2 - plan.excess_m2
    code = (
        "blocks_save_time" if saved_m2 < 0 else "blocks_save_seed" if saved_s < 0 else "blocks_save"
    )
    gain = Finding.note(
        code, blocks=len(plan.blocks), time_s=abs(saved_s), overlap_m2=abs(saved_m2)
    )
    return replace(plan, findings=(*plan.findings, gain))


def _accounted(
    field: Field,
    plane: WorkingPlane,
    workable: BaseGeometry,
    drive: Drive,
    laid: LaidDrive,
    gate: shapely.Point | None,
) -> PassPlan:
    """What a drive comes to."""
    passes, turns = laid.passes, laid.turns
    left, areas = _predicted(workable, passes, drive.width_m)
    work_m = float(sum(p.line.length for p in passes))
    turn_m = float(sum(turn.line.length for turn in turns))
    backs = [turn.backs_m for turn in turns if turn.backs_m]
    findings = []
    if not passes:
        findings.append(
            Finding.warning("no_room_inside_fence" if field.fenced else "tool_does_not_fit")
        )
    if any(p.kind == "middle" for p in passes):
        findings.append(Finding.warning("narrower_than_tool", outside_m2=areas["outside_m2"]))
    if passes and (missed := 1.0 - areas["covered_m2"] / workable.area) > 0.001:
        places = sum(part.area >= SEEN_M2 for part in shapely.get_parts(left))
        findings.append(Finding.warning("ground_out_of_reach", share=missed, places=places))
    fills: tuple[FillSpot, ...] = ()
    if drive.load_m2 is not None:
        fills = filling_spots(passes, drive.load_m2 / drive.width_m, gate)
    return PassPlan(
        field=field.name,
        plane=plane,
        drive=replace(drive, heading_rad=laid.heading_rad, rounds=laid.rounds),
        workable=workable,
        passes=passes,
        turns=tuple(turn.line for turn in turns),
        workable_m2=float(workable.area),
        **areas,
        missed_m2=float(workable.area) - areas["covered_m2"],
        work_m=work_m,
        turn_m=turn_m,
        work_s=work_m / drive.speed_mps,
        turn_s=(turn_m + sum(backs)) / drive.turn_speed_mps + 2 * _SHIFT_S * len(backs),
        left=left,
        fenced=bool(field.fenced),
        pin_runs=laid.pin_runs,
        pin_turns=tuple(turn.pin for turn in turns) if field.fenced else (),
        backs_m=tuple(turn.backs_m for turn in turns) if field.fenced else (),
        blocks=laid.blocks,
        gate=gate,
        way_in=laid.way_in,
        way_out=laid.way_out,
        fills=fills,
        findings=(*findings, *laid.findings),
    )


def _through_gate(field: Field, drive: Drive) -> list[Finding]:
    """Hold what drives against the width of the gate, where that is told.

    Raises
    ------
    FindingError
        When it is wider than the gate even folded.
    """
    gate_m = field.gate_width_m
    if gate_m is None:
        return []
    folded_m = drive.implement.transport_width_m if drive.implement else None
    wide_m = max(folded_m or 0.0, drive.tractor_width_m or 0.0)
    if wide_m > gate_m:
        raise FindingError("gate_too_narrow", field.name, gate_m=gate_m, machine_m=wide_m)
    if folded_m is None and drive.width_m > gate_m:
        return [Finding.warning("gate_asks_to_fold", gate_m=gate_m, width_m=drive.width_m)]
    return []


def _taken(drive: Drive, rig: Rig, *, fenced: bool) -> list[Finding]:
    """What was not said of the rig, and what was taken for it."""
    found = []
    if fenced and (drive.implement is None or not drive.implement.tow):
        length = rig.tow[0].hitch_to_axle_m
        found.append(Finding.warning("tow_assumed", length_m=length))
    if drive.turn_radius_m is None:
        found.append(Finding.note("radius_derived", radius_m=rig.radius_m))
    if fenced and (drive.tractor_length_m is None or drive.tractor_width_m is None):
        length, width = rig.tractor_length_m, rig.tractor_width_m
        found.append(Finding.note("tractor_assumed", length_m=length, width_m=width))
    return found


def _parts_not_driven(boundary: BaseGeometry, passes: Sequence[PlannedPass]) -> list[Finding]:
    """Say where a fence holds parts that nothing drives between, and some of them have no run."""
    if not passes:
        return []
    parts = [part for part in shapely.get_parts(boundary) if part.area >= SEEN_M2]
    lines = shapely.multilinestrings([p.line for p in passes])
    bare = sum(not shapely.intersects(part, lines) for part in parts)
    return [Finding.warning("parts_not_driven", parts=len(parts), bare=bare)] if bare else []


def _dropped(findings: Iterable[Finding]) -> int:
    """Runs that cannot be reached."""
    return sum(f.values["runs"] for f in findings if f.code == "runs_not_reached")


def _narrower(
    plan: PassPlan,
    drive: Drive,
    rig: Rig,
    lost: int,
    laid_with: Callable[[Rig, float], LaidDrive],
) -> list[Finding]:
    """Look for the widest circle that reaches all runs, where the given one does not.

    Or as many of them as the tightest that width and tow allow. ``laid_with`` is told from how many
    runs lost on it does not matter how many.
    """
    least = rig_of(replace(drive, turn_radius_m=None), towed=True).radius_m
    if least >= rig.radius_m:
        return []
    tightest = laid_with(replace(rig, radius_m=least), lost)
    fewest = _dropped(tightest.findings)
    if fewest >= lost:
        return []

    def does(radius_m: float) -> bool:
        laid = laid_with(replace(rig, radius_m=radius_m), fewest)
        return _dropped(laid.findings) <= fewest

    low, high = least, rig.radius_m
    while high - low > max(_RADIUS_M, _RADIUS_SHARE * low):
        middle = (low + high) / 2
        low, high = (middle, high) if does(middle) else (low, middle)
    if _comes_round(tightest.passes) and not _comes_round(plan.passes):
        return [Finding.warning("nothing_turns", radius_m=rig.radius_m, most_m=low)]
    return [Finding.warning("radius_too_wide", runs=lost, radius_m=rig.radius_m, most_m=low)]


def _comes_round(passes: Sequence[PlannedPass]) -> bool:
    """Whether a drive ever heads another way than it began, by more than a right angle."""
    ends = np.concatenate(poses([*passes]))[:, 2]
    return bool((np.cos(ends - ends[:1]) < 0).any())


def _predicted(
    workable: BaseGeometry, passes: Sequence[PlannedPass], width_m: float
) -> tuple[BaseGeometry, dict[str, float]]:
    """Ground left, and that covered once and more, as an audit of the drive finds it."""
    if not passes:
        return workable, dict.fromkeys(("covered_m2", "overlap_m2", "excess_m2", "outside_m2"), 0.0)
    pieces = np.concatenate([swath_pieces(p.line, width_m) for p in passes])
    cover = count_cover(pieces)
    once, twice, inside = cover.once_or_more, cover.twice_or_more, pieces
    outside_m2 = 0.0
    shapely.prepare(workable)
    if not shapely.contains(workable, pieces).all():
        outside_m2 = float(without(once, workable).area)
        once, twice = common(once, workable), common(twice, workable)
        inside = overlaid(shapely.intersection, pieces, workable)
    bare = opened(without(workable, cover.once_or_more), _HAIR_M, join_style="mitre")
    left = whole_of(np.atleast_1d(polygonal(bare)))
    return left, {
        "covered_m2": float(once.area),
        "overlap_m2": float(twice.area),
        "excess_m2": max(float(shapely.area(inside).sum() - once.area), 0.0),
        "outside_m2": outside_m2,
    }
