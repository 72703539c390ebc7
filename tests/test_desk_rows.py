"""Tables typed in row by row: what the reader then reads, and that a given file is not spoilt."""

from __future__ import annotations

import csv
import hashlib
import io
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pages import Page
from small_farm import SEASON, write_small_farm
from starlette.testclient import TestClient
from test_desk import client_of
from test_desk_whole import fits, open_desk

from evenacre.desk import forms, work
from evenacre.desk.sheets import SHEETS
from evenacre.io.common.findings import Findings
from evenacre.io.season.edit import digest_of
from evenacre.io.season.load import load_season
from evenacre.io.season.pasture.rain import read_rain
from evenacre.io.settings_book.book import BOOK_NAME, read_book
from evenacre.io.tables.rewrite_table import written_table
from evenacre.io.tables.text_table import parse_table
from evenacre.io.tickets.load_tickets import read_tickets

LB, ACRE_M2 = 0.45359237, 4046.8564224  # NIST SP 811, appendix B.8
TICKETS = "/work/rows/loads/0/0"
DATED = SEASON.replace('tracks = ["log.csv"]', 'date = 2026-04-14\ntracks = ["log.csv"]')
ODD = (  # with blanks within cells, which no box shows
    "# of the elevator\r\n"
    "when;what;Net weight [lb];who;weighed by\r\n"
    "09:00;filled;1500,5;Ann;truck scale 20 lb\r\n"
    "10:00;Cleaned-out;  90 ;Bob, too;bags  (2)\r\n"
)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[TestClient]:
    folder = tmp_path / "farm"
    folder.mkdir()
    write_small_farm(folder)
    (folder / "season.toml").write_text(DATED)
    with client_of(folder) as client:
        client.desk.board.start_in_turn = lambda *_: None  # type: ignore[attr-defined]
        yield client


def season_of(desk: TestClient) -> Path:
    path: Path = desk.desk.farm.season  # type: ignore[attr-defined]
    return path


def form_of(desk: TestClient, address: str) -> dict[str, str]:
    """What a browser would send of the page that nobody touched."""
    page = Page(desk.get(address).text)
    sent: dict[str, str] = {}
    name = ""
    for tag, attrs in page.elements:
        if tag in ("input", "select") and "NEW" not in str(attrs.get("name")) and attrs.get("name"):
            name = str(attrs["name"])
            sent[name] = attrs.get("value") or ""
    text = desk.get(address).text
    for name in [name for name in sent if name.endswith(".event")]:
        chosen = text.partition(f'id="{name}"')[2].partition("</select>")[0]
        sent[name] = chosen.partition("<option selected>")[2].partition("<")[0]
    return sent


def keep(desk: TestClient, address: str, **changes: str) -> Any:
    return desk.post(address, data={**form_of(desk, address), **changes})


def tickets_of(desk: TestClient) -> Any:
    (plan,) = load_season(season_of(desk)).operations
    assert plan.ticket_file is not None
    return read_tickets(plan.ticket_file, plan)[0]


def typed(number: int, **cells: str) -> dict[str, str]:
    return {f"r{number}.{what}": text for what, text in cells.items()}


# A file that is begun here


def test_what_is_typed_is_what_the_reader_reads(desk: TestClient) -> None:
    before = season_of(desk).read_text()
    assert "none yet" in desk.get("/work/rows/loads").text
    first = typed(0, time="9:00", event="filled", weight="2400", weighed_by="truck scale 20 lb")
    second = typed(1, time="11:30", event="remaining", weight="250 kg", product="18-46-0")
    assert keep(desk, TICKETS, **first, **second).status_code == 303
    filled, left = tickets_of(desk)
    assert (filled.event, left.event) == ("filled", "remaining")
    assert filled.mass_kg == pytest.approx(2400 * LB, rel=1e-12)
    assert left.mass_kg == pytest.approx(250, rel=1e-12)
    assert {filled.product, left.product} == {"18-46-0"}
    named = tomllib.loads(season_of(desk).read_text())["operation"][0]["loads"]
    assert named == "typed/Home Field, Spring fertilizer, 2026-04-14 load tickets.csv"
    # It can be undone, and redone, like any change of the season.
    after = season_of(desk).read_text()
    for step, text in (("undo", before), ("redo", after)):
        assert f'value="{step}"' in desk.get("/work/rows/loads").text
        sent = {"seen": digest_of(season_of(desk)), "step": step, "back": "/work/rows/loads"}
        answer = desk.post("/season/step", data=sent)
        assert answer.headers["location"] == "/work/rows/loads"
        assert season_of(desk).read_text() == text
    assert len(tickets_of(desk)) == 2


