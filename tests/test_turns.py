"""Turns between passes: closed forms, the ends of the lines, and a search of all bends."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from jobs import Floats
from scipy.optimize import least_squares

from evenacre.planning.passes.turns import shortest_turns, turn_lines

RADIUS = 6.0
PLACE = st.floats(-60, 60)
HEADING = st.floats(-7, 7)
POSE = st.tuples(PLACE, PLACE, HEADING)


def length(start: tuple[float, ...], end: tuple[float, ...], radius: float = RADIUS) -> float:
    return radius * float(shortest_turns(np.array([start]), np.array([end]), radius)[1].sum())


def test_straight_on() -> None:
    assert length((0, 0, 0), (50, 0, 0)) == pytest.approx(50.0)


def test_nothing_to_turn() -> None:
    assert length((3, 4, 1), (3, 4, 1)) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("apart", [12.0, 15.0, 30.0])
def test_back_beside_itself_is_a_half_circle_and_a_straight(apart: float) -> None:
    assert length((0, 0, 0), (0, apart, math.pi)) == pytest.approx(
        math.pi * RADIUS + apart - 2 * RADIUS
    )


@pytest.mark.parametrize("apart", [1.0, 6.096, 11.0])
def test_back_nearer_than_two_radii_is_three_arcs(apart: float) -> None:
    """Out, round and back: circles of one radius that touch (a triangle of their centres)."""
    centres = RADIUS + apart / 2  # of the outer circles from the middle
    lean = math.acos(centres / (2 * RADIUS))
    assert length((0, 0, 0), (0, apart, math.pi)) == pytest.approx(RADIUS * (math.pi + 4 * lean))


def test_a_quarter_turn() -> None:
    assert length((0, 0, 0), (6, 6, math.pi / 2)) == pytest.approx(RADIUS * math.pi / 2)


@given(start=POSE, end=POSE)
def test_lines_begin_and_end_where_they_should(
    start: tuple[float, float, float], end: tuple[float, float, float]
) -> None:
    line = turn_lines(np.array([start]), np.array([end]), RADIUS)[0]
    xy = np.array(line.coords)
    assert xy[0] == pytest.approx(start[:2], abs=1e-6)
    assert xy[-1] == pytest.approx(end[:2], abs=1e-6)
    # Chords of a metre on circles of six: shorter than the arcs by less than a thousandth.
    told = length(start, end)
    assert told * (1 - 2e-3) - 1e-6 <= line.length <= told + 1e-6
    step = np.diff(xy, axis=0)
    step = step[np.hypot(*step.T) > 1e-6]
    bend = np.diff(np.unwrap(np.arctan2(step[:, 1], step[:, 0])))
    assert np.abs(bend).max(initial=0.0) <= 1.01 / RADIUS


@given(start=POSE, end=POSE)
def test_the_way_back_is_as_long(
    start: tuple[float, float, float], end: tuple[float, float, float]
) -> None:
    back = length((*end[:2], end[2] + math.pi), (*start[:2], start[2] + math.pi))
    assert back == pytest.approx(length(start, end), abs=1e-6)


def test_no_search_finds_a_shorter_one() -> None:
    """Every order of three pieces, solved for the end from many starts."""
    rng = np.random.default_rng(5)
    for _ in range(5):
        end = np.array([*rng.uniform(-3, 3, 2), rng.uniform(0, 2 * math.pi)])
        told = length((0, 0, 0), tuple(end), 1.0)
        found = [
            shortest_with(kinds, end, rng)
            for kinds in itertools.product((1, 0, -1), repeat=3)
            if kinds[0] != kinds[1] != kinds[2]
        ]
        assert told == pytest.approx(min(found), abs=1e-6)


def shortest_with(kinds: tuple[int, ...], end: Floats, rng: np.random.Generator) -> float:
    """Shortest path of three such pieces that a solver finds."""

    def miss(parts: Floats) -> Floats:
        x = y = heading = 0.0
        for kind, part in zip(kinds, parts, strict=True):
            after = heading + kind * part
            if kind:
                x += (math.sin(after) - math.sin(heading)) / kind
                y += (math.cos(heading) - math.cos(after)) / kind
            else:
                x, y = x + part * math.cos(heading), y + part * math.sin(heading)
            heading = after
        # The heading counts as a direction: a turn more or less is the same.
        twist = (math.cos(heading) - math.cos(end[2]), math.sin(heading) - math.sin(end[2]))
        return np.array([x - end[0], y - end[1], *twist])

    best = math.inf
    for start in rng.uniform(0, 2 * math.pi, (12, 3)):
        solved = least_squares(miss, start, bounds=(0, 2 * math.pi))
        if np.abs(solved.fun).max() < 1e-8:
            best = min(best, float(solved.x.sum()))
    return best


def test_lines_are_lines() -> None:
    lines = turn_lines(np.zeros((2, 3)), np.array([[0, 12, math.pi], [20, 0, 0]]), RADIUS)
    assert all(isinstance(line, shapely.LineString) for line in lines)
