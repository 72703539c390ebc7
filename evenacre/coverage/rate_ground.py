"""The ground in classes of what was put down on it, with edges where the drill drew them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.cover import Cover, wide_laps
from evenacre.coverage.swath import Strips, build_swaths, curved, strip_area_m2
from evenacre.geo.overlay import first_consistent, intersect, union, valid, without
from evenacre.model import BoolArray, FloatArray, IntArray

# Classes that change from one short stretch to the next are taken together over so much travel:
# less than that no drill places apart.
_STRETCH_M = 2.0
# Rates within a part of one class differ from its first by half of this share at most.
_ALIKE = 0.1
_HAIRLINE_M2 = 1e-6
# Of the areas of all parts: more that is missing was dropped by an overlay.
_LOST_SHARE = 1e-7


@dataclass(frozen=True)
class RatedParts:
    """Ground of one rate each.

    Attributes
    ----------
    ground : (n,) array of polygon
    kg_per_m2 : (n,) float
    piece : (n,) int
        The piece that a part is of; no two parts of a piece share ground.
    """

    ground: np.ndarray
    kg_per_m2: FloatArray
    piece: IntArray


def rated_strips(strips: Strips, strip_kg: FloatArray, edges_kg_per_m2: FloatArray) -> RatedParts:
    """Part strips where the rate passes from one class to the next, along them and across.

    Rows of a strip get equal mass, so on a curve the rate at a spot is the strip's mass over its
    width and the way driven there: lines between classes run where that is the bound of a class.

    Parameters
    ----------
    strip_kg : (m,) float
        Mass on each strip.
    edges_kg_per_m2 : (c - 1,) float
        Bounds between c classes, ascending.
    """
    order = np.lexsort((strips.step, strips.first_row, strips.piece))
    strips = strips.at(order)
    if not edges_kg_per_m2[0] or not len(order):
        return RatedParts(np.zeros(0, dtype=object), np.zeros(0), np.zeros(0, dtype=np.int64))
    area = np.maximum(strip_area_m2(strips), np.finfo(float).tiny)
    new = np.ones(len(order), dtype=bool)
    new[1:] = (np.diff(strips.piece) != 0) | (np.diff(strips.first_row) != 0)
    new[1:] |= np.diff(strips.folded.astype(int)) != 0
    rate = _steadied(strip_kg[order] / area, area, _travel_m(strips), new, edges_kg_per_m2)
    across = _crossed(strips, rate * area, edges_kg_per_m2)
    whole = _joined(strips.at(~across), rate[~across], new[~across], edges_kg_per_m2)
    bands = _bands(strips.at(across), rate[across] * area[across], edges_kg_per_m2)
    return RatedParts(
        np.concatenate([whole.ground, bands.ground]),
        np.concatenate([whole.kg_per_m2, bands.kg_per_m2]),
        np.concatenate([whole.piece, bands.piece]),
    )


def _travel_m(strips: Strips) -> FloatArray:
    front, rear = strips.quad[:, :2].mean(axis=1), strips.quad[:, 2:].mean(axis=1)
    return np.asarray(np.hypot(*(rear - front).T))


def _steadied(
    rate: FloatArray, area: FloatArray, travel: FloatArray, new: BoolArray, edges: FloatArray
) -> FloatArray:
    """Rates with those of short stretches, whose classes keep changing, taken together."""
    if not len(rate):
        return rate
    kind = np.digitize(rate, edges)
    begins = new.copy()
    begins[1:] |= np.diff(kind) != 0
    run = np.cumsum(begins) - 1
    short = np.bincount(run, travel) < _STRETCH_M
    first = np.flatnonzero(begins)
    # Short stretches that follow one another make a group.
    alone = np.ones(len(first), dtype=bool)
    alone[1:] = new[first[1:]] | ~short[1:] | ~short[:-1]
    group = (np.cumsum(alone) - 1)[run]
    start = np.flatnonzero(np.diff(group, prepend=-1))
    way = np.cumsum(travel) - travel
    cell = np.floor((way - way[start][group]) / _STRETCH_M)
    mixed = (np.bincount(group[first]) > 1)[group]
    cell = np.where(mixed, cell, (run - run[start][group]).astype(float))
    part = np.cumsum((np.diff(group, prepend=-1) != 0) | (np.diff(cell, prepend=-1) != 0)) - 1
    mean = np.bincount(part, rate * area) / np.bincount(part, area)
    return np.where(mixed, mean[part], rate)


def _joined(strips: Strips, rate: FloatArray, new: BoolArray, edges: FloatArray) -> RatedParts:
    """Strips one behind the other with rates of one class, and much alike, as one part."""
    kind = np.digitize(rate, edges)
    begins = new.copy()
    begins[:1] = True  # whatever went before it is told by itself
    begins[1:] |= (np.diff(kind) != 0) | (np.diff(strips.piece) != 0)
    begins[1:] |= np.abs(strips.quad[1:, :2] - strips.quad[:-1, [3, 2]]).max(axis=(1, 2)) > 0
    first = np.maximum.accumulate(np.where(begins, np.arange(len(begins)), 0))
    log = np.log(np.maximum(rate, np.finfo(float).tiny))
    begins[1:] |= np.diff(np.rint((log - log[first]) / _ALIKE)) != 0
    part = np.cumsum(begins) - 1
    area = strip_area_m2(strips)
    ground = build_swaths(replace(strips, piece=part)).geometry
    held = np.maximum(np.bincount(part, area), np.finfo(float).tiny) if len(part) else area
    mean = np.bincount(part, rate * area) / held if len(part) else rate
    return RatedParts(ground, np.asarray(mean), strips.piece[begins])


def _ways_m(strips: Strips) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Way of the left and of the right end of strips, and their width."""
    a, b, d, c = (strips.quad[:, i] for i in range(4))
    width = (np.hypot(*(b - a).T) + np.hypot(*(d - c).T)) / 2
    return np.hypot(*(c - a).T), np.hypot(*(d - b).T), width


