"""Ground drawn at the desk: what is kept, what is refused, and what stays as it was."""

from __future__ import annotations

import json
import os
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pages import Page
from put_down import MISSOURI, on_earth
from starlette.testclient import TestClient
from test_desk import client_of

from evenacre.desk.drawing import corners_text, rings_in
from evenacre.geo.geodesy import geodesic_area_m2
from evenacre.io.season.edit import digest_of, versions
from evenacre.io.season.load import draft_season
from evenacre.model import Field

PASTURE = """# Ours
farm = "Farm"  # called so

[[field]]
name = "Home"
boundary = { file = "brought/home.geojson", where = { part = "a" } }  # as it came
fence = true

[paddocks]
file = "brought/paddocks.geojson"
name_column = "label"

[[paddock]]
name = "West"
forage = "1800 lb/ac"  # by stick

[grazing]
order = ["West", "East"]  # as always

[seeding]
ready = ["East", "West"]
"""


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[TestClient]:
    with client_of(tmp_path / "farm") as client:
        client.desk.board.start_in_turn = lambda *_: None  # type: ignore[attr-defined]
        yield client


@pytest.fixture
def pasture(desk: TestClient) -> TestClient:
    """A farm whose ground came as maps: a field 600 m to the north, two paddocks side by side."""
    root = root_of(desk)
    (root / "brought").mkdir()
    write(root / "brought/home.geojson", {"part": "a"}, box(0, 600, 300, 900))
    write(
        root / "brought/paddocks.geojson",
        *({"label": "West"}, box(-300, 0, 0, 200)),
        *({"label": "East"}, box(0, 0, 300, 200)),
    )
    (root / "season.toml").write_text(PASTURE)
    return desk


def root_of(desk: TestClient) -> Path:
    root: Path = desk.desk.farm.root  # type: ignore[attr-defined]
    return root


def box(*sides: float) -> shapely.Polygon:
    """A rectangle in metres, put down in Missouri."""
    return on_earth(shapely.box(*sides), MISSOURI, 0.0, (0.0, 0.0))


def line(*points: tuple[float, float]) -> shapely.LineString:
    return on_earth(shapely.LineString(points), MISSOURI, 0.0, (0.0, 0.0))


def point(x: float, y: float) -> shapely.Point:
    return on_earth(shapely.Point(x, y), MISSOURI, 0.0, (0.0, 0.0))


def write(path: Path, *pairs: Any) -> None:
    features = [
        {
            "type": "Feature",
            "properties": pairs[n],
            "geometry": shapely.geometry.mapping(pairs[n + 1]),
        }
        for n in range(0, len(pairs), 2)
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))


def asked(**query: str) -> dict[str, str]:
    return {"kind": "paddock", "part": "boundary", "form": "area", **query}


def draw(desk: TestClient, query: dict[str, str], shape: Any, **boxes: str) -> Any:
    seen = digest_of(root_of(desk) / "season.toml")
    data = {"seen": seen, "corners": corners_text(shape), **boxes}
    return desk.post("/ground/draw", params=query, data=data)


def drawn(desk: TestClient, name: str, shape: Any, **boxes: str) -> Any:
    """Draw a new paddock."""
    return draw(desk, asked(), shape, name=name, sticks="yes", **boxes)


def check(desk: TestClient, query: dict[str, str], text: str, **boxes: str) -> Any:
    answer = desk.post("/ground/check", params=query, data={"corners": text, **boxes})
    assert answer.status_code == 200
    return answer.json()


def plots(desk: TestClient) -> dict[str, Field]:
    """Fields and paddocks as the command line reads them, all of them right."""
    draft = draft_season(root_of(desk) / "season.toml", logs=False, must_hold="fields")
    # Herd and seeding are not told here.
    assert [p for p in draft.problems if not p.place.startswith(("grazing", "seeding"))] == []
    return {one.name: one for one in draft.season.fields}


def raw(desk: TestClient) -> dict[str, Any]:
    return tomllib.loads((root_of(desk) / "season.toml").read_text())


def area_m2(shape: shapely.Polygon) -> float:
    """On the ellipsoid, by a library of its own."""
    ring = Geodesic.WGS84.Polygon()
    for lon, lat in shapely.get_coordinates(shape.exterior)[:-1]:
        ring.AddPoint(lat, lon)
    return abs(float(ring.Compute()[2]))


