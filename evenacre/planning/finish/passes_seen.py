"""What the passes so far drove beside new ground, along their seams and at their ends.

What laps along a seam grows with the ground; what a pass drives beyond its ends, or leaves open in
a slanted corner, comes once for each pass, however long it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from evenacre.model import FloatArray
from evenacre.model.audit_result import AuditResult
from evenacre.planning.finish.rate_to_finish import (
    FEWEST_PASSES,
    USUAL_OVERLAP,
    USUAL_OVERLAP_SIGMA,
)
from evenacre.planning.ground import buffered, left_of, overlaid, whole_of
from evenacre.planning.passes.strips import along

CORNER = 0.05
"""Pieces of a strip smaller than this share of a square of the tool's width are corners."""

# The seam is looked at over this part of a pass, where its ends are far.
_MIDDLE = (0.25, 0.75)
# A pass shorter than so many widths is all ends.
_SHORTEST = 2.0
# Ground left this far beside a pass, in shares of the width, was left between it and the next.
_BESIDE = 0.25
# Passes to come are parallel within this (the sine of 15 degrees).
_PARALLEL = 0.26
# A pass that laps by a larger share of the width closes a gap; that is no habit.
_CLOSING = 0.25
# Corners that are a smaller share of the ground tell nothing of whether rows are shut off there.
_FEW_CORNERS = 0.003
# Then anything from none of them to all is as likely: mean and standard deviation.
_UNLEARNED = 0.5, math.sqrt(1 / 12)
# Where fewer passes were seen: the lap along the seam in shares of the width, and metres driven on
# worked ground at both ends together; their standard uncertainties from driver to driver; their
# scatter from pass to pass, and how well that is known (common practice, no source).
_USUAL_HABIT = USUAL_OVERLAP, 2.0
_USUAL_SIGMA = np.array([USUAL_OVERLAP_SIGMA, 2.0])
_USUAL_SCATTER = 0.02, 1.0
_USUAL_FREEDOM = 4.0


@dataclass(frozen=True)
class PassesSeen:
    """Habits of the passes off the headland, p of them.

    Attributes
    ----------
    lap_m : (p,) float
        Width driven again along the seam, less what was left open there.
    ends_m2 : (p,) float
        Driven again at both ends, less what was left open there; corners apart.
    corners : float
        Share of the slanted corners at the ends that is driven: 1 where all rows run to the end.
    corners_sigma : float
        Its standard uncertainty.
    under_way : bool
        The last pass has not come to its end.
    """

    lap_m: FloatArray
    ends_m2: FloatArray
    corners: float = 1.0
    corners_sigma: float = 0.0
    under_way: bool = False

    def __len__(self) -> int:
        return len(self.lap_m)

    @property
    def usual_lap_m(self) -> float:
        """Mean lap; NaN where no pass was seen."""
        return float(self.lap_m.mean()) if len(self) else math.nan


@dataclass(frozen=True)
class DrivenAgain:
    """What passes to come will drive beside new ground, k of them."""

    m2: FloatArray  # (k,)
    sigma_m2: float  # of all together
    freedom: float  # its degrees of freedom


def driven_again(
    seen: PassesSeen, length_m: FloatArray, corner_m2: FloatArray, width_m: float
) -> DrivenAgain:
    """Forecast the passes to come from those seen.

    A pass to come is a draw of the same driver's habit: its lap times its length, its ends, and
    the share of its corners. The scatter of the p passes seen counts once for the mean's own error
    and once for each pass to come, as in a prediction from a normal sample (Student's t:
    Geisser 1993, Predictive Inference, section 2.2). Under three passes the
    usual scatter stands in for theirs, and the usual habit counts with them.

    Parameters
    ----------
    length_m, corner_m2 : (k,) float
        Of the passes to come.
    """
    count, known = len(seen), len(seen) >= FEWEST_PASSES
    habit = np.array([seen.lap_m, seen.ends_m2])
    if known:
        mean, scatter, weight = habit.mean(axis=1), np.cov(habit), np.full(2, float(count))
    else:
        # The usual habit weighs as much as so many passes of its scatter would.
        scatter = np.diag(width_m * np.array(_USUAL_SCATTER)) ** 2
        weight = (np.array(_USUAL_SCATTER) / _USUAL_SIGMA) ** 2
        mean = weight * width_m * np.array(_USUAL_HABIT) + habit.sum(axis=1)
        weight += count
        mean /= weight
    # A remnant is clipped in passing, and the pass under way has one end to come.
    ends = np.minimum(length_m / (_SHORTEST * width_m), 1.0)
    ends[:1] *= 1.0 - 0.5 * seen.under_way
    draws = np.stack([length_m, ends])
    own = draws.sum(axis=1) / np.sqrt(weight)
    spread = scatter @ (np.outer(own, own) + draws @ draws.T)
    variance = float(np.trace(spread))
    freedom = _USUAL_FREEDOM
    if known:
        # Laps and ends each have p - 1 degrees of freedom, and may be of like weight (Satterthwaite
        # 1946, Biometrics Bulletin 2, 110).
        both = float(np.trace(spread @ spread))
        freedom = (count - 1) * (variance**2 / both if both > 0 else 1.0)
    unlearned = (seen.corners_sigma * float(corner_m2.sum())) ** 2
    # Welch-Satterthwaite (JCGM 100:2008, G.4.1): that part is no estimate from the passes.
    freedom *= (1.0 + unlearned / variance) ** 2 if variance > 0 else 1.0
    again = mean[0] * length_m + mean[1] * ends + seen.corners * corner_m2
    return DrivenAgain(again, math.sqrt(variance + unlearned), freedom)


