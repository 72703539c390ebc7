"""How likely a place that was missed is truly bare."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from evenacre.coverage.uncertainty.shifts import Shifts
from evenacre.geo.overlay import along
from evenacre.model import FloatArray

# Edges lie along a place where ground so far beyond them is as near to it as this.
_BESIDE_M, _NEAR_M = 0.04, 0.06
# Nothing is known of what was done while the log was silent.
_EVEN = 0.5


def bare_chances(shifts: Shifts, skips: gpd.GeoDataFrame, width_m: float) -> FloatArray:
    """Share of the draws in which most of a place is bare.

    Parameters
    ----------
    skips : GeoDataFrame
        Places in the plane, with their kinds.
    width_m : float
        Of the tool.

    Returns
    -------
    (places,) float
    """
    geometry = skips.geometry.to_numpy()
    edges = shifts.edges
    spot = shapely.points(*edges.beyond(_BESIDE_M))
    tree = shapely.STRtree(geometry)
    sample, place = tree.query(spot, predicate="dwithin", distance=_NEAR_M)
    n = shifts.left_m.shape[0]
    gone = np.zeros((len(geometry), n))
    if len(sample):
        e = edges.at(sample)
        start, end = np.column_stack([e.x_m, e.y_m]), np.column_stack(e.beyond(width_m))
        rays = shapely.linestrings(np.stack([start, end], axis=1))
        deep = shapely.length(along(rays, geometry[place]))
        taken = np.clip(shifts.outward_m(sample), 0.0, deep[:, None]) * e.length_m[:, None]
        np.add.at(gone, place, taken)
    bare = gone < shapely.area(geometry)[:, None] / 2
    # Never quite 0 or 1: as many draws say no more.
    chance = (bare.sum(axis=1) + 0.5) / (n + 1)
    return np.where(skips["kind"] == "no log", _EVEN, chance)
