"""How many times each spot was covered, exactly: unions of pieces, pairs and triples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import common, first_consistent, intersect, union, without
from evenacre.model import FloatArray, IntArray

# Intersections smaller than this are the hairline two pieces share, not ground.
_HAIRLINE_M2 = 1e-6
# A narrow lap so many times longer than wide is a sliver.
_SLIVER = 5.0
# Areas that add up to less than this share of the whole show that an overlay lost ground.
_LOST_SHARE = 1e-7


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
    narrow_m2 : float
        Laps taken for none, less cracks taken for covered: not part of the excess.
    """

    once_or_more: BaseGeometry
    twice_or_more: BaseGeometry
    thrice_or_more: BaseGeometry
    piece_area_m2: FloatArray
    first: IntArray
    second: IntArray
    pair: np.ndarray
    max_cover: IntArray
    narrow_m2: float = 0.0

    @property
    def pair_area_m2(self) -> FloatArray:
        """Ground shared by each pair."""
        return shapely.area(self.pair)


def count_cover(pieces: np.ndarray, lap_m: float = 0.0) -> Cover:
    """Overlay pieces by pairs.

    A spot is covered twice exactly where some pair of pieces meets and three times where
    some triple does, so unions of the pairwise and triple intersections give the cover count
    without building the full arrangement of all outlines. No piece may cover itself. Laps of two
    pieces narrower than ``lap_m`` count for none.
    """
    overlays = first_consistent(lambda grid: _overlay(pieces, grid, lap_m), _Overlays.consistent)
    i, j = overlays.first, overlays.second
    p, k = overlays.of_pair, overlays.third
    most = np.ones(len(pieces), dtype=np.int64)
    most[i] = most[j] = 2
    most[i[p]] = most[j[p]] = most[k] = 3
    return Cover(
        overlays.once_or_more,
        overlays.twice_or_more,
        overlays.thrice_or_more,
        shapely.area(pieces),
        i,
        j,
        overlays.pair,
        most,
        overlays.narrow_m2,
    )


@dataclass(frozen=True)
class _Overlays:
    """Pairs and triples of pieces, and the unions of pieces, pairs and triples."""

    pieces: np.ndarray
    first: IntArray
    second: IntArray
    pair: np.ndarray
    of_pair: IntArray
    third: IntArray
    triple: np.ndarray
    once_or_more: BaseGeometry
    twice_or_more: BaseGeometry
    thrice_or_more: BaseGeometry
    narrow_m2: float  # laps left out of the pairs

    def consistent(self) -> bool:
        """Whether areas keep to Bonferroni's inequalities, as they must if nothing was lost.

        Where m pieces lie there are C(m, 2) pairs and C(m, 3) triples. So summed areas of
        pieces less pairs bound the union from below, with triples added back from above; and
        pairs less twice the triples bound twice-covered ground from below, less twice the
        thrice-covered ground from above. With m up to three all four are equalities.
        """
        one, two, three = (
            float(shapely.area(g).sum()) for g in (self.pieces, self.pair, self.triple)
        )
        slack = _LOST_SHARE * one + self.narrow_m2
        once = one - two - slack <= self.once_or_more.area <= one - two + three + slack
        doubled = two - 2 * self.thrice_or_more.area
        return once and two - 2 * three - slack <= self.twice_or_more.area <= doubled + slack


def overlapping_pairs(
    pieces: np.ndarray, grid_m: float | None
) -> tuple[IntArray, IntArray, np.ndarray]:
    """Pairs of pieces that share ground, first before second, and the ground they share."""
    i, j = shapely.STRtree(pieces).query(pieces, predicate="intersects")
    i, j = i[i < j], j[i < j]
    pair = intersect(pieces[i], pieces[j], grid_m)
    real = shapely.area(pair) > _HAIRLINE_M2
    return i[real], j[real], pair[real]


def _overlay(pieces: np.ndarray, grid_m: float | None, lap_m: float) -> _Overlays:
    i, j, pair = overlapping_pairs(pieces, grid_m)
    narrow_m2 = 0.0
    if lap_m:
        whole_m2 = float(shapely.area(pair).sum())
        pair = wide_laps(pair, lap_m)
        wide = shapely.area(pair) > 0
        i, j, pair = i[wide], j[wide], pair[wide]
        narrow_m2 = whole_m2 - float(shapely.area(pair).sum())
    p, k = shapely.STRtree(pieces).query(pair, predicate="intersects")
    third = k > j[p]
    p, k = p[third], k[third]
    triple = intersect(pair[p], pieces[k], grid_m)
    real = shapely.area(triple) > _HAIRLINE_M2
    p, k, triple = p[real], k[real], triple[real]
    once, twice, thrice = (union(geometry, grid_m) for geometry in (pieces, pair, triple))
    return _Overlays(pieces, i, j, pair, p, k, triple, once, twice, thrice, narrow_m2)


