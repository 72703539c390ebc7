"""Stationary tests of a meter against worked problems, closed forms and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from evenacre.model.finding import Finding
from evenacre.planning.calibration import meter_test
from evenacre.planning.calibration.compartments import (
    BUSHEL_M3,
    mass_kg,
    split_to_empty_together,
    usual_bulk_density,
)
from evenacre.planning.calibration.meter_test import (
    MeterStanding,
    MeterTest,
    crank_area_m2,
    judge,
    opener_evenness,
    wheel_area_m2,
)
from evenacre.planning.calibration.next_setting import by_a_line, in_proportion

# NIST SP 811, appendix B.8.
FOOT_M, POUND_KG, ACRE_M2 = 0.3048, 0.45359237, 4046.8564224
POUND_PER_ACRE = POUND_KG / ACRE_M2
KG_PER_HA = 1e-4

positive = st.floats(0.01, 1000.0)
scales = st.floats(1e-3, 1e3)


def test_worked_wheel_test_of_the_south_dakota_soil_health_coalition() -> None:
    # South Dakota Soil Health Coalition, How to Calibrate a Grain Drill: a wheel of 8 ft
    # turned 20 times over one opener at 0.625 ft is 100 sq ft, where 25 lb/ac is 0.0574 lb
    # or 26.0 g.
    area = wheel_area_m2(8 * FOOT_M, 20, 0.625 * FOOT_M)
    assert area / FOOT_M**2 == pytest.approx(100.0, rel=1e-12)
    catch = 25 * POUND_PER_ACRE * area
    assert catch / POUND_KG == pytest.approx(0.0574, abs=5e-5)
    assert catch * 1000 == pytest.approx(26.0, abs=0.05)
    test = MeterTest((0.0260,), area, turns=20)
    assert test.rate_kg_per_m2 / POUND_PER_ACRE == pytest.approx(25.0, abs=0.05)
    assert test.kg_per_turn == pytest.approx(0.0013)


# Field and Solie, Introduction to Agricultural Engineering Technology, stationary calibration:
# 12 openers at 0.20 m, wheel 0.80 m across, 50 turns, grams caught under each opener.
FIELD_AND_SOLIE_G = (22.6, 22.4, 22.0, 22.9, 22.7, 22.6, 22.0, 22.8, 22.8, 22.7, 22.6, 22.8)


def test_worked_metric_problem_of_field_and_solie() -> None:
    area = wheel_area_m2(math.pi * 0.80, 50, 12 * 0.20)
    test = MeterTest((sum(FIELD_AND_SOLIE_G) / 1000,), area)
    assert test.mean_kg * 1000 == pytest.approx(270.9, abs=0.05)
    assert test.rate_kg_per_m2 / KG_PER_HA == pytest.approx(8.98, abs=0.005)
    assert judge(test, 9.0 * KG_PER_HA, 0.05).within


@pytest.mark.parametrize(
    ("rate", "accepted"), [(8.5, False), (8.6, True), (9.4, True), (9.5, False)]
)
def test_rates_accepted_by_field_and_solie(rate: float, accepted: bool) -> None:
    # The same problem: 8.6 to 9.4 kg/ha are accepted for 9.0.
    assert judge(MeterTest((rate * KG_PER_HA,), 1.0), 9.0 * KG_PER_HA, 0.05).within is accepted


def test_openers_accepted_by_field_and_solie() -> None:
    # The same problem: each opener between 21.4 and 23.7 g about the mean of 22.575 g.
    evenness = opener_evenness(np.array(FIELD_AND_SOLIE_G) / 1000)
    assert evenness.mean_kg * 1000 == pytest.approx(22.575, abs=1e-9)
    assert evenness.low_kg * 1000 == pytest.approx(21.4, abs=0.05)
    assert evenness.high_kg * 1000 == pytest.approx(23.7, abs=0.05)
    assert evenness.outside == ()


@pytest.mark.parametrize(("grams", "outside"), [(21.3, (5,)), (21.5, ()), (23.6, ()), (24.0, (5,))])
def test_one_uneven_opener_is_named(grams: float, outside: tuple[int, ...]) -> None:
    others = 22.575
    catches = [others] * 4 + [grams] + [others] * 200
    assert opener_evenness(catches).outside == outside


def test_repeat_tests_of_the_openers_are_averaged() -> None:
    evenness = opener_evenness([[20.0, 24.0, 22.0], [24.0, 20.0, 22.0]])
    assert evenness.ratios == pytest.approx((1.0, 1.0, 1.0))
    assert evenness.outside == ()


def test_an_opener_that_gave_nothing_is_outside() -> None:
    assert opener_evenness([22.0, 0.0, 22.0]).outside == (1, 2, 3)
    with pytest.raises(ValueError, match="something caught"):
        opener_evenness([0.0, 0.0])


def test_crank_turns_for_an_acre() -> None:
    # Common practice, no source: about 25 turns stand for an acre.
    per_m2 = 25 / ACRE_M2
    assert crank_area_m2(25, per_m2) == pytest.approx(ACRE_M2)
    tenth = MeterTest((2.5 * POUND_KG,), crank_area_m2(2.5, per_m2), turns=2.5)
    assert tenth.rate_kg_per_m2 == pytest.approx(25 * POUND_PER_ACRE)
    assert tenth.kg_per_turn == pytest.approx(POUND_KG)


def test_scatter_of_repeat_catches() -> None:
    # Deviations of 4.1, 4.2 and 4.3 are -0.1, 0 and 0.1: variance 0.02 / 2.
    test = MeterTest((4.1, 4.2, 4.3), 100.0)
    assert test.sd_kg == pytest.approx(0.1)
    assert test.se_kg == pytest.approx(0.1 / math.sqrt(3))
    # Student's t of two degrees of freedom, 95 % one-sided: 2.920 (any table of t).
    low, high = test.interval_kg_per_m2 or (0.0, 0.0)
    assert (high - low) / 2 == pytest.approx(2.920 * 0.1 / math.sqrt(3) / 100, rel=1e-4)


def test_one_catch_shows_no_scatter() -> None:
    test = MeterTest((4.2,), 100.0, resolution_kg=0.1)
    assert test.sd_kg is None
    assert test.interval_kg_per_m2 is None
    verdict = judge(test, 0.042)
    assert verdict.standing is MeterStanding.ONE_CATCH
    assert verdict.scatter_allows is None


def test_the_step_of_the_scale_stays_however_often_it_is_read() -> None:
    test = MeterTest((4.2,) * 20, 100.0, resolution_kg=0.1)
    assert test.se_kg == pytest.approx(0.1 / math.sqrt(12))
    assert judge(test, 0.042, 0.001).catches_needed is None


def test_the_ground_of_a_catch_changes_no_verdict() -> None:
    small = judge(MeterTest((9.0, 10.0, 11.0), 1.0), 10.0, 0.06)
    large = judge(MeterTest((900.0, 1000.0, 1100.0), 100.0), 10.0, 0.06)
    # The fewest n with t(n - 1) s / sqrt(n) within 6 % of the target: s is a tenth of it.
    half = [stats.t.ppf(0.95, n - 1) * 0.1 / math.sqrt(n) for n in range(2, 31)]
    fewest = 2 + next(i for i, h in enumerate(half) if h <= 0.06)
    assert small.catches_needed == large.catches_needed == fewest


def test_standing_to_the_target() -> None:
    tight = MeterTest((9.99, 10.0, 10.01), 1.0)
    assert judge(tight, 10.2).standing is MeterStanding.ON_TARGET
    assert judge(tight, 12.0).standing is MeterStanding.OFF_TARGET
    assert judge(tight, 10.526).standing is MeterStanding.CANNOT_TELL
    loose = judge(MeterTest((9.0, 10.0, 11.0), 1.0), 10.0)
    assert loose.standing is MeterStanding.CANNOT_TELL
    assert loose.within
    assert loose.scatter_allows is False


def test_as_many_catches_as_asked_for_do_settle_it() -> None:
    verdict = judge(MeterTest((9.5, 10.0, 10.5), 1.0), 10.0)
    n = verdict.catches_needed
    assert n is not None
    # Student's t again: n catches of standard deviation 0.5 within 0.5, and one fewer not.
    assert stats.t.ppf(0.95, n - 1) * 0.5 / math.sqrt(n) <= 0.5
    assert stats.t.ppf(0.95, n - 2) * 0.5 / math.sqrt(n - 1) > 0.5


def test_the_interval_of_the_rate_holds_the_truth_nine_times_in_ten() -> None:
    rng = np.random.default_rng(41)
    held = 0
    for catches in rng.normal(10.0, 0.4, size=(4000, 4)):
        low, high = MeterTest(tuple(catches), 2.0).interval_kg_per_m2 or (0.0, 0.0)
        held += low <= 5.0 <= high
    assert held / 4000 == pytest.approx(0.90, abs=0.015)


def test_nonsense_is_refused() -> None:
    for catches in [(), (0.0,), (-1.0,), (math.nan,), (math.inf,)]:
        with pytest.raises(ValueError, match="catches"):
            MeterTest(catches, 1.0)
    with pytest.raises(ValueError, match="ground"):
        MeterTest((1.0,), 0.0)


@given(st.lists(positive, min_size=1, max_size=6), positive, positive, scales)
def test_scale_does_not_matter(
    catches: list[float], area: float, target: float, scale: float
) -> None:
    plain = judge(MeterTest(tuple(catches), area), target)
    scaled = judge(MeterTest(tuple(c * scale for c in catches), area), target * scale)
    wider = judge(MeterTest(tuple(c * scale for c in catches), area * scale), target)
    for other in (scaled, wider):
        assert other.off_by == pytest.approx(plain.off_by, rel=1e-9, abs=1e-9)
        if abs(abs(plain.off_by) - 0.05) > 1e-6:
            assert other.within is plain.within


@given(positive, positive, st.floats(0.51, 1.99))
def test_a_proportional_meter_reaches_the_target(
    setting: float, output: float, factor: float
) -> None:
    target = factor * setting * output
    found = in_proportion(setting, MeterTest((setting * output,), 1.0), target)
    assert found.setting is not None
    assert found.setting * output == pytest.approx(target, rel=1e-9)


@given(
    st.lists(st.integers(1, 100), min_size=2, max_size=8, unique=True),
    st.floats(0.0, 50.0),
    st.floats(0.05, 10.0) | st.floats(-10.0, -0.05),
    st.floats(0.0, 1.0),
)
def test_a_straight_meter_reaches_the_target(
    tested: list[int], at_zero: float, slope: float, part: float
) -> None:
    offset = at_zero + (1000.0 if slope < 0 else 0.0)  # a rate is never below zero
    target = offset + slope * (min(tested) + part * (max(tested) - min(tested)))
    found = by_a_line(tested, [offset + slope * s for s in tested], target)
    assert found.setting is not None
    assert offset + slope * found.setting == pytest.approx(target, rel=1e-9)
    assert found.beyond == 0


@given(scales, scales)
@settings(max_examples=30)
def test_units_of_rate_and_setting_do_not_matter(rate_unit: float, setting_unit: float) -> None:
    at, rates = np.array([30.0, 30, 40, 40, 50, 50]), np.array([14.9, 15.2, 20.3, 19.9, 24.8, 25.1])
    plain = by_a_line(at, rates, 22.0)
    other = by_a_line(at * setting_unit, rates * rate_unit, 22.0 * rate_unit)
    for name in ("setting", "low", "high"):
        assert getattr(other, name) == pytest.approx(getattr(plain, name) * setting_unit, rel=1e-7)


def test_the_interval_of_the_setting_holds_the_truth_nine_times_in_ten() -> None:
    rng = np.random.default_rng(7)
    tested = np.repeat([30.0, 40.0, 50.0], 3)
    rates = 2.0 + 0.5 * tested + rng.normal(0.0, 0.4, size=(1500, 9))
    truth = (20.0 - 2.0) / 0.5
    found = [by_a_line(tested, one, 20.0) for one in rates]
    held = [f.low <= truth <= f.high for f in found if f.low is not None and f.high is not None]
    assert len(held) == 1500
    assert np.mean(held) == pytest.approx(0.90, abs=0.024)


def test_beyond_the_tested_settings_nothing_is_given_unasked() -> None:
    line = ([30.0, 40.0, 50.0], [15.0, 20.0, 25.0], 27.0)
    refused = by_a_line(*line)
    assert refused.setting is None
    assert refused.beyond == pytest.approx(4.0)
    assert refused.refused == Finding.note("target_beyond_settings")
    told = by_a_line(*line, allow_far=True)
    assert told.setting == pytest.approx(54.0)
    assert told.beyond == pytest.approx(4.0)
    one = MeterTest((20.0,), 1.0)
    assert in_proportion(40.0, one, 39.0).setting == pytest.approx(78.0)
    assert in_proportion(40.0, one, 41.0).setting is None
    assert in_proportion(40.0, one, 9.0).setting is None
    assert in_proportion(40.0, one, 41.0, allow_far=True).setting == pytest.approx(82.0)
    assert in_proportion(0.0, one, 20.0).setting is None


def test_no_setting_lies_below_zero() -> None:
    found = by_a_line([10.0, 20.0], [15.0, 20.0], 5.0, allow_far=True)
    assert found.setting is None
    assert found.refused == Finding.note("line_below_zero")


def test_a_line_that_says_nothing_is_refused() -> None:
    flat = by_a_line([30.0, 40.0], [20.0, 20.0], 20.0)
    assert flat.setting is None
    hidden = by_a_line([30.0, 30.0, 40.0, 40.0], [18.0, 22.0, 18.2, 22.3], 20.0)
    assert hidden.setting is None
    assert flat.refused == Finding.note("rate_unchanged_by_setting")
    assert hidden.refused == Finding.note("scatter_hides_change")
    with pytest.raises(ValueError, match="two settings"):
        by_a_line([30.0, 30.0], [20.0, 21.0], 20.0)


def test_two_catches_at_two_settings_give_no_interval() -> None:
    found = by_a_line([30.0, 40.0], [15.0, 20.0], 17.5)
    assert (found.setting, found.low, found.bend) == (pytest.approx(35.0), None, None)


def test_a_bent_meter_is_told() -> None:
    # Rates 10, 22, 30 about their line 32/3, 62/3, 92/3: off by 2/3 at 10, 4/3 at 22.
    bent = by_a_line([1.0, 1, 2, 2, 3, 3], [10.0, 10, 22, 22, 30, 30], 25.0)
    assert bent.bend == pytest.approx((2 / 3) / 10)


# University of Missouri Extension G4020, Tables for Weights and Measurement: Crops (lb/bu).
@pytest.mark.parametrize(
    ("crop", "pounds"),
    [
        ("alfalfa", 60),
        ("Red clover, lot 7", 60),
        ("timothy", 45),
        ("orchardgrass", 14),
        ("orchard grass", 14),
        ("smooth brome", 14),
        ("cereal rye", 56),
        ("oat", 32),
        ("barley", 48),
        ("soybeans", 60),
        ("shelled corn", 56),
        ("flax", 60),
    ],
)
def test_test_weights_of_g4020(crop: str, pounds: float) -> None:
    found = usual_bulk_density(crop)
    assert found is not None
    bushel_m3 = 1.2445 * FOOT_M**3
    assert mass_kg(bushel_m3, found[1]) / POUND_KG == pytest.approx(pounds, rel=1e-4)


def test_names_that_tell_no_crop() -> None:
    for name in ("18-46-0", "annual rye grass", "ryegrass", "buckwheat", "oats and vetch", ""):
        assert usual_bulk_density(name) is None


def test_bushel_is_1_2445_cubic_feet() -> None:
    # University of Missouri Extension G4020.
    assert pytest.approx(1.2445, abs=5e-5) == BUSHEL_M3 / FOOT_M**3


def test_a_fill_of_fluffy_grass_goes_not_so_far() -> None:
    # 180 bu at 60 lb/bu is 10,800 lb, 540 acres at 20 lb/ac; at 14 lb/bu 126 acres.
    def acres(pounds: float) -> float:
        density = pounds * POUND_KG / BUSHEL_M3
        fill = mass_kg(180 * BUSHEL_M3, density)
        return fill / (20 * POUND_PER_ACRE) / ACRE_M2

    assert acres(60) == pytest.approx(540.0)
    assert acres(14) == pytest.approx(126.0)


def test_two_compartments_end_together() -> None:
    # 7,000 and 3,000 lb at 200 lb/ac: 140 and 60 lb/ac over 50 acres.
    split = split_to_empty_together(
        {"front": 7000 * POUND_KG, "rear": 3000 * POUND_KG}, 200 * POUND_PER_ACRE
    )
    rates = [share.rate_kg_per_m2 / POUND_PER_ACRE for share in split.shares]
    assert rates == pytest.approx([140.0, 60.0])
    assert split.area_m2 / ACRE_M2 == pytest.approx(50.0)


@given(st.lists(st.floats(0.0, 1e4), min_size=1, max_size=5), positive)
def test_whatever_the_fills_all_end_together(masses: list[float], rate: float) -> None:
    named = {str(i): kg for i, kg in enumerate(masses)}
    if sum(masses) <= 1e-6:
        return
    split = split_to_empty_together(named, rate)
    assert sum(s.rate_kg_per_m2 for s in split.shares) == pytest.approx(rate, rel=1e-9)
    for share in split.shares:
        assert share.rate_kg_per_m2 * split.area_m2 == pytest.approx(share.mass_kg, rel=1e-9)


def test_empty_compartments_are_refused() -> None:
    for masses in ({"front": 0.0}, {"front": 5.0, "rear": -1.0}):
        with pytest.raises(ValueError, match="something in them"):
            split_to_empty_together(masses, 1.0)


def test_every_catch_has_a_rate_of_its_own() -> None:
    assert MeterTest((2.0, 3.0), 250.0).rates_kg_per_m2 == pytest.approx((0.008, 0.012))


def test_variation_is_the_standard_deviation_between_openers_over_their_mean() -> None:
    # Of 8, 10 and 12 the mean is 10, and the standard deviation sqrt((4 + 0 + 4) / 2) = 2.
    assert opener_evenness((8.0, 10.0, 12.0)).variation == pytest.approx(0.2)


@pytest.mark.parametrize("catches", [2, 29, 30, 31])
def test_as_many_catches_are_needed_as_pin_the_rate_down_and_no_more_than_thirty(
    catches: int,
) -> None:
    # A tolerance just wider than the interval of so many catches that scatter by 1 in 100.
    test = MeterTest((99.0, 101.0, 100.0), 1.0)
    half = stats.t.ppf(0.95, catches - 1) * 1.0 / math.sqrt(catches)
    needed = judge(test, 100.0, 1.0001 * half / 100.0).catches_needed
    assert needed == (catches if catches <= 30 else None)


def test_quantiles_at_hand_are_those_of_students_t() -> None:
    at_hand = [meter_test._quantile(catches) for catches in range(2, 32)]
    assert at_hand == pytest.approx(stats.t.ppf(0.95, np.arange(1, 31)), rel=1e-14)
