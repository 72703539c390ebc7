"""The desk's gate, its files and its season, asked as a page would and as a stranger would."""

from __future__ import annotations

import asyncio
import json
import os
import re
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path, PureWindowsPath
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pages import Page
from small_farm import write_small_farm
from starlette.requests import ClientDisconnect
from starlette.testclient import TestClient

from evenacre.desk import asked, work
from evenacre.desk.app import make_app
from evenacre.desk.asked import Desk
from evenacre.desk.bring import Delivery, check_room, safe_name
from evenacre.desk.farm import open_farm
from evenacre.desk.gate import own_door
from evenacre.desk.shortcut import leave_shortcut
from evenacre.errors import InputError
from evenacre.io.season.edit import (
    Step,
    change_season,
    digest_of,
    remarks_of,
    restore,
    step,
    steps_of,
    versions,
)

asked._PATIENCE_S = 60.0  # that a machine is busy is not what is tested
KEY, PORT = "k" * 43, 4711
HOME = f"http://127.0.0.1:{PORT}"
SECRET = "what nobody may read"


def client_of(folder: Path, *, cookie: bool = True) -> TestClient:
    desk = Desk(open_farm(folder), KEY, PORT, lambda: None)
    client = TestClient(
        make_app(desk), base_url=HOME, headers={"Origin": HOME}, follow_redirects=False
    )
    client.desk = desk  # type: ignore[attr-defined]
    if cookie:
        client.cookies.set(own_door(PORT, KEY).cookie, KEY)
    return client


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[TestClient]:
    with client_of(tmp_path / "farm") as client:
        yield client


def bring(desk: TestClient, files: dict[str, bytes]) -> str:
    """Bring files as the page does, and give back what it is told; the gathering is left out."""
    total = str(sum(map(len, files.values())))
    name = desk.post("/bring/begin", data={"bytes": total}).json()["delivery"]
    for file, content in files.items():
        answer = desk.put(f"/bring/{name}/file", params={"name": file}, content=content)
        assert answer.status_code == 200, answer.text
    delivery = desk.desk.deliveries.pop(name)  # type: ignore[attr-defined]
    return str(delivery.finish())


def brought(desk: TestClient) -> dict[str, bytes]:
    home = desk.desk.farm.brought  # type: ignore[attr-defined]
    return {
        path.relative_to(home).as_posix(): path.read_bytes()
        for path in sorted(home.rglob("*"))
        if path.is_file()
    }


# Who may ask


def test_only_the_page_that_was_opened_with_the_key_gets_an_answer(tmp_path: Path) -> None:
    with client_of(tmp_path, cookie=False) as stranger:
        assert stranger.get("/").status_code == 403
        assert stranger.get("/enter", params={"key": "guess"}).status_code == 403
        assert stranger.get("/alive", params={"key": "guess"}).status_code == 404
        answer = stranger.get("/enter", params={"key": KEY})
        cookie = answer.headers["set-cookie"].lower()
        assert answer.status_code == 303
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert stranger.get("/").status_code == 200


def test_a_season_changed_while_the_desk_was_closed_is_looked_over_as_it_opens(
    tmp_path: Path,
) -> None:
    write_small_farm(tmp_path)
    season = next(tmp_path.rglob("season.toml"))
    with client_of(season.parent, cookie=False) as desk:
        looked = desk.desk.board  # type: ignore[attr-defined]
        desk.get("/enter", params={"key": "guess"})
        assert looked.job.number == 0
        desk.get("/enter", params={"key": KEY})
        assert looked.job.title == "Looking the season over"
        deadline = time.monotonic() + 60
        while looked.job.state == "running" and time.monotonic() < deadline:
            time.sleep(0.05)
        number = looked.job.number
        assert looked.job.state == "done"
        desk.get("/enter", params={"key": KEY})
        assert looked.job.number == number


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example"},
        {"Host": f"evil.example:{PORT}"},
        {"Host": "127.0.0.1:80"},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": f"http://localhost:{PORT}"},
    ],
)
def test_another_host_or_origin_is_turned_away_even_with_the_cookie(
    desk: TestClient, headers: dict[str, str]
) -> None:
    for answer in (desk.get("/", headers=headers), desk.post("/close", headers=headers)):
        assert answer.status_code == 403
        assert "farm" not in answer.text


