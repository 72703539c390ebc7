"""``evenacre check`` of files that are no season, and logs given without an option."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from small_farm import write_small_farm
from typer.testing import CliRunner

from evenacre.cli.main import app


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    write_small_farm(tmp_path)
    log = pd.read_csv(tmp_path / "log.csv").rename(columns={"work": "state"})
    parts = pd.concat([log.assign(section=k) for k in range(4)])
    parts.sort_values("time", kind="stable").to_csv(tmp_path / "long.csv", index=False)
    (tmp_path / "tickets.csv").write_text("event,product,weight (lb)\nfilled,18-46-0,900\n")
    (tmp_path / "stopped.csv").write_text("start,end,tower\n12:55,12:56,2\n")
    (tmp_path / "picture.png").write_bytes(b"\x89PNG\r\n\x1a\n")
    (tmp_path / "notes.csv").write_text("who,what\nAnn,seed\nBo,fuel\n")
    return tmp_path


def run(*words: object) -> tuple[int, str]:
    done = CliRunner().invoke(app, [str(word) for word in words])
    return done.exit_code, done.output


@pytest.mark.parametrize(
    ("file", "code", "said"),
    [
        ("log.csv", 0, ["log of 737 records", "2026-04-14 12:55:00", "--width", "evenacre audit"]),
        ("log.geojson", 0, ["log of 737 records", "Working in 91 %"]),
        ("long.csv", 0, ["log of 2,948 records of 737 times", "States of 4 sections"]),
        ("field.geojson", 0, ["map of 1 polygon (Home Field)", "2.01 ac", "--boundary"]),
        ("paddocks.geojson", 0, ["West paddock, East paddock", "Columns: name"]),
        ("tickets.csv", 0, ["1 load ticket of 18-46-0", 'loads = "tickets.csv"']),
        ("stopped.csv", 0, ["1 blockage of rows", 'blockages = "stopped.csv"']),
        ("picture.png", 0, ["picture"]),
        ("notes.csv", 2, ["error: notes.csv", "who, what"]),
        ("season.toml", 0, ["Nothing to mend."]),
        ("none.csv", 2, ["There is no such file"]),
    ],
)
def test_every_file_is_told_for_what_it_is(
    farm: Path, file: str, code: int, said: list[str]
) -> None:
    exit_code, output = run("check", farm / file)
    assert exit_code == code, output
    assert [text for text in said if text not in output] == []


def test_a_log_alone_is_audited_as_with_its_option(farm: Path) -> None:
    options = ["--width", "20 ft", "--boundary", farm / "field.geojson", "--quiet"]
    told = []
    for number, words in enumerate((["audit"], ["audit", "--tracks"])):
        code, output = run(*words, farm / "log.csv", *options, "--out", farm / f"out-{number}")
        assert code == 0, output
        told.append(json.loads((farm / f"out-{number}" / "summary.json").read_text())["operations"])
    assert told[0] == told[1]


def test_a_log_alone_is_asked_for_its_width(farm: Path) -> None:
    code, output = run("audit", farm / "log.csv")
    assert code == 2
    assert "--width" in output
