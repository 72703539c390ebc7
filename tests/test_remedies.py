"""What a plan says to relax, followed in the season and planned again: it has to work."""

from __future__ import annotations

import datetime as dt
import os
from collections import Counter
from dataclasses import replace
from functools import cache, partial
from typing import Any

import numpy as np
import pytest
from pastures import cows, day, paddock, seeding
from plans import assert_days_end_with_a_pass

from evenacre.model import Booking, Field, Grazing, Seeding, Stay
from evenacre.planning.interseeding import plan as planning
from evenacre.planning.interseeding.plan import plan_interseeding
from evenacre.planning.interseeding.plan_types import (
    BEYOND,
    BOOKED,
    InterseedPlan,
    Relaxation,
    Rule,
)
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.planning.passes.plan import plan_passes

HOUR = 3600.0
CASES = int(os.environ.get("REMEDIES", "16"))
"""Random seasons; hundreds by hand."""
LESS = {"opens_after_days", "lost_chance", "first_day", "day_from_s", "least_rate_kg_per_m2"}
GROUND = [paddock(f"P{i}", acres, i) for i, acres in enumerate((4.0, 6.0, 3.0))]


@cache
def drives() -> dict[str, PassPlan]:
    """The passes of each paddock, laid out once."""
    return {p.field.name: plan_passes(p.field, planning.drive_of(seeding())) for p in GROUND}


@pytest.fixture(autouse=True)
def laid_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    def known(field: Field, _: Drive) -> PassPlan:
        return drives()[field.name]

    monkeypatch.setattr(planning, "lay_passes", known)
    # On a busy machine too.
    patient = partial(planning.smallest_relaxation, time_limit_s=20.0)
    monkeypatch.setattr(planning, "smallest_relaxation", patient)


def wholly(plan: InterseedPlan) -> dict[str, bool]:
    return {p.paddock.field.name: sum(v.share for v in p.visits) > 1 - 1e-5 for p in plan.paddocks}


def follow(plan: InterseedPlan, relaxation: Relaxation) -> tuple[Grazing, Seeding]:
    """Do as it says, to the letter; what the planner makes of it is not asked."""
    grazing, rules, to = plan.grazing, plan.seeding, relaxation.to
    if relaxation.setting == "bookings":
        return grazing, replace(rules, bookings=tuple(rebooked(plan, relaxation)))
    if relaxation.setting == "moves":
        assert isinstance(to, dt.date)
        since = to - dt.timedelta(days=relaxation.amount)
        moves = [
            Stay(s.paddock, to, max(s.leave, to + dt.timedelta(days=1)))
            if s.paddock == relaxation.paddock and since <= s.enter < to
            else s
            for s in (grazing.moves or [s.stay for s in plan.herd.stays])
        ]
        return replace(grazing, moves=tuple(moves)), rules
    if relaxation.setting in ("window_first", "window_last"):
        side = ("window_first", "window_last").index(relaxation.setting)
        paddocks = []
        for p in grazing.paddocks:
            if p.field.name == relaxation.paddock:
                assert p.window is not None
                window = list(p.window)
                window[side] = to
                p = replace(p, window=tuple(window))
            paddocks.append(p)
        return replace(grazing, paddocks=tuple(paddocks)), rules
    assert relaxation.setting is not None, relaxation
    assert to is not None
    return grazing, replace(rules, **{relaxation.setting: to})


def rebooked(plan: InterseedPlan, relaxation: Relaxation) -> list[Booking]:
    """Every booking day by day, with so much less of those named."""
    what, freed = relaxation.rule.removeprefix(BOOKED), dict(relaxation.freed)
    by_day = []
    for d in plan.days:
        for b in plan.seeding.bookings:
            if b.first <= d.day <= b.last:
                hours_s = b.hours_s
                if b.what == what and d.day in freed:
                    length_s = d.full_s + d.booked_s
                    hours_s = (length_s if hours_s is None else hours_s) - freed[d.day]
                    assert hours_s > -1e-6
                by_day.append(Booking(d.day, d.day, b.what, hours_s))
    return [b for b in by_day if b.hours_s is None or b.hours_s > 0]


