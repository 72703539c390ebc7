"""Receiver jitter against noise of known size: measured, reduced, and no curve bent by it."""

import math

import numpy as np
import pytest
from jobs import HZ, SPEED_MPS, START_S, Drive, Floats, Turtle, straight_job
from whole_fields import reference_field

from evenacre.coverage.smooth import SmoothPath, jitter_m, smooth_path

HEADING = 0.7


def noisy(x: Floats, y: Floats, sigma: float, seed: int) -> tuple[Floats, Floats]:
    rng = np.random.default_rng(seed)
    return x + rng.normal(0.0, sigma, len(x)), y + rng.normal(0.0, sigma, len(y))


def one_run(x: Floats) -> np.ndarray:
    return np.zeros(len(x), dtype=np.int64)


def smoothed(drive: Drive, sigma: float, seed: int, **how: bool) -> SmoothPath:
    x, y = noisy(drive.x_m, drive.y_m, sigma, seed)
    return smooth_path(drive.time_s, x, y, one_run(x), **how)


def straight(count: int = 1500, hz: float = HZ) -> Drive:
    return Turtle(0, 0, HEADING).forward(count * SPEED_MPS / hz).sample(SPEED_MPS / hz)


def circle(radius: float, hz: float = HZ) -> Drive:
    turtle = Turtle(radius, 0.0, math.pi / 2).arc(radius, 2.8 * math.pi)
    return turtle.sample(SPEED_MPS / hz, phase=0.0)


def apart(a: Floats, b: Floats | float) -> Floats:
    return np.abs(np.angle(np.exp(1j * (np.asarray(a) - b))))


@pytest.mark.parametrize("sigma", [0.002, 0.01, 0.02, 0.1, 0.3])
@pytest.mark.parametrize("hz", [1, 5, 10])
def test_the_jitter_found_is_the_jitter_put_in(sigma: float, hz: float) -> None:
    for seed in range(4):
        x, y = noisy(straight(hz=hz).x_m, straight(hz=hz).y_m, sigma, seed)
        assert jitter_m(x, y, one_run(x)) == pytest.approx(sigma, rel=0.1)


@pytest.mark.parametrize("sigma", [0.01, 0.02, 0.05])
def test_turns_and_rounds_do_not_disturb_the_estimate(sigma: float) -> None:
    for drive in (straight_job(240.0, (0.0,) * 7).drives[0], *reference_field().drives):
        x, y = noisy(drive.x_m, drive.y_m, sigma, 8)
        assert jitter_m(x, y, one_run(x)) == pytest.approx(sigma, rel=0.1)


def test_a_change_of_speed_is_no_jitter() -> None:
    t = np.arange(600) / HZ
    x = np.cumsum(SPEED_MPS + np.sin(t)) / HZ
    assert jitter_m(x, 0 * x, one_run(x)) == 0.0


@pytest.mark.parametrize("hz", [1, 5])
@pytest.mark.parametrize("sigma", [0.01, 0.02, 0.05])
def test_white_noise_on_a_straight_is_less_than_any_window_leaves(sigma: float, hz: float) -> None:
    # A quadratic through 49 even records has 9 / (4 x 49) of their variance in the middle
    # (Savitzky and Golay 1964), and no choice of window can beat the widest one. A line through
    # n records has 2 / n of it on average, so that a few hundred of them do.
    drive = straight(hz=hz)
    path = smoothed(drive, sigma, 5)
    off_x, off_y = path.x_m - drive.x_m, path.y_m - drive.y_m
    across = off_y * math.cos(HEADING) - off_x * math.sin(HEADING)
    assert across.std() < math.sqrt(9 / (4 * 49)) * sigma
    step = SPEED_MPS / hz
    assert apart(path.course_rad, HEADING).max() < sigma / step
    assert np.degrees(apart(path.course_rad, HEADING).std()) < np.degrees(0.05 * sigma / step)


