"""The drill's days by the clock."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from schedule_referee import refill_heavy, small_problem

from evenacre.planning.interseeding.fills import sown_in, visits_and_fills
from evenacre.planning.interseeding.plan_types import (
    CartFill,
    ScheduleProblem,
    SeedingSchedule,
    Visit,
    WorkDay,
)
from evenacre.planning.interseeding.solver.solve import solve_schedule

HOUR = 3600.0
HECTARE = 1e4
START = dt.date(2026, 5, 1)


def days(n: int, start_s: float = 7 * HOUR) -> list[WorkDay]:
    return [WorkDay(START + dt.timedelta(d), start_s + 60 * d, 9e4, 9e4) for d in range(n)]


def problem(m: int, n: int, **given: object) -> ScheduleProblem:
    """Paddocks of 10 ha, 100 kg and four hours each."""
    values: dict[str, object] = {
        "area_m2": np.full(m, 10 * HECTARE),
        "value_per_m2": np.ones(m),
        "work_s": np.full(m, 4 * HOUR),
        "forbidden": {},
        "capacity_s": np.full(n, 10 * HOUR),
        "least_rate_kg_per_m2": 0.001,
        "rate_kg_per_m2": 0.001,
        "most_rate_kg_per_m2": 0.001,
        "load_kg": 60.0,
        "refill_s": HOUR / 2,
        "setup_s": HOUR / 4,
    }
    return ScheduleProblem(**{**values, **given})  # type: ignore[arg-type]


def schedule(share: list[list[float]], fills: list[int]) -> SeedingSchedule:
    table = np.array(share)
    return SeedingSchedule(table, np.array(fills), 0.001, 0.0, 0.0, True, 0.0)


@pytest.mark.parametrize(
    ("wanted_kg", "cart_kg", "time_s", "sown", "left", "took_s"),
    [
        # A kilogram a second, loads of 200 kg, a minute for a fill; the first is in the cart.
        (50, 100, 300, 50, 50, 50),  # out of the cart
        (1000, 100, 80, 80, 20, 80),  # time is up before it is empty
        (1000, 100, 300, 240, 60, 300),  # 100, a fill, and 140 of the next load
        (1000, 100, 130, 100, 0, 100),  # no time for a fill
        (1000, 0, 600, 420, 180, 600),  # three fills, 20 kg of the last
        (300, 100, 900, 300, 0, 360),  # just one load more
    ],
)
def test_seed_sown_until_time_or_need_is_over(
    wanted_kg: float, cart_kg: float, time_s: float, sown: float, left: float, took_s: float
) -> None:
    wanted, before, time = (np.array([float(v)]) for v in (wanted_kg, 200 - cart_kg, time_s))
    ends = np.arange(7) * 200.0
    found, loads, took = sown_in(wanted, before, np.array([1]), time, 1.0, ends, 60.0)
    in_cart = ends[loads] - before - found
    assert [value.item() for value in (found, in_cart, took)] == pytest.approx([sown, left, took_s])


def test_loads_are_sown_in_their_order_whatever_they_weigh() -> None:
    ends = np.array([0.0, 50.0, 250.0, 280.0])
    time = np.array([60.0, 119.0, 170.0, 171.0, 400.0, 1000.0])
    none = np.zeros(6)
    sown, loads, took = sown_in(none + 1e3, none, none.astype(int), time, 1.0, ends, 60.0)
    # A minute to fill, 50 kg, a minute, 200 kg, a minute, 30 kg; no more is planned.
    assert sown == pytest.approx([0, 50, 50, 51, 250, 280])
    assert loads.tolist() == [0, 1, 1, 2, 2, 3]
    assert took == pytest.approx([0, 110, 110, 171, 370, 460])


def test_a_cart_that_is_never_filled_again_sows_as_long_as_there_is_time() -> None:
    ends, one = np.array([0.0, np.inf]), np.ones(1)
    sown, loads, took = sown_in(70 * one, 30 * one, np.array([1]), 50 * one, 2.0, ends, 60.0)
    assert (sown.item(), loads.item(), took.item()) == (70.0, 1, 35.0)
    sown, _, took = sown_in(700 * one, 30 * one, np.array([1]), 50 * one, 2.0, ends, 60.0)
    assert (sown.item(), took.item()) == (100.0, 50.0)


def test_the_cart_is_filled_at_the_start_and_where_it_runs_empty() -> None:
    visits, fills = visits_and_fills(
        problem(1, 1), schedule([[1.0]], [2]), ["north"], days(1), [None]
    )
    seven = 7 * HOUR
    assert visits == (
        Visit("north", START, seven, seven + 5.25 * HOUR, 10 * HECTARE, pytest.approx(100.0), 1.0),
    )
    # A quarter of an hour to set up; 60 kg last 2.4 hours.
    assert [f.start_s for f in fills] == pytest.approx([seven + 900, seven + 900 + 2.9 * HOUR])
    assert [f.mass_kg for f in fills] == pytest.approx([60.0, 40.0])
    assert [f.number for f in fills] == [1, 2]


def test_a_load_serves_the_next_paddock_and_the_next_day() -> None:
    visits, fills = visits_and_fills(
        problem(2, 2), schedule([[1.0, 0.0], [0.0, 1.0]], [2, 2]), ["a", "b"], days(2), [None] * 2
    )
    assert [(v.paddock, v.day) for v in visits] == [("a", START), ("b", START + dt.timedelta(1))]
    assert [dict(f.serves) for f in fills] == [
        {"a": pytest.approx(60.0)},
        {"a": pytest.approx(40.0), "b": pytest.approx(20.0)},
        {"b": pytest.approx(60.0)},
        {"b": pytest.approx(20.0)},
    ]
    assert fills[2].paddock == "b"
    assert visits[1].start_s == 7 * HOUR + 60


def test_no_fill_for_what_is_only_rounding() -> None:
    third = 1 / 3
    visits, fills = visits_and_fills(
        problem(3, 1, load_kg=100 / 3 * (1 - 1e-9)),
        schedule([[third], [third], [third]], [3]),
        ["a", "b", "c"],
        days(1),
        [None] * 3,
    )
    assert [f.serves for f in fills] == [
        ((name, pytest.approx(100 / 3)),) for name in ("a", "b", "c")
    ]
    assert sum(f.mass_kg for f in fills) == pytest.approx(sum(v.seed_kg for v in visits))


def test_a_fill_in_the_evening_is_that_days() -> None:
    p = problem(2, 2, load_kg=100.0)
    evening = schedule([[1.0, 0.0], [0.0, 1.0]], [2, 0])
    visits, fills = visits_and_fills(p, evening, ["a", "b"], days(2), [None] * 2)
    assert [(f.paddock, f.day) for f in fills] == [("a", START), ("a", START)]
    assert fills[1].start_s + p.refill_s == pytest.approx(visits[0].end_s)
    assert visits[1].end_s - visits[1].start_s == pytest.approx(4.25 * HOUR)
    assert fills[1].serves == (("b", pytest.approx(100.0)),)


def test_a_fill_on_a_day_without_a_visit_is_for_the_next_paddock() -> None:
    p = problem(1, 2, load_kg=100.0)
    visits, fills = visits_and_fills(p, schedule([[0.0, 1.0]], [1, 0]), ["a"], days(2), [None])
    assert [(f.paddock, f.day, f.start_s) for f in fills] == [("a", START, 7 * HOUR)]
    assert visits[0].end_s - visits[0].start_s == pytest.approx(4.25 * HOUR)


def test_the_day_begins_where_the_last_one_ended_then_with_what_closes_first() -> None:
    share = [[0.0, 0.2], [0.0, 0.2], [0.5, 0.5], [0.0, 0.2]]
    closes = [None, START + dt.timedelta(9), START + dt.timedelta(9), START + dt.timedelta(3)]
    visits, _ = visits_and_fills(
        problem(4, 2), schedule(share, [1, 1]), ["a", "c", "b", "d"], days(2), closes
    )
    assert [v.paddock for v in visits] == ["b", "b", "d", "c", "a"]


def test_a_cart_that_never_runs_empty_has_no_fills() -> None:
    visits, fills = visits_and_fills(
        problem(1, 1, load_kg=None), schedule([[1.0]], [0]), ["a"], days(1), [None]
    )
    assert fills == ()
    assert visits[0].end_s - visits[0].start_s == pytest.approx(4.25 * HOUR)


def test_an_empty_schedule() -> None:
    assert visits_and_fills(problem(1, 1), schedule([[0.0]], [0]), ["a"], days(1), [None]) == (
        (),
        (),
    )


def walk(p: ScheduleProblem) -> tuple[SeedingSchedule, tuple[Visit, ...], tuple[CartFill, ...]]:
    found = solve_schedule(p)
    m, n = found.share.shape
    names = [f"paddock {i}" for i in range(m)]
    visits, fills = visits_and_fills(p, found, names, days(n), [None] * m)
    return found, visits, fills


@pytest.mark.parametrize("block", range(3))
def test_what_is_filled_is_what_is_sown_and_the_clock_keeps_to_the_day(block: int) -> None:
    for seed in range(block * 25, block * 25 + 25):
        rng = np.random.default_rng(seed)
        p = small_problem(rng) if seed % 3 else refill_heavy(rng)
        p = p if p.load_kg else replace(p, load_kg=40.0)
        found, visits, fills = walk(p)
        seed_kg = p.area_m2 * found.rate_kg_per_m2
        sown = math.fsum(v.seed_kg for v in visits)
        assert sown == pytest.approx(float(seed_kg @ found.share.sum(axis=1)), rel=1e-12)
        assert math.fsum(f.mass_kg for f in fills) == pytest.approx(sown, rel=1e-12)
        served = math.fsum(kg for f in fills for _, kg in f.serves)
        assert served == pytest.approx(sown, rel=1e-12)
        for name in {v.paddock for v in visits}:
            there = math.fsum(kg for f in fills for place, kg in f.serves if place == name)
            assert there == pytest.approx(
                math.fsum(v.seed_kg for v in visits if v.paddock == name), rel=1e-9
            )
        # The schedule counted as many; a load is whole, or smaller for the next to be put in when
        # the day's work is done.
        assert p.load_kg is not None
        over = {v.day: v.end_s for v in visits}
        for load, after in pairwise(fills):
            whole = load.mass_kg == pytest.approx(p.load_kg, rel=3e-6)
            done = after.day not in over or after.start_s + p.refill_s == pytest.approx(
                over[after.day], abs=0.01
            )
            assert whole or done, seed
        assert all(0 < f.mass_kg <= p.load_kg * (1 + 3e-6) for f in fills)
        assert len(fills) == found.fills.sum()
        for d, day in enumerate(days(len(p.capacity_s))):
            today = [v for v in visits if v.day == day.day]
            filled = [f for f in fills if f.day == day.day]
            assert len(filled) == found.fills[d], seed
            assert len(today) == np.count_nonzero(found.share[:, d])
            assert today or all(f.start_s == day.start_s for f in filled)
            if today:
                assert today[0].start_s == day.start_s
                assert today[-1].end_s <= day.start_s + p.capacity_s[d] * (1 + 1e-6) + 0.01
                for before, after in pairwise(today):
                    assert before.end_s == after.start_s
                assert all(
                    today[0].start_s <= f.start_s <= today[-1].end_s - p.refill_s + 0.01
                    for f in filled
                )
