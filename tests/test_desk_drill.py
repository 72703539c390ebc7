"""The drill beside its form: to scale, with every figure named, and what the logs tell of it."""

from __future__ import annotations

import itertools
import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import geopandas as gpd
import pandas as pd
import pytest
from hidden_settings import Rig, Work, simulate
from hypothesis import given, settings
from hypothesis import strategies as st
from pages import Page
from starlette.testclient import TestClient
from test_desk import client_of
from test_desk_forms import form_of, leaves

from evenacre.desk import forms
from evenacre.desk.rig import rig_of
from evenacre.desk.rig_drawing import drawing, spread
from evenacre.desk.told import ask_logs, offers, told_of
from evenacre.model.measured import Measured
from evenacre.reports.sentences.measure import fits
from evenacre.units.display import METRIC, US

KIND = forms.KINDS["implement"]
FEET = st.integers(1, 30)
FOOT_M = 0.3048


@st.composite
def drills(draw: st.DrawFn) -> dict[str, Any]:
    """A drill in whole feet, towed by none to two units and followed by a cart or none."""

    def chain(most: int) -> list[dict[str, str]]:
        return [
            {"hitch_to_axle": f"{draw(FEET)} ft", "axle_to_pin": f"{draw(FEET)} ft"}
            for _ in range(draw(st.integers(0, most)))
        ]

    return {
        "name": "drill",
        "width": f"{draw(st.integers(8, 80))} ft",
        "rows": draw(st.integers(2, 90)),
        "antenna_ahead": f"{draw(FEET)} ft",
        "antenna_left": f"{draw(st.integers(-3, 3))} ft",
        "tool_behind": f"{draw(FEET)} ft",
        "tow": chain(2),
        "behind": chain(1),
        "compartments": [{"name": "front", "volume": "90 bu"}, {"name": "rear", "volume": "30 bu"}],
    }


def feet(text: str) -> float:
    return float(text.removesuffix(" ft"))


def shape(svg: ET.Element, path: str) -> dict[str, float]:
    found = svg.find(path)
    assert found is not None, path
    return {name: float(v) for name, v in found.attrib.items() if name != "class"}


def svg_of(table: dict[str, Any], wide: int = 620, high: int = 620) -> ET.Element:
    text = drawing(rig_of(table, US), US, wide, high)
    return ET.fromstring(text.replace(' xmlns="http://www.w3.org/2000/svg"', ""))


@given(drills(), st.integers(300, 900), st.integers(240, 900))
@settings(max_examples=60)
def test_it_is_to_scale(table: dict[str, Any], wide: int, high: int) -> None:
    svg = svg_of(table, wide, high)
    bar = shape(svg, "g[@class='scale']/line")
    told = svg.findtext("g[@class='scale']/text")
    assert told is not None
    shown_ft = float(told.partition(" ")[0])
    per_foot = (bar["x2"] - bar["x1"]) / shown_ft

    def to_scale(long_ft: float) -> Any:
        # Drawn to a tenth: both ends of what is measured, and the farther end of the bar.
        return pytest.approx(per_foot * long_ft, abs=0.11 + 0.05 * abs(long_ft) / shown_ft)

    tool = shape(svg, "g[@class='drill']/line[@class='tool']")
    assert tool["x2"] - tool["x1"] == to_scale(feet(table["width"]))
    antenna = shape(svg, "circle[@class='antenna']")
    units = table["tow"]
    behind = feet(table["antenna_ahead"]) + feet(table["tool_behind"])
    behind += sum(feet(unit["hitch_to_axle"]) for unit in units)
    behind += sum(feet(unit["axle_to_pin"]) for unit in units[:-1])
    assert tool["y1"] - antenna["cy"] == to_scale(behind)
    middle = (tool["x1"] + tool["x2"]) / 2
    assert middle - antenna["cx"] == to_scale(feet(table["antenna_left"]))
    marks = svg.find("g[@class='drill']/path")
    spacing = per_foot * feet(table["width"]) / table["rows"]
    assert (marks is not None) == (spacing >= 3) or spacing == pytest.approx(3, abs=0.05)
    if marks is not None:
        assert marks.get("d", "").count("M") == table["rows"]
    # A cart behind the drill is where its own figures put it.
    for unit in table["behind"]:
        measure = svg.find("g[@data-box='behind.0.hitch_to_axle']/line[3]")
        assert measure is not None
        long = float(measure.get("y2", "")) - float(measure.get("y1", ""))
        assert long == to_scale(feet(unit["hitch_to_axle"]))