def test_a_paddock_is_drawn_into_an_empty_folder_and_read_as_it_was_drawn(desk: TestClient) -> None:
    shape = box(0, 0, 400, 300)
    found = check(desk, asked(), corners_text(shape), name="North")
    acres = area_m2(shape) / 4046.8564224
    assert found["size"].startswith(f"{acres:.2f} ac (")
    assert found["wrong"] == {}
    answer = drawn(desk, "North", shape)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/ground/plot?kind=paddock&name=North"
    assert raw(desk) == {"paddock": [{"name": "North", "boundary": "drawn/North boundary.geojson"}]}
    kept = plots(desk)["North"].boundary
    assert area_m2(kept) == pytest.approx(area_m2(shape), abs=0.5)
    written = json.loads((root_of(desk) / "drawn/North boundary.geojson").read_bytes())
    (feature,) = written["features"]
    ring = shapely.LinearRing(feature["geometry"]["coordinates"][0])
    assert ring.is_ccw  # RFC 7946, 3.1.6
    assert desk.get("/ground").status_code == 200
    page = Page(desk.get(answer.headers["location"]).text)
    assert "North" in page.text


def test_each_change_has_a_file_of_its_own_and_can_be_undone(desk: TestClient) -> None:
    drawn(desk, "North", box(0, 0, 400, 300))
    before = (root_of(desk) / "season.toml").read_bytes()
    assert draw(desk, asked(name="North"), box(0, 0, 400, 200)).status_code == 303
    assert area_m2(plots(desk)["North"].boundary) == pytest.approx(400 * 200, abs=1)
    seen = digest_of(root_of(desk) / "season.toml")
    undone = desk.post("/season/step", data={"seen": seen, "step": "undo", "back": "/ground"})
    assert undone.headers["location"] == "/ground"
    assert (root_of(desk) / "season.toml").read_bytes() == before
    assert area_m2(plots(desk)["North"].boundary) == pytest.approx(400 * 300, abs=1)
    draw(desk, asked(name="North"), box(0, 0, 400, 100))
    assert sorted(path.name for path in (root_of(desk) / "drawn").iterdir()) == [
        "North boundary 2.geojson",
        "North boundary 3.geojson",
        "North boundary.geojson",
    ]


BOW = "40.1, -92.6\n40.101, -92.6\n40.1, -92.599\n40.101, -92.599"


@pytest.mark.parametrize(
    ("text", "box_name", "told"),
    [
        ("", "corners", "Nothing is drawn yet."),
        ("40.1, -92.6\n40.2", "corners", 'Line 2: "40.2" is not a latitude and a longitude.'),
        ("40.1, -92.6\n91, 0", "corners", 'Line 2: "91, 0" is no place on earth.'),
        (
            "40.1, -92.6\n40.2, -92.6\n40.1, -92.6",
            "corners",
            "An outline needs 3 corners at least.",
        ),
        (BOW, "corners", "The outline crosses itself near 40.100"),
        ("40.1,-92.6\n40.1,-92.1\n40.5,-92.1", "corners", "no field is so large"),
        (corners_text(box(-20, 20, 200, 190)), "corners", '"West" and "New" overlap by'),
    ],
)
def test_what_readers_would_refuse_is_told_beside_it_and_not_kept(
    pasture: TestClient, text: str, box_name: str, told: str
) -> None:
    found = check(pasture, asked(), text, name="New")
    assert told in found["wrong"][box_name]
    before = (root_of(pasture) / "season.toml").read_bytes()
    data = {"seen": digest_of(root_of(pasture) / "season.toml"), "corners": text, "name": "New"}
    answer = pasture.post("/ground/draw", params=asked(), data=data)
    assert answer.status_code == 400
    assert (text or told) in answer.text.replace("&#34;", '"')
    assert (root_of(pasture) / "season.toml").read_bytes() == before
    assert not (root_of(pasture) / "drawn").exists()


def test_names_are_needed_once_and_no_name_leads_out_of_the_folder(desk: TestClient) -> None:
    assert "no name yet" in check(desk, asked(), corners_text(box(0, 0, 90, 90)))["wrong"]["name"]
    names = ["../../out", "CON", ".hidden/a\\b", "x" * 300, "Süd 1", "..."]
    for number, name in enumerate(names):
        answer = drawn(desk, name, box(0, 100 * number, 90, 100 * number + 90))
        assert answer.status_code == 303, (name, answer.text)
    assert len(plots(desk)) == len(names)
    assert {p.parent for p in root_of(desk).parent.rglob("*.geojson")} == {root_of(desk) / "drawn"}
    again = drawn(desk, "Süd 1", box(500, 0, 590, 90))
    assert again.status_code == 400
    assert "already" in again.text


