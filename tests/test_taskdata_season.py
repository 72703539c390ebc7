"""A season from a zip of task data alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tasklogs as by_hand
from tasklogs import record, template, v4
from typer.testing import CliRunner

import evenacre as ev
from evenacre.cli.main import app
from evenacre.coverage.audit import audit_operation
from evenacre.errors import InputError
from evenacre.io.season.from_taskdata import season_from_taskdata
from evenacre.io.season.load import load_season
from evenacre.io.season.load_operation import load_operation

ACRE_M2 = 4046.8564224  # NIST SP 811, international foot
COLUMNS = [(141, "DET-2"), (161, "DET-2"), (7, "DET-3")]
M_PER_DEG_LAT = 111_036.6  # on the WGS 84 meridian at 40.1 degrees north
WIDTHS = (2000, 4000)


def drive() -> bytes:
    """Three passes north, the last with the right section off, at 5 Hz and 2.4 m/s."""
    made, second = [], 0.0
    for number, x in enumerate((0.001, 0.0015, 0.002)):
        for k in range(401):
            values = []
            if k == 0:
                values = [(0, 1), (1, 0b0001 if number == 2 else 0b0101), (2, 16_800)]
            elif k == 400:
                values = [(0, 0)]
            made.append(record(second, x, 0.0005 + k * 0.48 / M_PER_DEG_LAT, values))
            second += 0.2
        second += 30.0
    return b"".join(made)


def farm(path: Path, *, devices: bool = True, boundary: bool = True, tasks: int = 1) -> Path:
    jobs = [
        v4.Task(
            id=f"TSK{n}",
            designator="Spring",
            partfield_id_ref="PFD1",
            status=v4.TaskStatus("4"),
            time_logs=[v4.TimeLog(filename=f"TLG0000{n}", type=1)],
            product_allocations=[
                v4.ProductAllocation(product_id_ref="PDT1", device_element_id_ref="DET-3")
            ],
        )
        for n in range(1, tasks + 1)
    ]
    jobs.append(v4.Task(id="TSK9", designator="To come", status=v4.TaskStatus("1")))
    data = by_hand.root(
        v4,
        farms=[v4.Farm(id="FRM1", designator="Three Larks Farm")],
        devices=[by_hand.drill(v4, WIDTHS)] if devices else [],
        products=[v4.Product(id="PDT1", designator="18-46-0")],
        partfields=[
            v4.Partfield(
                id="PFD1",
                designator="Creek Forty",
                area=1,
                polygons=[by_hand.polygon(v4, by_hand.FIELD)] if boundary else [],
            )
        ],
        tasks=jobs,
    )
    logs = {f"TLG0000{n}": (template(COLUMNS), drive()) for n in range(1, tasks + 1)}
    return by_hand.write(path, data, logs)


def test_everything_comes_from_the_zip(tmp_path: Path) -> None:
    season = season_from_taskdata(farm(tmp_path / "farm.zip"))
    assert season.farm == "Three Larks Farm"
    (plan,) = season.operations
    assert (plan.field.name, plan.name, plan.layer) == ("Creek Forty", "Spring", "TSK1")
    assert plan.date == "2026-04-14"
    assert plan.implement.width_m == pytest.approx(6.0)
    (applied,) = plan.applications
    assert applied.product.analysis == {"N": 18.0, "P2O5": 46.0, "K2O": 0.0}
    assert [Path(file.path).name for file in season.inputs] == ["farm.zip"]
    assert any("To come" in warning for warning in season.warnings)


def test_the_audit_of_a_zip_is_the_ground_that_was_driven(tmp_path: Path) -> None:
    """Two passes of 6 m and one of its left 2 m, each 400 steps of 0.48 m less the half step."""
    (plan,) = season_from_taskdata(farm(tmp_path / "farm.zip")).operations
    result = audit_operation(load_operation(plan))
    length = 399.5 * 0.48
    expected = length * (6.0 + 6.0 + 2.0)
    assert result.covered_area_m2 == pytest.approx(expected, rel=2e-3)
    (product,) = result.products
    assert product.logged_kg == pytest.approx(expected * 0.0168, rel=2e-3)


def test_a_zip_alone_is_audited_at_the_command_line(tmp_path: Path) -> None:
    zipped = farm(tmp_path / "farm.zip")
    run = CliRunner().invoke(app, ["audit", str(zipped), "--json", "--jobs", "1"])
    assert run.exit_code == 0, run.output
    (told,) = json.loads(run.stdout)["operations"]
    assert (told["field"], told["operation"]) == ("Creek Forty", "Spring")
    assert told["covered_area_m2"] == pytest.approx(399.5 * 0.48 * 14.0, rel=2e-3)
    assert (tmp_path / "evenacre-out" / "report.html").is_file()


def test_the_command_line_asks_for_what_a_zip_lacks(tmp_path: Path) -> None:
    zipped = farm(tmp_path / "farm.zip", devices=False)
    run = CliRunner().invoke(app, ["audit", str(zipped)])
    assert run.exit_code == 2
    assert "--width" in run.stderr
    assert not (tmp_path / "evenacre-out").exists()


@pytest.mark.parametrize(
    ("options", "given", "asked"),
    [
        ({"devices": False}, {}, ["--width"]),
        ({"devices": False, "boundary": False}, {}, ["--width"]),
        ({}, {"width": "20 parsecs"}, ["--width"]),
        ({}, {"rate": ["150 lb/ac", "2 lb/ac"]}, ["--rate"]),
        ({}, {"tasks": ["TSK7"]}, ["TSK7"]),
    ],
)
def test_what_is_missing_or_wrong_is_asked_for_by_name(
    tmp_path: Path, options: dict[str, bool], given: dict[str, Any], asked: list[str]
) -> None:
    path = farm(tmp_path / "farm.zip", **options)
    with pytest.raises(InputError) as caught:
        season_from_taskdata(path, **given)
    for option in asked:
        assert option in str(caught.value)


def test_options_go_over_the_file(tmp_path: Path) -> None:
    path = farm(tmp_path / "farm.zip", devices=False)
    season = season_from_taskdata(
        path, width="20 ft", rows=32, rate=["150 lb/ac"], operation_name="Starter", units="metric"
    )
    (plan,) = season.operations
    assert season.units == "metric"
    assert plan.name == "Starter"
    assert plan.implement.width_m == pytest.approx(6.096)
    assert plan.implement.rows == 32
    assert plan.applications[0].target_kg_per_m2 == pytest.approx(150 * 0.45359237 / ACRE_M2)


def test_two_tasks_of_one_name_are_two_operations(tmp_path: Path) -> None:
    season = season_from_taskdata(farm(tmp_path / "farm.zip", tasks=2))
    assert [(plan.name, plan.layer) for plan in season.operations] == [
        ("Spring (TSK1)", "TSK1"),
        ("Spring (TSK2)", "TSK2"),
    ]
    first = load_operation(season.operations[0]).tracks
    assert [track.source.rpartition(", ")[2] for track in first] == ["TLG00001"]


def test_a_season_file_may_name_a_folder_and_a_task(tmp_path: Path) -> None:
    farm(tmp_path / "TASKDATA", tasks=2)
    (tmp_path / "season.toml").write_text(
        """
        [[implement]]
        name = "drill"
        width = "6 m"
        [[field]]
        name = "Creek Forty"
        [[operation]]
        name = "Spring"
        field = "Creek Forty"
        implement = "drill"
        tracks = [ { file = "TASKDATA", layer = "TSK2" } ]
        """
    )
    season = load_season(tmp_path / "season.toml")
    (track,) = load_operation(season.operations[0]).tracks
    assert track.source.endswith("TLG00002")
    assert np.isfinite(track.lon).all()
    assert {Path(file.path).name for file in season.inputs} >= {"TASKDATA.XML", "TLG00002.BIN"}


def test_a_zip_without_logs_says_so(tmp_path: Path) -> None:
    path = by_hand.write(tmp_path / "farm.zip", by_hand.root(v4))
    with pytest.raises(InputError, match="no task with a time log"):
        season_from_taskdata(path)


def test_task_data_is_checked_and_finished_as_it_is(tmp_path: Path) -> None:
    zipped = farm(tmp_path / "farm.zip")
    checked = CliRunner().invoke(app, ["check", str(zipped)])
    assert checked.exit_code == 0, checked.output
    assert "To come" in checked.stdout
    assert "all positions are RTK fixed" in checked.stdout
    lacking = CliRunner().invoke(app, ["check", str(farm(tmp_path / "bare.zip", devices=False))])
    assert lacking.exit_code == 2
    assert "--width" in lacking.stdout
    run = CliRunner().invoke(app, ["finish", str(zipped), "--left", "1 t", "--json"])
    assert run.exit_code == 0, run.output
    told = json.loads(run.stdout)
    assert (told["field"], told["product"]) == ("Creek Forty", "18-46-0")


def test_task_data_is_no_season_file(tmp_path: Path) -> None:
    zipped = str(farm(tmp_path / "farm.zip"))
    run = CliRunner().invoke(app, ["export", zipped, "--out", str(tmp_path / "plan.zip")])
    assert run.exit_code == 2
    assert "no season file" in run.stderr


def test_a_plan_without_logs_says_why_it_cannot_be_audited(tmp_path: Path) -> None:
    path = by_hand.write(
        tmp_path / "plan.zip",
        by_hand.root(
            v4, tasks=[v4.Task(id="TSK1", designator="To come", status=v4.TaskStatus("1"))]
        ),
    )
    with pytest.raises(InputError, match=r"\"To come\": there is no log of the work\. Export"):
        season_from_taskdata(path)


def test_a_call_takes_some_tasks_alone(tmp_path: Path) -> None:
    path = farm(tmp_path / "farm.zip", tasks=2)
    assert len(ev.audit(path, tasks="TSK2").operations) == 1
    assert len(ev.audit(path, tasks=["TSK1", "TSK2"]).operations) == 2
    with pytest.raises(InputError, match="TSK7"):
        ev.audit(path, tasks=["TSK7"])
    (tmp_path / "log.csv").write_text("lon,lat,time\n-93,40,1\n")
    with pytest.raises(InputError, match="tasks"):
        ev.audit(tmp_path / "log.csv", tasks="TSK1")
