"""Whole fields: the engine against the brute-force cells of the referee."""

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely
from jobs import DRILL, SPEED_MPS, START_S, STEP_M, Drive, Floats, Job, Turtle
from put_down import operation
from referee import Verdict, judge
from shapely.geometry import Polygon
from whole_fields import FieldPlan, field_job, reference_field

from evenacre.coverage.audit import audit_operation
from evenacre.model import Blockage, Implement, TowedUnit
from evenacre.model.audit_result import AuditResult


def one_run_in_rounds() -> Job:
    """A field worked from the outside in as one run that never lifts, each lap on the last."""
    radius, step_in = 5.0, DRILL.width_m - 0.4
    sides = [120.0, 84.0, 120.0]
    while sides[-2] > 3 * radius + step_in:
        sides.append(sides[-2] - step_in)
    turtle = Turtle(0.0, 0.0, 1.3)
    for side in sides:
        turtle.forward(side - 2 * radius, work=True).arc(radius, math.pi / 2, work=True)
    drive = turtle.forward(9.6).sample()
    return Job(hull_of(drive).buffer(2.0), (drive,), name="one run in rounds")


def hull_of(drive: Drive) -> Polygon:
    return shapely.MultiPoint(np.column_stack([drive.x_m, drive.y_m])).convex_hull


def corner_notch() -> Job:
    """An L with six sections of eight rows, point rows and two blockages at once."""
    drill = Implement(width_m=9.144, rows=48, rows_known=True, rows_per_tower=8)
    boundary = Polygon([(0, 0), (170, 8), (176, 150), (70, 160), (66, 76), (-4, 70)])
    plan = FieldPlan(boundary, 1.48, implement=drill, sections=6, rounds=1, corner_radius_m=5.5)
    blockages = (
        Blockage(START_S + 400.0, START_S + 431.7, drill.tower_rows(1), "tower 1"),
        Blockage(START_S + 410.3, START_S + 455.0, (20, 21, 22, 47, 48), "rows"),
    )
    return field_job(plan, blockages=blockages, name="corner notch")


def star() -> Job:
    """Legs that cross one another at all angles, the ends of some inside others."""
    turtle = Turtle(0.0, 0.0, 0.4)
    for k in range(11):
        turtle.forward(62.0 + k, work=True).arc(4.0 + k % 3, 2.45, work=k % 4 == 1)
    drive = turtle.forward(9.6).sample()
    return Job(hull_of(drive).buffer(-2.0), (drive,), name="star")


def oval() -> tuple[Job, Job]:
    """Ovals inside one another by a towed drill: the log of its antenna, and its tool line.

    The tool cuts the bends tighter than the antenna does, so laps that would meet do not.
    """
    hitch_to_axle, pin_behind, second = 4.6, 1.2, 3.7
    turtle = Turtle(0.0, 0.0, 0.7).forward(24.0)
    for k in range(8):
        turtle.forward(60.0, work=True).arc(34.0 - 2.95 * k, math.pi, work=True)
    turtle.forward(24.0)
    fine = turtle.sample(STEP_M / 48)
    first = trailing_heading(fine.x_m, fine.y_m, fine.heading_rad[0], hitch_to_axle)
    back = hitch_to_axle + pin_behind
    pin_x, pin_y = fine.x_m - back * np.cos(first), fine.y_m - back * np.sin(first)
    last = trailing_heading(pin_x, pin_y, first[0], second)
    tool_x, tool_y = pin_x - second * np.cos(last), pin_y - second * np.sin(last)
    logged = slice(24, None, 48)
    antenna = Drive(*(v[logged] for v in (fine.time_s, fine.x_m, fine.y_m, first, fine.working)))
    tool = Drive(*(v[logged] for v in (fine.time_s, tool_x, tool_y, last, fine.working)))
    outline = hull_of(tool).buffer(-1.0)
    tow = (TowedUnit(hitch_to_axle, pin_behind), TowedUnit(second))
    return Job(outline, (antenna,), replace(DRILL, tow=tow)), Job(outline, (tool,))


