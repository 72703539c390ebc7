"""Steps and strips joined along straight stretches: far fewer of them sweep the same ground.

A log at 5 Hz has a record each half metre; what is worked out of it hangs on where passes bend.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from evenacre.coverage.steps import Steps, tool_ends
from evenacre.coverage.swath import Strips, strip_area_m2
from evenacre.coverage.thinning import bends
from evenacre.model import BoolArray, FloatArray, IntArray
from evenacre.model.audit_result import ToolPath

# Steps that turn more are left as they are.
_TURN_RAD = 0.02
# Joined steps are no longer than this: speed and time are those of the middle of a stretch.
_LONGEST_M = 6.0
# Amounts per area within a joined strip differ from its first by half of this share at most.
_ALIKE = 0.02
_NOTHING = np.finfo(float).tiny
# So many strips are joined at a time, for memory.
_BLOCK = 1 << 16


def joined_steps(
    steps: Steps, number: IntArray, width_m: float, straight_m: float
) -> tuple[Steps, IntArray]:
    """Join steps along which nothing changes and both ends of the tool run straight.

    Parameters
    ----------
    number : (n - 1,) int
        Pass of each step.

    Returns
    -------
    Steps
    (m,) int
        The first step of each.
    """
    count = len(steps.whole)
    # Where one chain ends the next begins.
    start = np.flatnonzero(_apart(steps, number))
    length = np.diff(np.append(start, count)) + 1
    chain = np.repeat(np.arange(len(start)), length)
    knot = np.arange(len(chain)) - chain
    at_bends = bends(tool_ends(steps.tool, knot, width_m), chain, straight_m)
    kept = np.unique(knot[at_bends])
    first = kept[:-1]
    tool = steps.tool
    return Steps(
        ToolPath(tool.time_s[kept], tool.x_m[kept], tool.y_m[kept], tool.heading_rad[kept]),
        steps.whole[first],
        steps.rows.at(first),
        steps.record[first],
        np.add.reduceat(steps.distance_m, first),
        np.add.reduceat(steps.duration_s, first),
    ), first


def _apart(steps: Steps, number: IntArray) -> BoolArray:
    """Steps that are not to be joined to the one before them."""
    apart = np.ones(len(steps.whole), dtype=bool)
    same = ~steps.rows.changes & (number[1:] == number[:-1]) & steps.whole[1:] & steps.whole[:-1]
    piece = np.floor(np.cumsum(steps.distance_m) / _LONGEST_M)
    same &= piece[1:] == piece[:-1]
    turn = np.abs(np.angle(np.exp(1j * np.diff(steps.tool.heading_rad)))) > _TURN_RAD
    same &= ~turn[1:] & ~turn[:-1]
    apart[1:] = ~same
    return apart


def joined_strips(
    strips: Strips, masses_kg: Sequence[FloatArray], straight_m: float
) -> tuple[Strips, IntArray]:
    """Join strips one behind the other with straight sides and like amounts on their ground.

    Parameters
    ----------
    masses_kg : sequence of (m,) float
        Of each product, on each strip.

    Returns
    -------
    Strips
        ``step`` is the first of each.
    (m,) int
        Which of them each strip is part of.
    """
    count = len(strips.step)
    if not count:
        return strips, np.zeros(0, dtype=np.int64)
    order = np.lexsort((strips.step, strips.first_row, strips.piece))
    if (np.diff(order) != 1).any():
        strips = strips.at(order)
    start = np.flatnonzero(_unlike(strips, [mass_kg[order] for mass_kg in masses_kg]))
    begins = np.empty(count, dtype=bool)
    # Some chains at a time: their points take more memory than the strips.
    at = np.searchsorted(start, np.arange(0, count, _BLOCK), side="right") - 1
    for begin, end in itertools.pairwise(np.unique([*start[at], count])):
        own = start[(start >= begin) & (start < end)] - begin
        begins[begin:end] = _bending(strips.quad[begin:end], own, straight_m)
    first = np.flatnonzero(begins)
    end = np.append(first[1:], count) - 1
    quad = np.concatenate([strips.quad[first, :2], strips.quad[end, 2:]], axis=1)
    group = np.zeros(count, dtype=np.int64)
    group[order] = np.cumsum(begins) - 1
    return replace(strips.at(first), quad=quad), group


def _unlike(strips: Strips, masses_kg: Sequence[FloatArray]) -> BoolArray:
    """Strips that are not to be joined to the one before them, whatever their sides are."""
    count = len(strips.step)
    new = np.ones(count, dtype=bool)
    new[1:] = (np.diff(strips.piece) != 0) | (np.diff(strips.first_row) != 0) | strips.folded[1:]
    area = np.maximum(strip_area_m2(strips), _NOTHING)
    for mass_kg in masses_kg:
        density = np.log(np.maximum(mass_kg / area, _NOTHING))
        new[1:] |= np.abs(np.diff(density)) > _ALIKE
        first = np.maximum.accumulate(np.where(new, np.arange(count), 0))
        new[1:] |= np.diff(np.rint((density - density[first]) / _ALIKE)) != 0
    return new


def _bending(quad: FloatArray, start: IntArray, straight_m: float) -> BoolArray:
    """Strips in front of which a chain of them bends; ``start`` is the first strip of each."""
    count = len(quad)
    length = np.diff(np.append(start, count))
    last = start + length - 1
    # A chain of points is the front of each strip and the rear of the last.
    points = np.insert(quad[:, :2], last + 1, quad[last][:, [3, 2]], axis=0)
    chain = np.repeat(np.arange(len(start)), length + 1)
    kept = bends([points[:, 0], points[:, 1]], chain, straight_m)
    return np.delete(kept, last + 1 + np.arange(len(last)))