def test_nothing_is_changed_for_a_page_that_does_not_say_where_it_is_from(
    desk: TestClient,
) -> None:
    del desk.headers["Origin"]
    assert desk.get("/").status_code == 200
    assert desk.post("/look").status_code == 403
    assert desk.put("/bring/x/file", content=b"x").status_code == 403
    assert desk.request("DELETE", "/").status_code == 405


def test_no_page_holds_a_script_or_style_of_its_own(desk: TestClient) -> None:
    for address in ("/", "/bring", "/results", "/nothing"):
        answer = desk.get(address)
        policy = answer.headers["content-security-policy"]
        assert "unsafe" not in policy
        assert "default-src 'none'" in policy
        page = Page(answer.text)
        assert all(text.strip() == "" and attrs.get("src") for attrs, text in page.scripts)
        for tag, attrs in page.elements:
            assert tag != "style"
            assert not [name for name in attrs if name.startswith("on") or name == "style"]
            for name in ("href", "src", "action"):
                assert (attrs.get(name) or "/").startswith(("/", "#"))


# Nothing but the farm's folder

ODD = st.text(st.characters(codec="utf-8", exclude_categories=["C"]), max_size=30)
CLIMBS = st.lists(
    st.sampled_from(["..", "%2e%2e", ".", "results", "evenacre-out", "secret.txt", "file", "open"])
    | ODD,
    max_size=6,
).map("/".join)


@pytest.fixture(scope="module")
def outside(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, TestClient]]:
    home = tmp_path_factory.mktemp("home")
    (home / "secret.txt").write_text(SECRET)
    (home / "farm").mkdir()
    with client_of(home / "farm") as client:
        result_in(home / "farm" / "evenacre-out")
        (home / "farm" / "evenacre-out" / "link.txt").symlink_to(home / "secret.txt")
        yield home, client


def result_in(folder: Path, **more: str) -> None:
    """A result as its account lists it, a link among its files."""
    folder.mkdir(parents=True)
    files = {"report.html": "<p>Report</p>", "tables/ground.csv": "a\n1\n", **more}
    for name, text in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(text)
    account = {
        "schema": "evenacre/summary/1",
        "generated": "2026-11-28T16:32:00+00:00",
        "files": [*files, "link.txt", "../../secret.txt", "summary.json"],
        "operations": [{"field": "Home <b>Field</b>", "operation": "Spring", "warnings": ["x"]}],
    }
    (folder / "summary.json").write_text(json.dumps(account))


def test_of_a_result_only_its_own_files_are_handed_out(outside: tuple[Path, TestClient]) -> None:
    _, desk = outside
    listed = desk.get("/results").text
    assert "Home &lt;b&gt;Field&lt;/b&gt;, Spring" in listed
    assert desk.get("/results/evenacre-out/open").status_code == 200
    report = desk.get("/results/evenacre-out/file/report.html")
    assert report.text == "<p>Report</p>"
    # Its scripts run, but as of no place that the desk would answer.
    assert report.headers["content-security-policy"].startswith("sandbox allow-scripts ")
    assert "allow-same-origin" not in report.headers["content-security-policy"]
    table = desk.get("/results/evenacre-out/file/tables/ground.csv")
    assert "attachment" in table.headers["content-disposition"]
    for name in ("link.txt", "../../secret.txt", "%2e%2e/%2e%2e/secret.txt", "other.txt"):
        assert desk.get(f"/results/evenacre-out/file/{name}").status_code == 404


def test_a_link_where_the_desk_would_write_is_refused(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    farm = tmp_path / "farm"
    farm.mkdir()
    (farm / "brought").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="link"):
        open_farm(farm)


@pytest.mark.parametrize("place", ["season.toml", "drawn", "typed", "results"])
def test_one_that_comes_while_the_desk_is_open_is_refused_too(tmp_path: Path, place: str) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "season.toml").write_text(f'farm = "{SECRET}"\n')
    with client_of(tmp_path / "farm") as desk:
        farm = desk.desk.farm  # type: ignore[attr-defined]
        goal = tmp_path / "elsewhere" / ("season.toml" if place == "season.toml" else "")
        (farm.root / place).symlink_to(goal)
        for answer in (desk.get("/season"), desk.post("/season/farm/0", data={"farm": "x"})):
            assert answer.status_code == 400
            assert "This is a link" in answer.text
            assert SECRET not in answer.text
        assert desk.get("/assets/desk.css").status_code == 200
        (farm.root / place).unlink()
        assert desk.get("/season").status_code == 200


