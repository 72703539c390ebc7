"""The fewest constraints to relax, against trying all sets of them."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from schedule_referee import assert_feasible, enumerate_schedules

from evenacre.planning.interseeding.plan_types import (
    BEYOND,
    BOOKED,
    WEATHER,
    ScheduleProblem,
    SeedingSchedule,
)
from evenacre.planning.interseeding.solver.candidate import Candidate
from evenacre.planning.interseeding.solver.relaxation import Eased, Told, smallest_relaxation
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
    capacity = np.asarray({**values, **given}["capacity_s"])
    # Days may be 24 hours long.
    values["longer_s"] = np.where(capacity > 0, 24 * HOUR - capacity, 0.0)
    return ScheduleProblem(**{**values, **given})  # type: ignore[arg-type]


def told(p: ScheduleProblem, *, time_limit_s: float = 2.0) -> Told:
    """What is told; that it is enough is looked at too."""
    eased = smallest_relaxation(p, time_limit_s=time_limit_s)
    if eased.told:
        assert_followed(p, eased)
    return eased.told


def assert_followed(p: ScheduleProblem, eased: Eased) -> None:
    """With each rule moved so far and no farther the schedule is there, on days long enough."""
    assert eased.share is not None
    capacity, on_hand = p.capacity_s.copy(), p.on_hand_kg
    shut = {rule: np.asarray(table, dtype=float).copy() for rule, table in p.forbidden.items()}
    out: dict[int, float] = {}
    for what, paddock, amount in eased.told:
        if what == "seed":
            on_hand = None if on_hand is None else on_hand + amount
        elif what == "hours":
            assert p.longer_s is not None
            capacity += np.minimum(p.longer_s, amount)
        elif what == WEATHER:
            capacity += p.taken_s[WEATHER] * amount / p.taken_s[WEATHER].sum()
        elif what == BEYOND:
            assert paddock is not None
            out[paddock] = amount
        elif what in p.taken_s:
            assert eased.given_s[what].sum() == pytest.approx(amount)
            assert (eased.given_s[what] <= p.taken_s[what] * (1 + 1e-9)).all()
            capacity += eased.given_s[what]
        else:
            rows = slice(None) if paddock is None else paddock
            table = shut[what]
            table[rows] = np.where(table[rows] <= amount * (1 + 1e-9), 0.0, table[rows])
    eased_problem = replace(p, forbidden=shut, capacity_s=capacity, on_hand_kg=on_hand)
    share = eased.share
    assert not any(share[table > 0].any() for table in shut.values())
    rate = p.least_rate_kg_per_m2
    fills = Candidate.of(eased_problem, share, rate).fills
    value = float(p.value_per_m2 * p.area_m2 @ share.sum(axis=1))
    assert_feasible(eased_problem, SeedingSchedule(share, fills, rate, value, np.inf, False, 0.0))
    wanted = [p.worth_seeding[i] and i not in out for i in range(len(share))]
    assert share.sum(axis=1)[wanted] == pytest.approx(1.0)


def test_nothing_when_all_can_be_seeded_whole() -> None:
    assert told(problem(capacity_s=np.full(2, HOUR))) == ()


def test_seed_is_short_by_what_the_least_rate_takes() -> None:
    short = problem(capacity_s=np.full(2, HOUR), on_hand_kg=70.0)
    assert told(short) == (("seed", None, pytest.approx(10.0)),)


def test_an_hour_of_the_booking_is_less_than_an_hour_more_that_cannot_be_had() -> None:
    # An hour more on the only day that has any is as good as an hour of the booking: one each.
    found = told(problem())
    assert len(found) == 1
    assert found[0][0] in {"hours", BOOKING}
    assert found[0][2] == pytest.approx(HOUR, rel=1e-4)


def test_a_long_day_leaves_only_the_booking() -> None:
    long = problem(work_s=np.full(2, 20 * HOUR), capacity_s=np.array([22 * HOUR, 0.0]))
    booked = replace(long, taken_s={BOOKING: np.array([0.0, 24 * HOUR])})
    ((what, paddock, amount),) = told(booked)
    assert (what, paddock) == (BOOKING, None)
    assert amount == pytest.approx(18 * HOUR, rel=1e-4)


def test_hours_are_as_many_on_each_day_that_has_any() -> None:
    days = problem(capacity_s=np.array([HOUR / 2, HOUR]), taken_s={})
    assert told(days) == (("hours", None, pytest.approx(HOUR / 4, rel=1e-4)),)


def test_a_window_that_is_shut_moves_as_far_as_the_last_day_it_needs() -> None:
    far = np.array([[0.0, 0.0, 0.0, 0.0], [5.0, 6.0, 7.0, 8.0]])
    found = told(
        problem(
            forbidden={"close": far},
            work_s=np.array([1.0, 1.9]) * HOUR,
            capacity_s=np.full(4, HOUR),
            taken_s={},
        )
    )
    assert found == (("close", 1, 6.0),)


def test_a_rule_of_all_paddocks_is_one_thing() -> None:
    far = np.array([[0.0, 3.0], [2.0, 4.0]])
    one = problem(forbidden={"season": far}, common=frozenset({"season"}), taken_s={})
    assert told(one) == (("season", None, 4.0),) or told(one)[0][0] == "hours"
    both = replace(one, longer_s=None, capacity_s=np.full(2, HOUR))
    assert told(both) == (("season", None, 3.0),)


def test_what_counts_as_a_day_decides_which_rule_is_moved() -> None:
    shut = np.array([[3.0, 0.0]])
    mass = np.array([[0.0, 0.02]])
    one = problem(
        area_m2=np.array([4.0]) * HECTARE,
        value_per_m2=np.ones(1),
        work_s=np.array([HOUR]),
        forbidden={"close": shut, "residual": mass},
        capacity_s=np.full(2, HOUR),
        longer_s=None,
        taken_s={},
    )
    assert told(replace(one, counts_as_day={"residual": 0.01})) == (("residual", 0, 0.02),)
    assert told(replace(one, counts_as_day={"residual": 0.005})) == (("close", 0, 3.0),)


def test_weather_gives_back_the_same_part_of_each_day() -> None:
    taken = {WEATHER: np.array([HOUR, HOUR / 2])}
    part = problem(capacity_s=np.array([HOUR, HOUR / 2]), longer_s=None, taken_s=taken)
    assert told(part) == ((WEATHER, None, pytest.approx(HOUR / 2, rel=1e-4)),)


def test_days_get_no_longer_than_they_can() -> None:
    # An hour is missing; the first day has room for a quarter of one.
    room = np.array([0.25, 2.0]) * HOUR
    days = problem(capacity_s=np.full(2, HOUR / 2), longer_s=room, taken_s={})
    assert told(days) == (("hours", None, pytest.approx(0.75 * HOUR, rel=1e-4)),)
    short = replace(days, longer_s=np.array([0.25, 0.5]) * HOUR)
    assert [(what, amount) for what, _, amount in told(short)] == [(BEYOND, pytest.approx(0.25))]


def test_a_day_shut_by_two_rules_takes_both() -> None:
    shut = np.array([[False, False], [True, True]])
    two = problem(forbidden={"close": shut, "wait": shut}, capacity_s=np.full(2, 2 * HOUR))
    assert set(told(two)) == {("close", 1, 1.0), ("wait", 1, 1.0)}


def test_what_hard_rules_shut_is_out_of_reach_and_the_rest_is_still_told() -> None:
    away = np.array([[False, False], [True, True]])
    shut = np.array([[True, True], [False, False]])
    hard = problem(
        forbidden={"herd": np.where(away, np.inf, 0.0), "close": shut},
        capacity_s=np.full(2, HOUR),
    )
    assert told(hard) == (("close", 0, 1.0), (BEYOND, 1, 1.0))


def test_no_day_at_all_leaves_every_paddock_out_of_reach() -> None:
    none = problem(capacity_s=np.zeros(2), taken_s={})
    assert told(none) == ((BEYOND, 0, 1.0), (BEYOND, 1, 1.0))


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
            capacity += 0.0 if p.longer_s is None else p.longer_s
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
        found = told(p, time_limit_s=20.0)
        known = fewest(p)
        if known is None:
            assert any(what == BEYOND for what, _, _ in found), seed
            continue
        assert len(found) == known, seed
        assert whole(relaxed(p, tuple((what, paddock) for what, paddock, _ in found))), seed
        if seed % 10 == 0:
            assert found == told(p, time_limit_s=20.0)


@pytest.mark.parametrize("seed", range(100, 124))
def test_hours_are_enough_and_no_fewer_would_do(seed: int) -> None:
    p = replace(random_problem(seed), on_hand_kg=None, taken_s={})
    p = replace(p, forbidden={"close": np.zeros((len(p.area_m2), len(p.capacity_s)), dtype=bool)})
    p = replace(p, capacity_s=np.maximum(p.capacity_s, 1.0) * 0.7)
    found = told(p, time_limit_s=20.0)
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
        forbidden={"herd": np.where(shut, np.inf, 0.0)},
        taken_s={},
    )
    assert told(long) == ((BEYOND, 0, pytest.approx(6 / 30)),)


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
    found = told(farm, time_limit_s=20.0)
    windows = {(rule, p) for rule, p, _ in found if rule != "seed"}
    assert windows == {("residual", p) for p in np.nonzero(residual.any(axis=1))[0]}
    assert found[0] == ("seed", None, pytest.approx(50.0))
    eased = relaxed(farm, tuple((rule, p) for rule, p, _ in found))
    assert solve_schedule(eased).share.sum(axis=1) == pytest.approx(np.ones(m))