@given(drills(), st.integers(300, 900))
@settings(max_examples=30)
def test_each_figure_is_named_once_beside_it_and_no_name_covers_another(
    table: dict[str, Any], wide: int
) -> None:
    svg = svg_of(table, wide)
    boxes = set(form_of({}, KIND, table))
    named = [g.get("data-box") for g in svg.findall("g") if "named" in g.get("class", "")]
    assert set(named) <= boxes
    assert len(named) == len(set(named))
    measured = {g.get("data-box") for g in svg.findall("g") if "measure" in g.get("class", "")}
    assert measured <= set(named)
    assert {"width", "antenna_ahead", "tool_behind", "antenna_left"} <= measured
    assert {f"tow.{n}.hitch_to_axle" for n in range(len(table["tow"]))} <= measured
    heights = sorted(float(t.get("y", "")) for t in svg.findall("g[@class='named']/text"))
    apart = [b - a for a, b in itertools.pairwise(heights)]
    assert min(apart) > 18.5
    high = float(svg.get("height", ""))
    assert heights[0] > 0
    assert heights[-1] < high


@given(st.lists(st.floats(0, 500), min_size=1, max_size=20), st.floats(1, 40), st.floats(50, 500))
def test_labels_are_spread(wanted: list[float], apart: float, high: float) -> None:
    placed = spread(sorted(wanted), apart, 0.0, high)
    assert all(b - a >= apart * (1 - 1e-9) for a, b in itertools.pairwise(placed))
    assert placed[0] >= -1e-9
    if len(wanted) * apart <= high:
        assert placed[-1] <= high


def test_what_is_not_given_is_dashed_and_said_to_be_assumed() -> None:
    rig = rig_of({"name": "drill", "tool_behind": "far"}, METRIC)
    said = {one.box: (one.said, one.given) for one in rig.measures}
    assert said["width"] == ("6.00 m (not given)", False)
    assert said["antenna_ahead"] == ("0 (not given)", False)
    assert said["tool_behind"] == ("0 (not understood)", False)
    assert any("Nothing says" in text for text in rig.remarks)
    svg = svg_of({"name": "drill"})
    assert svg.find("g[@class='drill assumed']") is not None
    assert svg.find("g[@class='measure assumed'][@data-box='width']") is not None
    told = rig_of({"name": "d", "width": "6 m", "rows": 32, "antenna_ahead": "0 m"}, METRIC)
    assert {one.box for one in told.measures if one.given} == {"width", "antenna_ahead"}
    # Rows and their spacing tell the width as well as it does itself.
    spaced = rig_of({"name": "d", "rows": 10, "row_spacing": "0.2 m"}, METRIC)
    assert spaced.measures[-1].said == "2.00 m (rows and their spacing)"


def test_a_row_that_is_half_typed_keeps_the_others_at_their_boxes() -> None:
    table = {"name": "d", "tow": [{"axle_to_pin": "3 ft"}, {"hitch_to_axle": "14 ft"}]}
    rig = rig_of(table, US)
    (hitch,) = [one for one in rig.measures if one.box.startswith("tow.")]
    assert (hitch.box, hitch.said) == ("tow.1.hitch_to_axle", "14 ft")
    assert rig.axle_m == pytest.approx(-14 * FOOT_M)


NAMED = [*leaves(forms.boxes(KIND, {"tow": [{}], "compartments": [{}]}, {}, [])), "tow", "tow.x.y"]
ODD = st.text(max_size=12) | st.sampled_from(["1", "20 ft", "-3 ft", "1e9 m", "4, 4", "yes", "NaN"])


@given(st.dictionaries(st.sampled_from(NAMED), ODD), st.integers(240, 1200))
@settings(max_examples=150)
def test_whatever_is_typed_is_drawn(sent: dict[str, str], wide: int) -> None:
    table = forms.table_of(KIND, sent, {})
    ET.fromstring(drawing(rig_of(table, US), US, wide, 300))


