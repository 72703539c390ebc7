"""Fertilizer with the seed, against the published worked example and slopes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from synthetic_result import make_result

from evenacre.model import Application, Field, Implement, OperationPlan, Product, WithSeed
from evenacre.planning.season.nutrients import AuditedJob
from evenacre.planning.season.salt import CAUTION, SLOPES, limit_kg_per_m2, salt_screens, slope_of

INCH = 0.0254
LB_AC = 0.45359237 / 4046.8564224
UREA = Product("46-0-0", {"N": 46.0, "P2O5": 0.0, "K2O": 0.0})
CORN = WithSeed("corn", 1 * INCH, 30 * INCH, 15.0)


def job(product, with_seed, rate_lb_ac, method=""):
    result = make_result()
    placed = replace(
        result.products[0], product=product.name, mean_rate_kg_per_m2=rate_lb_ac * LB_AC
    )
    plan = OperationPlan(
        name="Planting",
        field=Field("Creek Forty"),
        implement=Implement(width_m=6.0),
        track_files=(),
        applications=(Application(product),),
        method=method,
        with_seed=with_seed,
    )
    return AuditedJob(plan, replace(result, products=(placed,)))


def test_published_worked_example():
    # South Dakota State University Extension, seed-placed fertilizer decision aid: corn, urea,
    # C = 0.965, S = 1 in, R = 30 in, T = 15 %, M = 1 -> 15.5 lb/ac of urea = 7.2 lb N/ac.
    limit = limit_kg_per_m2(
        slope_percent_per_lb_ac=0.965,
        spread_m=1 * INCH,
        row_spacing_m=30 * INCH,
        tolerated_loss_percent=15.0,
        soil_factor=1.0,
    )
    assert limit / LB_AC == pytest.approx(15.5, abs=0.05)
    assert limit / LB_AC * 0.46 == pytest.approx(7.2, abs=0.06)
    ((screen,), _) = salt_screens(job(UREA, CORN, 15.0))
    assert screen.limit_kg_per_m2 == pytest.approx(limit)
    assert (screen.material, screen.slope_percent_per_lb_ac) == ("urea", 0.965)


@pytest.mark.parametrize(
    ("material", "analysis", "crop", "slope"),
    [
        # The same decision aid's slopes.
        ("urea", {"N": 46.0}, "corn", 0.965),
        ("urea", {"N": 46.0}, "soybean", 3.330),
        ("urea", {"N": 46.0}, "hard red spring wheat", 1.436),
        ("urea", {"N": 46.0}, "durum", 1.468),
        ("urea", {"N": 46.0}, "alfalfa", 6.373),
        ("urea", {"N": 46.0}, "barley", 1.207),
        ("urea", {"N": 46.0}, "canola", 4.457),
        ("urea-ammonium nitrate 28-0-0", {"N": 28.0}, "corn", 0.236),
        ("urea-ammonium nitrate 28-0-0", {"N": 28.0}, "soybean", 1.703),
        ("urea-ammonium nitrate 28-0-0", {"N": 28.0}, "hard red spring wheat", 0.258),
        ("urea-ammonium nitrate 28-0-0", {"N": 28.0}, "durum", 0.396),
        ("urea-ammonium nitrate 28-0-0", {"N": 28.0}, "alfalfa", 2.821),
        ("urea-ammonium nitrate 28-0-0", {"N": 28.0}, "barley", 0.281),
        ("urea-ammonium nitrate 28-0-0", {"N": 28.0}, "canola", 1.873),
    ],
)
def test_published_slopes(material, analysis, crop, slope):
    assert slope_of(analysis, "any", replace(CORN, crop=crop)) == (material, slope)


def test_every_slope_is_checked_above():
    assert {m: len(by_crop) for m, by_crop in SLOPES.items()} == dict.fromkeys(SLOPES, 7)


@pytest.mark.parametrize(("rate", "loss", "over"), [(15.0, 14.475, False), (20.0, 19.3, True)])
def test_loss_at_the_rate_placed(rate, loss, over):
    # With S = 1 and R = 30 the formula is T = C F: 0.965 % for each lb/ac.
    ((screen,), findings) = salt_screens(job(UREA, CORN, rate))
    assert screen.loss_percent == pytest.approx(loss)
    assert screen.over is over
    assert [f.code for f in findings] == ["over_seed_tolerance"] * over


def test_loss_stops_at_the_whole_stand():
    ((screen,), _) = salt_screens(job(UREA, CORN, 500.0))
    assert screen.loss_percent == 100.0


def test_wider_rows_and_narrower_bands_bear_less():
    base = {"slope_percent_per_lb_ac": 1.0, "spread_m": 0.05, "row_spacing_m": 0.19}
    limit = limit_kg_per_m2(**base, tolerated_loss_percent=10.0)
    half_band = limit_kg_per_m2(**base | {"spread_m": 0.025}, tolerated_loss_percent=10.0)
    dry = limit_kg_per_m2(**base, tolerated_loss_percent=10.0, soil_factor=2.0)
    assert half_band == pytest.approx(limit / 2)
    assert dry == pytest.approx(limit / 2)
    with pytest.raises(ValueError):
        limit_kg_per_m2(**base | {"slope_percent_per_lb_ac": 0.0}, tolerated_loss_percent=10.0)


def test_a_slope_that_is_given_comes_first():
    map_ = Product("11-52-0", {"N": 11.0, "P2O5": 52.0})
    screens, findings = salt_screens(job(map_, CORN, 50.0))
    assert screens == []
    (found,) = findings
    assert found.code == "seed_tolerance_unknown"
    assert (found.values["product"], found.values["crop"]) == ("11-52-0", "corn")
    given = replace(CORN, slopes=(("11-52-0", 0.2),))
    ((screen,), _) = salt_screens(job(map_, given, 50.0))
    assert (screen.material, screen.loss_percent) == ("given", pytest.approx(10.0))


def test_with_the_seed_but_nothing_known_is_said():
    _, findings = salt_screens(job(UREA, None, 50.0, method="With the seed"))
    assert [f.code for f in findings] == ["with_seed_unjudged"]
    assert salt_screens(job(UREA, None, 50.0, method="between rows")) == ([], [])
    assert salt_screens(job(Product("clover", kind="seed"), CORN, 50.0)) == ([], [])


def test_two_fertilizers_that_bear_on_the_seed_together():
    # 10 lb/ac of urea costs 9.65 % and 20 lb/ac at 0.3 costs 6 %: 15.65 % of 15 % tolerated.
    other = Product("11-52-0", {"N": 11.0, "P2O5": 52.0})
    first = job(UREA, replace(CORN, slopes=(("11-52-0", 0.3),)), 10.0)
    second = job(other, None, 20.0)
    plan = replace(first.plan, applications=(*first.plan.applications, Application(other)))
    products = (*first.result.products, *second.result.products)
    screens, findings = salt_screens(AuditedJob(plan, replace(first.result, products=products)))
    assert [s.over for s in screens] == [False, False]
    (together,) = findings
    assert together.code == "over_seed_tolerance_together"
    assert together.values["loss_percent"] == pytest.approx(15.65)


def test_the_caution_defers_to_local_advice():
    assert "screening" in CAUTION
    assert "local advice" in CAUTION


def test_a_small_slope_on_narrow_rows_allows_much():
    # F = 30 x 0.5 in x 10 % / (0.02 x 4 in x 1) = 1875 lb/ac.
    narrow = {"spread_m": 0.5 * INCH, "row_spacing_m": 4 * INCH, "tolerated_loss_percent": 10.0}
    limit = limit_kg_per_m2(slope_percent_per_lb_ac=-0.02, **narrow)
    assert limit / LB_AC == pytest.approx(1875, rel=1e-9)


def test_a_trace_of_another_nutrient_makes_another_material():
    assert slope_of({"N": 46.0, "S": 0.5}, "any", CORN) == ("", None)
