"""The cart, its bags and compartments, and paddocks that stand ready, in the season file."""

from __future__ import annotations

import datetime as dt

import pytest
import shapely
from test_season_pasture import HERD, LB_KG, complaints, farm, loaded, maps, square

from evenacre.errors import InputError
from evenacre.planning.interseeding.plan import cart_of, drilled, plan_interseeding
from evenacre.planning.interseeding.plan_types import Rule
from evenacre.reports.sentences.interseeding import interseed_answer
from evenacre.units.display import US
from evenacre.workflows.interseed import run_interseeding

__all__ = ["farm", "maps"]

RATE = 'rate = "10 lb/ac"'
NO_HERD = {
    HERD: "",
    'start = 2026-08-04\nrest = "35 days"\n': "",
    'forage = "1800 lb/ac"\ngrowth = "20 lb/ac/day"\n': "",
}
BLEND = """
[[product]]
name = "grass"
kind = "seed"
bag = "25 lb"
[[product]]
name = "mix"
kind = "seed"
parts = { "red clover" = 3, "grass" = 2 }
"""


def seeding(*lines: str) -> dict[str, str]:
    """Lines put below the rate."""
    return {RATE: "\n".join((RATE, *lines))}


def test_least_amount_stay_and_bags(farm):
    bag = {'bulk_density = "60 lb/bu"': 'bulk_density = "60 lb/bu"\nbag = "50 lb"'}
    told = ('load = "170 lb"', 'least = "15 lb"', 'sow_within = "2 days"')
    got = loaded(farm, swap={**bag, **seeding(*told)}).seeding
    (cart,) = got.bins
    figures = (cart.load_kg, cart.least_kg, cart.bag_kg)
    assert figures == pytest.approx((170 * LB_KG, 15 * LB_KG, 50 * LB_KG))
    assert got.sow_within_days == 2
    # Above the least there is room for three whole bags.
    assert cart_of(got).load_kg == pytest.approx(150 * LB_KG)


def test_compartments_hold_the_parts_of_a_blend(farm):
    told = (
        'compartments = [{ name = "front", product = "red clover" }, '
        '{ name = "rear", product = "grass", load = "100 lb", least = "10 lb" }]'
    )
    swap = {'product = "red clover"': 'product = "mix"', **seeding(told)}
    got = loaded(farm, swap=swap, more=BLEND).seeding
    front, rear = got.bins
    # Seven bushels of 60 lb; three parts of five, and two.
    assert (front.load_kg, rear.load_kg) == pytest.approx((420 * LB_KG, 100 * LB_KG))
    assert (front.share, rear.share) == pytest.approx((0.6, 0.4))
    # Three bags of 25 lb go in above the least; the front would last for 700 lb.
    assert cart_of(got).load_kg == pytest.approx(75 / 0.4 * LB_KG)


def test_compartments_of_the_same_seed_run_empty_together(farm):
    told = (
        'compartments = [{ name = "front", load = "300 lb" }, { name = "rear", load = "100 lb" }]'
    )
    got = loaded(farm, swap=seeding(told)).seeding
    assert [b.share for b in got.bins] == pytest.approx([0.75, 0.25])
    assert cart_of(got).load_kg == pytest.approx(400 * LB_KG)


def test_a_blend_is_mixed_of_whole_bags(farm):
    """Of 50 lb and 25 lb bags three parts to two are 250 lb: three and four bags."""
    bag = {'bulk_density = "60 lb/bu"': 'bulk_density = "60 lb/bu"\nbag = "50 lb"'}
    swap = {**bag, **seeding('load = "600 lb"'), 'product = "red clover"': 'product = "mix"'}
    (cart,) = loaded(farm, swap=swap, more=BLEND).seeding.bins
    assert cart.bag_kg == pytest.approx(250 * LB_KG)
    small = {**swap, **seeding('load = "200 lb"')}
    read = loaded(farm, swap=small, more=BLEND)
    assert read.seeding.bins[0].bag_kg is None
    assert any("250 lb" in said for said in read.warnings)


