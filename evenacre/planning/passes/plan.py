"""Plan the drive over a field: headland rounds, then parallel passes inside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.cover import count_cover
from evenacre.coverage.field_plane import lay_out, plane_for
from evenacre.geo.overlay import common, polygonal, without
from evenacre.model import Field
from evenacre.model.finding import Finding
from evenacre.planning.ground import buffered, opened, overlaid, whole_of
from evenacre.planning.passes.pass_types import Drive, PassPlan, PlannedPass
from evenacre.planning.passes.rounds import corner_runs, headland_legs
from evenacre.planning.passes.strips import along, best_heading, lay_strips
from evenacre.planning.passes.swaths import swath, swath_pieces
from evenacre.planning.passes.turns import driven_in_order, poses, turn_lines

# Ground left inside the rounds that is smaller than this share of a square of the tool's width
# is a corner no pass is made for; so is ground narrower than twice the margin.
_CORNER = 0.05
_MARGIN_M = 0.05


def plan_passes(field: Field, drive: Drive) -> PassPlan:
    """Plan the drive over a field with a boundary.

    The rounds come first, the outermost first; then the passes, each from the nearest end.
    The tool is lifted in turns, which are as short as the turn radius allows and are drawn
    without regard to what stands beside the field. It never leaves the workable ground: what
    it cannot reach in a sharp corner is missed, and is told.
    """
    if field.boundary is None:
        raise ValueError("passes are planned inside a boundary")
    if drive.width_m <= 0 or drive.turn_radius_m <= 0:
        raise ValueError("the tool needs a width, and the machine a turn radius")
    plane = plane_for(field, ())
    workable = lay_out(field, plane, shapely.Polygon(), 0.0).workable
    rounds = headland_legs(workable, drive.width_m, drive.rounds, drive.turn_radius_m)
    inner = _left(workable, [leg.line for leg in rounds], drive.width_m)
    room = buffered(workable, _MARGIN_M / 2, join_style="mitre")
    inner, corners = _corners_filled(inner, drive.width_m, room) if rounds else (inner, [])
    heading = drive.heading_rad
    if heading is None:
        heading = best_heading(inner, drive.width_m, drive.prefer) if inner else 0.0
    straight = _straight(inner, drive.width_m, heading, room)
    if rounds:
        # Where a corner is part of the ground inside, passes leave the rest of it.
        lines = [*(leg.line for leg in rounds), *corners, *(p.line for p in straight)]
        corners += _corners_filled(_left(workable, lines, drive.width_m), drive.width_m, room)[1]
    start = np.array(rounds[-1].line.coords[-1] if rounds else workable.bounds[:2])
    into_corners = [PlannedPass("round", 1, line) for line in corners]
    rounds += driven_in_order(into_corners, start)
    start = np.array(rounds[-1].line.coords[-1]) if rounds else start
    passes = [*rounds, *driven_in_order(straight, start)]
    begin, end = poses(passes)
    turns = turn_lines(end[:-1], begin[1:], drive.turn_radius_m)
    areas = _predicted(workable, passes, drive.width_m)
    work_m = float(sum(p.line.length for p in passes))
    turn_m = float(sum(turn.length for turn in turns))
    findings = [] if passes else [Finding.warning("tool_does_not_fit")]
    if passes and (missed := 1.0 - areas["covered_m2"] / workable.area) > 0.001:
        findings = [Finding.warning("ground_out_of_reach", share=missed)]
    return PassPlan(
        field=field.name,
        plane=plane,
        drive=replace(drive, heading_rad=heading),
        workable=workable,
        passes=tuple(passes),
        turns=turns,
        workable_m2=float(workable.area),
        **areas,
        missed_m2=float(workable.area) - areas["covered_m2"],
        work_m=work_m,
        turn_m=turn_m,
        work_s=work_m / drive.speed_mps,
        turn_s=turn_m / drive.turn_speed_mps,
        findings=tuple(findings),
    )


def _left(
    workable: BaseGeometry, lines: Sequence[shapely.LineString], width_m: float
) -> list[shapely.Polygon]:
    """Connected parts of the ground that runs along lines leave."""
    ground = workable
    if lines:
        done = whole_of(swath(line, width_m) for line in lines)
        # Hairlines between rounds are no ground.
        ground = polygonal(opened(without(workable, done), _MARGIN_M, join_style="mitre"))
    parts = shapely.get_parts(ground)
    return [part for part in parts if part.area > _CORNER * width_m**2]


def _corners_filled(
    parts: Sequence[shapely.Polygon], width_m: float, room: BaseGeometry
) -> tuple[list[shapely.Polygon], list[shapely.LineString]]:
    """Take out the parts that runs into corners fill; the rest is for parallel passes."""
    rest, runs = [], []
    for part in parts:
        found = corner_runs(part, width_m, room)
        runs += found
        if not found:
            rest.append(part)
    return rest, runs


def _straight(
    parts: Sequence[shapely.Polygon], width_m: float, heading_rad: float, room: BaseGeometry
) -> list[PlannedPass]:
    """Parallel passes over each part, numbered from one side to the other."""
    turned_room = along(room, heading_rad)
    passes: list[PlannedPass] = []
    number = 0
    for part in parts:
        strips = lay_strips(along(part, heading_rad), width_m, turned_room)
        rows = strips.row + number + 1
        passes += [
            PlannedPass("pass", int(row), line)
            for row, line in zip(rows, strips.lines(heading_rad), strict=True)
        ]
        number = int(rows.max(initial=number))
    return passes


def _predicted(
    workable: BaseGeometry, passes: Sequence[PlannedPass], width_m: float
) -> dict[str, float]:
    """Ground covered once and more, as an audit of the drive finds it."""
    if not passes:
        return dict.fromkeys(("covered_m2", "overlap_m2", "excess_m2", "outside_m2"), 0.0)
    pieces = np.concatenate([swath_pieces(p.line, width_m) for p in passes])
    cover = count_cover(pieces)
    covered = common(cover.once_or_more, workable).area
    inside = shapely.area(overlaid(shapely.intersection, pieces, workable)).sum()
    return {
        "covered_m2": float(covered),
        "overlap_m2": float(common(cover.twice_or_more, workable).area),
        "excess_m2": max(float(inside - covered), 0.0),
        "outside_m2": float(without(cover.once_or_more, workable).area),
    }
