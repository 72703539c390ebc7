"""Shares of strips cut by a zone line, in closed form on straights, curves and pivots."""

import math

import numpy as np
import pytest
import shapely
from jobs import Floats
from shapely.affinity import rotate
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry
from tool_steps import TOOL, steps_of

from evenacre.coverage.products import StripShares
from evenacre.coverage.steps import Steps
from evenacre.coverage.swath import build_strips, build_swaths

FAR = 1e4


def shares(steps: Steps, region: BaseGeometry) -> Floats:
    strips = build_strips(steps, steps.active, TOOL)
    return StripShares(strips, build_swaths(strips), np.zeros(0, dtype=np.int64)).inside(region)


def straight(metres: float = 10.0, count: int = 1) -> Steps:
    x = np.linspace(0.0, metres, count + 1)
    return steps_of(x, np.zeros(count + 1), np.zeros(count + 1))


def arc(radius: float, angles: Floats) -> Steps:
    """A left turn about the origin."""
    return steps_of(radius * np.cos(angles), radius * np.sin(angles), angles + math.pi / 2)


def right_of(x: float) -> BaseGeometry:
    return shapely.box(x, -FAR, FAR, FAR)


def test_a_line_across_a_straight_strip() -> None:
    assert shares(straight(), right_of(2.5)).item() == pytest.approx(0.75)


def test_a_line_along_a_straight_strip() -> None:
    # 1 m to the left of the middle of 8 m: three eighths lie beyond it.
    assert shares(straight(), shapely.box(-FAR, 1.0, FAR, FAR)).item() == pytest.approx(0.375)


@pytest.mark.parametrize("angle", [0.1, 0.6, 1.1, 1.5])
def test_a_line_aslant_through_the_middle_halves_a_strip(angle: float) -> None:
    half = rotate(right_of(0.0), angle, origin=(0, 0), use_radians=True)
    half = shapely.affinity.translate(half, 5.0, 0.0)
    assert shares(straight(), half).item() == pytest.approx(0.5)


def test_a_corner_cut_off_a_straight_strip() -> None:
    triangle = shapely.Polygon([(0, -4), (6, -4), (0, 2)])
    assert shares(straight(), triangle).item() == pytest.approx(18.0 / 80.0)


def test_strips_wholly_in_and_wholly_out() -> None:
    found = shares(straight(10.0, 5), right_of(5.0))
    assert found.tolist() == pytest.approx([0.0, 0.0, 0.5, 1.0, 1.0])
    assert shares(straight(), shapely.Polygon()).tolist() == [0.0]
    assert shares(straight(), right_of(50.0)).tolist() == [0.0]
    assert shares(straight(), right_of(-50.0)).tolist() == [1.0]


def test_rows_off_part_a_strip_in_two_with_shares_of_their_own() -> None:
    x = np.array([0.0, 10.0])
    steps = steps_of(x, np.zeros(2), np.zeros(2), off=(6, 7, 8, 9))
    # Rows 1 to 6 lie from 4 m to 1 m, rows 11 to 16 from -1 m to -4 m.
    found = shares(steps, shapely.box(-FAR, 2.0, FAR, FAR))
    assert sorted(found.tolist()) == pytest.approx([0.0, 2.0 / 3.0])


@pytest.mark.parametrize("radius", [5.0, 9.0, 40.0])
def test_a_line_through_the_pivot_cuts_every_row_alike(radius: float) -> None:
    steps = arc(radius, np.array([0.0, 0.04]))
    wedge = shapely.Polygon([(0, 0), (FAR, 0), (FAR, FAR * math.tan(0.01)), (0, 0)])
    # The chords of the step lie half a thousandth inside its arcs.
    assert shares(steps, wedge).item() == pytest.approx(0.25, abs=1e-3)


@pytest.mark.parametrize("radius", [4.5, 6.0, 12.0, 60.0])
@pytest.mark.parametrize("row", [3, 8, 13])
def test_a_line_along_the_rows_of_a_curve_parts_the_rows_not_the_ground(
    radius: float, row: int
) -> None:
    # Rows are numbered from the inside of a left turn, and each gets the same mass.
    inside = Point(0, 0).buffer(radius - 4.0 + row * 0.5, quad_segs=4000)
    # A short step, whose chords keep to its arcs.
    steps = arc(radius, np.array([0.0, 0.2 / radius]))
    assert shares(steps, inside).item() == pytest.approx(row / 16, abs=1e-3)


@pytest.mark.parametrize("radius", [4.5, 7.0, 20.0])
@pytest.mark.parametrize("place", [0.25, 0.5, 0.8])
def test_a_straight_zone_line_across_a_curve(radius: float, place: float) -> None:
    # A row at radius r meets the line x = c at the angle acos(c / r).
    whole = 1.2
    c = radius * math.cos(whole * place)
    steps = arc(radius, np.linspace(0.0, whole, 49))
    found = shares(steps, right_of(c))
    # Half a row wide steps of r, by ground within a row and evenly over the rows.
    r = radius - 4.0 + (np.arange(16 * 400) + 0.5) / 800
    angle = np.minimum(np.arccos(np.minimum(c / r, 1.0)), whole)
    by_row = np.average(angle.reshape(16, -1), axis=1, weights=r.reshape(16, -1)) / whole
    assert found.mean() == pytest.approx(by_row.mean(), abs=1e-3)
    by_ground = np.average(angle, weights=r) / whole
    if radius < 10:
        assert abs(found.mean() - by_ground) > 5e-3


@pytest.mark.parametrize("ahead_m", [-3.0, -1.0, 0.0, 2.5])
def test_a_pivot_inside_the_tool_shares_by_rows_about_it(ahead_m: float) -> None:
    # The tool turns left about a point inside it: the rows inside the pivot swing back and
    # the others on. All the rows left of the pivot go to the region left of it.
    turn = 0.04
    heading = np.array([-turn / 2, turn / 2])
    # The centre rides at -ahead_m from the pivot at the origin, along the tool line.
    steps = steps_of(ahead_m * np.sin(heading), -ahead_m * np.cos(heading), heading)
    left = shapely.box(-FAR, 0.0, FAR, FAR)
    assert shares(steps, left).item() == pytest.approx((4.0 - ahead_m) / 8.0, abs=1e-6)
    whole = shapely.box(-FAR, -FAR, FAR, FAR)
    assert shares(steps, whole).item() == 1.0


def test_two_sides_of_any_line_make_the_whole() -> None:
    rng = np.random.default_rng(9)
    course = np.cumsum(rng.uniform(-0.04, 0.045, 200))
    x, y = np.cumsum(0.5 * np.cos(course)), np.cumsum(0.5 * np.sin(course))
    steps = steps_of(x, y, course, off=(4, 5))
    middle = float(x.mean()), float(y.mean())
    for angle in rng.uniform(0, math.pi, 20):
        side = shapely.affinity.translate(right_of(0.0), *middle)
        side = rotate(side, angle, origin=middle, use_radians=True)
        other = rotate(side, math.pi, origin=middle, use_radians=True)
        both = shares(steps, side) + shares(steps, other)
        assert both == pytest.approx(np.ones(len(both)), abs=1e-9)


def test_a_zone_with_a_hole_gives_up_what_lies_in_it() -> None:
    hole = shapely.box(4, -1, 6, 1)
    zone = shapely.box(-1, -10, 11, 10) - hole
    assert shares(straight(), zone).item() == pytest.approx(1 - 4 / 80)