def test_what_contradicts_itself_or_is_no_length_keeps_the_rest_from_being_lost() -> None:
    table = {"name": "d", "width": "20 ft", "sections": [8, 8, 8, 8], "cost": "140 USD/h"}
    assert rig_of(table, US).implement.rows == 32
    odd = rig_of({**table, "rows": 30, "antenna_ahead": "6 ft"}, US)
    assert odd.implement.width_m == pytest.approx(20 * FOOT_M)
    assert odd.implement.antenna_ahead_m == pytest.approx(6 * FOOT_M)


# The page


SEASON = """units = "us"
[[implement]]
name = "drill"
width = "30 ft"
rows = 48
tool_behind = "0 ft"

[[field]]
name = "Home"
boundary = "field.geojson"

[[operation]]
name = "Spring"
field = "Home"
implement = "drill"
tracks = ["log.csv"]
"""
TRUE = Rig(width_m=9.144, ahead_m=2.0, hitch_to_axle_m=8.0, tool_behind_m=1.0)


def write_towed(folder: Path) -> None:
    """A farm whose drill is 11 m behind its antenna, and said to be right under it."""
    job = simulate(TRUE, Work(length_m=160, passes=10, hz=2), 3).operation
    (track,) = job.tracks
    assert track.working is not None
    time = pd.to_datetime(track.time_s, unit="s", utc=True).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    records = {"time": time, "lon": track.lon, "lat": track.lat, "work": track.working.astype(int)}
    pd.DataFrame(records).to_csv(folder / "log.csv", index=False, float_format="%.9f")
    field = gpd.GeoDataFrame({"name": ["Home"]}, geometry=[job.field.boundary], crs=4326)
    field.to_file(folder / "field.geojson")
    (folder / "season.toml").write_text(SEASON)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[TestClient]:
    write_towed(tmp_path)
    with client_of(tmp_path) as client:
        client.desk.board.start_in_turn = lambda *_: None  # type: ignore[attr-defined]
        yield client


def test_the_page_tells_in_words_what_the_drawing_shows(desk: TestClient) -> None:
    page = Page(desk.get("/season/implement/0").text)
    ids = {attrs["id"] for _, attrs in page.elements if "id" in attrs}
    links = [attrs["href"] for tag, attrs in page.elements if tag == "a" and "href" in attrs]
    boxes = [link.removeprefix("#") for link in links if link.startswith("#") and link != "#main"]
    assert {"width", "antenna_ahead", "tool_behind"} <= set(boxes) <= ids
    assert desk.get("/season/implement/new").status_code == 200
    assert desk.get("/season/implement/1").status_code == 404


def test_the_drawing_is_that_of_the_form_and_names_do_no_harm(desk: TestClient) -> None:
    size = "wide=400&high=300"
    sent = {"width": "12 ft", "compartments.0.name": "<b>seed", "compartments.0.volume": "90 bu"}
    answer = desk.post(f"/season/implement/0/drawing?{size}", data=sent)
    assert "12 ft" in answer.text
    assert "&lt;b&gt;seed" in answer.text
    assert "<b>" not in answer.text
    assert desk.post(f"/season/implement/new/drawing?{size}", data={}).status_code == 200
    assert desk.post(f"/season/implement/7/drawing?{size}", data={}).status_code == 404
    for bad in ("", "wide=400", "wide=-1&high=2", "wide=9999999&high=1", "wide=٣&high=1"):
        assert desk.post(f"/season/implement/0/drawing?{bad}", data={}).status_code == 400
    assert (desk.desk.farm.season).read_text() == SEASON  # type: ignore[attr-defined]


def test_an_antenna_off_to_the_right_is_put_there() -> None:
    right = Measured("left", "m", -0.0508, 0.0102, how="seams", told=0.0, disagrees=True)
    assert fits(right, US) == "an antenna 2.0 in ± 0.4 in right of the middle"
    ((box, text),) = next(offers(right, rig_of({}, US).implement, US)).boxes.items()
    assert rig_of({box: text}, US).antenna[0] == pytest.approx(0.0508, abs=1e-4)
    late = Measured("lag", "s", 1.54, 0.1, how="speeds")
    ((box, text),) = next(offers(late, rig_of({}, US).implement, US)).boxes.items()
    assert rig_of({box: text}, US).implement.product_lag_s == 1.5


