"""What the desk asks and tells while somebody types: beside the box, one thing at a time."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from multiprocessing import Pipe
from pathlib import Path
from typing import Any

import pytest
from pages import Page
from small_farm import SEASON, write_small_farm
from starlette.testclient import TestClient
from test_desk import client_of, result_in
from test_desk_whole import fits, open_desk

from evenacre.desk import asked as asked_of_desk
from evenacre.desk import work
from evenacre.desk.farm import open_farm
from evenacre.io.season.edit import digest_of

SECOND = """
[[operation]]
name = "Fall fertilizer"
field = "Home Field"
implement = "drill"
tracks = ["log.csv"]
products = [{ product = "18-46-0", rate = "150 lb/ac" }]
"""


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder = tmp_path_factory.mktemp("asked") / "farm"
    folder.mkdir()
    write_small_farm(folder)
    with client_of(folder) as client:
        client.desk.board.start_in_turn = lambda *_: None  # type: ignore[attr-defined]
        client.desk.board.start = lambda *_: None  # type: ignore[attr-defined]
        yield client


@pytest.fixture
def season(desk: TestClient) -> Iterator[Path]:
    path: Path = desk.desk.farm.season  # type: ignore[attr-defined]
    yield path
    path.write_text(SEASON)


# While it is typed


@pytest.mark.parametrize(
    ("key", "typed", "box", "word"),
    [
        ("finish", {"left": "1900", "area": "18 ac"}, "left", "lb"),
        ("finish", {"left": "1900 lb", "rate": "110 ac"}, "rate", "lb/ac"),
        ("passes", {"rounds": "two"}, "rounds", "whole number"),
        ("passes", {"speed": "5 lb"}, "speed", "mph"),
        ("seeding", {"in_cart": "5 ft"}, "in_cart", "mass"),
        ("seeding", {"from_day": "soon"}, "from_day", "2026-08-20"),
        ("calibrate", {"product": "18-46-0", "catch": "4 ac", "area": "1 ac"}, "catch", "lb"),
        ("export", {"zone_rate": "ridge 120"}, "zone_rate", "ridge=120 lb/ac"),
    ],
)
def test_a_page_of_work_tells_what_is_wrong_before_it_is_asked_to_work(
    desk: TestClient, key: str, typed: dict[str, str], box: str, word: str
) -> None:
    told = desk.post(f"/work/{key}/check", data=typed).json()
    assert list(told) == [box]
    assert word in told[box]
    assert "--" not in told[box]
    assert f'data-check="/work/{key}/check"' in desk.get(f"/work/{key}").text


def test_what_is_right_is_not_complained_of_and_nothing_is_noted(desk: TestClient) -> None:
    book = desk.desk.farm.root / "settings-book.csv"  # type: ignore[attr-defined]
    right = {
        "finish": {"left": "1900 lb", "area": "18 ac", "rate": "110 lb/ac"},
        "passes": {"rounds": "2", "speed": "5 mph"},
        "seeding": {"in_cart": "5 lb", "from_day": "2026-08-20"},
        "calibrate": {"product": "18-46-0", "catch": "4 lb", "area": "0.1 ac"},
        "export": {"zone_rate": "ridge=120 lb/ac"},
    }
    for key, typed in right.items():
        assert desk.post(f"/work/{key}/check", data=typed).json() == {}, key
    assert not book.exists()


def test_an_audit_of_a_drill_without_width_leads_to_its_form(tmp_path: Path) -> None:
    """Whoever never saw a terminal is told of no option, and of no key."""
    write_small_farm(tmp_path)
    farm = open_farm(tmp_path)
    bare = SEASON.replace('width = "20 ft"\nrows = 32\n', "").partition("[paddocks]")[0]
    farm.season.write_text(bare)
    hears, tells = Pipe(duplex=False)
    work.begin(tells, work.audit, (farm, []))
    ended = hears.recv()
    while isinstance(ended, work.Stage):
        ended = hears.recv()
    assert ended.failed
    (told,) = ended.told
    assert "The working width is missing" in told
    assert told.endswith("Say it in the form of the drill, under Season.")
    assert "--" not in told


# What takes long


@pytest.mark.parametrize(
    "address",
    [
        *("/bring", "/season/implement/0", "/season/operation/new", "/columns/0", "/ground"),
        *("/work/rows/loads/0/0", "/results", "/results/evenacre-out/open"),
    ],
)
def test_a_page_that_reads_files_is_not_waited_for_in_silence(
    desk: TestClient, monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    work.look(lambda _: None, farm)
    if not (farm.root / "evenacre-out").exists():
        result_in(farm.root / "evenacre-out")
    whole = Page(desk.get(address).text).text
    monkeypatch.setattr(asked_of_desk, "_PATIENCE_S", 0.0)
    page = Page(desk.get(address).text)
    assert "the page comes by itself" in page.text
    (asks,) = [attrs["data-asks-for"] for _, attrs in page.elements if "data-asks-for" in attrs]
    assert desk.get(str(asks)).status_code == 200
    assert Page(desk.get(address).text).text == whole


# One question at a time


@pytest.fixture
def asked(desk: TestClient, season: Path) -> Iterator[TestClient]:
    """A drill without width and rows, and a product without rate."""
    farm = desk.desk.farm  # type: ignore[attr-defined]
    bare = SEASON.replace('width = "20 ft"\nrows = 32\n', "").replace(', rate = "150 lb/ac"', "")
    season.write_text(bare)
    about = (["rate", "18-46-0"], ["width", "drill"], ["rows", "drill"], ["kind", "x"])
    asks = [
        {"asks": f"What {kind}?", "about": [kind, name], "example": "20 ft", "source": {}}
        for kind, name in about
    ]
    farm.remember(work.GATHERED, {"asked": asks})
    farm.remember("answers", None)
    work.look(lambda _: None, farm)
    yield desk
    farm.remember(work.GATHERED, None)


def test_what_an_audit_waits_for_is_asked_first_with_its_drives_and_rows(
    asked: TestClient,
) -> None:
    page = Page(asked.get(asked.get("/ask").headers["location"]).text)
    assert "Question 1 of 3" in page.text
    assert "What width?" in page.text
    assert "rate [lb/ac]" in page.text
    (drawn,) = [a["data-jobs"] for _, a in page.elements if "data-jobs" in a]
    assert drawn == "0"


def test_one_goes_on_and_back_and_may_not_know(asked: TestClient, season: Path) -> None:
    before = season.read_text()
    first = asked.get("/ask").headers["location"]
    second = asked.post(first, data={"do": "next", "answer": "20 ft"}).headers["location"]
    assert f'href="{first}"' in asked.get(second).text  # back
    assert 'value="20 ft"' in asked.get(first).text
    # Another answer to the first does not ask the second again before its turn.
    assert asked.post(first, data={"answer": "21 ft"}).headers["location"] == second
    third = asked.post(second, data={"do": "skip"}).headers["location"]
    assert "Question 3 of 3" in asked.get(third).text
    assert asked.get("/ask").headers["location"] == third
    assert asked.post(third, data={"do": "next", "answer": ""}).status_code == 400
    assert asked.post(third, data={"do": "skip"}).headers["location"] == "/ask/end"
    assert season.read_text() == before
    page = Page(asked.get("/ask/end").text)
    assert page.text.count("not known") == 2
    sent = {a["name"]: a["value"] for t, a in page.elements if t == "input" and a.get("name")}
    assert asked.post("/ask/end", data=sent).headers["location"] == "/"
    assert 'width = "21 ft"' in season.read_text()
    assert "You said of 2 that you do not know." in asked.get("/").text
    assert "An audit waits for 1 of them." in asked.get("/").text
    # Whoever learns it later is asked again.
    again = asked.get("/ask").headers["location"]
    assert again == second
    asked.post(again, data={"answer": "32"})
    asked.post("/ask/end", data={"seen": digest_of(season)})
    assert "rows = 32" in season.read_text()


# Which job


def test_of_several_jobs_one_is_asked_for_from_a_list(desk: TestClient, season: Path) -> None:
    season.write_text(SEASON + SECOND)
    begun: list[tuple[Any, ...]] = []
    desk.desk.board.start = lambda *told: begun.append(told)  # type: ignore[attr-defined]
    page = Page(desk.post("/work/finish", data={"left": "100 lb"}).text)
    assert "Which job?" in page.text
    assert "Several operations fit" not in page.text
    choices = [a for tag, a in page.elements if tag == "button" and a.get("name") == "job"]
    assert len(choices) == 2
    assert not begun
    sent = {"left": "100 lb", "job": str(choices[1]["value"])}
    answer = desk.post("/work/finish", data=sent)
    assert answer.headers["location"] == "/work/finish"
    (_, _, _, key, values), *_ = begun
    assert key == "finish"
    assert values == {
        "left": "100 lb",
        "field": "Home Field",
        "operation": "Fall fertilizer",
    }
    # Where one fits, or figures alone are to do, nothing is asked.
    one = {"left": "100 lb", "operation": "Spring fertilizer"}
    assert desk.post("/work/finish", data=one).status_code == 303
    typed = {"left": "100 lb", "area": "2 ac"}
    assert desk.post("/work/finish", data=typed).status_code == 303


# The season's own mistakes


@pytest.mark.parametrize(
    ("before", "after", "address", "box"),
    [
        ('width = "20 ft"', 'width = "20 lb"', "/season/implement/0#width", "width"),
        ('rate = "150 lb/ac"', 'rate = "x"', "/season/operation/0#products.0.rate", ""),
        ('implement = "drill"\nt', 'implement = "dril"\nt', "/season/operation/0#implement", ""),
        ("head = 20", "head = 0", "/season/herd/0#head", "head"),
        ('rest = "35 days"', 'rest = "35 ac"', "/season/grazing/0#rest", "rest"),
        ('"America/Chicago"', '"Chicago"', "/season/farm/0#time_zone", "time_zone"),
    ],
)
def test_a_mistake_leads_to_its_table_and_box(
    desk: TestClient, season: Path, before: str, after: str, address: str, box: str
) -> None:
    assert before in SEASON
    season.write_text(SEASON.replace(before, after))
    work.look(lambda _: None, desk.desk.farm)  # type: ignore[attr-defined]
    box = box or address.partition("#")[2]
    for page in ("/", "/season"):
        assert f'<a href="{address}">' in desk.get(page).text, page
    form = desk.get(address.partition("#")[0]).text
    (told,) = re.findall(rf'id="{re.escape(box)}-wrong" class="wrong">([^<]*)<', form)
    assert told
    assert re.search(rf'id="{re.escape(box)}" name', form)
    assert "It was not kept" not in form


def test_a_key_that_is_no_part_of_an_address_leads_to_its_form_too(
    desk: TestClient, season: Path
) -> None:
    season.write_text(SEASON.replace("tracks = [", 'columns = { "%" = 1 }\ntracks = ['))
    work.look(lambda _: None, desk.desk.farm)  # type: ignore[attr-defined]
    assert '<a href="/season/operation/0#columns.%25">' in desk.get("/season").text


@pytest.mark.browser
def test_by_keyboard_on_a_phone(tmp_path: Path, visit: Callable[..., Any]) -> None:
    write_small_farm(tmp_path)
    season = tmp_path / "season.toml"
    wrong = 'rows = 32\ntow = [{ hitch_to_axle = "16 lb" }]'
    season.write_text(SEASON.replace("rows = 32", wrong) + SECOND)
    farm = open_farm(tmp_path)
    about = {"about": ["rows_per_tower", "drill"], "example": "8", "source": {}}
    farm.remember(work.GATHERED, {"asked": [{"asks": "How many to a tower?", **about}]})
    work.look(lambda _: None, farm)
    with open_desk(tmp_path) as address:
        home = address.partition("/enter")[0]
        tab = visit(address, 360)
        # The box has the focus; what is wrong is told, and Enter goes on once it is right.
        tab.get_by_role("link", name="Answer them").focus()
        tab.keyboard.press("Enter")
        tab.wait_for_selector("#farm-map[data-ready]")
        fits(tab)
        tab.keyboard.type("many")
        tab.wait_for_selector("#answer-wrong:not(:empty)")
        tab.keyboard.press("Control+A")
        tab.keyboard.type("8")
        tab.keyboard.press("Enter")
        tab.wait_for_selector("h1 >> text=Your answers")
        fits(tab)
        tab.get_by_role("button", name="Keep the answers").focus()
        tab.keyboard.press("Enter")
        tab.wait_for_selector("#job[data-state=done] >> text=Looking the season over")
        assert "rows_per_tower = 8" in season.read_text()
        tab.locator(".warnings a[href*='#tow']").first.focus()
        tab.keyboard.press("Enter")
        tab.wait_for_url("**/season/implement/0#*")
        assert tab.evaluate("document.activeElement.name") == "tow.0.hitch_to_axle"
        fits(tab)
        # What is wrong is told while it is typed, and goes once it is right.
        tab.goto(f"{home}/work/finish")
        box = tab.get_by_label("Left in the cart")
        box.focus()
        tab.keyboard.type("1900 ft")
        tab.wait_for_selector("#left-wrong:not(:empty)")
        for _ in "ft":
            tab.keyboard.press("Backspace")
        tab.keyboard.type("lb")
        tab.wait_for_selector("#left-wrong:empty", state="attached")
        assert box.get_attribute("aria-invalid") is None
        tab.keyboard.press("Enter")
        tab.wait_for_selector("text=Which job?")
        fits(tab)
        tab.get_by_role("button", name=re.compile("Fall fertilizer")).focus()
        tab.keyboard.press("Enter")
        tab.wait_for_selector("#job")
        assert tab.get_by_label("Job", exact=True).input_value() == "Fall fertilizer"