def test_rows_that_are_emptied_or_left_out_are_taken_out_and_with_the_last_the_name(
    desk: TestClient,
) -> None:
    both = {**typed(0, event="filled", weight="9 lb"), **typed(1, event="filled", weight="8 lb")}
    keep(desk, TICKETS, **both)
    keep(desk, TICKETS, **typed(0, event="", weight=""))
    (left,) = tickets_of(desk)
    assert left.mass_kg == pytest.approx(8 * LB)
    sent = {k: v for k, v in form_of(desk, TICKETS).items() if not k.startswith("r")}
    assert desk.post(TICKETS, data=sent).status_code == 303
    assert "loads" not in tomllib.loads(season_of(desk).read_text())["operation"][0]


def test_a_table_that_no_version_names_any_more_goes_unless_it_was_changed(
    desk: TestClient,
) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    for weight in ("9 lb", "8 lb", "7 lb"):
        keep(desk, TICKETS, **typed(0, event="filled", weight=weight))
    made = {path.read_text(): path for path in farm.typed.iterdir()}
    assert len(made) == 3
    for path in farm.versions.iterdir():
        path.unlink()
    changed = next(path for text, path in made.items() if "8 lb" in text)
    changed.write_text(changed.read_text() + "\n")
    keep(desk, TICKETS, **typed(0, event="filled", weight="6 lb"))
    left = "".join(path.read_text() for path in farm.typed.iterdir())
    assert [weight in left for weight in ("9 lb", "8 lb", "7 lb", "6 lb")] == [False, *[True] * 3]


@pytest.mark.parametrize(
    ("cells", "box", "word"),
    [
        ({"event": "filled", "weight": "9 ft"}, "r0.weight", "lb"),
        ({"event": "filled", "weight": "-9"}, "r0.weight", "negative"),
        ({"weight": "9"}, "r0.event", "missing"),
        ({"event": "filled"}, "r0.weight", ""),
        ({"event": "filled", "weight": "9", "time": "soon"}, "r0.time", "not a time"),
        ({"event": "filled", "weight": "9", "weighed_by": "scale 2 ft"}, "r0.weighed_by", "ft"),
    ],
)
def test_a_mistake_stands_beside_its_box_and_nothing_is_kept(
    desk: TestClient, cells: dict[str, str], box: str, word: str
) -> None:
    told = desk.post(f"{TICKETS}/check", data=typed(0, **cells)).json()
    assert [name for name in told if name not in ("told", "others")] == [box]
    assert word in told[box]
    answer = keep(desk, TICKETS, **typed(0, **cells))
    assert answer.status_code == 400
    assert f'id="{box}" name="{box}"' in answer.text
    assert "loads" not in season_of(desk).read_text()
    assert not [*desk.desk.farm.root.glob("typed/*")]  # type: ignore[attr-defined]


def test_what_looks_wrong_and_what_it_comes_to_are_told_by_row(desk: TestClient) -> None:
    sent = {
        **typed(3, time="9:00", event="filled", weight="100 lb"),
        **typed(1, time="9:30", event="remaining", weight="200 lb"),
    }
    told = desk.post(f"{TICKETS}/check", data=sent).json()
    assert "only 100 lb" in told["r1-look"]
    assert told["told"] == ["18-46-0: 100 lb (45.4 kg) in 1 filling."]


# A file that was given


def given_file(desk: TestClient, text: str, more: str = "") -> Path:
    path = season_of(desk).parent / "logs" / "elevator.csv"
    path.parent.mkdir()
    path.write_bytes(text.encode("cp1252"))
    said = f'loads = "logs/elevator.csv"\n{more}tracks'
    season_of(desk).write_text(DATED.replace("tracks", said, 1))
    return path


def test_what_the_page_does_not_know_stays_to_the_byte(desk: TestClient) -> None:
    path = given_file(desk, ODD.replace("Ann", "André"))
    before = path.read_bytes()
    changes = {**typed(0, weight="1600,5"), **typed(2, event="filled", weight="3,5", time="11:00")}
    assert keep(desk, TICKETS, **changes).status_code == 303
    assert path.read_bytes() == before
    made = season_of(desk).parent / "typed" / "elevator.csv"
    lines = made.read_text("utf-8-sig").replace("\n", "\r\n").splitlines(keepends=True)
    assert lines[:2] == ODD.splitlines(keepends=True)[:2]
    assert lines[2] == "09:00;filled;1600,5;André;truck scale 20 lb\r\n"
    assert lines[3] == "10:00;Cleaned-out;  90 ;Bob, too;bags  (2)\r\n"
    assert lines[4] == "11:00;filled;3,5;;\r\n"
    masses = [one.mass_kg / LB for one in tickets_of(desk)]
    assert masses == pytest.approx([1600.5, 90, 3.5])


