"""Come out even: the rate, its interval, where the load runs out, and what else can be done."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from cli_jobs import MISSOURI, evenacre, summary_of, write_boundary, write_log
from cli_jobs import records_of as log_of
from jobs import DRILL, straight_job
from put_down import on_earth, operation

from evenacre.coverage.audit import audit_operation
from evenacre.model import Application, LoadTicket, Operation, Product
from evenacre.model.audit_result import AuditResult
from evenacre.model.finding import FindingError
from evenacre.planning.finish.finish_job import FinishJob, finish_job
from evenacre.planning.finish.passes_seen import PassesSeen, driven_again, passes_seen
from evenacre.planning.finish.rate_to_finish import GroundLeft, come_out_even, ground_left
from evenacre.planning.finish.remaining_ground import (
    RunOut,
    ground_ahead,
    main_heading_rad,
    passes_ahead,
    split_lines,
)
from evenacre.planning.loads.loads import Amount

LENGTH, WIDTH = 240.0, DRILL.width_m
RATE = 0.012  # kg/m2
Z90 = 1.6448536269514722  # standard normal quantile of 0.95
LB, ACRE = 0.45359237, 4046.8564224  # NIST SP 811, appendix B.8


def job_so_far(
    passes: int = 5, of: int = 12, gap: float = 0.0, tickets: tuple[LoadTicket, ...] = ()
) -> Operation:
    """The first passes of a field ``of`` passes wide, each next to the one before or over it."""
    job = straight_job(LENGTH, (gap,) * (passes - 1))
    job = replace(
        job,
        boundary=shapely.box(0.0, 0.0, LENGTH, of * WIDTH),
        drives=tuple(d.with_rate("rye", RATE) for d in job.drives),
        applications=(Application(Product("rye"), RATE),),
    )
    return replace(operation(job), tickets=tickets)


def finished(job: Operation, kg: float, sigma: float = 1.0) -> tuple[AuditResult, FinishJob]:
    result = audit_operation(job)
    return result, finish_job(job, result, left=Amount(kg, sigma))


# The rate and its interval


def test_with_ground_known_exactly_the_interval_is_that_of_the_mass() -> None:
    found = come_out_even(ground_left(10_000, 0, overlap=0.0), Amount(120, 3))
    assert found.even_kg_per_m2 == pytest.approx(0.012)
    assert found.low_kg_per_m2 == pytest.approx((120 - Z90 * 3) / 10_000, rel=1e-6)
    assert found.high_kg_per_m2 == pytest.approx((120 + Z90 * 3) / 10_000, rel=1e-6)


def test_with_mass_known_exactly_the_interval_is_that_of_the_ground() -> None:
    found = come_out_even(ground_left(10_000, 200, overlap=0.0), Amount(120, 0))
    assert found.low_kg_per_m2 == pytest.approx(120 / (10_000 + Z90 * 200), rel=1e-6)
    assert found.high_kg_per_m2 == pytest.approx(120 / (10_000 - Z90 * 200), rel=1e-6)


def test_ground_that_may_be_none_has_no_upper_rate() -> None:
    found = come_out_even(ground_left(100, 90, overlap=0.0), Amount(120, 0))
    assert found.high_kg_per_m2 == math.inf
    # At most the ground is what it may be, and the load must go on it.
    assert found.low_kg_per_m2 == pytest.approx(120 / (100 + Z90 * 90), rel=1e-6)


def test_hardly_any_ground_left_does_not_make_a_load_come_out_even() -> None:
    found = come_out_even(ground_left(100, 90, overlap=0.0), Amount(120, 1), rate_kg_per_m2=RATE)
    assert found.verdict == "left over"
    assert found.short_kg == pytest.approx(RATE * 100 - 120)


@pytest.mark.parametrize("ground_sigma", [5.0, 40.0, 60.0, 61.0, 90.0])
@pytest.mark.parametrize("mass_sigma", [0.0, 2.0, 20.0])
def test_ends_of_the_interval_differ_by_just_what_the_errors_allow(
    ground_sigma: float, mass_sigma: float
) -> None:
    found = come_out_even(ground_left(100, ground_sigma, overlap=0.0), Amount(120, mass_sigma))
    for end in (found.low_kg_per_m2, found.high_kg_per_m2):
        if math.isfinite(end):
            gap = abs(120 - end * 100) / math.hypot(mass_sigma, end * ground_sigma)
            assert gap == pytest.approx(Z90, rel=1e-6)


def seen_so_far(
    lap_m: np.ndarray, ends_m2: np.ndarray | float = 0.0, *, under_way: bool = False
) -> PassesSeen:
    return PassesSeen(lap_m, np.broadcast_to(ends_m2, lap_m.shape), under_way=under_way)


def test_overlap_so_far_is_expected_to_go_on() -> None:
    found = driven_again(seen_so_far(np.full(3, 0.2), 9.0), np.full(5, 300.0), np.zeros(5), 6.0)
    assert found.m2 == pytest.approx([0.2 * 300 + 9] * 5)
    assert found.sigma_m2 == pytest.approx(0, abs=1e-9)  # nobody wavered


def test_ends_belong_to_passes_and_laps_to_their_length() -> None:
    """As much ground to come in passes half as long: the same laps, twice the ends."""
    seen = seen_so_far(np.array([0.1, 0.2, 0.3]), np.array([8.0, 10.0, 12.0]))
    long = driven_again(seen, np.full(4, 300.0), np.zeros(4), 6.0)
    short = driven_again(seen, np.full(8, 150.0), np.zeros(8), 6.0)
    assert long.m2.sum() == pytest.approx(0.2 * 1200 + 4 * 10)
    assert short.m2.sum() == pytest.approx(0.2 * 1200 + 8 * 10)


def test_the_pass_under_way_has_one_end_to_come() -> None:
    seen = seen_so_far(np.full(4, 0.2), 10.0, under_way=True)
    assert driven_again(seen, np.full(2, 100.0), np.zeros(2), 6.0).m2 == pytest.approx([25, 30])


def test_slanted_corners_are_driven_as_far_as_rows_ran_into_those_before() -> None:
    corners = np.array([0.0, 18.0])
    for share, more in ((1.0, 18.0), (0.25, 4.5)):
        seen = PassesSeen(np.full(4, 0.2), np.zeros(4), share)
        found = driven_again(seen, np.full(2, 100.0), corners, 6.0)
        assert found.m2 == pytest.approx([20, 20 + more])


def test_corners_of_which_no_pass_told_leave_the_forecast_open() -> None:
    """As likely none of them as all: half, and a standard deviation of 1 / sqrt 12."""
    job = audit_operation(operation(straight_job(LENGTH, (-0.2,) * 4)))  # square ends
    field = shapely.union_all(job.layers["field"].geometry.to_numpy())
    seen = passes_seen(job, field, shapely.Polygon(), under_way=False)
    steady = PassesSeen(np.full(5, 0.2), np.zeros(5), seen.corners, seen.corners_sigma)
    found = driven_again(steady, np.full(2, 100.0), np.array([60.0, 60.0]), 6.0)
    assert found.m2 == pytest.approx([50.0, 50.0])
    assert found.sigma_m2 == pytest.approx(120 / math.sqrt(12), rel=1e-9)


def test_wavering_overlap_widens_the_forecast() -> None:
    rng = np.random.default_rng(2)
    calm, wild = (0.2 + size * rng.standard_normal(25) for size in (0.02, 0.10))
    one, other = (
        driven_again(seen_so_far(laps), np.full(8, 300.0), np.zeros(8), 6.0).sigma_m2
        for laps in (calm, wild)
    )
    assert other > 3 * one
    # n passes to come of one length, p seen: s * length * sqrt(n + n^2 / p).
    wavered = float(np.std(wild, ddof=1))
    assert other == pytest.approx(wavered * 300 * math.sqrt(8 + 64 / 25), rel=1e-9)


def test_a_pass_or_two_are_weighed_with_the_usual_habit() -> None:
    """The more are seen the nearer to them, and the less sure the fewer."""
    width, length = 6.0, np.full(10, 300.0)
    laps = [driven_again(seen_so_far(np.full(n, 0.6)), length, np.zeros(10), width)
            for n in (0, 1, 2)]  # fmt: skip
    shares = [found.m2.sum() / (width * 3000) for found in laps]
    assert 0.03 < shares[0] < shares[1] < shares[2] < 0.1
    sigmas = [found.sigma_m2 for found in laps]
    assert sigmas[0] > sigmas[1] > sigmas[2] > 0


@pytest.mark.parametrize("fewest", [3, 6, 13])
def test_interval_holds_the_truth_nine_times_in_ten(fewest: int) -> None:
    """A thousand fields driven to the end, seen part way through by one with a scale.

    Each driver aims at a lap and at ends of his own and wavers about them. Mass is read in steps
    of 20 lb. Nothing here uses a formula of the package: the rate that would have come out even is
    mass over ground driven.
    """
    rng = np.random.default_rng(90_210)
    step = 20 * LB
    held = 0
    for _ in range(1000):
        width = rng.uniform(4.0, 12.0)
        aim, late = rng.uniform(0.0, 0.08) * width, rng.uniform(0.0, 4.0) * width
        waver, unsure = rng.uniform(0.01, 0.05) * width, rng.uniform(0.1, 2.0) * width
        seen, ahead = (int(rng.integers(fewest, 2 * fewest)) for _ in range(2))
        length = rng.uniform(200.0, 800.0, seen + ahead)
        lap = aim + waver * rng.standard_normal(seen + ahead)
        ends = late + unsure * rng.standard_normal(seen + ahead)
        undone = float(((width - lap) * length)[seen:].sum())
        driven = float((width * length + ends)[seen:].sum())
        mass = rng.uniform(0.005, 0.03) * driven
        receiver = rng.uniform(0.0, 0.01) * math.sqrt(seen) * 400
        again = driven_again(
            PassesSeen(lap[:seen], ends[:seen]), length[seen:], np.zeros(ahead), width
        )
        sigma = math.hypot(receiver, again.sigma_m2)
        told = undone + receiver * rng.standard_normal()
        drive = told + again.m2.sum()
        freedom = again.freedom * (sigma / again.sigma_m2) ** 4
        ground = GroundLeft(told, receiver, 0.0, drive, sigma, freedom, seen)
        cart = rng.uniform(6000, 9000)  # read full, its empty weight known
        read = np.round((cart + mass) / step) * step - cart
        found = come_out_even(ground, Amount(float(read), step / math.sqrt(12)))
        held += found.low_kg_per_m2 <= mass / driven <= found.high_kg_per_m2
    assert held / 1000 == pytest.approx(0.90, abs=0.03)


# What to do


def test_under_the_least_rate_leave_ground_or_add() -> None:
    product = Product("rye", rate_min_kg_per_m2=0.010, rate_max_kg_per_m2=0.020)
    found = come_out_even(
        ground_left(10_000, 50, overlap=0.05), Amount(84, 1), rate_kg_per_m2=0.012, product=product
    )
    assert found.even_kg_per_m2 == pytest.approx(0.008)
    assert (found.range, found.verdict) == ("below", "runs out")
    # 84 kg at 0.010 reach 8,400 m2 of driving: 8,000 of new ground.
    assert found.leave_m2 == pytest.approx(2000)
    assert found.add_kg == pytest.approx(0.012 * 10_500 - 84)
    assert found.short_kg == pytest.approx(0.012 * 10_500 - 84)
    assert found.reach_m2 == pytest.approx(7000)


def test_a_blend_is_added_in_its_parts() -> None:
    product = Product("mix", parts=(("red clover", 3.0), ("orchardgrass", 2.0)))
    found = come_out_even(
        ground_left(10_000, 50, overlap=0.0), Amount(80, 1), rate_kg_per_m2=0.012, product=product
    )
    assert dict(found.add_parts) == pytest.approx({"red clover": 24, "orchardgrass": 16})


def test_over_the_most_rate_some_is_left() -> None:
    product = Product("rye", rate_max_kg_per_m2=0.011)
    found = come_out_even(
        ground_left(10_000, 50, overlap=0.0), Amount(120, 1), rate_kg_per_m2=0.010, product=product
    )
    assert (found.range, found.verdict) == ("above", "left over")
    assert found.spare_kg == pytest.approx(10)
    assert found.add_kg == 0
    assert found.leave_m2 == 0


def test_a_rate_inside_the_interval_is_even() -> None:
    found = come_out_even(ground_left(10_000, 100), Amount(120, 2), rate_kg_per_m2=0.0116)
    assert found.verdict == "even"
    assert found.range == "not known"
    assert come_out_even(ground_left(10_000, 100), Amount(120, 2)).verdict == "no rate"


# Passes to come


def test_passes_cover_the_ground_once_and_run_to_and_fro() -> None:
    ground = shapely.box(0, 0, 100, 50).difference(shapely.box(40, 20, 60, 60))
    turned = shapely.affinity.rotate(ground, 30, origin=(0, 0))
    passes = passes_ahead(turned, 6.0, math.radians(30), np.array([0.0, 0.0]))
    assert sum(p.area_m2 for p in passes) == pytest.approx(ground.area)
    laid = shapely.union_all([p.ground for p in passes])
    assert laid.symmetric_difference(turned).area == pytest.approx(0, abs=1e-6)
    assert sum(p.area_m2 for p in passes) == pytest.approx(laid.area)
    first, second = (np.array(p.line.coords) for p in passes[:2])
    assert np.hypot(*(second[0] - first[1])) == pytest.approx(6.0)
    angle = np.arctan2(*(first[1] - first[0])[::-1])
    assert math.degrees(angle) % 180 == pytest.approx(30)


def test_a_corner_of_less_than_a_twentieth_of_a_square_is_left() -> None:
    # The tool is 6 m wide: of a square of 36 m2 a twentieth is 1.8 m2.
    for side, count in ((1.3, 1), (1.4, 2)):
        ground = shapely.box(0, 0, 100, 6) | shapely.box(200, 0, 200 + side, side)
        passes = passes_ahead(ground, 6.0, 0.0, np.zeros(2))
        assert [round(p.length_m, 6) for p in passes] == [100.0, side][:count]


def test_lines_are_cut_where_the_load_runs_out() -> None:
    passes = passes_ahead(shapely.box(0, 0, 100, 12), 6.0, 0.0, np.zeros(2))
    found = split_lines(passes, RunOut(2, 60.0, 9.0, 140.0, 1.0, 40.0))
    lines = [(number, np.round(line.coords, 6).tolist(), fed) for number, line, fed in found]
    assert lines == [
        (1, [[0, 3], [100, 3]], True),
        (2, [[100, 9], [60, 9]], True),
        (2, [[60, 9], [0, 9]], False),
    ]
    assert [fed for _, _, fed in split_lines(passes, None)] == [True, True]


def test_no_ground_no_passes() -> None:
    assert passes_ahead(shapely.Polygon(), 6.0, 0.0, np.zeros(2)) == ()


# From tracks


def test_ground_still_to_do_and_passes_to_come() -> None:
    result = audit_operation(job_so_far(passes=5, of=12))
    ahead = ground_ahead(result)
    assert ahead.undone.area == pytest.approx(7 * WIDTH * LENGTH, rel=2e-3)
    assert len(ahead.passes) == 7
    assert [p.length_m for p in ahead.passes] == pytest.approx([LENGTH] * 7, abs=1.0)
    assert abs(math.sin(main_heading_rad(result))) < 0.01
    # The fifth pass ended at the far end: the next one starts there.
    start = np.array(ahead.passes[0].line.coords[0])
    end = np.array(result.layers["passes"].geometry.iloc[-1].coords[-1])
    assert np.hypot(*(start - end)) == pytest.approx(WIDTH, abs=0.3)
    assert ahead.full_width_m2 == pytest.approx(ahead.undone.area, rel=0.01)


def habits(job: Operation) -> PassesSeen:
    result = audit_operation(job)
    field, cover = (
        shapely.union_all(result.layers[n].geometry.to_numpy()) for n in ("field", "cover")
    )
    return passes_seen(result, field, field.difference(cover), under_way=False)


@pytest.mark.parametrize("gap", [-0.4, 0.0, 0.3])
def test_lap_of_each_pass_is_what_it_drove_twice_less_what_it_left(gap: float) -> None:
    seen = habits(operation(straight_job(LENGTH, (gap,) * 4)))
    assert seen.lap_m == pytest.approx([0, *[-gap] * 4], abs=0.01)
    assert seen.ends_m2 == pytest.approx(np.zeros(5), abs=0.1 * WIDTH)


@pytest.mark.parametrize("beyond", [0.0, 1.5, 3.0])
def test_ends_of_each_pass_are_what_it_drove_beyond_the_field(beyond: float) -> None:
    job = straight_job(LENGTH, (-0.2,) * 4)
    top = job.boundary.bounds[3]
    job = replace(job, boundary=shapely.box(beyond, 0.0, LENGTH - beyond, top))
    seen = habits(operation(job))
    assert seen.ends_m2 / WIDTH == pytest.approx(np.full(5, 2 * beyond), abs=0.1)
    assert seen.lap_m == pytest.approx([0, *[0.2] * 4], abs=0.01)


def test_skips_left_behind_are_not_still_to_do() -> None:
    result = audit_operation(job_so_far(passes=5, of=12, gap=0.5))
    ahead = ground_ahead(result)
    covered = 5 * WIDTH + 4 * 0.5
    assert ahead.skipped_m2 == pytest.approx(4 * 0.5 * LENGTH, rel=0.01)
    assert ahead.undone.area == pytest.approx((12 * WIDTH - covered) * LENGTH, rel=2e-3)


@pytest.mark.parametrize("into", [0.25, 0.5, 2.75])
def test_load_runs_out_where_it_must(into: float) -> None:
    """Without overlap a load for so many passes ends just there."""
    job = job_so_far(passes=5, of=12)
    result, found = finished(job, into * RATE * WIDTH * LENGTH)
    assert found.rate_from == "mean of the log"
    assert found.finish.rate_kg_per_m2 == pytest.approx(RATE, rel=1e-3)
    assert found.finish.verdict == "runs out"
    assert found.out is not None
    assert found.out.pass_number == math.floor(into) + 1
    assert found.out.distance_m == pytest.approx(into * LENGTH, abs=2.0)
    assert found.out.into_pass_m == pytest.approx(into % 1 * LENGTH, abs=2.0)
    start = np.array(found.ahead.passes[found.out.pass_number - 1].line.coords[0])
    at = np.array([found.out.x_m, found.out.y_m])
    assert np.hypot(*(at - start)) == pytest.approx(found.out.into_pass_m, abs=0.01)
    assert found.ahead.undone.buffer(0.1).contains(shapely.Point(at))
    assert result.boundary_given


def test_a_load_that_lasts_does_not_run_out() -> None:
    _, found = finished(job_so_far(), 8.5 * RATE * WIDTH * LENGTH)
    assert found.finish.verdict == "left over"
    assert found.out is None
    assert found.finish.even_kg_per_m2 == pytest.approx(8.5 / 7 * RATE, rel=3e-3)


def test_overlap_makes_the_load_end_sooner() -> None:
    """A load for three passes ends with the third, lapped or not: of new ground it does less."""
    kg = 3 * RATE * WIDTH * LENGTH
    _, even = finished(job_so_far(gap=0.0), 0.999 * kg)
    _, lapped = finished(job_so_far(gap=-0.3), 0.999 * kg)
    assert even.out is not None
    assert lapped.out is not None
    # Five passes with four laps of 0.3 m: eight of their mean to come, over what is still to do.
    assert len(lapped.ahead.passes) == 8
    mean = 4 * 0.3 / 5
    share = 8 * mean / (12 * WIDTH - (5 * WIDTH - 4 * 0.3))
    assert lapped.finish.ground.overlap == pytest.approx(share, abs=2e-3)
    done = [sum(p.area_m2 for p in job.ahead.passes[:3]) for job in (even, lapped)]
    assert done[1] == pytest.approx(done[0] * (1 - mean / WIDTH), rel=5e-3)
    for job in (even, lapped):
        assert job.out is not None
        assert job.out.distance_m == pytest.approx(3 * LENGTH, abs=3.0)


def test_interval_from_tracks_holds_what_was_driven_in_the_end() -> None:
    """Twelve passes with laps of their own; what the last seven take is known only then."""
    held = 0
    for seed in range(10):
        laps = -np.abs(np.random.default_rng(seed).normal(0.25, 0.12, 11))
        whole = straight_job(LENGTH, tuple(laps))
        drive = whole.drives[0]
        fifth = np.flatnonzero(np.diff(drive.working.astype(int)) == -1)[4] + 20
        part = replace(
            drive,
            **{k: getattr(drive, k)[:fifth] for k in ("time_s", "x_m", "y_m", "heading_rad")},
            working=drive.working[:fifth],
        )
        job = replace(whole, drives=(part,), applications=(Application(Product("rye"), RATE),))
        seen = audit_operation(operation(job))
        driven = 7 * WIDTH * LENGTH
        found = finish_job(operation(job), seen, left=Amount(RATE * driven, 0.0)).finish
        held += found.low_kg_per_m2 <= RATE <= found.high_kg_per_m2
    assert held >= 7  # fewer than seven of ten: once in a hundred at nine tenths


def at(job: Operation, share: float) -> float:
    time = job.tracks[0].time_s
    return float(time[0] + share * (time[-1] - time[0]))


def weighed(event: str, kg: float, time_s: float | None, sigma: float = 1.0) -> LoadTicket:
    return LoadTicket(event, "", "rye", kg, sigma, "scale", time_s, "tickets.csv, line 2")


def test_what_is_left_follows_from_tickets_and_log() -> None:
    job = job_so_far()
    full = 10 * RATE * WIDTH * LENGTH
    job = replace(job, tickets=(weighed("filled", full, at(job, 0.0)),))
    found = finish_job(job, audit_operation(job))
    assert found.finish.left.kg == pytest.approx(full / 2, rel=3e-3)
    # The meter is good to 1 % of the half it placed (common practice), the scale to 1 kg.
    assert found.finish.left.sigma_kg == pytest.approx(math.hypot(0.01 * full / 2, 1.0), rel=5e-3)
    now = replace(job, tickets=(*job.tickets, weighed("remaining", 70, at(job, 1.0))))
    assert finish_job(now, audit_operation(now)).finish.left.kg == pytest.approx(70, abs=0.5)


def test_a_meter_found_wrong_is_corrected() -> None:
    """The scale says a tenth more went out than was logged: the rate so far was a tenth more."""
    job = job_so_far()
    used = 5 * RATE * WIDTH * LENGTH * 1.1
    tickets = (weighed("filled", used + 60, at(job, 0)), weighed("remaining", 60, at(job, 1)))
    job = replace(job, tickets=tickets)
    found = finish_job(job, audit_operation(job))
    assert found.finish.rate_kg_per_m2 == pytest.approx(1.1 * RATE, rel=3e-3)
    assert "corrected by the scale" in found.rate_from


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"tickets": ()}, "left_unknown"),
        ({"tickets": (weighed("filled", 5, 0.0),)}, "placed_over_held"),
        ({"tickets": (weighed("cleaned out", 5, 0.0),)}, "cart_was_empty"),
        ({"applications": (), "tracks": ()}, "no_product_known"),
    ],
)
def test_says_what_is_missing(change: dict[str, object], code: str) -> None:
    job = job_so_far()
    result = audit_operation(job)
    if "applications" in change:
        result = replace(result, products=())
    with pytest.raises(FindingError) as refused:
        finish_job(replace(job, **change), result)  # type: ignore[arg-type]
    assert refused.value.code == code
    assert refused.value.values.get("held_kg", 5.0) == pytest.approx(5.0)


def test_a_product_that_was_not_placed_is_refused_by_name() -> None:
    job = job_so_far()
    with pytest.raises(FindingError) as refused:
        finish_job(job, audit_operation(job), product="vetch", left=Amount(10, 1))
    assert refused.value.code == "no_such_product"
    assert refused.value.values["product"] == "vetch"
    assert refused.value.values["products"] == ("rye",)


def test_a_field_already_done_is_said() -> None:
    job = job_so_far(passes=5, of=5)
    with pytest.raises(FindingError) as refused:
        finish_job(job, audit_operation(job), left=Amount(10, 1))
    assert refused.value.code == "nothing_left"


def test_a_field_without_boundary_is_said() -> None:
    job = job_so_far()
    job = replace(job, field=replace(job.field, boundary=None))
    with pytest.raises(FindingError) as refused:
        finish_job(job, audit_operation(job), left=Amount(10, 1))
    assert refused.value.code == "ground_left_unknown"


# The command


def files(folder: Path, passes: int = 5, of: int = 12) -> list[str]:
    job = straight_job(LENGTH, (0.0,) * (passes - 1))
    job = replace(job, drives=tuple(d.with_rate("rye", RATE) for d in job.drives))
    shape = on_earth(shapely.box(0, 0, LENGTH, of * WIDTH), MISSOURI, 0.0, (0, 0))
    boundary = write_boundary(folder / "field.geojson", shape)
    log = write_log(folder / "log.csv", log_of(job, MISSOURI))
    return [
        "--boundary", str(boundary), "--tracks", str(log), "--width", "6.096 m", "--product", "rye",
    ]  # fmt: skip


def test_at_the_tailgate() -> None:
    """18 acres and 2,160 lb are 120 lb/ac when nothing is driven twice."""
    ran = evenacre("finish", "--area", "18 ac", "--left", "2160 lb", "--overlap", "0 %", "--json")
    assert ran.code == 0, ran.err
    account = json.loads(ran.out)
    assert account["even_rate_kg_per_m2"] * ACRE / LB == pytest.approx(120)
    said = evenacre("finish", "--area", "18 ac", "--left", "2160 lb", "--overlap", "0 %").out
    assert "120 lb/ac" in said
    metric = evenacre("finish", "--area", "10 ha", "--left", "1 t", "--overlap", "0 %",
                      "--units", "metric")  # fmt: skip
    assert "100 kg/ha" in metric.out
    assert not evenacre("finish", "--area", "18 ac", "--left", "2160 lb", "--quiet").out


def test_from_a_boundary_and_tracks(tmp_path: Path) -> None:
    kg = 2.5 * RATE * WIDTH * LENGTH
    out = tmp_path / "map"
    options = [*files(tmp_path), "--left", f"{kg:.3f} kg", "--left-error", "1 kg", "--out", out]
    ran = evenacre("finish", *options, "--json")
    assert ran.code == 0, ran.err
    account = json.loads(ran.out)
    assert account["verdict"] == "runs out"
    assert account["run_out"]["pass"] == 3
    assert account["run_out"]["into_pass_m"] == pytest.approx(LENGTH / 2, abs=2)
    stored = summary_of(out)
    of_files = {"files", "sha256", "account_sha256"}
    assert {k: v for k, v in stored.items() if k not in of_files} == account
    assert sorted(p.name for p in out.iterdir()) == stored["files"]
    assert (out / "finish.png").read_bytes().startswith(b"\x89PNG")
    features = json.loads((out / "finish.geojson").read_text())["features"]
    kinds = [f["properties"]["kind"] for f in features]
    assert kinds.count("still to do") == 1
    assert kinds.count("load runs out") == 1
    lines = [f for f in features if f["properties"]["kind"] == "pass to come"]
    assert len(lines) == 8  # seven passes, one of them cut in two
    fed = sum(f["properties"]["length_m"] for f in lines if f["properties"]["fed"])
    assert fed == pytest.approx(account["run_out"]["distance_m"], abs=0.1)
    (spot,) = [f["geometry"]["coordinates"] for f in features if f["geometry"]["type"] == "Point"]
    assert spot == pytest.approx([account["run_out"]["lon"], account["run_out"]["lat"]], abs=1e-6)
    again = evenacre("finish", *options)
    assert again.code == 0
    assert "runs out after" in again.out


def test_tickets_in_place_of_a_weight(tmp_path: Path) -> None:
    options = files(tmp_path)
    table = tmp_path / "tickets.csv"
    table.write_text(f"event,weight,weighed by\nfilled,{10 * RATE * WIDTH * LENGTH:.3f} kg,scale\n")
    ran = evenacre("finish", *options, "--loads", table, "--json")
    assert ran.code == 0, ran.err
    assert json.loads(ran.out)["left_kg"] == pytest.approx(5 * RATE * WIDTH * LENGTH, rel=5e-3)


def test_from_a_season_file(tmp_path: Path) -> None:
    files(tmp_path)
    (tmp_path / "tickets.csv").write_text("event,weight\nfilled,150 kg\n")
    (tmp_path / "season.toml").write_text(
        """
