"""The drive over ground with no fence: turns may leave it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from evenacre.model.finding import Finding
from evenacre.planning.ground import buffered
from evenacre.planning.passes.layout import MARGIN_M, corners_filled, inside_rounds, left_by
from evenacre.planning.passes.order import in_order
from evenacre.planning.passes.pass_types import Drive, PlannedPass, PlannedTurn
from evenacre.planning.passes.rig import Rig
from evenacre.planning.passes.rounds import headland_legs
from evenacre.planning.passes.turns import driven_in_order, poses, turn_lines

_ROUNDS = 2


@dataclass(frozen=True)
class LaidDrive:
    """Passes and turns in the order they are driven."""

    passes: tuple[PlannedPass, ...]
    turns: tuple[PlannedTurn, ...]
    heading_rad: float
    rounds: int
    findings: tuple[Finding, ...] = ()


def open_drive(workable: BaseGeometry, drive: Drive, rig: Rig) -> LaidDrive:
    """Lay rounds and passes, and the shortest turns between them.

    Legs of a round run out into its corners.
    """
    width_m, laps = drive.width_m, _ROUNDS if drive.rounds is None else drive.rounds
    rounds = headland_legs(workable, width_m, laps, rig.radius_m)
    room = buffered(workable, MARGIN_M / 2, join_style="mitre")
    inside = inside_rounds(workable, [leg.line for leg in rounds], drive, room)
    corners, straight = inside.corners, inside.straight
    if rounds:
        # Where a corner is part of the ground inside, passes leave the rest of it.
        lines = [*(leg.line for leg in rounds), *corners, *(p.line for p in straight)]
        corners += corners_filled(left_by(workable, lines, width_m), width_m, room)[1]
    start = np.array(rounds[-1].line.coords[-1] if rounds else workable.bounds[:2])
    into_corners = [PlannedPass("round", 1, line) for line in corners]
    rounds += driven_in_order(into_corners, start)
    start = np.array(rounds[-1].line.coords[-1]) if rounds else start
    if drive.headland == "last":
        passes = [*in_order(straight, rig.radius_m, None), *rounds]
    else:
        passes = [*rounds, *in_order(straight, rig.radius_m, rounds[-1] if rounds else None)]
    begin, end = poses(passes)
    turns = turn_lines(end[:-1], begin[1:], rig.radius_m)
    driven = tuple(PlannedTurn(line, line) for line in turns)
    return LaidDrive(tuple(passes), driven, inside.heading_rad, laps)
