"""What logs tell of a drill, held against drills that are known; more in benchmarks/measure.py."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hidden_settings import Rig, Simulated, Work, simulate
from simulated_jobs import Receiver
from simulated_jobs import simulate as simulate_receiver
from typer.testing import CliRunner

import evenacre as ev
from evenacre.cli.main import app
from evenacre.coverage.audit import audit_operation
from evenacre.coverage.legs import measure_operation
from evenacre.coverage.measure.settings import Evidence
from evenacre.io.season.load import load_season
from evenacre.io.season.load_operation import load_operation
from evenacre.model import Implement, TowedUnit
from evenacre.model.finding import Finding

MOUNTED = Rig(ahead_m=0.0, hitch_to_axle_m=0.0, tool_behind_m=0.0)
SMALL = Work(length_m=150.0, passes=12)
TOLD = {"antenna_ahead_m": 2.0, "tow": (TowedUnit(6.0),), "tool_behind_m": 1.0}


def measured(rig: Rig, work: Work, seed: int = 1, **told: object) -> tuple[Simulated, Evidence]:
    job = simulate(rig, work, seed, **told)
    return job, measure_operation(job.operation)


@pytest.mark.parametrize(
    ("rig", "work"),
    [
        (Rig(), SMALL),
        (Rig(left_m=0.25), replace(SMALL, slant=0.4)),
        (Rig(sections=6, left_m=-0.15), replace(SMALL, slant=-0.3, habit="overlap")),
        (Rig(hitch_to_axle_m=0.0, tool_behind_m=2.5), replace(SMALL, passes=16, speed_mps=1.8)),
        (Rig(), replace(SMALL, pattern="lands")),
        (Rig(), replace(SMALL, hz=1.0, passes=16, length_m=173.0)),
    ],
)
def test_the_tool_is_found_where_it_rides(rig: Rig, work: Work) -> None:
    _, evidence = measured(rig, work)
    behind, left, width = (evidence.of(name) for name in ("behind", "left", "width"))
    assert behind.used
    assert behind.value == pytest.approx(rig.behind_m, abs=0.5)
    assert width.value == pytest.approx(rig.width_m, abs=0.05)
    if rig.left_m:
        assert left.used
        assert left.value == pytest.approx(rig.left_m, abs=0.02)
    else:
        assert (left.value, left.used) == (None, False)


def test_passes_that_lie_scattered_are_not_said_to_be_even() -> None:
    job = simulate_receiver(3, Receiver(wander_m=1.5, white_m=0.03), length_m=150.0, passes=14)
    left = measure_operation(job.operation).of("left")
    assert left.why_not == "uneven"


def test_tool_and_delay_are_one_sum_at_one_speed() -> None:
    rig = Rig(lag_s=2.0)
    _, evidence = measured(rig, SMALL)
    behind, lag = evidence.of("behind"), evidence.of("lag")
    together = rig.behind_m - rig.lag_s * SMALL.speed_mps
    assert (behind.how, lag.value, lag.why_not) == ("together", None, "one_speed")
    assert behind.value == pytest.approx(together, abs=0.5)
    # What is told of one gives the other.
    _, evidence = measured(rig, SMALL, **TOLD)
    assert evidence.of("lag").value == pytest.approx(rig.lag_s, abs=0.3)
    assert evidence.of("behind").value is None
    _, evidence = measured(rig, SMALL, product_lag_s=2.0)
    assert evidence.of("behind").value == pytest.approx(rig.behind_m, abs=0.5)


def test_rate_steps_at_a_zones_edge_tell_where_work_never_stops() -> None:
    rig, work = Rig(lag_s=2.0), replace(SMALL, habit="never up", zone_m=83.0, slant=0.2)
    _, evidence = measured(rig, work, **TOLD)
    assert evidence.of("lag").value == pytest.approx(rig.lag_s, abs=0.3)
    _, evidence = measured(rig, work, product_lag_s=2.0)
    assert evidence.of("behind").how == "rate_steps"
    assert evidence.of("behind").value == pytest.approx(rig.behind_m, abs=0.5)
    _, evidence = measured(rig, replace(work, zone_m=None))
    assert (evidence.of("behind").value, evidence.of("lag").value) == (None, None)


def test_speeds_that_differ_part_tool_and_delay() -> None:
    rig = Rig(lag_s=3.0)
    _, evidence = measured(rig, Work(passes=26, speed_spread=0.35), seed=3)
    behind, lag = evidence.of("behind"), evidence.of("lag")
    assert (behind.how, lag.how) == ("speeds", "speeds")
    assert behind.value == pytest.approx(rig.behind_m, abs=0.5)
    assert lag.value == pytest.approx(rig.lag_s, abs=0.3)


@pytest.mark.parametrize(
    ("rig", "work", "silent"),
    [
        (Rig(left_m=0.2), replace(SMALL, pattern="one way"), ("behind", "left", "lag")),
        (Rig(left_m=0.2), replace(SMALL, passes=4, rounds=0), ("behind", "left", "lag")),
        (Rig(left_m=0.3), replace(SMALL, guided="antenna"), ("left",)),
        (MOUNTED, replace(SMALL, habit="late"), ("behind", "lag")),
        (MOUNTED, SMALL, ("behind", "left", "lag")),
    ],
)
def test_a_log_that_cannot_tell_is_said_to_be_one(
    rig: Rig, work: Work, silent: tuple[str, ...]
) -> None:
    for seed in (1, 2):
        _, evidence = measured(rig, work, seed)
        for name in silent:
            one = evidence.of(name)  # type: ignore[arg-type]
            assert (one.value, one.used) == (None, False)
            assert one.why_not


def test_right_figures_are_not_doubted_and_wrong_ones_are() -> None:
    for habit in ("line", "overlap", "late"):
        _, evidence = measured(Rig(), replace(SMALL, habit=habit), **TOLD, told=("left", "lag"))
        assert not any(m.disagrees or m.used for m in evidence.measured), habit
    _, evidence = measured(Rig(), SMALL, told=("behind", "lag"))
    behind = evidence.of("behind")
    assert behind.disagrees
    assert (behind.used, behind.told) == (False, 0.0)
    _, evidence = measured(replace(Rig(), width_m=9.144), SMALL)
    assert not evidence.of("width").disagrees


def test_a_width_half_or_twice_the_spacing_is_doubted() -> None:
    job = simulate(Rig(), SMALL, 1)
    for times in (0.5, 2.0):
        drill = replace(job.operation.implement, width_m=times * 9.144)
        evidence = measure_operation(replace(job.operation, implement=drill))
        assert evidence.of("width").disagrees
        assert evidence.of("width").value == pytest.approx(9.144, abs=0.05)


def test_spacing_is_told_where_no_width_is() -> None:
    job = simulate(Rig(width_m=12.192, left_m=0.3), SMALL, 1)
    drill = replace(job.operation.implement, width_m=1.0, width_known=False)
    evidence = measure_operation(replace(job.operation, implement=drill))
    assert evidence.of("width").value == pytest.approx(12.192, abs=0.05)
    assert evidence.of("width").told is None
    assert evidence.of("left").value == pytest.approx(0.3, abs=0.02)
    assert evidence.of("behind").value == pytest.approx(9.0, abs=0.5)


def test_an_audit_without_figures_comes_out_as_one_with_them() -> None:
    job = simulate(Rig(), Work(passes=12, length_m=180.0, rounds=0), 1)
    found = audit_operation(job.operation)
    drill = replace(job.operation.implement, **TOLD, told=("behind", "left", "lag"))
    told = audit_operation(replace(job.operation, implement=drill))
    without = audit_operation(
        replace(
            job.operation,
            implement=replace(job.operation.implement, told=("behind", "left", "lag")),
        )
    )
    assert without.skip_area_m2 > 8 * told.skip_area_m2
    assert found.covered_area_m2 == pytest.approx(told.covered_area_m2, abs=60.0)
    assert len(found.layers["skips"]) <= len(told.layers["skips"])
    assert "behind_found_with_delay" in {finding.code for finding in found.findings}
    assert "behind_unlike" in {finding.code for finding in without.findings}


def told_wrong(rig: Rig, **told: object) -> dict[str, Finding]:
    """What an audit says of a drill that is told so, by code."""
    job = simulate(rig, SMALL, 3, **told)
    return {finding.code: finding for finding in audit_operation(job.operation).findings}


def test_a_cart_that_is_left_out_or_counted_twice_is_told() -> None:
    cart = TowedUnit(4.5, 0.8)
    # It rides between, and is said to follow the drill.
    drill = {"antenna_ahead_m": 2.0, "tow": (TowedUnit(6.0),), "tool_behind_m": 1.0}
    said = told_wrong(Rig(hitch_to_axle_m=11.3), **drill, behind=(cart,))
    assert "behind_unlike" not in said
    values = said["unit_left_out"].values
    assert values["off_m"] == pytest.approx(5.3, abs=0.6)
    assert values["unit_m"] == pytest.approx(5.3)
    # It follows the drill, or stayed at home, and is in the tow.
    chain = drill | {"tow": (cart, TowedUnit(6.0))}
    values = told_wrong(Rig(), **chain, told=("lag",))["unit_counted_twice"].values
    assert (values["unit"], values["unit_m"]) == (1, pytest.approx(5.3))
    # Where nobody says the delay, one would do the same.
    said = told_wrong(Rig(), **chain)
    assert "delay_found_by_tool" in said
    assert said["delay_or_unit"].values["way_m"] == pytest.approx(5.3, abs=0.6)
    assert "delay_or_unit" not in told_wrong(Rig(lag_s=2.4), **drill)
    # A difference that is of no unit's length is only asked about.
    said = told_wrong(Rig(hitch_to_axle_m=15.0), **drill, behind=(cart,))
    assert "behind_unlike" in said
    assert not {"unit_left_out", "unit_counted_twice"} & said.keys()


def test_turning_or_moving_the_field_changes_nothing() -> None:
    there = [
        measured(Rig(left_m=0.2), replace(SMALL, turned_rad=angle), 5)[1] for angle in (0.0, 1.1)
    ]
    for name in ("behind", "left", "width"):
        a, b = (evidence.of(name).value for evidence in there)  # type: ignore[arg-type]
        assert a is not None
        assert b is not None
        assert np.isclose(a, b, atol=0.02), name


@pytest.mark.parametrize("job", ["paddock-interseeding", "orchard-cover"])
def test_the_sample_farms_drill_is_found_from_its_logs(sample_farm: Path, job: str) -> None:
    """Its antenna is laid out from the drill forward, by code of its own."""
    plans = load_season(sample_farm / "season.toml").operations
    plan = next(plan for plan in plans if plan.track_files[0].stem.startswith(job))
    operation = load_operation(plan)
    drill = operation.implement
    bare = Implement(drill.width_m, rows=drill.rows, rows_known=True)
    found = measure_operation(replace(operation, implement=bare)).of("behind")
    assert found.used
    assert found.speed_mps is not None
    together = drill.behind_m - found.speed_mps * drill.product_lag_s
    assert found.value == pytest.approx(together, abs=0.5)
    told = measure_operation(operation).of("behind")
    assert not told.disagrees
    assert told.value == pytest.approx(drill.behind_m, abs=0.5)


def test_the_command_tells_draws_and_accounts_for_it(tmp_path: Path) -> None:
    job = simulate(Rig(left_m=0.2), SMALL, 1)
    (track,) = job.operation.tracks
    stamps = pd.to_datetime(track.time_s, unit="s", utc=True).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    table = {"time": stamps, "lon": track.lon, "lat": track.lat, "work": track.working}
    pd.DataFrame(table).astype({"work": int}).to_csv(tmp_path / "log.csv", index=False)
    drawn = gpd.GeoDataFrame(geometry=[job.operation.field.boundary], crs="EPSG:4326")
    drawn.to_file(tmp_path / "field.geojson")
    out = tmp_path / "out"
    asked = ["measure", "--boundary", str(tmp_path / "field.geojson"), "--json"]
    asked += ["--tracks", str(tmp_path / "log.csv"), "--width", "9.144 m", "--out", str(out)]
    told = CliRunner().invoke(app, asked)
    assert told.exit_code == 0, told.output
    account = json.loads(told.stdout)
    assert json.loads((out / "measured.json").read_text())["operations"] == account["operations"]
    (operation,) = account["operations"]
    assert (out / operation["picture"]).read_bytes().startswith(b"\x89PNG")
    figures = {one["setting"]: one for one in operation["measured"]}
    assert figures["behind"]["value_m"] == pytest.approx(9.0, abs=0.5)
    assert figures["left"]["value_m"] == pytest.approx(0.2, abs=0.02)
    assert (figures["lag"]["value_s"], figures["lag"]["why_not"]) == (None, "one_speed")

    frames = ev.measure(
        tmp_path / "log.csv",
        boundary=tmp_path / "field.geojson",
        width=9.144,
        antenna_ahead="2 m",
        hitch_to_axle=6.0,
        tool_behind="1 m",
        axle_to_antenna=0.5,
        delay=0.0,
    )
    behind = frames.measured[0].of("behind")
    assert (behind.told, behind.used, behind.disagrees) == (9.0, False, False)
    rows = frames.figures.set_index(["subject", "name"])
    assert rows.loc[("measured left", "value"), "uncertainty"] > 0
