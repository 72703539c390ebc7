"""Forms of the season: every key has a box, and what is not changed stays to the byte."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient
from test_desk import client_of

from evenacre.desk import forms
from evenacre.io.season.edit import digest_of

WRITTEN = """# Ours
farm = "Farm"  # called so
units = "us"

[[implement]]
name = "drill"  # the old one
width = "20 ft"  # by tape
rows = 32
tow = [ { hitch_to_axle = "16 ft" } ]  # one

[[field]]
name = "Home"
boundary = "home.geojson"  # drawn by hand

[[product]]
name = "rye"
kind = "seed"
purity = 98

[[operation]]
name = "Spring"
field = "Home"
implement = "drill"
date = 2026-04-14
tracks = ["log.csv"]
products = [
  { product = "rye", rate = "45 lb/ac" },  # as sown
]
[operation.columns]
rate = "Rate [lb/ac]"

# The last remark
"""


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[TestClient]:
    with client_of(tmp_path / "farm") as client:
        client.desk.board.start_in_turn = lambda *_: None  # type: ignore[attr-defined]
        client.desk.farm.season.write_text(WRITTEN)  # type: ignore[attr-defined]
        yield client


def leaves(boxes: tuple[forms.Box, ...]) -> dict[str, str]:
    """What a browser would send of a form that nobody touched."""
    found: dict[str, str] = {}
    for box in boxes:
        found |= leaves(box.inner) if box.inner else {box.name: box.text}
    return found


def form_of(raw: dict[str, Any], kind: forms.Kind, table: Any) -> dict[str, str]:
    return leaves(forms.boxes(kind, table, raw, []))


def saved(desk: TestClient, address: str, **changes: str) -> Any:
    """Fill in a form as it stands, change some boxes, and send it."""
    farm = desk.desk.farm  # type: ignore[attr-defined]
    raw = tomllib.loads(farm.season.read_text())
    _, _, name, number = address.split("/")
    kind = forms.KINDS[name]
    table = {} if number == "new" else forms.tables_of(raw, kind)[int(number)]
    data = {**form_of(raw, kind, table), "seen": digest_of(farm.season), **changes}
    return desk.post(address, data=data)


def text_of(desk: TestClient) -> str:
    return str(desk.desk.farm.season.read_text())  # type: ignore[attr-defined]


def test_every_key_of_every_table_has_a_box() -> None:
    for kind in forms.KINDS.values():
        shown = form_of({}, kind, {})
        for name, declared in kind.model.model_fields.items():
            key = declared.alias or name
            there = any(box == key or box.startswith(f"{key}.") for box in shown)
            assert there != (key in kind.hidden), (kind.title, key)


@pytest.mark.parametrize("text", ["2.6", "31.5 lb", "yes", "2026-08-03", "?"])
def test_every_box_takes_any_text_or_says_what_is_wrong(text: str) -> None:
    for kind in forms.KINDS.values():
        filled = dict.fromkeys(form_of({}, kind, {}), text)
        table = forms.table_of(kind, filled, {})
        forms.troubles_of(kind, table, {}, lambda _: True)
        assert set(table) == {name.split(".")[0] for name in filled}
    intake = forms.table_of(forms.KINDS["herd"], {"intake": text}, {})["intake"]
    assert intake == (2.6 if text == "2.6" else text)


def test_forms_that_nobody_touched_change_nothing(sample_farm: Path, desk: TestClient) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    for text in (WRITTEN, (sample_farm / "season.toml").read_text()):
        farm.season.write_text(text)
        raw = tomllib.loads(text)
        for name, kind in forms.KINDS.items():
            for number, table in enumerate(forms.tables_of(raw, kind)):
                sent = form_of(raw, kind, table)
                assert forms.table_of(kind, sent, table) == table
                assert forms.troubles_of(kind, table, table, lambda _: False) == {}, name
                assert saved(desk, f"/season/{name}/{number}").status_code == 303
                assert text_of(desk) == text


@pytest.mark.parametrize(
    ("address", "box", "text", "before", "after"),
    [
        ("/season/farm/0", "farm", "Our Farm", 'farm = "Farm"', 'farm = "Our Farm"'),
        ("/season/farm/0", "units", "metric", 'units = "us"', 'units = "metric"'),
        ("/season/implement/0", "width", "6 m", 'width = "20 ft"', 'width = "6 m"'),
        ("/season/implement/0", "rows", "30", "rows = 32", "rows = 30"),
        ("/season/implement/0", "tow.0.hitch_to_axle", "5 m", '"16 ft"', '"5 m"'),
        ("/season/product/0", "purity", "97.5", "purity = 98", "purity = 97.5"),
        ("/season/operation/0", "date", "2026-04-15", "2026-04-14", "2026-04-15"),
        ("/season/operation/0", "products.0.rate", "50 lb/ac", '"45 lb/ac"', '"50 lb/ac"'),
        ("/season/operation/0", "columns.0.value", "R", '"Rate [lb/ac]"', '"R"'),
        ("/season/operation/0", "products.0.rate", "", ', rate = "45 lb/ac"', " "),
    ],
)
def test_one_box_changes_one_value(
    desk: TestClient, address: str, box: str, text: str, before: str, after: str
) -> None:
    assert saved(desk, address, **{box: text}).status_code == 303
    assert text_of(desk) == WRITTEN.replace(before, after)


@pytest.mark.parametrize("at", [None, 1])
@pytest.mark.parametrize(
    "text",
    [
        'farm = "x"\n',
        'paddock = [ {name="a"}, {name="b"} ]  # ours\n',
        '[paddock]\nname = "a"  # ours\n\n[grazing]\nrest = "3 days"\n',
        'paddock = {name="a"}\n',
        '[[paddock]]\nname="a"\n# ours\n\n[[paddock]]\nname="b"\n\n[grazing]\nrest="3 days"\n',
        '[[paddock]]\nname="a"\n[[paddock]]\nname="b"\n',
    ],
)
def test_a_table_is_added_however_its_kind_is_written(text: str, at: int | None) -> None:
    kind, table = forms.KINDS["paddock"], {"name": "new", "cross": {"file": "x", "width": "2 m"}}
    document = tomlkit.parse(text)
    before = tomllib.loads(text)
    held = before.get("paddock", [])
    names = [one["name"] for one in (held if isinstance(held, list) else [held])]
    place = None if len(names) < 2 else at
    forms.put_table(kind, table, document, None, at=place)
    after = tomllib.loads(tomlkit.dumps(document))
    names.insert(len(names) if place is None else place, "new")
    assert [one["name"] for one in after["paddock"]] == names
    assert table in after["paddock"]
    assert {k: v for k, v in after.items() if k != "paddock"} == {
        k: v for k, v in before.items() if k != "paddock"
    }
    forms.drop_table(kind, document, names.index("new"))
    left = tomllib.loads(tomlkit.dumps(document)).get("paddock", [])
    assert [one["name"] for one in left] == [one for one in names if one != "new"]


def test_rows_are_added_and_taken_out(desk: TestClient) -> None:
    saved(desk, "/season/implement/0", **{"tow.1.hitch_to_axle": "3 m"})
    assert tomllib.loads(text_of(desk))["implement"][0]["tow"] == [
        {"hitch_to_axle": "16 ft"},
        {"hitch_to_axle": "3 m"},
    ]
    assert saved(desk, "/season/product/new", name="vetch", kind="seed").status_code == 303
    assert [p["name"] for p in tomllib.loads(text_of(desk))["product"]] == ["rye", "vetch"]
    seen = digest_of(desk.desk.farm.season)  # type: ignore[attr-defined]
    assert desk.post("/season/product/1/drop", data={"seen": seen}).status_code == 303
    assert [p["name"] for p in tomllib.loads(text_of(desk))["product"]] == ["rye"]
    assert saved(desk, "/season/grazing/new", start="2026-08-01").status_code == 303
    assert "# The last remark" in text_of(desk)
    assert str(tomllib.loads(text_of(desk))["grazing"]["start"]) == "2026-08-01"


@pytest.mark.parametrize(
    ("address", "box", "text", "word"),
    [
        ("/season/implement/0", "width", "20 lb", "20 lb"),
        ("/season/implement/0", "tow.0.hitch_to_axle", "long", "long"),
        ("/season/implement/0", "rows", "many", "whole number"),
        ("/season/operation/0", "products.0.rate", "45", "45"),
        ("/season/field/0", "name", "", "missing"),
        ("/season/field/0", "boundary.file", "../../secret.txt", "no folder of the farm"),
        ("/season/field/0", "boundary.file", "/etc/passwd", "no folder of the farm"),
        ("/season/operation/0", "tracks.0.file", "/etc/passwd", "no folder of the farm"),
        ("/season/operation/0", "blockages", "/etc/passwd", "no folder of the farm"),
        ("/season/operation/0", "loads", "../x.csv", "no folder of the farm"),
        ("/season/seeding/new", "rain", "../x.csv", "no folder of the farm"),
    ],
)
def test_a_mistake_is_told_beside_its_box_and_nothing_is_kept(
    desk: TestClient, address: str, box: str, text: str, word: str
) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    answer = saved(desk, address, **{box: text})
    assert answer.status_code == 400
    assert word in answer.text
    assert text_of(desk) == WRITTEN
    raw = tomllib.loads(WRITTEN)
    kind = forms.KINDS[address.split("/")[2]]
    table = {} if address.endswith("new") else forms.tables_of(raw, kind)[0]
    data = {**form_of(raw, kind, table), box: text, "seen": digest_of(farm.season)}
    told = desk.post(f"{address}/check", data=data).json()
    assert any(word in trouble for trouble in told.values())
    # Told where the page has a place for it: at the box or at one that holds it.
    assert all(box.startswith(name.partition(".")[0]) for name in told)


def test_a_form_from_before_a_change_elsewhere_is_not_kept_but_not_lost(desk: TestClient) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    old = digest_of(farm.season)
    farm.season.write_text(WRITTEN.replace("by tape", "by tape, twice"))
    answer = saved(desk, "/season/implement/0", width="21 ft", seen=old)
    assert answer.status_code == 409
    assert 'value="21 ft"' in answer.text
    assert "20 ft" in text_of(desk)
    assert saved(desk, "/season/implement/0", width="21 ft").status_code == 303
    assert 'width = "21 ft"  # by tape, twice' in text_of(desk)


def test_undo_brings_back_what_was_there(desk: TestClient) -> None:
    saved(desk, "/season/implement/0", width="21 ft")
    page = desk.get("/season").text
    assert "Undo the last change" in page
    version = page.partition('name="version" value="')[2].partition('"')[0]
    seen = digest_of(desk.desk.farm.season)  # type: ignore[attr-defined]
    desk.post("/season/restore", data={"seen": seen, "version": version})
    assert text_of(desk) == WRITTEN
    gone = desk.post(
        "/season/restore", data={"seen": digest_of(desk.desk.farm.season), "version": "../../x"}
    )  # type: ignore[attr-defined]
    assert gone.status_code == 404


def test_changes_are_undone_one_by_one_and_redone(desk: TestClient) -> None:
    def press(step: str) -> str:
        seen = digest_of(desk.desk.farm.season)  # type: ignore[attr-defined]
        answer = desk.post("/season/step", data={"seen": seen, "step": step})
        assert (answer.status_code, answer.headers["location"]) == (303, "/season")
        return desk.get("/season").text

    widths = ["21 ft", "22 ft", "23 ft"]
    texts = [text_of(desk)]
    for width in widths:
        saved(desk, "/season/implement/0", width=width)
        texts.append(text_of(desk))
    assert "Redo what was undone" not in desk.get("/season").text
    for text in (*texts[2::-1], texts[0]):  # once more than there are changes
        page = press("undo")
        assert text_of(desk) == text
    assert "Undo the last change" not in page
    for text in texts[1:3]:
        assert "Redo what was undone" in press("redo")
        assert text_of(desk) == text
    saved(desk, "/season/implement/0", width="24 ft")
    assert "Redo what was undone" not in press("redo")
    assert 'width = "24 ft"' in text_of(desk)
    press("undo")
    assert text_of(desk) == texts[2]
    assert desk.post("/season/step", data={"seen": "", "step": "undo"}).status_code == 400
    assert desk.post("/season/step", data={"seen": "", "step": "back"}).status_code == 404


NAMED = """name width rows sections tow tow.0 tow.0.hitch_to_axle tow.x.y tow.5.axle_to_pin
    compartments.0.name name.0 width.0.key own . .."""
BOXES = st.sampled_from(NAMED.split())


@given(st.dictionaries(BOXES, st.text(max_size=20) | st.sampled_from(["1", "20 ft", "yes"])))
@settings(max_examples=100)
def test_whatever_is_sent_leaves_a_season_that_can_be_read(sent: dict[str, str]) -> None:
    import tomlkit

    kind, raw = forms.KINDS["implement"], tomllib.loads(WRITTEN)
    before = raw["implement"][0]
    table = forms.table_of(kind, sent, before)
    if forms.troubles_of(kind, table, before, lambda _: True):
        return
    document = tomlkit.parse(WRITTEN)
    forms.put_table(kind, table, document, 0)
    after = tomllib.loads(tomlkit.dumps(document))
    assert after["implement"] == [table]
    assert {**after, "implement": 0} == {**raw, "implement": 0}


def test_forms_speak_of_no_key_and_no_bracket() -> None:
    def texts(boxes: tuple[forms.Box, ...]) -> Iterator[str]:
        for box in boxes:
            yield from (box.label, box.help)
            yield from texts(box.inner)

    for kind in forms.KINDS.values():
        for text in texts(forms.boxes(kind, {}, {}, [])):
            assert not set(text) & set("_{}[]"), text


def test_the_season_is_listed_by_names_and_not_by_what_stands_in_it(desk: TestClient) -> None:
    page = desk.get("/season").text
    assert ">Farm</a>" in page
    assert "boundary" not in page


@pytest.mark.parametrize(("typed", "kept"), [("2.6", 2.6), ("3", 3), ("31.5 lb", "31.5 lb")])
def test_what_an_animal_eats_is_a_share_or_a_mass(
    desk: TestClient, typed: str, kept: float | str
) -> None:
    herd = {"class": "cows", "head": "20", "weight": "1200 lb", "intake": typed}
    assert saved(desk, "/season/herd/new", **herd).status_code == 303
    raw = tomllib.loads(desk.desk.farm.season.read_text())  # type: ignore[attr-defined]
    assert raw["herd"] == [{"class": "cows", "head": 20, "weight": "1200 lb", "intake": kept}]


def test_a_day_is_written_in_lists_as_in_reports() -> None:
    job = {"name": "Fertilizer", "field": "Home Field", "date": dt.date(2026, 4, 14)}
    assert forms.name_of(job, forms.KINDS["operation"], 0) == "Fertilizer, Home Field, Apr 14, 2026"
