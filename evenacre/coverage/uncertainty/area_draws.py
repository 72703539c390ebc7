"""Areas as they may truly be: drawn anew with every edge as far off as it may lie."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.cover import Cover, clip_areas, count_cover
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.steps import Steps
from evenacre.coverage.swath import Swaths
from evenacre.coverage.uncertainty.edges import (
    AWAY,
    BOUNDARY,
    FACED,
    OPEN,
    SEAM,
    Across,
    Edges,
    look_across,
    sample_edges,
)
from evenacre.coverage.uncertainty.moved_ends import (
    MovedEnds,
    beside_moved_ends,
    places_along,
)
from evenacre.coverage.uncertainty.position_error import PositionError
from evenacre.coverage.uncertainty.regions import Ways, ways_through
from evenacre.coverage.uncertainty.shifts import (
    Shifts,
    draw_along,
    draw_shifts,
)
from evenacre.geo.overlay import common, first_consistent
from evenacre.model import BoolArray, FloatArray, Implement, IntArray

# Sides are looked at in so many places at most, so that a large field costs no more than it must.
_MOST_SIDES = 4000
# Draws are worked on for so many samples at a time.
_CHUNK = 2000
# Edges come to meet over so many standard uncertainties.
_FAR = 4.0
_ENDS = (0.05, 0.95)
_NOTHING = np.zeros(0, dtype=object)


@dataclass(frozen=True)
class AreaDraws:
    """Areas less those on the map, m2, (n,) each.

    Inside the field: covered at least ``once``, ``twice`` and ``thrice``, and ``swept_inside``
    with every cover counted; ``outside`` it, covered; and ``swept`` altogether. ``zones``, (z, n),
    is swept inside parts of the field, and ``headland_twice`` covered at least twice in that one;
    ``setbacks`` and ``setbacks_once``, (s, n), swept and covered inside regions anywhere.
    ``kind`` is which of several receivers each draw takes it for.
    """

    once: FloatArray
    twice: FloatArray
    thrice: FloatArray
    swept_inside: FloatArray
    outside: FloatArray
    swept: FloatArray
    zones: FloatArray
    headland_twice: FloatArray
    setbacks: FloatArray
    setbacks_once: FloatArray
    kind: IntArray

    @classmethod
    def joined(cls, parts: Sequence[AreaDraws], draws: Sequence[IntArray]) -> AreaDraws:
        """Put parts together, of which each has some of the draws."""
        order = np.argsort(np.concatenate(draws))
        return cls(
            *(
                np.concatenate([getattr(part, f.name) for part in parts], axis=-1)[..., order]
                for f in fields(cls)
            )
        )

    def plus(self, other: AreaDraws, times: float = 1.0) -> AreaDraws:
        """Every area with so many times another's."""
        more = {
            f.name: getattr(self, f.name) + times * getattr(other, f.name)
            for f in fields(self)
            if f.name != "kind"
        }
        return replace(self, **more)

    def of_figures(self, figures: dict[str, float]) -> dict[str, FloatArray]:
        """Draws of the areas of the result, by their keys; no area is below nothing."""
        workable = figures["workable_area_m2"]
        covered = np.clip(figures["covered_area_m2"] + self.once, 0.0, workable)
        twice = np.clip(figures["overlap_area_m2"] + self.twice, 0.0, covered)
        more = np.clip(figures["covered_more_m2"] + self.thrice, 0.0, twice)
        excess = figures["excess_area_m2"] + self.swept_inside - self.once
        headland = figures["headland_overlap_m2"] + self.headland_twice
        return {
            "covered_area_m2": covered,
            "covered_once_m2": covered - twice,
            "covered_twice_m2": twice - more,
            "covered_more_m2": more,
            "overlap_area_m2": twice,
            "excess_area_m2": np.maximum(excess, twice),
            "skip_area_m2": workable - covered,
            "outside_area_m2": np.maximum(figures["outside_area_m2"] + self.outside, 0.0),
            "headland_overlap_m2": np.clip(
                headland, 0.0, np.minimum(twice, figures["headland_area_m2"])
            ),
            "swept_area_m2": np.maximum(figures["swept_area_m2"] + self.swept, 0.0),
        }


