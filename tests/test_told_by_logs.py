"""What a log knows is not asked for again: width, field, product."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from cli_jobs import Files, evenacre, summary_of, write_files, write_log

from evenacre.errors import InputError
from evenacre.io.season.from_options import season_from_options
from evenacre.io.season.load_operation import load_operation
from evenacre.model import Operation

WIDTH_M = 6.096


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return write_files(tmp_path)


def operation(files: Files, records: pd.DataFrame, **options: object) -> Operation:
    write_log(files.log, records)
    season = season_from_options(tracks=[files.log], **options)
    return load_operation(season.operations[0])


def test_a_logged_width_serves_as_that_of_the_tool(files: Files) -> None:
    """The largest that is held: neither a single outlier nor sections that were off."""
    feet = np.full(len(files.records), 20.0)
    feet[::3], feet[7] = 10.0, 35.0
    found = operation(files, files.records.assign(**{"swath (ft)": feet}))
    assert found.implement.width_m == pytest.approx(WIDTH_M, abs=0.005)
    assert found.implement.rows == round(found.implement.width_m / 0.3)
    share = 100 * (feet == 20).mean()
    assert any(f"20.0 ft (6.10 m), in {share:.0f} %" in text for text in found.notes), found.notes


def test_the_width_that_is_given_goes_before(files: Files) -> None:
    records = files.records.assign(**{"swath (ft)": 20.0})
    assert operation(files, records, width="12 m").implement.width_m == 12.0
    assert operation(files, records, rows=8).implement.rows == 8


def test_no_width_anywhere(files: Files) -> None:
    with pytest.raises(InputError) as caught:
        operation(files, files.records)
    (problem,) = caught.value.problems
    assert problem.file == "log.csv"
    assert "working width is missing" in problem.what
    assert "--width" in problem.remedy


def test_a_column_that_may_tell_the_width_is_named_where_it_is_missing(files: Files) -> None:
    with pytest.raises(InputError) as caught:
        operation(files, files.records.iloc[::30].assign(SWATHWIDTH=40.0))
    (problem,) = caught.value.problems
    assert "--column 'width=SWATHWIDTH [ft]'" in problem.what


def test_names_in_the_log(files: Files) -> None:
    records = files.records.assign(field="Creek", product="18-46-0", **{"rate (lb/ac)": 100.0})
    found = operation(files, records, width="20 ft")
    assert found.field.name == "Creek"
    (application,) = found.applications
    assert application.product.name == "18-46-0"
    assert application.product.analysis["P2O5"] == 46
    assert application.target_kg_per_m2 is None
    wanted = records.assign(Tgt_Rate_lb_ac=120.0)
    (application,) = operation(files, wanted, width="20 ft").applications
    assert application.target_kg_per_m2 == pytest.approx(120 * 0.45359237 / 4046.8564224)
    varied = records.assign(Tgt_Rate_lb_ac=np.arange(len(records)) % 3 + 100.0)
    assert operation(files, varied, width="20 ft").applications[0].target_kg_per_m2 is None
    named = operation(files, records, width="20 ft", field_name="North", product=["potash"])
    assert named.field.name == "North"
    assert [a.product.name for a in named.applications] == ["potash"]


def test_a_log_is_all_it_takes(files: Files) -> None:
    records = files.records.assign(field="Creek", **{"swath (ft)": 20.0})
    write_log(files.log, records)
    ran = evenacre("audit", "--tracks", str(files.log), "--out", str(files.out))
    assert ran.code == 0, ran
    (job,) = summary_of(files.out)["operations"]
    assert job["field"] == "Creek"
    said = evenacre("check", str(season_file(files, "")))
    assert said.code == 0, said
    assert "20.0 ft" in said.out, said


def season_file(files: Files, width: str) -> Path:
    path = files.folder / "season.toml"
    path.write_text(
        '[[implement]]\nname = "drill"\n'
        f"{width}\n"
        '[[field]]\nname = "North"\n'
        '[[operation]]\nname = "Drilling"\nfield = "North"\nimplement = "drill"\n'
        f'tracks = ["{files.log.name}"]\n'
    )
    return path