def test_a_brought_map_stays_as_it_is_and_its_change_is_a_copy(pasture: TestClient) -> None:
    root = root_of(pasture)
    files = {path: path.read_bytes() for path in (root / "brought").iterdir()}
    moved = box(0, 600, 300, 880)
    assert draw(pasture, asked(kind="field", name="Home"), moved).status_code == 303
    # A paddock of the map gets an outline of its own, its other figures stay.
    assert draw(pasture, asked(name="West"), box(-320, 0, 0, 200)).status_code == 303
    assert draw(pasture, asked(name="East"), box(0, 0, 310, 200)).status_code == 303
    found = plots(pasture)
    for name, side in (("Home", 300 * 280), ("West", 320 * 200), ("East", 310 * 200)):
        assert area_m2(found[name].boundary) == pytest.approx(side, abs=1)
    assert found["Home"].fenced
    assert {path: path.read_bytes() for path in (root / "brought").iterdir()} == files
    text = (root / "season.toml").read_text()
    for said in ("# Ours", "# called so", "# by stick", "# as always", 'forage = "1800 lb/ac"'):
        assert said in text


def test_corners_near_a_fence_are_put_onto_it_unless_that_is_not_wanted(
    pasture: TestClient,
) -> None:
    rough = box(0.6, 200.5, 300.4, 400)
    stuck = check(pasture, asked(), corners_text(rough), name="New", sticks="yes")
    assert stuck["wrong"] == {}
    assert stuck["notes"] == ["2 corners were put onto a neighbour's fence."]
    loose = check(pasture, asked(), corners_text(rough), name="New")
    assert loose["kept"] == loose["drawn"]
    east = {
        tuple(xy[::-1]) for xy in np.round(shapely.get_coordinates(box(0, 0, 300, 200)), 9).tolist()
    }
    assert len({tuple(c) for c in stuck["kept"][0]} & east) == 2
    # What lies in neighbours is cut off, where that is asked for.
    over = corners_text(box(-50, 150, 350, 400))
    assert "overlap" in check(pasture, asked(), over, name="New")["wrong"]["corners"]
    assert check(pasture, asked(), over, name="New", trims="yes")["wrong"] == {}
    assert drawn(pasture, "New", box(-50, 150, 350, 400), trims="yes").status_code == 303
    assert area_m2(plots(pasture)["New"].boundary) == pytest.approx(400 * 250 - 350 * 50, abs=2)


def test_a_shared_corner_moves_in_both(pasture: TestClient) -> None:
    shared, to = point(0, 200), point(20, 210)
    moves = f"{corners_text(shared)} > {corners_text(to)}"
    ring = shapely.get_coordinates(box(-300, 0, 0, 200))
    near = np.hypot(*(ring - shapely.get_coordinates(shared)).T) < 1e-8
    ring[near] = shapely.get_coordinates(to)
    shape = shapely.Polygon(ring)
    alone = check(pasture, asked(name="West"), corners_text(shape))
    assert "overlap" in alone["wrong"]["corners"]
    both = {"together": "yes", "moves": moves}
    assert check(pasture, asked(name="West"), corners_text(shape), **both)["wrong"] == {}
    assert draw(pasture, asked(name="West"), shape, **both).status_code == 303
    found = plots(pasture)
    whole = sum(area_m2(found[name].boundary) for name in ("West", "East"))
    # The fence at the top went up by 10 m in the middle: two triangles more.
    assert whole == pytest.approx(600 * 200 + 600 * 10 / 2, abs=2)