def test_keeping_what_nobody_touched_writes_nothing(desk: TestClient) -> None:
    given_file(desk, ODD)
    before = season_of(desk).read_bytes()
    assert keep(desk, TICKETS).status_code == 303
    assert season_of(desk).read_bytes() == before
    assert not [*season_of(desk).parent.glob("typed/*")]


def test_a_column_that_the_file_lacks_is_added(desk: TestClient) -> None:
    given_file(desk, "event,weight (lb),who\nfilled,9,Ann\nremaining,8,Bob\n")
    assert keep(desk, TICKETS, **typed(1, weighed_by="bags")).status_code == 303
    made = (season_of(desk).parent / "typed" / "elevator.csv").read_text()
    assert made == "event,weight (lb),who,weighed by\nfilled,9,Ann,\nremaining,8,Bob,bags\n"


def test_rows_of_other_jobs_stay_and_all_jobs_name_the_new_file(desk: TestClient) -> None:
    text = "field,operation,event,weight\n" + "".join(
        f"{field},{job},filled,{number} lb\n"
        for number, (field, job) in enumerate(
            [("Home Field", "Fall"), ("Home Field", "Spring fertilizer"), ("Home Field", "Fall")], 1
        )
    )
    given_file(desk, text)
    second = (
        '[[operation]]\nname = "Fall"\nfield = "Home Field"\nimplement = "drill"\n'
        'tracks = ["log.csv"]\nproducts = ["18-46-0"]\nloads = "logs/elevator.csv"\n\n[paddocks]'
    )
    season_of(desk).write_text(season_of(desk).read_text().replace("[paddocks]", second))
    page = desk.get(TICKETS).text
    assert "2 more rows are kept as they are" in page
    assert 'value="2 lb"' in page
    assert 'value="1 lb"' not in page
    fresh = typed(9, event="filled", weight="4 lb", field="Home Field", operation="Fall")
    assert keep(desk, TICKETS, **typed(1, weight="7 lb"), **fresh).status_code == 303
    made = season_of(desk).parent / "typed" / "elevator.csv"
    held = [*csv.reader(io.StringIO(made.read_text()))][1:]
    assert [(row[1], row[3]) for row in held] == [
        *(("Fall", "1 lb"), ("Spring fertilizer", "7 lb"), ("Fall", "3 lb"), ("Fall", "4 lb")),
    ]
    jobs = tomllib.loads(season_of(desk).read_text())["operation"]
    assert {job["loads"] for job in jobs} == {"typed/elevator.csv"}


def test_a_file_changed_elsewhere_is_noticed_and_nothing_of_either_is_lost(
    desk: TestClient,
) -> None:
    path = given_file(desk, "event,weight,who\nfilled,9 lb,Ann\n")
    sent = {**form_of(desk, TICKETS), **typed(1, event="remaining", weight="2 lb")}
    path.write_text("event,weight,who\nfilled,9 lb,Ann\ncleaned out,1 lb,Bob\n")
    answer = desk.post(TICKETS, data=sent)
    assert answer.status_code == 409
    assert "changed elsewhere" in answer.text
    for weight in ("9 lb", "1 lb", "2 lb"):
        assert answer.text.count(f'value="{weight}"') == 1
    assert "typed" not in season_of(desk).read_text()
    # The same of the season.
    sent = {**form_of(desk, TICKETS), **typed(2, event="remaining", weight="2 lb")}
    season_of(desk).write_text(f"# mine\n{season_of(desk).read_text()}")
    answer = desk.post(TICKETS, data=sent)
    assert answer.status_code == 409
    assert 'value="2 lb"' in answer.text
    assert not [*season_of(desk).parent.glob("typed/*")]


def test_a_page_of_before_does_not_write_to_another_job(desk: TestClient) -> None:
    sent = {**form_of(desk, TICKETS), **typed(0, event="filled", weight="2 lb")}
    season_of(desk).write_text(season_of(desk).read_text().replace("Spring fert", "Fall fert"))
    sent["seen"] = digest_of(season_of(desk))
    answer = desk.post(TICKETS, data=sent)
    assert answer.status_code == 400
    assert "Choose the job again" in answer.text
    assert not [*season_of(desk).parent.glob("typed/*")]