def test_a_link_out_of_the_folder_is_no_file_that_is_offered(tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text(f"lon,lat\n{SECRET},1\n")
    with client_of(tmp_path / "farm") as desk:
        farm = desk.desk.farm  # type: ignore[attr-defined]
        home = farm.brought / "day"
        home.mkdir(parents=True)
        (home / "own.csv").write_text("a\n1\n")
        (home / "link.csv").symlink_to(tmp_path / "secret.csv")
        assert "brought/day/own.csv" in desk.get("/bring").text
        assert "link.csv" not in desk.get("/bring").text
        data = {"log": "brought/day/link.csv", "field": "x", "drill": "y", "seen": ""}
        assert desk.post("/columns/take", data=data).status_code == 404
        assert not farm.season.exists()


# Files


@given(st.text(max_size=400) | CLIMBS)
def test_a_safe_name_stays_below_and_can_be_written_anywhere(name: str) -> None:
    place = safe_name(name)
    if place is None:
        return
    assert not place.is_absolute()
    assert ".." not in place.parts
    for part in place.parts:
        assert 0 < len(part.encode()) <= 200
        assert not part.startswith(".")
        assert part == part.rstrip(". ")
        assert not PureWindowsPath(part).is_reserved()
        assert not re.search(r'[<>:"/\\|?*\x00-\x1f]', part)


def test_names_keep_what_readers_go_by() -> None:
    assert str(safe_name("stick/TASKDATA/TASKDATA.XML")) == "stick/TASKDATA/TASKDATA.XML"
    assert str(safe_name("C:\\logs\\a.csv")) == "C_/logs/a.csv"
    assert str(safe_name("../../a.csv")) == "a.csv"
    assert str(safe_name("/etc/aux.csv")) == "etc/_aux.csv"
    long = safe_name("x" * 500 + ".csv")
    assert long is not None
    assert long.name.endswith("x.csv")
    assert safe_name("a/.git/config") is None
    assert safe_name("..") is None


def test_what_is_brought_is_kept_as_it_is(desk: TestClient) -> None:
    files = {"a.csv": b"1\r\n2", "maps/f.shp": b"\x00\xff", "log.csv": b"", ".hidden": b"x"}
    assert bring(desk, files).startswith("3 files came.")
    (day,) = {name.split("/")[0] for name in brought(desk)}
    assert brought(desk) == {
        f"{day}/{name}": content for name, content in files.items() if name != ".hidden"
    }


def test_what_was_given_twice_is_known_by_its_content(desk: TestClient) -> None:
    bring(desk, {"a.csv": b"one", "b.prj": b"same"})
    assert "here already" in bring(desk, {"other name.csv": b"one"})
    assert len(brought(desk)) == 2
    # With anything new, all of it stays together: b.prj may belong to the new map.
    told = bring(desk, {"b.shp": b"new", "b.prj": b"same"})
    assert "1 file of them" in told or "1 file" in told
    assert len(brought(desk)) == 4
    same = list(desk.desk.farm.brought.rglob("b.prj"))  # type: ignore[attr-defined]
    assert same[0].stat().st_ino == same[1].stat().st_ino


def test_a_file_that_was_changed_since_is_not_taken_for_the_one_that_comes(
    desk: TestClient,
) -> None:
    bring(desk, {"a.csv": b"one"})
    (path,) = desk.desk.farm.brought.rglob("a.csv")  # type: ignore[attr-defined]
    path.write_bytes(b"spoilt")
    assert "came" in bring(desk, {"a.csv": b"one"})
    assert sorted(brought(desk).values()) == [b"one", b"spoilt"]


def test_two_files_of_one_name_both_stay(desk: TestClient) -> None:
    name = desk.post("/bring/begin", data={"bytes": "2"}).json()["delivery"]
    for content, file in ((b"1", "Log.csv"), (b"2", "log.csv")):
        desk.put(f"/bring/{name}/file", params={"name": file}, content=content)
    desk.desk.deliveries[name].finish()  # type: ignore[attr-defined]
    assert sorted(brought(desk).values()) == [b"1", b"2"]


def test_what_breaks_off_leaves_nothing(desk: TestClient) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    delivery = Delivery(farm, 99)

    async def broken() -> Any:
        yield b"half"
        raise ClientDisconnect

    with pytest.raises(ClientDisconnect):
        asyncio.run(delivery.take("a.csv", broken()))
    with pytest.raises(InputError, match="No file came"):
        delivery.finish()
    assert not farm.brought.exists()
    assert not list((farm.state / "incoming").iterdir())


def test_more_than_the_disk_holds_is_refused_before_it_comes(desk: TestClient) -> None:
    with pytest.raises(InputError, match="has room for"):
        check_room(desk.desk.farm, 1 << 60)  # type: ignore[attr-defined]
    answer = desk.post("/bring/begin", data={"bytes": str(1 << 60)})
    assert answer.status_code == 400
    assert "has room for" in answer.json()["told"]


def test_no_more_comes_than_was_announced(desk: TestClient) -> None:
    name = desk.post("/bring/begin", data={"bytes": "3"}).json()["delivery"]
    address = f"/bring/{name}/file"
    assert desk.put(address, params={"name": "a.csv"}, content=b"12").status_code == 200
    answer = desk.put(address, params={"name": "b.csv"}, content=b"34")
    assert answer.status_code == 400
    assert "More came than was announced" in answer.json()["told"]
    home = desk.desk.farm.incoming / name  # type: ignore[attr-defined]
    assert [path.name for path in home.iterdir()] == ["a.csv"]


def test_what_was_brought_and_not_gathered_to_the_end_is_not_forgotten(tmp_path: Path) -> None:
    """As after a job that was stopped, or a desk that was killed in it."""
    with client_of(tmp_path) as desk:
        farm, board = desk.desk.farm, desk.desk.board  # type: ignore[attr-defined]
        begun: list[str] = []
        board.start_in_turn = lambda title, *_: begun.append(title)
        asked = {"action": "/gather", "method": "post"}
        enter = ("/enter", {"key": KEY})
        desk.get(enter[0], params=enter[1])
        assert begun == []
        write_small_farm(farm.root)
        season = farm.season
        season.unlink()
        bring(desk, {name: (farm.root / name).read_bytes() for name in ("log.csv",)})
        for page in ("/", "/bring"):
            assert asked.items() <= form_on(desk.get(page).text, "/gather").items()
        assert desk.post("/gather").status_code == 303
        desk.get(enter[0], params=enter[1])
        assert begun == ["Looking at what came"] * 2
        assert not work.gather(lambda _: None, farm).failed
        for page in ("/", "/bring"):
            assert form_on(desk.get(page).text, "/gather") == {}
        # What can be made nothing of is not looked at again and again either.
        bring(desk, {"picture.png": b"\x89PNG\r\n\x1a\n"})
        assert work.is_left(farm)
        work.gather(lambda _: None, farm)
        assert not work.is_left(farm)


def form_on(text: str, action: str) -> dict[str, str | None]:
    """The form of a page that is sent to an address; nothing where there is none."""
    forms = (attrs for tag, attrs in Page(text).elements if tag == "form")
    return next((attrs for attrs in forms if attrs.get("action") == action), {})


def test_nothing_on_the_page_of_files_is_said_in_options(tmp_path: Path) -> None:
    with client_of(tmp_path) as desk:
        farm = desk.desk.farm  # type: ignore[attr-defined]
        write_small_farm(farm.root)
        log = (farm.root / "log.csv").read_bytes()
        farm.season.unlink()
        bring(desk, {"log.csv": log, "odd.csv": b"a,b\n1,2\n"})
        work.gather(lambda _: None, farm)
        told = Page(desk.get("/bring").text).text
        assert "No columns of longitude and latitude were found" in told
        assert "take it for one below" in told
        assert "--" not in told


def test_files_of_which_none_can_be_used_are_not_answered_in_options(tmp_path: Path) -> None:
    with client_of(tmp_path) as desk:
        farm = desk.desk.farm  # type: ignore[attr-defined]
        bring(desk, {"odd.csv": b"a,b\n1,2\n", "bad.zip": b"PK\x03\x04"})
        with pytest.raises(InputError) as told:
            work.gather(lambda _: None, farm)
        (problem,) = told.value.problems
        assert "odd.csv: No columns of longitude and latitude" in problem.what
        assert "bad.zip" in problem.what
        assert "--" not in str(problem)
        assert str(farm.root) not in str(problem)


def test_a_large_file_is_not_held_in_memory(desk: TestClient) -> None:
    import tracemalloc

    async def large() -> Any:
        for _ in range(64):
            yield b"x" * (1 << 20)

    delivery = Delivery(desk.desk.farm, 64 << 20)  # type: ignore[attr-defined]
    tracemalloc.start()
    asyncio.run(delivery.take("large.csv", large()))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    delivery.drop()
    assert peak < 8 << 20


# The season

WRITTEN = """# My own remark
farm = "Farm"  # the name

[[implement]]
name = "drill"  # ours
own_key = 1

[[operation]]
name = "Spring"
field = "Home"
products = ["18-46-0", { product = "0-0-60", rate = "80 lb/ac" }]
"""
ASKED_OF_IT = [
    {"asks": "How wide?", "about": ["width", "drill"], "example": "20 ft", "source": {}},
    {"asks": "Which rate?", "about": ["rate", "18-46-0"], "example": "110 lb/ac", "source": {}},
    {"asks": "Which rate?", "about": ["rate", "0-0-60"], "example": "80 lb/ac", "source": {}},
]


def answered(desk: TestClient, *answers: str) -> str:
    """Answer the questions that are open in their order, and give the page that follows."""
    page = "/ask"
    for text in answers:
        page = desk.get(page).headers["location"] if page == "/ask" else page
        page = desk.post(page, data={"do": "next", "answer": text}).headers["location"]
    return page


def test_answers_go_into_the_season_and_leave_the_rest_as_it_was(desk: TestClient) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    farm.season.write_text(WRITTEN)
    farm.remember(work.GATHERED, {"asked": ASKED_OF_IT})
    assert "An audit waits for 1 of them." in desk.get("/").text
    first = desk.get("/ask").headers["location"]
    wrong = desk.post(first, data={"do": "next", "answer": "20 lb"})
    assert wrong.status_code == 400
    assert "How wide?" in wrong.text
    assert "20 lb" in wrong.text
    assert 'aria-invalid="true"' in wrong.text
    answered(desk, "20 ft", "110 lb/ac")
    assert farm.season.read_text() == WRITTEN
    assert desk.post("/ask/end", data={"seen": digest_of(farm.season)}).status_code == 303
    text = farm.season.read_text()
    assert tomllib.loads(text)["implement"][0] == {"name": "drill", "own_key": 1, "width": "20 ft"}
    uses = tomllib.loads(text)["operation"][0]["products"]
    assert uses[0] == {"product": "18-46-0", "rate": "110 lb/ac"}
    for line in WRITTEN.splitlines()[:6]:
        assert line in text
    assert "An audit waits" not in desk.get("/").text
    assert [path.read_text() for path in versions(farm.versions)] == [WRITTEN]


def test_nothing_is_written_over_what_was_changed_elsewhere(desk: TestClient) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    farm.season.write_text(WRITTEN)
    farm.remember(work.GATHERED, {"asked": ASKED_OF_IT})
    seen = digest_of(farm.season)
    answered(desk, "20 ft")
    farm.season.write_text(WRITTEN + "\n# by hand\n")
    answer = desk.post("/ask/end", data={"seen": seen})
    assert answer.status_code == 409
    assert "changed elsewhere" in answer.text
    assert "20 ft" in answer.text  # what was typed is not lost
    assert farm.season.read_text().endswith("# by hand\n")


def test_any_version_can_be_brought_back(tmp_path: Path) -> None:
    season, kept = tmp_path / "season.toml", tmp_path / "versions"
    texts = ["a = 1\n"]
    season.write_text(texts[0])
    for value in (2, 3):
        change_season(season, digest_of(season), lambda d, v=value: d.update(a=v), kept)  # type: ignore[misc]
        texts.append(season.read_text())
    assert [path.read_text() for path in versions(kept)] == texts[:2]
    restore(season, digest_of(season), versions(kept)[0])
    assert season.read_text() == texts[0]
    assert texts[2] in [path.read_text() for path in versions(kept)]


@given(st.lists(st.integers(1, 3) | st.sampled_from(["undo", "redo", "elsewhere"]), max_size=14))
@settings(max_examples=60)
def test_the_way_back_and_forth_is_that_of_two_stacks(steps: list[int | Step]) -> None:
    with TemporaryDirectory() as folder:
        season, kept = Path(folder) / "season.toml", Path(folder) / "versions"
        season.write_text("a = 0\n")
        past: list[str] = []
        ahead: list[str] = []
        for one in steps:
            was = season.read_text()
            if isinstance(one, int):
                change_season(season, digest_of(season), lambda d, v=one: d.update(a=v), kept)  # type: ignore[misc]
                if season.read_text() != was:
                    past, ahead = [*past, was], []
            elif one == "elsewhere":  # by another program, which keeps no version
                season.write_text(was + "\n")
                ahead = []
            else:
                step(season, digest_of(season), one, kept)
                here, there = (past, ahead) if one == "undo" else (ahead, past)
                if here:
                    there.append(was)
                    was = here.pop()
                assert season.read_text() == was
            found = steps_of(season, kept)
            told = [[p.read_text() for p in those] for those in (found.past, found.ahead)]
            assert told == [past, ahead]


def test_a_season_that_is_no_toml_is_told_and_stays(desk: TestClient) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    farm.season.write_text("farm = \n")
    answer = desk.get("/")
    assert answer.status_code == 200
    assert "cannot be read" in answer.text
    desk.post("/ask/end", data={"seen": digest_of(farm.season)})
    assert farm.season.read_text() == "farm = \n"


@pytest.mark.parametrize(
    "kept", ['{"asked": []}', '{"format": 0, "kept": {}}', "[]", "not JSON", '{"format": 1']
)
def test_what_another_version_remembered_is_left_aside(desk: TestClient, kept: str) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    for name in (work.OVERVIEW, work.GATHERED):
        (farm.state / f"{name}.json").write_text(kept)
    for page in ("/", "/bring", "/ground", "/work"):
        assert desk.get(page).status_code == 200, page


def test_the_season_is_looked_over(tmp_path: Path) -> None:
    write_small_farm(tmp_path)
    farm = open_farm(tmp_path)
    assert not work.look(lambda _: None, farm).failed
    seen = farm.recall(work.OVERVIEW)
    (job,) = seen["operations"]
    (field,) = seen["fields"]
    assert (job["field"], job["name"]) == ("Home Field", "Spring fertilizer")
    assert job["problems"] == []
    corners = [corner for ring in field["rings"] for corner in ring]
    south, north = min(c[0] for c in corners), max(c[0] for c in corners)
    inside = [south - 1e-4 < lat < north + 1e-4 for line in job["lines"] for lat, _ in line]
    assert inside
    assert all(inside)
    # What has not changed is not read again.
    (tmp_path / "log.csv").with_name("kept.csv").write_bytes((tmp_path / "log.csv").read_bytes())
    stamp = (tmp_path / "log.csv").stat()
    (tmp_path / "log.csv").write_bytes(b"x" * stamp.st_size)
    os.utime(tmp_path / "log.csv", ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    work.look(lambda _: None, farm)
    assert farm.recall(work.OVERVIEW)["operations"] == [job]


# The shortcut


@pytest.mark.parametrize("system", ["linux", "darwin", "win32"])
def test_a_shortcut_names_python_and_the_folder(tmp_path: Path, system: str) -> None:
    folder = tmp_path / 'My 100% "own" $farm\'s'
    folder.mkdir()
    desktop = tmp_path / "Desktop"
    desktop.mkdir()
    place = leave_shortcut(folder, desktop=desktop, system=system)
    text = place.read_text()
    suffix = {"linux": ".desktop", "darwin": ".command", "win32": ".bat"}[system]
    assert place.suffix == suffix
    if system == "darwin":
        import shlex

        words = shlex.split(text.splitlines()[1])
        assert words[-2:] == ["desk", str(folder)]
        assert os.access(place, os.X_OK)
    elif system == "win32":
        assert "100%%" in text
    else:
        line = next(line for line in text.splitlines() if line.startswith("Exec="))
        assert '100%% \\\\"own\\\\" \\\\$farm' in line


def test_remarks_on_guesses_are_told_with_what_they_are_about(tmp_path: Path) -> None:
    season = tmp_path / "season.toml"
    season.write_text(
        '[[field]]\nname = "Home"\nboundary = "a#b.geojson"  # its name says so\n\n'
        '[[operation]]\n# log.csv: all of it.\nname = "Spring"\nfield = "Home"\n# More.\n'
    )
    assert remarks_of(season) == {
        ("field", "Home"): ["boundary: its name says so"],
        ("operation", "Home", "Spring"): ["log.csv: all of it."],
    }
