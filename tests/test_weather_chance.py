"""The chance that a plan is done: closed forms, and what may only help or hurt."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from schedule_referee import refill_heavy, small_problem
from scipy.stats import binom

from evenacre.planning.interseeding.plan_types import ScheduleProblem, SeedingSchedule
from evenacre.planning.interseeding.solver.solve import solve_schedule
from evenacre.planning.interseeding.weather import Chances, simulate

HOUR = 3600.0
DAY = 10 * HOUR
HECTARE = 1e4
RUNS = 20_000


def one_paddock(window: int, worked_days: float, days: int = 12) -> ScheduleProblem:
    """One paddock that takes so many days of work in a window of so many."""
    shut = np.ones((1, days), dtype=bool)
    shut[0, :window] = False
    return ScheduleProblem(
        area_m2=np.array([10 * HECTARE]),
        value_per_m2=np.ones(1),
        work_s=np.array([worked_days * DAY]),
        forbidden={"close": shut},
        capacity_s=np.full(days, DAY),
        least_rate_kg_per_m2=0.001,
        rate_kg_per_m2=0.001,
        most_rate_kg_per_m2=0.001,
    )


def chances(
    p: ScheduleProblem, lost_chance: float, *, runs: int = RUNS, random_seed: int = 1
) -> Chances:
    none = np.zeros(len(p.capacity_s), dtype=bool)
    return simulate(
        p,
        solve_schedule(p),
        p.capacity_s,
        lost_chance,
        none,
        runs=runs,
        random_seed=random_seed,
    )


def within(found: float, known: float) -> bool:
    """Four standard errors of as many runs."""
    return abs(found - known) <= 4 * (known * (1 - known) / RUNS) ** 0.5 + 1e-12


@pytest.mark.parametrize("window", [1, 2, 5])
@pytest.mark.parametrize("lost_chance", [0.1, 0.5])
def test_a_day_of_work_is_missed_when_all_days_are_lost(window: int, lost_chance: float) -> None:
    found = chances(one_paddock(window, 1.0), lost_chance)
    assert within(found.all, 1 - lost_chance**window)
    assert found.each[0] == found.all


@pytest.mark.parametrize(("window", "needed"), [(3, 2), (6, 3), (8, 8), (10, 4)])
def test_days_of_work_are_a_tail_of_the_binomial(window: int, needed: int) -> None:
    found = chances(one_paddock(window, needed), 0.3)
    assert within(found.all, binom.sf(needed - 1, window, 0.7))


def test_fills_take_their_part_of_a_day() -> None:
    # A day holds three loads with their fills: six loads need two days, seven need three.
    six = replace(one_paddock(5, 1.8), load_kg=100 / 6, refill_s=DAY / 3 - 0.3 * DAY)
    assert within(chances(six, 0.3).all, binom.sf(1, 5, 0.7))
    seven = replace(one_paddock(5, 2.1), load_kg=100 / 7, refill_s=DAY / 3 - 0.3 * DAY)
    assert within(chances(seven, 0.3).all, binom.sf(2, 5, 0.7))


def test_paddocks_wait_for_one_another() -> None:
    # Two paddocks of a day each, open on the same three days: both need two good ones.
    one = one_paddock(3, 1.0)
    two = replace(
        one,
        area_m2=np.repeat(one.area_m2, 2),
        value_per_m2=np.ones(2),
        work_s=np.repeat(one.work_s, 2),
        forbidden={"close": np.repeat(one.forbidden["close"], 2, axis=0)},
    )
    found = chances(two, 0.4)
    assert within(found.all, binom.sf(1, 3, 0.6))
    assert within(found.each.max(), 1 - 0.4**3)
    assert within(found.each.min(), binom.sf(1, 3, 0.6))


def test_the_paddock_that_closes_first_goes_first_when_days_are_lost() -> None:
    shut = np.ones((2, 4), dtype=bool)
    shut[0, :4] = False
    shut[1, 1:3] = False
    one = one_paddock(4, 1.0, days=4)
    two = replace(
        one,
        area_m2=np.repeat(one.area_m2, 2),
        value_per_m2=np.ones(2),
        work_s=np.repeat(one.work_s, 2),
        forbidden={"close": shut},
    )
    planned = np.array([[1.0, 0, 0, 0], [0, 1.0, 0, 0]])
    schedule = SeedingSchedule(planned, np.zeros(4, dtype=np.int64), 0.001, 0.0, 0.0, True, 0.0)
    p = 0.35
    found = simulate(
        two, schedule, two.capacity_s, p, np.zeros(4, dtype=bool), runs=RUNS, random_seed=2
    )
    first = second = 0.0
    for good in product((True, False), repeat=4):
        chance = float(np.prod([1 - p if g else p for g in good]))
        a = b = False
        for day, g in enumerate(good):
            if g and day in (1, 2) and not b:
                b = True
            elif g and not a:
                a = True
        first, second = first + chance * a, second + chance * b
    assert within(found.each[0], first)
    assert within(found.each[1], second)


def test_no_day_lost_means_certainty() -> None:
    for seed in range(40):
        p = small_problem(np.random.default_rng(seed))
        found = chances(p, 0.0, runs=3)
        assert found.all == 1.0, seed
        assert (found.each == 1.0).all()


def test_loads_of_the_plan_are_enough_when_no_day_is_lost() -> None:
    for seed in range(24):
        p = refill_heavy(np.random.default_rng(3000 + seed))
        assert chances(p, 0.0, runs=3).all == 1.0, seed


def test_known_lost_days_are_lost_in_every_season() -> None:
    p = one_paddock(2, 1.0)
    lost = np.zeros(12, dtype=bool)
    lost[0] = True
    found = simulate(p, solve_schedule(p), p.capacity_s, 0.25, lost, runs=RUNS, random_seed=1)
    assert within(found.all, 0.75)
    lost[1] = True
    assert simulate(p, solve_schedule(p), p.capacity_s, 0.0, lost, runs=9, random_seed=1).all == 0


def test_full_days_do_more_than_the_plan_counted_on() -> None:
    p = one_paddock(4, 1.0)
    slow = replace(p, capacity_s=p.capacity_s * 0.5)
    none = np.zeros(12, dtype=bool)
    found = simulate(slow, solve_schedule(slow), p.capacity_s, 0.5, none, runs=RUNS, random_seed=1)
    assert within(found.all, 1 - 0.5**4)


def test_worse_weather_never_helps_and_longer_windows_never_hurt() -> None:
    by_chance = [chances(one_paddock(5, 3.0), p).all for p in (0.0, 0.1, 0.3, 0.6, 1.0)]
    assert by_chance == sorted(by_chance, reverse=True)
    assert (by_chance[0], by_chance[-1]) == (1.0, 0.0)
    by_window = [chances(one_paddock(k, 3.0), 0.3).all for k in range(3, 12)]
    assert by_window == sorted(by_window)


def test_the_seed_decides_the_draw() -> None:
    p = one_paddock(5, 3.0)
    again = [chances(p, 0.3, runs=500, random_seed=s).all for s in (1, 1, 2, 3, 4)]
    assert again[0] == again[1]
    assert len(set(again)) > 1


def test_nothing_planned_is_nothing_missed() -> None:
    p = replace(one_paddock(5, 3.0), on_hand_kg=0.0)
    found = chances(p, 0.9, runs=10)
    assert found.each.tolist() == [1.0]
    assert found.all == 1.0
