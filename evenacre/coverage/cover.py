"""How many times each spot was covered, exactly: unions of pieces, pairs and triples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray, IntArray

# Intersections smaller than this are the hairline two pieces share, not ground.
_HAIRLINE_M2 = 1e-6


@dataclass(frozen=True)
class Cover:
    """Ground covered at least once, twice and three times by n pieces.

    Attributes
    ----------
    once_or_more, twice_or_more, thrice_or_more : geometry
    piece_area_m2 : (n,) float
    first, second : (k,) int
        Pieces of each overlapping pair.
    pair : (k,) array of geometry
        Ground shared by the pair.
    max_cover : (n,) int
        The most covers found anywhere on a piece: 1, 2 or 3 (three or more).
    """

    once_or_more: BaseGeometry
    twice_or_more: BaseGeometry
    thrice_or_more: BaseGeometry
    piece_area_m2: FloatArray
    first: IntArray
    second: IntArray
    pair: np.ndarray
    max_cover: IntArray

    @property
    def pair_area_m2(self) -> FloatArray:
        """Ground shared by each pair."""
        return shapely.area(self.pair)


def polygonal(geometry: np.ndarray) -> np.ndarray:
    """Keep only the polygons of each geometry (intersections also yield lines and points)."""
    mixed = shapely.get_type_id(geometry) == shapely.GeometryType.GEOMETRYCOLLECTION
    if mixed.any():
        geometry = geometry.copy()
        for i in np.flatnonzero(mixed):
            parts = shapely.get_parts(geometry[i])
            geometry[i] = shapely.union_all(parts[shapely.get_dimensions(parts) == 2])
    flat = shapely.get_dimensions(geometry) == 2
    return np.where(flat, geometry, shapely.MultiPolygon())


def count_cover(pieces: np.ndarray) -> Cover:
    """Overlay pieces by pairs.

    A spot is covered twice exactly where some pair of pieces meets and three times where
    some triple does, so unions of the pairwise and triple intersections give the cover count
    without building the full arrangement of all outlines.

    Parameters
    ----------
    pieces : (n,) array of polygons
        None covers itself.
    """
    tree = shapely.STRtree(pieces)
    i, j = tree.query(pieces, predicate="intersects")
    i, j = i[i < j], j[i < j]
    pair = polygonal(shapely.intersection(pieces[i], pieces[j]))
    real = shapely.area(pair) > _HAIRLINE_M2
    i, j, pair = i[real], j[real], pair[real]

    p, k = tree.query(pair, predicate="intersects")
    third = k > j[p]
    p, k = p[third], k[third]
    triple = polygonal(shapely.intersection(pair[p], pieces[k]))
    real = shapely.area(triple) > _HAIRLINE_M2
    p, k, triple = p[real], k[real], triple[real]

    most = np.ones(len(pieces), dtype=np.int64)
    most[i] = most[j] = 2
    most[i[p]] = most[j[p]] = most[k] = 3
    return Cover(
        shapely.union_all(pieces),
        shapely.union_all(pair),
        shapely.union_all(triple),
        shapely.area(pieces),
        i,
        j,
        pair,
        most,
    )


@dataclass(frozen=True)
class GroundAccount:
    """The workable ground by cover count, and what lies outside it.

    Attributes
    ----------
    covered, once, twice, twice_or_more, more, missed : geometry
        Inside the workable ground.
    outside : geometry
        Covered ground that is not workable.
    """

    covered: BaseGeometry
    once: BaseGeometry
    twice: BaseGeometry
    twice_or_more: BaseGeometry
    more: BaseGeometry
    missed: BaseGeometry
    outside: BaseGeometry


def account(cover: Cover, workable: BaseGeometry) -> GroundAccount:
    """Clip the cover to the workable ground and part it by count."""
    covered = shapely.intersection(cover.once_or_more, workable)
    doubled = shapely.intersection(cover.twice_or_more, workable)
    more = shapely.intersection(cover.thrice_or_more, workable)
    return GroundAccount(
        covered=covered,
        once=shapely.difference(covered, doubled),
        twice=shapely.difference(doubled, more),
        twice_or_more=doubled,
        more=more,
        missed=shapely.difference(workable, cover.once_or_more),
        outside=shapely.difference(cover.once_or_more, workable),
    )


def _clip_areas(pieces: np.ndarray, region: BaseGeometry) -> FloatArray:
    """Area of each piece inside a region; only pieces that straddle its edge are clipped."""
    shapely.prepare(region)
    out = shapely.area(pieces)
    inside = shapely.covers(region, pieces)
    touching = ~inside & shapely.intersects(region, pieces)
    out[~inside & ~touching] = 0.0
    out[touching] = shapely.area(shapely.intersection(pieces[touching], region))
    return out


def area_figures(
    parted: GroundAccount, pieces: np.ndarray, workable: BaseGeometry, headland: BaseGeometry
) -> dict[str, float]:
    """The account of the ground in m2, by the names of the result."""
    swept_inside = float(_clip_areas(pieces, workable).sum())
    covered, doubled = parted.covered.area, parted.twice_or_more
    return {
        "workable_area_m2": workable.area,
        "covered_area_m2": covered,
        "covered_once_m2": parted.once.area,
        "covered_twice_m2": parted.twice.area,
        "covered_more_m2": parted.more.area,
        "overlap_area_m2": doubled.area,
        "excess_area_m2": max(swept_inside - covered, 0.0),
        "skip_area_m2": parted.missed.area,
        "headland_area_m2": headland.area,
        "headland_overlap_m2": shapely.intersection(doubled, headland).area,
        "outside_area_m2": parted.outside.area,
        "swept_area_m2": float(shapely.area(pieces).sum()),
    }