def test_a_file_outside_the_folder_is_not_read(desk: TestClient, tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text("event,weight\nfilled,9 lb\n")
    said = 'loads = "../secret.csv"\ntracks'
    season_of(desk).write_text(DATED.replace("tracks", said, 1))
    answer = desk.get(TICKETS)
    assert answer.status_code == 400
    assert "9 lb" not in answer.text


# The other tables


def test_rain_and_blockages_are_typed_as_well(desk: TestClient) -> None:
    rain = {**typed(0, date="2026-04-01", rain="0.5"), **typed(1, date="2026-04-02", rain="2 mm")}
    wrong = desk.post("/work/rows/rain/0/0/check", data=typed(0, date="soon", rain="1")).json()
    assert next(iter(wrong)) == "r0.date"
    assert keep(desk, "/work/rows/rain/0/0", **rain).status_code == 303
    told = tomllib.loads(season_of(desk).read_text())
    stops = 'hours = "6 h"\nrain_that_stops = "0.2 in"'
    season_of(desk).write_text(season_of(desk).read_text().replace('hours = "6 h"', stops))
    first, fell = read_rain(season_of(desk).parent / told["seeding"]["rain"], Findings())
    assert str(first) == "2026-04-01"
    assert fell == pytest.approx([0.0127, 0.002])

    stops = "/work/rows/blockages/0/0"
    wrong = desk.post(f"{stops}/check", data=typed(0, start="9:10", end="9:00", rows="40")).json()
    assert set(wrong) == {"r0.end", "r0.rows", "told", "others"}
    right = typed(0, start="12:56Z", end="12:57Z", rows="9-16")
    assert keep(desk, stops, **right).status_code == 303
    (plan,) = load_season(season_of(desk)).operations
    assert [path.parent.name for path in plan.blockage_files] == ["typed"]
    # A second table beside the first.
    assert keep(desk, stops.replace("/0/0", "/0/1"), **right).status_code == 303
    (plan,) = load_season(season_of(desk)).operations
    assert len(plan.blockage_files) == 2


def test_what_is_missing_of_the_drill_leads_to_its_form(desk: TestClient) -> None:
    stops = "/work/rows/blockages/0/0"
    told = typed(0, start="12:56Z", end="12:57Z", tower="1")
    known = "rows = 32\nrows_per_tower = 8\n"
    season_of(desk).write_text(season_of(desk).read_text().replace("rows = 32\n", known))
    assert keep(desk, stops, **told).status_code == 303
    farm = desk.desk.farm  # type: ignore[attr-defined]
    text = season_of(desk).read_text()
    for rows, missing in (("", "rows are not known"), ("rows = 32\n", "rows a tower feeds")):
        season_of(desk).write_text(text.replace(known, rows))
        wrong = desk.post(f"{stops}/check", data=told).json()
        assert missing in wrong["r0"]
        work.look(lambda _: None, farm)
        page = Page(desk.get("/").text)
        (said,) = [words for words in page.words if missing in words]
        for words in (wrong["r0"], said):
            assert words.endswith("Say it in the form of the drill, under Season.")
            assert "=" not in words
        addresses = [attrs.get("href") for tag, attrs in page.elements if tag == "a"]
        assert "/season/implement/0#rows" in addresses
        assert "Say what its columns are" not in page.text


def test_a_test_that_was_noted_wrong_is_put_right_in_the_settings_book(desk: TestClient) -> None:
    book = season_of(desk).parent / BOOK_NAME
    for product in ("rye", "vetch"):
        noted = {"product": product, "catch": "4 lb", "area": "0.1 ac", "setting": "42"}
        assert desk.post("/work/calibrate", data=noted).status_code == 303
    page, before = "/work/rows/book/0/0", book.read_bytes()
    assert desk.get("/work/rows/book").headers["location"] == page
    told = desk.post(f"{page}/check", data={**form_of(desk, page), "r1.rate": "heavy"}).json()
    assert "heavy" in told.pop("r1.rate")
    assert not told["others"]
    assert keep(desk, page, **{"r1.rate": "50"}).status_code == 303
    lines, now = (text.splitlines(keepends=True) for text in (before, book.read_bytes()))
    assert lines[:2] == now[:2]
    assert lines[2] != now[2]
    rates = [one.rate_kg_per_m2 for one in read_book(book).settings]
    assert rates[1] == pytest.approx(50 * LB / ACRE_M2)
    # It goes back and forth.
    changed = book.read_bytes()
    for wanted in (before, changed, before):
        sent = {"of": hashlib.sha256(book.read_bytes()).hexdigest()}
        assert desk.post("/work/rows/book/undo", data=sent).status_code == 303
        assert book.read_bytes() == wanted
    # A test that is noted meanwhile is not lost.
    sent = {**form_of(desk, page), "r1.rate": "60"}
    desk.post("/work/calibrate", data={**noted, "product": "oats"})
    later = book.read_bytes()
    answer = desk.post(page, data=sent)
    assert answer.status_code == 409
    assert 'value="oats"' in answer.text
    assert book.read_bytes() == later


def test_every_column_that_readers_know_has_a_box() -> None:
    for sheet in SHEETS.values():
        names = [*sheet.heads({}).values()]
        assert set(sheet.columns_in(names)) == {one.name for one in sheet.columns}, sheet.key
        assert sheet.fixed or sheet.key in sheet.kind.model.model_fields
        assert sheet.kind in forms.KINDS.values()


CELLS = st.text(st.sampled_from('ab1,;"\t é'), max_size=6)


@given(
    st.lists(st.tuples(CELLS, CELLS, CELLS), min_size=1, max_size=5),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n"]),
    st.dictionaries(st.integers(0, 4), st.none() | st.tuples(CELLS, CELLS), max_size=3),
    st.lists(CELLS, max_size=2),
)
@settings(max_examples=100)
def test_what_is_changed_is_read_back_and_the_rest_is_as_it_was(
    table: list[tuple[str, str, str]],
    separator: str,
    newline: str,
    changed: dict[int, tuple[str, str] | None],
    added: list[str],
) -> None:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator=newline, quoting=csv.QUOTE_ALL)
    writer.writerows([("one", "two", "three"), *table])
    before = written_table(out.getvalue().encode(), "x.csv")
    assert [*before.names] == ["one", "two", "three"]
    changes = {
        number: None if pair is None else {"two": pair[0], "four": pair[1]}
        for number, pair in changed.items()
        if number < len(table)
    }
    text, lines, added_lines = before.with_changes(changes, [{"three": one} for one in added])
    after = written_table(text.encode(), "x.csv")
    stays = [n for n in range(len(table)) if changes.get(n, {}) is not None]
    assert sorted(lines) == stays
    assert len(after.records) == len(stays) + len(added) == len(lines) + len(added_lines)
    for number, record in zip(stays, after.records, strict=False):
        told = changes.get(number) or {}
        want = [table[number][0], told.get("two", table[number][1]), table[number][2]]
        said = [*record.cells[:3]]
        assert [cell.strip() for cell in said] == [cell.strip() for cell in want]
        if not told and "four" not in after.names:
            assert record.text == before.records[number].text
        assert text.splitlines(keepends=True)[lines[number] - 1] == record.text
    if any(any(cell.strip() for cell in record.cells) for record in after.records):
        read = parse_table(text.encode(), "x.csv", Findings())
        assert read.names == [*after.names]


