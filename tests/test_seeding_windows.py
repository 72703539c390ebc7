"""Seeding windows: each rule by hand, all of them against a plain referee, wider never closes."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pastures import LB_AC, cows, day, paddock, seeding

from evenacre.model import Grazing, Paddock, Seeding, Stay
from evenacre.planning.interseeding.grazing import plan_grazing
from evenacre.planning.interseeding.plan_types import GrazingPlan, PlannedStay, Rule, SeedingWindow
from evenacre.planning.interseeding.windows import plan_days, seeding_windows, window_findings

DAYS = [day(n) for n in range(-5, 120)]


def herd(*stays: tuple[int, int], residual: float | None = None, name: str = "A") -> GrazingPlan:
    """Stays in one paddock, from day to day, with as much left standing after each."""
    return GrazingPlan(
        tuple(
            PlannedStay(Stay(name, day(a), day(b)), None, None, residual, None, 0.0)
            for a, b in stays
        ),
        demand_kg_per_day=0.0,
        supply_kg=None,
        needed_kg=0.0,
    )


def window(
    moves: GrazingPlan,
    rules: Seeding,
    ground: Paddock | None = None,
    days: Sequence[dt.date] = DAYS,
) -> SeedingWindow:
    (one,) = seeding_windows(Grazing((), (ground or paddock(),)), moves, rules, days)
    return one


def open_days(w: SeedingWindow, days: Sequence[dt.date] = DAYS) -> list[int]:
    shut = np.logical_or.reduce([w.blocked[rule] for rule in Rule])
    assert (w.open_days == ~shut).all()
    return [(d - day(0)).days for d, no in zip(days, shut, strict=True) if not no]


def told(w: SeedingWindow) -> tuple[int | None, Rule | None, int | None, Rule | None]:
    return (
        w.opens and (w.opens - day(0)).days,
        w.opened_by,
        w.closes and (w.closes - day(0)).days,
        w.closed_by,
    )


def test_opens_when_the_herd_leaves_and_includes_its_closing_day() -> None:
    w = window(herd((0, 5)), seeding(closes_after_days=14))
    assert told(w) == (5, Rule.HERD, 19, Rule.CLOSE)
    assert open_days(w) == list(range(5, 20))
    assert (w.left, w.back) == (day(5), None)


@pytest.mark.parametrize(
    ("rules", "expected"),
    [
        ({"opens_after_days": 3, "closes_after_days": 3}, (8, Rule.WAIT, 8, Rule.CLOSE)),
        ({"opens_after_days": 3, "last_day": day(12)}, (8, Rule.WAIT, 12, Rule.SEASON)),
        ({"first_day": day(9), "last_day": day(12)}, (9, Rule.SEASON, 12, Rule.SEASON)),
        ({"first_day": day(9), "closes_after_days": 10}, (9, Rule.SEASON, 15, Rule.CLOSE)),
        # 0.10 left and 0.01 a day more: 0.15 stands on the fifth day, and more on the sixth.
        ({"regrowth_most_kg_per_m2": 0.15}, (5, Rule.HERD, 10, Rule.REGROWTH)),
        ({"residual_most_kg_per_m2": 0.10, "last_day": day(9)}, (5, Rule.HERD, 9, Rule.SEASON)),
        ({"residual_most_kg_per_m2": 0.09}, (None, None, None, None)),
        ({"opens_after_days": 4, "closes_after_days": 3}, (None, None, None, None)),
        ({"first_day": day(20), "closes_after_days": 14}, (None, None, None, None)),
    ],
)
def test_each_rule_binds_where_it_should(
    rules: dict[str, Any], expected: tuple[int | None, Rule | None, int | None, Rule | None]
) -> None:
    ground = paddock(growth_kg_per_m2_per_day=0.01)
    assert told(window(herd((0, 5), residual=0.10), seeding(**rules), ground)) == expected


def test_regrowth_stops_at_the_most_it_grows_to() -> None:
    ground = paddock(growth_kg_per_m2_per_day=0.01, forage_most_kg_per_m2=0.14)
    rules = seeding(regrowth_most_kg_per_m2=0.15)
    assert open_days(window(herd((0, 5), residual=0.1), rules, ground))[-1] == 119


@pytest.mark.parametrize(
    ("rest", "withholding", "last"), [(0, 0, 39), (10, 0, 30), (10, 25, 15), (35, 30, 5)]
)
def test_seedlings_and_label_get_their_time_before_the_herd_is_back(
    rest: int, withholding: int, last: int
) -> None:
    # Out on day 5, back on day 40: seeded on day s it may be grazed from s + rest on.
    rules = seeding(rest_days=rest, withholding_days=withholding, last_day=day(39))
    w = window(herd((0, 5), (40, 44)), rules)
    assert told(w)[0] == 5
    assert told(w)[2] == last
    assert w.closed_by == (Rule.REGRAZE if last < 39 else Rule.HERD)
    assert (w.left, w.back) == (day(5), day(40))
    # After the last stay nothing is in the way.
    later = window(herd((0, 5), (40, 44)), replace(rules, last_day=None))
    assert open_days(later) == [*range(5, last + 1), *range(44, 120)]


def test_too_short_a_time_between_stays_leaves_the_spell_after_them() -> None:
    w = window(herd((0, 5), (40, 44)), seeding(rest_days=36, closes_after_days=7))
    assert open_days(w) == list(range(44, 52))
    assert told(w) == (44, Rule.HERD, 51, Rule.CLOSE)
    assert (w.left, w.back) == (day(44), None)


def test_each_stay_has_its_spell() -> None:
    moves = herd((0, 5), (40, 44), (80, 90))
    w = window(moves, seeding(opens_after_days=1, closes_after_days=4))
    assert open_days(w) == [6, 7, 8, 9, 45, 46, 47, 48, 91, 92, 93, 94]
    assert told(w) == (6, Rule.WAIT, 94, Rule.CLOSE)
    assert (w.left, w.back) == (day(5), None)


def test_a_day_the_herd_leaves_and_comes_back_is_its_own() -> None:
    # The paddock is fenced in two and grazed on: out and in on the same morning.
    assert open_days(window(herd((0, 5), (5, 9)), seeding(last_day=day(12)))) == [9, 10, 11, 12]


def test_a_window_that_the_user_decided() -> None:
    decided = paddock(window=(day(8), day(12)))
    w = window(herd((0, 5)), seeding(), decided)
    assert told(w) == (8, Rule.GIVEN, 12, Rule.GIVEN)
    # Never grazed: the decided window stands for the herd's leaving.
    assert told(window(herd(), seeding(), decided)) == (8, Rule.GIVEN, 12, Rule.GIVEN)
    # The herd still has to be out of it, and the other rules to hold.
    assert open_days(window(herd((0, 10)), seeding(), decided)) == [10, 11, 12]
    assert open_days(window(herd((0, 5)), seeding(closes_after_days=5), decided)) == [8, 9, 10]


def test_ground_that_is_never_grazed_never_opens() -> None:
    w = window(herd(), seeding())
    assert told(w) == (None, None, None, None)
    assert w.blocked[Rule.UNTOLD].all()
    assert not w.blocked[Rule.HERD].any()
    assert (w.left, w.back) == (None, None)


def test_only_paddocks_to_be_seeded_have_windows_in_their_order() -> None:
    ground = (paddock("C"), paddock("A", place=1, seeded=False), paddock("B", place=2))
    grazing = Grazing((), ground)
    found = seeding_windows(grazing, herd((0, 5), name="B"), seeding(), DAYS)
    assert [w.paddock for w in found] == ["C", "B"]
    assert [w.opens for w in found] == [None, day(5)]


def test_what_cannot_be_judged_or_is_cut_is_told() -> None:
    decided = paddock(window=(day(8), day(30)))
    grazing = Grazing((), (decided,))
    moves = herd((0, 5))
    strict = seeding(residual_most_kg_per_m2=0.1, closes_after_days=14)
    windows = seeding_windows(grazing, moves, strict, DAYS)
    found = window_findings(grazing, moves, strict, windows)
    standing, cut = found
    assert (standing.code, standing.values["paddocks"]) == ("residual_unknown", ("A",))
    assert (cut.code, cut.values["days"]) == ("window_cut_short", 11)  # days 20 to 30
    known = herd((0, 5), residual=0.05)
    assert not window_findings(grazing, known, seeding(residual_most_kg_per_m2=0.1), ())
    elsewhere = herd((0, 5), name="never seeded")
    assert not window_findings(grazing, elsewhere, seeding(residual_most_kg_per_m2=0.1), ())
    plain = seeding()
    assert not window_findings(grazing, moves, plain, seeding_windows(grazing, moves, plain, DAYS))


def test_days_run_from_the_first_leave_to_the_last_close() -> None:
    grazing = Grazing((), (paddock("A"), paddock("B", place=1)), start=day(0))
    moves = herd((0, 5), (30, 34))
    days = plan_days(grazing, moves, seeding(closes_after_days=10))
    assert all(b - a == dt.timedelta(days=1) for a, b in itertools.pairwise(days))
    assert day(0) < days[0] <= day(5)
    assert day(44) <= days[-1] < day(80)
    # The season bounds them, with some room to tell what more of it would do.
    rules = seeding(closes_after_days=300, first_day=day(20), last_day=day(50))
    bounded = plan_days(grazing, moves, rules)
    assert day(5) <= bounded[0] <= day(20)
    assert day(50) <= bounded[-1] < day(80)


def test_days_without_any_chance_are_few_and_never_none() -> None:
    empty = Grazing((), (paddock("A"),), start=day(0))
    assert 0 < len(plan_days(empty, herd(), seeding())) < 60
    nothing = Grazing((), ())
    assert 0 < len(plan_days(nothing, herd(), seeding())) < 60
    reversed_season = seeding(first_day=day(50), last_day=day(40))
    assert 0 < len(plan_days(empty, herd((0, 5)), reversed_season)) < 90
    decided = Grazing((), (paddock(window=(day(3), day(9))),))
    assert {day(3), day(9)} <= set(plan_days(decided, herd(), seeding()))


def referee(
    s: dt.date, stays: Sequence[PlannedStay], ground: Paddock, rules: Seeding
) -> dict[Rule, bool]:
    """Every rule for one day, by plain comparison of dates."""
    ready = rules.ready_day if ground.field.name in rules.ready else None
    if ready is not None:
        stays = [t for t in stays if t.stay.enter > ready]
        left_it = PlannedStay(Stay("A", ready, ready), None, None, None, None, 0.0)
        stays = [left_it, *stays]
    over = [t for t in stays if t.stay.leave <= s]
    ahead = [t.stay.enter for t in stays if t.stay.enter > s]
    no = dict.fromkeys(Rule, False)
    if any(t.stay.enter <= s < t.stay.leave for t in stays):
        no[Rule.HERD] = True
    elif not over:
        no[Rule.HERD] = bool(stays) and ready is None
    if over:
        last = over[-1]
        days = (s - last.stay.leave).days
        no[Rule.WAIT] = days < rules.opens_after_days and (ready is None or len(over) > 1)
        no[Rule.CLOSE] = days > rules.closes_after_days
        left = last.residual_kg_per_m2
        if left is not None:
            tall = left + days * ground.growth_kg_per_m2_per_day
            if ground.forage_most_kg_per_m2 is not None:
                tall = max(left, min(tall, ground.forage_most_kg_per_m2))
            if rules.residual_most_kg_per_m2 is not None:
                no[Rule.RESIDUAL] = left > rules.residual_most_kg_per_m2 + 1e-9
            if rules.regrowth_most_kg_per_m2 is not None:
                no[Rule.REGROWTH] = tall > rules.regrowth_most_kg_per_m2 + 1e-9
    if ahead:
        free = (ahead[0] - s).days
        no[Rule.REGRAZE] = free < rules.rest_days or free < rules.withholding_days
    no[Rule.UNTOLD] = s < ready if ready is not None else not stays and ground.window is None
    no[Rule.WET] = ground.not_before is not None and s < ground.not_before
    if ground.window:
        no[Rule.GIVEN] = not ground.window[0] <= s <= ground.window[1]
    no[Rule.SEASON] = (rules.first_day is not None and s < rules.first_day) or (
        rules.last_day is not None and s > rules.last_day
    )
    return no


def span(draw: st.DrawFn) -> tuple[dt.date, dt.date]:
    begin = draw(st.integers(-10, 100))
    return day(begin), day(begin + draw(st.integers(0, 60)))


@st.composite
def cases(draw: st.DrawFn) -> tuple[Paddock, GrazingPlan, Seeding]:
    edges = sorted(draw(st.sets(st.integers(0, 110), max_size=6)))
    stays = list(zip(edges[::2], edges[1::2], strict=False))
    hundredths = st.integers(0, 40).map(lambda n: n / 100)
    ground = paddock(
        growth_kg_per_m2_per_day=draw(st.integers(0, 4)) / 100,
        forage_most_kg_per_m2=draw(st.none() | hundredths),
        window=span(draw) if draw(st.booleans()) else None,
        not_before=draw(st.none() | st.integers(0, 90).map(day)),
    )
    moves = herd(*stays, residual=draw(st.none() | hundredths))
    first, last = span(draw)
    rules = seeding(
        opens_after_days=draw(st.integers(0, 6)),
        closes_after_days=draw(st.integers(0, 40)),
        residual_most_kg_per_m2=draw(st.none() | hundredths),
        regrowth_most_kg_per_m2=draw(st.none() | hundredths),
        first_day=draw(st.sampled_from([None, first])),
        last_day=draw(st.sampled_from([None, last])),
        rest_days=draw(st.integers(0, 50)),
        withholding_days=draw(st.integers(0, 50)),
    )
    if ground.window is None and draw(st.booleans()):
        rules = replace(rules, ready=("A",), ready_day=first)
    return ground, moves, rules


@given(cases())
@settings(max_examples=75, deadline=None)
def test_every_rule_agrees_with_a_plain_referee(
    case: tuple[Paddock, GrazingPlan, Seeding],
) -> None:
    ground, moves, rules = case
    days = [day(n) for n in range(-30, 180)]
    w = window(moves, rules, ground, days)
    for index, s in enumerate(days):
        verdict = referee(s, moves.stays, ground, rules)
        assert {rule: bool(w.blocked[rule][index]) for rule in Rule} == verdict, s
    free = open_days(w, days)
    if not free:
        assert told(w) == (None, None, None, None)
        return
    assert (told(w)[0], told(w)[2]) == (free[0], free[-1])
    for edge, rule in ((free[0] - 1, w.opened_by), (free[-1] + 1, w.closed_by)):
        outside = not -30 <= edge < 180
        assert rule is None if outside else referee(day(edge), moves.stays, ground, rules)[rule]  # type: ignore[index]
    stays = [p.stay for p in moves.stays]
    assert w.left == max((t.leave for t in stays if t.leave <= day(free[0])), default=None)
    assert w.back == min((t.enter for t in stays if t.enter > day(free[-1])), default=None)


@given(cases())
@settings(max_examples=75, deadline=None)
def test_no_day_that_could_be_open_is_left_out(case: tuple[Paddock, GrazingPlan, Seeding]) -> None:
    ground, moves, rules = case
    listed = set(plan_days(Grazing((), (ground,)), moves, rules))
    for n in range(-40, 260):
        if not any(referee(day(n), moves.stays, ground, rules).values()):
            assert day(n) in listed


ONE = dt.timedelta(days=1)


def wider(s: Seeding, limit: str, n: int) -> Seeding:
    """The same rules with one limit wider by n days, or hundredths, or none at all."""
    value = getattr(s, limit)
    if value is None or limit.endswith("_most_kg_per_m2"):
        value = None if value is None or n > 20 else value + n / 100
    elif limit.endswith("_day"):
        value += n * ONE if limit == "last_day" else -n * ONE
    else:
        value = max(value + (n if limit == "closes_after_days" else -n), 0)
    return replace(s, **{limit: value})


@pytest.mark.parametrize(
    "limit",
    [
        "opens_after_days",
        "closes_after_days",
        "residual_most_kg_per_m2",
        "regrowth_most_kg_per_m2",
        "rest_days",
        "withholding_days",
        "first_day",
        "last_day",
    ],
)
@given(cases(), st.integers(0, 30))
@settings(max_examples=40, deadline=None)
def test_a_wider_limit_never_closes_a_day(
    limit: str, case: tuple[Paddock, GrazingPlan, Seeding], n: int
) -> None:
    ground, moves, rules = case
    narrow = set(open_days(window(moves, rules, ground)))
    assert narrow <= set(open_days(window(moves, wider(rules, limit, n), ground)))


def test_from_forage_to_window_by_hand() -> None:
    # 100 head x 25 lb on 10 ac: of 2,000 lb/ac half is eaten in 4 days; 1,000 lb/ac is left.
    # At 50 lb/ac a day 1,500 lb/ac stands ten days after the herd.
    ground = paddock(forage_kg_per_m2=2000 * LB_AC, growth_kg_per_m2_per_day=50 * LB_AC)
    grazing = Grazing((cows(100),), (ground,), start=day(0))
    moves = plan_grazing(grazing)
    rules = seeding(
        residual_most_kg_per_m2=1000 * LB_AC,
        regrowth_most_kg_per_m2=1500 * LB_AC,
        closes_after_days=30,
    )
    days = plan_days(grazing, moves, rules)
    (w,) = seeding_windows(grazing, moves, rules, days)
    assert told(w) == (4, Rule.HERD, 14, Rule.REGROWTH)