farm = "Test Farm"
units = "metric"
[[product]]
name = "rye"
rate_min = "100 kg/ha"
[[implement]]
name = "drill"
width = "6.096 m"
[[field]]
name = "Creek"
boundary = "field.geojson"
[[operation]]
name = "Seeding"
field = "Creek"
implement = "drill"
tracks = ["log.csv"]
products = [ { product = "rye", rate = "120 kg/ha" } ]
loads = "tickets.csv"
"""
    )
    ran = evenacre("finish", tmp_path / "season.toml", "--operation", "Seeding")
    assert ran.code == 0, ran.err
    assert "Creek, Seeding: rye" in ran.out
    assert "100 kg/ha" in ran.out  # the least allowed
    assert "undone" in ran.out
    wrong = evenacre("finish", tmp_path / "season.toml", "--operation", "Seedling")
    assert wrong.code == 2
    assert '"Seeding" on "Creek"' in wrong.err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "It needs one season file"),
        (["--area", "18 ac"], "--left"),
        (["--area", "18", "--left", "10 lb"], "has no unit"),
        (["--area", "0 ac", "--left", "10 lb"], "Nothing is left to do"),
        (["--area", "18 ac", "--left", "-10 lb"], "not above zero"),
        (["--area", "18 ac", "--left", "10 ac"], "is a area"),
        (["--area", "18 ac", "--left", "10 lb", "--overlap", "3"], "not a percentage"),
        (["--area", "18 ac", "--left", "10 lb", "--left-error", "-1 lb"], "below zero"),
        (["--area", "18 ac", "--left", "10 lb", "--tracks", "log.csv"], "does not go with"),
        (
            ["--area", "1 ac", "--left", "9 lb", "--rate-min", "9 lb/ac", "--rate-max", "8 lb/ac"],
            "more than the highest",
        ),
        (["none.toml"], "no such file"),
    ],
)
def test_bad_input_is_told_plainly(options: list[str], said: str) -> None:
    ran = evenacre("finish", *options)
    assert ran.code == 2
    assert ran.errors()
    assert said in ran.err.replace("is an area", "is a area")
    assert "Traceback" not in ran.err


def test_every_option_that_is_wrong_is_told_at_once() -> None:
    wrong = ("--done", "25 acc", "--left", "575", "--rate", "27 lb", "--overlap", "3")
    ran = evenacre("finish", *wrong)
    assert ran.code == 2
    told = [line.split(":")[1].strip() for line in ran.errors()]
    assert sorted(told) == ["--done", "--left", "--overlap", "--rate", "--started"]


def test_what_is_to_be_added_is_what_it_is_short() -> None:
    """140 lb by the mass, 70 lb of doubt: both are told to the same digits."""
    said = evenacre("finish", "--area", "18 ac", "--left", "1900 lb", "--rate", "110 lb/ac").out
    assert "it is 140 ± 70 lb short" in said
    assert "Or add 140 lb" in said


def test_the_rate_so_far_says_what_it_takes_to_tell_a_setting() -> None:
    begun = ("--started", "1250 lb", "--done", "25 ac", "--left", "625 lb")
    assert "to be told the next setting" in evenacre("finish", *begun).out
    assert "to be told the next setting" not in evenacre("finish", *begun, "--rate", "27 lb/ac").out


def test_an_empty_cart_is_told_what_the_ground_still_takes(tmp_path: Path) -> None:
    """25 ac and 3 % of them again, at 10 lb/ac; a 25-ac field of 1,250 lb takes as much again."""
    typed = evenacre("finish", "--area", "25 ac", "--left", "0 lb", "--rate", "10 lb/ac")
    assert typed.code == 0
    assert "Nothing is left in the cart" in typed.out.splitlines()[0]
    assert "fill in 258 ± 8 lb" in typed.out
    assert "come out even" not in typed.out
    begun = ("--started", "1250 lb", "--done", "25 ac", "--area", "25 ac")
    by_eye = evenacre("finish", *begun, "--left", "0 %")
    assert by_eye.out == evenacre("finish", *begun, "--left", "0 lb").out
    assert "fill in 1,250 ± 40 lb" in by_eye.out
    assert "if the cart ran out right at the end" in by_eye.out
    unsaid = evenacre("finish", "--area", "25 ac", "--left", "0 lb").out
    assert "Say the rate" in unsaid
    # 7 of 12 passes are to come.
    logged = evenacre("finish", *files(tmp_path), "--left", "0 kg", "--rate", "120 kg/ha")
    assert logged.code == 0, logged.err
    takes = 7 * WIDTH * LENGTH * 0.012
    said = float(re.search(r"fill in ([\d,.]+)", logged.out)[1].replace(",", "")) * LB
    assert said == pytest.approx(takes, rel=0.05)


def test_more_than_all_of_it_cannot_be_left() -> None:
    ran = evenacre("finish", "--area", "25 ac", "--started", "1250 lb", "--left", "120 %")
    assert ran.code == 2
    assert "more than all of it" in ran.err


def test_does_not_write_over_an_audit(tmp_path: Path) -> None:
    out = tmp_path / "evenacre-out"
    out.mkdir()
    (out / "summary.json").write_text('{"schema": "evenacre/summary/1", "files": ["summary.json"]}')
    ran = evenacre("finish", "--area", "18 ac", "--left", "10 lb", "--out", out)
    assert ran.code == 2
    assert "another kind of result" in ran.err


def test_same_input_same_output(tmp_path: Path) -> None:
    options = [*files(tmp_path), "--left", "50 kg"]
    outs = [tmp_path / "one", tmp_path / "two"]
    for out in outs:
        assert evenacre("finish", *options, "--out", out).code == 0
    for name in ("finish.geojson", "finish.png", "summary.json"):
        assert (outs[0] / name).read_bytes() == (outs[1] / name).read_bytes()


def test_a_boundary_in_a_layer_of_several_is_picked(tmp_path: Path) -> None:
    options = files(tmp_path)
    layers = tmp_path / "fields.gpkg"
    other = on_earth(shapely.box(0, 5000, 300, 5200), MISSOURI, 0.0, (0, 0))
    own = gpd.read_file(options[1]).geometry[0]
    both = gpd.GeoDataFrame({"name": ["Creek", "far"]}, geometry=[own, other], crs=4326)
    both.to_file(layers, layer="boundaries")
    both.to_file(layers, layer="pastures")
    options[1] = str(layers)
    picked = ["--boundary-layer", "boundaries", "--boundary-where", "name=Creek"]
    ran = evenacre("finish", *options, *picked, "--left", "60 kg", "--json")
    assert ran.code == 0, ran.err
    assert json.loads(ran.out)["undone_m2"] == pytest.approx(7 * WIDTH * LENGTH, rel=0.01)
    assert "boundary-layer" in evenacre("finish", *options, "--left", "60 kg").err