def followed(plan: InterseedPlan) -> InterseedPlan:
    """Plan again with all of it; of one setting for all paddocks what goes farthest."""
    grazing, rules = plan.grazing, plan.seeding
    for one in plan.relaxations:
        if one.rule == BEYOND:
            continue
        so_far = replace(plan, grazing=grazing, seeding=rules)
        grazing, after = follow(so_far, one)
        if one.setting is not None and hasattr(rules, one.setting):
            before = getattr(rules, one.setting)
            farther = min if one.setting in LESS else max
            if one.setting != "bookings":
                to = farther(before, getattr(after, one.setting))
                after = replace(after, **{one.setting: to})
        rules = after
    return plan_interseeding(grazing, rules)


def check(plan: InterseedPlan) -> None:
    """Followed, it seeds whole all but what is told as out of reach; so does what is instead."""
    assert plan.relaxed_holds
    beyond = {r.paddock for r in plan.relaxations if r.rule == BEYOND}
    instead = [
        (*plan.relaxations[:place], other, *plan.relaxations[place + 1 :])
        for place, one in enumerate(plan.relaxations)
        for other in one.instead
    ]
    for told in (plan.relaxations, *instead):
        again = wholly(followed(replace(plan, relaxations=told)))
        assert all(ok for name, ok in again.items() if name not in beyond), told


def season(rng: np.random.Generator) -> tuple[Grazing, Seeding]:
    """A herd once or twice through up to three paddocks, and rules that forbid a lot."""
    m = int(rng.integers(1, 4))
    paddocks = [
        replace(
            p,
            forage_kg_per_m2=rng.uniform(0.1, 0.3),
            growth_kg_per_m2_per_day=rng.uniform(0, 0.004),
            value=float(rng.choice([1.0, 1.5])),
        )
        for p in GROUND[:m]
    ]
    if rng.random() < 0.3:
        first = int(rng.integers(0, 20))
        window = (day(first), day(first + int(rng.integers(0, 15))))
        paddocks[0] = replace(paddocks[0], window=window)
    twice = rng.random() < 0.4
    hours = rng.random() < 0.7
    rules: dict[str, Any] = {
        "opens_after_days": int(rng.integers(0, 4)),
        "closes_after_days": int(rng.integers(1, 9)),
        "rest_days": int(rng.choice([0, 20, 45])),
        "withholding_days": int(rng.choice([0, 0, 30])),
        "setup_s": float(rng.choice([0.0, 900.0])),
    }
    if hours:
        rules["hours_most_s"] = rng.uniform(0.3, 2.0) * HOUR
    elif rng.random() < 0.7:
        rules["day_from_s"] = 10 * HOUR
        rules["day_to_s"] = rng.uniform(10.3, 12) * HOUR
    if rng.random() < 0.4:
        rules["lost_chance"] = float(rng.choice([0.2, 0.5]))
    if rng.random() < 0.5:
        rules["on_hand_kg"] = rng.uniform(10, 60)
    if rng.random() < 0.4:
        rules |= {"load_kg": rng.uniform(10, 30), "refill_s": 1200.0}
    if rng.random() < 0.3:
        rules["residual_most_kg_per_m2"] = rng.uniform(0.05, 0.2)
    if rng.random() < 0.3:
        rules["regrowth_most_kg_per_m2"] = rng.uniform(0.08, 0.2)
    if rng.random() < 0.3:
        rules["first_day"] = day(int(rng.integers(3, 12)))
    if rng.random() < 0.3:
        rules["last_day"] = day(int(rng.integers(12, 20)))
    if rng.random() < 0.5:
        first = int(rng.integers(2, 12))
        hours_s = None if rng.random() < 0.5 else rng.uniform(0.2, 2) * HOUR
        rules["bookings"] = (
            Booking(day(first), day(first + int(rng.integers(0, 9))), "oats", hours_s),
            Booking(day(first + 2), day(first + 4), "hay", HOUR / 2),
        )
    end = day(int(rng.integers(15, 40))) if twice else None
    return Grazing((cows(30),), tuple(paddocks), start=day(0), end=end), seeding(**rules)


@pytest.mark.parametrize("block", range(4))
def test_every_remedy_that_is_followed_works(block: int) -> None:
    told: Counter[str] = Counter()
    for seed in range(block, CASES, 4):
        plan = plan_interseeding(*season(np.random.default_rng(seed)))
        told.update({r.rule.split(":")[0] for r in plan.relaxations})
        assert_days_end_with_a_pass(plan)
        # Where the herd is to be kept out of a paddock again and again, other windows move too.
        if plan.relaxed_holds or not any(r.setting == "moves" for r in plan.relaxations):
            check(plan)
    assert sum(told.values()) > CASES / 8, told


