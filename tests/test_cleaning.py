"""From logged records to usable fixes: what is dropped, what is cut and what stays."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobs import START_S, Drive, Floats, Turtle, straight_job
from put_down import operation, split

from evenacre.coverage.audit import audit_operation
from evenacre.coverage.clean import NEAR_FIELD_M, Fixes, clean
from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import Field, Settings, Track
from evenacre.model.finding import Finding

PLANE = WorkingPlane(-92.6, 40.1)
SPEED_MPS = 2.4


def log(time_s: Floats, x: Floats, y: Floats, **columns: object) -> Track:
    lon, lat = PLANE.lonlat(np.asarray(x, dtype=float) + 500.0, np.asarray(y, dtype=float) + 900.0)
    return Track("log.csv", np.asarray(time_s, dtype=float), lon, lat, **columns)  # type: ignore[arg-type]


def cleaned(*tracks: Track, **settings: object) -> Fixes:
    return clean(tracks, PLANE, Settings(**settings))  # type: ignore[arg-type]


def along(time_s: Floats) -> Track:
    """A straight drive at an even speed, recorded at the given times."""
    return log(time_s, SPEED_MPS * (np.asarray(time_s) - START_S), np.zeros(len(time_s)))


def test_records_are_put_in_order_of_time_and_the_disorder_counted() -> None:
    time = START_S + np.array([0.0, 0.2, 0.8, 0.4, 0.6, 1.0])
    fixes = cleaned(along(time))
    assert fixes.record.tolist() == [0, 1, 3, 4, 2, 5]
    assert fixes.counts["out of order"] == 1
    assert (np.diff(fixes.x_m) > 0).all()


def test_two_logs_are_merged_by_time() -> None:
    late, early = along(START_S + 10 + np.arange(5) / 5), along(START_S + np.arange(5) / 5)
    fixes = cleaned(late, early)
    assert fixes.track.tolist() == [1] * 5 + [0] * 5
    assert fixes.record.tolist() == [0, 1, 2, 3, 4] * 2
    assert fixes.run.tolist() == [0] * 5 + [1] * 5


def test_exact_repeats_are_dropped_once_each() -> None:
    time = START_S + np.repeat(np.arange(60) / 5, np.where(np.arange(60) % 12 == 5, 3, 1))
    fixes = cleaned(along(time))
    assert fixes.counts["exact repeats"] == 10
    assert fixes.counts["used"] == 60
    assert fixes.run.max() == 0


def test_a_repeated_time_at_another_place_is_dropped() -> None:
    time = START_S + np.arange(60) / 5
    track = along(time)
    extra = along(time[20:21] + 0.1)
    both = log(
        np.insert(time, 21, time[20]),
        np.insert(SPEED_MPS * (time - START_S), 21, 48.5),
        np.insert(np.zeros(60), 21, 0.0),
    )
    assert len(both) == len(track) + len(extra)
    fixes = cleaned(both)
    assert fixes.counts["same time, other place"] == 1
    assert 21 not in fixes.record.tolist()


def test_a_clock_of_whole_seconds_is_spread_over_its_records() -> None:
    true = START_S + np.arange(100) / 5
    track = along(true)
    fixes = cleaned(replace(track, time_s=np.floor(true)))
    assert fixes.time_s == pytest.approx(true, abs=1e-6)
    assert fixes.counts["used"] == 100
    assert fixes.findings == (Finding.note("coarse_clock"),)


@pytest.mark.parametrize("missing", [np.nan, np.inf], ids=["NaN", "infinite"])
@pytest.mark.parametrize("column", ["time_s", "lon", "lat"])
def test_records_without_a_position_or_a_time_are_dropped(column: str, missing: float) -> None:
    track = along(START_S + np.arange(50) / 5)
    values = getattr(track, column).copy()
    values[[7, 8, 30]] = missing
    fixes = cleaned(replace(track, **{column: values}))
    assert fixes.counts["without position or time"] == 3
    assert sorted(set(range(50)) - set(fixes.record.tolist())) == [7, 8, 30]


PATHS = {
    "straight": Turtle(0, 0, 0.3).forward(240.0),
    "curve": Turtle(0, 0, 0.3).arc(20.0, 5.5),
    "turn": Turtle(0, 0, 0.3).forward(40).arc(6, math.pi).forward(40).arc(6, -math.pi).forward(40),
    "tight turn": Turtle(0, 0, 0.3).forward(30).arc(3.1, math.pi).forward(30),
}


def jumped(drive: Drive, first: int, count: int, metres: float, toward_rad: float) -> Track:
    x, y = drive.x_m.copy(), drive.y_m.copy()
    x[first : first + count] += metres * math.cos(toward_rad)
    y[first : first + count] += metres * math.sin(toward_rad)
    return log(drive.time_s, x, y)


# Once a second a machine may by itself swing several metres off a straight continuation, so
# only jumps beyond that can be told from driving.
@pytest.mark.parametrize(
    ("hz", "metres"),
    [(5, 1.0), (5, 2.0), (5, 5.0), (5, 20.0), (1, 7.0), (1, 12.0), (1, 20.0)],
)
@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("path", PATHS)
def test_a_jump_that_comes_back_is_dropped_and_nothing_else(
    path: str, count: int, hz: int, metres: float
) -> None:
    drive = PATHS[path].sample(SPEED_MPS / hz, SPEED_MPS, 0.0)
    last = len(drive.x_m) - count - 3
    for k in range(12):
        first = round(3 + (last - 3) * k / 11)
        fixes = cleaned(jumped(drive, first, count, metres, 2.4 * k))
        dropped = set(range(len(drive.x_m))) - set(fixes.record.tolist())
        assert dropped == set(range(first, first + count)), k
        assert fixes.counts["position jumps"] == count
        assert fixes.counts["cuts at jumps"] == 0


@pytest.mark.parametrize("hz", [1, 5, 10])
@pytest.mark.parametrize("path", PATHS)
def test_plain_driving_loses_nothing(path: str, hz: int) -> None:
    drive = PATHS[path].sample(SPEED_MPS / hz, SPEED_MPS, 0.0)
    rng = np.random.default_rng(3)
    noise = rng.normal(0.0, 0.02, (2, len(drive.x_m)))
    fixes = cleaned(log(drive.time_s, drive.x_m + noise[0], drive.y_m + noise[1]))
    assert fixes.counts["used"] == len(drive.x_m)
    assert fixes.run.max() == 0


@pytest.mark.parametrize("hz", [1, 5])
def test_backing_up_is_driving(hz: int) -> None:
    # 2.4 m/s, a second and a half to a stop, and back the same way.
    t = np.arange(0, 40, 1 / hz)
    v = np.clip((20.0 - t) * 1.6, -SPEED_MPS, SPEED_MPS)
    fixes = cleaned(log(START_S + t, np.cumsum(v) / hz, 0 * t))
    assert fixes.counts["used"] == len(t)
    assert fixes.run.max() == 0


def test_a_shift_that_stays_cuts_the_path_and_drops_nothing() -> None:
    drive = PATHS["straight"].sample(phase=0.0)
    fixes = cleaned(jumped(drive, 200, len(drive.x_m), 3.0, 2.0))
    assert fixes.counts["used"] == len(drive.x_m)
    assert fixes.counts["cuts at jumps"] == 1
    assert np.flatnonzero(np.diff(fixes.run)).tolist() == [199]


def test_two_jumps_apart_are_two_jumps() -> None:
    drive = PATHS["turn"].sample(phase=0.0)
    x, y = drive.x_m.copy(), drive.y_m.copy()
    x[50:52] += 4.0
    y[60] -= 9.0
    fixes = cleaned(log(drive.time_s, x, y))
    assert sorted(set(range(len(x))) - set(fixes.record.tolist())) == [50, 51, 60]
    assert fixes.counts["cuts at jumps"] == 0


def silent(
    interval_s: float, silence_s: float, aside_m: float = 0.0, turn_rad: float = 0.0
) -> Track:
    """Twenty seconds and more of driving, a silence, and driving on, but for what is said."""
    before = np.arange(0, max(20, 8 * interval_s), interval_s)
    again = before[-1] + silence_s
    place = SPEED_MPS * (
        before[-1] + silence_s * np.cos(turn_rad / 2) * np.sinc(turn_rad / 2 / np.pi)
    )
    place = place + 1j * (
        aside_m + SPEED_MPS * silence_s * np.sinc(turn_rad / 2 / np.pi) * np.sin(turn_rad / 2)
    )
    way = np.concatenate([SPEED_MPS * before, place + SPEED_MPS * before * np.exp(1j * turn_rad)])
    return log(START_S + np.concatenate([before, again + before]), way.real, way.imag)


@pytest.mark.parametrize("interval_s", [0.2, 1.0, 3.0])
@pytest.mark.parametrize("turn_rad", [0.0, 0.5, -0.9])
def test_a_machine_that_drove_on_through_a_silence_is_followed(
    interval_s: float, turn_rad: float
) -> None:
    silence_s = max(5.0, 4.5 * interval_s)
    fixes = cleaned(silent(interval_s, silence_s, turn_rad=turn_rad))
    assert fixes.counts["cuts at gaps"] == 0
    assert fixes.run.max() == 0
    assert fixes.metres["used"] == pytest.approx(fixes.metres["read"])


@pytest.mark.parametrize(
    ("interval_s", "silence_s", "aside_m", "turn_rad"),
    [
        *((0.2, 2.1, 3.0, 0.0), (1.0, 5.0, 6.0, 0.0), (0.2, 2.1, 0.0, 2.5), (1.0, 5.0, 0.0, 2.0)),
        *((1.0, 60.0, 0.0, 0.0), (3.0, 16.0, 0.0, 0.0), (0.2, 7.0, 0.0, 0.0)),
    ],
)
def test_a_silence_after_which_the_drive_does_not_go_on_is_a_gap(
    interval_s: float, silence_s: float, aside_m: float, turn_rad: float
) -> None:
    track = silent(interval_s, silence_s, aside_m, turn_rad)
    fixes = cleaned(track)
    assert fixes.counts["cuts at gaps"] == 1
    assert fixes.counts["used"] == len(track)
    across = np.hypot(*np.diff([fixes.x_m, fixes.y_m])).max()
    assert fixes.metres["cuts at gaps"] == pytest.approx(across)
    kept = cleaned(track, max_gap_s=silence_s + 0.1)
    assert kept.counts["cuts at gaps"] == 0


@pytest.mark.parametrize(("silence_s", "cut"), [(1.9, False), (2.1, True)])
def test_a_stop_is_silent_after_two_seconds_of_a_5_hz_log(silence_s: float, cut: bool) -> None:
    track = silent(0.2, silence_s, aside_m=-1.0)
    place = SPEED_MPS * np.where(np.arange(len(track)) < 100, 0.2 * np.arange(len(track)), 20.2)
    place[100:] += SPEED_MPS * 0.2 * np.arange(100)
    fixes = cleaned(log(track.time_s, place, 0 * place))
    assert fixes.counts["cuts at gaps"] == int(cut)


def test_a_silence_longer_than_was_allowed_is_never_bridged() -> None:
    assert cleaned(silent(1.0, 5.0), max_gap_s=4.0).counts["cuts at gaps"] == 1


def test_a_move_faster_than_any_machine_is_a_jump() -> None:
    time = START_S + np.arange(60.0)
    road = log(time, 18.0 * np.arange(60), np.zeros(60))
    assert cleaned(road, max_speed_mps=25.0).run.max() == 0
    assert cleaned(road, max_speed_mps=12.0).run.max() > 0


def test_records_far_from_the_field_are_left_out() -> None:
    x = np.arange(0.0, 300.0, 0.48)
    track = log(START_S + np.arange(len(x)) / 5, x, np.zeros(len(x)))
    field = shapely.box(450.0, 880.0, 600.0, 920.0)
    fixes = clean([track], PLANE, Settings(), field)
    assert fixes.counts["away from the field"] == (x > 100.0 + NEAR_FIELD_M).sum()
    assert fixes.x_m.max() <= 600.0 + NEAR_FIELD_M


def test_what_was_left_out_is_warned_of() -> None:
    job = straight_job(60.0, (0.0,))
    drive = job.drives[0]
    road = Turtle(5000.0, 0.0).forward(48.0).sample()
    job = replace(job, drives=(drive, road.later(600.0)))
    result = audit_operation(operation(job))
    (told,) = (f for f in result.findings if f.code == "away_from_field")
    assert told.values["records"] == len(road.time_s)
    assert told.values["read"] == len(drive.time_s) + len(road.time_s)
    assert result.cleaning["away from the field"] == len(road.time_s)
    assert result.outside_area_m2 == pytest.approx(0.0, abs=0.01)


def test_every_record_is_used_or_counted_as_dropped() -> None:
    rng = np.random.default_rng(11)
    drive = PATHS["turn"].sample(phase=0.0)
    time, x, y = drive.time_s.copy(), drive.x_m.copy(), drive.y_m.copy()
    x[rng.choice(len(x), 20, replace=False)] += 15.0
    time[rng.choice(len(x), 5, replace=False)] = np.nan
    y[rng.choice(len(x), 5, replace=False)] = np.nan
    again = rng.choice(len(x), 30)
    order = rng.permutation(len(x) + 30)
    every = [np.concatenate([v, v[again]])[order] for v in (time, x, y)]
    counts = cleaned(log(*every)).counts
    dropped = (
        "without position or time",
        "exact repeats",
        "same time, other place",
        "position jumps",
    )
    assert counts["used"] + sum(counts[d] for d in dropped) == counts["read"] == len(x) + 30


def test_nothing_in_gives_nothing_out() -> None:
    assert len(cleaned(along(np.zeros(0))).time_s) == 0
    assert cleaned(along(np.array([START_S]))).counts["used"] == 1
    assert cleaned(along(np.array([START_S, START_S + 0.2]))).run.tolist() == [0, 0]


@pytest.mark.parametrize(("share", "told"), [(0.008, False), (0.013, True)])
def test_more_than_one_repeat_in_a_hundred_is_warned_of(share: float, told: bool) -> None:
    job = operation(straight_job(240.0, (0.0,)))
    (track,) = job.tracks
    again, _ = split(track, [round(share * len(track))])
    result = audit_operation(replace(job, tracks=(track, again)))
    found = [f for f in result.findings if f.code == "repeated_records"]
    assert bool(found) == told
    assert all(f.values["records"] == len(again) for f in found)


def test_a_record_that_covers_the_time_before_it_reaches_back() -> None:
    # Records of a second each, stated as such: the first speaks for the second before it.
    time = START_S + np.arange(10.0)
    track = replace(along(time), interval_s=np.ones(10), distance_m=np.full(10, SPEED_MPS))
    fixes = cleaned(track)
    assert fixes.time_s[0] == START_S - 1.0
    assert fixes.x_m[1] - fixes.x_m[0] == pytest.approx(SPEED_MPS, rel=1e-4)
    assert fixes.handover_s.tolist() == fixes.time_s[:-1].tolist()


def test_two_machines_at_once_are_followed_each_by_itself() -> None:
    """Where no two records in a row can belong to one drive, they belong to two."""
    job = operation(straight_job(240.0, (0.0,)))
    (track,) = (replace(t, working=np.ones(len(t), dtype=bool)) for t in job.tracks[:1])
    other = replace(track, lon=track.lon + 0.01, time_s=track.time_s + 0.05)
    alone = audit_operation(replace(job, tracks=(track,), field=Field("Creek Forty")))
    both = audit_operation(replace(job, tracks=(track, other), field=Field("Creek Forty")))
    assert "machines_told_apart" in [f.code for f in both.findings]
    assert both.swept_area_m2 == pytest.approx(2 * alone.swept_area_m2, rel=1e-6)


def on_change(drive: Drive) -> tuple[list[int], np.ndarray]:
    """Records of a log written on change: few along the way, two where the state changes."""
    changes = np.flatnonzero(np.diff(drive.working)) + 1
    kept = sorted({*range(0, len(drive.x_m), 20), *changes.tolist(), len(drive.x_m) - 1})
    rows = [row for k in kept for row in ([k, k] if k in changes else [k])]
    return rows, np.array([k in changes and rows[i - 1] != k for i, k in enumerate(rows)])


@pytest.mark.parametrize("later_s", [0.0, 0.003, 0.02])
def test_a_change_of_state_logged_at_a_place_happens_there(later_s: float) -> None:
    turtle = Turtle(0.0, 0.0, 0.0)
    for number in range(9):
        turtle.forward(41.0 + number, work=number % 2 == 1)
    drive = turtle.sample(0.5, SPEED_MPS, 0.0)
    rows, first_of_two = on_change(drive)
    # The first of two records at a place holds the state before, the second the one after.
    working = drive.working[np.array(rows) - first_of_two]
    second = np.insert(first_of_two[:-1], 0, False)
    track = log(
        drive.time_s[rows] + later_s * second, drive.x_m[rows], drive.y_m[rows], working=working
    )
    fixes = cleaned(track)
    assert fixes.counts["used"] == len(track)
    assert fixes.counts["exact repeats"] == fixes.counts["same time, other place"] == 0
    assert fixes.run.max() == 0
    assert (np.diff(fixes.x_m) > 0).all()
    job = operation(straight_job(240.0, (0.0,)))
    result = audit_operation(replace(job, tracks=(track,), field=Field("Creek Forty")))
    worked = drive.x_m[1:][drive.working[1:]].size * 0.5
    assert result.worked_distance_m == pytest.approx(worked, abs=0.1)
    assert result.pass_count == 4


def test_a_shuffled_log_of_whole_seconds_is_put_in_order_by_its_motion() -> None:
    drive = PATHS["turn"].sample(phase=0.0)
    order = np.random.default_rng(5).permutation(len(drive.x_m))
    track = log(np.floor(drive.time_s)[order], drive.x_m[order], drive.y_m[order])
    fixes = cleaned(track)
    assert [f.code for f in fixes.findings] == ["order_from_motion", "coarse_clock"]
    assert fixes.counts["used"] == len(drive.x_m)
    assert fixes.run.max() == 0
    assert order[fixes.record].tolist() == list(range(len(drive.x_m)))


def test_a_shuffled_log_is_the_same_as_one_in_order() -> None:
    drive = PATHS["turn"].sample(phase=0.0)
    order = np.random.default_rng(6).permutation(len(drive.x_m))
    fixes = cleaned(log(drive.time_s[order], drive.x_m[order], drive.y_m[order]))
    straight = cleaned(log(drive.time_s, drive.x_m, drive.y_m))
    np.testing.assert_array_equal(fixes.x_m, straight.x_m)
    assert order[fixes.record].tolist() == straight.record.tolist()


def test_the_way_between_records_is_used_or_told_by_cause() -> None:
    drive = PATHS["turn"].sample(phase=0.0)
    x, y = drive.x_m.copy(), drive.y_m.copy()
    x[60:62] += 9.0
    y[150:] += 30.0
    time = drive.time_s + np.where(np.arange(len(x)) > 200, 60.0, 0.0)
    field = shapely.box(400.0, 880.0, 600.0, 1000.0)
    away = Turtle(400.0, 0.0).forward(24.0).sample()
    track = log(
        np.concatenate([time, time[-1] + 30 + np.arange(len(away.x_m)) / 5]),
        np.concatenate([x, away.x_m]),
        np.concatenate([y, away.y_m]),
    )
    fixes = clean([track], PLANE, Settings(), field)
    metres = fixes.metres
    assert set(metres) <= set(fixes.counts)
    assert sum(metres[key] for key in metres if key != "read") == pytest.approx(metres["read"])
    for cause in ("position jumps", "cuts at jumps", "cuts at gaps", "away from the field"):
        assert metres[cause] > 0, cause
    steps = np.hypot(np.diff(fixes.x_m), np.diff(fixes.y_m))
    assert metres["used"] == pytest.approx(steps[np.diff(fixes.run) == 0].sum())


@pytest.mark.parametrize(("interval_s", "told"), [(5.0, False), (30.0, True)])
def test_a_sparse_log_gives_what_it_can_and_says_so(interval_s: float, told: bool) -> None:
    turtle = Turtle(0.0, 0.0, 0.0)
    for turn in (1.0, -1.0, 0.0):
        turtle.forward(600.0, work=True)
        if turn:
            turtle.arc(3.048, turn * math.pi)
    drive = turtle.sample(SPEED_MPS * interval_s, SPEED_MPS)
    track = log(drive.time_s, drive.x_m, drive.y_m, working=drive.working)
    job = operation(straight_job(240.0, (0.0,)))
    result = audit_operation(replace(job, tracks=(track,), field=Field("Creek Forty")))
    assert bool([f for f in result.findings if f.code == "sparse_records"]) == told
    # Half a step at each end of a pass may be off.
    assert result.worked_distance_m == pytest.approx(1800.0, abs=3 * SPEED_MPS * interval_s)
