"""Areas as they may truly be: drawn anew with every edge as far off as it may lie."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.cover import Cover, clip_areas, count_cover
from evenacre.coverage.passes import number_passes
from evenacre.coverage.steps import Steps
from evenacre.coverage.swath import Swaths
from evenacre.coverage.uncertainty.edges import (
    AWAY,
    BOUNDARY,
    FACED,
    OPEN,
    SEAM,
    Across,
    look_across,
    sample_edges,
)
from evenacre.coverage.uncertainty.position_error import PositionError
from evenacre.coverage.uncertainty.regions import Ways, ways_through
from evenacre.coverage.uncertainty.shifts import (
    Shifts,
    draw_along,
    draw_shifts,
    logging_interval_s,
)
from evenacre.geo.overlay import common, first_consistent
from evenacre.model import FloatArray, Implement, IntArray

# Sides are looked at in so many places at most, so that a large field costs no more than it must.
_MOST_SIDES = 4000
# Draws are worked on for so many samples at a time.
_CHUNK = 2000
# Edges come to meet over so many standard uncertainties.
_FAR = 4.0
_ENDS = (0.05, 0.95)
# Where starts and stops of passes may all lie off by more than so much (root mean square), the
# ground is swept anew with them there, at places so far apart, so many at most.
_ALL_OFF_M, _APART_M, _MOST_LAID = 0.7, 2.0, 6


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

    def beside(self, areas: AreaDraws, logged: AreaDraws) -> AreaDraws:
        """The same, less ``logged`` in place of ``areas``."""
        moved = {
            f.name: getattr(self, f.name) + getattr(areas, f.name) - getattr(logged, f.name)
            for f in fields(self)
            if f.name != "kind"
        }
        return replace(self, **moved)

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
    """Draws that begin from the same swept ground.

    ``covered`` is None where that is the ground as logged.
    """

    draws: IntArray
    shifts: Shifts
    covered: BaseGeometry | None


def draw_areas(
    steps: Steps,
    number: IntArray,
    swaths: Swaths,
    cover: Cover,
    sweep: Callable[[Steps], Swaths],
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
    the ground is swept anew with them there, at places so far apart, and each draw begins at the
    nearest of these: what moves together is then as exact as the map.

    Parameters
    ----------
    number : (n - 1,) int
        Pass of each step.
    swaths, cover
        What the steps swept.
    sweep : callable
        Sweeps other steps.
    jitter_m : float
        Left of the receiver's jitter in the positions.
    anew : bool
        Whether it is worth sweeping the ground anew: not where a log cannot tell places.
    """
    behind, lag = draw_along(implement.error)
    ahead = lag * _usual_speed_mps(steps, number) - behind
    apart = max(_APART_M, float(np.ptp(ahead)) / _MOST_LAID)
    off = float(np.sqrt(np.mean(ahead**2)))
    begun = apart * np.rint(ahead / apart) if anew and off > _ALL_OFF_M else 0 * ahead
    logged = None
    parts, laid = [], []
    for way in np.unique(begun):
        draws = np.flatnonzero(begun == way)
        there, its_number, its_swaths, its_cover = steps, number, swaths, cover
        if way and not number_passes(steps.switched_later(way)).any():
            way = 0.0  # a drive too short to be moved so far
        if way:
            there = steps.switched_later(way)
            its_number, its_swaths = number_passes(there), sweep(there)
            its_cover = count_cover(its_swaths.geometry)
        part, shifts = _draw_from(
            there, its_number, its_cover, ground, implement, receiver, behind + way, lag, jitter_m,
            float(np.abs(ahead[draws] - way).max()), draws,
        )  # fmt: skip
        if way:
            logged = logged or ground.areas(swaths, cover)
            part = part.beside(ground.areas(its_swaths, its_cover), logged)
        parts.append(part)
        laid.append(Laid(draws, shifts, its_cover.once_or_more if way else None))
    return AreaDraws.joined(parts, [one.draws for one in laid]), laid


def _usual_speed_mps(steps: Steps, number: IntArray) -> float:
    moving = (number > 0) & (steps.duration_s > 0)
    return float(np.median(steps.distance_m[moving] / steps.duration_s[moving]))


def _draw_from(
    steps: Steps,
    number: IntArray,
    cover: Cover,
    ground: Ground,
    implement: Implement,
    receiver: PositionError,
    behind_m: FloatArray,
    lag_s: FloatArray,
    jitter_m: float,
    along_m: float,
    draws: IntArray,
) -> tuple[AreaDraws, Shifts]:
    """Some of the draws, from where steps swept the ground; ``along_m``: how far ends then move."""
    edges = sample_edges(steps, number, implement)
    sides = int((edges.side != 0).sum())
    stride = max(1, -(-sides // _MOST_SIDES))
    half = np.arange(0, sides // 2, stride)
    looked = np.concatenate([half, half + sides // 2, np.arange(sides, len(edges.side))])
    length = edges.length_m[looked].copy()
    length[: 2 * len(half)] *= sides / max(2 * len(half), 1)
    drill = implement.error
    spread = np.hypot(np.median(receiver.pass_m), drill.left_m.sigma) + receiver.within_m
    between_m = _usual_speed_mps(steps, number) * logging_interval_s(steps)
    farther = _FAR * spread + along_m + 2 * between_m
    across = look_across(
        edges, cover, ground.workable, implement.width_m, _FAR * spread, farther, looked
    )
    shifts, gap = draw_shifts(
        edges, looked, across, steps, number, receiver, drill, behind_m, lag_s, jitter_m
    )
    shifts = shifts.of_draws(draws)
    spot = edges.x_m[looked], edges.y_m[looked]
    within = [shapely.contains_xy(region, *spot) for region in (ground.headland, *ground.zones)]
    held = np.reshape(within, (1 + len(ground.zones), len(looked))).astype(float)
    ways = [ways_through(edges.at(looked), region, farther) for region in ground.setbacks]
    return _areas(shifts, looked, length, across, gap, draws % 2, held, ways), shifts


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
