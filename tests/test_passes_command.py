"""``evenacre passes`` from end to end: what it writes, what it says, what it refuses."""

from __future__ import annotations

import errno
import json
import math
import os
import re
import struct
import zipfile
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from cli_jobs import Ran, evenacre, write_boundary
from put_down import MISSOURI, on_earth

ACRE_M2, FOOT_M, MPH_MPS = 4046.8564224, 0.3048, 0.44704  # NIST SP 811
SIDE_M = (600.0, 240.0)  # east to west, north to south
WIDTH_M = 20 * FOOT_M
FILES = {"guidance.zip", "passes.gpkg", "passes.gpx", "passes.json", "report.html"}
RECTANGLE = shapely.box(0, 0, *SIDE_M)
POND = shapely.box(250, 90, 310, 140)

SEASON = """
farm = "Three Larks Farm"

[[product]]
name = "red clover"
kind = "seed"
purity = 98
germination = 90

[[implement]]
name = "drill"
width = "20 ft"

[[field]]
name = "Long Field"
boundary = "long.geojson"

[paddocks]
file = "pasture.gpkg"

[[paddock]]
name = "Creek 2"
fence = false

[[move]]
paddock = "Creek 1"
enter = 2026-08-03
leave = 2026-08-08

[[move]]
paddock = "Creek 2"
enter = 2026-08-08
leave = 2026-08-13

[seeding]
product = "red clover"
implement = "drill"
rate = "10 lb/ac"
load = "150 lb"
rounds = 1
speed = "4 mph"
"""
WIDER = '\n[[implement]]\nname = "spreader"\nwidth = "60 ft"\n'


def write_season(folder: Path, *changes: tuple[str, str], more: str = "") -> Path:
    """A field and two paddocks, and a season file with some of its text changed."""
    folder.mkdir(parents=True, exist_ok=True)
    write_boundary(folder / "long.geojson", on_earth(RECTANGLE, MISSOURI, 0.0, (0, 0)))
    shapes = [on_earth(shapely.box(x, -300, x + 90, -210), MISSOURI, 0.0, (0, 0)) for x in (0, 90)]
    names = ["Creek 1", "Creek 2"]
    gpd.GeoDataFrame({"name": names}, geometry=shapes, crs=4326).to_file(folder / "pasture.gpkg")
    text = SEASON
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    file = folder / "season.toml"
    file.write_text(text + more, encoding="utf-8")
    return file


def write_field(folder: Path, shape: Any = RECTANGLE, turned_rad: float = 0.0) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    return write_boundary(folder / "long.geojson", on_earth(shape, MISSOURI, turned_rad, (0, 0)))


def one(file: Path, *options: object) -> dict[str, Any]:
    """The account of one field, as printed and as written."""
    ran = evenacre("passes", "--boundary", file, "--width", "20 ft", *options, "--json")
    assert ran.code == 0, ran.err
    account = json.loads(ran.out)
    assert account == json.loads((file.parent / "evenacre-passes/passes.json").read_text("utf-8"))
    (field,) = account["fields"]
    return {**account, **field}


def refused(folder: Path, *args: object) -> Ran:
    """Run what cannot be planned; nothing may be left behind."""
    before = sorted(folder.rglob("*"))
    ran = evenacre("passes", *args)
    assert ran.code == 2, ran.out + ran.err
    assert ran.errors()
    assert not ran.out
    assert sorted(folder.rglob("*")) == before
    assert "Traceback" not in ran.err
    return ran


def test_a_boundary_may_stand_where_a_season_file_does(tmp_path: Path) -> None:
    file = write_field(tmp_path)
    named = one(file)["turns"]
    ran = evenacre("passes", file, "--width", "20 ft", "--json")
    assert ran.code == 0, ran.err
    assert json.loads(ran.out)["fields"][0]["turns"] == named
    assert "--boundary" in refused(tmp_path / "x", file, "--boundary", file, "--width", "9 m").err