def short_of(**rules: Any) -> InterseedPlan:
    """A herd in two paddocks one after the other, and a plan that is short of one thing."""
    ground = [replace(p, forage_kg_per_m2=0.2) for p in GROUND[:2]]
    return plan_interseeding(
        Grazing((cows(30),), tuple(ground), start=day(0)),
        seeding(**{"closes_after_days": 14, **rules}),
    )


@pytest.mark.parametrize(
    ("rules", "rule", "setting"),
    [
        ({"on_hand_kg": 25.0}, "seed", "on_hand_kg"),
        ({"hours_most_s": 600.0, "closes_after_days": 2}, "hours", "hours_most_s"),
        (
            {"day_to_s": 7.6 * HOUR, "day_from_s": 7.5 * HOUR, "closes_after_days": 1},
            "hours",
            "day_to_s",
        ),
        (
            {
                "lost_chance": 0.9,
                "hours_most_s": 2 * HOUR,
                "day_from_s": 8 * HOUR,
                "day_to_s": 10 * HOUR,
            },
            "weather",
            "lost_chance",
        ),
        ({"opens_after_days": 9, "closes_after_days": 8}, None, None),
        ({"residual_most_kg_per_m2": 0.05}, Rule.RESIDUAL, "residual_most_kg_per_m2"),
        ({"last_day": day(2)}, Rule.SEASON, "last_day"),
        (
            {"closes_after_days": 2, "bookings": (Booking(day(0), day(40), "hay"),)},
            "booked: hay",
            "bookings",
        ),
    ],
)
def test_each_thing_alone(rules: dict[str, Any], rule: str | None, setting: str | None) -> None:
    plan = short_of(**rules)
    if rule is not None:
        assert {(r.rule, r.setting) for r in plan.relaxations} == {(rule, setting)}
    check(plan)


def test_whatever_would_do_alone_is_told() -> None:
    """Two hours a day, of which a booking takes nearly all; and too little seed."""
    plan = short_of(
        hours_most_s=2 * HOUR,
        closes_after_days=2,
        bookings=(Booking(day(0), day(40), "hay", 1.8 * HOUR),),
        on_hand_kg=25.0,
    )
    by_rule = {
        r.rule: {r.setting, *(other.setting for other in r.instead)} for r in plan.relaxations
    }
    assert by_rule.pop("seed") == {"on_hand_kg", "least_rate_kg_per_m2"}
    (ways,) = by_rule.values()
    assert ways >= {"hours_most_s", "bookings"}
    check(plan)


def test_a_window_moves_as_far_as_the_day_it_needs_not_by_the_days_that_are_used() -> None:
    # The herd leaves on the eighth day, and there is no time for the drill in the fortnight after.
    busy = Booking(day(0), day(25), "oats")
    plan = short_of(closes_after_days=3, bookings=(busy,), hours_most_s=8 * HOUR)
    check(plan)
    moved = [r for r in plan.relaxations if r.rule == Rule.CLOSE]
    for r in moved:
        stay = next(s.stay for s in plan.herd.stays if s.stay.paddock == r.paddock)
        assert r.to == 3 + r.amount
        assert r.amount > 3
        assert stay.leave + dt.timedelta(days=float(r.to)) >= day(26)


def test_the_herd_is_kept_out_until_seedlings_have_rested() -> None:
    one = replace(GROUND[2], forage_kg_per_m2=0.2)
    moves = (Stay("P2", day(0), day(3)), Stay("P2", day(20), day(80)))
    plan = plan_interseeding(
        Grazing((cows(30),), (one,), moves=moves),
        seeding(opens_after_days=1, closes_after_days=10, rest_days=45, last_day=day(15)),
    )
    (found,) = plan.relaxations
    assert (found.rule, found.setting) == (Rule.REGRAZE, "moves")
    assert found.to == day(4 + 45)
    assert found.amount == 4 + 45 - 20
    check(plan)


def test_a_window_that_was_decided_is_widened_on_the_side_that_needs_it() -> None:
    one = replace(GROUND[2], forage_kg_per_m2=0.2, window=(day(0), day(2)))
    plan = plan_interseeding(
        Grazing((cows(30),), (one,), moves=(Stay("P2", day(0), day(6)),)),
        seeding(closes_after_days=14),
    )
    (found,) = plan.relaxations
    assert (found.rule, found.setting, found.to) == (Rule.GIVEN, "window_last", day(6))
    check(plan)