@dataclass(frozen=True)
class Ground:
    """Regions whose areas are drawn.

    Attributes
    ----------
    zones : sequence of geometry
        Parts of the field whose swept ground is asked for.
    headland : geometry
        The part whose overlap is.
    setbacks : sequence of geometry
        Regions, in the field or not, whose swept and covered ground is.
    """

    workable: BaseGeometry
    zones: Sequence[BaseGeometry]
    headland: BaseGeometry
    setbacks: Sequence[BaseGeometry]

    def areas(self, swaths: Swaths, cover: Cover) -> AreaDraws:
        """Areas of swept ground, m2, as a single draw."""
        pieces = swaths.geometry
        once, twice, thrice = (
            self._inside(region)
            for region in (cover.once_or_more, cover.twice_or_more, cover.thrice_or_more)
        )

        def swept(regions: Sequence[BaseGeometry]) -> FloatArray:
            return np.reshape([clip_areas(pieces, region).sum() for region in regions], (-1, 1))

        doubled = shapely.get_parts(twice)
        return AreaDraws(
            once=np.array([once.area]),
            twice=np.array([twice.area]),
            thrice=np.array([thrice.area]),
            swept_inside=swept([self.workable])[0],
            outside=np.array([cover.once_or_more.area - once.area]),
            swept=np.array([shapely.area(pieces).sum()]),
            zones=swept(self.zones),
            headland_twice=np.array([clip_areas(doubled, self.headland).sum()]),
            setbacks=swept(self.setbacks),
            setbacks_once=np.reshape(
                [common(cover.once_or_more, region).area for region in self.setbacks], (-1, 1)
            ),
            kind=np.zeros(1, dtype=np.int64),
        )

    def _inside(self, region: BaseGeometry) -> BaseGeometry:
        return first_consistent(lambda grid: common(region, self.workable, grid))


@dataclass(frozen=True)
class Laid:
    """Edges, and how they move in some of the draws.

    Attributes
    ----------
    draws : (d,) int
    shifts : Shifts
        Of these draws.
    samples : (k,) int
        The edges of ``shifts`` that are meant.
    added : (p,) array of geometry
        Ground that is swept then and not in the log.
    """

    draws: IntArray
    shifts: Shifts
    samples: IntArray
    added: np.ndarray