def test_a_fence_is_kept_where_it_is_asked_for(tmp_path: Path) -> None:
    small = shapely.box(0, 0, 150, 120)
    outside = [
        one(write_field(tmp_path, small), *options)["turns_outside"]
        for options in ([], ["--fence"], ["--no-fence"])
    ]
    assert outside[0] == outside[2] > 0
    assert outside[1] == 0


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season")
    ran = evenacre("passes", write_season(folder))
    assert ran.code == 0, ran.err
    (folder / "said.txt").write_text(ran.out, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def account(season: Path) -> dict[str, Any]:
    text = (season / "evenacre-passes/passes.json").read_text("utf-8")
    found: dict[str, Any] = json.loads(text)
    return found


def test_every_file_is_there_and_named(season: Path, account: dict[str, Any]) -> None:
    out = season / "evenacre-passes"
    maps = {"maps/long-field.png", "maps/creek-1.png", "maps/creek-2.png"}
    present = {p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file()}
    assert present == FILES | maps
    assert set(account["files"]) == present
    assert account["schema"] == "evenacre/passes/1.6"
    assert {field["map"] for field in account["fields"]} == maps
    assert len(account["inputs"]) == 3


def test_maps_are_pictures(season: Path) -> None:
    for file in (season / "evenacre-passes/maps").iterdir():
        data = file.read_bytes()
        assert data[:8] == b"\x89PNG\r\n\x1a\n"
        wide, tall = struct.unpack(">II", data[16:24])
        assert min(wide, tall) > 400


def test_all_fields_and_paddocks_of_the_season(account: dict[str, Any]) -> None:
    assert {f["field"] for f in account["fields"]} == {"Long Field", "Creek 1", "Creek 2"}


def test_the_season_tells_how_the_drill_is_driven(account: dict[str, Any]) -> None:
    for field in account["fields"]:
        assert field["rounds"] == 1
        assert field["work_m"] / field["work_s"] == pytest.approx(4 * MPH_MPS, rel=1e-9)


def test_the_layer_holds_what_the_account_says(season: Path, account: dict[str, Any]) -> None:
    lines = pyogrio.read_dataframe(season / "evenacre-passes/passes.gpkg", layer="passes")
    for field in account["fields"]:
        of_field = lines[lines["field"] == field["field"]]
        assert (of_field["kind"] == "pass").sum() == field["passes"]
        assert (of_field["kind"] == "round").sum() == field["round_runs"]
        rounded = 0.005 * len(of_field)  # to centimetres
        assert of_field["length_m"].sum() == pytest.approx(field["work_m"], abs=rounded)


def test_said_for_every_field(season: Path, account: dict[str, Any]) -> None:
    said = (season / "said.txt").read_text("utf-8")
    for field in account["fields"]:
        assert field["field"] in said
        assert str(field["passes"]) in said
    assert f"{SIDE_M[0] * SIDE_M[1] / ACRE_M2:.2f} ac" in said
    assert str(season / "evenacre-passes") in said.splitlines()[-1]


def test_a_rectangle_by_hand(tmp_path: Path) -> None:
    """Inside two rounds of 20 ft, 215.6 m are left from south to north: 36 passes of 20 ft."""
    field = one(write_field(tmp_path))
    inner = SIDE_M[1] - 4 * WIDTH_M
    assert field["passes"] == math.ceil(inner / WIDTH_M) == 36
    # The heading is of the field's own plane; the frame it was drawn in has its own north.
    assert field["heading_deg"] == pytest.approx(90.0, abs=0.1)
    length = field["passes"] * (SIDE_M[0] - 4 * WIDTH_M)
    lines = pyogrio.read_dataframe(tmp_path / "evenacre-passes/passes.gpkg", layer="passes")
    driven = lines.loc[lines["kind"] == "pass", "length_m"].sum()
    assert driven == pytest.approx(length, rel=0.002)
    assert field["workable_m2"] == pytest.approx(SIDE_M[0] * SIDE_M[1], rel=1e-4)
    # Only what 36 passes are too wide for is driven twice: one leg of a round drives a corner.
    spare = (36 * WIDTH_M - inner) * (SIDE_M[0] - 4 * WIDTH_M)
    assert field["overlap_m2"] == pytest.approx(spare, rel=1e-3)


def test_hours_and_efficiency_follow_from_speeds(tmp_path: Path) -> None:
    """Field efficiency is of area covered to width x speed x time (ASABE EP496)."""
    field = one(write_field(tmp_path), "--speed", "6 mph", "--turn-speed", "2 mph")
    assert field["work_s"] == pytest.approx(field["work_m"] / (6 * MPH_MPS), rel=1e-9)
    assert field["turn_s"] == pytest.approx(field["turn_m"] / (2 * MPH_MPS), rel=1e-9)
    assert field["field_time_s"] == pytest.approx(field["work_s"] + field["turn_s"], rel=1e-9)
    swept = WIDTH_M * 6 * MPH_MPS * field["field_time_s"]
    assert field["field_efficiency"] == pytest.approx(field["covered_m2"] / swept, rel=1e-9)


@pytest.mark.parametrize("heading", [0, 30, 90, 145, 270, 360])
def test_a_heading_asked_for_is_driven(tmp_path: Path, heading: float) -> None:
    field = one(write_field(tmp_path), "--heading", heading)
    assert math.remainder(field["heading_deg"] - heading, 180.0) == pytest.approx(0.0, abs=1e-6)
    lines = pyogrio.read_dataframe(tmp_path / "evenacre-passes/passes.gpkg", layer="passes")
    driven = lines.loc[lines["kind"] == "pass", "heading_deg"].to_numpy()
    off = np.array([math.remainder(h - heading, 180.0) for h in driven])
    assert np.abs(off).max() < 0.05


def test_the_best_heading_has_no_more_turns_than_any_asked_for(tmp_path: Path) -> None:
    file = write_field(tmp_path, turned_rad=0.4)
    best = one(file)["passes"]
    assert all(best <= one(file, "--heading", angle)["passes"] for angle in range(0, 180, 30))


def test_no_rounds(tmp_path: Path) -> None:
    field = one(write_field(tmp_path), "--rounds", 0)
    assert field["round_runs"] == 0
    assert field["passes"] == math.ceil(SIDE_M[1] / WIDTH_M)


def test_a_wider_turn_takes_longer(tmp_path: Path) -> None:
    file = write_field(tmp_path)
    assert (
        one(file, "--turn-radius", "40 ft")["turn_m"]
        > one(file, "--turn-radius", "15 ft")["turn_m"]
    )


def test_unworkable_ground_is_left_out(tmp_path: Path) -> None:
    file = write_field(tmp_path)
    pond = write_boundary(tmp_path / "pond.geojson", on_earth(POND, MISSOURI, 0.0, (0, 0)))
    field = one(file, "--unworkable", pond)
    assert field["workable_m2"] == pytest.approx(SIDE_M[0] * SIDE_M[1] - POND.area, rel=1e-4)
    lines = pyogrio.read_dataframe(tmp_path / "evenacre-passes/passes.gpkg", layer="passes")
    inside = on_earth(POND.buffer(-1.0), MISSOURI, 0.0, (0, 0))
    assert not lines.intersects(inside).any()


def test_a_waterway_is_crossed_where_it_may_be(tmp_path: Path) -> None:
    """Drawn as a line of a width, or as the ground itself, it is the same."""
    file = write_field(tmp_path)
    middle = shapely.LineString([(300, -20), (300, 260)])
    line = write_boundary(tmp_path / "line.geojson", on_earth(middle, MISSOURI, 0.0, (0, 0)))
    strip = on_earth(middle.buffer(15 * FOOT_M, cap_style="flat"), MISSOURI, 0.0, (0, 0))
    ground = write_boundary(tmp_path / "strip.geojson", strip)
    drawn = one(file, "--cross", line, "--cross-width", "30 ft")
    given, kept_off = one(file, "--cross", ground), one(file, "--unworkable", ground)
    wet = 30 * FOOT_M * SIDE_M[1]
    for field in (drawn, given, kept_off):
        assert field["workable_m2"] == pytest.approx(SIDE_M[0] * SIDE_M[1] - wet, rel=1e-4)
        assert field["covered_share"] == pytest.approx(
            field["covered_m2"] / field["workable_m2"], rel=1e-6
        )
    assert drawn["field_time_s"] == pytest.approx(given["field_time_s"], rel=0.01)
    assert given["field_time_s"] < kept_off["field_time_s"]


def test_two_arms_are_two_blocks_and_one_where_asked(tmp_path: Path) -> None:
    wide = 60.96
    arms = shapely.Polygon([(0, 0), (420, 0), (420, wide), (wide, wide), (wide, 420), (0, 420)])
    file = write_field(tmp_path, arms)
    two = one(file)
    assert [block["passes"] for block in two["blocks"]] == [6, 6]
    headings = sorted(block["heading_deg"] for block in two["blocks"])
    assert headings == pytest.approx([0, 90], abs=0.2)
    assert two["heading_deg"] is None
    assert sum(block["area_m2"] for block in two["blocks"]) < two["workable_m2"]
    layer = pyogrio.read_dataframe(tmp_path / "evenacre-passes/passes.gpkg", layer="blocks")
    assert sorted(layer["heading_deg"]) == pytest.approx(headings, abs=0.2)
    lines = pyogrio.read_dataframe(tmp_path / "evenacre-passes/passes.gpkg", layer="passes")
    assert set(lines["block"]) == {0, 1, 2}
    ran = evenacre("passes", "--boundary", file, "--width", "20 ft")
    assert "in 2 blocks" in ran.out
    assert "save" in ran.out
    single = one(file, "--no-blocks")
    assert single["blocks"] == []
    assert single["field_time_s"] > two["field_time_s"]


def test_what_is_left_is_counted_and_drawn(tmp_path: Path) -> None:
    tip = shapely.Polygon([(0, 0), (120, 0), (120, 30)])
    field = one(write_field(tmp_path, tip))
    layer = pyogrio.read_dataframe(tmp_path / "evenacre-passes/passes.gpkg", layer="left")
    assert field["left_places"] == len(layer) > 0
    assert layer["area_m2"].sum() == pytest.approx(field["missed_m2"], rel=0.05, abs=2.0)


def test_a_strip_narrower_than_the_tool_is_one_run(tmp_path: Path) -> None:
    field = one(write_field(tmp_path, shapely.box(0, 0, 200, 5)))
    assert (field["middle_runs"], field["passes"], field["round_runs"]) == (1, 0, 0)
    assert field["covered_share"] > 0.995
    assert field["outside_m2"] == pytest.approx(200 * (WIDTH_M - 5), rel=0.02)
    assert any("narrower" in text for text in field["warnings"])


def test_one_field_of_the_season(tmp_path: Path) -> None:
    ran = evenacre("passes", write_season(tmp_path), "--field", "Creek 2", "--json")
    assert [f["field"] for f in json.loads(ran.out)["fields"]] == ["Creek 2"]
    with zipfile.ZipFile(tmp_path / "evenacre-passes/guidance.zip") as archive:
        text = archive.read("TASKDATA/TASKDATA.XML").decode()
    assert "Creek 2" in text
    assert "Long Field" not in text


def test_another_implement_is_as_wide_as_it_is(tmp_path: Path) -> None:
    file = write_season(tmp_path, more=WIDER)
    ran = evenacre("passes", file, "--implement", "spreader", "--field", "Long Field", "--json")
    (field,) = json.loads(ran.out)["fields"]
    inner = SIDE_M[1] - 2 * field["rounds"] * 3 * WIDTH_M
    assert field["passes"] == math.ceil(inner / (3 * WIDTH_M))


def test_units(tmp_path: Path) -> None:
    file = write_field(tmp_path)
    ran = evenacre("passes", "--boundary", file, "--width", "20 ft", "--units", "metric")
    assert "14.40 ha" in ran.out
    assert " ac" not in ran.out


def test_quiet(tmp_path: Path) -> None:
    ran = evenacre("passes", "--boundary", write_field(tmp_path), "--width", "20 ft", "--quiet")
    assert (ran.code, ran.out, ran.err) == (0, "", "")
    assert (tmp_path / "evenacre-passes/passes.gpx").exists()


def test_an_earlier_result_is_replaced_and_equal(tmp_path: Path) -> None:
    file = write_field(tmp_path)
    kept = []
    for _ in range(2):
        one(file)
        out = tmp_path / "evenacre-passes"
        kept.append(
            {
                p.relative_to(out): p.read_bytes()
                for p in out.rglob("*")
                if p.is_file() and p.name not in ("passes.json", "guidance.zip")
            }
        )
    assert kept[0] == kept[1]


def test_nothing_to_drive_is_a_warning(tmp_path: Path) -> None:
    field = one(write_field(tmp_path, shapely.box(0, 0, 300, 2)))
    assert field["passes"] == field["round_runs"] == 0
    assert "nothing to drive" in " ".join(field["warnings"])


@pytest.mark.parametrize("before", [False, True])
def test_a_full_disk_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: bool
) -> None:
    """The guidance lines come last but for the account; the disk fills up there."""
    file = write_field(tmp_path)
    if before:
        one(file)

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("evenacre.io.writers.results.write_guidance", full)
    kept = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    ran = refused(tmp_path, "--boundary", file, "--width", "30 ft")
    assert "the disk is full" in ran.err
    assert kept == {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}