def offered(desk: TestClient) -> list[dict[str, str]]:
    """What the buttons of the page would put into which boxes."""
    page = Page(desk.get("/season/implement/0/told").text)
    return [json.loads(a["data-boxes"] or "") for _, a in page.elements if "data-boxes" in a]


def behind_m(table: dict[str, Any]) -> float:
    return rig_of(table, METRIC).implement.behind_m


def test_what_the_log_fits_is_offered_in_parts_that_make_it_up(desk: TestClient) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    assert offered(desk) == []
    ask_logs(lambda _: None, farm, "drill")
    (boxes,) = offered(desk)
    told = told_of(farm, "drill")
    assert told is not None
    (first,) = [one for one in told["figures"] if one["offers"]]
    (says,) = first["says"]
    assert says.startswith("The log of Spring, Home fits a tool ")
    assert "you said 0 ft" in says
    raw = tomllib.loads(SEASON)
    table = raw["implement"][0]
    fitted = forms.table_of(KIND, {**form_of(raw, KIND, table), **boxes}, table)
    assert behind_m(fitted) == pytest.approx(TRUE.behind_m, abs=0.9)
    # Said of the season as it was: once that is changed, the logs are to be asked again.
    farm.season.write_text(f"{SEASON}\n# later\n")
    assert offered(desk) == []


def test_a_figure_that_is_told_wrong_is_put_right_by_any_one_of_its_parts(
    desk: TestClient,
) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    parts = 'antenna_ahead = "6 ft"\ntow = [{ hitch_to_axle = "12 ft" }]\ntool_behind = "0 ft"'
    farm.season.write_text(SEASON.replace('tool_behind = "0 ft"', parts))
    ask_logs(lambda _: None, farm, "drill")
    raw = tomllib.loads(farm.season.read_text())
    table = raw["implement"][0]
    each = offered(desk)
    assert [set(one) for one in each] == [
        {"antenna_ahead"},
        {"tow.0.hitch_to_axle"},
        {"tool_behind"},
    ]
    for boxes in each:
        fitted = forms.table_of(KIND, {**form_of(raw, KIND, table), **boxes}, table)
        assert behind_m(fitted) == pytest.approx(TRUE.behind_m, abs=0.9)


def test_several_logs_give_one_answer_by_the_one_that_knows_best(desk: TestClient) -> None:
    """A second log, of a drill that is where the first one is, is heard but offers nothing."""
    farm = desk.desk.farm  # type: ignore[attr-defined]
    second = SEASON.partition("[[operation]]")[2].replace("Spring", "Fall")
    farm.season.write_text(f"{SEASON}\n[[operation]]{second}")
    ask_logs(lambda _: None, farm, "drill")
    told = told_of(farm, "drill")
    assert told is not None
    assert len(offered(desk)) == 1
    assert [len(one["says"]) for one in told["figures"]] == [1, 1, 1, 2]
    assert told["figures"][1]["says"][0].startswith("No log can tell the antenna left of middle: ")
    assert told["figures"][3]["says"][1] == "That goes together, as with 1 more log."
    assert all(len(one["each"]) == 2 for one in told["figures"])


def test_a_log_that_cannot_be_read_is_said_and_keeps_no_other_from_being_asked(
    desk: TestClient,
) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    (farm.root / "empty.csv").write_text("")
    second = SEASON.partition("[[operation]]")[2].replace("Spring", "Fall")
    bad = f"[[operation]]{second.replace('log.csv', 'empty.csv')}"
    farm.season.write_text(f"{SEASON}\n{bad}")
    ask_logs(lambda _: None, farm, "drill")
    told = told_of(farm, "drill")
    assert told is not None
    assert any("empty.csv" in text for text in told["troubles"])
    assert len(offered(desk)) == 1
    ask_logs(lambda _: None, farm, "no such drill")
    none = told_of(farm, "no such drill")
    assert none is not None
    assert none["troubles"] == ["No job of this drill has a log yet."]
