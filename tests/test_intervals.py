"""90 % intervals and chances against the truth of simulated jobs.

A small sample of what ``benchmarks/intervals.py`` does for a thousand jobs: enough to fail where
an error is left out, or counted twice.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobs import DRILL, straight_job
from put_down import operation
from scipy.special import ndtri
from simulated_jobs import Driver, Receiver, Simulated, off_by, simulate

from evenacre.coverage.audit import audit_operation
from evenacre.coverage.steps import Steps
from evenacre.coverage.uncertainty import area_draws
from evenacre.coverage.uncertainty.area_draws import interval_90
from evenacre.coverage.uncertainty.moved_ends import Beside
from evenacre.model import EXACT, Doubt, Operation, Settings, TowedUnit
from evenacre.model.audit_result import AuditResult

JOBS = 8
DRIFT = Receiver(drift_m=0.03, within_m=0.02)
TOWED = replace(
    DRILL,
    antenna_ahead_m=1.8,
    tow=(TowedUnit(5.0),),
    tool_behind_m=0.9,
    product_lag_s=1.5,
    error=replace(EXACT, lag_s=Doubt(0.5)),
)
FAMILIES = {
    "by eye": (DRIFT, Driver(missed_m=0.6), replace(DRILL, error=EXACT)),
    "steered": (DRIFT, Driver(steered=True, missed_m=0.6), replace(DRILL, error=EXACT)),
    "delay by stopwatch": (DRIFT, Driver(), TOWED),
}


def audited(name: str, seed: int) -> tuple[Simulated, AuditResult]:
    receiver, driver, drill = FAMILIES[name]
    told = off_by(drill, np.random.default_rng(seed))
    stated = Settings(pass_to_pass_m=receiver.drift_m, within_pass_m=receiver.within_m)
    job = simulate(seed, receiver, driver, drill, told, length_m=90, passes=9, settings=stated)
    return job, audit_operation(job.operation)


@pytest.fixture(scope="module")
def done() -> list[tuple[Simulated, AuditResult]]:
    return [audited(name, seed) for name in FAMILIES for seed in range(JOBS)]


@pytest.mark.parametrize(
    ("key", "truth"),
    [("covered_area_m2", "covered_m2"), ("overlap_area_m2", "overlap_m2")],
)
def test_nine_in_ten_truths_lie_in_the_interval(
    done: list[tuple[Simulated, AuditResult]], key: str, truth: str
) -> None:
    low, high = np.array([r.interval_90[key] for _, r in done]).T
    true = np.array([getattr(job, truth) for job, _ in done])
    # Of 24 at 90 % fewer than 17 hold once in 500 samples.
    assert ((low <= true) & (true <= high)).sum() >= 17
    off = (true - [r.expected[key] for _, r in done]) / ((high - low) / 3.29)
    assert 0.6 < np.sqrt(np.mean(off**2)) < 1.5


def test_an_interval_holds_whichever_receiver_it_is() -> None:
    n = 10_000
    normal = ndtri((np.arange(n) + 0.5) / n)
    draws, kind = np.concatenate([np.zeros(n), normal]), np.repeat([0, 1], n)
    # 1.645 of 90 %; of both alike it would be the 1.282 that 80 % of the second lie in.
    assert interval_90(draws, kind) == pytest.approx((-1.645, 1.645), abs=0.001)


def test_an_interval_where_nobody_told_the_receiver_is_as_wide_as_of_the_usual() -> None:
    job = straight_job(200.0, (0.0, 0.2, 0.0), replace(DRILL, error=EXACT))
    usual = Settings(pass_to_pass_m=0.03)
    widths = []
    for settings in (Settings(), usual):
        result = audit_operation(operation(replace(job, settings=settings)))
        low, high = result.interval_90["outside_area_m2"]
        widths.append(high - low)
    assert widths[0] >= 0.95 * widths[1]


def test_places_called_sure_are_bare(done: list[tuple[Simulated, AuditResult]]) -> None:
    bare = []
    for job, result in done:
        skips = result.layers["skips"]
        sure = skips[skips["chance"] >= 0.95]
        if len(sure):
            bare.append(job.bare_share(sure.geometry.to_numpy(), result.crs))
    shares = np.concatenate(bare)
    assert len(shares) >= 12
    assert (shares > 0.5).mean() >= 0.9


def test_a_gap_as_wide_as_the_error_is_not_sure_and_a_wide_one_is() -> None:
    job = straight_job(200.0, (0.0, 0.2, 0.0, 1.0, 0.0))
    stated = Settings(pass_to_pass_m=0.05, skip_min_width_m=0.1)
    skips = audit_operation(operation(replace(job, settings=stated))).layers["skips"]
    wide, narrow = skips["chance"].tolist()
    assert wide > 0.95
    assert narrow < 0.95


def test_two_passes_that_just_meet_have_more_bare_and_doubled_ground_than_the_map() -> None:
    # The mean of max(0, g) for a normal gap of standard deviation s is s / sqrt(2 pi).
    sigma, length = 0.03, 200.0
    job = straight_job(length, (0.0,), replace(DRILL, error=EXACT))
    west, low, east, high = job.boundary.bounds
    job = replace(
        job,
        boundary=shapely.box(west + 1, low + 1, east - 1, high - 1),
        settings=Settings(pass_to_pass_m=sigma, within_pass_m=0.0, smooth=False),
    )
    result = audit_operation(operation(job))
    told = sigma * np.sqrt(2) / np.sqrt(2 * np.pi) * (length - 2)
    assert result.expected["skip_area_m2"] == pytest.approx(told, rel=0.05)
    assert result.expected["overlap_area_m2"] == pytest.approx(told, rel=0.05)
    assert result.skip_area_m2 < 0.1 * told


@pytest.mark.parametrize("off_m", [-0.15, 0.15, 0.28])
def test_steered_passes_show_an_antenna_that_is_not_where_it_is_told(off_m: float) -> None:
    # Lines are held evenly, so what alternates in the log is the figure told, and not the ground.
    drill = replace(DRILL, error=replace(EXACT, left_m=Doubt(0.1)))
    told = replace(drill, antenna_left_m=drill.antenna_left_m + off_m)
    stated = Settings(pass_to_pass_m=0.03, within_pass_m=0.02)
    job = simulate(3, DRIFT, Driver(steered=True), drill, told, passes=10, settings=stated)
    result = audit_operation(job.operation)
    low, high = result.interval_90["overlap_area_m2"]
    assert result.overlap_area_m2 > job.overlap_m2 + 60
    assert low <= job.overlap_m2 <= high
    assert high - low < 120


@pytest.mark.parametrize("ahead_m", [4.0, -3.4])
def test_ends_that_all_lie_elsewhere_have_the_areas_of_an_audit_with_them_there(
    ahead_m: float,
) -> None:
    later_s = ahead_m / 2.4
    told = replace(TOWED, error=replace(EXACT, lag_s=Doubt(low=later_s, high=later_s)))
    exact = Settings(pass_to_pass_m=0.0, within_pass_m=0.0)
    rest = {"length_m": 90, "passes": 9, "rounds": 2, "hz": 5.0, "settings": exact}
    job = simulate(2, Receiver(), Driver(), replace(TOWED, error=EXACT), told, **rest)
    drawn = audit_operation(job.operation)
    there = replace(told, product_lag_s=told.product_lag_s + later_s, error=EXACT)
    laid = audit_operation(replace(job.operation, implement=there))
    for key in ("covered_area_m2", "overlap_area_m2", "outside_area_m2"):
        logged, true = getattr(drawn, key), getattr(laid, key)
        # What is left is where between two records rows went on or off: of 26 ends 6.1 m wide that
        # lie within 0.24 m either way, a standard deviation of 4.5 m2 in the truth of the map.
        assert abs(drawn.expected[key] - true) < 0.1 * abs(logged - true) + 4.5
    # A place is bare where the tool then does not come.
    skips, then = drawn.layers["skips"], laid.layers["skips"].union_all()
    bare = skips.geometry.intersection(then).area / skips.geometry.area
    assert (bare[skips["chance"] >= 0.95] > 0.5).all()
    assert (bare[skips["chance"] <= 0.05] < 0.5).all()


def test_what_lies_away_from_moved_ends_is_the_same_when_it_is_swept_and_looked_at_anew(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told = replace(TOWED, error=replace(EXACT, lag_s=Doubt(0.8)))
    stated = Settings(pass_to_pass_m=0.03, within_pass_m=0.02)
    made = simulate(5, DRIFT, Driver(), told, told, length_m=150, passes=6, settings=stated)
    near = audit_operation(made.operation)

    def everything(steps: Steps, *_: object) -> Beside:
        return Beside(*np.ones((2, len(steps.whole)), dtype=bool))

    monkeypatch.setattr(area_draws, "beside_moved_ends", everything)
    whole = audit_operation(made.operation)
    for key, (low, high) in whole.interval_90.items():
        # Edges are sampled elsewhere where the near ones are cut off from the rest.
        assert near.expected[key] == pytest.approx(whole.expected[key], abs=0.02 * (high - low))
        assert near.interval_90[key] == pytest.approx((low, high), abs=0.05 * (high - low))
    skips, then = near.layers["skips"], whole.layers["skips"]
    assert np.abs(skips["chance"] - then["chance"]).max() < 0.05


def test_a_hand_that_is_late_on_the_headland_is_late_at_the_fence() -> None:
    # Records a second apart leave each end to 2.4 m: the ends on the headland tell of the hand.
    exact = Settings(pass_to_pass_m=0.0, within_pass_m=0.0)
    drill = replace(DRILL, error=EXACT)
    off = []
    for seed, late_m in enumerate((1.5, 1.5, 1.5, -1.5, -1.5, -1.5)):
        driver = Driver(steered=True, late_m=late_m)
        job = simulate(seed, Receiver(), driver, drill, length_m=60, passes=8, settings=exact)
        result = audit_operation(job.operation)
        told = (result.outside_area_m2, result.expected["outside_area_m2"])
        off.append(np.array(told) - job.outside_m2)
    drawn, expected = np.sqrt(np.mean(np.square(off), axis=0))
    assert expected < 0.8 * drawn


BY_EYE_M = (0.06, -0.08, 0.03, -0.05, 0.0, 0.07, -0.1, 0.05)


def bent_job(
    bend_m: np.ndarray, within_m: float | None, gaps: tuple[float, ...] = BY_EYE_M
) -> Operation:
    """Nine passes laid by eye, meeting on average, each bent so much in each of its eight parts."""
    job = straight_job(240.0, gaps, replace(DRILL, error=EXACT))
    (drive,) = job.drives
    starts = np.append(0.0, np.cumsum(DRILL.width_m + np.array(gaps)))
    off = np.abs(drive.y_m[:, None] - starts - DRILL.width_m / 2)
    part = np.clip(drive.x_m // 30, 0, 7).astype(int)
    bent = np.where(off.min(axis=1) < 1.0, bend_m[off.argmin(axis=1), part], 0.0)
    stated = Settings(
        pass_to_pass_m=0.02, within_pass_m=within_m, skip_min_width_m=0.1, smooth=False
    )
    drives = (replace(drive, y_m=drive.y_m + bent),)
    return operation(replace(job, drives=drives, settings=stated))


def test_a_gap_that_the_receivers_wander_opens_is_hardly_one() -> None:
    bend = np.random.default_rng(5).normal(0.0, 0.05, (9, 8))
    skips = audit_operation(bent_job(bend, 0.05)).layers["skips"]
    assert len(skips) >= 3
    assert skips["chance"].max() < 0.5


def test_a_pass_that_bends_where_no_other_does_was_bent_by_its_driver() -> None:
    bend = np.zeros((9, 8))
    bend[5, 4] = 0.2
    skips = audit_operation(bent_job(bend, 0.02)).layers["skips"]
    assert skips["chance"].max() > 0.8


def test_where_nobody_told_the_wander_the_interval_reaches_as_far_as_with_it_and_without() -> None:
    # Bends of the usual wander's size: either all of them are true, or hardly any is.
    bend, closer = np.random.default_rng(7).normal(0.0, 0.02, (9, 8)), 0.6 * np.array(BY_EYE_M)
    without, usual, untold = (
        audit_operation(bent_job(bend, told, tuple(closer))).interval_90["skip_area_m2"]
        for told in (0.0, 0.02, None)
    )
    assert without[0] > 1.3 * usual[0]
    assert without[1] > 1.05 * usual[1]
    assert untold == pytest.approx((usual[0], without[1]), rel=0.03)


def test_scatter_that_a_driver_may_have_made_is_not_surely_the_receivers() -> None:
    gaps = tuple(np.random.default_rng(8).normal(-0.1, 0.1, 12))
    op = operation(straight_job(200.0, gaps, replace(DRILL, error=EXACT)))
    untold = audit_operation(op)
    assert untold.receiver.told_by == "spacing"
    assert untold.receiver.pass_m < 0.1
    for between_m, within_m in ((0.0, 0.0), (untold.receiver.pass_m, 0.02)):
        settings = Settings(pass_to_pass_m=between_m, within_pass_m=within_m)
        told = audit_operation(replace(op, settings=settings)).interval_90
        for key in ("skip_area_m2", "overlap_area_m2"):
            low, high = untold.interval_90[key]
            margin = 0.05 * (high - low)
            assert low - margin <= told[key][0]
            assert told[key][1] <= high + margin


def test_each_kind_of_drift_is_drawn_with_the_usual_error_and_without(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    drawn, draw = [], area_draws.draw_shifts
    monkeypatch.setattr(
        area_draws, "draw_shifts", lambda *a, **k: drawn.append(draw(*a, **k)) or drawn[-1]
    )
    op = operation(straight_job(200.0, (-0.6,) * 8, replace(DRILL, error=EXACT)))
    poor = tuple(replace(track, dilution=5.0) for track in op.tracks)
    result = audit_operation(replace(op, tracks=poor))
    assert (result.receiver.told_by, result.receiver.steered) == ("usual", True)
    (shifts,) = drawn
    without = (shifts.drift_m == 0).all(axis=(0, 1))
    for slow in (0, 1):
        assert {*without[shifts.kind % 2 == slow]} == {True, False}
