"""Stated uncertainties against the scatter of many jobs with errors drawn at random."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobs import (
    DRILL,
    SPEED_MPS,
    STEP_M,
    Drive,
    Floats,
    Job,
    Turtle,
    all_work_job,
    straight_job,
)
from put_down import operation

from evenacre.coverage.audit import audit_operation
from evenacre.model import EXACT, Settings

SIGMA_M = 0.03
LENGTH = 60.0
WIDTH = DRILL.width_m
SHIFTS_ONLY = Settings(smooth=False, within_pass_m=0.0, pass_to_pass_m=SIGMA_M)
SWITCHES_ONLY = replace(SHIFTS_ONLY, pass_to_pass_m=0.0)
AREAS = ("covered_area_m2", "overlap_area_m2", "skip_area_m2")


def exact(job: Job) -> Job:
    """The job with a drill whose own figures are right."""
    return replace(job, implement=replace(job.implement, error=EXACT))


def stated(job: Job) -> dict[str, float]:
    return audit_operation(operation(exact(job), turn=0.5)).uncertainty


def stack(gaps: tuple[float, ...], beyond: float) -> Job:
    """Passes logged one by one; the field ends ``beyond`` the outer swaths, short of the ends.

    With the ends of the passes outside the field, only shifts sideways tell.
    """
    job = all_work_job(LENGTH, gaps)
    _, low, _, high = job.boundary.bounds
    boundary = shapely.box(1.0, low - beyond, LENGTH - 1.0, high + beyond)
    return replace(job, boundary=boundary, settings=SHIFTS_ONLY)


def scatter(job: Job, draws: int = 4000) -> dict[str, float]:
    """Standard deviation of each area when every pass is shifted sideways at random.

    The swaths are strips across which one number tells all, so the areas are counted on a
    line, without the engine.
    """
    west, low, east, high = job.boundary.bounds
    centre = np.array([d.y_m[0] for d in job.drives])
    rng = np.random.default_rng(20)
    centre = centre + rng.normal(0.0, SIGMA_M, (draws, len(centre)))
    strip = np.clip(np.stack([centre - WIDTH / 2, centre + WIDTH / 2]), low, high)
    edge = np.sort(np.concatenate(strip, axis=1), axis=1)
    middle, wide = (edge[:, 1:] + edge[:, :-1]) / 2, np.diff(edge, axis=1)
    inside = (middle[:, :, None] > strip[0][:, None]) & (middle[:, :, None] < strip[1][:, None])
    count = inside.sum(axis=2)
    covered = (wide * (count > 0)).sum(axis=1)
    overlap = (wide * (count > 1)).sum(axis=1)
    seen = np.array([covered, overlap, high - low - covered]) * (east - west)
    return dict(zip(AREAS, seen.std(axis=1), strict=True))


@pytest.mark.parametrize(
    ("gaps", "beyond"),
    [
        ((0.5, -0.5, 0.4, -0.6), 12.0),
        ((0.5, -0.5, 0.4, -0.6), -2.0),
        ((-0.5, -0.5, -0.5), 12.0),
        ((-0.5, -0.5, -0.5), -2.0),
        ((0.5, 0.5), -2.0),
    ],
)
def test_clear_laps_and_skips(gaps: tuple[float, ...], beyond: float) -> None:
    job = stack(gaps, beyond)
    seen = scatter(job)
    for name, figure in stated(job).items():
        assert figure == pytest.approx(seen[name], rel=0.1, abs=1e-6), name


@pytest.mark.parametrize(
    ("gaps", "beyond"),
    [((0.0,) * 4, -2.0), ((0.0,), 12.0), ((0.0,), -2.0), ((0.0, 0.5, 0.0, -0.5, 0.0), -2.0)],
    ids=["five that meet", "two that meet, open sides", "two that meet", "some that meet"],
)
def test_passes_that_just_meet(gaps: tuple[float, ...], beyond: float) -> None:
    job = stack(gaps, beyond)
    seen = scatter(job)
    for name, figure in stated(job).items():
        assert figure == pytest.approx(seen[name], rel=0.1), name


@pytest.mark.parametrize("gaps", [(-0.5, -0.5), (0.5, -0.5), (0.0, 0.0)])
def test_outer_swaths_flush_with_the_boundary(gaps: tuple[float, ...]) -> None:
    job = stack(gaps, 0.0)
    seen = scatter(job)
    for name, figure in stated(job).items():
        assert figure == pytest.approx(seen[name], rel=0.15, abs=1e-6), name


def test_a_lap_between_two_passes_in_closed_form() -> None:
    # Two edges of 58 m, each free by sigma: sqrt(2) x sigma x length.
    figures = stated(stack((-0.5,), -2.0))
    told = math.sqrt(2) * SIGMA_M * (LENGTH - 2)
    assert figures["overlap_area_m2"] == pytest.approx(told, rel=0.05)
    assert figures["skip_area_m2"] == 0.0


def test_two_passes_that_just_meet_in_closed_form() -> None:
    # max(0, g) of a normal gap g has the variance (1/2 - 1 / 2 pi) of g's.
    figures = stated(stack((0.0,), -2.0))
    told = math.sqrt((0.5 - 0.5 / math.pi) * 2) * SIGMA_M * (LENGTH - 2)
    assert figures["overlap_area_m2"] == pytest.approx(told, rel=0.05)
    assert figures["skip_area_m2"] == pytest.approx(told, rel=0.05)


def test_a_pass_with_missed_ground_on_both_sides_shifts_without_effect() -> None:
    figures = stated(stack((0.5, 0.5), 12.0))
    assert list(figures.values()) == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)


def test_wandering_within_a_pass_in_closed_form() -> None:
    # Ten stretches of 30 m on each of two edges, each free by sigma: sqrt(20) x sigma x 30.
    job = all_work_job(300.0, (-0.5,))
    boundary = shapely.box(0.0, 2.0, 300.0, 10.0)
    free = replace(SHIFTS_ONLY, pass_to_pass_m=0.0, within_pass_m=0.02)
    figures = stated(replace(job, boundary=boundary, settings=free))
    told = math.sqrt(20) * 0.02 * 30.0
    assert figures["overlap_area_m2"] == pytest.approx(told, rel=0.05)


def lone_passes(starts: Floats, lengths: Floats, headland_m: float = 0.0) -> Job:
    """Parallel passes well apart, each logged with its records ``starts`` steps off the start.

    The first ``headland_m`` of them lie on a headland pass across.
    """
    drives = [
        Turtle(-9.6, 7.0 * i)
        .forward(9.6)
        .forward(length, work=True)
        .forward(9.6)
        .sample(phase=phase)
        .later(600.0 * i)
        for i, (phase, length) in enumerate(zip(starts, lengths, strict=True))
    ]
    if headland_m:
        across = Turtle(headland_m - WIDTH / 2, -6.0, math.pi / 2).forward(7.0 * len(starts) + 6.0)
        drives.append(all_on(across.sample(phase=0.0)).later(-600.0))
    boundary = shapely.box(-5, -5, 45, 7.0 * len(lengths))
    return Job(boundary, tuple(drives), settings=SWITCHES_ONLY)


def all_on(drive: Drive) -> Drive:
    return replace(drive, working=np.ones(len(drive.x_m), dtype=bool))


END_M2 = STEP_M / math.sqrt(12) * WIDTH  # an end uniform over a step


def test_pass_ends_lie_anywhere_between_two_records() -> None:
    rng = np.random.default_rng(6)
    off = []
    for _ in range(6):
        lengths = 30.0 + STEP_M * rng.random(24)
        result = audit_operation(operation(exact(lone_passes(rng.random(24), lengths))))
        off.append(result.layers["passes"]["length_m"] - lengths)
    two_ends = math.sqrt(2) * STEP_M / math.sqrt(12)
    assert np.std(off) == pytest.approx(two_ends, rel=0.2)
    assert abs(np.mean(off)) < 3 * two_ends / math.sqrt(np.size(off))
    told = math.sqrt(48) * END_M2
    assert result.uncertainty["covered_area_m2"] == pytest.approx(told, rel=0.1)
    assert result.uncertainty["skip_area_m2"] == pytest.approx(told, rel=0.1)
    assert result.uncertainty["overlap_area_m2"] == 0.0


def test_ends_on_a_headland_tell_on_the_overlap() -> None:
    figures = stated(lone_passes(np.full(6, 0.3), np.full(6, 31.0), headland_m=4.0))
    assert figures["overlap_area_m2"] == pytest.approx(math.sqrt(6) * END_M2, rel=0.1)
    assert figures["covered_area_m2"] == pytest.approx(math.sqrt(6) * END_M2, rel=0.1)


def test_the_delay_of_the_product_does_not_change_the_grain_of_the_log() -> None:
    job = lone_passes(np.full(3, 0.3), np.full(3, 31.0))
    late = replace(job, implement=replace(DRILL, product_lag_s=2.5))
    told = math.sqrt(6) * END_M2
    assert stated(late)["covered_area_m2"] == pytest.approx(told, rel=0.1)


def test_each_section_switches_by_itself() -> None:
    # Four sections off one after the other: four times a quarter of the width at each end.
    turtle = Turtle(-9.6, 0.0).forward(9.6).forward(31.0, work=True).forward(9.6)
    drive = turtle.sample()
    reach = np.array([31.0, 29.0, 27.0, 25.0])
    sections = drive.working[:, None] & (drive.x_m[:, None] < reach)
    job = Job(
        shapely.box(-5, -5, 45, 5), (replace(drive, sections=sections),), settings=SWITCHES_ONLY
    )
    told = math.sqrt(1 + 4 / 16) * END_M2
    assert stated(job)["covered_area_m2"] == pytest.approx(told, rel=0.1)


def test_half_the_speed_halves_the_grain() -> None:
    drive = Turtle(-9.6, 0.0).forward(9.6).forward(31.0, work=True).forward(9.6)
    fast = Job(shapely.box(-5, -5, 45, 5), (drive.sample(),), settings=SWITCHES_ONLY)
    slow = replace(fast, drives=(drive.sample(STEP_M / 2, SPEED_MPS / 2),))
    assert stated(fast)["covered_area_m2"] == pytest.approx(math.sqrt(2) * END_M2, rel=0.1)
    assert stated(slow)["covered_area_m2"] == pytest.approx(math.sqrt(0.5) * END_M2, rel=0.1)


def test_the_fix_quality_of_the_log_sets_the_error_between_passes_unless_it_is_stated() -> None:
    job = replace(straight_job(60.0, (0.5, 0.5)), settings=Settings(within_pass_m=0.0))
    op = operation(exact(job))
    (track,) = op.tracks

    def skip_error(sigma_m: float | None, stated_m: float | None) -> float:
        sigma = None if sigma_m is None else np.full(len(track), sigma_m)
        settings = replace(op.settings, pass_to_pass_m=stated_m)
        told = replace(op, tracks=(replace(track, sigma_m=sigma),), settings=settings)
        return audit_operation(told).uncertainty["skip_area_m2"]

    told = skip_error(0.03, None)
    assert skip_error(0.3, None) > 5 * told
    assert skip_error(0.3, 0.03) == pytest.approx(told, rel=1e-9)


def test_a_receiver_that_nothing_tells_of_may_be_without_error_or_as_usual() -> None:
    op = operation(exact(straight_job(60.0, (0.5, 0.5))))

    def skip_90_m2(pass_to_pass_m: float | None, within_pass_m: float | None) -> list[float]:
        settings = Settings(pass_to_pass_m=pass_to_pass_m, within_pass_m=within_pass_m)
        return list(audit_operation(replace(op, settings=settings)).interval_90["skip_area_m2"])

    without, usual, untold = skip_90_m2(0.0, 0.0), skip_90_m2(0.03, 0.02), skip_90_m2(None, None)
    # Nine in ten of the two halves together: eight in ten of the wider alone, which is 1.28 / 1.64.
    reach = [usual[0] * 0.78 + without[0] * 0.22, usual[1] * 0.78 + without[1] * 0.22]
    assert untold == pytest.approx(reach, rel=0.05)