def test_a_folder_of_someone_elses_is_left_alone(tmp_path: Path) -> None:
    file = write_field(tmp_path)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine/notes.txt").write_text("keep")
    ran = refused(tmp_path, "--boundary", file, "--width", "20 ft", "--out", tmp_path / "mine")
    assert "not empty" in ran.err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "width"),
        (["--width", "0 ft"], "--width"),
        (["--width", "-20 ft"], "--width"),
        (["--width", "20"], "has no unit"),
        (["--width", "20 lb"], "is a mass, not a length"),
        (["--width", "20 ft", "--heading", "400"], "--heading"),
        (["--width", "20 ft", "--heading", "-1"], "--heading"),
        (["--width", "20 ft", "--heading", "north"], "--heading"),
        (["--width", "20 ft", "--heading", "nan"], "--heading"),
        (["--width", "20 ft", "--rounds", "-1"], "--rounds"),
        (["--width", "20 ft", "--speed", "0 mph"], "--speed"),
        (["--width", "20 ft", "--turn-speed", "3 ft"], "--turn-speed"),
        (["--width", "20 ft", "--turn-radius", "0 ft"], "--turn-radius"),
        (["--width", "20 ft", "--field", "Long Field"], "--field"),
        (["--width", "20 ft", "--implement", "drill"], "--implement"),
        (["--width", "20 ft", "--unworkable", "no-such.geojson"], "no-such.geojson"),
        (["--width", "20 ft", "--gate", "40.1"], "not a latitude and a longitude"),
        (["--width", "20 ft", "--gate", "95, 10"], "no place on earth"),
        (["--width", "20 ft", "--gate", "10, 20"], "from the fence"),
        (["--width", "20 ft", "--gate", "no-such.geojson"], "no-such.geojson"),
        (["--width", "20 ft", "--gate-width", "16 ft"], "Give --gate"),
        (["--width", "20 ft", "--gate", "10, 20", "--gate-width", "16"], "--gate-width"),
        (["--width", "20 ft", "--along", "no-such.geojson"], "no-such.geojson"),
        (["--width", "20 ft", "--cross", "no-such.geojson"], "no-such.geojson"),
        (["--width", "20 ft", "--cross-width", "30 ft"], "--cross"),
    ],
)
def test_refused_beside_a_boundary(tmp_path: Path, options: list[str], words: str) -> None:
    ran = refused(tmp_path, "--boundary", write_field(tmp_path), *options)
    assert words in ran.err


