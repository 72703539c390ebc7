"""How likely a place that was missed is truly bare."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely

from evenacre.coverage.uncertainty.area_draws import Laid
from evenacre.coverage.uncertainty.shifts import Shifts
from evenacre.geo.overlay import along, subtract
from evenacre.model import FloatArray

# Edges lie along a place where ground so far beyond them is as near to it as this.
_BESIDE_M, _NEAR_M = 0.04, 0.06
# Nothing is known of what was done while the log was silent.
_EVEN = 0.5


def bare_chances(laid: Sequence[Laid], skips: gpd.GeoDataFrame, width_m: float) -> FloatArray:
    """Share of the draws in which most of a place is bare.

    Where draws take the receiver for one of several, the least of what each of these makes it.

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
    places = skips.geometry.to_numpy()
    area = shapely.area(places)
    kinds = np.unique(np.concatenate([one.shifts.kind for one in laid]))
    bare, n = np.zeros((len(kinds), len(places))), np.zeros((len(kinds), 1))
    for one in laid:
        rest = places if one.covered is None else subtract(places, one.covered)
        left = shapely.area(rest)[:, None] - _taken_m2(one.shifts, rest, width_m)
        for k, kind in enumerate(kinds):
            mine = one.shifts.kind == kind
            bare[k] += (left[:, mine] > area[:, None] / 2).sum(axis=1)
            n[k] += mine.sum()
    # Never quite 0 or 1: as many draws say no more.
    chance = ((bare + 0.5) / (n + 1)).min(axis=0)
    return np.where(skips["kind"] == "no log", _EVEN, chance)


def _taken_m2(shifts: Shifts, places: np.ndarray, width_m: float) -> FloatArray:
    """Ground of bare places that edges beside them take when they move, (places, draws)."""
    edges = shifts.edges
    spot = shapely.points(*edges.beyond(_BESIDE_M))
    tree = shapely.STRtree(places)
    sample, place = tree.query(spot, predicate="dwithin", distance=_NEAR_M)
    gone = np.zeros((len(places), shifts.left_m.shape[0]))
    if len(sample):
        e = edges.at(sample)
        start, end = np.column_stack([e.x_m, e.y_m]), np.column_stack(e.beyond(width_m))
        rays = shapely.linestrings(np.stack([start, end], axis=1))
        deep = shapely.length(along(rays, places[place]))
        taken = np.clip(shifts.outward_m(sample), 0.0, deep[:, None]) * e.length_m[:, None]
        np.add.at(gone, place, taken)
    return gone