@pytest.mark.parametrize(
    ("swap", "place", "words"),
    [
        (seeding('load = "150 lb"', 'least = "150 lb"'), "seeding, least", "150 lb"),
        (seeding('load = "150 lb"', 'least = "200 lb"'), "seeding, least", "200 lb"),
        (seeding('load = "150 lb"', 'sow_within = "0 days"'), "seeding, sow_within", "1 day"),
        (
            {
                'bulk_density = "60 lb/bu"': 'bulk_density = "60 lb/bu"\nbag = "200 lb"',
                **seeding('load = "150 lb"'),
            },
            "seeding, load",
            "200 lb",
        ),
        (seeding('load = "150 lb"', 'ready = ["P1", "P9"]'), "seeding, ready 2", '"P9"'),
        (
            seeding('compartments = [{ name = "front", product = "oats" }]'),
            "seeding, compartments 1, product",
            '"oats"',
        ),
        (
            seeding('compartments = [{ name = "side" }]'),
            "seeding, compartments 1, load",
            "side",
        ),
        (
            seeding('load = "9 lb"', 'compartments = [{ name = "front" }]'),
            "seeding, load",
            "compartments",
        ),
        (
            seeding('compartments = [{ name = "front" }, { name = "front" }]'),
            "seeding, compartments 2, name",
            "front",
        ),
    ],
)
def test_bad_input(farm, swap, place, words):
    (told,) = complaints(farm, swap=swap)
    assert f"season.toml, {place}" in told
    assert words in told or words == "side"


def test_a_window_and_ready_contradict_each_other(farm):
    swap = {"value = 2": "value = 2\nwindow = [2026-08-20, 2026-08-25]"}
    (told,) = complaints(farm, swap={**swap, **seeding('load = "9 lb"', 'ready = ["P2"]')})
    assert "seeding, ready 1" in told


# Planned from what is known


@pytest.mark.parametrize("how", ["ready", "window"])
def test_paddocks_that_are_ready_need_no_herd_moves_or_forage(farm, how):
    swap = dict(NO_HERD)
    if how == "ready":
        swap |= seeding('load = "150 lb"', 'ready = ["P1", "P3"]', "first_day = 2026-08-20")
        wanted = {"P1", "P3"}
    else:
        swap |= {"value = 2": "value = 2\nwindow = [2026-08-20, 2026-08-25]"}
        wanted = {"P2"}
    season = loaded(farm, swap=swap)
    plan = plan_interseeding(season.grazing, season.seeding, time_zone=season.time_zone)
    assert {v.paddock for v in plan.visits} == wanted
    assert plan.visits[0].day == dt.date(2026, 8, 20)
    for p in plan.paddocks:
        untold = p.window.blocked[Rule.UNTOLD].all()
        assert untold == (p.paddock.field.name not in wanted)
    # Whatever is not known of the others is the only thing that is told of them.
    assert {r.setting for r in plan.relaxations} == {"ready"}
    assert {r.paddock for r in plan.relaxations} == {"P1", "P2", "P3"} - wanted


def test_ready_paddocks_stay_open_as_long_as_after_the_herd(farm):
    told = ('ready = ["P1"]', "first_day = 2026-08-20", 'closes_after = "6 days"')
    season = loaded(farm, swap={**NO_HERD, **seeding(*told, 'opens_after = "2 days"')})
    plan = plan_interseeding(season.grazing, season.seeding)
    window = plan.paddocks[0].window
    assert (window.opens, window.closes) == (dt.date(2026, 8, 20), dt.date(2026, 8, 26))
    assert window.closed_by is Rule.CLOSE


def test_what_whole_bags_leave_in_the_cart_is_told(farm):
    """All that was put in, less all that was sown; the least amount is a part of it."""
    bag = {'bulk_density = "60 lb/bu"': 'bulk_density = "60 lb/bu"\nbag = "50 lb"'}
    told = ('ready = ["P1"]', "first_day = 2026-08-20", 'load = "250 lb"', 'least = "10 lb"')
    season = loaded(farm, swap={**NO_HERD, **bag, **seeding(*told, 'on_hand = "900 lb"')})
    plan = plan_interseeding(season.grazing, season.seeding)
    left_kg = sum(fill.mass_kg for fill in plan.fills) - plan.seed_used_kg
    assert left_kg > 11 * LB_KG
    said = interseed_answer(plan, US).lines
    assert any(f"{US.mass.text(left_kg)} of it in the cart" in line for _, line in said)