def test_a_radius_too_wide_to_turn_round_is_refused_with_the_widest_that_does(
    tmp_path: Path,
) -> None:
    file = write_field(tmp_path, shapely.box(0, 0, 24, 90))
    options = ("--boundary", file, "--width", "20 ft", "--fence", "--turn-radius", "50 ft")
    ran = refused(tmp_path, *options)
    assert "long, turn_radius: 50.0 ft (15.2 m) is too wide to turn round" in ran.err
    assert re.search(r"The widest that would do is [\d.]+ ft", ran.err)


def test_a_farm_of_crop_fields_tells_of_seeding_without_paddocks(tmp_path: Path) -> None:
    """Radius, rate and load hold for its fields; to seed behind a herd it still lacks paddocks."""
    write_field(tmp_path)
    file = tmp_path / "season.toml"
    head, tail = SEASON.split("[paddocks]")[0], SEASON[SEASON.index("[seeding]") :]
    file.write_text(head + tail + 'turn_radius = "31 ft"\n', encoding="utf-8")
    ran = evenacre("passes", file, "--json")
    assert ran.code == 0, ran.err
    (field,) = json.loads(ran.out)["fields"]
    assert "31.0 ft" in evenacre("passes", file).out
    assert field["fills"]
    assert "There is no paddock" in evenacre("interseed", file).err


