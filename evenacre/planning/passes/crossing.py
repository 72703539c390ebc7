"""Passes that go on across ground that is not worked, with the tool lifted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import union
from evenacre.planning.ground import buffered
from evenacre.planning.passes.pass_types import PlannedPass
from evenacre.planning.passes.rounds import headland_legs
from evenacre.planning.passes.swaths import MARGIN_M, stretches_on

# Legs shorter than this share of the width are left to the passes.
_SHORT = 0.5

_Ordered = Callable[[Sequence[PlannedPass], PlannedPass | None], list[PlannedPass]]


def bridged(
    parts: Sequence[shapely.Polygon], over: BaseGeometry | None
) -> list[tuple[shapely.Polygon, BaseGeometry]]:
    """Connected parts of ground as they are with what is crossed, and the ground in each.

    Parameters
    ----------
    parts : sequence of Polygon
        To be worked.
    over : geometry or None
        All ground there would be to work if none of it had to be crossed.
    """
    if over is None:
        return [(part, part) for part in parts]
    together = shapely.get_parts(union(np.array([*parts, *shapely.get_parts(over)], dtype=object)))
    shapely.prepare(together)
    inside = [part.representative_point() for part in parts]
    found = []
    for whole in together:
        within = [part for part, at in zip(parts, inside, strict=True) if whole.intersects(at)]
        if within:
            found.append((whole, shapely.MultiPolygon(within)))
    return found


@dataclass(frozen=True)
class Crossing:
    """Ground that is not worked but crossed, and how many rounds are driven along it."""

    ground: BaseGeometry
    along: int

    def legs(
        self, workable: BaseGeometry, width_m: float, rounds: int, radius_m: float, **corners: Any
    ) -> list[PlannedPass]:
        """Headland rounds that go across with the tool lifted, after those along the edge.

        ``corners`` is how legs are cut at corners, as of `headland_legs`.
        """
        over = union(np.array([workable, self.ground], dtype=object))
        along = min(self.along, rounds)
        first = headland_legs(workable, width_m, along, radius_m, **corners)
        inner = buffered(over, -along * width_m, join_style="mitre")
        room = buffered(workable, MARGIN_M / 2, join_style="mitre")
        rings = max((leg.ring or 0 for leg in first), default=0)
        rest = [
            replace(leg, number=leg.number + along, ring=rings + (leg.ring or 0), line=part)
            for leg in headland_legs(inner, width_m, rounds - along, radius_m, **corners)
            for part in stretches_on(room, leg.line, width_m)
            if part.length >= _SHORT * width_m
        ]
        return [*first, *rest]


def across(
    passes: Sequence[PlannedPass],
    after: PlannedPass | None,
    ordered: _Ordered,
    bridge: BaseGeometry | None,
) -> list[PlannedPass]:
    """Order passes, those in one line on both sides of what is crossed as one.

    ``bridge`` is all ground that the lifted tool may go straight across.
    """
    if bridge is None:
        return ordered(passes, after)
    rows: dict[tuple[int | None, int], list[PlannedPass]] = {}
    chains = [[run] for run in passes if run.kind != "pass"]
    for run in passes:
        if run.kind == "pass":
            rows.setdefault((run.block, run.number), []).append(run)
    chains += [chain for row in rows.values() for chain in _chains(row, bridge)]
    whole = [
        replace(chain[0], line=shapely.LineString([_begin(chain[0]), _end(chain[-1])]))
        if len(chain) > 1
        else chain[0]
        for chain in chains
    ]
    of = {frozenset(line.line.coords): chain for line, chain in zip(whole, chains, strict=True)}
    driven: list[PlannedPass] = []
    for run in ordered(whole, after):
        chain = of[frozenset(run.line.coords)]
        if run.line.coords[0] == _begin(chain[0]):
            driven += chain
        else:
            driven += [replace(one, line=one.line.reverse()) for one in reversed(chain)]
    return driven


def _chains(row: Sequence[PlannedPass], bridge: BaseGeometry) -> list[list[PlannedPass]]:
    """Runs of one strip, cut where the tool cannot go straight on to the next."""
    (x0, y0), (x1, y1) = _begin(row[0]), _end(row[0])
    row = sorted(row, key=lambda run: _begin(run)[0] * (x1 - x0) + _begin(run)[1] * (y1 - y0))
    chains = [[row[0]]]
    for one, following in pairwise(row):
        on = shapely.LineString([_end(one), _begin(following)])
        if bridge.covers(on):
            chains[-1].append(following)
        else:
            chains.append([following])
    return chains


def _begin(run: PlannedPass) -> tuple[float, ...]:
    return tuple(run.line.coords[0])


def _end(run: PlannedPass) -> tuple[float, ...]:
    return tuple(run.line.coords[-1])