def test_a_paddock_is_split_and_its_pieces_take_its_place(pasture: TestClient) -> None:
    cut = {**asked(name="West"), "form": "line", "cuts": "yes"}
    across = line((-310, 120), (5, 120))
    found = check(pasture, cut, corners_text(across))
    assert found["size"] == "8.90 ac (3.60 ha) and 5.93 ac (2.40 ha)"
    assert draw(pasture, cut, across).status_code == 303
    now = plots(pasture)
    assert area_m2(now["West"].boundary) == pytest.approx(300 * 120, abs=1)
    assert area_m2(now["West 2"].boundary) == pytest.approx(300 * 80, abs=1)
    assert raw(pasture)["paddock"][1]["forage"] == "1800 lb/ac"
    assert raw(pasture)["grazing"]["order"] == ["West", "West 2", "East"]
    assert raw(pasture)["seeding"]["ready"] == ["East", "West", "West 2"]
    corners = [
        set(map(tuple, shapely.get_coordinates(now[n].boundary))) for n in ("West", "West 2")
    ]
    assert len(corners[0] & corners[1]) == 2
    # And joined again: the second goes, from all lists too.
    seen = digest_of(root_of(pasture) / "season.toml")
    join = {"seen": seen, "name": "West", "other": "West 2"}
    assert pasture.post("/ground/join", data=join).status_code == 303
    assert area_m2(plots(pasture)["West"].boundary) == pytest.approx(300 * 200, abs=1)
    assert raw(pasture)["grazing"]["order"] == ["West", "East"]
    assert [one["name"] for one in raw(pasture)["paddock"]] == ["West"]


def test_pieces_of_numbered_ground_have_letters(desk: TestClient) -> None:
    drawn(desk, "Creek 1", box(0, 0, 300, 300))
    drawn(desk, "Creek 1b", box(0, 400, 300, 500))
    cut = {**asked(name="Creek 1"), "form": "line", "cuts": "yes"}
    assert draw(desk, cut, line((-10, 99), (310, 99))).status_code == 303
    assert [one["name"] for one in raw(desk)["paddock"]] == ["Creek 1", "Creek 1c", "Creek 1b"]
    text = (root_of(desk) / "season.toml").read_text()
    assert text.count("\n\n[[paddock]]\n") == 2


def test_what_does_not_touch_is_not_joined_and_what_a_line_misses_not_split(
    pasture: TestClient,
) -> None:
    drawn(pasture, "Far", box(-300, 230, 0, 400))
    seen = digest_of(root_of(pasture) / "season.toml")
    answer = pasture.post("/ground/join", data={"seen": seen, "name": "West", "other": "Far"})
    assert answer.status_code == 400
    assert "98.4 ft (30.0 m) lie between them" in Page(answer.text).text
    cut = {**asked(name="West"), "form": "line", "cuts": "yes"}
    for way, told in (
        (line((-310, 300), (5, 300)), "does not cut it in two"),
        (line((-310, 0.1), (5, 0.1)), "One piece would be only"),
    ):
        assert told in check(pasture, cut, corners_text(way))["wrong"]["corners"]


def test_a_paddock_of_the_map_is_taken_out_by_a_copy_of_the_map(pasture: TestClient) -> None:
    root = root_of(pasture)
    brought = (root / "brought/paddocks.geojson").read_bytes()
    take = {"kind": "paddock", "name": "East", "seen": digest_of(root / "season.toml")}
    assert pasture.post("/ground/take-out", data=take).status_code == 303
    assert raw(pasture)["paddocks"] == {"file": "drawn/paddocks map.geojson", "name_column": "name"}
    assert raw(pasture)["grazing"]["order"] == ["West"]
    assert raw(pasture)["seeding"]["ready"] == ["West"]
    assert set(plots(pasture)) == {"Home", "West"}
    assert (root / "brought/paddocks.geojson").read_bytes() == brought
    take = {"kind": "paddock", "name": "West", "seen": digest_of(root / "season.toml")}
    assert pasture.post("/ground/take-out", data=take).status_code == 303
    assert "paddocks" not in raw(pasture)
    assert "paddock" not in raw(pasture) or raw(pasture)["paddock"] == []


def test_a_field_is_divided_into_paddocks_and_stays(pasture: TestClient) -> None:
    home = asked(kind="field", name="Home")
    pond = {**home, "part": "unworkable"}
    assert draw(pasture, pond, box(20, 620, 60, 660)).status_code == 303
    cut = {**home, "form": "line", "cuts": "yes"}
    assert draw(pasture, cut, line((150, 590), (150, 910))).status_code == 303
    found = plots(pasture)
    assert area_m2(found["Home"].boundary) == pytest.approx(300 * 300, abs=1)
    ponds = {name: found[name].unworkable is not None for name in ("Home 1", "Home 2")}
    assert sorted(ponds.values()) == [False, True]
    assert all(area_m2(found[n].boundary) == pytest.approx(150 * 300, abs=1) for n in ponds)