@pytest.mark.parametrize("hours", [1.25, 2.5])
def test_the_cart_is_filled_no_sooner_than_the_first_day(farm, hours):
    """However full that day is."""
    told = ('ready = ["P1", "P2", "P3"]', "first_day = 2026-08-20", 'load = "150 lb"')
    season = loaded(farm, swap={**NO_HERD, **seeding(*told, f'hours = "{hours} h"')})
    plan = plan_interseeding(season.grazing, season.seeding, time_zone=season.time_zone)
    assert plan.fills
    assert min(fill.day for fill in plan.fills) >= season.seeding.first_day


def test_ready_without_a_first_day_is_ready_today(farm, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1787270400")  # 2026-08-21T00:00Z: the 20th in Chicago
    season = loaded(farm, swap={**NO_HERD, **seeding('ready = ["P1"]')})
    assert season.seeding.ready_day == dt.date(2026, 8, 20)
    assert any("2026-08-20" in said for said in season.warnings)


def test_moves_of_some_paddocks_and_the_reason_for_the_others(farm):
    moves = '[[move]]\npaddock = "P1"\nenter = 2026-08-04\nleave = 2026-08-09\n'
    season = loaded(farm, swap={"start = 2026-08-04\n": "", "[seeding]": f"{moves}[seeding]"})
    plan = plan_interseeding(season.grazing, season.seeding)
    assert {v.paddock for v in plan.visits} == {"P1"}
    assert [p.window.blocked[Rule.UNTOLD].all() for p in plan.paddocks] == [False, True, True]


def test_nothing_at_all_is_told_with_every_way_out(farm):
    (told,) = complaints(farm, swap=NO_HERD)
    assert all(word in told for word in ("ready", "window", "[[move]]", "[[herd]]"))


def test_wet_ground_that_lies_beside_the_paddock_leaves_nothing_out_of_it(farm):
    (farm / "wet.geojson").write_text(shapely.to_geojson(square(0.0, 0.0)))
    swap = {
        "value = 2": 'value = 2\nkeep_out = "wet.geojson"',
        **seeding('ready = ["P1", "P2"]', "first_day = 2026-08-20", 'closes_after = "30 days"'),
    }
    season = loaded(farm, swap={**NO_HERD, **swap})
    plan = plan_interseeding(season.grazing, season.seeding)
    assert "kept_out" not in {f.code for f in plan.findings}


def test_wet_ground_is_ruled_out_by_date_or_area(farm):
    corner = shapely.intersection(square(0.0, 0.0), square(-120.0, -120.0))
    (farm / "wet.geojson").write_text(shapely.to_geojson(corner))
    swap = {
        "value = 2": 'value = 2\nnot_before = 2026-09-01\n[[paddock]]\nname = "P1"\n'
        'keep_out = "wet.geojson"',
        **seeding('ready = ["P1", "P2"]', "first_day = 2026-08-20", 'closes_after = "30 days"'),
    }
    season = loaded(farm, swap={**NO_HERD, **swap})
    first = season.grazing.paddocks[0]
    wet = drilled(first).unworkable
    assert wet.area == pytest.approx(corner.area, rel=1e-6)
    plan = plan_interseeding(season.grazing, season.seeding)
    days = {v.paddock: v.day for v in plan.visits}
    assert days["P1"] < dt.date(2026, 9, 1) <= days["P2"]
    assert plan.paddocks[0].passes.workable_m2 == pytest.approx(180.0**2 - 60.0**2, rel=1e-3)
    assert plan.paddocks[1].window.opened_by is Rule.WET
    (kept,) = (f for f in plan.findings if f.code == "kept_out")
    assert kept.values["area_m2"] == pytest.approx(60.0**2, rel=1e-3)
    late = swap["value = 2"].replace("2026-09-01", "2026-10-15")
    season = loaded(farm, swap={**NO_HERD, **swap, "value = 2": late})
    told = plan_interseeding(season.grazing, season.seeding).relaxations
    assert ("wet", "not_before") in {
        (r.rule, r.setting) for one in told for r in (one, *one.instead)
    }


@pytest.mark.parametrize(
    ("closes", "day", "left_out_m2", "codes"),
    [
        # The window is open beyond the 20th of September: it waits, and all of it is seeded.
        ("60 days", dt.date(2026, 9, 20), 0.0, {"waits_for_dry_ground"}),
        # It closes before: without the corner that is dry last, once the other is dry.
        ("25 days", dt.date(2026, 9, 4), 60.0**2, {"waits_for_dry_ground", "kept_out"}),
        # It closes before either.
        ("10 days", dt.date(2026, 8, 20), 2 * 60.0**2, {"kept_out"}),
    ],
)
def test_a_paddock_waits_for_wet_ground_while_its_window_lets_it(
    farm, closes, day, left_out_m2, codes
):
    whole = square(0.0, 0.0)
    for name, x in (("wet", -120.0), ("soft", 120.0)):
        corner = shapely.intersection(whole, square(x, -120.0))
        (farm / f"{name}.geojson").write_text(shapely.to_geojson(corner))
    swap = {
        "value = 2": 'value = 2\nseed = false\n[[paddock]]\nname = "P1"\nkeep_out = ['
        '{ file = "wet.geojson", until = 2026-09-20 }, '
        '{ file = "soft.geojson", until = 2026-09-04 }]',
        **seeding('ready = ["P1"]', "first_day = 2026-08-20", f'closes_after = "{closes}"'),
    }
    season = loaded(farm, swap={**NO_HERD, **swap})
    assert len(season.grazing.paddocks[0].keep_out) == 2
    plan = plan_interseeding(season.grazing, season.seeding)
    (first, *_) = [v for v in plan.visits if v.paddock == "P1"]
    assert first.day == day
    workable = plan.paddocks[0].passes.workable_m2
    assert workable == pytest.approx(180.0**2 - left_out_m2, rel=1e-3)
    assert {f.code for f in plan.findings} & {"waits_for_dry_ground", "kept_out"} == codes


def test_wet_ground_that_is_all_of_a_paddock_is_refused(farm):
    for name, x in (("wet", -100.0), ("soft", 60.0)):
        half = shapely.intersection(square(0.0, 0.0).buffer(0.001), square(x, 0.0).buffer(0.0003))
        (farm / f"{name}.geojson").write_text(shapely.to_geojson(half))
    swap = {"value = 2": 'value = 2\n[[paddock]]\nname = "P1"\nkeep_out = ["wet.geojson", '
            '{ file = "soft.geojson", until = 2026-09-04 }]'}  # fmt: skip
    (told,) = complaints(farm, swap={**NO_HERD, **swap, **seeding('ready = ["P1"]')})
    assert "not_before" in told


def test_seed_short_is_told_with_a_lower_rate_where_none_was_given(farm):
    told = ('ready = ["P1"]', "first_day = 2026-08-20", 'on_hand = "50 lb"', 'load = "99 lb"')
    season = loaded(farm, swap={**NO_HERD, **seeding(*told)})
    plan = plan_interseeding(season.grazing, season.seeding)
    short = next(r for r in plan.relaxations if r.rule == "seed")
    (thinner,) = short.instead
    assert thinner.setting == "least_rate_kg_per_m2"
    driven = plan.paddocks[0].passes.work_m * 6.096
    assert thinner.to * driven == pytest.approx(50 * LB_KG, rel=1e-4)


def test_a_gate_that_the_folded_drill_does_not_go_through_is_refused(farm):
    lon, lat = shapely.get_coordinates(square(0.0, 0.0))[0]
    gate = f'gate = {{ place = "{lat:.9f}, {lon:.9f}", width = "11 ft" }}'
    swap = {
        "value = 2": f'value = 2\n[[paddock]]\nname = "P1"\n{gate}',
        'width = "20 ft"\n': 'width = "20 ft"\ntransport_width = "12 ft"\n',
        **seeding('ready = ["P1"]', "first_day = 2026-08-20"),
    }
    season = loaded(farm, swap={**NO_HERD, **swap})
    assert season.grazing.paddocks[0].field.gate_width_m == pytest.approx(11 * 0.3048)
    with pytest.raises(InputError, match=r"12\.0 ft.* more than the gate, 11\.0 ft") as refused:
        run_interseeding(season)
    assert refused.value.problems[0].file == "P1"
