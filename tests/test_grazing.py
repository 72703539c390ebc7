"""The herd's moves: published figures, sums by hand, a season walked day by day, invariants."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from pastures import LB_AC, cows, day, paddock

from evenacre.model import Field, Grazing, HerdClass, Paddock, Stay
from evenacre.planning.interseeding.grazing import (
    available_forage_kg,
    days_of_feed,
    forage_demand_kg_per_day,
    ground_m2,
    grown,
    plan_grazing,
)
from evenacre.units.display import ACRE_M2, POUND_KG

# Penn State Agronomy Guide, table 1.8-9: acres for one animal unit (1,000 lb, 25 lb a day),
# by days in the paddock and utilization, with 750, 1,000 and 1,500 lb/ac available.
PENN_STATE = [
    (1, 0.80, ("0.042", "0.031", "0.021")),
    (2, 0.75, ("0.089", "0.067", "0.044")),
    (3, 0.75, ("0.133", "0.100", "0.067")),
    (4, 0.70, ("0.190", "0.143", "0.095")),
    (5, 0.65, ("0.256", "0.192", "0.128")),
    (6, 0.60, ("0.333", "0.250", "0.167")),
    (7, 0.60, ("0.389", "0.292", "0.194")),
]


def test_a_cow_eats_what_grazier_s_math_says() -> None:
    # NCAT ATTRA, Grazier's Math: 1,050 lb at 3 % of live weight eats 31.5 lb a day.
    one = HerdClass("cow", 1, 1050 * POUND_KG, 0.03 * 1050 * POUND_KG)
    assert forage_demand_kg_per_day([one]) / POUND_KG == pytest.approx(31.5)
    herd = [replace(one, head=40), cows(12, 1600, 48), cows(0)]
    assert forage_demand_kg_per_day(herd) / POUND_KG == pytest.approx(40 * 31.5 + 12 * 48)


def test_growth_makes_the_hay_of_grazier_s_math() -> None:
    # NCAT ATTRA, Grazier's Math: hay of 1.8 short tons/ac over 35 days is 103 lb/ac a day,
    # printed to the pound: half a pound a day either way is 17.5 lb over 35 days.
    meadow = paddock(growth_kg_per_m2_per_day=103 * LB_AC)
    hay = float(grown(meadow, np.array(0.0), np.array(35))) / LB_AC
    assert hay == pytest.approx(1.8 * 2000, abs=17.5)


@pytest.mark.parametrize(("days", "utilization", "printed"), PENN_STATE)
@pytest.mark.parametrize("column", [0, 1, 2])
def test_ground_for_an_animal_unit_as_printed(
    days: int, utilization: float, printed: tuple[str, str, str], column: int
) -> None:
    forage = (750, 1000, 1500)[column] * LB_AC
    demand = forage_demand_kg_per_day([cows(1)])
    days_per_acre = days_of_feed(available_forage_kg(forage, ACRE_M2, utilization), demand)
    assert f"{days / days_per_acre:.3f}" == printed[column]


@pytest.mark.parametrize(("days", "utilization", "printed"), PENN_STATE)
def test_the_printed_ground_carries_the_herd_so_long(
    days: int, utilization: float, printed: tuple[str, str, str]
) -> None:
    # A thousand animal units on a thousand times the printed acres, and a half of the last
    # printed digit more so that rounding down takes no day; a digit less is a day short.
    for lb_ac, acres in zip((750, 1000, 1500), printed, strict=True):
        for more, expected in ((0.0005, days), (-0.0010, days - 1)):
            ground = paddock(
                acres=1000 * (float(acres) + more),
                forage_kg_per_m2=lb_ac * LB_AC,
                utilization=utilization,
            )
            plan = plan_grazing(Grazing((cows(1000),), (ground,), start=day(0)))
            assert plan.stays[0].stay.days == max(expected, 1)


def test_available_forage_is_total_times_area_times_utilization() -> None:
    # The formula of the USDA National Plant Materials Manual, in its own words and units.
    assert available_forage_kg(2000 * LB_AC, 30 * ACRE_M2, 0.35) / POUND_KG == pytest.approx(21_000)


def test_forage_stands_on_workable_ground_only() -> None:
    whole = paddock(acres=40.0)
    assert whole.field.boundary is not None
    assert ground_m2(whole) == pytest.approx((40 * ACRE_M2, 40 * ACRE_M2), rel=1e-9)
    lon, lat = whole.field.boundary.exterior.coords.xy
    ring = Geodesic.WGS84.Polygon()
    for x, y in zip(lon[:-1], lat[:-1], strict=True):
        ring.AddPoint(y, x)
    assert ground_m2(whole)[0] == pytest.approx(abs(ring.Compute()[2]), rel=1e-6)

    pond = paddock(acres=4.0).field.boundary
    cut = replace(whole, field=Field("A", whole.field.boundary, unworkable=pond))
    fenced, grazed = ground_m2(cut)
    assert fenced == pytest.approx(40 * ACRE_M2, rel=1e-9)
    assert grazed == pytest.approx(36 * ACRE_M2, rel=1e-5)


def test_two_paddocks_by_hand() -> None:
    # 100 head x 25 lb = 2,500 lb a day. A: 2,600 lb/ac x 10 ac x 50 % = 13,000 lb: 5 days,
    # 12,500 lb eaten, 1,350 lb/ac left. B, five days later: 2,000 + 5 x 40 = 2,200 lb/ac,
    # capped at 2,150; x 10 ac x 60 % = 12,900 lb: 5 days, 900 lb/ac left.
    a = paddock("A", forage_kg_per_m2=2600 * LB_AC, growth_kg_per_m2_per_day=40 * LB_AC)
    b = paddock(
        "B",
        place=1,
        forage_kg_per_m2=2000 * LB_AC,
        growth_kg_per_m2_per_day=40 * LB_AC,
        forage_most_kg_per_m2=2150 * LB_AC,
        utilization=0.6,
    )
    plan = plan_grazing(Grazing((cows(100),), (a, b), start=day(0)))
    assert [s.stay for s in plan.stays] == [Stay("A", day(0), day(5)), Stay("B", day(5), day(10))]
    assert plan.demand_kg_per_day == pytest.approx(2500 * POUND_KG)
    first, second = plan.stays
    assert first.rested_days is second.rested_days is None
    assert first.residual_kg_per_m2 == pytest.approx(1350 * LB_AC)
    assert second.entry_kg_per_m2 == pytest.approx(2150 * LB_AC)
    assert second.residual_kg_per_m2 == pytest.approx(900 * LB_AC)
    assert plan.supply_kg == pytest.approx((13_000 + 12_900) * POUND_KG)
    assert plan.needed_kg == pytest.approx(25_000 * POUND_KG)
    assert plan.shortages == ()
    assert plan.findings == ()


def test_rounds_go_on_until_the_end_and_tell_the_rest_that_is_missing() -> None:
    # 4 days in each: back in A after 4 days of rest, 6 too few. It has grown from 1,000 to
    # 1,600 lb/ac (150 a day), so 3 days; B likewise has grown for 3 days when its turn comes.
    a, b = (
        paddock(
            name,
            place=place,
            forage_kg_per_m2=forage * LB_AC,
            growth_kg_per_m2_per_day=150 * LB_AC,
            forage_most_kg_per_m2=2000 * LB_AC,
        )
        for place, (name, forage) in enumerate([("A", 2000), ("B", 1400)])
    )
    plan = plan_grazing(Grazing((cows(100),), (a, b), start=day(0), end=day(12), rest_days=10))
    assert [(s.stay.paddock, s.stay.enter, s.stay.leave) for s in plan.stays] == [
        ("A", day(0), day(4)),
        ("B", day(4), day(8)),
        ("A", day(8), day(11)),
        ("B", day(11), day(12)),  # cut by the end
    ]
    assert [s.rested_days for s in plan.stays] == [None, None, 4, 3]
    assert plan.stays[2].entry_kg_per_m2 == pytest.approx(1600 * LB_AC)
    rest = [(s.kind, s.paddock, s.day, s.days, s.feed_kg / POUND_KG) for s in plan.shortages]
    assert rest == [
        ("rest", "A", day(8), 6, pytest.approx(15_000)),
        ("rest", "B", day(11), 7, pytest.approx(17_500)),
    ]


def test_a_paddock_too_poor_for_one_day_is_told() -> None:
    # 200 lb/ac x 10 ac x 50 % = 1,000 lb of the 2,500 lb of a day.
    poor = paddock(forage_kg_per_m2=200 * LB_AC)
    plan = plan_grazing(Grazing((cows(100),), (poor,), start=day(0)))
    assert [s.stay.days for s in plan.stays] == [1]
    (short,) = plan.shortages
    assert (short.kind, short.paddock, short.day) == ("ground", "A", day(0))
    assert short.days == pytest.approx(0.6)
    assert short.feed_kg == pytest.approx(1500 * POUND_KG)
    # The herd finds the rest elsewhere and does not eat into what is to be left.
    assert plan.stays[0].residual_kg_per_m2 == pytest.approx(100 * LB_AC)


def test_no_forage_at_all_leaves_nothing_and_fails_nothing() -> None:
    bare = paddock(forage_kg_per_m2=0.0)
    plan = plan_grazing(Grazing((cows(100),), (bare,), start=day(0)))
    assert plan.stays[0].residual_kg_per_m2 == 0.0
    assert plan.shortages[0].days == pytest.approx(1.0)
    drowned = paddock(forage_kg_per_m2=2000 * LB_AC)
    drowned = replace(drowned, field=replace(drowned.field, unworkable=drowned.field.boundary))
    plan = plan_grazing(Grazing((cows(100),), (drowned,), start=day(0)))
    assert plan.shortages[0].days == pytest.approx(1.0)
    assert plan.stays[0].residual_kg_per_m2 == pytest.approx(2000 * LB_AC)


def test_decided_moves_are_kept_and_checked() -> None:
    # 2,000 lb/ac x 10 ac x 50 % = 10,000 lb is four days of the seven that were decided.
    a = paddock("A", forage_kg_per_m2=2000 * LB_AC)
    b = paddock("B", place=1)
    moves = (
        Stay("A", day(0), day(7)),
        Stay("B", day(7), day(9)),
        Stay("A", day(20), day(21)),
    )
    plan = plan_grazing(Grazing((cows(100),), (a, b), moves=moves, rest_days=30))
    assert tuple(s.stay for s in plan.stays) == moves
    forage, rest = plan.shortages
    assert (forage.kind, forage.paddock, forage.day) == ("forage", "A", day(4))
    assert forage.days == pytest.approx(3.0)
    assert forage.feed_kg == pytest.approx(7500 * POUND_KG)
    assert (rest.kind, rest.day, rest.days) == ("rest", day(20), 17)
    # 1,000 lb/ac left, half of it for the herd: 5,000 lb feeds the one day.
    assert plan.stays[2].entry_kg_per_m2 == pytest.approx(1000 * LB_AC)


def test_moves_are_taken_in_order_of_time_and_strangers_left_out() -> None:
    moves = (
        Stay("B", day(4), day(9)),
        Stay("elsewhere", day(9), day(12)),
        Stay("A", day(0), day(5)),
    )
    grazing = Grazing((), (paddock("A"), paddock("B", place=1), paddock("C", place=2)), moves=moves)
    plan = plan_grazing(grazing)
    assert [s.stay.paddock for s in plan.stays] == ["A", "B"]
    assert plan.supply_kg is None
    told = {f.code: f.values for f in plan.findings}
    assert told["unknown_move"]["paddock"] == "elsewhere"
    assert told["never_grazed"]["paddocks"] == ("C",)
    assert "no_herd" in told
    assert told["moves_overlap"] == {
        "paddock": "B",
        "enters": str(day(4)),
        "before": "A",
        "leaves": str(day(5)),
    }


def test_without_a_herd_what_is_left_standing_is_not_known() -> None:
    moves = (Stay("A", day(3), day(5)), Stay("A", day(40), day(45)))
    a = paddock(forage_kg_per_m2=0.2, growth_kg_per_m2_per_day=0.01)
    first, second = plan_grazing(Grazing((), (a,), moves=moves)).stays
    assert first.entry_kg_per_m2 == pytest.approx(0.2)
    assert first.residual_kg_per_m2 is None
    assert second.entry_kg_per_m2 is None
    assert second.rested_days == 35


def test_unknown_forage_is_told() -> None:
    grazing = Grazing((cows(10),), (paddock("A"),), moves=(Stay("A", day(0), day(5)),))
    plan = plan_grazing(grazing)
    assert plan.supply_kg is None
    assert plan.needed_kg == pytest.approx(1250 * POUND_KG)
    assert plan.shortages == ()
    (found,) = plan.findings
    assert (found.code, found.values["paddocks"]) == ("no_forage", ("A",))


@dataclass
class Ground:
    """One paddock of the referee: pounds standing, and pounds the herd may still take."""

    stands: float
    grows: float
    most: float
    share: float


def walk(ground: list[Ground], demand: float, days: int) -> list[tuple[int, int]]:
    """Which paddock the herd is in on each day, one day and one mouthful at a time."""
    where, purse, diary = -1, 0.0, []
    for today in range(days):
        if where < 0 or purse < demand * (1 - 1e-6):
            where = (where + 1) % len(ground)
            purse = ground[where].stands * ground[where].share
        eaten = min(demand, purse)
        purse -= eaten
        ground[where].stands -= eaten
        for number, other in enumerate(ground):
            if number != where:
                other.stands = max(other.stands, min(other.stands + other.grows, other.most))
        diary.append((today, where))
    return diary


@st.composite
def pastures(draw: st.DrawFn) -> tuple[list[Paddock], int]:
    number = draw(st.integers(1, 5))
    ground = [
        paddock(
            f"P{place}",
            acres=draw(st.integers(2, 40)),
            place=place,
            forage_kg_per_m2=draw(st.integers(0, 4000)) * LB_AC,
            growth_kg_per_m2_per_day=draw(st.integers(0, 90)) * LB_AC,
            forage_most_kg_per_m2=draw(st.integers(500, 5000)) * LB_AC,
            utilization=draw(st.integers(10, 90)) / 100,
        )
        for place in range(number)
    ]
    return ground, draw(st.integers(5, 300))


@given(pastures(), st.integers(1, 90))
@settings(max_examples=25, deadline=None)
def test_rounds_agree_with_a_season_walked_day_by_day(
    made: tuple[list[Paddock], int], days: int
) -> None:
    paddocks, head = made
    grazing = Grazing((cows(head),), tuple(paddocks), start=day(0), end=day(days))
    plan = plan_grazing(grazing)
    ground = []
    for p in paddocks:
        area, most = ground_m2(p)[1], p.forage_most_kg_per_m2
        assert p.forage_kg_per_m2 is not None
        assert most is not None
        ground.append(
            Ground(
                p.forage_kg_per_m2 * area,
                p.growth_kg_per_m2_per_day * area,
                most * area,
                p.utilization,
            )
        )
    diary = walk(ground, plan.demand_kg_per_day, days)
    planned = [
        ((s.stay.enter - day(0)).days + n, int(s.stay.paddock[1:]))
        for s in plan.stays
        for n in range(s.stay.days)
    ]
    assert planned == diary


@given(pastures(), st.integers(1, 200), st.integers(0, 60))
@settings(max_examples=25, deadline=None)
def test_nothing_is_eaten_that_is_not_there(
    made: tuple[list[Paddock], int], days: int, rest: int
) -> None:
    paddocks, head = made
    plan = plan_grazing(
        Grazing((cows(head),), tuple(paddocks), start=day(0), end=day(days), rest_days=rest)
    )
    assert plan.stays[0].stay.enter == day(0)
    assert plan.stays[-1].stay.leave == day(days)
    short = {(s.paddock, s.day) for s in plan.shortages if s.kind == "ground"}
    for before, after in zip(plan.stays, plan.stays[1:], strict=False):
        assert before.stay.leave == after.stay.enter
    by_name = {p.field.name: (p, ground_m2(p)[1]) for p in paddocks}
    for stay in plan.stays:
        p, area = by_name[stay.stay.paddock]
        assert stay.available_kg is not None
        assert stay.residual_kg_per_m2 is not None
        assert stay.entry_kg_per_m2 is not None
        need = plan.demand_kg_per_day * stay.stay.days
        assert stay.eaten_kg <= stay.available_kg * (1 + 1e-9)
        if (stay.stay.paddock, stay.stay.enter) not in short:
            assert need <= stay.available_kg * (1 + 1e-6)
        # At least what is not for the herd is left, and what is gone was eaten.
        assert stay.residual_kg_per_m2 >= stay.entry_kg_per_m2 * (1 - p.utilization) - 1e-9
        gone = (stay.entry_kg_per_m2 - stay.residual_kg_per_m2) * area
        assert gone == pytest.approx(stay.eaten_kg, rel=1e-6, abs=1e-6)
        # One day more than planned would not be fed, but where the end cuts the stay.
        if stay.stay.leave != day(days):
            assert need + plan.demand_kg_per_day > stay.available_kg * (1 - 1e-6)
    rest_told = {(s.paddock, s.day): s.days for s in plan.shortages if s.kind == "rest"}
    lacking = {
        (s.stay.paddock, s.stay.enter): rest - s.rested_days
        for s in plan.stays
        if s.rested_days is not None and s.rested_days < rest
    }
    assert rest_told == lacking


@given(pastures(), st.floats(1.01, 3.0))
@settings(max_examples=15, deadline=None)
def test_more_forage_never_shortens_the_first_stays(
    made: tuple[list[Paddock], int], more: float
) -> None:
    paddocks, head = made
    richer = [replace(p, forage_kg_per_m2=(p.forage_kg_per_m2 or 0.0) * more) for p in paddocks]
    days = [
        plan_grazing(Grazing((cows(head),), tuple(p), start=dt.date(2026, 1, 1))).stays[0].stay.days
        for p in (paddocks, richer)
    ]
    assert days[0] <= days[1]
    assert math.isfinite(days[1])
