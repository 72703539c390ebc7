"""Worked, field and idle time, capacity and efficiency, by hand arithmetic on built jobs.

The terms are those of ASABE EP496: field efficiency is effective over theoretical capacity.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobs import DRILL, HZ, SPEED_MPS, Job, Turtle, straight_job, uturn_lead
from put_down import operation

from evenacre.coverage.audit import audit_operation
from evenacre.model.audit_result import AuditResult

WIDTH = DRILL.width_m
LENGTH = 240.0


def audited(job: Job) -> AuditResult:
    return audit_operation(operation(job, turn=0.8))


def two_passes(pause_s: float, lap_m: float = 0.0) -> Job:
    """Two passes side by side with a pause at the end of the first, each logged by itself."""
    drives, later = [], 0.0
    for y in (0.0, WIDTH - lap_m):
        turtle = Turtle(-9.6, y).forward(9.6).forward(LENGTH, work=True).forward(9.6)
        drives.append(turtle.sample().later(later))
        later = (LENGTH + 2 * 9.6) / SPEED_MPS + pause_s
    boundary = shapely.box(0, -WIDTH / 2, LENGTH, 1.5 * WIDTH - lap_m)
    return Job(boundary, tuple(drives))


def test_passes_with_turns_between_them() -> None:
    result = audited(straight_job(LENGTH, (0.0, 0.0, 0.0)))
    turn_m = 2 * uturn_lead(WIDTH) + np.pi * WIDTH / 2
    worked, field = 4 * LENGTH / SPEED_MPS, (4 * LENGTH + 3 * turn_m) / SPEED_MPS
    assert result.worked_time_s == pytest.approx(worked, rel=1e-6)
    assert result.worked_distance_m == pytest.approx(4 * LENGTH, rel=1e-4)
    assert result.field_time_s == pytest.approx(field, rel=1e-6)
    assert result.idle_time_s == 0.0
    assert result.mean_speed_mps == pytest.approx(SPEED_MPS, rel=1e-4)
    area = 4 * WIDTH * LENGTH
    assert result.field_capacity_m2_per_s == pytest.approx(area / field, rel=1e-4)
    assert result.theoretical_capacity_m2_per_s == pytest.approx(WIDTH * SPEED_MPS, rel=1e-4)
    assert result.field_efficiency == pytest.approx(worked / field, rel=1e-4)


@pytest.mark.parametrize("pause_s", [120.0, 3000.0])
def test_a_stop_to_fill_is_field_time(pause_s: float) -> None:
    result = audited(two_passes(pause_s))
    between = 2 * 9.6 / SPEED_MPS + pause_s
    assert result.field_time_s == pytest.approx(2 * LENGTH / SPEED_MPS + between, abs=0.01)
    assert result.idle_time_s == 0.0
    assert result.worked_time_s == pytest.approx(2 * LENGTH / SPEED_MPS, abs=0.01)


def test_a_break_of_more_than_an_hour_is_idle_time() -> None:
    result = audited(two_passes(14 * 3600.0))
    assert result.field_time_s == pytest.approx(2 * LENGTH / SPEED_MPS, abs=0.01)
    assert result.idle_time_s == pytest.approx(14 * 3600.0 + 2 * 9.6 / SPEED_MPS, abs=0.01)
    span = result.end_s - result.start_s
    assert span == pytest.approx(result.field_time_s + result.idle_time_s, abs=1e-6)
    assert result.field_efficiency == pytest.approx(1.0, rel=1e-3)


def test_overlap_lowers_the_efficiency() -> None:
    plain, lapped = audited(two_passes(60.0)), audited(two_passes(60.0, lap_m=0.6096))
    # A twentieth of the ground of the two passes is done twice.
    assert lapped.field_efficiency == pytest.approx(0.95 * plain.field_efficiency, rel=1e-4)


def test_half_the_width_at_work_counts_as_half() -> None:
    job = two_passes(0.0)
    drive = job.drives[0]
    half = np.repeat(drive.working[:, None], 4, axis=1) & np.array([True, True, False, False])
    result = audited(replace(job, drives=(replace(drive, sections=half),)))
    assert result.theoretical_capacity_m2_per_s == pytest.approx(WIDTH * SPEED_MPS, rel=1e-4)
    assert result.field_efficiency == pytest.approx(0.5, rel=1e-3)


def test_the_mean_speed_is_distance_over_time_at_work() -> None:
    # 120 m at 2.4 m/s and 120 m at 1.2 m/s: 240 m in 150 s.
    fast = Turtle(0.0, 0.0).forward(120.0, work=True).sample(phase=0.0)
    slow = Turtle(0.0, 20.0).forward(120.0, work=True).sample(0.24, 1.2, 0.0)
    drives = (fast, slow.later(600.0))
    result = audited(Job(shapely.box(0, -5, 120, 25), drives))
    assert result.mean_speed_mps == pytest.approx(1.6, rel=1e-4)
    assert result.worked_time_s == pytest.approx(150.0, abs=1e-6)


def test_first_and_last_work_are_the_ends_of_the_field_time() -> None:
    job = straight_job(LENGTH, (0.0,))
    drive = job.drives[0]
    on = np.flatnonzero(drive.working)
    result = audited(job)
    half = 0.5 / HZ
    assert result.start_s == pytest.approx(drive.time_s[on[0]] - half, abs=1e-3)
    assert result.end_s == pytest.approx(drive.time_s[on[-1]] + half, abs=1e-3)
