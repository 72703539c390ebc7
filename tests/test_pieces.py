"""Knots, strips and pieces of swaths, one by one, against what is worked out by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobs import Floats
from tool_steps import TOOL, steps_of

from evenacre.coverage.amounts import StepMass, running_totals
from evenacre.coverage.clean import Fixes
from evenacre.coverage.cover import count_cover
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.smooth import SmoothPath
from evenacre.coverage.steps import Steps, build_steps
from evenacre.coverage.swath import build_strips, build_swaths, fan_triangles, progress
from evenacre.coverage.tow import tool_path
from evenacre.model.audit_result import ToolPath


def along(x: list[float], working: list[bool] | None = None) -> Steps:
    """A tool line at places of the x axis, pointing along it."""
    at = np.array(x)
    active = None if working is None else np.repeat(np.array(working)[:, None], TOOL.rows, axis=1)
    return steps_of(at, np.zeros(len(at)), np.zeros(len(at)), active)


# --- knots -----------------------------------------------------------------------------------


def laid(
    x: Floats,
    y: Floats,
    course: Floats,
    run: list[int] | None = None,
    on: str = "",
    lag_s: float = 0,
) -> Steps:
    """Steps of a mounted tool along fixes a second apart."""
    count = len(x)
    time = np.arange(float(count))
    none = np.zeros(count, dtype=np.int64)
    runs = none if run is None else np.array(run)
    fixes = Fixes(time, x, y, none, np.arange(count), runs, (time[1:] + time[:-1]) / 2)
    states = [letter == "1" for letter in on or "1" * count]
    active = RowPatterns.of(np.repeat(np.array(states)[:, None], TOOL.rows, axis=1))
    tool = replace(TOOL, product_lag_s=lag_s)
    return build_steps(fixes, SmoothPath(x, y, course, 0.0), active, tool, ())


@pytest.mark.parametrize(("turn", "parts"), [(0.0, 1), (0.04, 1), (0.06, 2), (-0.12, 3)])
def test_a_curve_is_cut_into_turns_of_a_twentieth_and_no_more(turn: float, parts: int) -> None:
    course = turn * np.arange(6.0)
    if turn:
        radius = 3.0 / turn
        x, y = radius * np.sin(course), radius * (1 - np.cos(course))
    else:
        x, y = 3.0 * np.arange(6.0), np.zeros(6)
    steps = laid(x, y, course)
    assert len(steps.whole) == 5 * parts
    assert np.diff(steps.tool.heading_rad) == pytest.approx(turn / parts, abs=1e-12)
    assert steps.duration_s == pytest.approx(1 / parts)
    # A circle's chords: 2 r sin(turn / 2).
    chord = 2 * 3.0 / turn * math.sin(turn / parts / 2) if turn else 3.0
    # Along the cubic between two records speed varies a little.
    assert steps.distance_m == pytest.approx(chord, rel=5e-4)
    if turn:
        off = np.hypot(steps.tool.x_m, steps.tool.y_m - radius) - abs(radius)
        assert np.abs(off).max() < 1e-4


def test_a_reversal_is_no_curve() -> None:
    x, course = np.array([0.0, 1.0, 2.0, 1.0, 0.0]), np.array([0.0, 0.0, math.pi, math.pi, math.pi])
    assert len(laid(x, np.zeros(5), course).whole) == 4


@pytest.mark.parametrize("lag_s", [0.0, 0.25])
def test_a_switch_lies_midway_and_late_by_the_delay_up_to_the_cut(lag_s: float) -> None:
    x = np.arange(8.0)
    steps = laid(x, np.zeros(8), np.zeros(8), [0, 0, 0, 0, 1, 1, 1, 1], "01110110", lag_s)
    knots = [0, 0.5 + lag_s, 1, 2, 3, 4, 4.5 + lag_s, 5, 6, 6.5 + lag_s, 7]
    assert steps.tool.time_s.tolist() == knots
    assert steps.whole.tolist() == [True] * 4 + [False] + [True] * 5
    assert steps.working.astype(int).tolist() == [0, 1, 1, 1, 0, 0, 1, 1, 1, 0]
    assert steps.distance_m.sum() == pytest.approx(6.0)


@pytest.mark.parametrize(("ahead_m", "left_m", "behind_m"), [(3.0, 0.5, 1.0), (-2.0, -0.3, 0.0)])
def test_a_mounted_tool_points_where_the_tractor_goes(
    ahead_m: float, left_m: float, behind_m: float
) -> None:
    # The course is told apart from the chord: each is turned a little from the x axis.
    course = np.array([0.1, 0.2, 0.3])
    tool = replace(TOOL, antenna_ahead_m=ahead_m, antenna_left_m=left_m, tool_behind_m=behind_m)
    none = np.zeros(3, dtype=np.int64)
    path = tool_path(np.arange(3.0), np.arange(3.0), np.zeros(3), course, none, tool)
    assert path.heading_rad.tolist() == course.tolist()
    back = ahead_m + behind_m
    x = np.arange(3.0) - back * np.cos(course) + left_m * np.sin(course)
    assert path.x_m == pytest.approx(x)
    assert path.y_m == pytest.approx(-back * np.sin(course) - left_m * np.cos(course))


# --- progress --------------------------------------------------------------------------------


def test_only_travel_beyond_the_furthest_point_counts() -> None:
    assert progress(along([0, 1.0, 0.5, 0.8, 1.0, 1.2])).tolist() == [
        True,
        False,
        False,
        False,
        True,
    ]


def test_each_run_of_work_has_its_own_furthest_point() -> None:
    # Lifted, backed up and let down again: the ground is worked a second time.
    found = progress(along([0, 3.0, 1.0, 2.0, 3.0], [True, False, True, True]))
    assert found[[0, 2, 3]].tolist() == [True, True, True]


def test_turning_on_the_spot_counts() -> None:
    x, heading = np.array([0.0, 1.0, 1.0, 1.0]), np.array([0.0, 0.0, 0.0, 0.5])
    assert progress(steps_of(x, np.zeros(4), heading)).tolist() == [True, False, True]


# --- pieces ----------------------------------------------------------------------------------


def pieces_of(steps: Steps) -> list[int]:
    return build_strips(steps, steps.active, TOOL).piece.tolist()


def test_a_straight_pass_is_one_piece_and_a_lift_begins_another() -> None:
    assert pieces_of(along([0, 1, 2, 3, 4, 5])) == [0] * 5
    assert pieces_of(along([0, 1, 2, 3, 4, 5], [True, True, False, True, True])) == [0, 0, 1, 1]


def test_rows_side_by_side_are_pieces_of_their_own() -> None:
    active = np.ones((4, TOOL.rows), dtype=bool)
    active[:, 5:7] = False  # rows 6 and 7
    active[2:, 12:] = False
    steps = steps_of(np.arange(5.0), np.zeros(5), np.zeros(5), active)
    strips = build_strips(steps, steps.active, TOOL)
    swaths = build_swaths(strips)
    rows = list(zip(swaths.first_row, swaths.last_row, swaths.first_step, strict=True))
    assert sorted(rows) == [(1, 5, 0), (8, 12, 2), (8, 16, 0)]
    box = {first: shapely.bounds(g) for first, g in zip(rows, swaths.geometry, strict=True)}
    # Rows of half a metre, the first at 4 m on the left.
    assert box[1, 5, 0] == pytest.approx([0.0, 1.5, 4.0, 4.0])
    assert box[8, 12, 2] == pytest.approx([2.0, -2.0, 4.0, 0.5])
    assert box[8, 16, 0] == pytest.approx([0.0, -4.0, 2.0, 0.5])


@pytest.mark.parametrize("hand", [1, -1])
def test_a_piece_spans_an_eighth_of_a_turn(hand: int) -> None:
    # From the first step's heading on, sectors change at an odd number of sixteenths.
    turn = 0.02
    heading = turn * np.arange(161.0)
    x, y = 20.0 * np.sin(heading), 20.0 * (1 - np.cos(heading)) * hand
    piece = np.array(pieces_of(steps_of(x, y, hand * heading)))
    began = np.flatnonzero(np.diff(piece)) + 1
    assert began.tolist() == [math.ceil(k * math.pi / 8 / turn) for k in (1, 3, 5, 7)]


def test_strips_whose_tool_lines_cross_are_folded() -> None:
    rng = np.random.default_rng(12)
    seen = set()
    for _ in range(300):
        turn, start = rng.uniform(-0.3, 0.3), rng.uniform(-3, 3)
        x, y = rng.uniform(-0.6, 0.6, 2) + 5.0, rng.uniform(-0.6, 0.6, 2) - 9.0
        steps = steps_of(x, y, np.array([start, start + turn]))
        strips = build_strips(steps, steps.active, TOOL)
        for quad, folded in zip(strips.quad, strips.folded, strict=True):
            before, after = shapely.LineString(quad[:2]), shapely.LineString(quad[2:])
            assert folded == before.crosses(after)
            seen.add(bool(folded))
    assert seen == {True, False}


@pytest.mark.parametrize("left_m", [1.0, 3.0, 6.5])
@pytest.mark.parametrize("turn", [0.04, -0.2])
def test_a_turn_about_a_point_of_the_tool_sweeps_two_triangles(left_m: float, turn: float) -> None:
    # Sides a and a about an angle: a^2 sin(turn) / 2.
    ahead = 4.0 - left_m  # of the middle of the tool, towards its left
    heading = 0.7 + np.array([0.0, turn])
    x, y = 3.0 + ahead * np.sin(heading), 2.0 - ahead * np.cos(heading)
    steps = steps_of(x, y, heading)
    strips = build_strips(steps, steps.active, TOOL)
    assert strips.folded.tolist() == [True]
    left, right = fan_triangles(strips.quad)
    sine = math.sin(abs(turn)) / 2
    assert left.area == pytest.approx(left_m**2 * sine)
    assert right.area == pytest.approx((8.0 - left_m) ** 2 * sine)
    assert left.intersection(right).area == pytest.approx(0.0, abs=1e-12)
    assert left.distance(shapely.Point(3.0, 2.0)) == pytest.approx(0.0, abs=1e-9)
    (swath,) = build_swaths(strips).geometry
    assert swath.area == pytest.approx(left.area + right.area, abs=1e-5)


# --- cover -----------------------------------------------------------------------------------


def test_the_most_covers_of_each_piece_and_what_pairs_share() -> None:
    # Three squares over one corner, one over another, and one alone.
    boxes = [(0, 0, 4, 4), (3, 3, 6, 6), (3.5, 3.5, 7, 7), (-1, -1, 1, 1), (9, 9, 10, 10)]
    cover = count_cover(np.array([shapely.box(*b) for b in boxes]))
    assert cover.max_cover.tolist() == [3, 3, 3, 2, 1]
    shared = dict(zip(zip(cover.first, cover.second, strict=True), cover.pair_area_m2, strict=True))
    assert shared == pytest.approx({(0, 1): 1.0, (0, 2): 0.25, (1, 2): 6.25, (0, 3): 1.0})
    assert cover.thrice_or_more.area == pytest.approx(0.25)
    assert cover.twice_or_more.area == pytest.approx(1.0 + 6.25 - 0.25 + 1.0)
    assert cover.piece_area_m2.tolist() == pytest.approx([16, 9, 12.25, 4, 1])


# --- running totals --------------------------------------------------------------------------


def test_running_totals_begin_at_nothing_and_are_kept_by_the_second() -> None:
    active = np.ones((7, TOOL.rows), dtype=bool)
    active[3, 8:] = False  # half the rows for half a second
    time = np.array([10.2, 10.7, 11.2, 11.7, 12.2, 12.7, 13.2, 13.4])
    x = 2.0 * (time - time[0])
    steps = steps_of(x, np.zeros(8), np.zeros(8), active)
    steps = Steps(ToolPath(time, x, np.zeros(8), np.zeros(8)), *list(vars(steps).values())[1:])
    metered = 0.3 * np.diff(time)
    totals = running_totals(
        steps, [slice(0, 7)], TOOL, {"rye": StepMass(metered, metered, "flow", 0.0)}
    )
    assert totals.time_s.tolist() == [10.2, 11.2, 12.2, 13.2, 13.4]
    assert totals.swept_m2 == pytest.approx(8.0 * np.array([0, 2.0, 3.5, 5.5, 5.9]))
    assert totals.metered_kg["rye"] == pytest.approx(0.3 * np.array([0, 1.0, 2.0, 3.0, 3.2]))