def test_a_line_to_cross_needs_a_width(tmp_path: Path) -> None:
    line = shapely.LineString([(300, -20), (300, 260)])
    file = write_boundary(tmp_path / "line.geojson", on_earth(line, MISSOURI, 0.0, (0, 0)))
    options = ("--boundary", write_field(tmp_path), "--width", "20 ft", "--cross", file)
    assert "--cross-width" in refused(tmp_path, *options).err


def test_every_complaint_at_once(tmp_path: Path) -> None:
    file = write_field(tmp_path)
    ran = refused(
        tmp_path, "--boundary", file, "--width", "0 ft", "--heading", "400", "--rounds", "-1"
    )
    assert [word for word in ("--width", "--heading", "--rounds") if word in ran.err] == [
        "--width",
        "--heading",
        "--rounds",
    ]


@pytest.mark.parametrize("shape", [shapely.LineString([(0, 0), (300, 0)]), shapely.Point(0, 0)])
def test_a_boundary_that_is_no_polygon(tmp_path: Path, shape: Any) -> None:
    ran = refused(tmp_path, "--boundary", write_field(tmp_path, shape), "--width", "20 ft")
    assert "long.geojson" in ran.err
    assert "polygon" in ran.err.lower()


LONG = 'boundary = "long.geojson"'


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ("gate = [40.1, -92.6]", "which is the latitude"),
        ('gate = "here"', "here"),
        ("gate = {}", "a place or a map"),
        ('gate = { place = "40, 20", file = "a.gpkg" }', "a place or a map"),
        ('gate = "0, 0"', "from the fence"),
        ('gate = "pasture.gpkg"', "a gate is a point"),
        ('line = "pasture.gpkg"', "no line"),
        ('fence = "yes"', "neither true nor false"),
    ],
)
def test_keys_of_a_field_that_cannot_be_kept(tmp_path: Path, keys: str, words: str) -> None:
    file = write_season(tmp_path, (LONG, f"{LONG}\n{keys}"))
    assert words in refused(tmp_path, file).err


