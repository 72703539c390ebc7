"""Loads against every way to fill the cart: a whole number of kg at a time, on any day."""

from __future__ import annotations

import itertools
import math
import os
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

from evenacre.model import SeedBin
from evenacre.planning.interseeding.loads import Cart, Stop, best_loads

CASES = int(os.environ.get("LOADS", "400"))
"""Small cases; thousands by hand."""
LONG_DAYS = 3


@dataclass(frozen=True)
class Case:
    """Visits of whole kg, the day of each, fills each day has time for, and the cart."""

    sown: tuple[int, ...]
    days: tuple[int, ...]
    most: tuple[int, ...]
    cart: Cart
    passes: tuple[int, ...]  # seed sown at the end of each, all told

    @property
    def ends(self) -> list[int]:
        return np.cumsum(self.sown).tolist()

    @property
    def found(self) -> list[Stop] | None:
        ends = np.array(self.ends, dtype=float)
        passes = np.array(self.passes, dtype=float)
        return best_loads(ends, self.days, np.array(self.most), self.cart, passes)


def case(rng: np.random.Generator) -> Case:
    """Up to four visits over ten days, anything short now and then."""
    visits = int(rng.integers(1, 5))
    days = tuple(sorted(rng.integers(0, 10, visits).tolist()))
    most = rng.integers(0, 4, 10)
    most[list(days)] = np.maximum(most[list(days)], rng.integers(0, 2))
    load = int(rng.integers(2, 9))
    two = rng.random() < 0.4
    bins = []
    for place in range(1 + two):
        full = load if not place else int(rng.integers(1, 7))
        least = int(rng.integers(0, full)) if rng.random() < 0.4 else 0
        room = full - least
        bag = int(rng.integers(1, room + 1)) if rng.random() < 0.5 else None
        start = int(rng.integers(0, full + 1)) if rng.random() < 0.2 else 0
        bins.append(SeedBin(str(place), "seed", full, 0.5 if two else 1.0, least, bag, start))
    within = int(rng.integers(1, 5)) if rng.random() < 0.5 else None
    sown = rng.integers(1, 7, visits)
    ends = np.cumsum(sown)
    within_visits = np.arange(1, ends[-1])[rng.random(ends[-1] - 1) < rng.random()]
    passes = np.union1d(ends, within_visits)
    return Case(
        tuple(sown.tolist()),
        days,
        tuple(most.tolist()),
        Cart(tuple(bins), within),
        tuple(passes.tolist()),
    )


def day_of(c: Case, kg: float) -> int:
    """The day on which the kg that ends there is sown."""
    return c.days[next(i for i, end in enumerate(c.ends) if end >= kg)]


def cost(c: Case, day: int, at: int, until: int) -> float | None:
    """Fills, and what counts as some; None: the cart does not take it, or not for so long."""
    for b in c.cart.bins:
        if b.share * (until - at) > b.load_kg - b.least_kg:
            return None
    within = c.cart.within_days
    if within is not None and day_of(c, until) - day + 1 > within:
        return None
    # Days with seed in the cart on which the drill is out, from that of the fill on.
    out = sorted({day, *(day_of(c, kg) for kg in range(at + 1, until + 1))})
    stands = sum(b - a > LONG_DAYS for a, b in itertools.pairwise(out))
    opened = 0
    for b in c.cart.bins:
        if b.bag_kg is None:
            continue
        # Bags that were put in by then; one more than goes in has to be opened.
        need = max(b.share * until + b.least_kg - b.start_kg, 0)
        bags = math.ceil(need / b.bag_kg)
        over = b.start_kg + bags * b.bag_kg - b.share * at > b.load_kg
        opened += over and need % b.bag_kg != 0
    if until < c.ends[-1] and (opened or not ends_with_a_pass(c, at, until)):
        return None
    return 1 + 1.5 * stands + 3 * opened


