"""The drive over fenced ground: nothing of the rig leaves it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import common, polygonal
from evenacre.model import FloatArray
from evenacre.model.finding import Finding
from evenacre.planning.ground import buffered, whole_of
from evenacre.planning.passes.bends import drawn, ways_between
from evenacre.planning.passes.blocks import block_by_block
from evenacre.planning.passes.crossing import Crossing, across
from evenacre.planning.passes.driver import Driver, Run, other_way
from evenacre.planning.passes.fence import Fence
from evenacre.planning.passes.gates import heading_out
from evenacre.planning.passes.layout import inside_rounds
from evenacre.planning.passes.narrow import middle_runs
from evenacre.planning.passes.open_drive import LaidDrive, line_smoothed
from evenacre.planning.passes.order import in_order
from evenacre.planning.passes.pass_types import Drive, PlannedPass
from evenacre.planning.passes.rig import Rig
from evenacre.planning.passes.rounds import headland_legs
from evenacre.planning.passes.smooth_legs import smoothed
from evenacre.planning.passes.swaths import MARGIN_M
from evenacre.planning.passes.turning import of_rig

# Between the tool and the fence, where an end of it swings out.
_CLEAR_M = 0.15
# Bends of a leg that are sharper than this within a width are corners.
_CORNER_RAD = math.radians(35.0)
_MOST_ROUNDS = 4
# Over how far a leg's bends are spread, in widths or lengths of the rig, until all of it fits.
_GENTLER = (1.0, 1.6, 2.4, 3.5)
_MARGIN_M = 1.5
_SOME_M2 = 0.5  # less ground than that is none


def fenced_drive(
    workable: BaseGeometry,
    free: BaseGeometry,
    boundary: BaseGeometry,
    drive: Drive,
    rig: Rig,
    gate: FloatArray | None = None,
    most_dropped: float = math.inf,
    *,
    crossing: Crossing | None = None,
) -> LaidDrive:
    """Lay rounds and passes, and drive them with the whole rig inside the fence.

    Parameters
    ----------
    workable : geometry
        In the working plane.
    free : geometry
        The ground inside the fence that bears the rig, the tool lifted: what is worked, and what
        is crossed.
    boundary : geometry
        The fence.
    drive : Drive
    rig : Rig
    gate : ndarray of float, shape (3,), optional
        A pose in the fence that heads in: the drive begins and ends there.
    most_dropped : float
        Where more runs than this cannot be reached, no more of them are tried.
    crossing : Crossing, optional
        Ground that passes go straight on across, with the tool lifted.
    """
    width_m = drive.width_m
    laps = rounds_for_turns(rig) if drive.rounds is None else drive.rounds
    # Beside ground that is crossed the tool has room to swing out.
    clear = buffered(free, -(_CLEAR_M + rig.swing_m), join_style="mitre")
    ground = clear
    if beside := free.area - workable.area > _SOME_M2:
        ground = whole_of(np.atleast_1d(polygonal(common(workable, clear))))
    corners: dict[str, Any] = {"corner_rad": _CORNER_RAD, "whole": True}
    if crossing is None:
        legs = headland_legs(ground, width_m, laps, rig.radius_m, **corners)
    else:
        legs = crossing.legs(ground, width_m, laps, rig.radius_m, **corners)
    lines = [leg.line for leg in legs]
    inner = buffered(free, -_CLEAR_M, join_style="mitre")
    middles = middle_runs(ground, lines, width_m, rig.radius_m, inner)
    room = buffered(ground, MARGIN_M / 2, join_style="mitre")
    bridge = None if crossing is None else clear
    over = None if bridge is None else buffered(bridge, -laps * width_m, join_style="mitre")
    inside = inside_rounds(ground, [*lines, *middles], drive, room, rig.radius_m, over)
    straight = [*(PlannedPass("round", 1, line) for line in inside.corners), *inside.straight]
    straight += [PlannedPass("middle", number, line) for number, line in enumerate(middles, 1)]

    # From one part of the ground to another there may be no way but over what is not worked.
    loose = Fence(boundary) if len(shapely.get_parts(free)) > 1 else None

    def driven(gate: FloatArray | None, *, about: bool = False) -> Driver:
        driver = Driver(rig, Fence(free), workable if beside else None, loose)
        if gate is not None and not driver.enter(gate):
            return driver
        rings = _rings(_headland(legs, driver, ground))
        if about:
            rings = [other_way(ring) for ring in rings]
        last = drive.headland == "last"
        if not last:
            for ring in rings:
                driver.drive_ring(ring)
        end = None if gate is None or last or inside.blocks else heading_out(gate)
        ordered = block_by_block(
            straight,
            inside.blocks,
            driver.passes[-1] if driver.passes else None,
            lambda some, after: across(
                some,
                after,
                lambda them, then: in_order(them, of_rig(rig), then, gate, end, driver.turns_take),
                bridge,
            ),
        )
        driver.drive([Run(p.kind, p.number, p.line, block=p.block) for p in ordered])
        if last:
            driver.drive_missed(later=True)
            # The outermost last.
            for ring in rings[::-1]:
                driver.drive_ring(ring, gate if ring is rings[0] else None)
        driver.drive_missed(most_dropped)
        return driver

    driver = driven(gate)
    findings = [*line_smoothed(inside.smoothed_m)]
    if gate is None and driver.dropped:
        # Round the other way the first run may end where there is room to turn.
        other = driven(None, about=True)
        if _worked_m(other) > _worked_m(driver):
            driver = other
    if gate is not None and (driver.dropped or not driver.passes):
        # Begun elsewhere it may come to more.
        other = driven(None)
        if len(other.passes) > len(driver.passes) and other.dropped <= driver.dropped:
            findings.append(Finding.warning("gate_too_tight"))
            gate, driver = None, other
    way_out = None if gate is None else driver.leave(gate)
    if gate is not None and way_out is None and driver.passes:
        findings.append(Finding.warning("no_way_out"))
    if driver.dropped:
        findings.append(Finding.warning("runs_not_reached", runs=driver.dropped))
    if driver.crossings:
        findings.append(Finding.warning("turns_cross_unworkable", turns=driver.crossings))
    turns, pins = driver.turned()
    backed = [turn.backs_m for turn in turns if turn.backs_m]
    if backed:
        findings.append(Finding.note("turns_back_up", turns=len(backed), length_m=sum(backed)))
    return LaidDrive(
        tuple(driver.passes),
        tuple(turns),
        inside.heading_rad,
        laps,
        tuple(inside.blocks),
        tuple(findings),
        *_through(gate, driver.way_in, way_out),
        tuple(pins),
    )


def _through(
    gate: FloatArray | None,
    way_in: shapely.LineString | None,
    way_out: shapely.LineString | None,
) -> tuple[shapely.LineString | None, shapely.LineString | None]:
    """Ways of the openers from the gate and back to it, straight where the rig is in it."""
    if gate is None:
        return None, None
    place = (float(gate[0]), float(gate[1]))
    return (
        way_in and shapely.LineString([place, *way_in.coords]),
        way_out and shapely.LineString([*way_out.coords, place]),
    )


def _rings(runs: Sequence[Run]) -> list[list[Run]]:
    return [list(legs) for _, legs in groupby(runs, key=lambda run: run.ring)]


def _worked_m(driver: Driver) -> float:
    return float(sum(run.line.length for run in driver.passes))


def _headland(legs: Sequence[PlannedPass], driver: Driver, ground: BaseGeometry) -> list[Run]:
    """Legs as runs, each bent as gently as it takes for the rig to stay inside."""
    rig = driver.rig
    runs = []
    for leg in legs:
        best: tuple[float, Run] | None = None
        for gentler in _GENTLER:
            reach_m = gentler * max(rig.width_m, rig.lead_m)
            line = smoothed(leg.line, reach_m, ground, rig.width_m)
            run = Run(leg.kind, leg.number, line, leg.ring)
            fits = max((part.length for part in driver.fitting(line)), default=0.0)
            if best is None or fits > best[0] + _MARGIN_M:
                best = (fits, run)
            if fits >= line.length - rig.ahead_m - _MARGIN_M or len(leg.line.coords) < 3:
                break
        assert best is not None
        runs.append(best[1])
    return runs


def rounds_for_turns(rig: Rig) -> int:
    """How many rounds leave as much room as a plain turn takes."""
    bend = rig.bend
    across = abs(complex(bend.leads(np.array([np.pi]))[0]).imag)
    apart = max(math.ceil(across / rig.width_m), 1) * rig.width_m
    start = np.array([rig.tool_behind_m, 0.0, 0.0])
    end = np.array([rig.tool_behind_m, apart, np.pi])
    end[0] = rig.tool_behind_m * -1.0
    ways = ways_between(bend, start, end, backs=False)
    deepest = []
    for way in ways[:2]:
        bodies, _ = rig.places(drawn(bend, start, way, 0.5), np.zeros(len(rig.behind)))
        x = [
            (
                xy[:, :1] + np.cos(turned)[:, None] * o[:, 0] - np.sin(turned)[:, None] * o[:, 1]
            ).max()
            for o, xy, turned in bodies
        ]
        deepest.append(max(x))
    if not deepest:
        return _MOST_ROUNDS
    return min(max(math.ceil(min(deepest) / rig.width_m - 0.1), 1), _MOST_ROUNDS)
