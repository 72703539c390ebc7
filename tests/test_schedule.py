"""Schedules against every schedule there is, and what more of anything may never cost."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from schedule_referee import (
    Enumerated,
    assert_feasible,
    enumerate_schedules,
    open_slots,
    refill_heavy,
    small_problem,
)

from evenacre.planning.interseeding.plan_types import ScheduleProblem, SeedingSchedule
from evenacre.planning.interseeding.solver.solve import solve_schedule

HOUR = 3600.0
HECTARE = 1e4
CASES = int(os.environ.get("SCHEDULES", "40"))
"""Refill-heavy problems; hundreds by hand."""


def problem(**given: object) -> ScheduleProblem:
    """Two paddocks of two hours each, and two days of three."""
    values: dict[str, object] = {
        "area_m2": np.array([4.0, 4.0]) * HECTARE,
        "value_per_m2": np.ones(2),
        "work_s": np.full(2, 2 * HOUR),
        "forbidden": {"close": np.zeros((2, 2), dtype=bool)},
        "capacity_s": np.full(2, 3 * HOUR),
        "least_rate_kg_per_m2": 0.001,
        "rate_kg_per_m2": 0.0015,
        "most_rate_kg_per_m2": 0.002,
    }
    return ScheduleProblem(**{**values, **given})  # type: ignore[arg-type]


def whole_kg(p: ScheduleProblem, rate: float) -> float:
    return float(p.area_m2.sum() * rate)


# Against enumeration


@cache
def small(seed: int) -> tuple[ScheduleProblem, Enumerated]:
    """A small problem, and the best of all its schedules."""
    p = small_problem(np.random.default_rng(seed))
    return p, enumerate_schedules(p)


@pytest.mark.parametrize("block", range(10))
def test_no_schedule_is_better_or_has_fewer_visits(block: int) -> None:
    for seed in range(block * 25, block * 25 + 25):
        p, known = small(seed)
        found = solve_schedule(p)
        assert_feasible(p, found)
        assert found.proven, seed
        assert found.value == pytest.approx(known.value, rel=1e-6, abs=1e-6), seed
        assert np.count_nonzero(found.share) == known.visits, seed


@pytest.mark.parametrize("block", range(4))
def test_none_is_better_where_no_load_may_stay_in_the_cart(block: int) -> None:
    for seed in range(block, CASES, 4):
        rng = np.random.default_rng(5000 + seed)
        make = refill_heavy if seed % 2 else small_problem
        p = replace(make(rng), within_days=int(rng.integers(1, 3)))
        found = solve_schedule(p)
        assert_feasible(p, found)
        assert found.proven, seed
        best = enumerate_schedules(p).value
        assert found.value == pytest.approx(best, rel=1e-6, abs=1e-6), seed


def test_the_small_problems_are_not_all_easy() -> None:
    problems, known = zip(*map(small, range(40)), strict=True)
    values = [(p.area_m2.sum(), best.value) for p, best in zip(problems, known, strict=True)]
    assert sum(value < 0.999 * ground for ground, value in values) > 16
    assert sum(p.load_kg is not None for p in problems) > 12
    assert sum(p.on_hand_kg is not None for p in problems) > 12


@pytest.mark.parametrize("block", range(4))
def test_where_fills_take_much_of_the_day_none_is_better_at_any_rate(block: int) -> None:
    for seed in range(block, CASES, 4):
        rng = np.random.default_rng(3000 + seed)
        p = refill_heavy(rng)
        found = solve_schedule(p)
        assert_feasible(p, found)
        assert found.proven, seed
        best = enumerate_schedules(p).value
        assert found.value == pytest.approx(best, rel=1e-6, abs=1e-6), seed
        rate = rng.uniform(p.least_rate_kg_per_m2, p.most_rate_kg_per_m2)
        assert enumerate_schedules(p, rate).value <= found.bound * (1 + 1e-6), seed


def loads_of_120(first_day_kg: float, **given: object) -> ScheduleProblem:
    """A kilogram of 120 in the cart a minute, and one fill: in the evening, or never."""
    return problem(
        area_m2=np.array([24 * HECTARE]),
        value_per_m2=np.ones(1),
        work_s=np.array([240 * 60.0]),
        forbidden={"close": np.zeros((1, 2), dtype=bool)},
        capacity_s=np.array([first_day_kg + 2 * 20, 120.0]) * 60,
        load_kg=120.0,
        refill_s=20 * 60.0,
        **given,
    )


def test_a_smaller_load_that_leaves_the_cart_empty_in_the_evening() -> None:
    # Of a whole load 3 kg would be left, and the cart could not be filled for the next day.
    p = loads_of_120(117.0)
    found = solve_schedule(p)
    assert found.proven
    assert_feasible(p, found)
    assert found.share * 240 == pytest.approx(np.array([[117.0, 120.0]]))
    assert found.fills.tolist() == [2, 0]


def test_the_rate_stays_where_a_whole_load_is_sown_without_a_minute_to_fill() -> None:
    p = loads_of_120(117.0, on_hand_kg=1.1 * 237.0, most_rate_kg_per_m2=0.0015)
    found = solve_schedule(p)
    assert_feasible(p, found)
    assert found.value == pytest.approx(237e3)
    assert found.rate_kg_per_m2 == pytest.approx(0.001, rel=2e-6)


# The rate


def test_unlimited_seed_takes_the_rate_wanted() -> None:
    assert solve_schedule(problem()).rate_kg_per_m2 == 0.0015


def test_seed_to_spare_comes_out_even() -> None:
    p = problem(on_hand_kg=140.0)
    found = solve_schedule(p)
    assert found.value == pytest.approx(p.area_m2.sum())
    assert found.rate_kg_per_m2 * p.area_m2.sum() == pytest.approx(140.0, rel=1e-9)


def test_seed_beyond_the_highest_rate_is_left_over() -> None:
    assert solve_schedule(problem(on_hand_kg=1000.0)).rate_kg_per_m2 == 0.002


def test_short_seed_goes_thinner_before_ground_is_left() -> None:
    found = solve_schedule(problem(on_hand_kg=90.0))
    assert found.share.sum(axis=1) == pytest.approx([1.0, 1.0])
    assert found.rate_kg_per_m2 == pytest.approx(90.0 / 8e4)


def test_shorter_still_goes_to_the_most_valuable_ground_at_the_least_rate() -> None:
    found = solve_schedule(problem(on_hand_kg=60.0, value_per_m2=np.array([1.0, 1.5])))
    assert found.rate_kg_per_m2 == pytest.approx(0.001)
    assert found.share.sum(axis=1) == pytest.approx([0.5, 1.0])


def test_a_fixed_rate_stays() -> None:
    fixed = {"least_rate_kg_per_m2": 0.0015, "most_rate_kg_per_m2": 0.0015}
    found = solve_schedule(problem(on_hand_kg=90.0, **fixed))
    assert found.rate_kg_per_m2 == 0.0015
    assert found.share.sum() == pytest.approx(90.0 / 60.0)
    spare = solve_schedule(problem(on_hand_kg=900.0, **fixed))
    assert spare.rate_kg_per_m2 == 0.0015


def test_the_rate_stops_where_one_more_fill_would_cost_ground() -> None:
    # 4 h of work and 2 h of fills: two fit, and two loads of 50 kg are 100 kg on 8 ha.
    p = problem(on_hand_kg=1000.0, load_kg=50.0, refill_s=HOUR)
    found = solve_schedule(p)
    assert_feasible(p, found)
    assert found.value == pytest.approx(p.area_m2.sum())
    assert found.rate_kg_per_m2 == pytest.approx(100.0 / 8e4, rel=1e-4)


@pytest.mark.parametrize("seed", range(24))
def test_the_rate_is_the_highest_that_keeps_the_value(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    p = small_problem(rng, least_rate_kg_per_m2=0.0012, most_rate_kg_per_m2=0.0024)
    found = solve_schedule(p)
    assert_feasible(p, found)
    best = enumerate_schedules(p).value
    assert found.value == pytest.approx(best, rel=1e-6, abs=1e-6)
    highest = p.rate_kg_per_m2 if p.on_hand_kg is None else p.most_rate_kg_per_m2
    above = found.rate_kg_per_m2 + 0.02 * 0.0012
    if best and above < highest:
        for rate in np.linspace(above, highest, 6):
            assert enumerate_schedules(p, rate).value < best * (1 - 1e-9)


# More never seeds less


@settings(max_examples=25, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6), more=st.sampled_from(["seed", "hours", "window", "refill"]))
def test_more_never_seeds_less(seed: int, more: str) -> None:
    rng = np.random.default_rng(seed)
    p = small_problem(rng)
    if more == "seed":
        eased = replace(p, on_hand_kg=None if p.on_hand_kg is None else 1.1 * p.on_hand_kg)
    elif more == "hours":
        eased = replace(p, capacity_s=p.capacity_s * rng.uniform(1, 1.5, len(p.capacity_s)))
    elif more == "window":
        fewer = {rule: shut & (rng.random(shut.shape) < 0.7) for rule, shut in p.forbidden.items()}
        eased = replace(p, forbidden=fewer)
    else:
        eased = replace(p, refill_s=p.refill_s * 0.6)
    assert solve_schedule(eased).value >= solve_schedule(p).value * (1 - 1e-6)


# Odd problems


def test_no_open_day_seeds_nothing() -> None:
    found = solve_schedule(problem(forbidden={"close": np.ones((2, 2), dtype=bool)}))
    assert (found.value, found.bound, found.proven, found.gap) == (0.0, 0.0, True, 0.0)
    assert not found.share.any()


def test_no_days_and_no_paddocks() -> None:
    none = solve_schedule(problem(forbidden={}, capacity_s=np.zeros(0)))
    assert none.share.shape == (2, 0)
    nobody = problem(area_m2=np.zeros(0), value_per_m2=np.zeros(0), work_s=np.zeros(0))
    assert solve_schedule(replace(nobody, forbidden={})).share.shape == (0, 2)


def test_days_too_short_for_set_up_seed_nothing() -> None:
    found = solve_schedule(problem(setup_s=4 * HOUR))
    assert not found.share.any()
    assert found.proven


def test_no_seed_seeds_nothing() -> None:
    found = solve_schedule(problem(on_hand_kg=0.0))
    assert found.value == 0.0
    assert found.proven


def test_ground_of_no_value_is_left_alone() -> None:
    found = solve_schedule(problem(value_per_m2=np.array([0.0, 1.0])))
    assert found.share.sum(axis=1) == pytest.approx([0.0, 1.0])


def test_the_same_answer_every_time() -> None:
    for seed in range(5):
        p = small_problem(np.random.default_rng(seed))
        first, second = solve_schedule(p), solve_schedule(p)
        assert np.array_equal(first.share, second.share)
        assert first.rate_kg_per_m2 == second.rate_kg_per_m2


def test_earliest_days_come_first() -> None:
    found = solve_schedule(problem(capacity_s=np.full(2, 5 * HOUR)))
    assert found.share == pytest.approx(np.array([[1.0, 0.0], [1.0, 0.0]]))


# Forty paddocks, a hundred and twenty days


def large_problem(seed: int, *, day_s: float, window_days: tuple[int, int]) -> ScheduleProblem:
    rng = np.random.default_rng(seed)
    m, n = 40, 120
    area = rng.uniform(3, 12, m) * HECTARE
    shut = np.ones((m, n), dtype=bool)
    for paddock, opens in enumerate(np.sort(rng.integers(0, n - 10, m))):
        shut[paddock, opens : opens + rng.integers(*window_days)] = False
    return problem(
        area_m2=area,
        value_per_m2=rng.choice([1.0, 1.0, 1.5, 2.0], m),
        work_s=area / HECTARE / 3.4 * HOUR,
        forbidden={"close": shut},
        capacity_s=np.where(rng.random(n) < 0.1, 0.0, day_s),
        on_hand_kg=5000.0,
        load_kg=500.0,
        refill_s=1200.0,
        setup_s=900.0,
    )


@pytest.mark.parametrize(
    ("day_s", "window_days", "limit_s"),
    [(9 * HOUR, (5, 25), 8.0), (2 * HOUR, (5, 25), 2.0), (1.5 * HOUR, (119, 120), 2.0)],
)
def test_a_large_farm(
    day_s: float,
    window_days: tuple[int, int],
    limit_s: float,
    capfd: pytest.CaptureFixture[str],
) -> None:
    p = large_problem(0, day_s=day_s, window_days=window_days)
    begin = time.monotonic()
    found = solve_schedule(p, time_limit_s=limit_s)
    assert time.monotonic() - begin < 10 * limit_s  # on any machine, however busy
    assert_feasible(p, found)
    assert found.value > 0.5 * float(p.value_per_m2 @ p.area_m2)
    assert 0 <= found.gap < 0.2
    assert found.proven == (found.gap <= 1e-6)
    assert len(open_slots(p)) > 300
    assert capfd.readouterr() == ("", "")  # where a command prints JSON, the solver prints nothing


def test_out_of_time_there_is_still_a_schedule_and_a_bound() -> None:
    p = large_problem(1, day_s=1.5 * HOUR, window_days=(5, 25))
    found = solve_schedule(p, time_limit_s=0.0)
    assert_feasible(p, found)
    assert isinstance(found, SeedingSchedule)
    assert 0 < found.value <= found.bound <= float(p.value_per_m2 @ p.area_m2) * (1 + 1e-9)