def test_a_paddock_that_goes_by_a_field_keeps_its_pond_and_gate(pasture: TestClient) -> None:
    home = asked(kind="field", name="Home")
    draw(pasture, {**home, "part": "unworkable"}, box(20, 620, 60, 660))
    draw(pasture, {**home, "part": "gate", "form": "point"}, point(150, 600))
    season = root_of(pasture) / "season.toml"
    season.write_text(season.read_text() + '\n[[paddock]]\nname = "Home"\n')
    # A second pond joins the first, and does not replace it.
    mine = asked(name="Home")
    assert draw(pasture, {**mine, "part": "unworkable"}, box(100, 700, 150, 750)).status_code == 303
    ponds = plots(pasture)["Home"].unworkable
    assert sum(map(area_m2, shapely.get_parts(ponds))) == pytest.approx(1600 + 2500, abs=1)
    gone = check(pasture, mine, corners_text(box(0, 640, 300, 900)))
    assert "The gate lies" in gone["wrong"]["corners"]
    assert draw(pasture, mine, box(0, 600, 300, 890)).status_code == 303
    kept = plots(pasture)["Home"]
    assert area_m2(kept.boundary) == pytest.approx(300 * 290, abs=1)
    assert kept.unworkable.equals(ponds)
    assert kept.gate is not None
    assert raw(pasture)["paddock"][1]["fence"] is True
    assert raw(pasture)["field"][0]["boundary"]["file"] == "brought/home.geojson"


def test_ground_of_a_paddock_that_goes_by_a_field_is_taken(pasture: TestClient) -> None:
    season = root_of(pasture) / "season.toml"
    season.write_text(season.read_text() + '\n[[paddock]]\nname = "Home"\n')
    found = check(pasture, asked(), corners_text(box(200, 700, 500, 800)), name="New")
    assert '"Home" and "New" overlap by' in found["wrong"]["corners"]
    # It goes where the field goes, and is no fence to the field's own corners.
    moved = check(
        pasture,
        asked(kind="field", name="Home"),
        corners_text(box(0.5, 600, 300, 900)),
        sticks="yes",
    )
    assert moved["kept"] == moved["drawn"] or moved["notes"] == []
    cut = {**asked(kind="field", name="Home"), "form": "line", "cuts": "yes"}
    found = check(pasture, cut, corners_text(line((150, 590), (150, 910))))
    assert 'already ("Home"): ground would count twice' in found["wrong"]["corners"]


def test_several_maps_of_wet_ground_are_left_to_the_form(pasture: TestClient) -> None:
    season = root_of(pasture) / "season.toml"
    wet = asked(name="West", part="keep_out")
    assert draw(pasture, wet, box(-99, 20, -60, 60), said="2026-05-20").status_code == 303
    single = season.read_text()
    (line_of,) = [row for row in single.splitlines() if row.startswith("keep_out")]
    inner = line_of.partition(" = ")[2]
    season.write_text(single.replace(line_of, f"keep_out = [{inner}]"))
    page = pasture.get("/ground/draw", params={**wet, "number": "0"}).text
    assert "2026-05-20" in page
    season.write_text(single.replace(line_of, f"keep_out = [{inner}, {inner}]"))
    found = check(pasture, wet, corners_text(box(-50, 20, -20, 60)))
    assert "Several maps are named for it" in found["wrong"]["corners"]
    # Joined, the paddock has them all, each with its day.
    told = {"seen": digest_of(season), "name": "East", "other": "West"}
    assert pasture.post("/ground/join", data=told).status_code == 303
    (joined,) = raw(pasture)["paddock"]
    assert [one["until"] for one in joined["keep_out"]] == ["2026-05-20"] * 2
    assert plots(pasture)


def test_wet_ground_of_joined_paddocks_keeps_its_days(pasture: TestClient) -> None:
    for name, x, day in (("West", -99, "2026-05-20"), ("East", 40, "2026-06-01")):
        shape = box(x, 20, x + 30, 60)
        assert draw(pasture, asked(name=name, part="keep_out"), shape, said=day).status_code == 303
    season = root_of(pasture) / "season.toml"
    told = {"seen": digest_of(season), "name": "East", "other": "West"}
    assert pasture.post("/ground/join", data=told).status_code == 303
    (joined,) = raw(pasture)["paddock"]
    assert [one["until"] for one in joined["keep_out"]] == ["2026-06-01", "2026-05-20"]
    assert plots(pasture)