@pytest.mark.parametrize("wander", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("length_m", [30.0, 120.0, 1500.0])
def test_a_way_that_wanders_is_kept_as_near_as_windows_keep_it(
    wander: float, length_m: float
) -> None:
    # To and fro by a third of, as much as and three times what the receiver scatters: taken for
    # straight where it cannot be told from it, and then no further off than windows leave it.
    x = np.arange(3000) * SPEED_MPS / HZ
    true = wander * 0.02 * np.sin(2 * math.pi * x / length_m)
    for seed in range(4):
        path = smooth_path(START_S + np.arange(3000) / HZ, *noisy(x, true, 0.02, seed), one_run(x))
        off = (path.y_m - np.interp(path.x_m, x, true))[50:-50]
        assert off.std() < 0.4 * 0.02


@pytest.mark.parametrize("sigma", [0.0, 0.005, 0.01, 0.02, 0.03])
def test_a_circle_of_8_m_is_not_shrunk_by_more_than_2_cm(sigma: float) -> None:
    drive = circle(8.0)
    for seed in range(4):
        path = smoothed(drive, sigma, seed)
        radius = np.hypot(path.x_m, path.y_m)[5:-5]
        assert radius.mean() == pytest.approx(8.0, abs=0.02)
        assert radius.std() <= max(0.7 * sigma, 1e-9)
        assert np.degrees(apart(path.course_rad, drive.heading_rad)[2:-2].max()) < 0.1 + 300 * sigma


@pytest.mark.parametrize("hz", [1, 5, 10])
def test_a_clean_log_is_left_as_it_is(hz: float) -> None:
    step = SPEED_MPS / hz
    turns = Turtle(0, 0, 1.0).forward(60).arc(5, math.pi).forward(60).arc(7, -2.0).forward(90)
    for drive in (straight(hz=hz), circle(8.0, hz), turns.sample(step)):
        path = smooth_path(drive.time_s, drive.x_m, drive.y_m, one_run(drive.x_m))
        assert path.x_m is drive.x_m
        assert path.y_m is drive.y_m
        assert path.jitter_m < 1e-3


def test_positions_are_left_alone_when_asked() -> None:
    x, y = noisy(straight().x_m, straight().y_m, 0.05, 1)
    path = smooth_path(straight().time_s, x, y, one_run(x), smooth=False)
    assert path.x_m is x
    assert path.y_m is y
    assert path.jitter_m == pytest.approx(0.05, rel=0.1)


def standing() -> tuple[Floats, Floats, Floats, np.ndarray]:
    """Twenty seconds on, thirty standing, twenty on."""
    t = np.arange(350) / HZ
    s = SPEED_MPS * (np.clip(t, 0, 20) + np.clip(t - 50, 0, None))
    return START_S + t, s * math.cos(HEADING), s * math.sin(HEADING), (t > 21) & (t < 49)


@pytest.mark.parametrize("smooth", [True, False])
def test_the_course_is_held_while_standing(smooth: bool) -> None:
    time, x, y, still = standing()
    path = smooth_path(time, x, y, one_run(x), smooth=smooth)
    assert apart(path.course_rad, HEADING).max() < 1e-9
    worst = []
    for seed in range(6):
        path = smooth_path(time, *noisy(x, y, 0.01, seed), one_run(x), smooth=smooth)
        worst.append(np.degrees(apart(path.course_rad[still], HEADING).max()))
    # The last move seen is half a metre between two records of 1 cm each: 1.7 degrees.
    assert max(worst) < 3.5 * np.degrees(math.sqrt(2) * 0.01 / (SPEED_MPS / HZ))


def test_a_log_that_begins_standing_takes_the_course_it_starts_with() -> None:
    t = np.arange(100) / HZ
    x = SPEED_MPS * np.clip(t - 10.0, 0.0, None)
    path = smooth_path(START_S + t, 0 * x, -x, one_run(x))
    assert apart(path.course_rad, -math.pi / 2).max() < 1e-9


def test_the_course_of_unevenly_spaced_records_is_exact_on_a_parabola() -> None:
    # The quadratic through a record and its two neighbours is the parabola itself.
    rng = np.random.default_rng(2)
    t = np.cumsum(rng.uniform(0.1, 1.7, 300))
    x, y = SPEED_MPS * t, 0.004 * t**2
    path = smooth_path(START_S + t, x, y, one_run(x), smooth=False)
    assert path.course_rad[1:-1] == pytest.approx(np.arctan2(0.008 * t, SPEED_MPS)[1:-1], abs=1e-6)


def test_noise_is_reduced_on_unevenly_spaced_records_too() -> None:
    rng = np.random.default_rng(3)
    t = np.cumsum(rng.uniform(0.1, 0.5, 1500))
    x, y = SPEED_MPS * t, np.zeros(1500)
    path = smooth_path(START_S + t, *noisy(x, y, 0.02, 1), one_run(x))
    assert path.jitter_m == pytest.approx(0.02, rel=0.1)
    assert path.y_m.std() < 0.33 * 0.02
    assert np.degrees(path.course_rad.std()) < 0.2


def test_windows_stop_at_a_cut() -> None:
    # Two runs at a right angle, end to end: a window across the cut would round the corner.
    leg = straight(400)
    s = np.arange(400) * 0.48
    x = np.concatenate([s, np.full(400, s[-1] + 1.0)])
    y = np.concatenate([np.zeros(400), s])
    time = np.concatenate([leg.time_s, leg.time_s + 81.0])
    run = np.repeat([0, 1], 400)
    path = smooth_path(time, *noisy(x, y, 0.02, 4), run)
    near = slice(390, 410)
    assert np.hypot(path.x_m - x, path.y_m - y)[near].max() < 3 * 0.02
    assert np.degrees(apart(path.course_rad[390:400], 0.0).max()) < 3.0
    assert np.degrees(apart(path.course_rad[400:410], math.pi / 2).max()) < 3.0


@pytest.mark.parametrize("count", [0, 1, 2, 3, 5])
def test_logs_of_a_few_records(count: int) -> None:
    drive = straight()
    x, y = noisy(drive.x_m[:count], drive.y_m[:count], 0.01, 0)
    path = smooth_path(drive.time_s[:count], x, y, one_run(x))
    assert len(path.course_rad) == count
    assert np.isfinite(path.course_rad).all()
    if count > 1:
        assert np.degrees(apart(path.course_rad, HEADING).max()) < 6.0
