"""Runs over ground: what rounds leave, runs into corners, and parallel passes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import common, polygonal, without
from evenacre.planning.ground import opened, whole_of
from evenacre.planning.passes.along_line import passes_along
from evenacre.planning.passes.blocks import blocks_of
from evenacre.planning.passes.crossing import bridged
from evenacre.planning.passes.pass_types import Block, Drive, PlannedPass
from evenacre.planning.passes.rounds import corner_runs
from evenacre.planning.passes.strips import along, best_heading, lay_strips
from evenacre.planning.passes.swaths import MARGIN_M, swath

# Ground left inside the rounds that is smaller than this share of a square of the tool's width
# is a corner no pass is made for; so is ground narrower than twice the margin.
_CORNER = 0.05


@dataclass(frozen=True)
class Inside:
    """What is driven on the ground that rounds leave: runs into corners, and parallel passes."""

    corners: list[shapely.LineString]
    straight: list[PlannedPass]
    heading_rad: float | None  # None where blocks have their own
    blocks: list[Block]
    smoothed_m: float = 0.0  # how far a line that passes follow was moved to be drivable


def inside_rounds(
    ground: BaseGeometry,
    rounds: Sequence[shapely.LineString],
    drive: Drive,
    room: BaseGeometry,
    radius_m: float,
    over: BaseGeometry | None = None,
) -> Inside:
    """Lay passes over what rounds leave: along a line, at a given heading, or at the best one.

    Where the drive lets it, ground is cut into blocks that promise to take less in all. ``over`` is
    what rounds would leave if no ground had to be crossed: passes are laid out as if all of it
    were worked.
    """
    inner = left_by(ground, rounds, drive.width_m)
    inner, corners = corners_filled(inner, drive.width_m, room) if rounds else (inner, [])
    if drive.along is not None:
        begin, *_, end = np.asarray(drive.along.coords)
        bearing = float(np.arctan2(*(end - begin)[::-1])) % np.pi
        rows, moved = passes_along(drive.along, inner, drive.width_m, radius_m, room)
        return Inside(corners, rows, bearing, [], moved)
    width_m, heading = drive.width_m, drive.heading_rad
    whole = bridged(inner, over)
    parts = [part for part, _ in whole]
    if heading is None and drive.blocks:
        blocks = blocks_of(parts, drive, radius_m)
        if len(blocks) > 1:
            straight = []
            for number, block in enumerate(blocks):
                worked = whole[block.part][1]
                ground = block.ground if over is None else common(block.ground, worked)
                laid = straight_passes([ground], width_m, block.heading_rad, room)
                straight += [replace(p, block=number) for p in laid]
            return Inside(corners, straight, None, blocks)
    if heading is None:
        heading = best_heading(parts, width_m, drive.prefer) if parts else 0.0
    straight = straight_passes([worked for _, worked in whole], width_m, heading, room)
    return Inside(corners, straight, heading, [])


def left_by(
    workable: BaseGeometry, lines: Sequence[shapely.LineString], width_m: float
) -> list[shapely.Polygon]:
    """Connected parts of the ground that runs along lines leave."""
    ground = workable
    if lines:
        done = whole_of(swath(line, width_m) for line in lines)
        # Hairlines between rounds are no ground.
        ground = polygonal(opened(without(workable, done), MARGIN_M, join_style="mitre"))
    parts = shapely.get_parts(ground)
    return [part for part in parts if part.area > _CORNER * width_m**2]


def corners_filled(
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


def straight_passes(
    parts: Sequence[BaseGeometry], width_m: float, heading_rad: float, room: BaseGeometry
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
