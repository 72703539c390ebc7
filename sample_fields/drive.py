"""Where the drill went: rounds along the boundary, then passes, with faults planted."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from sample_fields import spans
from sample_fields.chain import Rig, tool_line
from sample_fields.faults import Drift, Fault, Offset, Patch, ShortEnd
from sample_fields.paths import FloatArray, Path, Pose, connect, join, straight
from sample_fields.plots import Ellipse, Plot

WIDTH_M = 6.096
TOWERS = 4
TOWER_M = WIDTH_M / TOWERS
ROUNDS = 2
GUARD_M = 0.3
LEAD_IN_M = 1.5
SEAM_M = 2.0
DRIFT_RAMP_M = 20.0
RUN_M = 120.0


@dataclass(frozen=True)
class Hint:
    """Ground that a fault was meant to leave, and what it should be called."""

    area: BaseGeometry
    kind: str
    cause: str


@dataclass
class Drive:
    """A drill axle's path with the ground states along it.

    Attributes
    ----------
    on : list of (k, 2) arrays
        For each tower from the left, the stretches of the path where it feeds openers.
    runs : list of (float, float)
        Stretches that cannot cover the same ground twice.
    passes : dict of int to (float, float)
        Where along the path each pass first worked and last worked.
    """

    path: Path
    on: list[FloatArray]
    runs: list[tuple[float, float]]
    passes: dict[int, tuple[float, float]]
    hints: list[Hint]


@dataclass
class _Logbook:
    """A drive being put together."""

    parts: list[Path] = field(default_factory=list)
    s: float = 0.0
    on: list[list[FloatArray]] = field(default_factory=lambda: [[] for _ in range(TOWERS)])
    runs: list[tuple[float, float]] = field(default_factory=list)
    passes: dict[int, tuple[float, float]] = field(default_factory=dict)

    def add(self, path: Path) -> float:
        """Drive a path and say where it began."""
        began = self.s
        self.parts.append(path)
        self.s += path.length
        return began

    def go_to(self, pose: Pose) -> None:
        """Turn to a pose with the drill up."""
        if self.parts:
            self.add(connect(self.parts[-1].end, pose))

    def work(self, tower: int, stretches: FloatArray) -> None:
        """Note where a tower fed its openers."""
        self.on[tower].append(stretches)


def tower_edges(tower: int) -> tuple[float, float]:
    """Left and right edge of a tower's rows, metres left of the centre."""
    left = WIDTH_M / 2.0 - tower * TOWER_M
    return left, left - TOWER_M


def edge_points(path: Path, rig: Rig, left_m: float) -> FloatArray:
    """Points of the tool line this far left of its centre."""
    x, y = tool_line(path, rig)
    return np.column_stack((x - left_m * np.sin(path.heading), y + left_m * np.cos(path.heading)))


def plan(
    plot: Plot, faults: Sequence[Fault], rig: Rig, *, by_tower: bool, spacing_m: float = WIDTH_M
) -> Drive:
    """Drive a whole field.

    Parameters
    ----------
    by_tower : bool
        Towers switch one by one; otherwise the whole drill does.
    spacing_m : float
        Between neighbouring passes.
    """
    book = _Logbook()
    hints = [
        Hint(plot.corner_area(i), "edge", "square corner the drill cannot reach")
        for i in plot.sharp
    ]
    inner = plot.boundary
    for number in range(ROUNDS):
        loop = plot.loop.started_at(45.0 * number) if number else plot.loop
        loop = loop.parallel(WIDTH_M * (number + 0.5))
        for fault in faults:
            if isinstance(fault, Drift) and number == 0:
                loop = loop.shifted(_drift(loop.s, fault))
                hints.append(_drift_hint(plot, fault))
        _round(book, loop, plot, rig, by_tower=by_tower)
        inner = shapely.make_valid(Polygon(edge_points(loop, rig, WIDTH_M / 2.0)))
    target = shapely.intersection(inner, plot.workable)
    if plot.pile is not None:
        ring = plot.pile.path.parallel(-(WIDTH_M / 2.0 - 0.06))
        _round(book, ring, plot, rig, by_tower=by_tower)
        outer = Polygon(edge_points(ring, rig, -WIDTH_M / 2.0))
        target = shapely.difference(target, outer)
    hints += _passes(book, target, plot.pile, faults, rig, by_tower, spacing_m)
    on = [spans.merged(np.concatenate(parts)) for parts in book.on]
    return Drive(join(book.parts), on, book.runs, book.passes, _grouped(hints))


def _grouped(hints: list[Hint]) -> list[Hint]:
    """Hints of one fault, found pass by pass, made one."""
    groups: dict[tuple[str, str], list[BaseGeometry]] = {}
    for hint in hints:
        groups.setdefault((hint.kind, hint.cause), []).append(hint.area)
    return [Hint(shapely.union_all(areas), *key) for key, areas in groups.items()]


def _round(book: _Logbook, loop: Path, plot: Plot, rig: Rig, *, by_tower: bool) -> None:
    """Work once round a closed loop and a little past where it began."""
    path = join([loop, loop.first(SEAM_M)])
    book.go_to(path.start.ahead(-LEAD_IN_M))
    book.add(straight(path.start.ahead(-LEAD_IN_M), LEAD_IN_M))
    began = book.add(path)
    on = np.ones((TOWERS, len(path.s)), dtype=bool)
    if plot.waterway is not None:
        shapely.prepare(plot.waterway)
        lines = [
            shapely.linestrings(
                np.stack([edge_points(path, rig, left) for left in tower_edges(t)], axis=1)
            )
            for t in range(TOWERS)
        ]
        on = ~np.array([shapely.covered_by(line, plot.waterway) for line in lines])
    if not by_tower:
        on[:] = on.any(axis=0)
    for tower in range(TOWERS):
        book.work(tower, spans.where(on[tower], path.s, GUARD_M) + began)
    cuts = np.linspace(began, began + path.length, int(path.length // RUN_M) + 2)
    book.runs += list(zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True))
    book.add(straight(path.end, 0.5))


def _passes(
    book: _Logbook,
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
    book: _Logbook,
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


def _drift(s: FloatArray, fault: Drift) -> FloatArray:
    """Sideways shift along the first round: eased in, held, eased out."""
    depth = np.minimum(s - fault.from_m, fault.from_m + fault.length_m - s) / DRIFT_RAMP_M
    u = np.clip(depth, 0.0, 1.0)
    return np.asarray(fault.inward_m * u**4 * (35.0 - 84.0 * u + 70.0 * u**2 - 20.0 * u**3))


def _drift_hint(plot: Plot, fault: Drift) -> Hint:
    """The band that a drift leaves along the boundary."""
    near = (plot.loop.s >= fault.from_m) & (plot.loop.s <= fault.from_m + fault.length_m)
    line = LineString(np.column_stack((plot.loop.x[near], plot.loop.y[near])))
    return Hint(line.buffer(fault.inward_m * 0.8), "edge", fault.cause)


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
