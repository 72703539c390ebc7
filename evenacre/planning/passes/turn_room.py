"""The room that turns take beside the workable ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from evenacre.planning.passes.pass_types import PassPlan

# A turn that leaves the ground by no more than this runs along its edge.
_EDGE_M = 0.1


@dataclass(frozen=True)
class TurnRoom:
    """Turns that leave the workable ground."""

    turns: int
    beyond_m: float  # the farthest that the middle of the tool gets from the ground


def turn_room(plan: PassPlan) -> TurnRoom:
    """Find the turns of a drive that leave the workable ground, and how far."""
    if not plan.turns:
        return TurnRoom(0, 0.0)
    points, turn = shapely.get_coordinates(np.array(plan.turns), return_index=True)
    shapely.prepare(plan.workable)
    away = shapely.distance(shapely.points(points), plan.workable)
    out = away > _EDGE_M
    return TurnRoom(len(np.unique(turn[out])), float(away.max()) if out.any() else 0.0)
