"""Tasks of the desk: the boxes of their pages, their answers, and what results are handed on as."""

from __future__ import annotations

import csv
import dataclasses
import html
import io
import json
import re
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pypdf
import pytest
from pages import Page
from small_farm import write_small_farm
from starlette.testclient import TestClient
from test_desk import client_of, result_in
from test_desk_whole import fits, open_desk
from typer.testing import CliRunner

import evenacre as ev
from evenacre.cli.main import app
from evenacre.desk import handed, planned, tasks, work
from evenacre.desk.farm import open_farm
from evenacre.desk.results import ShownResult, results_of
from evenacre.desk.tasks import TASKS, in_boxes, troubles_of, values_of
from evenacre.errors import Problem
from evenacre.io.season.from_options import OPTIONS

FLAG = re.compile(r"(?<![\w-])--[a-z]")
GPX = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A small farm's desk, with two audits of its field, and the passes of two fields."""
    folder = tmp_path_factory.mktemp("tasks") / "farm"
    folder.mkdir()
    write_small_farm(folder)
    with client_of(folder) as client:
        farm = client.desk.farm  # type: ignore[attr-defined]
        work.look(lambda _: None, farm)
        assert not work.audit(lambda _: None, farm, []).failed
        log = folder / "log.csv"
        lines = log.read_text().splitlines(keepends=True)
        log.write_text("".join(lines[: len(lines) * 2 // 3]))
        assert not work.audit(lambda _: None, farm, []).failed
        yield client


def farm_of(desk: TestClient) -> Any:
    return desk.desk.farm  # type: ignore[attr-defined]


def ask(desk: TestClient, key: str, **typed: str) -> Page:
    """Send a task's form, and see the page that follows."""
    answer = desk.post(f"/work/{key}", data=typed)
    if answer.status_code == 303:
        assert answer.headers["location"] == f"/work/{key}"
        answer = desk.get(f"/work/{key}")
    else:
        assert answer.status_code == 400
    return Page(answer.text)


def newest(desk: TestClient, kind: str) -> ShownResult:
    return next(one for one in results_of(farm_of(desk)) if one.kind == kind)


# Boxes


def test_every_option_has_a_box_and_none_has_two(desk: TestClient) -> None:
    for key, task in TASKS.items():
        page = Page(desk.get(f"/work/{key}?new=yes").text)
        boxes = [
            str(attrs["name"])
            for tag, attrs in page.elements
            if tag in ("input", "select", "textarea") and attrs.get("name")
        ]
        once = {name.partition(".")[0] for name in boxes}
        declared = {field.name for field in dataclasses.fields(task.options)}
        wanted = (declared | set(task.keys.split())) - set(task.hidden)
        assert once == wanted, key
        assert len(set(boxes)) == len(boxes)
        assert set(task.first) <= wanted
        assert set(task.labels) <= wanted
        assert not FLAG.search(page.text), key


def test_what_is_typed_is_read_as_the_command_line_reads_it() -> None:
    passes = TASKS["passes"]
    typed = {"field.2": "A", "field.5": "B", "rounds": " 3 ", "fence": "no", "heading": "90"}
    values, wrong = values_of(passes, typed)
    assert not wrong
    assert values == {"field": ["A", "B"], "rounds": 3, "fence": "no", "heading": "90"}
    assert tasks.of_keys(passes, values) == {"rounds": 3, "fence": False, "heading": "90"}
    assert OPTIONS["fence"].kind is bool
    book = TASKS["calibrate"]
    values, wrong = values_of(book, {"turns": "2,5", "tolerance": "five", "catch": "4 lb\n\n5 lb"})
    assert values == {"turns": 2.5, "catch": ["4 lb", "5 lb"]}
    assert list(wrong) == ["tolerance"]


def test_sentences_name_boxes_and_no_options() -> None:
    task = TASKS["calibrate"]
    told = in_boxes('Give --turns and --turns-per-area "25/ac", or --catch; add --lookup.', task)
    assert told == (
        'Give \u201cTurns\u201d and \u201cTurns per area\u201d: "25/ac", or \u201cCatch\u201d; '
        "add \u201cOnly ask the book\u201d."
    )


def test_a_problem_stands_beside_the_box_that_mends_it() -> None:
    def told(key: str, *problem: str) -> tuple[dict[str, str], list[str]]:
        return troubles_of([Problem(*problem)], TASKS[key])

    which = "Name one with --operation, and --field if need be."
    beside, others = told("finish", "season.toml", "", "Several operations fit.", which)
    assert beside == {
        "operation": "Several operations fit. Name one with \u201cJob\u201d, and \u201cField\u201d "
        "if need be."
    }
    assert others == []
    assert told("passes", "--speed", "", "It is slow.", "Drive.")[0] == {
        "speed": "It is slow. Drive."
    }
    beside, _ = told("export", "--zone-rate", "ridge", "No.", "Mend it.")
    assert beside == {"zone_rate": "ridge: No. Mend it."}
    elsewhere = ("season.toml", 'field "A"', "It has no boundary.", "Draw it.")
    assert told("passes", *elsewhere) == (
        {},
        ['season.toml, field "A": It has no boundary. Draw it.'],
    )


# Answers at once


def test_finishing_typed_in_is_told_as_the_command_line_tells_it(desk: TestClient) -> None:
    typed = {"left": "1900 lb", "area": "18 ac", "rate": "110 lb/ac"}
    page = ask(desk, "finish", **typed)
    options = [part for name, text in typed.items() for part in (f"--{name}", text)]
    said = CliRunner().invoke(app, ["finish", *options]).output.splitlines()
    for line in said:
        assert " ".join(line.split()) in page.text
    # 1,900 lb over 18 ac and the usual 3 % driven again: 102.5 lb/ac.
    assert f"put on {1900 / (18 * 1.03):.0f} lb/ac" in page.text
    before = sorted(farm_of(desk).results.iterdir())
    # With the ground done so far alone: what went on, 625 lb over 25 ac.
    page = ask(desk, "finish", started="1250 lb", done="25 ac", left="625 lb", overlap="0 %")
    assert f"{625 / 25:.1f}" in page.text
    assert sorted(farm_of(desk).results.iterdir()) == before


@pytest.mark.parametrize(
    ("key", "typed", "box", "told"),
    [
        ("finish", {"left": "1900", "area": "18 ac"}, "left", "lb"),
        ("finish", {"left": "1900 lb", "area": "18 lb"}, "area", "ac"),
        ("finish", {"area": "18 ac"}, "left", "Nobody said"),
        ("finish", {"left": "50 %", "area": "18 ac"}, "left", "\u201cFull\u201d: "),
        ("calibrate", {"product": "oats", "turns": "x"}, "turns", "number"),
        ("calibrate", {"catch": "4 lb", "area": "0.1 ac"}, "product", "what was metered"),
        ("calibrate", {"product": "oats", "catch": "4 ac", "area": "0.1 ac"}, "catch", "lb"),
    ],
)
def test_what_is_wrong_stands_beside_its_box(
    desk: TestClient, key: str, typed: dict[str, str], box: str, told: str
) -> None:
    answer = desk.post(f"/work/{key}", data=typed)
    assert answer.status_code == 400
    page = Page(answer.text)
    (marked,) = [attrs["name"] for _, attrs in page.elements if "aria-invalid" in attrs]
    assert marked == box
    trouble = re.search(rf'id="{box}-wrong" class="wrong">([^<]*)<', answer.text)
    assert trouble is not None
    assert told in html.unescape(trouble[1])
    assert not FLAG.search(page.text)
    # What was typed is there still.
    held = {attrs.get("name"): attrs.get("value") for _, attrs in page.elements}
    for name, text in typed.items():
        assert held.get(name) == text or text in page.text


def test_calibrating_notes_the_test_in_the_book_as_the_command_does(
    desk: TestClient, tmp_path: Path
) -> None:
    typed = {
        "product": "18-46-0",
        "catch": "10.2 10.4 10.3 lb",
        "area": "0.1 ac",
        "setting": "42",
        "target": "110 lb/ac",
        "date": "2026-04-14",
    }
    page = ask(desk, "calibrate", **typed)
    # 103 lb/ac at 42, in proportion: 44.9.
    assert f"{42 * 110 / 103:.1f}" in page.text
    own = farm_of(desk).root / "settings-book.csv"
    options = [part for name, text in typed.items() for part in (f"--{name}", text)]
    book = tmp_path / "book.csv"
    ran = CliRunner().invoke(
        app, ["calibrate", *options, "--book", str(book), "--season", str(farm_of(desk).season)]
    )
    assert ran.exit_code == 0, ran.output
    rows = [list(csv.reader(io.StringIO(path.read_text("utf-8-sig")))) for path in (own, book)]
    assert rows[0] == rows[1]
    assert len(rows[0]) == 2
    # Looking at the page again notes nothing again.
    desk.get("/work/calibrate")
    assert own.read_text() == book.read_text()
    for caution in re.findall(r"^caution: (.*)$", ran.output, re.MULTILINE):
        assert caution[:40] in page.text


# Jobs


def do(desk: TestClient, key: str, **values: object) -> tuple[Path, tuple[str, ...]]:
    stages: list[work.Stage] = []
    ended = planned.do(stages.append, farm_of(desk), key, values)
    assert not ended.failed, ended
    assert stages
    place = ended.address.removeprefix("/results/").removesuffix("/open")
    assert desk.get(ended.address).status_code == 200
    return farm_of(desk).root / place, ended.told


def same_figures(folder: Path, other: Path, account: str) -> None:
    """Two accounts say the same, but for when they were made."""
    one, two = (json.loads((home / account).read_bytes()) for home in (folder, other))
    for told in (one, two):
        for key in ("generated", "sha256", "account_sha256"):
            told.pop(key)
    assert one == two


def test_passes_are_those_of_the_command_line_and_have_a_page(
    desk: TestClient, tmp_path: Path
) -> None:
    farm = farm_of(desk)
    folder, told = do(desk, "passes", field=["Home Field"], heading="0", rounds=1)
    command = ["passes", str(farm.season), "--field", "Home Field", "--heading", "0"]
    ran = CliRunner().invoke(app, [*command, "--rounds", "1", "--out", str(tmp_path / "out")])
    assert ran.exit_code == 0, ran.output
    same_figures(folder, tmp_path / "out", "passes.json")
    page = Page((folder / "report.html").read_text())
    account = json.loads((folder / "passes.json").read_bytes())
    assert f"{account['fields'][0]['passes']} passes" in page.text
    assert any("fences, ditches" in text for text in told) == ("fences, ditches" in ran.output)
    result = newest(desk, "Planned passes")
    assert result.jobs == ("Home Field",)
    # One drive for the phone, of as many lines as are driven.
    (gpx,) = handed.for_phone(farm, result).values()
    segments = ET.fromstring(gpx).findall(f".//{GPX}trkseg")
    whole = ET.parse(folder / "passes.gpx").getroot().findall(f".//{GPX}trkseg")
    assert [len(one) for one in segments] == [len(one) for one in whole]


def test_a_wrong_box_of_a_job_is_told_with_its_remedy(desk: TestClient) -> None:
    ended = planned.do(lambda _: None, farm_of(desk), "passes", {"speed": "5 lb", "heading": "x"})
    assert ended.failed
    assert set(ended.wrong) == {"speed", "heading"}
    assert "mph" in ended.wrong["speed"]
    ended = planned.do(lambda _: None, farm_of(desk), "passes", {"field": ["Home Feild"]})
    assert "Home Field" in ended.wrong["field"]
    ended = planned.do(lambda _: None, farm_of(desk), "seeding", {"in_cart": "5 ft"})
    assert set(ended.wrong) == {"in_cart"}
    ended = planned.do(lambda _: None, farm_of(desk), "seeding", {"in_cart": "20 lb"})
    assert "no load is told" in ended.wrong["in_cart"]
    values = {"from_today": True, "from_day": "2026-08-20"}
    ended = planned.do(lambda _: None, farm_of(desk), "seeding", values)
    assert "\u201cFrom today\u201d" in ended.wrong["from_day"]


def test_the_plan_of_seeding_is_that_of_the_command_line(desk: TestClient, tmp_path: Path) -> None:
    farm = farm_of(desk)
    text = farm.season.read_text()
    # Inside a fence it would take ten times as long.
    names = ("West paddock", "East paddock")
    bare = "".join(f'[[paddock]]\nname = "{name}"\nfence = false\n' for name in names)
    farm.season.write_text(f"{text}\n{bare}")
    folder, told = do(desk, "seeding", from_day="2026-08-20")
    command = ["interseed", str(farm.season), "--from", "2026-08-20"]
    ran = CliRunner().invoke(app, [*command, "--out", str(tmp_path / "out")])
    farm.season.write_text(text)
    assert ran.exit_code == 0, ran.output
    same_figures(folder, tmp_path / "out", "plan.json")
    for caution in json.loads((folder / "plan.json").read_bytes())["cautions"]:
        assert f"Take care: {caution}" in told


def test_coming_out_even_from_a_log_gets_a_folder_with_its_page(desk: TestClient) -> None:
    folder, told = do(desk, "finish", left="100 lb", operation="Spring fertilizer")
    page = Page((folder / "report.html").read_text())
    for line in told:
        assert " ".join(line.removeprefix("warning: ").split()) in page.text
    assert json.loads((folder / "summary.json").read_bytes())["schema"].startswith(
        "evenacre/summary/finish/"
    )
    assert newest(desk, "Come out even").jobs == ("Home Field, Spring fertilizer",)


def test_task_data_goes_into_a_folder_with_the_list_of_its_rates(
    desk: TestClient, tmp_path: Path
) -> None:
    folder, told = do(desk, "export", field=["Home Field"])
    out = tmp_path / "plan.zip"
    ran = CliRunner().invoke(app, ["export", str(farm_of(desk).season), "--out", str(out)])
    assert ran.exit_code == 0, ran.output
    inside = []
    for path in (folder / "taskdata.zip", out):
        with zipfile.ZipFile(path) as packed:
            inside.append({name: packed.read(name) for name in packed.namelist()})
    assert inside[0] == inside[1]
    (rate,) = json.loads((folder / "export.json").read_bytes())["rates"]
    pound_per_acre = 0.45359237 / 4046.8564224  # NIST SP 811, appendix B.8
    assert rate["rate_kg_per_m2"] == pytest.approx(150 * pound_per_acre, rel=1e-9)
    page = Page((folder / "report.html").read_text())
    assert " 150 lb/ac" in page.text  # as every rate is printed
    assert "label" in told[-1]
    assert told[-1].startswith("Take care: ")


def test_earlier_results_stay_whatever_is_done_in_the_same_second(desk: TestClient) -> None:
    folders = {do(desk, "export")[0] for _ in range(3)}
    assert len(folders) == 3
    assert all((folder / "export.json").is_file() for folder in folders)


# Handed on


def test_a_zip_holds_every_file_of_a_result_and_no_other(desk: TestClient) -> None:
    result = newest(desk, "Audit")
    folder = farm_of(desk).root / result.place
    (folder / "own.txt").write_text("not of the result")
    answer = desk.get(f"/results/{result.place}/zip")
    (folder / "own.txt").unlink()
    assert answer.headers["content-disposition"].endswith(f'"{folder.name}.zip"')
    with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
        assert packed.testzip() is None
        held = {name: packed.read(name) for name in packed.namelist()}
    assert held == {f"{folder.name}/{name}": (folder / name).read_bytes() for name in result.files}


def test_nothing_beside_a_result_gets_into_its_zip(tmp_path: Path) -> None:
    with client_of(tmp_path / "farm") as desk:
        (tmp_path / "farm" / "season.toml").write_text("farm = 'Farm'")
        (tmp_path / "secret.txt").write_text("what nobody may read")
        result_in(tmp_path / "farm" / "evenacre-out")
        account = tmp_path / "farm" / "evenacre-out" / "summary.json"
        told = json.loads(account.read_bytes())
        odd = ["../season.toml", "../../secret.txt", str(tmp_path / "secret.txt"), "tables"]
        account.write_text(json.dumps({**told, "files": [*told["files"], *odd]}))
        with zipfile.ZipFile(io.BytesIO(desk.get("/results/evenacre-out/zip").content)) as packed:
            assert sorted(packed.namelist()) == [
                f"evenacre-out/{name}"
                for name in ("report.html", "summary.json", "tables/ground.csv")
            ]


def test_a_large_result_is_packed_while_it_is_sent(desk: TestClient) -> None:
    result = newest(desk, "Audit")
    folder = farm_of(desk).root / result.place
    large = folder / "large.tif"
    large.write_bytes(b"\0" * (8 << 20))
    more = dataclasses.replace(result, files=frozenset({*result.files, "large.tif"}))
    blocks = [len(block) for block in handed.zipped(farm_of(desk), more)]
    large.unlink()
    assert max(blocks) < 2 << 20
    assert sum(blocks) > 8 << 20


def test_places_to_go_back_to_are_handed_on_job_by_job(desk: TestClient) -> None:
    result = newest(desk, "Audit")
    whole = ET.parse(farm_of(desk).root / result.place / "fix_list.gpx").getroot()
    parts = handed.for_phone(farm_of(desk), result)
    names = [w.findtext(f"{GPX}name") for w in whole.iter(f"{GPX}wpt")]
    found = {
        job: [w.findtext(f"{GPX}name") for w in ET.fromstring(gpx).iter(f"{GPX}wpt")]
        for job, gpx in parts.items()
    }
    assert names
    assert found == {"Home Field, Spring fertilizer": names}
    answer = desk.get(f"/results/{result.place}/phone", params={"job": next(iter(parts))})
    assert answer.headers["content-disposition"].endswith('"home-field-spring-fertilizer.gpx"')
    assert desk.get(f"/results/{result.place}/phone", params={"job": "x"}).status_code == 404


def test_maps_as_pdf_have_a_page_for_each_job_and_all_maps(desk: TestClient) -> None:
    result = newest(desk, "Audit")
    made = pypdf.PdfReader(io.BytesIO(desk.get(f"/results/{result.place}/pdf").content))
    assert sum(len(page.images) for page in made.pages) == len(result.pictures)
    assert 1 <= len(made.pages) <= len(result.pictures) + 1
    assert "Home Field" in made.pages[0].extract_text()


def test_an_audit_may_be_asked_for_as_pdf_too(desk: TestClient, tmp_path: Path) -> None:
    begun: list[tuple[Any, ...]] = []
    board, overview = desk.desk.board, farm_of(desk).recall(work.OVERVIEW)  # type: ignore[attr-defined]
    start = board.start
    board.start = lambda *told: begun.append(told)
    sent = {"seen": overview["season"], "job0": "on"}
    tick = r'name="pdf" value="yes"( checked)?>'
    for asked in (True, False):
        desk.post("/audit", data=sent | ({"pdf": "yes"} if asked else {}))
        assert begun.pop()[-1] is asked
        (checked,) = re.findall(tick, desk.get("/").text)
        assert bool(checked) is asked  # as it was last
    board.start = start
    ended = work.audit(lambda _: None, farm_of(desk), [], pdf=True)
    page = Page(desk.get(ended.address).text)
    links = [str(a["href"]) for tag, a in page.elements if tag == "a" and "download" in a]
    papers = [link for link in links if link.endswith(".pdf")]
    assert any(link.endswith("/report.pdf") for link in papers)
    assert all(desk.get(link).content.startswith(b"%PDF-") for link in papers)
    # So may one from Python.
    written = ev.audit(farm_of(desk).season, pdf=True).write(tmp_path / "out")
    made = sorted(path.relative_to(written).as_posix() for path in written.rglob("*.pdf"))
    assert made == sorted(link.partition("/file/")[2] for link in papers)


# As a person would


@pytest.mark.browser
def test_a_job_from_its_page_to_its_report_while_something_else_is_typed(
    tmp_path: Path, visit: Callable[..., Any]
) -> None:
    write_small_farm(tmp_path)
    work.look(lambda _: None, open_farm(tmp_path))
    with open_desk(tmp_path) as address:
        tab = visit(address, 1280)
        tab.get_by_role("link", name="Work").click()
        tab.get_by_role("link", name=re.compile("^Passes")).click()
        tab.get_by_label("Home Field").check()
        tab.get_by_role("button", name="Lay out the passes").click()

        # On the phone meanwhile: a mistake, told and put right, is not lost when the job ends.
        phone = visit(address, 360)
        phone.goto(address.partition("/enter")[0] + "/work/finish")
        phone.get_by_label("Left in the cart").fill("1900 lb")
        tab.wait_for_selector("#job[data-state=done] >> text=Passes")
        phone.get_by_label("Ground still to do").fill("18 ac")
        assert phone.get_by_label("Left in the cart").input_value() == "1900 lb"
        phone.get_by_role("button", name="Work it out").click()
        phone.wait_for_selector(".card .headline >> text=102 lb/ac")
        fits(phone)

        tab.get_by_role("link", name="Open the report").click()
        report = tab.frame_locator("iframe.report")
        assert "Home Field" in report.locator(".card h2").first.text_content()
        with tab.expect_download() as brought:
            tab.get_by_role("link", name="Home Field").click()
        assert brought.value.suggested_filename == "home-field.gpx"
        # The print dialog opens with the report by itself.
        tab.context.add_init_script("window.print = () => { document.title = 'printed'; }")
        with tab.context.expect_page() as opened:
            tab.get_by_role("link", name="Print it").click()
        opened.value.wait_for_function("() => document.title === 'printed'")
