"""The drill's days by the clock."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from schedule_referee import refill_heavy, small_problem

from evenacre.model import SeedBin
from evenacre.planning.interseeding.fills import Rounds, sown_in
from evenacre.planning.interseeding.loads import Cart
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


def visits_and_fills(
    p: ScheduleProblem, made: SeedingSchedule, *rounds: Any
) -> tuple[tuple[Visit, ...], tuple[CartFill, ...], SeedingSchedule]:
    return Rounds(*rounds).visits_and_fills(p, made)


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
    visits, fills, _ = visits_and_fills(
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


A_THEN_B = [[1.0, 0.0], [0.0, 1.0]]


def test_a_load_serves_the_next_paddock_and_the_next_day_where_that_spares_a_fill() -> None:
    p = problem(2, 2, load_kg=75.0)
    visits, fills, _ = visits_and_fills(
        p, schedule(A_THEN_B, [2, 1]), ["a", "b"], days(2), [None] * 2
    )
    assert [(v.paddock, v.day) for v in visits] == [("a", START), ("b", START + dt.timedelta(1))]
    assert [dict(f.serves) for f in fills] == [
        {"a": pytest.approx(75.0)},
        {"a": pytest.approx(25.0), "b": pytest.approx(50.0)},
        {"b": pytest.approx(50.0)},
    ]
    assert fills[2].paddock == "b"
    assert visits[1].start_s == 7 * HOUR + 60


def test_loads_end_with_a_paddock_where_that_takes_no_fill_more() -> None:
    _, fills, _ = visits_and_fills(
        problem(2, 2), schedule(A_THEN_B, [2, 2]), ["a", "b"], days(2), [None] * 2
    )
    assert [dict(f.serves) for f in fills] == [
        {name: pytest.approx(kg)} for name, kg in (("a", 60.0), ("a", 40.0), ("b", 60.0), ("b", 40))
    ]


@pytest.mark.parametrize(("wait", "loads"), [(3, [160.0]), (4, [80.0, 80.0])])
def test_no_seed_stands_in_the_cart_for_days_to_spare_a_fill(wait: int, loads: list[float]) -> None:
    share = [[0.8] + [0.0] * wait, [0.0] * wait + [0.8]]
    p = problem(2, wait + 1, load_kg=200.0)
    made = schedule(share, [1] + [0] * wait)
    _, fills, then = visits_and_fills(p, made, ["a", "b"], days(wait + 1), [None] * 2)
    assert [f.mass_kg for f in fills] == pytest.approx(loads)
    assert then.fills.sum() == len(fills)
    assert then.ends_kg is not None
    assert then.ends_kg[-1] == pytest.approx(160.0)


@pytest.mark.parametrize(
    ("load_kg", "hours", "done", "into", "count"),
    [
        (60.0, 10, 6, 0.0, 2),
        (50.0, 10, 5, 0.0, 2),
        (64.0, 10, 6, 0.0, 2),
        (100 / 3, 10, 3, 0.0, 4),  # three passes each, and the tenth by itself
        (100 / 3, 6, 3, 1 / 3, 3),  # no time for a fourth
        (9.0, 20, 0, 0.9, 12),  # less than a pass
    ],
)
def test_the_cart_runs_out_at_the_end_of_a_pass(
    load_kg: float, hours: float, done: int, into: float, count: int
) -> None:
    """Ten passes of 10 kg each: of 64 kg the last four wait."""
    ten = [np.full(10, 180.0)]
    p = problem(1, 1, load_kg=load_kg, capacity_s=np.array([hours * HOUR]))
    made = schedule([[1.0]], [min(count, 3)])
    _, fills, _ = visits_and_fills(p, made, ["a"], days(1), [None], ten)
    assert len(fills) == count
    assert (fills[0].passes_done, fills[0].into_pass) == (0, 0.0)
    assert (fills[1].passes_done, fills[1].into_pass) == (done, pytest.approx(into))


def test_the_passes_of_each_day() -> None:
    ten = [np.full(10, 180.0)]
    made = schedule([[0.55, 0.4, 0.05]], [1, 1, 0])
    visits, _, _ = visits_and_fills(problem(1, 3), made, ["a"], days(3), [None], ten)
    assert [(v.first_pass, v.last_pass) for v in visits] == [(1, 6), (6, 10), (10, 10)]


def test_a_load_is_sown_while_it_may_stay_in_the_cart() -> None:
    p = problem(2, 2, load_kg=150.0, within_days=1)
    _, fills, _ = visits_and_fills(p, schedule(A_THEN_B, [1, 1]), ["a", "b"], days(2), [None] * 2)
    assert [(f.day, f.mass_kg) for f in fills] == [
        (START + dt.timedelta(d), pytest.approx(100.0)) for d in (0, 1)
    ]


def test_what_stays_in_the_cart_goes_in_with_the_first_load_and_is_found_at_the_next() -> None:
    p = problem(1, 1, load_kg=50.0)
    cart = Cart((SeedBin("", "clover", 60.0, least_kg=10.0),))
    _, fills, _ = visits_and_fills(p, schedule([[1.0]], [2]), ["a"], days(1), [None], None, cart)
    assert [f.mass_kg for f in fills] == pytest.approx([60.0, 50.0])
    assert [f.left_kg for f in fills] == pytest.approx([0.0, 10.0])


def test_two_compartments_are_filled_with_their_own_bags() -> None:
    # Three parts of one seed to one of the other: 45 and 15 kg of 60, and 40 kg are left to sow.
    bins = (
        SeedBin("front", "clover", 45.0, share=0.75, bag_kg=15.0),
        SeedBin("rear", "grass", 40.0, share=0.25, bag_kg=20.0),
    )
    cart = Cart(bins)
    assert cart.load_kg == pytest.approx(60.0)
    p = problem(1, 1, load_kg=60.0)
    _, fills, _ = visits_and_fills(p, schedule([[1.0]], [2]), ["a"], days(1), [None], None, cart)
    put_in = [[one.mass_kg for one in f.bins] for f in fills]
    assert put_in == [pytest.approx([45.0, 20.0]), pytest.approx([30.0, 20.0])]
    assert [one.left_kg for one in fills[1].bins] == pytest.approx([0.0, 5.0])


def test_no_fill_for_what_is_only_rounding() -> None:
    third = 1 / 3
    visits, fills, _ = visits_and_fills(
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
    no_time = np.array([10.0, 4.25]) * HOUR
    p = problem(2, 2, load_kg=100.0, capacity_s=no_time)
    evening = schedule([[1.0, 0.0], [0.0, 1.0]], [2, 0])
    visits, fills, _ = visits_and_fills(p, evening, ["a", "b"], days(2), [None] * 2)
    assert [(f.paddock, f.day) for f in fills] == [("a", START), ("a", START)]
    assert fills[1].start_s + p.refill_s == pytest.approx(visits[0].end_s)
    assert visits[1].end_s - visits[1].start_s == pytest.approx(4.25 * HOUR)
    assert fills[1].serves == (("b", pytest.approx(100.0)),)


def test_a_fill_on_a_day_without_a_visit_is_for_the_next_paddock() -> None:
    p = problem(1, 2, load_kg=100.0, capacity_s=np.array([10.0, 4.25]) * HOUR)
    visits, fills, _ = visits_and_fills(p, schedule([[0.0, 1.0]], [1, 0]), ["a"], days(2), [None])
    assert [(f.paddock, f.day, f.start_s) for f in fills] == [("a", START, 7 * HOUR)]
    assert visits[0].end_s - visits[0].start_s == pytest.approx(4.25 * HOUR)


def test_the_day_begins_where_the_last_one_ended_then_with_what_closes_first() -> None:
    share = [[0.0, 0.2], [0.0, 0.2], [0.5, 0.5], [0.0, 0.2]]
    closes = [None, START + dt.timedelta(9), START + dt.timedelta(9), START + dt.timedelta(3)]
    visits, _, _ = visits_and_fills(
        problem(4, 2), schedule(share, [1, 1]), ["a", "c", "b", "d"], days(2), closes
    )
    assert [v.paddock for v in visits] == ["b", "b", "d", "c", "a"]


def test_a_cart_that_never_runs_empty_has_no_fills() -> None:
    visits, fills, _ = visits_and_fills(
        problem(1, 1, load_kg=None), schedule([[1.0]], [0]), ["a"], days(1), [None]
    )
    assert fills == ()
    assert visits[0].end_s - visits[0].start_s == pytest.approx(4.25 * HOUR)


def test_an_empty_schedule() -> None:
    nothing = visits_and_fills(problem(1, 1), schedule([[0.0]], [0]), ["a"], days(1), [None])
    assert nothing[:2] == ((), ())


def walk(p: ScheduleProblem) -> tuple[SeedingSchedule, tuple[Visit, ...], tuple[CartFill, ...]]:
    found = solve_schedule(p)
    m, n = found.share.shape
    names = [f"paddock {i}" for i in range(m)]
    visits, fills, walked = visits_and_fills(p, found, names, days(n), [None] * m)
    assert walked.fills.sum() == found.fills.sum()
    return walked, visits, fills


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
        # The schedule counted as many; a load is whole, or ends with a visit.
        assert p.load_kg is not None
        done_kg = np.cumsum([v.seed_kg for v in visits])
        at = np.cumsum([f.mass_kg for f in fills])
        for load, ends in zip(fills, at, strict=True):
            whole = load.mass_kg == pytest.approx(p.load_kg, rel=3e-6)
            assert whole or np.abs(done_kg - ends).min() <= 1e-5 * p.load_kg, seed
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


def test_the_cart_is_not_filled_before_the_season_begins() -> None:
    """The second day has time for all but a fill, which the first, over-early one would take."""
    given = {"forbidden": {"season": np.array([[True, False]])}, "load_kg": 100.0}
    p = problem(1, 2, capacity_s=np.array([10.0, 4.25]) * HOUR, **given)
    early = solve_schedule(p)
    assert (early.share[0, 1], early.fills.tolist()) == (pytest.approx(1.0), [1, 0])
    kept = replace(p, fills_from=1)
    made = solve_schedule(kept)
    # Half an hour of the four goes to the fill.
    assert made.share[0, 1] == pytest.approx(3.5 / 4)
    visits, fills, _ = visits_and_fills(kept, made, ["A"], days(2), [None])
    assert [fill.day for fill in fills] == [visit.day for visit in visits] == [days(2)[1].day]
