"""Which trips to drive in one go, and in which order: those that pay for the way to them."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np

from evenacre.model import FloatArray
from evenacre.planning.passes.turns import shortest_turns

# Of more trips an order is only shortened.
_MOST_MOVED = 25

Leg = tuple[int, int]
"""A trip, and 0 or 1: driven as laid, or the other way."""


class Ways:
    """Ways between trips with the drill lifted, along the shortest turns.

    Parameters
    ----------
    first, last : (n, 3) float
        Poses where each trip begins and ends: x, y, heading.
    radius_m : float
        Of the tightest turn.
    start : (3,) float, optional
        Where the drive begins; without it the way to the first trip counts nothing.
    """

    def __init__(
        self, first: FloatArray, last: FloatArray, radius_m: float, start: FloatArray | None
    ) -> None:
        turned = np.array([0.0, 0.0, np.pi])
        enter = np.stack([first, last + turned], axis=1).reshape(-1, 3)
        leave = np.stack([last, first + turned], axis=1).reshape(-1, 3)
        n = len(enter)
        if start is not None:
            leave = np.concatenate([leave, start[None]])
        rows = [
            shortest_turns(np.broadcast_to(pose, (n, 3)), enter, radius_m)[1].sum(axis=1)
            for pose in leave
        ]
        self._m = radius_m * np.array(rows).reshape(len(leave), n)
        if start is None:
            self._m = np.concatenate([self._m, np.zeros((1, n))])

    def legs_m(self, order: Sequence[Leg]) -> FloatArray:
        """Way to each trip from the one before it."""
        to = np.array([2 * trip + way for trip, way in order], dtype=int)
        before = np.concatenate([[len(self._m) - 1], to[:-1]])
        return np.asarray(self._m[before, to]) if len(to) else np.zeros(0)

    def length_m(self, order: Sequence[Leg]) -> float:
        """All of the way."""
        return float(self.legs_m(order).sum())


def best_tour(net: FloatArray, ways: Ways, cost_per_m: float) -> list[Leg]:
    """Choose and order trips so that what they bring less the cost of the way is most.

    Begun with all of them and with none, an order is changed while that leaves more: a stretch is
    turned round or dropped, a trip is moved, turned or put in. Of few trips that is nearly always
    the best of all orders; of more than `_MOST_MOVED` stretches are only dropped.

    Parameters
    ----------
    net : (n,) float
        What each trip brings, the way to it left out.
    ways : Ways
        Between them.
    cost_per_m : float
        Of the way.
    """

    def left(order: list[Leg]) -> float:
        return float(sum(net[trip] for trip, _ in order)) - cost_per_m * ways.length_m(order)

    every: list[Leg] = []
    for trip in np.argsort(-net, kind="stable").tolist():
        every = min(_with(every, trip), key=ways.length_m)
    found = []
    for tour in ([], every):
        most = left(tour)
        while True:
            best = max(_changed(tour, len(net)), key=left, default=tour)
            if left(best) <= most + 1e-9 * abs(most):
                break
            tour, most = best, left(best)
        found.append(tour)
    return max(found, key=left)


def _with(tour: list[Leg], trip: int) -> Iterator[list[Leg]]:
    """Put a trip in, anywhere and either way."""
    for at, way in itertools.product(range(len(tour) + 1), (0, 1)):
        yield [*tour[:at], (trip, way), *tour[at:]]


def _changed(tour: list[Leg], count: int) -> Iterator[list[Leg]]:
    for a, b in itertools.combinations(range(len(tour) + 1), 2):
        yield [*tour[:a], *tour[b:]]
        if count <= _MOST_MOVED:
            yield [*tour[:a], *((trip, 1 - way) for trip, way in reversed(tour[a:b])), *tour[b:]]
    if count <= _MOST_MOVED:
        there = {trip for trip, _ in tour}
        for trip in range(count):
            rest = [leg for leg in tour if leg[0] != trip] if trip in there else tour
            yield from _with(rest, trip)
