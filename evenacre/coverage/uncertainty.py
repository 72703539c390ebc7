"""How far covered, overlap and skip may be off because of the receiver and the clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.cover import Cover
from evenacre.coverage.steps import Steps
from evenacre.model import BoolArray, FloatArray, Implement, IntArray

# What lies across an edge is looked at this far off, at least and at most.
_MARGIN_M = (0.02, 0.3)
# Edges are looked at about this often.
_SAMPLE_M = 3.0
# What lies beyond a switch is looked at this far off.
_BEYOND_M = 0.1
# Error within a pass is taken to hold over this length of travel (common practice, no source).
_CORRELATION_M = 30.0
# max(0, g) = g / 2 + |g| / 2. Of the second part, for shifts of unit variance: the variance for
# each edge, and twice the covariance across a pass that meets others on both sides (gaps of
# correlation -1/2), or another and the field's edge (1/sqrt 2). For normal a and b of unit
# variance and correlation r, cov |a| |b| = 2 / pi x (sqrt(1 - r^2) + r asin r - 1).
_HALF_ABS = (1 - 2 / np.pi) / 4
_NEXT_ABS = 2 / np.pi * (np.sqrt(3) / 2 + np.pi / 12 - 1)
_BRIM_ABS = (1 + np.pi / 4 - np.sqrt(2)) / np.pi


@dataclass(frozen=True)
class _Edge:
    """Sampled edge points: the pass, the length each stands for and its outward side.

    ``bare`` edges have missed ground outside, ``doubled`` ones lie on another pass,
    ``touching`` ones just meet another pass and ``brim`` ones the edge of the workable ground
    (``brim_doubled``: on ground another pass covers too).
    """

    owner: IntArray
    length_m: FloatArray
    sign: FloatArray
    bare: BoolArray
    doubled: BoolArray
    touching: BoolArray
    brim: BoolArray
    brim_doubled: BoolArray


@dataclass(frozen=True)
class PositionError:
    """Standard uncertainty of positions, along each axis.

    Attributes
    ----------
    pass_m : (passes + 1,) float
        Between passes, by pass number.
    within_m : float
        Within a pass: what wanders over some 30 m of travel.
    steered : bool
        The machine followed its guidance line: the receiver's error is in the ground and not
        in the log.
    memory_s : float or None
        The error between passes drifts as a first-order process of this memory; None: it is a
        constant of each pass, and no pass tells of another.
    """

    pass_m: FloatArray
    within_m: float
    steered: bool = False
    memory_s: float | None = None


def area_uncertainty(
    steps: Steps,
    number: IntArray,
    cover: Cover,
    workable: BaseGeometry,
    implement: Implement,
    error: PositionError,
) -> dict[str, float]:
    """Standard uncertainties of covered, overlap and skip area, to first order.

    A pass shifted sideways by e gains ground on one side and loses it on the other: the area
    of a region changes by e times the signed length of the pass's edges that bound it. Shifts
    of different passes are independent (``error.pass_m``); within a pass the error wanders
    (``error.within_m``, over 30 m). Edges that just meet give way to one side only: max(0, g)
    is half of g and half of |g|, so they count half in the signed length, and |g| adds its own
    variance. Wherever rows go on or off they did so somewhere between two records: uniform, so
    speed x interval / sqrt(12) x width.

    Parameters
    ----------
    number : (n - 1,) int
        Pass of each step.
    """
    edge = _sample_edges(steps, number, cover, workable, implement, error)
    passes = int(number.max(initial=0)) + 1

    def lateral(whole: BoolArray, brim: BoolArray) -> float:
        half = edge.touching | brim
        weight = whole + 0.5 * half
        net = np.bincount(edge.owner, edge.length_m * weight * edge.sign, minlength=passes)
        side = 2 * edge.owner + (edge.sign > 0)
        touch, rim = (
            np.bincount(side, edge.length_m * on, minlength=2 * passes)
            for on in (edge.touching, brim)
        )
        own = touch**2 + rim**2
        shift = net**2 + _HALF_ABS * (own[::2] + own[1::2])
        shift += _NEXT_ABS * touch[::2] * touch[1::2]
        shift += _BRIM_ABS * (touch[::2] * rim[1::2] + rim[::2] * touch[1::2])
        wander = (edge.length_m * (weight**2 + _HALF_ABS * half)).sum()
        moved = (error.pass_m**2 * shift).sum()
        return float(moved + error.within_m**2 * _CORRELATION_M * wander)

    switch_bare, switch_doubled = _switch_variance(steps, cover, workable, implement)
    bare = np.sqrt(lateral(edge.bare, edge.brim) + switch_bare)
    doubled = np.sqrt(lateral(edge.doubled, edge.brim_doubled) + switch_doubled)
    return {
        "covered_area_m2": float(bare),
        "overlap_area_m2": float(doubled),
        "skip_area_m2": float(bare),
    }


def _sample_edges(
    steps: Steps,
    number: IntArray,
    cover: Cover,
    workable: BaseGeometry,
    implement: Implement,
    error: PositionError,
) -> _Edge:
    working = np.flatnonzero(number)
    travelled = np.cumsum(steps.distance_m[working])
    chosen = working[np.flatnonzero(np.diff(np.floor(travelled / _SAMPLE_M), prepend=-1) > 0)]
    stands_for = travelled[-1] / max(len(chosen), 1)
    active = steps.active[chosen]
    spacing, half = implement.row_spacing_m, implement.width_m / 2
    left = half - active.argmax(axis=1) * spacing
    right = -half + active[:, ::-1].argmax(axis=1) * spacing
    tool = steps.tool
    x, y, h = tool.x_m[chosen], tool.y_m[chosen], tool.heading_rad[chosen]
    margin = float(np.clip(np.median(error.pass_m), *_MARGIN_M))

    def at(offset: FloatArray) -> tuple[FloatArray, FloatArray]:
        return x - offset * np.sin(h), y + offset * np.cos(h)

    sides = []
    for offset, sign in ((left, 1.0), (right, -1.0)):
        outside, inside = at(offset + sign * margin), at(offset - sign * margin)
        usable, ours = _holds(workable, outside), _holds(workable, inside)
        covered = _holds(cover.once_or_more, outside)
        twice = _holds(cover.twice_or_more, inside)
        sides.append(
            _Edge(
                number[chosen],
                np.full(len(chosen), stands_for),
                np.full(len(chosen), sign),
                usable & ~covered,
                usable & covered & twice,
                usable & covered & ~twice,
                ~usable & ours & ~twice,
                ~usable & ours & twice,
            )
        )
    a, b = sides
    return _Edge(*(np.concatenate([getattr(a, f), getattr(b, f)]) for f in a.__dataclass_fields__))


def _switch_variance(
    steps: Steps, cover: Cover, workable: BaseGeometry, implement: Implement
) -> tuple[float, float]:
    """Variance from rows that went on or off anywhere within half a logging interval.

    Rows side by side that switch together count as one.
    """
    spoken_for = np.bincount(steps.record[steps.whole], steps.duration_s[steps.whole])
    interval_s = float(np.median(spoken_for[spoken_for > 0]))
    # Blocked rows stopped when their event says, not between two records.
    on = np.pad(steps.active | (steps.blocked > 0), ((1, 1), (0, 0))).astype(np.int8)
    turned = np.diff(on, axis=0)
    switched = np.flatnonzero(turned.any(axis=1))
    turned = np.pad(turned[switched], ((0, 0), (1, 1)))
    change = np.diff(turned, axis=1) != 0
    at, first = np.nonzero(change & (turned[:, 1:] != 0))
    _, end = np.nonzero(change & (turned[:, :-1] != 0))
    knot, began = switched[at], turned[at, first + 1] > 0
    step = np.where(began, knot, knot - 1)
    speed = steps.distance_m[step] / steps.duration_s[step]
    spread = speed * interval_s / np.sqrt(12.0) * (end - first) * implement.row_spacing_m
    left = implement.width_m / 2 - (first + end) / 2 * implement.row_spacing_m
    ahead = np.where(began, -_BEYOND_M, _BEYOND_M)
    tool = steps.tool
    cos, sin = np.cos(tool.heading_rad[knot]), np.sin(tool.heading_rad[knot])
    beyond = (
        tool.x_m[knot] + ahead * cos - left * sin,
        tool.y_m[knot] + ahead * sin + left * cos,
    )
    usable, covered = _holds(workable, beyond), _holds(cover.once_or_more, beyond)
    bare, doubled = spread[usable & ~covered], spread[usable & covered]
    return float((bare**2).sum()), float((doubled**2).sum())


def _holds(region: BaseGeometry, point: tuple[FloatArray, FloatArray]) -> BoolArray:
    shapely.prepare(region)
    return shapely.contains_xy(region, *point)
