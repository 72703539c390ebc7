"""Ways from pose to pose that may hold a rig, worked out for many pairs of poses at once."""

from __future__ import annotations

import numpy as np

from evenacre.model import FloatArray
from evenacre.planning.passes.bends import Bend, ways_between_all
from evenacre.planning.passes.fence import Fence
from evenacre.planning.passes.rig import Rig

# Of the ways from pose to pose so many are looked at, the shortest: of those that go forward, and
# of those that back up.
_MOST_WAYS = 4
# To go from forward to backward, and on again, counts as so much longer a way.
_SHIFTS_M = 9.0

_Key = tuple[Fence, Bend, tuple[float, ...], tuple[float, ...]]


class Candidates:
    """Ways to look at, kept from when they are first asked for."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._known: dict[_Key, FloatArray] = {}
        self._takes: dict[_Key, float] = {}

    def between(self, start: FloatArray, end: FloatArray, fence: Fence, bend: Bend) -> FloatArray:
        """Ways (k, 3, 2) as of `ways_between_all`, those that go forward first, then the shortest.

        None where the rig, in line at the end, is not inside.
        """
        key = (fence, bend, tuple(start.tolist()), tuple(end.tolist()))
        if key not in self._known:
            self.ask(start[None], end[None], fence, bend)
        return self._known[key]

    def take_m(self, starts: FloatArray, ends: FloatArray, fence: Fence, bend: Bend) -> FloatArray:
        """What the first way of each pair of poses (m, 3) takes (m,), in metres of going forward.

        Infinite where there is none.
        """
        self.ask(starts, ends, fence, bend)
        pairs = zip(starts.tolist(), ends.tolist(), strict=True)
        return np.array([self._takes[fence, bend, tuple(a), tuple(b)] for a, b in pairs])

    def ask(self, starts: FloatArray, ends: FloatArray, fence: Fence, bend: Bend) -> None:
        """Work out the ways of many pairs of poses, (m, 3) each, that will be asked for."""
        pairs = zip(starts.tolist(), ends.tolist(), strict=True)
        keys = [(fence, bend, tuple(start), tuple(end)) for start, end in pairs]
        new = {key: number for number, key in enumerate(keys) if key not in self._known}
        if not new:
            return
        some = np.array([*new.values()])
        stands = fence.stands(self._rig, ends[some])
        for key in new:
            self._known[key], self._takes[key] = np.zeros((0, 3, 2)), np.inf
        new_keys = [key for key, inside in zip(new, stands, strict=True) if inside]
        starts, ends = starts[some[stands]], ends[some[stands]]
        pair, length, ways = ways_between_all(bend, starts, ends, backs=self._rig.backs_up)
        if not len(pair):
            return
        backing = np.asarray((ways[..., 1] < 0).any(axis=1))
        order = np.lexsort((backing, pair))  # which leaves those of a kind as they are
        pair, length, ways, backing = pair[order], length[order], ways[order], backing[order]
        kind = 2 * pair + backing
        begun = np.concatenate([[True], np.diff(kind) > 0])
        rank = np.arange(len(kind)) - np.flatnonzero(begun)[np.cumsum(begun) - 1]
        some = np.flatnonzero(rank < _MOST_WAYS)
        some = some[fence.may_hold(self._rig.corners(bend, starts[pair[some]], ways[some]))]
        pair, length, ways, backing = pair[some], length[some], ways[some], backing[some]
        back_m = np.maximum(-ways[..., 1], 0.0).sum(axis=1)
        takes = length + back_m + _SHIFTS_M * backing
        ends_at = np.searchsorted(pair, np.arange(len(new_keys) + 1))
        for key, first, last in zip(new_keys, ends_at[:-1], ends_at[1:], strict=True):
            if first < last:
                self._known[key], self._takes[key] = ways[first:last], float(takes[first])
