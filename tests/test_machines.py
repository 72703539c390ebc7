"""Several machines in one log, rebuilt from drives that are known, told apart by their motion."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from jobs import SPEED_MPS, Drive, Turtle

from evenacre.coverage.audit import audit_operation
from evenacre.coverage.machines import machines_of
from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.model import Field, Implement, Operation, Settings, Track
from evenacre.model.audit_result import AuditResult

PLANE = WorkingPlane(-93.5, 41.0)
WIDTH_M = 12.0


def passes(x: float, turn: float, interval_s: float, speed: float = SPEED_MPS) -> Drive:
    """Six passes north and south with half turns between them, the first at x."""
    turtle = Turtle(x, 0.0, np.pi / 2)
    for number in range(6):
        turtle.forward(300.0, work=True)
        if number < 5:
            turtle.arc(WIDTH_M / 2, turn)
            turn = -turn
    return turtle.sample(speed * interval_s, speed)


def track(drive: Drive) -> Track:
    lon, lat = PLANE.lonlat(drive.x_m, drive.y_m)
    return Track("log.csv", drive.time_s, lon, lat, working=drive.working)


def one_log(*tracks: Track, order: np.ndarray | None = None) -> Track:
    """Records of several machines in order of time, or in another one."""
    columns = {
        name: np.concatenate([getattr(t, name) for t in tracks])
        for name in ("time_s", "lon", "lat", "working")
    }
    order = np.argsort(columns["time_s"], kind="stable") if order is None else order
    return Track("log.csv", **{name: values[order] for name, values in columns.items()})


def audited(*tracks: Track) -> AuditResult:
    drill = Implement(width_m=WIDTH_M)
    return audit_operation(Operation("spring", Field("Creek Forty"), drill, tracks))


def records(track: Track) -> set[tuple[float, float]]:
    return set(zip(track.time_s.tolist(), track.lon.tolist(), strict=True))


@pytest.mark.parametrize(
    ("interval_s", "later_s", "x", "turn", "speed"),
    [
        (1.0, 0.0, 150.0, -np.pi, 2.0),
        (1.0, 0.4, 150.0, -np.pi, 2.0),
        (1.0, 8.0, 72.0, -np.pi, SPEED_MPS),
        (3.0, 9.3, 72.0, -np.pi, SPEED_MPS),
        (5.0, 2.0, 180.0, np.pi, SPEED_MPS),
        (0.2, 0.05, 132.0, np.pi, SPEED_MPS),
    ],
)
def test_records_go_to_the_machine_whose_motion_they_continue(
    interval_s: float, later_s: float, x: float, turn: float, speed: float
) -> None:
    one = track(passes(0.0, -np.pi, interval_s))
    other = track(passes(x, turn, interval_s, speed).later(later_s))
    log = one_log(one, other)
    machines, findings = machines_of([log], Settings())
    assert [records(own) for (own,) in machines] == [records(one), records(other)]
    assert [f.code for f in findings] == ["machines_told_apart"]

    result = audited(log)
    alone = [audited(t) for t in (one, other)]
    assert result.covered_area_m2 == pytest.approx(sum(r.covered_area_m2 for r in alone), rel=1e-3)
    assert result.pass_count == sum(r.pass_count for r in alone)
    assert result.field_time_s == pytest.approx(sum(r.field_time_s for r in alone), rel=1e-6)
    assert len(result.layers["skips"]) == sum(len(r.layers["skips"]) for r in alone)
    assert result.totals is not None
    assert result.totals.swept_m2[-1] == pytest.approx(
        sum(r.totals.swept_m2[-1] for r in alone if r.totals), rel=1e-6
    )
    assert (np.diff(result.totals.time_s) > 0).all()
    assert result.start_s == min(r.start_s for r in alone)
    assert result.end_s == max(r.end_s for r in alone)


def test_the_order_of_records_does_not_matter() -> None:
    one, other = track(passes(0.0, -np.pi, 1.0)), track(passes(132.0, np.pi, 1.0).later(0.4))
    order = np.random.default_rng(1).permutation(len(one) + len(other))
    machines, _ = machines_of([one_log(one, other, order=order)], Settings())
    assert [records(own) for (own,) in machines] == [records(one), records(other)]


def test_a_machine_of_which_only_some_records_are_left_is_told_apart() -> None:
    one, other = track(passes(0.0, -np.pi, 1.0)), track(passes(150.0, -np.pi, 1.0))
    other = other.part(np.random.default_rng(0).random(len(other)) < 0.3)
    machines, _ = machines_of([one_log(one, other)], Settings())
    assert [records(own) for (own,) in machines] == [records(one), records(other)]


def test_a_receiver_that_jumps_away_and_back_is_one_machine() -> None:
    rng = np.random.default_rng(2)
    one = track(passes(0.0, -np.pi, 1.0))
    lon = one.lon.copy()
    for at in rng.choice(len(lon) - 5, 30, replace=False):
        lon[at : at + rng.integers(1, 4)] += rng.uniform(-1, 1) * 0.002
    machines, findings = machines_of([dataclasses.replace(one, lon=lon)], Settings())
    assert len(machines) == 1
    assert not findings


def test_machines_that_the_log_names_are_followed_by_themselves(tmp_path: Path) -> None:
    one, other = track(passes(0.0, -np.pi, 1.0)), track(passes(72.0, -np.pi, 1.0).later(3.0))
    both = one_log(one, other)
    frame = pd.DataFrame(
        {
            "time (s)": both.time_s - one.time_s[0],
            "lon": both.lon,
            "lat": both.lat,
            "work": both.working,
            "machine": np.where(np.isin(both.lon, one.lon), "red", "blue"),
        }
    )
    frame.to_csv(tmp_path / "log.csv", index=False)
    result = audited(*read_tracks(tmp_path / "log.csv"))
    alone = [audited(t) for t in (one, other)]
    assert result.covered_area_m2 == pytest.approx(sum(r.covered_area_m2 for r in alone), rel=1e-3)
    assert result.pass_count == 12


def test_two_machines_on_a_clock_of_whole_seconds_are_not_one_with_a_coarse_clock(
    tmp_path: Path,
) -> None:
    one, other = track(passes(0.0, -np.pi, 1.0)), track(passes(132.0, np.pi, 1.0))
    both = one_log(one, other)
    frame = pd.DataFrame({"lon": both.lon, "lat": both.lat, "work": both.working})
    frame["time"] = np.floor(both.time_s).astype(int)
    frame.to_csv(tmp_path / "log.csv", index=False)
    (log,) = read_tracks(tmp_path / "log.csv")
    machines, _ = machines_of([log], Settings())
    assert sorted(len(own) for (own,) in machines) == sorted([len(one), len(other)])
    assert not any("share" in note for note in log.notes)


REAL = Path(__file__).resolve().parents[2] / "shared" / "data" / "real" / "two_combines.zip"


@pytest.mark.skipif(not REAL.exists(), reason="the real log is not on this machine")
def test_a_real_log_of_two_machines() -> None:
    """Days since 1899-12-30 of 0.9 s each; widths and distances in inches."""
    log = pd.DataFrame(gpd.read_file(f"zip://{REAL}").drop(columns="geometry"))
    inch = 0.0254
    width_m, distance_m = log["swth_w_"] * inch, log["dist_in"] * inch
    told = Track(
        "log.shp",
        ((log["gps_tim"] - 25569) * 86400).to_numpy(),
        log["lon"].to_numpy(copy=True),
        log["lat"].to_numpy(copy=True),
        width_m=width_m.to_numpy(),
        distance_m=distance_m.to_numpy(),
    )
    drill = Implement(width_m=480 * inch)
    result = audit_operation(Operation("harvest", Field("West"), drill, (told,)))
    (found,) = (f for f in result.findings if f.code.startswith("machines_"))
    assert found.values["machines"] == 2
    # By the machines' own sensors, which count every record once; some were lost.
    swept = (width_m * distance_m).sum()
    assert result.totals is not None
    assert result.totals.swept_m2[-1] == pytest.approx(swept, rel=0.03)
    # What is left between the passes of the two is 1 % of the ground; told as one it is half.
    assert result.skip_area_m2 < 0.015 * result.covered_area_m2
