"""Where the line of a run leads: places and headings along it, as a tool is led there."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import shapely

from evenacre.model import FloatArray

# Corners of a line that are off by no more are none; from the middle of a straight to a corner a
# bend takes no more than so many times as far as on its other side.
_NOISE_M = 0.002
_UNEVEN = 3.0


def pose_at(line: shapely.LineString, at: float) -> FloatArray:
    """Place and heading along a run."""
    xy, steps, lengths, reached = straights_of(line)
    k = min(int(np.searchsorted(reached, at)), len(reached) - 1)
    step, share = steps[k], (at - (reached[k] - lengths[k])) / lengths[k]
    x, y = xy[k] + step * share
    return np.array([x, y, math.atan2(step[1], step[0])])


def curve_along(line: shapely.LineString, step_m: float) -> tuple[FloatArray, FloatArray]:
    """Places along a line, no farther apart than a step, and headings there.

    A bend is spread from the middle of what comes before a corner to that of what comes after it,
    but of a long straight takes little more than of the other side.
    """
    corners, steps, lengths, _ = straights_of(line.simplify(_NOISE_M))
    course = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    end = corners[-1] + steps[-1]
    xy, heading = np.array([corners[0], end]), course[[0, -1]]
    if len(corners) > 1:
        before, after = lengths[:-1] / 2, lengths[1:] / 2
        before, after = np.minimum(before, _UNEVEN * after), np.minimum(after, _UNEVEN * before)
        begins = corners[1:] - before[:, None] * toward(course[:-1]).T
        ends = corners[1:] + after[:, None] * toward(course[1:]).T
        middles = (begins + 2 * corners[1:] + ends) / 4
        chord = (ends - begins) @ [1.0, 1j]
        half = course[:-1] + np.angle(chord * np.exp(-1j * course[:-1]))
        bends = np.stack([begins, middles, ends], axis=1).reshape(-1, 2)
        xy = np.concatenate([corners[:1], bends, [end]])
        turned = np.stack([course[:-1], half, course[1:]], axis=1).ravel()
        heading = np.concatenate([course[:1], turned, course[-1:]])
    at = np.append(0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T)))
    some = np.append(True, np.diff(at) > _NOISE_M)
    some[-1] = True
    xy, heading, at = xy[some], heading[some], at[some]
    count = np.maximum(np.ceil(np.diff(at) / step_m), 1).astype(int)
    share = (np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)).astype(float)
    share /= np.repeat(count, count)
    fine = np.append(np.repeat(at[:-1], count) + share * np.repeat(np.diff(at), count), at[-1])
    return np.column_stack([np.interp(fine, at, of) for of in xy.T]), np.interp(fine, at, heading)


def headings_led(course_rad: FloatArray, length_m: FloatArray, behind_m: float) -> FloatArray:
    """How the tool heads where its openers, so far behind its axle, head along a line.

    As if they pulled the axle, driven the other way: by closed form from place to place, between
    which the line bends evenly.
    """
    kept = np.exp(-length_m / behind_m)
    rise = np.diff(course_rad) / length_m
    pulled = course_rad[:-1] * (1 - kept) + rise * (behind_m * (1 - kept) - length_m * kept)
    heading = [float(course_rad[-1])]
    for some, share in zip(pulled[::-1].tolist(), kept[::-1].tolist(), strict=True):
        heading.append(some + share * heading[-1])
    return np.array(heading[::-1])


def straight_tail_m(line: shapely.LineString, radius_m: float) -> float:
    """Length at the end of a run on which it bends nowhere tighter than a radius."""
    _, step, length, _ = straights_of(line)
    course = np.arctan2(step[:, 1], step[:, 0])
    bend = np.abs(np.angle(np.exp(1j * np.diff(course))))
    tight = np.flatnonzero(bend * radius_m > (length[1:] + length[:-1]) / 2)
    return float(length[tight[-1] + 1 :].sum() if len(tight) else length.sum())


def toward(heading_rad: float | FloatArray) -> FloatArray:
    """A metre that way."""
    return np.array([np.cos(heading_rad), np.sin(heading_rad)])


@lru_cache(maxsize=512)
def straights_of(line: shapely.LineString) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Where the straights of a run begin, where to they go, their lengths, and those added up."""
    xy = shapely.get_coordinates(line)
    steps = np.diff(xy, axis=0)
    lengths = np.hypot(*steps.T)
    some = lengths > 0
    return xy[:-1][some], steps[some], lengths[some], np.cumsum(lengths[some])
