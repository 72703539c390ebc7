"""How far covered, overlap and skip may be off because of the receiver and the clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.cover import Cover
from evenacre.coverage.passes import first_and_last
from evenacre.coverage.steps import Steps
from evenacre.model import BoolArray, FloatArray, Implement, IntArray, Settings

# Edges are looked at about this often.
_SAMPLE_M = 3.0
# Error within a pass is taken to hold over this length of travel (common practice, no source).
_CORRELATION_M = 30.0
# Variance of max(0, g) for a standard normal g: 1/2 - 1/(2 pi).
_ONE_SIDED = 0.5 - 0.5 / np.pi


@dataclass(frozen=True)
class _Edge:
    """Sampled edge points: the pass, the length each stands for and its outward side."""

    owner: IntArray
    length_m: FloatArray
    sign: FloatArray
    bare: BoolArray
    doubled: BoolArray
    touching: BoolArray


def area_uncertainty(
    steps: Steps,
    number: IntArray,
    cover: Cover,
    workable: BaseGeometry,
    implement: Implement,
    settings: Settings,
) -> dict[str, float]:
    """Standard uncertainties of covered, overlap and skip area, to first order.

    A pass shifted sideways by e gains ground on one side and loses it on the other: the area
    of a region changes by e times the signed length of the pass's edges that bound it. Shifts
    of different passes are independent (``pass_to_pass_m``); within a pass the error wanders
    (``within_pass_m``, over 30 m); every pass end lies somewhere within half a logging interval
    (uniform, so speed x interval / sqrt(12) x width). Edges of passes that just meet give way
    to one side only: var max(0, g) = 1/2 - 1/(2 pi).

    Parameters
    ----------
    steps : Steps
    number : (n - 1,) int
        Pass of each step.
    cover : Cover
    workable : geometry
    implement : Implement
    settings : Settings

    Returns
    -------
    dict of str to float
        ``covered_area_m2``, ``overlap_area_m2``, ``skip_area_m2``.
    """
    edge = _sample_edges(steps, number, cover, workable, implement, settings)
    passes = int(number.max(initial=0)) + 1

    def lateral(counted: BoolArray) -> float:
        weight = edge.length_m * counted
        net = np.bincount(edge.owner, weight * edge.sign, minlength=passes)
        shift = settings.pass_to_pass_m**2 * float((net**2).sum())
        return shift + settings.within_pass_m**2 * _CORRELATION_M * float(weight.sum())

    side = 2 * edge.owner + (edge.sign > 0)
    touch = np.bincount(side, edge.length_m * edge.touching, minlength=2 * passes)
    give = _ONE_SIDED * 2 * settings.pass_to_pass_m**2 * float((touch**2).sum()) / 2
    ends_bare, ends_doubled = _end_variance(steps, number, cover, workable, implement)
    bare = np.sqrt(lateral(edge.bare) + give + ends_bare)
    doubled = np.sqrt(lateral(edge.doubled) + give + ends_doubled)
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
    settings: Settings,
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
    margin = max(0.02, settings.pass_to_pass_m)

    def at(offset: FloatArray) -> tuple[FloatArray, FloatArray]:
        return x - offset * np.sin(h), y + offset * np.cos(h)

    sides = []
    for offset, sign in ((left, 1.0), (right, -1.0)):
        outside, inside = at(offset + sign * margin), at(offset - sign * margin)
        usable = _holds(workable, outside)
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
            )
        )
    a, b = sides
    return _Edge(*(np.concatenate([getattr(a, f), getattr(b, f)]) for f in a.__dataclass_fields__))


def _end_variance(
    steps: Steps, number: IntArray, cover: Cover, workable: BaseGeometry, implement: Implement
) -> tuple[float, float]:
    """Variance from pass ends that lie anywhere within half a logging interval."""
    first, last = first_and_last(number)
    tool = steps.tool
    bare = doubled = 0.0
    for knot, step, ahead in ((first, first, -0.1), (last + 1, last, 0.1)):
        width = steps.active[step].sum(axis=1) * implement.row_spacing_m
        spread = steps.distance_m[step] / np.sqrt(12.0) * width
        beyond = (
            tool.x_m[knot] + ahead * np.cos(tool.heading_rad[knot]),
            tool.y_m[knot] + ahead * np.sin(tool.heading_rad[knot]),
        )
        usable = _holds(workable, beyond)
        covered = _holds(cover.once_or_more, beyond)
        bare += float((spread[usable & ~covered] ** 2).sum())
        doubled += float((spread[usable & covered] ** 2).sum())
    return bare, doubled


def _holds(region: BaseGeometry, point: tuple[FloatArray, FloatArray]) -> BoolArray:
    shapely.prepare(region)
    return shapely.contains_xy(region, *point)