def _crossed(strips: Strips, strip_kg: FloatArray, edges: FloatArray) -> BoolArray:
    """Strips on curves whose two ends are of different classes."""
    left, right, width = _ways_m(strips)
    with np.errstate(divide="ignore", invalid="ignore"):
        kinds = [
            np.digitize(np.nan_to_num(strip_kg / (width * way)), edges) for way in (left, right)
        ]
    return np.asarray(curved(strips) & ~strips.folded & (kinds[0] != kinds[1]))


def _bands(strips: Strips, strip_kg: FloatArray, edges: FloatArray) -> RatedParts:
    """Parts of strips on curves, from their left end to the right, class by class."""
    a, b, d, c = (strips.quad[:, i] for i in range(4))
    left, right, width = _ways_m(strips)
    # Ground without anything is of the lowest class.
    strip_kg = np.maximum(strip_kg, np.finfo(float).tiny)
    bounds = np.concatenate([[0.0], edges, [np.inf]])
    quads, masses, owners = [], [], []
    for low, high in pairwise(bounds.tolist()):
        with np.errstate(divide="ignore", invalid="ignore"):
            at = [(strip_kg / (width * edge) - left) / (right - left) for edge in (low, high)]
        share = np.sort(np.clip(np.nan_to_num(at, posinf=np.inf, neginf=-np.inf), 0, 1), axis=0)
        mine = np.flatnonzero(share[1] > share[0])
        f0, f1 = share[0][mine, None], share[1][mine, None]
        fa, fb, fc, fd = a[mine], b[mine] - a[mine], c[mine], d[mine] - c[mine]
        quads.append(np.stack([fa + f0 * fb, fa + f1 * fb, fc + f1 * fd, fc + f0 * fd], axis=1))
        masses.append(strip_kg[mine] * (f1 - f0)[:, 0])
        owners.append(mine)
    ground = valid(shapely.polygons(np.concatenate(quads)))
    area = shapely.area(ground)
    real = area > _HAIRLINE_M2
    mass, owner = np.concatenate(masses)[real], np.concatenate(owners)[real]
    return RatedParts(ground[real], mass / area[real], strips.piece[owner])


