"""Days that end with a pass, against every way to end them."""

from __future__ import annotations

import datetime as dt
import itertools
import os
from functools import partial

import numpy as np
import pytest

from evenacre.model import SeedBin
from evenacre.planning.interseeding.fills import Rounds
from evenacre.planning.interseeding.loads import Cart
from evenacre.planning.interseeding.plan_types import ScheduleProblem, SeedingSchedule, WorkDay
from evenacre.planning.interseeding.solver.solve import solve_schedule
from evenacre.planning.interseeding.solver.whole_passes import Granular, in_whole_passes

CASES = int(os.environ.get("WHOLE_PASSES", "16"))
"""Small cases; thousands by hand."""
HOUR = 3600.0
START = dt.date(2026, 5, 1)


def small(rng: np.random.Generator) -> tuple[ScheduleProblem, Rounds]:
    """One or two paddocks of some passes, up to three days that may be short, bags at times."""
    m, n = int(rng.integers(1, 3)), int(rng.integers(1, 4))
    passes_m = [rng.uniform(50, 400, int(rng.integers(1, 5))) for _ in range(m)]
    area = np.array([lengths.sum() * 6.0 for lengths in passes_m])
    work = area / rng.uniform(1.0, 2.0, m)
    setup = float(rng.choice([0.0, 300.0]))
    shut = np.where(rng.random((m, n)) < 0.2, np.inf, 0.0)
    capacity = rng.uniform(0.2, 0.9, n) * (work.sum() + setup)
    loads = rng.random() < 0.6
    full = float(rng.uniform(0.6, 1.2) * area.sum() * 0.001)
    bag = full / rng.uniform(1.0, 4.0) if rng.random() < 0.5 else None
    cart = Cart((SeedBin("", "clover", full, bag_kg=bag),)) if loads else None
    problem = ScheduleProblem(
        area_m2=area,
        value_per_m2=rng.choice([1.0, 1.5], m),
        work_s=work,
        forbidden={"given": shut},
        capacity_s=capacity,
        least_rate_kg_per_m2=0.001,
        rate_kg_per_m2=0.001,
        most_rate_kg_per_m2=0.001,
        load_kg=cart.load_kg if cart else None,
        refill_s=200.0 if loads else 0.0,
        setup_s=setup,
    )
    names = [f"paddock {number}" for number in range(m)]
    days = [WorkDay(START + dt.timedelta(d), 7 * HOUR, 9e4, 9e4) for d in range(n)]
    return problem, Rounds(names, days, [None] * m, passes_m, cart)


def most(problem: ScheduleProblem, rounds: Rounds) -> float:
    """The most value of every way to end every day with a pass, with no bag opened."""
    n = len(problem.capacity_s)
    each = []
    for ends, is_open in zip(rounds.parts_done, problem.open_days, strict=True):
        ways = itertools.combinations_with_replacement(ends.tolist(), n)
        shares = (np.diff(np.array(way), prepend=0.0) for way in ways)
        each.append([share for share in shares if not (share[~is_open] > 0).any()])
    best, none = 0.0, np.zeros(n, dtype=np.int64)
    for rows in itertools.product(*each):
        share = np.array(rows)
        spent = problem.work_s @ share + problem.setup_s * (share > 0).sum(axis=0)
        value = float(problem.value_per_m2 * problem.area_m2 @ share.sum(axis=1))
        if (spent <= problem.capacity_s + 1e-3).all() and value > best:
            made = SeedingSchedule(share, none, 0.001, value, value, True, 0.0)
            if rounds.has_loads(problem, made) and not opened(problem, rounds, made):
                best = value
    return best


def opened(problem: ScheduleProblem, rounds: Rounds, made: SeedingSchedule) -> bool:
    """Whether any load is no whole number of bags."""
    bag_kg = rounds.cart.bins[0].bag_kg if rounds.cart else None
    loads = np.array([f.mass_kg for f in rounds.visits_and_fills(problem, made)[1]])
    return bag_kg is not None and bool(
        np.abs(loads / bag_kg - np.round(loads / bag_kg)).max(initial=0) > 1e-6
    )


@pytest.mark.parametrize("block", range(2))
def test_no_way_to_end_days_with_a_pass_seeds_more(block: int) -> None:
    moved = 0
    for seed in range(block, CASES, 2):
        problem, rounds = small(np.random.default_rng(seed))
        anyhow = solve_schedule(problem)
        granular = Granular(rounds.parts_done, rounds.cart.bins if rounds.cart else ())
        found = in_whole_passes(problem, anyhow, granular, partial(rounds.has_loads, problem))
        assert rounds.has_loads(problem, found), seed
        for part, ends in zip(np.cumsum(found.share, axis=1), rounds.parts_done, strict=True):
            assert np.abs(part[:, None] - ends).min(axis=1).max() < 1e-7, seed
        assert found.value <= anyhow.bound * (1 + 1e-6), seed
        # Nobody drives there once more for less.
        visit = 0.005 * float(problem.value_per_m2 @ problem.area_m2)
        allowed = visit * (1 + (found.share > 0).sum()) * 1.1
        assert found.value >= most(problem, rounds) - allowed, seed
        moved += found.value < anyhow.value * (1 - 1e-6)
    assert moved > CASES / 8


def test_bags_make_a_day_wait_for_the_next_fill() -> None:
    """The cart takes one bag of 50 kg: on the first day 30 kg are sown, 20 stay, none goes in.

    The second day has time to drive 50 kg without a fill; the third for both.
    """
    cart = Cart((SeedBin("", "clover", 50.0, bag_kg=50.0),))
    problem = ScheduleProblem(
        area_m2=np.array([30e3, 50e3, 20e3]),
        value_per_m2=np.array([1.2, 1.0, 1.0]),
        work_s=np.array([3.0, 5.0, 2.0]) * HOUR,
        forbidden={"given": np.where(np.eye(3), 0.0, np.inf)},
        capacity_s=np.array([10.0, 5.1, 9.0]) * HOUR,
        least_rate_kg_per_m2=0.001,
        rate_kg_per_m2=0.001,
        most_rate_kg_per_m2=0.001,
        load_kg=cart.load_kg,
        refill_s=0.5 * HOUR,
    )
    days = [WorkDay(START + dt.timedelta(d), 7 * HOUR, 9e4, 9e4) for d in range(3)]
    passes_m = [np.full(count, 100.0) for count in (3, 5, 2)]
    rounds = Rounds(["a", "b", "c"], days, [None] * 3, passes_m, cart)
    anyhow = solve_schedule(problem)
    assert anyhow.value == pytest.approx(106e3)  # filled again in the first evening
    assert not rounds.has_loads(problem, anyhow)
    granular = Granular(rounds.parts_done, cart.bins)
    found = in_whole_passes(problem, anyhow, granular, partial(rounds.has_loads, problem))
    assert found.value == pytest.approx(96e3)  # on the second day four passes of 10 kg, and a fill
    assert found.share[1].tolist() == pytest.approx([0.0, 0.8, 0.0])
    assert not found.proven
    _, fills, _ = rounds.visits_and_fills(problem, found)
    assert [f.mass_kg for f in fills] == pytest.approx([50.0, 50.0])
