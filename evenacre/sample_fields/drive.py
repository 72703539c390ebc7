"""Where the drill went: rounds along the boundary, then passes, with faults planted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from evenacre.sample_fields import spans
from evenacre.sample_fields.chain import Rig
from evenacre.sample_fields.faults import Drift, Fault
from evenacre.sample_fields.logbook import (
    GUARD_M,
    LEAD_IN_M,
    TOWERS,
    WIDTH_M,
    DrivenField,
    Hint,
    Logbook,
    edge_points,
    tower_edges,
)
from evenacre.sample_fields.passes import work_passes
from evenacre.sample_fields.paths import FloatArray, Path, join, straight
from evenacre.sample_fields.plots import Plot

ROUNDS = 2
SEAM_M = 2.0
DRIFT_RAMP_M = 20.0
RUN_M = 120.0


def plan(
    plot: Plot, faults: Sequence[Fault], rig: Rig, *, by_tower: bool, spacing_m: float = WIDTH_M
) -> DrivenField:
    """Drive a whole field.

    Parameters
    ----------
    by_tower : bool
        Towers switch one by one; otherwise the whole drill does.
    spacing_m : float
        Between neighbouring passes.
    """
    book = Logbook()
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
    hints += work_passes(book, target, plot.pile, faults, rig, by_tower, spacing_m)
    book.leave()
    on = [spans.merged(np.concatenate(parts)) for parts in book.on]
    return DrivenField(join(book.parts), on, book.runs, book.passes, _grouped(hints))


def _grouped(hints: list[Hint]) -> list[Hint]:
    """Hints of one fault, found pass by pass, made one."""
    groups: dict[tuple[str, str], list[BaseGeometry]] = {}
    for hint in hints:
        groups.setdefault((hint.kind, hint.cause), []).append(hint.area)
    return [Hint(shapely.union_all(areas), *key) for key, areas in groups.items()]


def _round(book: Logbook, loop: Path, plot: Plot, rig: Rig, *, by_tower: bool) -> None:
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
