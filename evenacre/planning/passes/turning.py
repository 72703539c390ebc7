"""How long turns are, for the choice among orders: on circles, or as a whole rig drives them."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from evenacre.model import FloatArray
from evenacre.planning.passes.bends import Bend, ways_between_all
from evenacre.planning.passes.rig import Rig
from evenacre.planning.passes.turns import shortest_turns

Lengths = Callable[[FloatArray, FloatArray], FloatArray]
"""Lengths in m (n,) of turns between pairs of poses (n, 3)."""

# Turns between poses farther apart than this are hardly longer than on circles.
_FAR_M = 45.0
# Turns that differ by less (m ahead, m aside and rad) count as one.
_ALIKE = np.array([1.0, 0.1, np.radians(2.0)])
_HALF = round(np.pi / float(_ALIKE[2]))
_AT_ONCE = 256


def on_circles(radius_m: float) -> Lengths:
    """The shortest turns on circles of a radius and straights between them."""

    def lengths_m(starts: FloatArray, ends: FloatArray) -> FloatArray:
        return np.asarray(radius_m * shortest_turns(starts, ends, radius_m)[1].sum(axis=1))

    return lengths_m


def of_rig(rig: Rig) -> Lengths:
    """The shortest turns forward of a towed tool, between poses of its openers."""
    bend = rig.bend
    across = abs(complex(bend.leads(np.array([np.pi]))[0]).imag)
    circles = on_circles(across / 2)
    # What a half turn takes more than half a circle as wide.
    more_m = float(bend.length_m(np.array([np.pi]))[0]) - np.pi / 2 * across

    def lengths_m(starts: FloatArray, ends: FloatArray) -> FloatArray:
        found = circles(starts, ends) + more_m
        begin, end = (_axles(poses, rig.tool_behind_m) for poses in (starts, ends))
        there = (end - begin) * np.exp(-1j * starts[:, 2])
        whole = np.angle(np.exp(1j * (ends[:, 2] - starts[:, 2])))
        # To the right it is as far as to the left, in a mirror.
        whole = np.where(there.imag < 0, -whole, whole)
        near = np.flatnonzero(np.abs(there) < _FAR_M)
        turns = np.column_stack([there.real, np.abs(there.imag), whole])[near]
        alike = np.rint(turns / _ALIKE).astype(np.int64)
        alike[alike[:, 2] == -_HALF, 2] = _HALF
        each, which = np.unique(alike, axis=0, return_inverse=True)
        length = _lengths_of(bend, [tuple(one) for one in each.tolist()])[which.ravel()]
        found[near] = np.where(np.isfinite(length), length, found[near])
        return found

    return lengths_m


def _axles(poses: FloatArray, ahead_m: float) -> np.ndarray:
    return np.asarray(poses[:, 0] + 1j * poses[:, 1] + ahead_m * np.exp(1j * poses[:, 2]))


def _lengths_of(bend: Bend, alike: list[tuple[int, ...]]) -> FloatArray:
    """Lengths of turns (k,), infinite where there is none, worked out once for those alike."""
    known = _known(bend)
    new = [one for one in alike if one not in known]
    for begun in range(0, len(new), _AT_ONCE):
        some = new[begun : begun + _AT_ONCE]
        ends = np.array(some) * _ALIKE
        pair, length, _ = ways_between_all(bend, np.zeros_like(ends), ends, backs=False)
        least = np.full(len(some), np.inf)
        np.minimum.at(least, pair, length)
        known.update(zip(some, least.tolist(), strict=True))
    return np.array([known[one] for one in alike])


@lru_cache(maxsize=16)
def _known(_bend: Bend) -> dict[tuple[int, ...], float]:
    """Lengths of turns of a bend that are known: paddock after paddock asks for the same."""
    return {}