MOVES = """
[[move]]
paddock = "West"
enter = 2026-05-01
leave = 2026-05-06

[[move]]
paddock = "East"
enter = 2026-05-06
leave = 2026-05-11
"""


@pytest.mark.parametrize("does", ["join", "take-out"])
def test_moves_of_a_paddock_that_is_gone_are_mended_at_once(pasture: TestClient, does: str) -> None:
    season = root_of(pasture) / "season.toml"
    season.write_text(season.read_text() + MOVES)
    assert "Moves of the herd name" not in pasture.get("/ground").text
    told = {"seen": digest_of(season), "name": "East", "other": "West"}
    if does == "take-out":
        told = {"seen": digest_of(season), "kind": "paddock", "name": "West"}
    shown = pasture.post(f"/ground/{does}", data=told, follow_redirects=True).text
    assert "Moves of the herd name <strong>West</strong>" in shown
    assert "<option selected>East</option>" in shown or does == "take-out"
    mend = {"seen": digest_of(season), "stray": "West", "other": "East"}
    mend |= {"rename": "yes"} if does == "join" else {}
    for wrong in ({"stray": "East"}, {"stray": "West", "rename": "yes", "other": "North"}):
        assert pasture.post("/ground/moves", data={**mend, **wrong}).status_code == 404
    shown = pasture.post("/ground/moves", data=mend, follow_redirects=True).text
    assert "Moves of the herd name" not in shown
    named = [move["paddock"] for move in raw(pasture)["move"]]
    assert named == (["East", "East"] if does == "join" else ["East"])


def test_drawings_that_nothing_names_any_more_go_away(desk: TestClient) -> None:
    root = root_of(desk)
    drawn(desk, "North", box(0, 0, 400, 300))
    own = root / "drawn/own.geojson"
    own.write_text("{}")
    for width in (390, 380, 370, 360):
        assert draw(desk, asked(name="North"), box(0, 0, width, 300)).status_code == 303
    files = [f"North boundary{more}.geojson" for more in ("", *(f" {n}" for n in range(2, 6)))]
    assert {path.name for path in (root / "drawn").iterdir()} == {*files, own.name}
    # Versions that could be brought back are gone; one file was changed, one is named elsewhere.
    for path in versions(desk.desk.farm.versions):  # type: ignore[attr-defined]
        path.unlink()
    changed = root / "drawn" / files[1]
    changed.write_text(changed.read_text() + "\n")
    other = "\\u004eorth boundary 3.geojson"
    (root / "other.toml").write_text(f'[[paddock]]\nname = "N"\nboundary = "drawn/{other}"\n')
    draw(desk, asked(name="North"), box(0, 0, 350, 300))
    left = {path.name for path in (root / "drawn").iterdir()}
    assert left == {own.name, files[1], files[2], files[4], "North boundary 6.geojson"}
    assert area_m2(plots(desk)["North"].boundary) == pytest.approx(350 * 300, abs=1)


@pytest.mark.parametrize(
    ("kind", "part", "form", "shape", "boxes", "holds"),
    [
        ("field", "unworkable", "area", box(20, 620, 60, 660), {}, lambda f: f.unworkable.area > 0),
        ("paddock", "keep_out", "area", box(-99, 20, -60, 60), {}, lambda f: True),
        ("paddock", "gate", "point", point(-150, 200), {}, lambda f: f.gate is not None),
        ("field", "line", "line", line((0, 610), (300, 640)), {}, lambda f: f.line is not None),
        (
            *("field", "setbacks", "point", point(150, 750)),
            *(
                {"said": "100 ft", "called": "north well"},
                lambda f: f.setbacks["name"][0] == "north well",
            ),
        ),
        (
            *("paddock", "cross", "line", line((-150, -5), (-140, 205)), {"said": "30 ft"}),
            lambda f: 200 * 9 < area_m2(f.crossed) < 200 * 10,
        ),
    ],
)
def test_parts_are_drawn_changed_and_taken_out(
    pasture: TestClient, kind: str, part: str, form: str, shape: Any, boxes: Any, holds: Any
) -> None:
    name = "Home" if kind == "field" else "West"
    query = asked(kind=kind, name=name, part=part, form=form)
    assert draw(pasture, query, shape, **boxes).status_code == 303
    assert holds(plots(pasture)[name])
    again = draw(pasture, {**query, "number": "0"}, shape, **boxes)
    assert again.status_code == 303
    assert pasture.get("/ground/draw", params={**query, "number": "0"}).status_code == 200
    assert pasture.get("/ground/draw", params={**query, "number": "1"}).status_code == 404
    if "said" in boxes:
        found = check(pasture, query, corners_text(shape), said="thirty")
        assert "thirty" in found["wrong"]["said"]
        assert "said" in check(pasture, query, corners_text(shape))["wrong"]
    seen = digest_of(root_of(pasture) / "season.toml")
    take = {"kind": kind, "name": name, "part": part, "number": "0", "seen": seen}
    assert pasture.post("/ground/take-out", data=take).status_code == 303
    assert part not in json.dumps(raw(pasture)["paddock" if kind == "paddock" else "field"])


