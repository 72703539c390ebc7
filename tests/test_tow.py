"""The towed tool line against the closed forms of a trailer's path."""

import math
from dataclasses import replace

import numpy as np
import pytest
from jobs import DRILL, STEP_M, arc_job, arc_length
from put_down import operation

from evenacre.coverage.audit import audit_operation
from evenacre.coverage.tow import follow
from evenacre.model import TowedUnit

WITHIN_M = 0.01


def circle(radius: float, laps: float, step: float = STEP_M) -> tuple[np.ndarray, np.ndarray]:
    angle = np.arange(0.0, laps * 2 * math.pi, step / radius)
    return radius * np.cos(angle), radius * np.sin(angle)


def axle(
    x: np.ndarray, y: np.ndarray, length: float, heading0: float
) -> tuple[np.ndarray, np.ndarray]:
    heading = follow(x, y, length, heading0)
    return x - length * np.cos(heading), y - length * np.sin(heading)


@pytest.mark.parametrize(("radius", "length"), [(8.0, 4.0), (15.0, 6.0), (40.0, 9.0)])
def test_a_trailer_settles_on_its_own_circle(radius: float, length: float) -> None:
    x, y = axle(*circle(radius, 4), length, math.pi / 2)
    assert np.hypot(x, y)[-50:] == pytest.approx(math.sqrt(radius**2 - length**2), abs=WITHIN_M)


def test_two_trailers_settle_by_the_sum_of_squares() -> None:
    first = axle(*circle(15.0, 6), 6.0, math.pi / 2)
    x, y = axle(*first, 4.5, math.pi / 2)
    settled = math.sqrt(15.0**2 - 6.0**2 - 4.5**2)
    assert np.hypot(x, y)[-50:] == pytest.approx(settled, abs=WITHIN_M)


@pytest.mark.parametrize("step", [0.05, 0.48, 3.0])
@pytest.mark.parametrize("side", [1, -1])
def test_a_straight_pull_from_a_right_angle_draws_the_tractrix(step: float, side: int) -> None:
    # x = L (ln tan(s / 2) + cos s), y = L sin s, the hitch being at L ln tan(s / 2) on the axis.
    length = 4.3
    hitch = np.arange(0.0, 40.0, step)
    x, y = axle(hitch, np.zeros_like(hitch), length, -side * math.pi / 2)
    s = 2 * np.arctan(np.exp(hitch / length))
    assert x == pytest.approx(length * (np.log(np.tan(s / 2)) + np.cos(s)), abs=WITHIN_M)
    assert y == pytest.approx(side * length * np.sin(s), abs=WITHIN_M)


def test_the_hitch_standing_still_leaves_the_trailer_where_it_is() -> None:
    heading = follow(np.zeros(5), np.zeros(5), 4.0, 1.1)
    assert heading == pytest.approx(1.1)


@pytest.mark.parametrize(
    ("tow", "settled"),
    [
        ((TowedUnit(5.0),), math.sqrt(18.0**2 - 5.0**2)),
        ((TowedUnit(5.0), TowedUnit(4.0)), math.sqrt(18.0**2 - 5.0**2 - 4.0**2)),
        # A pin behind the axle swings out again.
        (
            (TowedUnit(5.0, 1.5), TowedUnit(4.0)),
            math.sqrt(18.0**2 - 5.0**2 + 1.5**2 - 4.0**2),
        ),
    ],
    ids=["one unit", "two units", "pin behind the axle"],
)
@pytest.mark.parametrize("hand", [1, -1], ids=["left", "right"])
def test_a_towed_tool_sweeps_the_circle_it_settles_on(
    tow: tuple[TowedUnit, ...], settled: float, hand: int
) -> None:
    drill = replace(DRILL, tow=tow)
    job = arc_job(18.0, 1.8, hand=hand, lead_m=150.0, implement=drill)
    result = audit_operation(operation(job))
    turned = arc_length(18.0, 1.8) / 18.0
    assert result.covered_area_m2 == pytest.approx(drill.width_m * settled * turned, rel=1e-3)


def test_an_antenna_ahead_of_the_fixed_axle_is_carried_back_to_it() -> None:
    drill = replace(DRILL, axle_to_antenna_m=3.0, antenna_ahead_m=3.0)
    result = audit_operation(operation(arc_job(12.0, 1.8, lead_m=90.0, implement=drill)))
    turned = arc_length(12.0, 1.8) / 12.0
    settled = math.sqrt(12.0**2 - 3.0**2)
    assert result.covered_area_m2 == pytest.approx(drill.width_m * settled * turned, rel=1e-3)
