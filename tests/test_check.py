"""Checking a season: every problem, doubt and guess, and nothing computed."""

from __future__ import annotations

import textwrap

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import Polygon, box

from evenacre.io.season.validate import check_season

SEASON = """
farm = "Three Larks Farm"
time_zone = "America/Chicago"
[[product]]
name = "11-52-0"
[[implement]]
name = "drill"
width = "20 ft"
rows = 32
rows_per_tower = 8
[[field]]
name = "Creek Forty"
boundary = "creek.geojson"
[[operation]]
name = "Spring"
field = "Creek Forty"
implement = "drill"
date = 2026-04-14
tracks = ["creek.csv"]
products = [ { product = "11-52-0", rate = "150 lb/ac" } ]
"""


def write_log(path, lat0=40.102, header="time,longitude,latitude,speed"):
    rows = [
        f"{np.datetime64('2026-04-14T09:00:00') + np.timedelta64(i, 's')}Z,"
        f"-92.405,{lat0 + i * 2e-5:.7f},5"
        for i in range(40)
    ]
    path.write_text(header + "\n" + "\n".join(rows) + "\n")


@pytest.fixture
def farm(tmp_path):
    square = box(-92.41, 40.10, -92.40, 40.11)
    gpd.GeoDataFrame({"name": ["a"]}, geometry=[square], crs=4326).to_file(
        tmp_path / "creek.geojson"
    )
    write_log(tmp_path / "creek.csv")
    return tmp_path


def check(farm, text=SEASON):
    path = farm / "season.toml"
    path.write_text(textwrap.dedent(text))
    before = sorted(p.name for p in farm.iterdir())
    findings = check_season(path)
    assert sorted(p.name for p in farm.iterdir()) == before  # nothing is written
    return findings


def texts(findings, level):
    return [f.text for f in findings if f.level == level]


def test_a_sound_season_draws_notes_of_what_was_guessed(farm):
    findings = check(farm)
    assert texts(findings, "error") == []
    notes = "\n".join(texts(findings, "note"))
    assert '"longitude"' in notes
    assert '"latitude"' in notes
    assert {f.operation for f in findings if f.level == "note"} == {"Creek Forty, Spring"}
    assert any("analysis is that of its name" in n for n in texts(findings, "note"))


def test_nothing_can_be_read(farm):
    (finding,) = check_season(farm / "none.toml")
    assert finding.level == "error"
    assert "There is no such file" in finding.text
    (finding,) = check(farm, "farm = ")
    assert finding.problem.place.startswith("line 1")


def test_it_does_not_stop_at_the_first_problem(farm):
    write_log(farm / "far.csv", lat0=41.0)
    (farm / "empty.csv").write_text("")
    (farm / "blocked.csv").write_text("start,end,tower\n09:00,09:10,7\n")
    bow_tie = Polygon([(-92.4, 40.1), (-92.39, 40.11), (-92.39, 40.1), (-92.4, 40.11)])
    gpd.GeoDataFrame({"name": ["a"]}, geometry=[bow_tie], crs=4326).to_file(farm / "tie.geojson")
    text = (
        SEASON
        + """
    skip_min_widht = "4 in"
    [[operation]]
    name = "Far"
    field = "Creek Forty"
    implement = "drill"
    tracks = ["far.csv", "empty.csv", "missing.csv"]
    blockages = "blocked.csv"
    [[field]]
    name = "Tie"
    boundary = "tie.geojson"
    [[operation]]
    name = "Tied"
    field = "Tie"
    implement = "dril"
    tracks = ["creek.csv"]
    blockages = "blocked.csv"
    """
    )
    findings = check(farm, "\n".join(line.strip() for line in text.splitlines()))
    errors = "\n".join(texts(findings, "error"))
    assert 'Did you mean "skip_min_width"?' in errors  # an unknown key
    assert 'There is no file "missing.csv"' in errors  # a missing file
    assert 'There is no implement "dril"' in errors  # a wrong reference
    assert "far.csv" in errors  # a log elsewhere
    assert "north of it" in errors
    assert "empty.csv" in errors  # an empty log beside it
    assert '"7" is not one of its 4 towers' in errors  # a line of another file
    assert errors.count("is not one of its 4 towers") == 1
    assert any("crosses itself" in w for w in texts(findings, "warning"))
    assert any('"longitude"' in n for n in texts(findings, "note"))  # the sound log is read


def test_no_finding_is_said_twice(farm):
    text = (
        SEASON
        + """
    [[operation]]
    name = "Again"
    field = "Creek Forty"
    implement = "drill"
    tracks = ["creek.csv"]
    products = [ { product = "11-52-0", rate = "150 lb/ac" } ]
    """
    )
    findings = check(farm, "\n".join(line.strip() for line in text.splitlines()))
    said = [(f.level, f.text) for f in findings]
    assert len(said) == len(set(said))