def test_a_gate_off_the_fence_and_one_left_behind_are_told(pasture: TestClient) -> None:
    gate = asked(name="West", part="gate", form="point")
    found = check(pasture, gate, corners_text(point(-150, 150)))
    assert "from the fence" in found["wrong"]["corners"]
    assert draw(pasture, gate, point(-150, 200)).status_code == 303
    found = check(pasture, asked(name="West"), corners_text(box(-300, 0, 0, 170)))
    assert "The gate lies" in found["wrong"]["corners"]


def test_nothing_is_kept_of_a_drawing_when_the_season_was_changed_elsewhere(
    pasture: TestClient,
) -> None:
    season = root_of(pasture) / "season.toml"
    seen = digest_of(season)
    season.write_text(season.read_text().replace("Farm", "Our Farm"))
    data = {"seen": seen, "corners": corners_text(box(300, 0, 400, 200)), "name": "New"}
    answer = pasture.post("/ground/draw", params=asked(), data=data)
    assert answer.status_code == 409
    assert "changed elsewhere" in answer.text
    assert "New" not in season.read_text()
    assert list((root_of(pasture) / "drawn").iterdir()) == []


def test_holes_and_pieces_come_back_as_they_went(desk: TestClient) -> None:
    shape = shapely.union(
        box(0, 0, 300, 300).difference(box(50, 50, 100, 100)), box(400, 0, 500, 90)
    )
    assert drawn(desk, "Two", shape).status_code == 303
    kept = plots(desk)["Two"].boundary
    assert kept.symmetric_difference(shape).area * 1e10 < 1.0
    assert "\n\n" in desk.get("/ground/draw", params=asked(name="Two")).text


@given(
    st.lists(
        st.lists(
            st.tuples(st.floats(-89, 89), st.floats(-180, 180)), min_size=1, max_size=5, unique=True
        ),
        min_size=1,
        max_size=3,
    )
)
def test_corners_are_the_same_as_text_and_back(rings: list[list[tuple[float, float]]]) -> None:
    text = "\n\n".join("\n".join(f"{lat:.9f}, {lon:.9f}" for lat, lon in ring) for ring in rings)
    found = rings_in(text)
    assert [len(ring) for ring in found] == [len(ring) for ring in rings]
    for ring, back in zip(rings, found, strict=True):
        lat, lon = np.array(ring).T
        np.testing.assert_allclose(back[:, 1], lat, atol=1e-9)
        np.testing.assert_allclose((back[:, 0] - lon + 180) % 360, 180, atol=1e-8)


def test_places_are_read_as_people_write_them_and_far_apart_turns_of_the_globe_join(
    desk: TestClient,
) -> None:
    for text in ("40.1N 92.6W", "40.1, -92.6", "40.1;-92.6"):
        assert desk.post("/ground/place", data={"place": text}).json() == {"place": [40.1, -92.6]}
    answer = desk.post("/ground/place", data={"place": "the barn"})
    assert answer.status_code == 400
    assert "latitude first" in answer.json()["told"]
    text = "-16.85, 179.999\n-16.85, -179.999\n-16.853, -179.999\n-16.853, 179.999"
    found = check(desk, asked(), text, name="Across")
    assert found["wrong"] == {}
    assert found["size"].startswith("17.49 ac (")