def draw_areas(
    steps: Steps,
    number: IntArray,
    cover: Cover,
    sweep: Callable[[Steps, RowPatterns], Swaths],
    ground: Ground,
    implement: Implement,
    receiver: PositionError,
    jitter_m: float,
    *,
    anew: bool,
) -> tuple[AreaDraws, list[Laid]]:
    """Draw all areas, and the moves of the edges they come from.

    Between two edges that face each other lies max(0, g) of bare and max(0, -g) of doubled
    ground for each metre, g being the gap; an edge moves g by as much as it moves outward.
    What yet other passes cover there counts once more. An edge that meets nothing gains or
    loses ground by its move.

    Where tool and delay are so much in doubt that starts and stops of passes may all lie elsewhere,
    the ground is swept anew with them there, at a few places, and each draw begins at the nearest
    of these: what moves together is then as exact as the map. Only near such ends is ground swept,
    counted and looked at again.

    Parameters
    ----------
    number : (n - 1,) int
        Pass of each step.
    cover
        Of what the steps swept.
    sweep : callable
        Sweeps some rows of steps.
    jitter_m : float
        Left of the receiver's jitter in the positions.
    anew : bool
        Whether it is worth sweeping the ground anew: not where a log cannot tell places.

    Returns
    -------
    AreaDraws, list of Laid
        What moves alike wherever the ends lie, in all draws, and then the rest, in some each.
    """
    behind, lag = draw_along(implement.error)
    usual_mps = _usual_speed_mps(steps, number)
    ahead = lag * usual_mps - behind
    begun = places_along(ahead) if anew else 0 * ahead
    moved = {way: MovedEnds.by(steps, way) for way in np.unique(begun) if way}
    for way, there in moved.items():
        if there is None:  # a drive too short to be moved so far
            begun[begun == way] = 0.0
    width_m, reach = implement.width_m, _reach_m(receiver, implement)
    end_reach = reach + float(np.abs(ahead - begun).max())
    end_reach += 2 * usual_mps * receiver.interval_s
    beside = beside_moved_ends(steps, begun, width_m, reach, end_reach)

    def look(edges: Edges, samples: IntArray, cover: Cover) -> Across:
        return look_across(edges, cover, ground.workable, width_m, reach, end_reach, samples)

    edges = sample_edges(steps, number, implement, 1 + beside.touched)
    touched = beside.touched[edges.step] | (edges.side == 0)
    every = max(1, -(-int(np.count_nonzero(edges.side)) // _MOST_SIDES))
    chosen = [_thinned(edges, which, every) for which in (~touched, touched)]
    samples = np.concatenate([which for which, _ in chosen])
    length = np.concatenate([length for _, length in chosen])
    across = look(edges, samples, cover)
    shifts = draw_shifts(
        edges, samples, across, steps, number, receiver, implement.error, behind, lag, jitter_m
    )
    seen = _Seen.of(shifts, samples, length, across)
    alike, at_ends = seen.at(~touched[samples]), seen.at(touched[samples])
    everywhere = alike.areas(ground, end_reach, np.arange(len(begun)))
    laid = [Laid(np.arange(len(begun)), shifts, np.flatnonzero(~touched), _NOTHING)]
    logged: AreaDraws | None = None
    parts = []
    for way in np.unique(begun):
        draws = np.flatnonzero(begun == way)
        there = moved.get(way)
        if there is None:
            parts.append(at_ends.areas(ground, end_reach, draws))
            laid.append(Laid(draws, shifts.of_draws(draws), np.flatnonzero(touched), _NOTHING))
            continue
        near, touches = beside.near[there.of_step], beside.touched[there.of_step]
        swaths = sweep(there.steps, there.steps.active.where(near))
        its_cover = count_cover(swaths.geometry)
        if logged is None:
            before = sweep(steps, steps.active.where(beside.near))
            logged = ground.areas(before, count_cover(before.geometry))
        edges = sample_edges(there.steps, there.number, implement, near.astype(int) + touches)
        mine = touches[edges.step] | (edges.side == 0)
        samples, length = _thinned(edges, mine, every)
        across = look(edges, samples, its_cover)
        moves = shifts.at_edges(edges, samples, across, there.steps, float(way))
        part = _Seen.of(moves, samples, length, across).areas(ground, end_reach, draws)
        parts.append(part.plus(ground.areas(swaths, its_cover)).plus(logged, -1))
        added = sweep(there.steps, there.added).geometry
        laid.append(Laid(draws, moves.of_draws(draws), np.flatnonzero(mine), added))
    joined = AreaDraws.joined(parts, [one.draws for one in laid[1:]])
    return joined.plus(everywhere), laid


def _usual_speed_mps(steps: Steps, number: IntArray) -> float:
    moving = (number > 0) & (steps.duration_s > 0)
    took = steps.duration_s[moving]
    speed = steps.distance_m[moving] / took
    order = np.argsort(speed)
    # Half of the time it was slower.
    return float(np.interp(took.sum() / 2, np.cumsum(took[order]), speed[order]))


def _reach_m(receiver: PositionError, implement: Implement) -> float:
    """How far apart edges may lie, and yet meet."""
    # An antenna that is off sideways opens and closes seams by twice as much.
    between = np.hypot(np.median(receiver.pass_m), 2 * implement.error.left_m.sigma)
    return _FAR * float(between + receiver.within_m)


def _thinned(edges: Edges, which: BoolArray, every: int) -> tuple[IntArray, FloatArray]:
    """One of so many sides, and all ends, among some edges; and the length each stands for."""
    half = np.count_nonzero(edges.side) // 2
    sides, ends = np.flatnonzero(which[:half]), 2 * half + np.flatnonzero(which[2 * half :])
    some = sides[::every]
    samples = np.concatenate([some, some + half, ends])
    length = edges.length_m[samples]
    length[: 2 * len(some)] *= len(sides) / max(len(some), 1)
    return samples, length


@dataclass(frozen=True)
class _Seen:
    """Edges that were looked at, the length that each stands for, and what lies across."""

    shifts: Shifts
    samples: IntArray
    length_m: FloatArray
    across: Across
    gap_m: FloatArray

    @classmethod
    def of(cls, shifts: Shifts, samples: IntArray, length_m: FloatArray, across: Across) -> _Seen:
        """With the gaps that their draws begin from."""
        return cls(shifts, samples, length_m, across, shifts.gaps_m(samples, across))

    def at(self, chosen: BoolArray) -> _Seen:
        """Some of them."""
        return _Seen(
            self.shifts,
            self.samples[chosen],
            self.length_m[chosen],
            self.across.at(chosen),
            self.gap_m[chosen],
        )

    def areas(self, ground: Ground, reach_m: float, draws: IntArray) -> AreaDraws:
        """What their moves make of areas in some of the draws."""
        edges = self.shifts.edges.at(self.samples)
        within = [
            shapely.contains_xy(region, edges.x_m, edges.y_m)
            for region in (ground.headland, *ground.zones)
        ]
        held = np.reshape(within, (len(within), len(self.samples))).astype(float)
        ways = [ways_through(edges, region, reach_m) for region in ground.setbacks]
        shifts = self.shifts.of_draws(draws)
        return _areas(
            shifts, self.samples, self.length_m, self.across, self.gap_m, draws % 2, held, ways
        )


def _areas(
    shifts: Shifts,
    looked: IntArray,
    length_m: FloatArray,
    across: Across,
    gap_m: FloatArray,
    of_draw: IntArray,
    held: FloatArray,
    ways: Sequence[Ways],
) -> AreaDraws:
    n = shifts.left_m.shape[0]
    level = np.zeros((5, n))  # covered at least 0 .. 4 times
    outside, swept = np.zeros(n), np.zeros(n)
    headland, held = held[0], np.concatenate([np.ones((1, len(looked))), held[1:]])
    zones = np.zeros((len(held), n))  # the whole field first
    headland_twice = np.zeros(n)
    setbacks, setbacks_once = np.zeros((len(ways), n)), np.zeros((len(ways), n))
    side = shifts.edges.side
    partner = np.maximum(across.partner, 0)
    # A seam between two sides is looked at from both; ends are looked at whole.
    from_both = (side[looked] != 0) == (side[partner] != 0)
    share = np.where(from_both, 0.5, np.where(side[looked] == 0, 1.0, 0.0))
    for a in range(0, len(looked), _CHUNK):
        part = slice(a, min(a + _CHUNK, len(looked)))
        mine, kind, others = looked[part], across.kind[part], across.others[part]
        moved, weight = shifts.outward_m(mine), length_m[part]
        swept += weight @ moved
        seam, edge = kind == SEAM, kind == BOUNDARY
        meets = seam | edge
        drawn = gap_m[part][meets][:, of_draw] - moved[meets]
        over = seam[meets]
        other = shifts.outward_m(partner[part][seam])
        drawn[over] += other / across.slant[part][seam, None]
        before = across.gap_m[part][meets, None]
        bare = np.maximum(drawn, 0.0) - np.maximum(before, 0.0)
        deep = across.depth_m[part][meets, None]
        lapped = np.clip(-drawn, 0.0, deep) - np.clip(-before, 0.0, deep)
        counts = weight[meets] * np.where(over, share[part][meets], 1.0)
        band = headland[part]
        in_band = counts * band[meets]
        for c in range(4):
            here = others[meets] == c
            level[c + 1] -= counts[here] @ bare[here]
            if c < 3:
                level[c + 2] += counts[here & over] @ lapped[here & over]
        second, lap = others[meets] == 1, over & (others[meets] == 0)
        headland_twice += in_band[lap] @ lapped[lap] - in_band[second] @ bare[second]
        gained = np.where(over[:, None], lapped - bare, -bare)
        zones += (held[:, part][:, meets] * counts) @ gained
        free = ~over & (others[meets] == 0)
        outside += counts[free] @ lapped[free]
        plain = kind == OPEN
        for c in range(3):
            here = plain & (others == c)
            level[c + 1] += weight[here] @ moved[here]
        again = plain & (others == 1)
        headland_twice += (weight * band)[again] @ moved[again]
        zones += (held[:, part][:, plain] * weight[plain]) @ moved[plain]
        away = (kind == AWAY) & (others == 0)
        outside += weight[away] @ moved[away]
        for r, way in enumerate(ways):
            near, inside = way.moved_inside_m(part, moved)
            setbacks[r] += weight[near] @ inside
            alone = (others[near] == 0) & ~np.isin(kind[near], (SEAM, FACED))
            setbacks_once[r] += weight[near][alone] @ inside[alone]
            gaps = over & (others[meets] == 0) & way.holds(part)[meets]
            setbacks_once[r] -= counts[gaps] @ bare[gaps]
    return AreaDraws(
        *(level[1], level[2], level[3], zones[0], outside, swept),
        *(zones[1:], headland_twice, setbacks, setbacks_once, shifts.kind),
    )


def interval_90(draws: FloatArray, kind: IntArray) -> tuple[float, float]:
    """The 90 % interval of a figure, from draws that take the receiver for one of several kinds.

    Which of these it is has no chance, it only is not known: the interval reaches as far as that
    of any of them, so that it holds whichever it is.
    """
    low, high = np.transpose([np.quantile(draws[kind == k], _ENDS) for k in np.unique(kind)])
    return float(low.min()), float(high.max())
