"""Orders of passes against all there are, and against every small change of them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from jobs import Floats
from shapely.geometry import LineString

from evenacre.model import IntArray
from evenacre.planning.passes.order import in_order, least_turning, turn_costs
from evenacre.planning.passes.pass_types import PlannedPass
from evenacre.planning.passes.turning import on_circles


def drawn(seed: int, count: int) -> tuple[Floats, Floats]:
    """Costs from pass to pass, the same there and back, and to begin with each."""
    rng = np.random.default_rng(seed)
    about = (np.arange(2 * count) + count) % (2 * count)
    cost = rng.uniform(10.0, 100.0, (2 * count, 2 * count))
    cost = (cost + cost[np.ix_(about, about)].T) / 2
    same = np.arange(2 * count) % count
    cost[same[:, None] == same[None, :]] = np.inf
    return cost, rng.uniform(0.0, 100.0, 2 * count)


def total(order: list[int] | IntArray, cost: Floats, first: Floats) -> float:
    nodes = np.asarray(order)
    return float(first[nodes[0]] + cost[nodes[:-1], nodes[1:]].sum())


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_no_order_of_a_few_passes_is_better(count: int) -> None:
    for seed in range(5):
        cost, first = drawn(seed, count)
        found = least_turning(cost, first, np.arange(count))
        assert sorted(node % count for node in found) == list(range(count))
        best = min(
            total(np.array(order) + count * np.array(ways), cost, first)
            for order in itertools.permutations(range(count))
            for ways in itertools.product((0, 1), repeat=count)
        )
        assert total(found, cost, first) == pytest.approx(best)


@pytest.mark.parametrize("seed", range(6))
def test_no_stretch_of_many_turned_about_and_no_few_moved_make_it_better(seed: int) -> None:
    count = 11 + seed
    cost, first = drawn(seed, count)
    found = least_turning(cost, first, np.random.default_rng(seed).permutation(count))
    assert sorted(node % count for node in found) == list(range(count))
    known = total(found, cost, first)

    def about(part: list[int]) -> list[int]:
        return [(node + count) % (2 * count) for node in reversed(part)]

    turned = [
        found[:i] + about(found[i:j]) + found[j:]
        for i, j in itertools.combinations(range(count + 1), 2)
    ]
    moved = [
        rest[:k] + way + rest[k:]
        for size in (1, 2, 3)
        for i in range(count - size + 1)
        for part, rest in [(found[i : i + size], found[:i] + found[i + size :])]
        for way in (part, about(part))
        for k in range(len(rest) + 1)
    ]
    assert min(total(order, cost, first) for order in turned + moved) >= known - 1e-6


def test_where_every_turn_costs_alike_but_one_chain_the_chain_is_driven() -> None:
    """One way through 14 passes costs nothing; each step of it is the nearest from the last."""
    count = 14
    chain = np.random.default_rng(2).permutation(count) + count * (np.arange(count) % 2)
    back = (chain[::-1] + count) % (2 * count)
    cost, first = np.full((2 * count, 2 * count), 50.0), np.full(2 * count, 50.0)
    for way in (chain, back):
        cost[way[:-1], way[1:]] = 0.0
    first[chain[0]] = 0.0
    assert least_turning(cost, first, np.arange(count)) == chain.tolist()


def strip(number: int, y: float, length: float = 100.0) -> PlannedPass:
    return PlannedPass("pass", number, LineString([(0.0, y), (length, y)]))


def test_the_cost_of_a_turn_is_its_way() -> None:
    """Half a circle of 5 m and what lies beyond it; nearer than that the way is longer still."""
    cost = turn_costs([strip(1, 0.0), strip(2, 16.0), strip(3, 20.0)], on_circles(5.0))
    assert cost.shape == (6, 6)
    assert cost[0, 3 + 1] == pytest.approx(5.0 * np.pi + 6.0)  # east, then west 16 m beside it
    assert cost[1, 3 + 2] > 5.0 * np.pi + 6.0  # 4 m beside: out and in again
    assert np.isinf(cost[[0, 0, 3], [0, 3, 0]]).all()


def test_passes_are_driven_to_and_fro_from_where_the_last_run_ended() -> None:
    passes = [strip(number, 12.0 * number) for number in range(4)]
    before = PlannedPass("round", 0, LineString([(-60.0, 48.0), (-40.0, 48.0)]))
    driven = in_order(passes, on_circles(5.0), before)
    assert [p.number for p in driven] == [3, 2, 1, 0]
    assert [p.line.coords[0][0] for p in driven] == [0.0, 100.0, 0.0, 100.0]
    assert in_order([], on_circles(5.0), before) == []