def wide_laps(pair: np.ndarray, lap_m: float) -> np.ndarray:
    """Laps without their slivers and specks: those may add up to far more work than ground."""
    parts, owner = shapely.get_parts(pair, return_index=True)
    length, width = strip_size(shapely.area(parts), shapely.length(parts))
    # A small corner of a large overlap is neither long nor that small.
    wide = (width >= lap_m) | ((length < _SLIVER * width) & (length >= lap_m))
    out = np.full(len(pair), shapely.MultiPolygon(), dtype=object)
    shapely.multipolygons(parts[wide], indices=owner[wide], out=out)
    return out


def strip_size(area_m2: FloatArray, perimeter_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Length and mean width of the rectangle with the same area and perimeter.

    From 2 (l + w) = p and l w = a: l = (p + sqrt(p^2 - 16 a)) / 4. Rounder shapes than a
    square are given as a square.
    """
    root = np.sqrt(np.maximum(perimeter_m**2 - 16 * area_m2, 0.0))
    length = np.maximum((perimeter_m + root) / 4, np.sqrt(area_m2))
    return length, np.divide(area_m2, length, out=np.zeros_like(length), where=length > 0)


@dataclass(frozen=True)
class PartedGround:
    """The workable ground by cover count, and covered ground outside it."""

    covered: BaseGeometry
    once: BaseGeometry
    twice: BaseGeometry
    twice_or_more: BaseGeometry
    more: BaseGeometry
    missed: BaseGeometry
    outside: BaseGeometry


def part_ground(cover: Cover, workable: BaseGeometry) -> PartedGround:
    """Clip the cover to the workable ground and part it by count."""
    slack = _LOST_SHARE * workable.area

    def consistent(parted: PartedGround) -> bool:
        sums = (
            (parted.covered.area + parted.missed.area, workable.area),
            (parted.covered.area + parted.outside.area, cover.once_or_more.area),
            (parted.once.area + parted.twice_or_more.area, parted.covered.area),
            (parted.twice.area + parted.more.area, parted.twice_or_more.area),
        )
        return all(abs(parts - whole) <= slack for parts, whole in sums)

    return first_consistent(lambda grid: _clip(cover, workable, grid), consistent)


def _clip(cover: Cover, workable: BaseGeometry, grid_m: float | None) -> PartedGround:
    covered = common(cover.once_or_more, workable, grid_m)
    doubled = common(cover.twice_or_more, workable, grid_m)
    more = common(cover.thrice_or_more, workable, grid_m)
    return PartedGround(
        covered=covered,
        once=without(covered, doubled, grid_m),
        twice=without(doubled, more, grid_m),
        twice_or_more=doubled,
        more=more,
        missed=without(workable, cover.once_or_more, grid_m),
        outside=without(cover.once_or_more, workable, grid_m),
    )


def clip_areas(pieces: np.ndarray, region: BaseGeometry) -> FloatArray:
    """Area of each piece inside a region; only pieces that straddle its edge are clipped."""
    shapely.prepare(region)
    out = shapely.area(pieces)
    inside = shapely.covers(region, pieces)
    touching = ~inside & shapely.intersects(region, pieces)
    out[~inside & ~touching] = 0.0
    clipped = first_consistent(lambda grid: intersect(pieces[touching], region, grid))
    out[touching] = shapely.area(clipped)
    return out


def area_figures(
    parted: PartedGround,
    pieces: np.ndarray,
    workable: BaseGeometry,
    headland: BaseGeometry,
    narrow_m2: float = 0.0,
) -> dict[str, float]:
    """The ground by cover in m2, by the names of the result."""
    swept_inside = float(clip_areas(pieces, workable).sum())
    covered, doubled = parted.covered.area, parted.twice_or_more
    return {
        "workable_area_m2": workable.area,
        "covered_area_m2": covered,
        "covered_once_m2": parted.once.area,
        "covered_twice_m2": parted.twice.area,
        "covered_more_m2": parted.more.area,
        "overlap_area_m2": doubled.area,
        # A difference of large areas; it cannot be less than the overlap.
        "excess_area_m2": max(swept_inside - covered - narrow_m2, doubled.area),
        "skip_area_m2": parted.missed.area,
        "headland_area_m2": headland.area,
        "headland_overlap_m2": float(clip_areas(shapely.get_parts(doubled), headland).sum()),
        "outside_area_m2": parted.outside.area,
        "swept_area_m2": float(shapely.area(pieces).sum()),
    }
