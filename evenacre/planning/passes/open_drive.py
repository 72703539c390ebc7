"""The drive over ground with no fence: turns may leave it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import union
from evenacre.model.finding import Finding
from evenacre.planning.ground import buffered
from evenacre.planning.passes.blocks import block_by_block
from evenacre.planning.passes.crossing import Crossing, across
from evenacre.planning.passes.detours import Detours
from evenacre.planning.passes.layout import corners_filled, inside_rounds, left_by
from evenacre.planning.passes.narrow import middle_runs
from evenacre.planning.passes.order import in_order
from evenacre.planning.passes.pass_types import Block, Drive, PlannedPass, PlannedTurn
from evenacre.planning.passes.rig import Rig
from evenacre.planning.passes.rounds import headland_legs
from evenacre.planning.passes.swaths import MARGIN_M
from evenacre.planning.passes.turns import driven_in_order, poses, turn_lines

_ROUNDS = 2


@dataclass(frozen=True)
class LaidDrive:
    """Passes and turns in the order they are driven."""

    passes: tuple[PlannedPass, ...]
    turns: tuple[PlannedTurn, ...]
    heading_rad: float | None  # None where blocks have their own
    rounds: int
    blocks: tuple[Block, ...] = ()
    findings: tuple[Finding, ...] = ()


def open_drive(
    workable: BaseGeometry,
    drive: Drive,
    rig: Rig,
    free: BaseGeometry,
    crossing: Crossing | None = None,
) -> LaidDrive:
    """Lay rounds and passes, and the shortest turns between them.

    Legs of a round run out into its corners. Ground narrower than the tool gets a run along its
    middle, where the tool may stick out over free ground. Passes go straight on across ground that
    is crossed, with the tool lifted.
    """
    width_m, laps = drive.width_m, _ROUNDS if drive.rounds is None else drive.rounds
    if crossing is None:
        rounds = headland_legs(workable, width_m, laps, rig.radius_m)
    else:
        rounds = crossing.legs(workable, width_m, laps, rig.radius_m)
    room = buffered(workable, MARGIN_M / 2, join_style="mitre")
    legs = [leg.line for leg in rounds]
    middles = middle_runs(workable, legs, width_m, rig.radius_m, free)
    bridge = None if crossing is None else union(np.array([workable, crossing.ground]))
    over = None if bridge is None else buffered(bridge, -laps * width_m, join_style="mitre")
    inside = inside_rounds(workable, [*legs, *middles], drive, room, rig.radius_m, over)
    corners, straight = inside.corners, inside.straight
    if rounds and (crossing is None or crossing.along):
        # Where a corner is part of the ground inside, passes leave the rest of it.
        lines = [*legs, *middles, *corners, *(p.line for p in straight)]
        corners += corners_filled(left_by(workable, lines, width_m), width_m, room)[1]
    start = np.array(rounds[-1].line.coords[-1] if rounds else workable.bounds[:2])
    single = [PlannedPass("round", 1, line) for line in corners]
    single += [PlannedPass("middle", number, line) for number, line in enumerate(middles, 1)]
    rounds += driven_in_order(single, start)
    last = rounds[-1] if rounds and drive.headland == "first" else None
    ordered = block_by_block(
        straight,
        inside.blocks,
        last,
        lambda some, after: across(
            some, after, lambda them, then: in_order(them, rig.radius_m, then), bridge
        ),
    )
    passes = [*ordered, *rounds] if drive.headland == "last" else [*rounds, *ordered]
    begin, end = poses(passes)
    turns = turn_lines(end[:-1], begin[1:], rig.radius_m)
    turns, crossings = Detours(free, width_m, rig.radius_m).around(turns, end[:-1], begin[1:])
    driven = tuple(PlannedTurn(line, line) for line in turns)
    findings = []
    if crossings:
        findings.append(Finding.warning("turns_cross_unworkable", turns=crossings))
    blocks = tuple(inside.blocks)
    return LaidDrive(tuple(passes), driven, inside.heading_rad, laps, blocks, tuple(findings))
