"""How likely a place that was missed is truly bare."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely

from evenacre.arrays import expand
from evenacre.coverage.uncertainty.area_draws import Laid
from evenacre.coverage.uncertainty.shifts import Shifts
from evenacre.geo.overlay import along, subtract, union
from evenacre.model import FloatArray, IntArray

# Edges farther from a place than this hardly come to it. They need not touch it: places are drawn
# without their narrow corners, and ground between may be another place.
_NEAR_M = 2.0
# Edges looked at for a place, of a long one not all: what they err by holds farther than they lie
# apart.
_MOST_EDGES = 60
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
    area, receiver = shapely.area(places), laid[0].shifts.kind
    taken = np.zeros((len(places), len(receiver)))
    for one in laid:
        rest = _without(places, one.added)
        taken[:, one.draws] += (area - shapely.area(rest))[:, None]
        met, gone = _taken_m2(one.shifts, one.samples, rest, width_m)
        taken[met[:, None], one.draws] += gone
    kinds = np.unique(receiver)
    bare, n = np.zeros((len(kinds), len(skips))), np.zeros((len(kinds), 1))
    for k, kind in enumerate(kinds):
        mine = taken[:, receiver == kind]
        bare[k], n[k] = (mine < area[:, None] / 2).sum(axis=1), mine.shape[1]
    # Never quite 0 or 1: as many draws say no more.
    chance = ((bare + 0.5) / (n + 1)).min(axis=0)
    return np.where(skips["kind"] == "no log", _EVEN, chance)


def _without(places: np.ndarray, added: np.ndarray) -> np.ndarray:
    """Places less ground that is swept there."""
    rest = places.copy()
    met = np.unique(shapely.STRtree(added).query(places, predicate="intersects")[0])
    if len(met):
        rest[met] = subtract(places[met], union(added))
    return rest


def _taken_m2(
    shifts: Shifts, samples: IntArray, places: np.ndarray, width_m: float
) -> tuple[IntArray, FloatArray]:
    """Ground of bare places that edges near them take when they move.

    Returns
    -------
    (k,) int, (k, draws) float
        Which places edges come to, and how much of each they take.
    """
    edges = shifts.edges.at(samples)
    spot = shapely.points(edges.x_m, edges.y_m)
    near, place = shapely.STRtree(places).query(spot, predicate="dwithin", distance=_NEAR_M)
    order = np.lexsort((near, place))
    near, place = near[order], place[order]
    count = np.bincount(place, minlength=len(places))
    every = -(-count // _MOST_EDGES)
    chosen = expand(count)[1] % np.maximum(every, 1)[place] == 0
    near, place = near[chosen], place[chosen]
    start, end = (np.column_stack(edges.at(near).beyond(way)) for way in (0.0, width_m))
    inside = along(shapely.linestrings(np.stack([start, end], axis=1)), places[place])
    met = shapely.length(inside) > 0
    near, place, inside = near[met], place[met], inside[met]
    way = shapely.distance(spot[near], inside)[:, None]
    taken = np.clip(shifts.outward_m(samples[near]) - way, 0.0, shapely.length(inside)[:, None])
    taken *= (edges.length_m[near] * every[place])[:, None]
    first = np.flatnonzero(np.diff(place, prepend=-1))
    return place[first], np.add.reduceat(taken, first) if len(first) else taken
