"""The sample farm: same bytes every time, a truth that adds up, logs that hold together."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyogrio
import pyproj
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from evenacre.io.season.load import load_season
from evenacre.planning.interseeding.grazing import plan_grazing
from evenacre.sample_fields import spans
from evenacre.sample_fields.chain import Rig, antenna, tool_line
from evenacre.sample_fields.clock import schedule
from evenacre.sample_fields.drive import plan
from evenacre.sample_fields.farm import CROP_FIELDS, JOBS, KILN, ORCHARD
from evenacre.sample_fields.faults import Blocked, Offset, Patch
from evenacre.sample_fields.logbook import TOWERS, WIDTH_M
from evenacre.sample_fields.passes import pass_order
from evenacre.sample_fields.paths import Pose, connect
from evenacre.sample_fields.plots import Plot
from evenacre.sample_fields.truth import ground

POUNDS_PER_KG = 1 / 0.45359237  # NIST SP 811


@pytest.fixture(scope="module")
def farm(sample_farm: Path) -> Path:
    return sample_farm


@pytest.fixture(scope="module")
def truth(farm: Path) -> list[dict[str, Any]]:
    operations: list[dict[str, Any]] = json.loads((farm / "truth.json").read_text())["operations"]
    return operations


def test_one_seed_gives_the_same_bytes_in_another_process(farm: Path, tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-m", "evenacre.sample_fields.three_larks", str(tmp_path / "again")],
        check=True,
        cwd=Path(__file__).parents[1],
    )
    assert _digests(farm) == _digests(tmp_path / "again")


def _digests(directory: Path) -> dict[str, str]:
    files = sorted(p for p in directory.rglob("*") if p.is_file())
    assert len(files) > 15
    return {
        str(p.relative_to(directory)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files
    }


def test_truth_does_not_lean_on_the_engine() -> None:
    modules = list(Path(spans.__file__).parent.glob("*.py"))
    assert len(modules) > 15
    for module in modules:
        engine = r"^\s*(from|import) evenacre(?!\.sample_fields\b)"
        assert not re.search(engine, module.read_text(), re.M), module


def test_areas_of_the_truth_add_up(truth: list[dict[str, Any]]) -> None:
    assert len(truth) == 7
    for job in truth:
        workable = job["workable_area_m2"]
        assert job["covered_area_m2"] + job["skip_area_m2"] == pytest.approx(workable, abs=0.02)
        laid = job["covered_area_m2"] + job["excess_area_m2"]
        outside = job["swept_area_m2"] - laid
        assert outside >= job["outside_area_m2"] - 0.02
        assert job["excess_area_m2"] >= job["overlap_area_m2"] - 0.02
        listed = sum(skip["area_m2"] for skip in job["skips"])
        assert 0.99 * job["skip_area_m2"] < listed < job["skip_area_m2"] + 0.02
        for product in job["products"]:
            assert sum(z["area_m2"] for z in product["zones"]) == pytest.approx(workable, abs=0.1)
            parts = product["applied_in_field_kg"] + product["outside_kg"]
            assert parts == pytest.approx(product["logged_kg"], abs=1e-3)
            zones = sum(z["applied_kg"] for z in product["zones"])
            assert zones == pytest.approx(product["applied_in_field_kg"], abs=3e-4)
            assert product["logged_lb"] == pytest.approx(
                product["logged_kg"] * POUNDS_PER_KG, rel=1e-5
            )


def test_every_kind_of_skip_is_planted(truth: list[dict[str, Any]]) -> None:
    kinds = {skip["kind"] for job in truth for skip in job["skips"] if skip["area_m2"] >= 5}
    assert kinds == {"between passes", "blocked rows", "turn", "edge", "unworked", "no log"}


def test_planted_areas_follow_from_the_plan(truth: list[dict[str, Any]]) -> None:
    """Strip = offset x pass length; patch = length x two drills; blocked = tower x distance."""
    spring, autumn = truth[0], truth[4]
    between = _skip(spring, "between passes")
    assert between == pytest.approx(0.6 * (410 - 4 * WIDTH_M), rel=2e-4)
    assert _skip(spring, "turn") == pytest.approx(4.0 * WIDTH_M, rel=2e-4)
    assert _skip(autumn, "unworked") == pytest.approx(45.0 * 2 * WIDTH_M, rel=2e-4)
    # 90 s of one tower at 2.2 m/s, give or take the slow variation of speed (3 %).
    assert _skip(spring, "blocked rows") == pytest.approx(90 * 2.2 * WIDTH_M / 4, rel=0.03)
    assert _skip(autumn, "no log") == pytest.approx(60.2 * 2.2 * WIDTH_M, rel=0.03)


def _skip(job: dict[str, Any], kind: str) -> float:
    (area,) = [skip["area_m2"] for skip in job["skips"] if skip["kind"] == kind]
    return float(area)


def test_amounts_follow_from_rate_and_ground(truth: list[dict[str, Any]]) -> None:
    targets = {(j.plot.name, j.name): j.rates_lb_ac for j in JOBS}
    for job in truth:
        for product in job["products"]:
            target = targets[job["field"], job["operation"]][product["product"]]
            rate = product["logged_lb"] / (job["swept_area_m2"] / 4046.8564224)
            # The planted variation of the rate averages out over hours.
            assert rate == pytest.approx(target, rel=2e-3)


@pytest.mark.parametrize("number", range(len(JOBS)))
def test_a_drill_towed_by_the_antenna_runs_the_planned_line(number: int) -> None:
    """Euler steps of 5 mm down the chain, apart from the exact steps that made the antenna."""
    job, rig = JOBS[number], Rig()
    drive = plan(job.plot, job.faults, rig, by_tower=job.by_tower, spacing_m=job.spacing_m)
    path = drive.path
    upto = int(np.searchsorted(path.s, 2600.0))
    ant_x, ant_y = (a[:upto] for a in antenna(path, rig))
    want_x, want_y = (a[:upto] for a in tool_line(path, rig))
    got_x, got_y = _towed(ant_x, ant_y, path.heading[0], rig)
    miss = np.hypot(got_x - want_x, got_y - want_y)
    working = np.any([spans.contains(on, path.s[:upto]) for on in drive.on], axis=0)
    settled = path.s[:upto] > 30.0
    assert (working & settled).sum() > 10000
    assert miss[working & settled].max() < 0.01


def _towed(x: np.ndarray, y: np.ndarray, heading: float, rig: Rig) -> tuple[np.ndarray, np.ndarray]:
    """Tractor then drill, both by Euler's step: a body turns as its pulled end moves aside."""
    fine = 20
    at = np.arange(len(x))
    grid = np.linspace(0, len(x) - 1, (len(x) - 1) * fine + 1)
    xs, ys = np.interp(grid, at, x).tolist(), np.interp(grid, at, y).tolist()
    ahead = rig.antenna_ahead_of_axle_m
    to_pin = ahead + rig.pin_behind_axle_m
    tractor = drill = float(heading)
    out_x, out_y = np.empty(len(x)), np.empty(len(y))
    pin_x = xs[0] - to_pin * np.cos(tractor)
    pin_y = ys[0] - to_pin * np.sin(tractor)
    cos, sin = math.cos, math.sin
    for i in range(len(xs)):
        if i:
            move_x, move_y = xs[i] - xs[i - 1], ys[i] - ys[i - 1]
            tractor += (move_y * cos(tractor) - move_x * sin(tractor)) / ahead
        new_x, new_y = xs[i] - to_pin * cos(tractor), ys[i] - to_pin * sin(tractor)
        side = (new_y - pin_y) * cos(drill) - (new_x - pin_x) * sin(drill)
        drill += side / rig.hitch_to_axle_m
        pin_x, pin_y = new_x, new_y
        if i % fine == 0:
            back = rig.hitch_to_axle_m + rig.tool_behind_m
            out_x[i // fine] = pin_x - back * cos(drill)
            out_y[i // fine] = pin_y - back * sin(drill)
    return out_x, out_y


def test_turns_join_poses_without_a_jump() -> None:
    rng = np.random.default_rng(3)
    for _ in range(60):
        start = Pose(0.0, 0.0, float(rng.uniform(-3, 3)))
        end = Pose(*rng.uniform(25, 60, 2).tolist(), float(rng.uniform(-9, 9)))
        path = connect(start, end)
        assert np.hypot(path.end.x - end.x, path.end.y - end.y) < 1e-9
        assert np.cos(path.end.heading - end.heading) == pytest.approx(1.0, abs=1e-9)
        steps = np.hypot(np.diff(path.x), np.diff(path.y))
        np.testing.assert_allclose(steps, np.diff(path.s), rtol=1e-4)
        bearing = np.arctan2(np.diff(path.y), np.diff(path.x))
        middle = (path.heading[1:] + path.heading[:-1]) / 2
        assert np.cos(bearing - middle).min() > 1 - 1e-6
        assert np.abs(np.diff(path.curvature)).max() < 0.01


def test_every_pass_is_driven_once_and_no_turn_is_tight() -> None:
    for count in range(8, 70):
        order = pass_order(count)
        assert sorted(order) == list(range(count))
        assert np.abs(np.diff(order)).min() >= 3


def test_covered_and_twice_covered_ground_agree_with_a_fine_raster() -> None:
    """A quarter-metre raster of tower quadrilaterals counted cell by cell."""
    job = JOBS[2]
    rig, rng = Rig(), np.random.default_rng(1)
    drive = plan(KILN, job.faults, rig, by_tower=False, spacing_m=job.spacing_m)
    laid = ground(KILN, schedule(drive, job.faults, rng), rig, ())
    cell = 0.25
    min_x, min_y, max_x, max_y = KILN.boundary.bounds
    x, y = np.meshgrid(np.arange(min_x, max_x, cell), np.arange(min_y, max_y, cell))
    x, y = x.ravel() + 0.0371, y.ravel() + 0.0513
    inside = shapely.contains_xy(KILN.workable, x, y)
    points = shapely.points(x[inside], y[inside])
    step, point = shapely.STRtree(points).query(laid.steps, predicate="contains")
    assert len(step)
    count = np.bincount(point, minlength=len(points))
    workable = KILN.workable.area
    covered = laid.covered.intersection(KILN.workable).area
    assert np.mean(count > 0) == pytest.approx(covered / workable, abs=2e-4)
    assert np.mean(count > 1) == pytest.approx(laid.overlap.area / workable, abs=4e-4)


def test_ground_inside_the_setback_is_a_segment_of_a_circle(truth: list[dict[str, Any]]) -> None:
    """The well stands 8 m outside a straight side: r^2 acos(d / r) - d sqrt(r^2 - d^2)."""
    radius, away = 30.48, 8.0
    segment = radius**2 * math.acos(away / radius) - away * math.sqrt(radius**2 - away**2)
    assert truth[1]["setback_covered_m2"] == pytest.approx(segment, rel=3e-4)


def test_maps_open_and_have_the_areas_of_the_truth(farm: Path, truth: list[dict[str, Any]]) -> None:
    layers = {name for name, _ in pyogrio.list_layers(farm / "fields.gpkg")}
    assert layers == {"boundaries", "unworkable", "paddocks", "pasture"}
    areas = {job["field"]: job["boundary_area_m2"] for job in truth}
    for layer in ("boundaries", "paddocks"):
        frame = pyogrio.read_dataframe(farm / "fields.gpkg", layer=layer)
        assert frame.crs.to_epsg() == 4326
        assert frame.geometry.is_valid.all()
        for name, shape in zip(frame["name"], frame.geometry, strict=True):
            if name in areas:
                assert _geodesic_m2(shape) == pytest.approx(areas[name], rel=1e-6)
    paddocks = pyogrio.read_dataframe(farm / "fields.gpkg", layer="paddocks")
    total = sum(_geodesic_m2(shape) for shape in paddocks.geometry)
    assert total / 4046.8564224 == pytest.approx(48.0, rel=1e-3)
    zones = [pyogrio.read_dataframe(p) for p in sorted((farm / "zones").glob("*.geojson"))]
    assert sorted(len(frame) for frame in zones) == [2, 2, 3, 3]
    assert len(pyogrio.read_dataframe(farm / "wells.geojson")) == 1


def _geodesic_m2(shape: Any) -> float:
    polygon = Geodesic.WGS84.Polygon()
    for lon, lat in shape.exterior.coords[:-1]:
        polygon.AddPoint(lat, lon)
    return abs(float(polygon.Compute()[2]))


def test_season_names_files_that_exist_and_columns_they_have(farm: Path) -> None:
    season = tomllib.loads((farm / "season.toml").read_text())
    assert len(season["operation"]) == 7
    assert {len(season["field"]), len(CROP_FIELDS) + 1} == {4}
    for job in season["operation"]:
        for track in job["tracks"]:
            header = set(pd.read_csv(farm / track, nrows=1).columns)
            assert header >= set(job["columns"].values())
        if "blockages" in job:
            assert list(pd.read_csv(farm / job["blockages"])) == ["start", "end", "tower"]


def test_the_logged_interseeding_falls_into_the_window_behind_the_herd(farm: Path) -> None:
    """Days = forage x 8 ac x 50 % over 40 head x 1,200 lb x 2.6 %, paddock after paddock."""
    season = tomllib.loads((farm / "season.toml").read_text())
    growth, start = 20.0, season["grazing"]["start"]
    enter, left = start, {}
    for paddock in season["paddock"]:
        standing = float(paddock["forage"].removesuffix(" lb/ac"))
        standing += growth * (enter - start).days
        enter += dt.timedelta(days=math.floor(standing * 8.0 * 0.5 / (40 * 1200 * 0.026)))
        left[paddock["name"]] = enter
    assert season["grazing"]["growth"] == f"{growth:g} lb/ac/day"
    (done,) = [job for job in season["operation"] if job["name"] == "Interseeding"]
    opens = left[done["field"]] + dt.timedelta(days=1)
    assert opens <= done["date"] <= opens + dt.timedelta(days=13)
    read = load_season(farm / "season.toml", logs=False, must_hold="seeding")
    assert read.grazing is not None
    assert read.seeding is not None
    assert read.warnings == ()
    assert {s.stay.paddock: s.stay.leave for s in plan_grazing(read.grazing).stays} == left
    # The seed is short of what all 48 acres take at the least rate, and enough for most.
    assert 40 * 9 < read.seeding.on_hand_kg * POUNDS_PER_KG < 48 * 9
    # The label keeps the herd out for longer than seedlings need, so the plan has to say so.
    assert read.seeding.withholding_days > read.seeding.rest_days


def test_tickets_read_in_steps_of_their_scale_and_empty_the_cart(
    farm: Path, truth: list[dict[str, Any]]
) -> None:
    tickets = pd.read_csv(farm / "loads.csv", parse_dates=["time"])
    assert tickets["time"].is_monotonic_increasing
    step = tickets["weighed by"].str.extract(r"(\d+) lb$")[0].astype(int)
    assert set(step) == {10, 20}
    assert (tickets["weight (lb)"] % step == 0).all()
    sign = tickets["event"].map({"filled": 1, "remaining": 0, "cleaned out": -1})
    used = (tickets["weight (lb)"] * sign).groupby([tickets["field"], tickets["product"]]).sum()
    jobs = [job for job in truth if job["loads"]]
    assert len(used) == sum(len(job["loads"]) for job in jobs) == 4
    for job in jobs:
        for product in job["loads"]:
            # Two fillings read full and empty and one weight at the end, each within 10 lb.
            assert used[job["field"], product["product"]] == pytest.approx(
                sum(product["used_kg"]) * POUNDS_PER_KG, abs=50
            )


def test_logs_have_the_faults_of_a_receiver(farm: Path) -> None:
    steady = _read(farm / "logs/orchard-fertilizer.csv")
    seconds = steady["UTC time"].diff().dt.total_seconds().dropna()
    assert seconds.between(0.199, 0.201).all()
    assert steady.loc[steady["Work state"] == 0, "18-46-0 (lb/ac)"].isna().all()
    assert steady.loc[steady["Work state"] == 1, "18-46-0 (lb/ac)"].between(105, 115).all()
    lost = _read(farm / "logs/orchard-cover.csv")
    assert lost["UTC time"].diff().dt.total_seconds().max() == pytest.approx(60.2)
    first, second = (_read(farm / f"logs/branch-fertilizer-{n}.csv") for n in (1, 2))
    repeated = first.tail(4).reset_index(drop=True)
    pd.testing.assert_frame_equal(repeated, second.head(4))


def _read(path: Path) -> pd.DataFrame:
    return pd.read_csv(path, parse_dates=["UTC time"])


def test_receiver_error_is_centimetres_with_a_few_jumps_of_metres(farm: Path) -> None:
    log = _read(farm / "logs/orchard-fertilizer.csv")
    job, rig = JOBS[0], Rig()
    drive = plan(ORCHARD, job.faults, rig, by_tower=job.by_tower)
    timed = schedule(drive, job.faults, np.random.default_rng([7, 0]))
    time_s = (log["UTC time"] - log["UTC time"].iloc[0]).dt.total_seconds().to_numpy()
    true_x, true_y = (np.interp(time_s, timed.time_s, a) for a in antenna(drive.path, rig))
    lon, lat = ORCHARD.to_lonlat(true_x, true_y)
    miss = pyproj.Geod(ellps="WGS84").inv(log["Longitude"], log["Latitude"], lon, lat)[2]
    jumped = miss > 1.0
    assert 5 <= jumped.sum() <= 15
    assert miss[jumped].min() > 4.5
    assert miss[~jumped].max() < 0.08
    assert 0.012 < np.sqrt(np.mean(miss[~jumped] ** 2) / 2) < 0.016


def test_the_meter_leads_the_ground_by_the_delay(farm: Path) -> None:
    """The log says 'on' 1.5 s before the openers reach the start of the first round."""
    log = _read(farm / "logs/orchard-fertilizer.csv")
    job = JOBS[0]
    drive = plan(ORCHARD, job.faults, Rig(), by_tower=job.by_tower)
    timed = schedule(drive, job.faults, np.random.default_rng([7, 0]))
    time_s = (log["UTC time"] - log["UTC time"].iloc[0]).dt.total_seconds().to_numpy()
    for tower in range(TOWERS):
        state = log[f"Tower {tower + 1}"].to_numpy(dtype=bool)
        on_at = time_s[1:][state[1:] & ~state[:-1]]
        starts = timed.when(drive.on[tower][:, 0])
        np.testing.assert_allclose(on_at, starts - 1.5, atol=0.2)


def test_an_unexplained_skip_stops_the_generator() -> None:
    """A gap whose fault is not declared must not slip into the truth unnamed."""
    plot = Plot(
        "Square",
        "square",
        -93.0,
        40.0,
        0.0,
        ((0.0, 0.0), (120.0, 0.0), (120.0, 110.0), (0.0, 110.0)),
        (15.0,) * 4,
    )
    rig, rng = Rig(), np.random.default_rng(1)
    clean = plan(plot, (), rig, by_tower=True)
    assert ground(plot, schedule(clean, (), rng), rig, ()).skips == []
    faulty = plan(
        plot, (Patch((5,), 40.0, 60.0, "wet hole"), Offset(9, 0.5, "offset")), rig, by_tower=True
    )
    laid = ground(plot, schedule(faulty, (Blocked(3, 2, 10.0, 20.0),), rng), rig, ())
    assert {skip.kind for skip in laid.skips} == {"unworked", "between passes", "blocked rows"}
    faulty.hints.clear()
    with pytest.raises(ValueError, match="no fault explains"):
        ground(plot, schedule(faulty, (), rng), rig, ())