def rate_layers(
    parts: RatedParts,
    edges_kg_per_m2: FloatArray,
    cover: Cover,
    crs: CRS,
    lap_m: float = 0.0,
) -> gpd.GeoDataFrame:
    """Ground of each class, to be laid one over the other: the last at a spot is what it is of.

    Rates of parts that lie on one another add up; of ground covered more than three times the
    heaviest three covers count. A sum is never of a lower class than what is summed, so that
    ground of single parts needs no cutting out below what lies on it.

    Parameters
    ----------
    edges_kg_per_m2 : (c - 1,) float
        Bounds between c classes, ascending.
    cover : Cover
        Of the pieces that the parts are of.
    lap_m : float
        Laps narrower than this are taken for none.

    Returns
    -------
    GeoDataFrame
        ``kind`` is the class from 0, ascending.
    """
    rate, piece = parts.kg_per_m2, parts.piece
    if not len(piece):
        return gpd.GeoDataFrame({"kind": []}, geometry=gpd.GeoSeries([], crs=crs), crs=crs)
    last = len(edges_kg_per_m2)
    i, j, pair, of_last, again_m2 = _laps(parts, edges_kg_per_m2[-1], lap_m, cover)
    both = rate[i] + rate[j]
    # What lies on a pair of the last class is of that class too.
    p = np.flatnonzero(np.digitize(both, edges_kg_per_m2) < last)
    mine, k = shapely.STRtree(parts.ground).query(pair[p], predicate="intersects")
    p = p[mine]
    third = (k > np.maximum(i, j)[p]) & (piece[k] != piece[i[p]]) & (piece[k] != piece[j[p]])
    p, k = p[third], k[third]
    triple = first_consistent(lambda grid: intersect(pair[p], parts.ground[k], grid))

    ground = np.concatenate([parts.ground, pair, triple, of_last])
    kind = np.digitize(np.concatenate([rate, both, both[p] + rate[k]]), edges_kg_per_m2)
    kind = np.append(kind, np.full(len(of_last), last))
    alone, area = kind[: len(piece)], shapely.area(ground)
    alone_m2 = area[: len(piece)]
    again_m2 += max(0.0, float(alone_m2.sum() - cover.piece_area_m2.sum()))  # within pieces
    lost_m2 = _LOST_SHARE * float(alone_m2.sum())

    def held(c: int) -> BaseGeometry:
        """All parts, pairs and triples of a class, none of which was dropped."""
        mine, least_m2 = kind == c, float(alone_m2[alone == c].sum()) - again_m2
        return first_consistent(
            lambda grid: union(ground[mine], grid),
            lambda found: least_m2 - lost_m2 <= found.area <= float(area[mine].sum()) + lost_m2,
        )

    # The commonest class is all ground but what is of a lower one; higher ones lie over it.
    most = int(np.bincount(alone, alone_m2).argmax())
    shapes = {c: held(c) for c in np.unique(kind).tolist() if c != most}
    lower = [shapes[c] for c in shapes if c < most]
    shapes[most] = cover.once_or_more
    if lower:
        low = lower[0]
        if len(lower) > 1:
            low = first_consistent(lambda grid: union(np.array(lower), grid))
        shapely.prepare(low)
        over = ground[(kind >= most) & shapely.intersects(ground, low)]
        low = first_consistent(lambda grid: without(low, union(over, grid), grid))
        rest_m2 = cover.once_or_more.area - low.area
        shapes[most] = first_consistent(
            lambda grid: without(cover.once_or_more, low, grid),
            lambda found: abs(found.area - rest_m2) <= lost_m2,
        )
    kinds = sorted(shapes)
    return gpd.GeoDataFrame(
        {"kind": kinds}, geometry=gpd.GeoSeries([shapes[c] for c in kinds], crs=crs), crs=crs
    )


def _laps(
    parts: RatedParts, last_kg_per_m2: float, lap_m: float, cover: Cover
) -> tuple[IntArray, IntArray, np.ndarray, np.ndarray, float]:
    """Return pairs of parts of different pieces, what they share, and how much that is in all.

    Laps of pieces of which any two parts come to the last class are not cut into pairs of parts,
    but given as ground of that class.
    """
    piece, piece_m2 = parts.piece, cover.piece_area_m2
    count = len(piece_m2)
    least = np.full(count, np.inf)
    np.minimum.at(least, piece, parts.kg_per_m2)
    heavy = least[cover.first] + least[cover.second] >= last_kg_per_m2
    of_last = cover.pair[heavy]
    if len(of_last) and heavy.all():
        of_last = np.array([cover.twice_or_more])
    # Of pieces that are one part the cover knows the laps.
    known = np.bincount(piece, minlength=count)[piece] == 1
    known &= np.abs(shapely.area(parts.ground) - piece_m2[piece]) <= _LOST_SHARE * piece_m2[piece]
    cut = np.flatnonzero(~known)
    mine, j = shapely.STRtree(parts.ground).query(parts.ground[cut], predicate="intersects")
    i = cut[mine]
    low, high = np.minimum(piece[i], piece[j]), np.maximum(piece[i], piece[j])
    done = np.isin(low * count + high, (cover.first * count + cover.second)[heavy])
    apart = (low < high) & (known[j] | (i < j)) & ~done
    i, j = i[apart], j[apart]
    pair = first_consistent(lambda grid: intersect(parts.ground[i], parts.ground[j], grid))
    again_m2 = float(shapely.area(pair).sum())
    if lap_m:
        pair = wide_laps(pair, lap_m)
    real = shapely.area(pair) > _HAIRLINE_M2
    part = np.full(count, -1)
    part[piece[known]] = np.flatnonzero(known)
    told = (part[cover.first] >= 0) & (part[cover.second] >= 0) & ~heavy
    return (
        np.concatenate([i[real], part[cover.first[told]]]),
        np.concatenate([j[real], part[cover.second[told]]]),
        np.concatenate([pair[real], cover.pair[told]]),
        of_last,
        again_m2 + float(cover.pair_area_m2[heavy | told].sum()),
    )
