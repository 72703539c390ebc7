"""The fewest constraints to relax, against trying all sets of them."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from schedule_referee import enumerate_schedules

from evenacre.planning.interseeding.plan_types import BEYOND, BOOKED, ScheduleProblem
from evenacre.planning.interseeding.solver.relaxation import smallest_relaxation
from evenacre.planning.interseeding.solver.solve import solve_schedule

HOUR = 3600.0
HECTARE = 1e4
BOOKING = BOOKED + "hay"


def problem(**given: object) -> ScheduleProblem:
    """Two paddocks of an hour each, one day of an hour, another that is booked."""
    values: dict[str, object] = {
        "area_m2": np.array([4.0, 4.0]) * HECTARE,
        "value_per_m2": np.ones(2),
        "work_s": np.full(2, HOUR),
        "forbidden": {"close": np.zeros((2, 2), dtype=bool)},
        "capacity_s": np.array([HOUR, 0.0]),
        "least_rate_kg_per_m2": 0.001,
        "rate_kg_per_m2": 0.0015,
        "most_rate_kg_per_m2": 0.0015,
        "taken_s": {BOOKING: np.array([0.0, 4 * HOUR])},
    }
    return ScheduleProblem(**{**values, **given})  # type: ignore[arg-type]


def test_nothing_when_all_can_be_seeded_whole() -> None:
    assert smallest_relaxation(problem(capacity_s=np.full(2, HOUR))) == ()


def test_seed_is_short_by_what_the_least_rate_takes() -> None:
    short = problem(capacity_s=np.full(2, HOUR), on_hand_kg=70.0)
    assert smallest_relaxation(short) == (("seed", None, pytest.approx(10.0)),)


def test_an_hour_of_the_booking_is_less_than_an_hour_more_that_cannot_be_had() -> None:
    # An hour more on the only day that has any is as good as an hour of the booking: one each.
    found = smallest_relaxation(problem())
    assert len(found) == 1
    assert found[0][0] in {"hours", BOOKING}
    assert found[0][2] == pytest.approx(HOUR, rel=1e-4)


def test_a_long_day_leaves_only_the_booking() -> None:
    long = problem(work_s=np.full(2, 20 * HOUR), capacity_s=np.array([22 * HOUR, 0.0]))
    booked = replace(long, taken_s={BOOKING: np.array([0.0, 24 * HOUR])})
    ((what, paddock, amount),) = smallest_relaxation(booked)
    assert (what, paddock) == (BOOKING, None)
    assert amount == pytest.approx(18 * HOUR, rel=1e-4)


def test_hours_are_as_many_on_each_day_that_has_any() -> None:
    days = problem(capacity_s=np.array([HOUR / 2, HOUR]), taken_s={})
    assert smallest_relaxation(days) == (("hours", None, pytest.approx(HOUR / 4, rel=1e-4)),)


def test_a_window_that_is_shut_counts_the_days_it_needs() -> None:
    shut = np.array([[False, False, False, False], [True, True, True, True]])
    found = smallest_relaxation(
        problem(
            forbidden={"close": shut},
            work_s=np.array([1.0, 1.9]) * HOUR,
            capacity_s=np.full(4, HOUR),
            taken_s={},
        )
    )
    assert found == (("close", 1, 2.0),)


def test_a_day_shut_by_two_rules_takes_both() -> None:
    shut = np.array([[False, False], [True, True]])
    two = problem(forbidden={"close": shut, "wait": shut}, capacity_s=np.full(2, 2 * HOUR))
    assert set(smallest_relaxation(two)) == {("close", 1, 1.0), ("wait", 1, 1.0)}


def test_what_hard_rules_shut_is_out_of_reach_and_the_rest_is_still_told() -> None:
    away = np.array([[False, False], [True, True]])
    shut = np.array([[True, True], [False, False]])
    hard = problem(
        forbidden={"herd": away, "close": shut},
        hard=frozenset({"herd"}),
        capacity_s=np.full(2, HOUR),
    )
    assert smallest_relaxation(hard) == (("close", 0, 1.0), (BEYOND, 1, 1.0))


def test_no_day_at_all_leaves_every_paddock_out_of_reach() -> None:
    none = problem(capacity_s=np.zeros(2), taken_s={})
    assert smallest_relaxation(none) == ((BEYOND, 0, 1.0), (BEYOND, 1, 1.0))


# Against all sets


def random_problem(seed: int) -> ScheduleProblem:
    rng = np.random.default_rng(seed)
    m, n = int(rng.integers(1, 4)), int(rng.integers(1, 4))
    area = rng.uniform(1, 6, m) * HECTARE
    full = rng.uniform(0.5, 2.5, n) * HOUR
    booked = np.where(rng.random(n) < 0.5, full * rng.uniform(0.3, 1, n), 0.0)
    loaded = bool(rng.random() < 0.4)
    close, wait = rng.random((2, m, n)) < 0.3
    return problem(
        area_m2=area,
        value_per_m2=np.ones(m),
        work_s=area / HECTARE * 1100.0,
        forbidden={"close": close, "wait": wait},
        capacity_s=full - booked,
        taken_s={BOOKING: booked},
        setup_s=600.0,
        on_hand_kg=float(area.sum() * 0.001 * rng.uniform(0.7, 1.5)),
        load_kg=float(area.sum() * 0.001 * rng.uniform(0.4, 1.2)) if loaded else None,
        refill_s=900.0,
    )


def relaxed(p: ScheduleProblem, groups: tuple[tuple[str, int | None], ...]) -> ScheduleProblem:
    """All of each of some groups relaxed."""
    capacity = p.capacity_s.copy()
    forbidden = {rule: table.copy() for rule, table in p.forbidden.items()}
    on_hand = p.on_hand_kg
    for what, paddock in groups:
        if what == "seed":
            on_hand = None
        elif what == "hours":
            capacity += np.where(p.capacity_s > 0, 24 * HOUR - p.capacity_s.max(), 0.0)
        elif paddock is None:
            capacity += p.taken_s[what]
        else:
            forbidden[what][paddock] = False
    return replace(p, capacity_s=capacity, forbidden=forbidden, on_hand_kg=on_hand)


def whole(p: ScheduleProblem) -> bool:
    total = float(p.value_per_m2 @ p.area_m2)
    return enumerate_schedules(p).value >= total * (1 - 1e-7)


def fewest(p: ScheduleProblem) -> int | None:
    groups: list[tuple[str, int | None]] = [("seed", None), ("hours", None), (BOOKING, None)]
    groups += [
        (rule, i) for rule, table in p.forbidden.items() for i in np.nonzero(table.any(axis=1))[0]
    ]
    for count in range(len(groups) + 1):
        if any(whole(relaxed(p, some)) for some in combinations(groups, count)):
            return count
    return None


@pytest.mark.parametrize("block", range(6))
def test_no_smaller_set_would_do(block: int) -> None:
    for seed in range(block * 10, block * 10 + 10):
        p = random_problem(seed)
        found = smallest_relaxation(p, time_limit_s=20.0)
        known = fewest(p)
        if known is None:
            assert any(what == BEYOND for what, _, _ in found), seed
            continue
        assert len(found) == known, seed
        assert whole(relaxed(p, tuple((what, paddock) for what, paddock, _ in found))), seed
        if seed % 10 == 0:
            assert found == smallest_relaxation(p, time_limit_s=20.0)


@pytest.mark.parametrize("seed", range(100, 124))
def test_hours_are_enough_and_no_fewer_would_do(seed: int) -> None:
    p = replace(random_problem(seed), on_hand_kg=None, taken_s={})
    p = replace(p, forbidden={"close": np.zeros((len(p.area_m2), len(p.capacity_s)), dtype=bool)})
    p = replace(p, capacity_s=np.maximum(p.capacity_s, 1.0) * 0.7)
    found = smallest_relaxation(p, time_limit_s=20.0)
    if not found:
        assert whole(p)
        return
    ((what, _, amount),) = found
    assert what == "hours"
    assert whole(replace(p, capacity_s=p.capacity_s + amount * 1.001 + 0.1))
    assert not whole(replace(p, capacity_s=p.capacity_s + amount * 0.99 - 1.0))


def test_a_paddock_only_part_of_which_can_be_reached() -> None:
    # Hard days leave one day; even 24 h of it do not do 30 h of work.
    shut = np.array([[False, True]])
    long = problem(
        area_m2=np.array([4.0]) * HECTARE,
        value_per_m2=np.ones(1),
        work_s=np.array([30 * HOUR]),
        forbidden={"herd": shut},
        hard=frozenset({"herd"}),
        taken_s={},
    )
    assert smallest_relaxation(long) == ((BEYOND, 0, pytest.approx(6 / 30)),)


def test_a_large_farm_gets_an_answer_that_is_enough() -> None:
    rng = np.random.default_rng(3)
    m, n = 40, 120
    area = rng.uniform(3, 12, m) * HECTARE
    day, leave = np.arange(n), np.arange(m) * n // (m + 3) + 2
    residual = np.zeros((m, n), dtype=bool)
    residual[rng.choice(m, 4, replace=False)] = True
    farm = problem(
        area_m2=area,
        value_per_m2=np.ones(m),
        work_s=area / HECTARE / 3.4 * HOUR,
        forbidden={
            "wait": day < leave[:, None],
            "close": day > leave[:, None] + 13,
            "residual": residual,
        },
        capacity_s=np.full(n, 7 * HOUR),
        taken_s={},
        on_hand_kg=float(area.sum() * 0.001) - 50.0,
        load_kg=500.0,
        refill_s=1200.0,
        setup_s=900.0,
    )
    found = smallest_relaxation(farm)
    windows = {(rule, p) for rule, p, _ in found if rule != "seed"}
    assert windows == {("residual", p) for p in np.nonzero(residual.any(axis=1))[0]}
    assert found[0] == ("seed", None, pytest.approx(50.0))
    eased = relaxed(farm, tuple((rule, p) for rule, p, _ in found))
    assert solve_schedule(eased).share.sum(axis=1) == pytest.approx(np.ones(m))