ODD = st.text(st.characters(codec="utf-8", exclude_categories=["C"]), max_size=20)
WORDS = st.sampled_from(
    [
        "paddock",
        "field",
        "boundary",
        "cross",
        "gate",
        "area",
        "line",
        "point",
        "West",
        "Home",
        "0",
        "",
    ]
)


@given(
    query=st.dictionaries(
        st.sampled_from(["kind", "name", "part", "form", "number", "cuts"]), WORDS | ODD
    ),
    boxes=st.dictionaries(
        st.sampled_from(
            [
                "corners",
                "name",
                "said",
                "moves",
                "together",
                "sticks",
                "trims",
                "other",
                "part",
                "place",
            ]
        ),
        ODD
        | st.lists(st.tuples(st.floats(-90, 90), st.floats(-180, 180))).map(
            lambda some: "\n".join(f"{lat}, {lon}" for lat, lon in some)
        ),
    ),
)
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_request_breaks_the_desk_or_the_season(
    pasture: TestClient, query: dict[str, str], boxes: dict[str, str]
) -> None:
    before = (root_of(pasture) / "season.toml").read_bytes()
    for address in ("/ground/draw", "/ground/plot"):
        assert pasture.get(address, params=query).status_code in (200, 404)
    for address in ("draw", "check", "join", "take-out", "moves", "place"):
        answer = pasture.post(f"/ground/{address}", params=query, data=boxes)
        assert answer.status_code in (200, 303, 400, 404, 409), answer.text
    assert (root_of(pasture) / "season.toml").read_bytes() == before


DRAWN = st.lists(
    st.fixed_dictionaries(
        {
            "at": st.tuples(st.integers(-400, 400), st.integers(-400, 400)),
            "radii": st.lists(st.integers(40, 200), min_size=3, max_size=7),
            "ticks": st.sets(st.sampled_from(["sticks", "trims", "together"])),
            "does": st.sampled_from(["draw", "draw", "split", "join", "again"]),
        }
    ),
    min_size=2,
    max_size=8,
)


@given(drawn=DRAWN)
@settings(
    max_examples=int(os.environ.get("DRAWINGS", "4")),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_whatever_is_kept_the_command_line_reads_without_a_complaint(
    desk: TestClient, drawn: list[dict[str, Any]]
) -> None:
    season = root_of(desk) / "season.toml"
    season.unlink(missing_ok=True)
    names: list[str] = []
    for number, one in enumerate(drawn):
        turns = np.linspace(0, 2 * np.pi, len(one["radii"]), endpoint=False)
        reach = np.array(one["radii"]) * np.stack([np.cos(turns), np.sin(turns)])
        shape = on_earth(shapely.Polygon((reach.T + one["at"]).tolist()), MISSOURI, 0.0, (0.0, 0.0))
        ticks = dict.fromkeys(one["ticks"], "yes")
        before = dict(plots(desk)) if names else {}
        if one["does"] == "draw" or not names:
            answer = draw(desk, asked(), shape, name=f"P{number}", **ticks)
        elif one["does"] == "again":
            shapes = before[names[0]].boundary
            corner = shapely.get_coordinates(shapes)[0]
            moved = shapely.transform(shapes, lambda xy, c=corner: np.where(xy == c, xy + 1e-4, xy))
            ends = [corners_text(shapely.Point(end)) for end in (corner, corner + 1e-4)]
            moves = " > ".join(ends)
            answer = draw(desk, asked(name=names[0]), moved, moves=moves, **ticks)
        elif one["does"] == "split":
            query = {**asked(name=names[0]), "form": "line", "cuts": "yes"}
            middle = before[names[0]].boundary.representative_point()
            west, east = (shapely.affinity.translate(middle, x, x / 3) for x in (-0.02, 0.02))
            answer = draw(desk, query, shapely.LineString([west, middle, east]))
        else:
            told = {"seen": digest_of(season), "name": names[0], "other": names[-1]}
            answer = desk.post("/ground/join", data=told)
        assert answer.status_code in (303, 400), answer.text
        found = plots(desk) if season.exists() else {}
        names = list(found)
        if answer.status_code == 400:
            assert names == list(before)
        if one["does"] in ("split", "join"):
            sums = [
                sum(geodesic_area_m2(f.boundary) for f in kept.values()) for kept in (before, found)
            ]
            assert sums[0] == pytest.approx(sums[1], abs=1.0) or not before
