"""The chance that a plan is done: closed forms, and what may only help or hurt."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise, product
from typing import Any

import numpy as np
import pastures
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from schedule_referee import refill_heavy, small_problem
from scipy.stats import beta, binom

from evenacre.model import PastWeather
from evenacre.model.finding import FindingError
from evenacre.planning.interseeding.plan_types import ScheduleProblem, SeedingSchedule, WeatherTold
from evenacre.planning.interseeding.solver.solve import solve_schedule
from evenacre.planning.interseeding.weather import (
    Chances,
    SeasonsLost,
    lost_in_spells,
    past_seasons,
    seasons_of,
    simulate,
)

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
    p: ScheduleProblem,
    lost_chance: float,
    spell_days: float | None = None,
    *,
    runs: int = RUNS,
    random_seed: int = 1,
) -> Chances:
    none = np.zeros(len(p.capacity_s), dtype=bool)
    return simulate(
        p,
        solve_schedule(p),
        p.capacity_s,
        drawn(lost_chance, none, spell_days, runs=runs, random_seed=random_seed),
    )


def drawn(
    lost_chance: float,
    known: np.ndarray,
    spell_days: float | None = None,
    *,
    runs: int = RUNS,
    random_seed: int = 1,
) -> SeasonsLost:
    lost = lost_in_spells(lost_chance, spell_days, known, runs=runs, random_seed=random_seed)
    return SeasonsLost(lost, WeatherTold(lost_chance, spell_days or 0.0, None))


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
    weather = drawn(p, np.zeros(4, dtype=bool), random_seed=2)
    found = simulate(two, schedule, two.capacity_s, weather)
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


def lost_of(n: int, chance: float, spell: float) -> list[float]:
    """Chance of 0 to n lost days of n: sequences of so many lost days by their number of runs.

    Of s lost days in k runs there are C(s - 1, k - 1) ways to part them, and likewise of the good
    days about them (K. R. Gabriel 1959, The distribution of the number of successes in a sequence
    of dependent trials, Biometrika 46, 454-460).
    """
    ends = 1 / spell
    begins = ends * chance / (1 - chance)
    out = []
    for s in range(n + 1):
        f, total = n - s, 0.0
        if s in (0, n):
            total = (
                (1 - chance) * (1 - begins) ** (n - 1) if s == 0 else chance * (1 - ends) ** (n - 1)
            )
        for k in range(1, s + 1):
            ways = math.comb(s - 1, k - 1)
            for first_lost, runs_good in ((1, k), (1, k - 1), (0, k), (0, k + 1)):
                if not f or not 1 <= runs_good <= f:
                    continue
                into_good = k if first_lost and runs_good == k else k - 1
                if not first_lost and runs_good == k + 1:
                    into_good = k
                into_lost = k - 1 if first_lost else k
                total += (
                    (chance if first_lost else 1 - chance)
                    * ways
                    * math.comb(f - 1, runs_good - 1)
                    * ends**into_good
                    * (1 - ends) ** (s - k)
                    * begins**into_lost
                    * (1 - begins) ** (f - runs_good)
                )
        out.append(total)
    return out


@pytest.mark.parametrize(("chance", "spell"), [(0.25, 3.0), (0.4, 2.0), (0.3, 1.2), (0.5, 6.0)])
def test_lost_days_come_as_often_as_the_chain_has_it(chance: float, spell: float) -> None:
    n = 14
    known = lost_of(n, chance, spell)
    assert sum(known) == pytest.approx(1.0)
    assert np.dot(range(n + 1), known) == pytest.approx(n * chance)
    weather = drawn(chance, np.zeros(n, dtype=bool), spell, random_seed=3)
    counts = np.bincount(weather.lost.sum(axis=0), minlength=n + 1) / RUNS
    for found, true in zip(counts, known, strict=True):
        assert within(found, true)
    ends = weather.lost[:-1] & ~weather.lost[1:]
    assert weather.lost[:-1].sum() / ends.sum() == pytest.approx(spell, rel=0.05)


def test_the_closed_form_is_that_of_all_sequences() -> None:
    chance, spell, n = 0.35, 2.5, 9
    ends, begins = 0.4, 0.4 * 0.35 / 0.65
    counted = np.zeros(n + 1)
    for days in product((True, False), repeat=n):
        p = chance if days[0] else 1 - chance
        for before, now in pairwise(days):
            turn = ends if before else begins
            p *= turn if before != now else 1 - turn
        counted[sum(days)] += p
    assert lost_of(n, chance, spell) == pytest.approx(counted.tolist())


@pytest.mark.parametrize("spell", [1.5, 3.0, 8.0])
def test_a_job_of_days_is_a_tail_of_the_chain(spell: float) -> None:
    window, needed, chance = 10, 5, 0.3
    found = chances(one_paddock(window, needed), chance, spell)
    assert within(found.all, sum(lost_of(window, chance, spell)[: window - needed + 1]))


def test_a_spell_of_no_memory_is_each_day_by_itself() -> None:
    alone = drawn(0.3, np.zeros(9, dtype=bool), None).lost
    as_told = drawn(0.3, np.zeros(9, dtype=bool), 1 / 0.7).lost
    assert (alone == as_told).mean() > 0.999  # but for the last digit of a chance


def test_days_about_a_known_lost_day_are_lost_as_the_chain_has_it() -> None:
    chance, spell, n, known = 0.3, 4.0, 7, 3
    again = 1 - 1 / spell
    memory = again - (1 - again) * chance / (1 - chance)
    told = np.zeros(n, dtype=bool)
    told[known] = True
    lost = drawn(chance, told, spell).lost
    assert lost[known].all()
    # A chain that is reversible forgets as fast to either side.
    for day in range(n):
        assert within(float(lost[day].mean()), chance + (1 - chance) * memory ** abs(day - known))


def test_all_or_no_days_lost_know_no_spells() -> None:
    none = np.zeros(5, dtype=bool)
    assert not drawn(0.0, none, 3.0, runs=50).lost.any()
    assert drawn(1.0, none, 3.0, runs=50).lost.all()
    with pytest.raises(ValueError, match="short"):
        drawn(0.9, none, 2.0)


@given(
    st.floats(0.01, 0.95), st.floats(1.0, 30.0), st.lists(st.booleans(), min_size=1, max_size=12)
)
def test_known_lost_days_are_lost_whatever_the_chain(
    chance: float, spell: float, known: list[bool]
) -> None:
    assume(spell >= chance / (1 - chance))
    lost = drawn(chance, np.array(known), spell, runs=20).lost
    assert lost.shape == (len(known), 20)
    assert lost[np.array(known)].all()


# Past years


def rain_of(years: int, wet: Callable[[dt.date], bool], **given: Any) -> PastWeather:
    """So many years from 2001 on, with 10 mm on some days."""
    first = dt.date(2001, 1, 1)
    days = [first + dt.timedelta(n) for n in range((dt.date(2001 + years, 1, 1) - first).days)]
    rain = np.array([0.01 if wet(day) else 0.0 for day in days])
    return PastWeather(first, rain, "rain.csv", **{"stops_m": 0.005, "dry_after_days": 0} | given)


def season(n: int = 10, month: int = 8, day: int = 10) -> list[dt.date]:
    return [dt.date(2026, month, day) + dt.timedelta(k) for k in range(n)]


def test_past_years_are_taken_whole() -> None:
    # Every other year is wet from end to end: no spell ends within a season.
    past = rain_of(12, lambda day: day.year % 2 == 0)
    taken = past_seasons(past, season(), np.zeros(10, dtype=bool))
    assert taken.told.years == tuple(range(2001, 2013))
    assert (taken.lost.all(axis=0) | ~taken.lost.any(axis=0)).all()
    assert taken.told.share == 0.5
    p = one_paddock(10, 4.0, days=10)
    found = simulate(p, solve_schedule(p), p.capacity_s, taken)
    assert found.all == pytest.approx(0.5)
    # Jeffreys: the quantiles of a beta distribution.
    assert found.all_within == pytest.approx(beta.ppf([0.05, 0.95], 6.5, 6.5))


def test_a_past_season_may_have_come_a_week_earlier_or_later() -> None:
    past = rain_of(10, lambda day: (day.month, day.day) == (8, 15))
    lost = past_seasons(past, season(), np.zeros(10, dtype=bool)).lost
    # 15 starts of 10 days from 3 to 17 August hold the 15th in those from the 6th to the 15th.
    assert lost.shape == (10, 150)
    assert lost.any(axis=0).mean() == pytest.approx(10 / 15)
    assert lost.sum(axis=0).max() == 1


def test_ground_dries_days_after_rain() -> None:
    wet = {(8, 12), (8, 13), (8, 17)}
    past = rain_of(10, lambda day: (day.month, day.day) in wet, dry_after_days=2)
    lost = past_seasons(past, season(), np.zeros(10, dtype=bool)).lost[:, 7]  # not shifted
    assert np.flatnonzero(lost).tolist() == [2, 3, 4, 5, 7, 8, 9]  # 12 to 15 and 17 to 19 August
    told = past_seasons(past, season(60, 7, 20), np.zeros(60, dtype=bool)).told
    assert (told.share, told.spell_days) == pytest.approx((7 / 60, 3.5))
    light = replace(past, stops_m=0.02)
    assert not past_seasons(light, season(), np.zeros(10, dtype=bool)).lost.any()


def test_years_with_gaps_are_left_out_and_single_days_taken_as_lost() -> None:
    past = rain_of(12, lambda _: False)
    rain = past.rain_m.copy()
    rain[(dt.date(2003, 8, 14) - past.first).days] = np.nan
    at = (dt.date(2006, 8, 1) - past.first).days
    rain[at : at + 25] = np.nan
    taken = past_seasons(replace(past, rain_m=rain), season(30), np.zeros(30, dtype=bool))
    assert taken.told.years == tuple(y for y in range(2001, 2013) if y != 2006)
    assert taken.lost.any(axis=0).sum() == 12  # 2003, begun from 3 to 14 August
    assert [f.code for f in taken.findings] == ["past_days_unknown", "past_years_left_out"]


def test_a_season_over_new_year_and_one_from_a_leap_day() -> None:
    past = rain_of(11, lambda day: day.month == 1)
    lost = past_seasons(past, season(20, 12, 20), np.zeros(20, dtype=bool)).lost
    assert lost.shape[1] == 150  # the last winter is not whole
    assert lost[:, 7].tolist() == [False] * 12 + [True] * 8
    leap = [dt.date(2028, 2, 29) + dt.timedelta(k) for k in range(5)]
    assert len(past_seasons(past, leap, np.zeros(5, dtype=bool)).told.years or ()) == 11


def test_too_few_years_are_said_and_none_refused() -> None:
    few = past_seasons(rain_of(3, lambda _: False), season(), np.zeros(10, dtype=bool))
    assert [f.code for f in few.findings] == ["few_past_years"]
    with pytest.raises(FindingError) as error:
        past_seasons(rain_of(1, lambda _: False), season(200, 9, 1), np.zeros(200, dtype=bool))
    assert error.value.code == "no_past_season"


def test_the_plan_leaves_what_past_years_lost_unless_told() -> None:
    past = rain_of(10, lambda day: day.day % 4 == 0)
    plain = pastures.seeding(past_weather=past)
    told, taken = seasons_of(plain, season(20))
    assert taken is not None
    assert told.lost_chance == pytest.approx(float(taken.lost.mean()))
    assert taken.findings == ()
    own = replace(plain, lost_chance=0.6, past_weather=replace(past, allowance_told=True))
    kept, taken = seasons_of(own, season(20))
    assert kept.lost_chance == 0.6
    assert taken is not None
    assert [f.code for f in taken.findings] == ["allowance_unlike_past"]


def test_spells_beyond_the_season_are_said() -> None:
    _, weather = seasons_of(pastures.seeding(lost_chance=0.2, lost_spell_days=40.0), season(20))
    assert weather is not None
    assert [f.code for f in weather.findings] == ["spell_beyond_season"]
    assert seasons_of(pastures.seeding(), season(20))[1] is None


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
    found = simulate(p, solve_schedule(p), p.capacity_s, drawn(0.25, lost))
    assert within(found.all, 0.75)
    lost[1] = True
    assert simulate(p, solve_schedule(p), p.capacity_s, drawn(0.0, lost, runs=9)).all == 0


def test_full_days_do_more_than_the_plan_counted_on() -> None:
    p = one_paddock(4, 1.0)
    slow = replace(p, capacity_s=p.capacity_s * 0.5)
    none = np.zeros(12, dtype=bool)
    found = simulate(slow, solve_schedule(slow), p.capacity_s, drawn(0.5, none))
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