def test_a_gate_a_line_and_loads_are_told(tmp_path: Path) -> None:
    """A full cart of 150 lb does 15 ac at 10 lb/ac."""
    lines = {"gate": shapely.Point(600, 100), "row": shapely.LineString([(0, 120), (600, 120)])}
    for name, shape in lines.items():
        write_boundary(tmp_path / f"{name}.geojson", on_earth(shape, MISSOURI, 0.0, (0, 0)))
    keys = f'{LONG}\ngate = "gate.geojson"\nline = "row.geojson"'
    file = write_season(tmp_path, (LONG, keys))
    ran = evenacre("passes", file, "--field", "Long Field")
    assert ran.code == 0, ran.err
    assert "from the gate" in ran.out
    assert "along the line given" in ran.out
    folder = tmp_path / "evenacre-passes"
    account = json.loads((folder / "passes.json").read_text("utf-8"))
    (field,) = account["fields"]
    assert field["way_in_m"] > 0
    assert field["way_out_m"] > 0
    # Fills are told by the number that the map has, which counts rounds too.
    fills = [row for row in ran.out.splitlines() if row.strip().startswith("fill ")]
    for row, spot in zip(fills, field["fills"], strict=True):
        assert re.search(rf"pass {spot['run']}\b", row)
    loads = math.ceil(field["work_m"] * WIDTH_M / (15 * ACRE_M2) - 1e-9)
    assert loads <= len(field["fills"]) <= loads + 1
    assert {"gate_ways", "fills"} <= {
        name for name, _ in pyogrio.list_layers(folder / "passes.gpkg")
    }
    # Rounds come last where seed is sown.
    lines = pyogrio.read_dataframe(folder / "passes.gpkg", layer="passes")
    kinds = lines.sort_values("order")["kind"].tolist()
    assert kinds[0] == "pass"
    assert kinds[-1] == "round"


