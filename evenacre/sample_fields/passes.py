"""Straight passes over the inside of a field, with the faults planted on them."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

import numpy as np
from shapely.geometry import LineString, box
from shapely.geometry.base import BaseGeometry

from evenacre.sample_fields import spans
from evenacre.sample_fields.chain import Rig
from evenacre.sample_fields.faults import Fault, Offset, Patch, ShortEnd
from evenacre.sample_fields.logbook import (
    GUARD_M,
    LEAD_IN_M,
    TOWERS,
    WIDTH_M,
    Hint,
    Logbook,
    tower_edges,
)
from evenacre.sample_fields.paths import FloatArray, Pose, connect, straight
from evenacre.sample_fields.plots import Ellipse


def work_passes(
    book: Logbook,
    target: BaseGeometry,
    pile: Ellipse | None,
    faults: Sequence[Fault],
    rig: Rig,
    by_tower: bool,
    spacing_m: float,
) -> list[Hint]:
    """Work the interior in straight passes and say what the faults should leave."""
    hints: list[Hint] = []
    _, low, _, high = target.bounds
    count = int(np.ceil((high - low - 0.05) / spacing_m))
    forward = True
    for number in pass_order(count):
        middle = low + WIDTH_M / 2.0 + number * spacing_m
        stretches = _stretches(target, middle, forward, by_tower)
        if sum(map(len, stretches)) == 0:
            continue
        ends = np.concatenate(stretches)
        first, last = float(ends.min()), float(ends.max())
        for fault in faults:
            if isinstance(fault, Offset) and fault.on_pass == number:
                gap = middle - WIDTH_M / 2.0
                middle += fault.offset_m
                area = box(first, gap, last, gap + fault.offset_m)
                hints.append(Hint(area, "between passes", fault.cause))
                stretches = _stretches(target, middle, forward, by_tower)
            carried = _carried(fault, number, first, last)
            if carried is not None:
                kind = "unworked" if isinstance(fault, Patch) else "turn"
                area = box(carried[0], middle - WIDTH_M / 2, carried[1], middle + WIDTH_M / 2)
                hints.append(Hint(area, kind, carried[2]))
                stretches = [spans.without(s, carried[0], carried[1]) for s in stretches]
        _pass(book, number, middle, stretches, forward, pile, rig)
        forward = not forward
    return hints


def _stretches(
    target: BaseGeometry, middle: float, forward: bool, by_tower: bool
) -> list[FloatArray]:
    """Where along x each tower must feed, towers from the left as driven."""
    if not by_tower:
        whole = spans.across(target, middle - WIDTH_M / 2.0, middle + WIDTH_M / 2.0, GUARD_M)
        return [whole] * TOWERS
    side = 1.0 if forward else -1.0
    stretches = []
    for tower in range(TOWERS):
        low, high = sorted(middle + side * edge for edge in tower_edges(tower))
        stretches.append(spans.across(target, low, high, GUARD_M))
    return stretches


def _carried(
    fault: Fault, number: int, first: float, last: float
) -> tuple[float, float, str] | None:
    """The stretch of this pass over which a fault carried the drill."""
    if isinstance(fault, Patch) and number in fault.passes:
        return fault.from_m, fault.to_m, fault.cause
    if isinstance(fault, ShortEnd) and fault.on_pass == number:
        if fault.high_end:
            return last - GUARD_M - fault.missed_m, last + 1.0, fault.cause
        return first - 1.0, first + GUARD_M + fault.missed_m, fault.cause
    return None


def _pass(
    book: Logbook,
    number: int,
    middle: float,
    stretches: list[FloatArray],
    forward: bool,
    pile: Ellipse | None,
    rig: Rig,
) -> None:
    """Drive one pass, round the pile where it stands in the way."""
    way = 1.0 if forward else -1.0
    heading = 0.0 if forward else np.pi
    down = spans.merged(np.concatenate(stretches))
    legs = [leg.tolist() for leg in (down if forward else down[::-1, ::-1])]
    runs: list[list[float]] = [legs[0]]
    for leg in legs[1:]:
        crossing = LineString([(runs[-1][1], middle), (leg[0], middle)])
        if pile is not None and crossing.distance(pile.polygon) < WIDTH_M / 2.0:
            runs.append(leg)
        else:
            runs[-1] = [runs[-1][0], leg[1]]
    began_pass = None
    for i, (start, end) in enumerate(runs):
        # The tool line rides behind the axle, so the axle runs on past the end of the work.
        pose = Pose(start + way * (rig.tool_behind_m - LEAD_IN_M), middle, heading)
        if i and pile is not None:
            book.go_to(_beside(pile, book.parts[-1].end, pose))
        book.go_to(pose)
        began = book.add(straight(pose, abs(end - start) + LEAD_IN_M + 0.5))
        began_pass = began + LEAD_IN_M if began_pass is None else began_pass
        zero = began + LEAD_IN_M
        for tower, spans_x in enumerate(stretches):
            along = np.sort((spans_x - start) * way, axis=1)
            inside = (along[:, 0] > -1e-6) & (along[:, 1] < abs(end - start) + 1e-6)
            book.work(tower, spans.merged(along[inside] + zero))
        book.runs.append((began, book.s))
    book.passes[number] = (float(began_pass or 0.0), book.s - 0.5)


def _beside(pile: Ellipse, start: Pose, end: Pose) -> Pose:
    """A pose abreast of the pile, as far clear of it as can be reached without a loop."""
    side = 1.0 if start.y >= pile.y else -1.0
    for clear_m in np.arange(6.0, 0.4, -0.5):
        pose = Pose(pile.x, pile.y + side * (pile.half_y + float(clear_m)), start.heading)
        reach = np.hypot(pose.x - start.x, pose.y - start.y)
        with suppress(ValueError):
            if connect(start, pose).length < 1.4 * reach:
                return pose
    return Pose(pile.x, start.y, start.heading)


def pass_order(count: int) -> list[int]:
    """Passes in the order driven: lands of eight, so that no turn is tight."""
    order: list[int] = []
    lands = max(1, count // 8)
    for land in range(lands):
        first = land * 8
        last = count if land == lands - 1 else first + 8
        middle = first + (last - first + 1 - land % 2) // 2
        lead, follow = list(range(first, middle)), list(range(middle, last))
        if land % 2:
            lead, follow = follow, lead
        for i, number in enumerate(lead):
            order.append(number)
            order += follow[i : i + 1]
    return order