@pytest.mark.browser
def test_tickets_by_keyboard_on_a_phone(tmp_path: Path, visit: Callable[..., Any]) -> None:
    write_small_farm(tmp_path)
    (tmp_path / "season.toml").write_text(DATED)
    with open_desk(tmp_path) as address:
        tab = visit(address, 360)
        tab.goto(f"{address.partition('/enter')[0]}/work")
        for name in ("Load tickets", "Home Field, Spring fertilizer"):
            tab.get_by_role("link", name=name).focus()
            tab.keyboard.press("Enter")
        tab.wait_for_selector("#rows [data-row]")
        tab.wait_for_load_state()
        tab.get_by_label("Time").focus()
        for text in ("9:00", "filled", "1500 ft"):
            tab.keyboard.type(text)
            tab.keyboard.press("Tab")
            if text == "filled":  # past product and compartment
                tab.keyboard.press("Tab")
                tab.keyboard.press("Tab")
        tab.wait_for_selector("[id='r0.weight-wrong']:not(:empty)")
        fits(tab)
        tab.get_by_label("Weight").fill("1500 lb")
        tab.wait_for_selector("#row-told li >> text=1,500 lb")
        assert tab.locator("[aria-invalid]").count() == 0
        tab.get_by_role("button", name="Repeat the last row").focus()
        tab.keyboard.press("Enter")
        tab.wait_for_selector("#row-told li >> text=3,000 lb")
        assert tab.evaluate("document.activeElement.labels[0].textContent") == "Time"
        tab.get_by_role("button", name="Add a row").focus()
        tab.keyboard.press("Enter")
        tab.get_by_role("button", name="Take it out").nth(1).focus()
        tab.keyboard.press("Enter")
        assert tab.locator(".number").all_inner_texts() == ["1", "2"]
        fits(tab)
        tab.get_by_role("button", name="Keep the rows").focus()
        tab.keyboard.press("Enter")
        tab.wait_for_selector("text=typed/Home Field")
    (made,) = (tmp_path / "typed").iterdir()
    assert len(made.read_text().splitlines()) == 2