def test_what_drives_is_held_against_the_width_of_a_gate(tmp_path: Path) -> None:
    file, gate = write_field(tmp_path), tmp_path / "gate.geojson"
    write_boundary(gate, on_earth(shapely.Point(600, 100), MISSOURI, 0.0, (0, 0)))
    lon, lat = shapely.get_coordinates(pyogrio.read_dataframe(gate).geometry)[0]
    for at, width, folded, said in (
        (f"{lat}, {lon}", "16 ft", None, True),
        (gate, "16 ft", "12 ft", False),
        (gate, "21 ft", None, False),
    ):
        told = ["--gate-width", width, "--gate", at]  # the one may come before the other
        told += ["--transport-width", folded] if folded else []
        assert ("only folded" in json.dumps(one(file, *told))) == said
    narrow = ("--gate", gate, "--gate-width", "10 ft", "--transport-width", "12 ft")
    assert "gate" in refused(tmp_path, "--boundary", file, "--width", "20 ft", *narrow).err


def test_a_field_is_no_line(tmp_path: Path) -> None:
    file = write_field(tmp_path)
    ran = refused(tmp_path, "--boundary", file, "--width", "20 ft", "--along", file)
    assert "no line" in ran.err


def test_a_heading_does_not_go_with_a_line(tmp_path: Path) -> None:
    row = on_earth(shapely.LineString([(0, 120), (600, 120)]), MISSOURI, 0.0, (0, 0))
    line = write_boundary(tmp_path / "row.geojson", row)
    file = write_field(tmp_path)
    options = ["--width", "20 ft", "--along", line, "--heading", "90"]
    assert "--heading" in refused(tmp_path, "--boundary", file, *options).err


def test_paddocks_behind_a_herd_are_fenced_unless_it_is_said(account: dict[str, Any]) -> None:
    told = {f["field"]: f["fenced"] for f in account["fields"]}
    assert told == {"Long Field": False, "Creek 1": True, "Creek 2": False}


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--field", "Creek 22"], 'Did you mean "Creek 2"?'),
        (["--field", "Long Field", "--field", "Nowhere"], '"Nowhere"'),
        (["--implement", "dril"], 'Did you mean "drill"?'),
        (["--boundary", "long.geojson"], "--boundary"),
        (["--heading", "361"], "--heading"),
    ],
)
def test_refused_beside_a_season(tmp_path: Path, options: list[str], words: str) -> None:
    assert words in refused(tmp_path, write_season(tmp_path), *options).err


def test_neither_season_nor_boundary(tmp_path: Path) -> None:
    assert "season" in refused(tmp_path).err


def test_a_season_that_is_not_there(tmp_path: Path) -> None:
    assert "no such file" in refused(tmp_path, tmp_path / "season.toml").err


def test_two_implements_and_no_seeding_to_choose_between_them(tmp_path: Path) -> None:
    seeding = SEASON[SEASON.index("[seeding]") :]
    ran = refused(tmp_path, write_season(tmp_path, (seeding, ""), more=WIDER))
    assert "--implement" in ran.err
    assert "spreader" in ran.err
