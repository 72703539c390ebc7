"""The order of passes that takes the least time to turn, each driven either way.

A few are ordered exactly (Held and Karp 1962, Journal of the Society for Industrial and Applied
Mathematics 10). For more, plain patterns (one after the other, every second, every third ...) are
bettered by turning stretches of the order about (2-opt) and moving passes to other places.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from evenacre.model import FloatArray, IntArray
from evenacre.planning.passes.pass_types import PlannedPass
from evenacre.planning.passes.turning import Lengths
from evenacre.planning.passes.turns import poses

_EXACT = 10
_MOST_SKIPPED = 8
_MOVED = 3
# How often an order is looked at and changed, and what difference is none.
_LOOKS = 4
_WORSE_M = 1.0


def in_order(
    passes: Sequence[PlannedPass],
    lengths_m: Lengths,
    after: PlannedPass | None,
    gate: FloatArray | None = None,
    end: FloatArray | None = None,
    looked_at: Lengths | None = None,
) -> list[PlannedPass]:
    """Order passes for the least turning, from the end of the run ``after`` or from anywhere.

    ``gate`` is the pose to begin from where there is no such run, and ``end`` that to come to.
    Where turns may have no room, ``looked_at`` tells what those of an order take when they are
    looked at: orders are changed for that, and the best of them is taken.
    """
    if not passes:
        return []
    both = [*passes, *(replace(p, line=p.line.reverse()) for p in passes)]
    begins, finishes = poses(both)
    first, last = np.zeros(len(both)), np.zeros(len(both))
    start = gate if after is None else poses([after])[1][0]
    if start is not None:
        first = lengths_m(np.tile(start, (len(both), 1)), begins)
    if end is not None:
        last = lengths_m(finishes, np.tile(end, (len(both), 1)))
    cost = turn_costs(passes, lengths_m)
    order = least_turning(cost, first, np.array([p.number for p in passes]), last)
    if looked_at is not None and len(order) > 1:
        order = _with_room(order, cost, first, last, lambda a, b: looked_at(finishes[a], begins[b]))
    return [both[node] for node in order]


def _with_room(
    order: list[int],
    cost: FloatArray,
    first: FloatArray,
    last: FloatArray,
    looked_at: Callable[[IntArray, IntArray], FloatArray],
) -> list[int]:
    """Learn what turns of an order take, and change it for that, for as long as it pays."""
    count = len(first) // 2
    best, least = order, np.inf
    for _ in range(_LOOKS):
        a, b = np.array(order[:-1]), np.array(order[1:])
        takes = looked_at(a, b)
        total = float(first[order[0]] + takes.sum() + last[order[-1]])
        if total < least:
            best, least = order, total
        worse = takes > cost[a, b] + _WORSE_M
        if not worse.any():
            break
        cost[a, b] = np.where(worse, takes, cost[a, b])
        back = _flipped(b, count), _flipped(a, count)
        cost[back] = np.where(worse, takes, cost[back])
        changed = _bettered(np.array(order), cost, first, last).tolist()
        if changed == order:
            break
        order = changed
    return best


def turn_costs(passes: Sequence[PlannedPass], lengths_m: Lengths) -> FloatArray:
    """Length of the turn from each pass to each other, shape (2n, 2n); node n + i: i backward.

    A turn and the same one the other way about count as their mean, which is what either comes to
    where stretches of an order are driven as often one way as the other.
    """
    forward = list(passes)
    backward = [PlannedPass(p.kind, p.number, p.line.reverse()) for p in forward]
    begin, end = poses([*forward, *backward])
    count = len(begin)
    a, b = (index.ravel() for index in np.indices((count, count)))
    cost = lengths_m(end[a], begin[b]).reshape(count, count)
    back = _flipped(np.arange(count), len(forward))
    cost = (cost + cost[np.ix_(back, back)].T) / 2
    same = np.arange(count) % len(forward)
    cost[same[:, None] == same[None, :]] = np.inf
    return np.asarray(cost)


def least_turning(
    cost: FloatArray, first: FloatArray, rows: IntArray, last: FloatArray | None = None
) -> list[int]:
    """Order of nodes with least cost.

    ``first`` and ``last`` (2n,) are what it costs to begin with each and to end with it. Of nodes i
    and n + i one is taken. ``rows`` (n,) number the passes from one side to the other.
    """
    count = len(rows)
    if count == 0:
        return []
    last = np.zeros_like(first) if last is None else last
    if count <= _EXACT:
        return _exact(cost, first, last)
    tried = [_bettered(order, cost, first, last) for order in _patterns(cost, first, last, rows)]
    return min(tried, key=lambda order: _cost(order, cost, first, last)).tolist()


def _cost(order: IntArray, cost: FloatArray, first: FloatArray, last: FloatArray) -> float:
    return float(first[order[0]] + cost[order[:-1], order[1:]].sum() + last[order[-1]])


def _exact(cost: FloatArray, first: FloatArray, last: FloatArray) -> list[int]:
    nodes = len(first)
    count = nodes // 2
    bit = 1 << (np.arange(nodes) % count)
    best = np.full((1 << count, nodes), np.inf)
    came = np.zeros((1 << count, nodes), dtype=int)
    best[bit, np.arange(nodes)] = first
    for done in range(1, 1 << count):
        here = best[done]
        if not np.isfinite(here).any():
            continue
        through = here[:, None] + cost
        from_, least = np.argmin(through, axis=0), np.min(through, axis=0)
        new = np.flatnonzero((done & bit) == 0)
        then = done | bit[new]
        better = least[new] < best[then, new]
        best[then[better], new[better]] = least[new][better]
        came[then[better], new[better]] = from_[new][better]
    done = (1 << count) - 1
    node = int(np.argmin(best[done] + last))
    order = []
    while done:
        order.append(node)
        done, node = done & ~int(bit[node]), int(came[done, node])
    return order[::-1]


def _patterns(
    cost: FloatArray, first: FloatArray, last: FloatArray, rows: IntArray
) -> list[IntArray]:
    """Orders to begin with: every pass, every second ..., and always the nearest."""
    count = len(rows)
    by_row = np.argsort(rows, kind="stable")
    found = []
    for skip in range(1, min(_MOST_SKIPPED, count // 2) + 1):
        lanes = [by_row[start::skip] for start in range(skip)]
        order = np.concatenate([lane[:: -1 if k % 2 else 1] for k, lane in enumerate(lanes)])
        found += [_ways(way, cost, first, last) for way in (order, order[::-1])]
    left = np.ones(2 * count, dtype=bool)
    node = int(np.argmin(first))
    nearest = [node]
    left[[node % count, node % count + count]] = False
    for _ in range(count - 1):
        node = int(np.argmin(np.where(left, cost[node], np.inf)))
        left[[node % count, node % count + count]] = False
        nearest.append(node)
    best = sorted(found, key=lambda order: _cost(order, cost, first, last))[:2]
    return [*best, np.array(nearest)]


def _ways(order: IntArray, cost: FloatArray, first: FloatArray, last: FloatArray) -> IntArray:
    """The way to drive each pass of an order with the least turning, by dynamic programming."""
    both = np.stack([order, order + len(first) // 2], axis=1)
    steps = cost[both[:-1, :, None], both[1:, None, :]].tolist()
    forward, backward = first[both[0]].tolist()
    to_go, to_come = last[both[-1]].tolist()
    came = []
    for (here, over), (back, same) in steps:  # plain numbers: an array for each step costs more
        ahead = (forward + here, backward + back)
        about = (forward + over, backward + same)
        came.append((ahead[1] < ahead[0], about[1] < about[0]))
        forward, backward = min(ahead), min(about)
    which = int(backward + to_come < forward + to_go)
    taken = [which]
    for before in reversed(came):
        which = int(before[which])
        taken.append(which)
    return np.asarray(both[np.arange(len(order)), taken[::-1]])


def _bettered(order: IntArray, cost: FloatArray, first: FloatArray, last: FloatArray) -> IntArray:
    """Turn stretches of an order about, and move short ones, while that saves anything."""
    count = len(first) // 2
    while True:
        saved, new = _turned_about(order, cost, first, last, count)
        if saved <= 1e-6:
            saved, new = _moved(order, cost, first, last, count)
        if saved <= 1e-6:
            return order
        order = new


def _flipped(nodes: IntArray, count: int) -> IntArray:
    return np.asarray((nodes + count) % (2 * count))


def _turned_about(
    order: IntArray, cost: FloatArray, first: FloatArray, last: FloatArray, count: int
) -> tuple[float, IntArray]:
    """The stretch i ... j whose turning about saves most; each way back costs as the way there."""
    n = len(order)
    back = _flipped(order, count)
    # Into the stretch, from what is before it; and out of it, to what comes after.
    into = np.concatenate([[first[order[0]]], cost[order[:-1], order[1:]]])
    out = np.concatenate([into[1:], [last[order[-1]]]])
    new_into = np.vstack([first[back][None, :], cost[np.ix_(order[:-1], back)]])
    new_out = np.hstack([cost[np.ix_(back, order[1:])], last[back][:, None]])
    gain = into[:, None] + out[None, :] - new_into - new_out
    gain[np.tri(n, k=-1, dtype=bool)] = -np.inf
    i, j = np.unravel_index(int(np.argmax(gain)), gain.shape)
    new = np.concatenate([order[:i], _flipped(order[i : j + 1][::-1], count), order[j + 1 :]])
    return float(gain[i, j]), new


def _moved(
    order: IntArray, cost: FloatArray, first: FloatArray, last: FloatArray, count: int
) -> tuple[float, IntArray]:
    """The stretch of a few passes whose moving elsewhere saves most."""
    n = len(order)
    into = np.concatenate([[first[order[0]]], cost[order[:-1], order[1:]]])
    best, found = 0.0, (0, 0, 0, 0)
    for size in range(1, min(_MOVED, n - 1) + 1):
        start = np.arange(n - size + 1)  # of the stretch; the others are told by a row each
        kept = np.arange(n - size)
        rest = order[kept + size * (kept >= start[:, None])]
        freed = into[start]
        freed[:-1] += into[size:]
        freed[0] -= first[order[size]]
        freed[1:-1] -= cost[order[: n - size - 1], order[size + 1 :]]
        freed[-1] += last[order[-1]] - last[order[n - size - 1]]
        between = np.hstack(
            [first[rest[:, :1]], cost[rest[:, :-1], rest[:, 1:]], last[rest[:, -1:]]]
        )
        gains = np.empty((len(start), 2, n - size + 1))
        for way, (begin, end) in enumerate(_ends(order, size, count)):
            before = np.hstack([first[begin], cost[rest, begin]])
            onward = np.hstack([cost[end, rest], last[end]])
            gains[:, way] = freed[:, None] - before - onward + between
        for row, gain in enumerate(gains.max(axis=2).ravel().tolist()):
            if gain > best + 1e-9:
                at, way = divmod(row, 2)
                best, found = gain, (size, at, way, int(np.argmax(gains[at, way])))
    size, at, way, k = found
    part = order[at : at + size]
    rest = np.concatenate([order[:at], order[at + size :]])
    moved = _flipped(part[::-1], count) if way else part
    return best, np.concatenate([rest[:k], moved, rest[k:]])


def _ends(order: IntArray, size: int, count: int) -> list[tuple[IntArray, IntArray]]:
    """First and last node, (m, 1) each, of every stretch of a size: as it is, and turned about."""
    first, last = order[: len(order) - size + 1, None], order[size - 1 :, None]
    return [(first, last), (_flipped(last, count), _flipped(first, count))]
