"""The drive over ground with no fence: turns may leave it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import union
from evenacre.model import FloatArray
from evenacre.model.finding import Finding
from evenacre.planning.ground import buffered
from evenacre.planning.passes.blocks import block_by_block
from evenacre.planning.passes.crossing import Crossing, across
from evenacre.planning.passes.detours import Detours
from evenacre.planning.passes.gates import heading_out
from evenacre.planning.passes.layout import corners_filled, inside_rounds, left_by
from evenacre.planning.passes.narrow import middle_runs
from evenacre.planning.passes.order import in_order
from evenacre.planning.passes.pass_types import Block, Drive, PlannedPass, PlannedTurn
from evenacre.planning.passes.rig import Rig
from evenacre.planning.passes.rounds import headland_legs
from evenacre.planning.passes.swaths import MARGIN_M
from evenacre.planning.passes.turning import on_circles
from evenacre.planning.passes.turns import driven_in_order, poses, turn_lines

_ROUNDS = 2
# The lifted tool keeps so much of half its width away from what it must not cross.
_CLEAR = 0.9


@dataclass(frozen=True)
class LaidDrive:
    """Passes and turns in the order they are driven."""

    passes: tuple[PlannedPass, ...]
    turns: tuple[PlannedTurn, ...]
    heading_rad: float | None  # None where blocks have their own
    rounds: int
    blocks: tuple[Block, ...] = ()
    findings: tuple[Finding, ...] = ()
    # From a gate to the first pass, and back from the last one: the middle of the openers
    way_in: shapely.LineString | None = None
    way_out: shapely.LineString | None = None
    pin_runs: tuple[shapely.LineString, ...] = ()  # inside a fence: the hitch pin along each run


def open_drive(
    workable: BaseGeometry,
    drive: Drive,
    rig: Rig,
    free: BaseGeometry,
    crossing: Crossing | None = None,
    gate: FloatArray | None = None,
) -> LaidDrive:
    """Lay rounds and passes, and the shortest turns between them.

    Legs of a round run out into its corners. Ground narrower than the tool gets a run along its
    middle, where the tool may stick out over free ground. Passes go straight on across ground that
    is crossed, with the tool lifted. ``gate`` is a pose that heads in: the drive begins and ends
    there.
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
    if rounds and drive.along is None and (crossing is None or crossing.along):
        # Where a corner is part of the ground inside, passes leave the rest of it.
        lines = [*legs, *middles, *corners, *(p.line for p in straight)]
        corners += corners_filled(left_by(workable, lines, width_m), width_m, room)[1]
    rings = [list(ring) for _, ring in groupby(rounds, key=lambda leg: leg.ring)]
    last = drive.headland == "last"
    out = None if gate is None else heading_out(gate)
    begun = None if gate is None else gate[:2]
    passes: list[PlannedPass] = []

    lengths_m = on_circles(rig.radius_m)

    def ordered(after: PlannedPass | None) -> list[PlannedPass]:
        end = None if last or inside.blocks else out
        return block_by_block(
            straight,
            inside.blocks,
            after,
            lambda some, after: across(
                some,
                after,
                lambda them, then: in_order(them, lengths_m, then, gate=gate, end=end),
                bridge,
            ),
        )

    if last:
        # The outermost last.
        passes, rings = ordered(None), rings[::-1]
    for ring in rings:
        here = np.array(passes[-1].line.coords[-1]) if passes else begun
        goal = begun if last and ring is rings[-1] and gate is not None else here
        passes += ring if goal is None else _begun_near(ring, goal)
    start = np.array(passes[-1].line.coords[-1] if passes else workable.bounds[:2])
    single = [PlannedPass("round", 1, line) for line in corners]
    single += [PlannedPass("middle", number, line) for number, line in enumerate(middles, 1)]
    passes += driven_in_order(single, start)
    if not last:
        passes += ordered(passes[-1] if passes else None)
    begin, end = poses(passes)
    turns = turn_lines(end[:-1], begin[1:], rig.radius_m)
    turns, crossings = Detours(free, _CLEAR * width_m / 2, rig.radius_m).around(
        turns, end[:-1], begin[1:]
    )
    driven = tuple(PlannedTurn(line, line) for line in turns)
    way_in = way_out = None
    if gate is not None and out is not None and passes:
        (way_in,) = turn_lines(gate[None], begin[:1], rig.radius_m)
        (way_out,) = turn_lines(end[-1:], out[None], rig.radius_m)
    findings = [*line_smoothed(inside.smoothed_m)]
    if crossings:
        findings.append(Finding.warning("turns_cross_unworkable", turns=crossings))
    return LaidDrive(
        tuple(passes),
        driven,
        inside.heading_rad,
        laps,
        tuple(inside.blocks),
        tuple(findings),
        way_in,
        way_out,
    )


def line_smoothed(moved_m: float) -> tuple[Finding, ...]:
    """That the line to follow bends more sharply than the machine turns."""
    return (Finding.warning("line_smoothed", length_m=moved_m),) if moved_m > 0 else ()


def _begun_near(ring: list[PlannedPass], place: FloatArray) -> list[PlannedPass]:
    """Legs of a closed round, begun with the one that begins nearest to a place."""
    away = [np.hypot(*(np.array(leg.line.coords[0]) - place)) for leg in ring]
    first = int(np.argmin(away))
    return ring[first:] + ring[:first]