def trailing_heading(x: Floats, y: Floats, start: float, length: float) -> Floats:
    """Heading of a trailer, by small midpoint steps of dh/ds = sin(course - h) / length."""
    course, ds = np.arctan2(np.diff(y), np.diff(x)), np.hypot(np.diff(x), np.diff(y))
    heading = [start]
    for c, d in zip(course, ds, strict=True):
        half = heading[-1] + d / 2 * math.sin(c - heading[-1]) / length
        heading.append(heading[-1] + d * math.sin(c - half) / length)
    return np.array(heading)


FIELDS: dict[str, Callable[[], Job | tuple[Job, Job]]] = {
    "reference": reference_field,
    "corner notch": corner_notch,
    "one run in rounds": one_run_in_rounds,
    "star": star,
    "oval": oval,
}


@cache
def both(name: str) -> tuple[AuditResult, Verdict]:
    job = FIELDS[name]()
    given, true = job if isinstance(job, tuple) else (job, job)
    # The engine meets the job turned and elsewhere; the answer must not care.
    return audit_operation(operation(given, turn=0.81, shift=(31.0, -7.0))), judge(true)


# Cells of 5 cm tell an area no better than this where long edges run at a slant to them; the
# ground covered three times lies in small spots, which have little edge.
CELLS_M2 = {"covered_more_m2": 0.1}
OTHERS_M2 = 2.0
AREAS = [
    "workable_area_m2",
    "covered_area_m2",
    "covered_once_m2",
    "covered_twice_m2",
    "covered_more_m2",
    "overlap_area_m2",
    "excess_area_m2",
    "skip_area_m2",
    "outside_area_m2",
]


@pytest.mark.parametrize("name", FIELDS)
@pytest.mark.parametrize("area", AREAS)
def test_every_area_is_that_of_the_cells(name: str, area: str) -> None:
    result, verdict = both(name)
    expected = getattr(verdict, area)
    assert getattr(result, area) == pytest.approx(expected, abs=CELLS_M2.get(area, OTHERS_M2))


def test_the_fields_hold_enough_of_every_kind_of_ground() -> None:
    """An area that is lost altogether must show in several fields, not in one alone."""
    for area in AREAS:
        tolerance = CELLS_M2.get(area, OTHERS_M2)
        telling = [n for n in FIELDS if getattr(both(n)[1], area) > 10 * tolerance]
        assert len(telling) >= 3, area


def test_the_referee_itself_knows_a_closed_form() -> None:
    # Two straight passes at an angle to the cells, 0.5 m apart: the skip is 0.5 x length.
    width, length = DRILL.width_m, 120.0
    turtle = Turtle(0.0, 0.0, 0.37).forward(length, work=True)
    first = turtle.sample(phase=0.0)
    second = Turtle(*_beside(0.37, width + 0.5), 0.37).forward(length, work=True).sample(phase=0.0)
    corners = [_at(0.37, a, b) for a, b in _box(length, -width / 2, 1.5 * width + 0.5)]
    job = Job(Polygon(corners), (first, second.later(first.time_s[-1] - START_S + 60.0)))
    verdict = judge(job)
    assert verdict.skip_area_m2 == pytest.approx(0.5 * length, abs=0.5)
    assert verdict.covered_area_m2 == pytest.approx(2 * width * length, rel=1e-3)
    assert verdict.overlap_area_m2 < 0.5
    assert first.time_s[1] - first.time_s[0] == pytest.approx(0.48 / SPEED_MPS)


def _box(length: float, low: float, high: float) -> list[tuple[float, float]]:
    return [(0.0, low), (length, low), (length, high), (0.0, high)]


def _at(heading: float, along: float, left: float) -> tuple[float, float]:
    point = shapely.affinity.rotate(shapely.Point(along, left), heading, (0, 0), use_radians=True)
    return point.x, point.y


def _beside(heading: float, left: float) -> tuple[float, float]:
    return _at(heading, 0.0, left)
