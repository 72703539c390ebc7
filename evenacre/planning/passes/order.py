"""The order of passes that takes the least time to turn, each driven either way.

A few are ordered exactly (Held and Karp 1962, Journal of the Society for Industrial and Applied
Mathematics 10). For more, plain patterns (one after the other, every second, every third ...) are
bettered by turning stretches of the order about (2-opt) and moving passes to other places.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from evenacre.model import FloatArray, IntArray
from evenacre.planning.passes.pass_types import PlannedPass
from evenacre.planning.passes.turns import poses, shortest_turns

_EXACT = 10
_MOST_SKIPPED = 8
_MOVED = 3


def in_order(
    passes: Sequence[PlannedPass],
    radius_m: float,
    start: FloatArray | None,
    tight_m: float = 0.0,
    end: FloatArray | None = None,
) -> list[PlannedPass]:
    """Order passes for the least turning, from one pose to another, or from and to anywhere."""
    if not passes:
        return []
    both = [*passes, *(replace(p, line=p.line.reverse()) for p in passes)]
    begins, finishes = poses(both)
    first, last = np.zeros(len(both)), np.zeros(len(both))
    if start is not None:
        way = shortest_turns(np.repeat(start[None], len(both), axis=0), begins, radius_m)
        first = radius_m * way[1].sum(axis=1)
    if end is not None:
        way = shortest_turns(finishes, np.repeat(end[None], len(both), axis=0), radius_m)
        last = radius_m * way[1].sum(axis=1)
    cost = turn_costs(passes, radius_m, tight_m)
    order = least_turning(cost, first, np.array([p.number for p in passes]), last)
    return [both[node] for node in order]


def turn_costs(passes: Sequence[PlannedPass], radius_m: float, tight_m: float) -> FloatArray:
    """Length of the turn from each pass to each other, shape (2n, 2n); node n + i: i backward.

    Turns to a pass nearer than a plain half turn is across cost ``tight_m`` more each.
    """
    forward = list(passes)
    backward = [PlannedPass(p.kind, p.number, p.line.reverse()) for p in forward]
    begin, end = poses([*forward, *backward])
    count = len(begin)
    a, b = (index.ravel() for index in np.indices((count, count)))
    _, parts = shortest_turns(end[a], begin[b], radius_m)
    length = radius_m * parts.sum(axis=1)
    # The whole of it turns by more than a half turn where it has to go out first.
    loops = parts[:, [0, 2]].sum(axis=1) > 1.25 * np.pi
    cost = (length + tight_m * loops).reshape(count, count)
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
    count = len(order)
    both = np.stack([order, order + len(first) // 2], axis=1)
    best, came = first[both[0]], np.zeros((count, 2), dtype=int)
    for k in range(1, count):
        through = best[:, None] + cost[np.ix_(both[k - 1], both[k])]
        came[k], best = np.argmin(through, axis=0), np.min(through, axis=0)
    which = int(np.argmin(best + last[both[-1]]))
    nodes = np.empty(count, dtype=int)
    for k in range(count - 1, -1, -1):
        nodes[k] = both[k, which]
        which = int(came[k, which])
    return nodes


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
    gain[np.tril_indices(n, -1)] = -np.inf
    i, j = np.unravel_index(int(np.argmax(gain)), gain.shape)
    new = np.concatenate([order[:i], _flipped(order[i : j + 1][::-1], count), order[j + 1 :]])
    return float(gain[i, j]), new


def _moved(
    order: IntArray, cost: FloatArray, first: FloatArray, last: FloatArray, count: int
) -> tuple[float, IntArray]:
    """The stretch of a few passes whose moving elsewhere saves most."""
    n = len(order)
    into = np.concatenate([[first[order[0]]], cost[order[:-1], order[1:]]])
    best, new = 0.0, order
    for size in range(1, min(_MOVED, n - 1) + 1):
        for i in range(n - size + 1):
            part = order[i : i + size]
            rest = np.concatenate([order[:i], order[i + size :]])
            after = order[i + size] if i + size < n else None
            if after is None:
                freed = into[i] + last[order[-1]] - last[order[i - 1]]
            else:
                freed = into[i] + into[i + size]
                freed -= first[after] if i == 0 else cost[order[i - 1], after]
            for way in (part, _flipped(part[::-1], count)):
                before = np.concatenate([[first[way[0]]], cost[rest, way[0]]])
                onward = np.concatenate([cost[way[-1], rest], [last[way[-1]]]])
                between = np.concatenate(
                    [[first[rest[0]]], cost[rest[:-1], rest[1:]], [last[rest[-1]]]]
                )
                gain = freed - before - onward + between
                k = int(np.argmax(gain))
                if gain[k] > best + 1e-9:
                    best, new = float(gain[k]), np.concatenate([rest[:k], way, rest[k:]])
    return best, new
