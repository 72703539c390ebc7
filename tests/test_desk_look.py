"""The desk's pages as everybody meets them: axe finds nothing, all fits, the keyboard is enough."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import axe_playwright_python
import pytest
from small_farm import write_small_farm
from starlette.routing import Match
from test_desk_whole import fits, open_desk
from watched_tabs import watch

from evenacre.desk import network, phone_pages, server, work
from evenacre.desk.asked import Desk
from evenacre.desk.farm import open_farm
from evenacre.desk.jobs import Job
from evenacre.desk.network import OwnAddress
from evenacre.io.season.edit import change_season, digest_of

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text()
FOUND = """async (rules) => (await axe.run(document, {resultTypes: ['violations'], iframes: false,
    ...rules})).violations.map(v => [v.id, v.impact, v.nodes.map(n => n.html).slice(0, 3)])"""
# By night and on a phone nothing but colours and sizes is another.
OTHER = {} if "EVERY_PAGE" in os.environ else {"runOnly": ["color-contrast", "target-size"]}
ALIKE = 100 if "EVERY_PAGE" in os.environ else 1
"""How many pages of a route are looked at."""

pytestmark = pytest.mark.browser


DAY, NIGHT = (1280, "light"), (360, "dark")
"""At a table, and on a phone: width and colours."""


class Walk:
    """A person who goes from page to page, at a table by day and on a phone by night."""

    def __init__(self, browser: Any, address: str) -> None:
        self.home = address.partition("/enter")[0]
        self.troubles: list[str] = []
        self.contexts = [
            browser.new_context(
                viewport={"width": width, "height": 900},
                reduced_motion="reduce",
                color_scheme=scheme,
            )
            for width, scheme in (DAY, NIGHT)
        ]
        self.tabs = [context.new_page() for context in self.contexts]
        for tab in self.tabs:
            watch(tab, self.home, self.troubles)
            tab.goto(address)

    def look_at(self, path: str, *, status: int = 200) -> None:
        tab = self.tabs[1]
        assert tab.goto(self.home + path).status == status
        for width, scheme in (NIGHT, DAY):  # opened on the phone, it then has more room
            tab.set_viewport_size({"width": width, "height": 900})
            tab.emulate_media(color_scheme=scheme)
            self.look(tab)
        if status != 200:  # which the browser itself remarks on
            self.troubles[:] = [text for text in self.troubles if f"status of {status}" not in text]

    def look(self, tab: Any) -> None:
        tab.wait_for_load_state()
        if not tab.evaluate("'axe' in window"):
            tab.evaluate(AXE)
        rules = OTHER if tab.viewport_size["width"] == NIGHT[0] else {}
        assert tab.evaluate(FOUND, rules) == [], (tab.url, tab.viewport_size)
        if "/file/" not in tab.url:
            fits(tab)

    def all(self, desk: Desk) -> set[str]:
        """Look at every page that a link leads to, of those of one route at some."""
        routes = server.make_app(desk).app.routes  # type: ignore[attr-defined]
        looked_at: dict[str, int] = {}
        met, to_come = {"/"}, ["/"]
        while to_come:
            path = to_come.pop(0)
            scope = {"type": "http", "method": "GET", "path": path.partition("?")[0]}
            route = next(r.path for r in routes if r.matches(scope)[0] == Match.FULL)
            if looked_at.setdefault(route, 0) >= ALIKE:
                continue
            looked_at[route] += 1
            self.look_at(path)
            links = """[...document.links].filter(a => !a.hasAttribute('download'))
                .map(a => [a.getAttribute('href'), a.target])"""
            for address, target in self.tabs[1].evaluate(links):
                link = address.partition("#")[0]
                is_page = "/file/" not in link or target == "_blank"
                if link.startswith("/") and is_page and link not in met:
                    met.add(link)
                    to_come.append(link)
        return set(looked_at)

    def end(self) -> None:
        for context in self.contexts:
            context.close()
        assert self.troubles == []


@pytest.fixture
def walk(browser: Any) -> Iterator[Any]:
    walks: list[Walk] = []

    def begin(address: str) -> Walk:
        walks.append(Walk(browser, address))
        return walks[-1]

    yield begin
    for one in walks:
        one.end()


def audited_farm(folder: Path) -> None:
    """A farm with a season, an earlier version of it, a question left open, and a result."""
    write_small_farm(folder)
    farm = open_farm(folder)
    change_season(
        farm.season, digest_of(farm.season), lambda d: d.update(currency="USD"), farm.versions
    )
    asked = {
        "asks": "How many?",
        "about": ["rows_per_tower", "drill"],
        "example": "8",
        "source": {},
    }
    came = {"files": {}, "idle": [], "left_out": [], "not_used": []}
    farm.remember(work.GATHERED, {"asked": [asked], **came})
    work.look(lambda _: None, farm)
    assert not work.audit(lambda _: None, farm, []).failed


def test_axe_finds_nothing_on_any_page_of_a_farm(
    tmp_path: Path, walk: Any, opened: list[Desk]
) -> None:
    audited_farm(tmp_path)
    with open_desk(tmp_path) as address:
        person = walk(address)
        seen = person.all(opened[0])
        assert {"/", "/bring", "/season", "/season/{kind}/{number}", "/results", "/phone"} <= seen
        assert {"/ask", "/ask/{key}", "/ask/end", "/work/rows/{key}/{number}/{at}"} <= seen
        assert any(route.endswith("/open") for route in seen)
        assert any("/file/" in route for route in seen)  # the report by itself


def test_nor_on_an_empty_one_with_troubles_and_a_job_at_work(
    tmp_path: Path, walk: Any, opened: list[Desk]
) -> None:
    with open_desk(tmp_path / "farm") as address:
        person = walk(address)
        board, farm = opened[0].board, opened[0].farm
        for path in ("/", "/results", "/season/operation/new"):
            person.look_at(path)
        person.look_at("/nothing", status=404)
        # A form that cannot be kept.
        for tab in person.tabs:
            tab.goto(f"{person.home}/season/implement/new")
            tab.get_by_label("Width", exact=True).first.fill("20 lb")
            tab.get_by_role("button", name="Keep it").click()
            tab.wait_for_selector("[aria-invalid]")
            person.look(tab)
        person.troubles[:] = [text for text in person.troubles if "status of 400" not in text]
        board.job = Job(1, "Audit", "running", "Home Field, Spring fertilizer", 1, 3)
        person.look_at("/")
        board.job = replace(
            board.job, state="failed", told=("log.csv: It is empty. Save it anew.",)
        )
        person.look_at("/bring")
        farm.season.write_text("farm = \n")
        person.look_at("/")
        person.look_at("/season")


def test_nor_where_a_phone_comes_in(
    tmp_path: Path, walk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(network, "own_addresses", lambda: [OwnAddress("127.0.0.2", "Wi-Fi")])
    monkeypatch.setattr(phone_pages, "own_addresses", network.own_addresses)
    with open_desk(tmp_path / "farm") as address:
        tab = walk(address).tabs[0]
        tab.get_by_role("link", name="Phone").click()
        tab.get_by_role("button", name="Open it to the network").click()
        code = tab.get_by_alt_text("QR code of http://127.0.0.2")
        assert code.evaluate("e => e.naturalWidth") > 20
        home = (code.get_attribute("alt") or "").removeprefix("QR code of ")
        pin = tab.locator("strong", has_text=re.compile(r"^\d{3} \d{3}$")).inner_text()
        person = walk(home)
        phone = person.tabs[1]
        assert phone.url.endswith("/pin")
        person.look(phone)
        phone.get_by_label("Six digits").fill(pin)
        phone.keyboard.press("Enter")
        phone.wait_for_selector("nav")
        person.look(phone)


def to(tab: Any, name: str, role: str) -> None:
    """Go on with the Tab key to what bears a name; wherever that leads, it can be seen."""
    state = """wanted => { const e = document.activeElement, r = e.getBoundingClientRect();
        const is_marked = getComputedStyle(e).outlineStyle !== 'none' || e.matches('iframe, main');
        return [e === wanted, is_marked && r.top < innerHeight && r.bottom > 0, e.outerHTML]; }"""
    wanted = tab.get_by_role(role, name=re.compile(name)).first.element_handle()
    for _ in range(120):
        tab.keyboard.press("Tab")
        is_there, is_seen, what = wanted.evaluate(state)
        assert is_seen, what
        if is_there:
            return
    raise AssertionError(f"the Tab key never comes to {name}")


@pytest.mark.parametrize(
    ("page", "asks", "place"),
    [("/", "/overview", "#farm-map"), ("/ground", "/ground/shapes", "#ground-map")],
)
def test_a_map_says_that_the_desk_does_not_answer(
    tmp_path: Path, visit: Any, page: str, asks: str, place: str
) -> None:
    write_small_farm(tmp_path)
    work.look(lambda _: None, open_farm(tmp_path))
    with open_desk(tmp_path) as address:
        tab = visit(address, 360)
        tab.route(f"**{asks}", lambda route: route.abort())
        tab.goto(address.partition("/enter")[0] + page)
        tab.wait_for_selector(f"{place} >> text=The desk does not answer")


@pytest.mark.parametrize(("page", "place"), [("/", "#farm-map"), ("/ground", "#ground-map")])
def test_a_map_stays_in_its_frame_when_the_window_becomes_narrow(
    tmp_path: Path, visit: Any, page: str, place: str
) -> None:
    write_small_farm(tmp_path)
    work.look(lambda _: None, open_farm(tmp_path))
    with open_desk(tmp_path) as address:
        tab = visit(address, 1280)
        tab.goto(address.partition("/enter")[0] + page)
        tab.wait_for_selector(f"{place}[data-ready]")
        tab.set_viewport_size({"width": 360, "height": 900})
        fits(tab)
        frame = tab.locator(place).bounding_box()
        control = tab.locator(f"{place} .leaflet-control-zoom").bounding_box()
        assert frame["x"] < control["x"] < frame["x"] + frame["width"]
        assert frame["y"] < control["y"] < frame["y"] + frame["height"]


def test_a_whole_job_by_the_keyboard_alone(tmp_path: Path, walk: Any) -> None:
    write_small_farm(tmp_path)
    farm = open_farm(tmp_path)
    work.look(lambda _: None, farm)
    with open_desk(farm.root) as address:
        person = walk(address)
        for tab in person.tabs:
            to(tab, "To the content", "link")
            tab.keyboard.press("Enter")
            to(tab, "Audit what is ticked", "button")
        tab = person.tabs[0]
        to(tab, "Spring fertilizer", "checkbox")
        tab.keyboard.press("Space")
        assert not tab.get_by_role("checkbox").first.is_checked()
        tab.keyboard.press("Space")
        tab.keyboard.press("Shift+Tab")
        tab.keyboard.press("Enter")
        tab.wait_for_selector("#job[data-state=done]")
        to(tab, "Open the report", "link")
        tab.keyboard.press("Enter")
        tab.wait_for_selector("iframe.report")
        to(tab, "Season", "link")
        tab.keyboard.press("Enter")
        tab.wait_for_url("**/season")
        to(tab, "^drill$", "link")
        tab.keyboard.press("Enter")
        tab.wait_for_url("**/season/implement/0")
        to(tab, "Width", "textbox")
        tab.keyboard.type("30 ft")  # what stands in a box is chosen when the Tab key comes to it
        tab.keyboard.press("Enter")
        tab.wait_for_selector("text=Undo the last change")
        assert 'width = "30 ft"' in farm.season.read_text()
        to(tab, "Undo the last change", "button")
        with tab.expect_navigation():
            tab.keyboard.press("Enter")
        assert 'width = "20 ft"' in farm.season.read_text()


def test_a_folder_is_dropped_with_all_that_is_in_it(
    tmp_path: Path, walk: Any, opened: list[Desk]
) -> None:
    stick = tmp_path / "stick"
    files = {"a.txt": b"one", "deep/er/b.txt": b"two", "deep/.hidden": b"x", "c d é.txt": b""}
    for name, content in files.items():
        (stick / name).parent.mkdir(parents=True, exist_ok=True)
        (stick / name).write_bytes(content)
    (tmp_path / "alone.txt").write_bytes(b"three")
    with open_desk(tmp_path / "farm") as address:
        person = walk(address)
        opened[0].board.start_in_turn = lambda *_: None  # type: ignore[method-assign]
        tab = person.tabs[0]
        place = tab.locator("#drop").bounding_box()
        at = {"x": place["x"] + 20, "y": place["y"] + 20}
        dragged = {"items": [], "files": [str(stick), str(tmp_path / "alone.txt")]}
        driver = tab.context.new_cdp_session(tab)
        for step in ("dragEnter", "dragOver", "drop"):
            data = {**dragged, "dragOperationsMask": 1}
            driver.send("Input.dispatchDragEvent", {"type": step, **at, "data": data})
        tab.wait_for_selector("#bring-told:text('files came')", state="attached")
    (day,) = (tmp_path / "farm" / "brought").iterdir()
    came = {p.relative_to(day).as_posix(): p.read_bytes() for p in day.rglob("*") if p.is_file()}
    wanted = {f"stick/{name}": content for name, content in files.items() if ".hid" not in name}
    assert came == {**wanted, "alone.txt": b"three"}
