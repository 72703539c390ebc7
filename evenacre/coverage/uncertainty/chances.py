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

# Edges farther from a place than this hardly come to it. They need not touch it: places are drawn
# without their narrow corners, and ground between may be another place.
_NEAR_M = 2.0
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
    """Ground of bare places that edges near them take when they move, (places, draws)."""
    edges = shifts.edges
    spot = shapely.points(edges.x_m, edges.y_m)
    sample, place = shapely.STRtree(places).query(spot, predicate="dwithin", distance=_NEAR_M)
    start, end = (np.column_stack(edges.at(sample).beyond(way)) for way in (0.0, width_m))
    inside = along(shapely.linestrings(np.stack([start, end], axis=1)), places[place])
    met = shapely.length(inside) > 0
    sample, place, inside = sample[met], place[met], inside[met]
    way = shapely.distance(spot[sample], inside)[:, None]
    deep = shapely.length(inside)[:, None]
    taken = np.clip(shifts.outward_m(sample) - way, 0.0, deep) * edges.length_m[sample][:, None]
    gone = np.zeros((len(places), len(shifts.kind)))
    np.add.at(gone, place, taken)
    return gone
