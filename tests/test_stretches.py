"""Steps and strips joined along straight stretches sweep the ground that they swept before."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from tool_steps import TOOL, steps_of

from evenacre.coverage.amounts import StepMass
from evenacre.coverage.passes import number_passes
from evenacre.coverage.products import StripShares
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.steps import Steps
from evenacre.coverage.stretches import joined_steps, joined_strips
from evenacre.coverage.swath import build_strips, build_swaths

TOLERANCE_M = 0.01


def drive(bend_rad: float, seed: int, count: int = 120) -> Steps:
    """Half a metre at a time, straight, round a bend and straight on, with jitter on the way."""
    rng = np.random.default_rng(seed)
    turn = np.zeros(count + 1)
    turn[count // 3 : 2 * count // 3] = bend_rad / (count // 3)
    heading = np.cumsum(turn)
    x, y = (np.cumsum(0.5 * f(heading)) for f in (np.cos, np.sin))
    jitter = rng.normal(0.0, 0.003, (2, count + 1))
    return steps_of(x + jitter[0], y + jitter[1], heading)


def ground(steps: Steps) -> shapely.Geometry:
    strips = build_strips(steps, steps.active, TOOL)
    return shapely.union_all(build_swaths(strips).geometry)


def joined(steps: Steps) -> Steps:
    return joined_steps(steps, number_passes(steps), TOOL.width_m, TOLERANCE_M)[0]


def test_straight_steps_become_few() -> None:
    steps = drive(0.0, 1)
    # 60 m in steps of 6 m at most, and a knot wherever the way leaves one and comes to the next.
    assert len(joined(steps).whole) <= 25
    assert ground(joined(steps)).area == pytest.approx(60.0 * TOOL.width_m, rel=0.002)


@settings(max_examples=40, deadline=None)
@given(st.floats(-2.5, 2.5), st.integers(0, 10_000))
def test_the_ground_is_the_same_to_the_tolerance(bend_rad: float, seed: int) -> None:
    steps = drive(bend_rad, seed)
    fewer = joined(steps)
    assert len(fewer.whole) < len(steps.whole)
    before, after = ground(steps), ground(fewer)
    off = shapely.symmetric_difference(before, after)
    # Each edge within twice the tolerance of where it was: nothing of the rest is left when
    # outlines are drawn in by so much.
    assert off.area <= 2 * TOLERANCE_M * before.length
    assert shapely.buffer(off, -2 * TOLERANCE_M).is_empty
    assert fewer.distance_m.sum() == pytest.approx(steps.distance_m.sum())
    assert fewer.duration_s.sum() == pytest.approx(steps.duration_s.sum())


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 119), st.integers(1, 15), st.integers(0, 10_000))
def test_switches_lifts_and_cuts_stay_where_they_are(at: int, row: int, seed: int) -> None:
    steps = drive(0.0, seed)
    states, whole = steps.rows.states.copy(), steps.whole.copy()
    states[at:, :row] = 0
    whole[at // 2] = False
    steps = replace(steps, rows=RowPatterns.of(states), whole=whole)
    fewer = joined(steps)

    def on_m(some: Steps) -> np.ndarray:
        return (some.active.states & some.whole[:, None]).T @ some.distance_m

    assert on_m(fewer) == pytest.approx(on_m(steps))
    assert (~fewer.whole).sum() == 1


@settings(max_examples=40, deadline=None)
@given(st.floats(-2.5, 2.5), st.floats(0.0, 60.0), st.integers(0, 10_000))
def test_amounts_stay_on_their_ground(bend_rad: float, leap_m: float, seed: int) -> None:
    steps = drive(bend_rad, seed)
    strips = build_strips(steps, steps.active, TOOL)
    rng = np.random.default_rng(seed)
    rate = np.where(np.cumsum(steps.distance_m) > leap_m, 0.02, 0.01) * rng.uniform(0.99, 1.01, 120)
    kg = rate * steps.distance_m * TOOL.width_m
    mass = StepMass(kg, kg, "rate", 0.0)
    rows_on = steps.active.count
    told = StripShares(strips, build_swaths(strips), rows_on, (mass,))
    fewer = StripShares(strips, build_swaths(strips), rows_on, (mass,), TOLERANCE_M)
    assert fewer.mass_kg(mass).sum() == pytest.approx(kg.sum())
    zone = shapely.box(-10.0, -50.0, 20.0, 50.0)
    inside = [float((s.mass_kg(mass) * s.inside(zone)).sum()) for s in (told, fewer)]
    # Six metres at most are shared out as one, at rates that differ by two hundredths.
    assert inside[1] == pytest.approx(inside[0], abs=0.02 * 6.0 * TOOL.width_m * 0.02 + 0.002)


def test_a_leap_of_the_rate_parts_strips() -> None:
    steps = steps_of(np.arange(11.0), np.zeros(11), np.zeros(11))
    strips = build_strips(steps, steps.active, TOOL)
    even = np.full(10, 1.0)
    leaps = np.where(np.arange(10) < 4, 1.0, 1.1)
    assert len(joined_strips(strips, [even], 0.001)[0].step) == 1
    assert joined_strips(strips, [even, leaps], 0.001)[0].step.tolist() == [0, 4]
    assert joined_strips(strips, [np.zeros(10), leaps], 0.001)[1].tolist() == [0] * 4 + [1] * 6
