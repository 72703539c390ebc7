"""Where the cart is filled: at ends of passes, as near to the gate as loads allow."""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence

import numpy as np
import shapely

from evenacre.model import FloatArray
from evenacre.planning.passes.pass_types import FillSpot, PlannedPass

# Rounding of lengths that are compared.
_SAME_M = 1e-6


def spot_at(passes: Sequence[PlannedPass], done_m: float, gate: shapely.Point | None) -> FillSpot:
    """Where the drill is after so many metres of work; between runs, at the end of the first."""
    ends = np.cumsum([planned.line.length for planned in passes])
    run = min(int(np.searchsorted(ends, done_m - _SAME_M)), len(passes) - 1)
    line = passes[run].line
    into = min(max(done_m - float(ends[run]) + line.length, 0.0), line.length)
    at = line.interpolate(into)
    ahead = line.interpolate(min(into + 1.0, line.length))
    behind = line.interpolate(max(min(into + 1.0, line.length) - 2.0, 0.0))
    return FillSpot(
        run=run + 1,
        kind=passes[run].kind,
        number=passes[run].number,
        into_m=into,
        length_m=line.length,
        at=at,
        heading_rad=math.atan2(ahead.y - behind.y, ahead.x - behind.x),
        gate_m=None if gate is None else float(at.distance(gate)),
    )


def filling_spots(
    passes: Sequence[PlannedPass], load_m: float, gate: shapely.Point | None
) -> tuple[FillSpot, ...]:
    """Spots of the fewest full carts that do, the first one before anything is done.

    A full cart works ``load_m`` metres. The cart is filled between runs, where the sum of the ways
    to the gate is least; within a run only where none ends in reach. Without a gate, as late as
    can be.
    """
    ends = np.cumsum([planned.line.length for planned in passes])
    if not len(ends):
        return ()
    return tuple(spot_at(passes, at, gate) for at in _stops(passes, ends, load_m, gate))


def _stops(
    passes: Sequence[PlannedPass], ends: FloatArray, load_m: float, gate: shapely.Point | None
) -> list[float]:
    """Metres worked at each fill, by the shortest way over stops that a load can reach."""
    whole = float(ends[-1])

    def far_m(at: float) -> float:
        if gate is None:
            return -at / whole  # the later the better
        return spot_at(passes, at, gate).gate_m or 0.0

    waiting: list[tuple[float, int, float, float]] = [(0.0, 1, 0.0, -1.0)]  # place, loads, way
    best: dict[float, tuple[int, float, float]] = {}
    while waiting:
        at, loads, way, before = heapq.heappop(waiting)
        if at in best and best[at][:2] <= (loads, way):
            continue
        best[at] = loads, way, before
        reach = at + load_m
        if reach >= whole - _SAME_M:
            continue
        stops = ends[(ends > at + _SAME_M) & (ends <= reach + _SAME_M)].tolist() or [reach]
        for stop in stops:
            heapq.heappush(waiting, (stop, loads + 1, way + far_m(stop), at))
    last = min((at for at in best if at + load_m >= whole - _SAME_M), key=lambda at: best[at][:2])
    found = []
    while last >= 0:
        found.append(last)
        last = best[last][2]
    return found[::-1]
