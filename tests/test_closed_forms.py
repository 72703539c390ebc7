"""Ground covered, lapped and missed against areas that geometry gives exactly."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobs import (
    DRILL,
    SPEED_MPS,
    START_S,
    STEP_M,
    Drive,
    Job,
    Turtle,
    all_work_job,
    arc_job,
    arc_length,
    straight_job,
)
from put_down import MISSOURI, PLACES, operation
from shapely.geometry import Polygon

from evenacre.coverage.audit import audit_operation
from evenacre.model import Blockage
from evenacre.model.audit_result import AuditResult

WIDTH = DRILL.width_m
STRAIGHT = 1e-4
CURVED = 1e-3
NOTHING_M2 = 0.01


def stacked(gaps: tuple[float, ...], length: float) -> dict[str, float]:
    """Areas of parallel swaths, by sweeping across them in one dimension."""
    low = np.concatenate([[0.0], np.cumsum(WIDTH + np.array(gaps))])
    edges = np.sort(np.concatenate([low, low + WIDTH]))
    middle, wide = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    count = ((middle[:, None] > low) & (middle[:, None] < low + WIDTH)).sum(axis=1)

    def area(mask: np.ndarray) -> float:
        return float(wide[mask].sum()) * length

    return {
        "boundary_area_m2": (edges[-1] - edges[0]) * length,
        "workable_area_m2": (edges[-1] - edges[0]) * length,
        "covered_area_m2": area(count > 0),
        "covered_once_m2": area(count == 1),
        "covered_twice_m2": area(count == 2),
        "covered_more_m2": area(count > 2),
        "overlap_area_m2": area(count > 1),
        "excess_area_m2": float((wide * np.clip(count - 1, 0, None)).sum()) * length,
        "skip_area_m2": area(count == 0),
        "outside_area_m2": 0.0,
        "swept_area_m2": len(low) * WIDTH * length,
    }


def check(result: AuditResult, expected: dict[str, float], relative: float = STRAIGHT) -> None:
    for name, value in expected.items():
        got = getattr(result, name)
        assert got == pytest.approx(value, rel=relative, abs=NOTHING_M2), name


@pytest.mark.parametrize("turn", [0.0, 0.3, 2.0], ids="turned {}".format)
@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
def test_straight_passes_with_set_overlap_and_skip(place: tuple[float, float], turn: float) -> None:
    gaps = (0.0, -0.3, 0.5, 0.0, -0.1, 0.2)
    result = audit_operation(operation(straight_job(240.0, gaps), place, turn=turn))
    check(result, stacked(gaps, 240.0))
    assert result.pass_count == 7


def test_swaths_three_deep() -> None:
    gaps = (-4.0, -4.0, 0.25, -3.5, -4.1)
    result = audit_operation(operation(straight_job(120.0, gaps)))
    check(result, stacked(gaps, 120.0))


def test_what_lies_three_deep_across_the_edge_of_the_field_counts_inside_alone() -> None:
    gaps = (-4.0, -4.0, 0.25, -3.5, -4.1)
    job = straight_job(120.0, gaps)
    _, low, _, high = job.boundary.bounds
    result = audit_operation(operation(replace(job, boundary=shapely.box(20.3, low, 99.1, high))))
    inside, whole = stacked(gaps, 78.8), stacked(gaps, 120.0)
    outside = whole["covered_area_m2"] - inside["covered_area_m2"]
    check(result, {**inside, "outside_area_m2": outside, "swept_area_m2": whole["swept_area_m2"]})


@pytest.mark.parametrize("separate", [True, False])
def test_a_log_that_begins_and_ends_in_work_is_not_extended(separate: bool) -> None:
    gaps = (0.0, -0.3, 0.5)
    job = all_work_job(240.0, gaps)
    result = audit_operation(operation(job, turn=1.1, separate=separate))
    check(result, stacked(gaps, 240.0))


def test_switching_lies_midway_between_records_that_are_not_evenly_spaced() -> None:
    rng = np.random.default_rng(4)
    t = np.cumsum(rng.uniform(0.1, 1.6, 90))
    x = SPEED_MPS * t
    on = (np.arange(90) >= 20) & (np.arange(90) < 61)
    begin, end = (x[19] + x[20]) / 2, (x[60] + x[61]) / 2
    drive = Drive(START_S + t, x, np.zeros(90), np.zeros(90), on)
    job = Job(shapely.box(0, -10, x[-1], 10), (drive,))
    result = audit_operation(operation(job))
    check(result, {"covered_area_m2": WIDTH * (end - begin), "overlap_area_m2": 0.0})


@pytest.mark.parametrize("at", [0, -1], ids=["first", "last"])
def test_the_record_at_an_end_of_the_log_speaks_for_half_a_step(at: int) -> None:
    x = 0.48 * np.arange(60.0)
    on = np.zeros(60, dtype=bool)
    on[at] = True
    drive = Drive(START_S + x / SPEED_MPS, x, np.zeros(60), np.zeros(60), on)
    result = audit_operation(operation(Job(shapely.box(-9, -9, 39, 9), (drive,))))
    check(result, {"covered_area_m2": WIDTH * 0.24})


def test_a_section_switched_off_leaves_its_own_strip() -> None:
    job = straight_job(120.0, ())
    drive = job.drives[0]
    sections = np.repeat(drive.working[:, None], 4, axis=1)
    off = (drive.x_m > 24.0) & (drive.x_m < 72.0)
    sections[off, 1] = False
    job = replace(job, drives=(replace(drive, sections=sections),))
    result = audit_operation(operation(job, turn=0.7))
    check(result, {"skip_area_m2": 48.0 * WIDTH / 4, "overlap_area_m2": 0.0})


def test_delay_moves_the_product_along_the_track() -> None:
    late = 2.5 * SPEED_MPS
    job = straight_job(120.0, (), replace(DRILL, product_lag_s=2.5))
    result = audit_operation(operation(job))
    check(
        result,
        {
            "covered_area_m2": WIDTH * (120.0 - late),
            "skip_area_m2": WIDTH * late,
            "outside_area_m2": WIDTH * late,
        },
    )


def blocked_job(product_lag_s: float) -> tuple[Job, float, float]:
    """One pass with tower 2 blocked from one place to another, neither of them a record."""
    job = straight_job(120.0, (), replace(DRILL, product_lag_s=product_lag_s))
    drive = job.drives[0]
    begin, end = 40.07, 81.39
    start_s, end_s = np.interp([begin, end], drive.x_m, drive.time_s)
    blockage = Blockage(float(start_s), float(end_s), DRILL.tower_rows(2), "tower 2")
    return replace(job, blockages=(blockage,)), begin, end


@pytest.mark.parametrize("product_lag_s", [0.0, 2.5])
def test_a_blocked_tower_leaves_its_strip_where_it_was_blocked(product_lag_s: float) -> None:
    job, begin, end = blocked_job(product_lag_s)
    within = replace(job, boundary=shapely.box(begin, 0, end, WIDTH))
    strip = (end - begin) * WIDTH / 4
    check(audit_operation(operation(within, turn=0.4)), {"skip_area_m2": strip})
    result = audit_operation(operation(job, turn=0.4))
    check(result, {"skip_area_m2": strip + WIDTH * SPEED_MPS * product_lag_s})
    skips = result.layers["skips"]
    blocked = skips[skips["kind"] == "blocked rows"]
    assert blocked["area_m2"].tolist() == [pytest.approx(strip, rel=STRAIGHT)]
    assert blocked["cause"].tolist() == ["tower 2"]
    assert blocked["mean_width_m"].item() == pytest.approx(WIDTH / 4, rel=0.02)
    assert blocked["length_m"].item() == pytest.approx(end - begin, rel=0.02)


def test_the_strip_lies_under_the_tower_that_was_blocked() -> None:
    # Going along +x, rows 9 to 16 of 32 lie between a quarter and a half of the width from
    # the left, which is the +y side.
    job, begin, end = blocked_job(0.0)
    middle = shapely.box(begin, WIDTH / 2, end, WIDTH * 3 / 4)
    result = audit_operation(operation(replace(job, boundary=middle)))
    check(result, {"covered_area_m2": 0.0, "skip_area_m2": middle.area})


def test_antenna_offsets_shift_the_swath() -> None:
    # Antenna 3 m ahead of the pin and 0.5 m left of it, tool line 1 m behind the pin.
    drill = replace(DRILL, antenna_ahead_m=3.0, antenna_left_m=0.5, tool_behind_m=1.0)
    result = audit_operation(operation(straight_job(120.0, (), drill), turn=2.2))
    check(
        result,
        {
            "covered_area_m2": 116.0 * (WIDTH - 0.5),
            "outside_area_m2": 4.0 * WIDTH + 116.0 * 0.5,
            "skip_area_m2": 4.0 * WIDTH + 116.0 * 0.5,
        },
    )


@pytest.mark.parametrize("hand", [1, -1], ids=["left", "right"])
@pytest.mark.parametrize(("radius", "angle"), [(3.2, 1.5), (8.0, 2.0), (20.0, 1.2), (60.0, 2.8)])
def test_pivot_outside_the_tool_line_sweeps_width_times_path(
    radius: float, angle: float, hand: int
) -> None:
    # Pappus: area = width x path of the centre.
    step = min(STEP_M, radius * 0.06)
    job = arc_job(radius, angle, step, step * 5, hand=hand)
    result = audit_operation(operation(job))
    swept = WIDTH * arc_length(radius, angle, step)
    check(result, {"covered_area_m2": swept, "overlap_area_m2": 0.0}, CURVED)


@pytest.mark.parametrize("hand", [1, -1], ids=["left", "right"])
@pytest.mark.parametrize(("radius", "angle"), [(0.8, 3.0), (1.5, 2.5), (2.4, 1.0)])
@pytest.mark.parametrize("turn", [0.0, 0.9, 2.4], ids="turned {}".format)
def test_pivot_inside_the_tool_line_sweeps_two_sectors(
    turn: float, radius: float, angle: float, hand: int
) -> None:
    step = radius * 0.04
    job = arc_job(radius, angle, step, max(0.5, step * 5), hand=hand)
    turned = arc_length(radius, angle, step) / radius
    assert turned <= math.pi
    outer, inner = WIDTH / 2 + radius, WIDTH / 2 - radius
    result = audit_operation(operation(job, turn=turn))
    check(result, {"covered_area_m2": (outer**2 + inner**2) * turned / 2}, CURVED)


@pytest.mark.parametrize("angle", [math.pi / 2, 1.0, 2.2])
def test_one_run_that_crosses_itself_covers_the_crossing_twice(angle: float) -> None:
    # Two straight legs of one run crossing at an angle a lap on a rhombus of width^2 / sin a.
    radius = 20.0
    leg = radius / math.tan(angle / 2) + 24.0
    turtle = Turtle(0.0, 0.0).forward(9.6)
    around = 2 * math.pi - (math.pi - angle)
    turtle.forward(leg, work=True).arc(radius, around, work=True).forward(leg, work=True)
    drive = turtle.forward(9.6).sample()
    job = Job(Polygon(shapely.MultiPoint(np.c_[drive.x_m, drive.y_m]).envelope.buffer(9)), (drive,))
    result = audit_operation(operation(job, MISSOURI, turn=0.2))
    lap = WIDTH**2 / math.sin(angle)
    swept = WIDTH * (2 * leg + radius * around)
    check(result, {"overlap_area_m2": lap, "covered_area_m2": swept - lap}, CURVED)
    assert result.covered_more_m2 < NOTHING_M2
