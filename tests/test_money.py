"""What overlap and skips cost, and own work against a hired quote."""

from __future__ import annotations

from dataclasses import replace

import pytest
from synthetic_result import make_result

from evenacre.model import Application, Field, Implement, OperationPlan, Product
from evenacre.planning.season.nutrients import AuditedJob
from evenacre.planning.season.season_totals import money

ACRE = 4046.8564224
LB = 0.45359237


def job(*, price=None, hour=None, quote=None, **changes):
    """A job of 40 acres to work, 38 covered, 1 of them twice, with round figures."""
    result = make_result()
    placed = replace(
        result.products[0],
        logged_kg=3_950 * LB,
        overlap_kg=100 * LB,
        target_kg_per_m2=100 * LB / ACRE,
    )
    result = replace(
        result,
        products=(placed,),
        workable_area_m2=40 * ACRE,
        covered_area_m2=38 * ACRE,
        swept_area_m2=40 * ACRE,
        excess_area_m2=1 * ACRE,
        skip_area_m2=2 * ACRE,
        worked_time_s=4 * 3600.0,
        field_time_s=5 * 3600.0,
        field_capacity_m2_per_s=8 * ACRE / 3600,
    )
    plan = OperationPlan(
        name="Spring",
        field=Field("Creek Forty"),
        implement=Implement(width_m=6.0, cost_per_s=None if hour is None else hour / 3600),
        track_files=(),
        applications=(
            Application(Product("18-46-0", price_per_kg=None if price is None else price / LB)),
        ),
        quote_per_m2=None if quote is None else quote / ACRE,
    )
    return AuditedJob(plan, replace(result, **changes))


def test_overlap_and_skips_cost_product_and_time():
    m = money(job(price=0.42, hour=120.0))
    assert m.product == pytest.approx(3_950 * 0.42)
    assert m.overlap_product == pytest.approx(100 * 0.42)
    # One acre in 40 swept is a fortieth of four working hours: six minutes.
    assert m.overlap_time_s == pytest.approx(360.0)
    assert m.overlap_time == pytest.approx(12.0)
    # Two missed acres would take 200 lb, and a quarter of an hour at 8 ac/h.
    assert m.skip_product == pytest.approx(200 * 0.42)
    assert m.skip_time_s == pytest.approx(900.0)
    assert m.skip_time == pytest.approx(30.0)
    assert m.unpriced == ()


def test_without_a_target_a_skip_takes_the_mean_rate():
    given = job(price=0.42)
    placed = replace(
        given.result.products[0], target_kg_per_m2=None, mean_rate_kg_per_m2=80 * LB / ACRE
    )
    m = money(AuditedJob(given.plan, replace(given.result, products=(placed,))))
    assert m.skip_product == pytest.approx(160 * 0.42)


@pytest.mark.parametrize(("quote", "difference"), [(18.0, 600 - 720), (12.0, 600 - 480)])
def test_own_work_against_a_quote(quote, difference):
    m = money(job(hour=120.0, quote=quote))
    assert m.own_work == pytest.approx(5 * 120.0)
    assert m.hired_work == pytest.approx(40 * quote)
    assert m.own_over_hired == pytest.approx(difference)


def test_without_a_boundary_the_quote_is_for_what_was_covered():
    assert money(job(quote=18.0, boundary_given=False)).hired_work == pytest.approx(38 * 18.0)


def test_what_has_no_price_is_not_priced():
    m = money(job())
    assert not m.known
    assert (m.product, m.overlap_product, m.skip_product) == (None, None, None)
    assert (m.overlap_time, m.skip_time, m.own_work, m.hired_work) == (None,) * 4
    assert m.own_over_hired is None
    assert m.unpriced == ("18-46-0",)
    assert money(job(quote=18.0)).known


def test_own_work_without_a_quote_is_not_held_against_one():
    assert money(job(hour=120.0)).own_over_hired is None
    assert money(job(quote=18.0)).own_over_hired is None


def test_nothing_swept_and_no_capacity_take_no_time():
    m = money(job(hour=120.0, swept_area_m2=0.0, field_capacity_m2_per_s=0.0))
    assert (m.overlap_time_s, m.skip_time_s) == (0.0, 0.0)