def ends_with_a_pass(c: Case, at: int, until: int) -> bool:
    """Whether it does, or cannot with all the whole bags that go in, or begins within a pass."""
    most = []
    for b in c.cart.bins:
        room = b.load_kg - b.least_kg
        most.append(at + room / b.share)
        if b.bag_kg is not None:
            bags = (b.load_kg - b.start_kg + b.share * at) // b.bag_kg
            most.append((bags * b.bag_kg + b.start_kg - b.least_kg) / b.share)
    far = any(at < end <= min(most) for end in c.passes)
    return until in c.passes or not far or (at > 0 and at not in c.passes)


def cheapest(c: Case) -> float:
    """Over every way; infinite where there is none."""
    goal = c.ends[-1]

    def days_at(at: int, since: int) -> list[int]:
        """Whenever so much is sown and no more: the day it is reached, to that of the next kg."""
        first = day_of(c, at) if at else 0
        return [d for d in range(first, day_of(c, at + 1) + 1) if d >= since]

    @cache
    def onward(day: int, at: int, used: int) -> float:
        best = math.inf
        for until in range(at + 1, goal + 1):
            own = cost(c, day, at, until)
            if own is None:
                continue
            if until == goal:
                best = min(best, own)
                continue
            for d in days_at(until, day):
                count = used + 1 if d == day else 1
                if count <= c.most[d]:
                    best = min(best, own + onward(d, until, count))
        return best

    start = max(min((b.start_kg - b.least_kg) / b.share for b in c.cart.bins), 0)
    if c.cart.within_days is not None:
        start = min(
            start,
            max(
                (e for e, d in zip(c.ends, c.days, strict=True) if d < c.cart.within_days),
                default=0,
            ),
        )
    if start >= goal:
        return 0.0
    begins = [0, *(end for end in c.passes if end <= start)]
    if len(begins) == 1:
        begins = [*range(math.floor(start) + 1)]
    return min(
        (onward(d, at, 1) for at in begins for d in days_at(at, 0) if c.most[d]), default=math.inf
    )


def assert_kept(c: Case, stops: list[Stop]) -> float:
    """Follow the loads through the days: what they cost."""
    total, held = 0.0, [0.0] * len(c.cart.bins)
    used: dict[int, int] = {}
    for number, stop in enumerate(stops):
        used[stop.day] = used.get(stop.day, 0) + 1
        own = cost(c, stop.day, round(stop.at_kg), round(stop.until_kg))
        assert own is not None
        total += own
        then, (held, _) = held, c.cart.put_in(stop.at_kg, stop.until_kg)
        for b, before, now in zip(c.cart.bins, then, held, strict=True):
            assert now >= before - 1e-9
            assert b.start_kg + now - b.share * stop.at_kg <= b.load_kg + 1e-6
            assert b.start_kg + now - b.share * stop.until_kg >= b.least_kg - 1e-6
        after = stops[number + 1].at_kg if number + 1 < len(stops) else c.ends[-1]
        assert stop.until_kg == after
    assert all(count <= c.most[day] for day, count in used.items())
    return total


@pytest.mark.parametrize("block", range(4))
def test_no_loads_are_better(block: int) -> None:
    for seed in range(block, CASES, 4):
        c = case(np.random.default_rng(seed))
        known, found = cheapest(c), c.found
        if found is None:
            assert known == math.inf, seed
            continue
        assert assert_kept(c, found) == pytest.approx(known), (seed, c)


def test_the_cases_hold_everything() -> None:
    cases = [case(np.random.default_rng(seed)) for seed in range(400)]
    found = [c for c in cases if c.found]
    assert 100 < len(found) < 390
    assert sum(len(c.cart.bins) == 2 for c in found) > 60
    assert sum(c.cart.within_days is not None for c in found) > 60
    assert sum(any(b.least_kg for b in c.cart.bins) for c in found) > 60
    assert sum(any(b.bag_kg for b in c.cart.bins) for c in found) > 60
    assert sum(len(c.found or ()) > 2 for c in found) > 60