def passes_seen(
    result: AuditResult, workable: BaseGeometry, skipped: BaseGeometry, *, under_way: bool
) -> PassesSeen:
    """Learn the habits of the passes off the headland.

    Ground belongs to the pass that covered it first; what it drove beside it is overlap, or lies
    outside. ``skipped`` is ground left between passes.
    """
    width = result.width_m
    passes = result.layers["passes"]
    chosen = passes[~passes["headland"].astype(bool) & (passes["length_m"] >= _SHORTEST * width)]
    # Passes to come lie like the last one; others are of a headland not known as one.
    turned = np.radians(chosen["heading_deg"] - chosen["heading_deg"].tail(1).sum())
    chosen = chosen[np.abs(np.sin(turned)) < _PARALLEL]
    if not len(chosen):
        return PassesSeen(np.zeros(0), np.zeros(0), *_UNLEARNED)
    numbers, ground, swept = _ground_of_passes(result)
    tree = shapely.STRtree(ground)
    lap, ends, corner, shut, taken = (np.zeros(len(chosen)) for _ in range(5))
    for k, (number, path) in enumerate(zip(chosen["pass"], chosen.geometry, strict=True)):
        i = int(np.searchsorted(numbers, number))
        earlier = whole_of(ground[[j for j in tree.query(ground[i]) if j < i]])
        fresh = overlaid(shapely.difference, ground[i], earlier)
        fresh = overlaid(shapely.intersection, fresh, workable)
        middle = _middle(path, width / 2)
        half = path.length * (_MIDDLE[1] - _MIDDLE[0])
        wide = overlaid(shapely.intersection, ground[i], middle).area / half
        advance = overlaid(shapely.intersection, fresh, middle).area / half
        reach = _reach(fresh, path, width)
        lap[k] = wide - advance
        corner[k] = advance * reach - fresh.area
        ends[k] = swept[i] - fresh.area - lap[k] * reach
        shut[k] = max(width * path.length - swept[i], 0.0)
        taken[k] = fresh.area
    usual = lap < _CLOSING * width
    lap -= _left_between(chosen.geometry.to_numpy(), skipped, width)
    ends -= _left_beyond(chosen.geometry.to_numpy(), skipped, width)
    corners, corners_sigma = _UNLEARNED
    if corner.sum() > _FEW_CORNERS * taken.sum():
        corners = float(np.clip(1.0 - shut.sum() / corner.sum(), 0.0, 1.0))
        corners_sigma = 0.0
    ends -= corners * corner
    if under_way:  # it has one end so far
        ends[-1] *= 2.0
    usual = usual if usual.any() else ~usual
    return PassesSeen(lap[usual], ends[usual], corners, corners_sigma, under_way)


def _ground_of_passes(result: AuditResult) -> tuple[FloatArray, np.ndarray, FloatArray]:
    """Number of each pass that swept ground, its ground, and how much, own laps twice."""
    swaths = result.layers["swaths"]
    number = swaths["pass"].to_numpy(dtype=int)
    order = np.argsort(number, kind="stable")
    pieces = np.asarray(swaths.geometry.to_numpy(), dtype=object)[order]
    numbers, first = np.unique(number[order], return_index=True)
    ground = np.array([whole_of(g) for g in np.split(pieces, first[1:])], dtype=object)
    return numbers, ground, np.bincount(number[order], shapely.area(pieces))[numbers]


def _middle(path: BaseGeometry, reach_m: float) -> BaseGeometry:
    """Ground up to so far beside the middle part of a pass."""
    part = substring(path, *_MIDDLE, normalized=True)
    middle: BaseGeometry = buffered(part, reach_m, cap_style="flat")
    return middle


def _reach(fresh: BaseGeometry, path: BaseGeometry, width_m: float) -> float:
    """How far new ground reaches along a pass."""
    ends = np.array(path.coords)[[0, -1]]
    heading = math.atan2(*(ends[1] - ends[0])[::-1])
    parts = shapely.get_parts(along(fresh, heading))
    parts = parts[shapely.area(parts) > CORNER * width_m**2]
    if not len(parts):
        return 0.0
    west, _, east, _ = shapely.total_bounds(parts)
    return float(east - west)


def _left_between(paths: np.ndarray, skipped: BaseGeometry, width_m: float) -> FloatArray:
    """Width left open beside each pass; between two passes it is the later one's."""
    found = np.zeros(len(paths))
    for k in range(len(paths) - 1, -1, -1):
        if skipped.is_empty:
            break
        beside = _middle(paths[k], (0.5 + _BESIDE) * width_m)
        mine = overlaid(shapely.intersection, skipped, beside)
        # Ground its own rows left bare is no seam.
        seam = overlaid(shapely.difference, mine, _middle(paths[k], width_m / 2))
        found[k] = seam.area / (paths[k].length * (_MIDDLE[1] - _MIDDLE[0]))
        skipped = left_of(skipped, mine)
    return found


def _left_beyond(paths: np.ndarray, skipped: BaseGeometry, width_m: float) -> FloatArray:
    """Ground left open where passes began late and ended early."""
    points = [np.array(path.coords) for path in paths]
    at = np.array([[p[0], p[-1]] for p in points])
    out = np.array([[p[0] - p[1], p[-1] - p[-2]] for p in points])
    out *= _BESIDE * width_m / np.hypot(out[..., 0], out[..., 1])[..., None]
    beyond = shapely.linestrings(np.stack([at, at + out], axis=2))
    ground = buffered(beyond, width_m / 2, cap_style="flat")
    return np.asarray(shapely.area(overlaid(shapely.intersection, ground, skipped)).sum(axis=1))
