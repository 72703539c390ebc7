"""Whatever is asked of the desk, by whatever way: no fault, and no way out of the farm's folder."""

from __future__ import annotations

import asyncio
import hashlib
import os
import re
import urllib.parse
from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_farm import write_small_farm
from test_desk import ASKED_OF_IT, KEY, PORT, SECRET, result_in

from evenacre.desk import network, question_pages, work
from evenacre.desk.app import make_app
from evenacre.desk.asked import Desk
from evenacre.desk.farm import open_farm
from evenacre.desk.gate import Door, Gate, own_door
from evenacre.desk.network import Network, Pin
from evenacre.io.season.edit import change_season, digest_of, versions

EXAMPLES = int(os.environ.get("ROUTES", "120"))
OWN = own_door(PORT, KEY)
GUEST = Door("192.168.7.5", PORT, "g" * 43, for_guests=True)


@dataclass
class Answer:
    status: int
    headers: dict[bytes, bytes]
    body: bytes


async def ask(
    app: Any,
    door: Door,
    method: str,
    path: bytes,
    query: bytes,
    headers: dict[str, str],
    body: bytes,
) -> Answer:
    """Ask as a server would that hands on what came, byte by byte; whoever asked then leaves."""
    told = {"host": f"{door.host}:{door.port}", "origin": f"http://{door.host}:{door.port}"}
    told |= {"cookie": f"{door.cookie}={door.key}", **headers}
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "scheme": "http",
        "path": urllib.parse.unquote_to_bytes(path).decode("utf-8", "replace"),
        "raw_path": path,
        "query_string": query,
        "headers": [(k.encode("latin-1"), v.encode("latin-1")) for k, v in told.items()],
        "server": (door.host, door.port),
        "client": ("192.168.7.9", 50000),
    }
    coming = [
        {"type": "http.request", "body": body[:7], "more_body": True},
        {"type": "http.request", "body": body[7:], "more_body": False},
    ]
    answer = Answer(0, {}, b"")

    async def receive() -> Any:
        return coming.pop(0) if coming else {"type": "http.disconnect"}

    async def send(message: Any) -> None:
        if message["type"] == "http.response.start":
            answer.status, answer.headers = message["status"], dict(message["headers"])
        else:
            answer.body += message.get("body", b"")

    await app(scope, receive, send)
    return answer


class Forms(HTMLParser):
    """The forms of a page: where each is sent, and its boxes as they stand."""

    def __init__(self, text: str, address: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str]]] = []
        self.links: list[str] = []
        self._address = address
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = {key: value or "" for key, value in attrs}
        if tag == "form":
            self.found.append((held.get("action", self._address), {}))
        elif tag == "a":
            self.links.append(held.get("href", "").partition("#")[0])
        elif self.found and held.get("name"):
            self.found[-1][1][held["name"]] = held.get("value", "")


@dataclass(repr=False)
class Home:
    """A farm among other folders, its desk, and what can be asked of it."""

    root: Path
    desk: Desk
    gates: dict[Door, Gate]
    runner: asyncio.Runner
    addresses: list[str]
    forms: list[tuple[str, dict[str, str]]]

    def ask(self, door: Door, method: str, path: str, query: str = "", **more: Any) -> Answer:
        asked = ask(
            self.gates[door],
            door,
            method,
            path.encode("utf-8", "replace"),
            query.encode("utf-8", "replace"),
            more.get("headers", {}),
            more.get("body", b""),
        )
        return self.runner.run(asked)

    def outside(self) -> dict[str, Any]:
        """All that is not the farm's: names, times and contents."""
        found: dict[str, Any] = {}
        for path in sorted(self.root.rglob("*")):
            if not path.is_relative_to(self.desk.farm.root):
                stat = path.lstat()
                content = path.read_bytes() if path.is_file() else b""
                found[str(path)] = (stat.st_mtime_ns, stat.st_mode, content)
        return found

    def kept(self) -> dict[str, str]:
        """What no request may change within it: results and what was brought."""
        farm = self.desk.farm
        return {
            str(path): hashlib.sha256(path.read_bytes()).hexdigest()
            for folder in (farm.results, farm.brought, farm.root / "evenacre-out")
            for path in sorted(folder.rglob("*"))
            if path.is_file() and not path.is_symlink()
        }


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Home]:
    root = tmp_path_factory.mktemp("home")
    (root / "secret.txt").write_text(SECRET)
    (root / "elsewhere").mkdir()
    (root / "elsewhere" / "season.toml").write_text(f'farm = "{SECRET}"\n')
    folder = root / "farm"
    folder.mkdir()
    write_small_farm(folder)
    desk = Desk(open_farm(folder), KEY, PORT, lambda: None)
    farm = desk.farm

    # With something to ask for, and an earlier version.
    def forget(document: Any) -> None:
        del document["implement"][0]["width"], document["implement"][0]["rows"]

    change_season(farm.season, digest_of(farm.season), forget, farm.versions)
    empty = {"files": {}, "idle": [], "left_out": [], "not_used": []}
    rows = {"asks": "How many?", "about": ["rows", "drill"], "example": "32", "source": {}}
    farm.remember(work.GATHERED, {"asked": [*ASKED_OF_IT, rows], **empty})
    farm.remember(question_pages.ANSWERS, {question_pages.round_of(farm).questions[0].key: "20 ft"})
    work.look(lambda _: None, farm)
    result_in(folder / "evenacre-out")
    result_in(farm.results / "2026-11-28-163200-audit")
    (folder / "evenacre-out" / "link.txt").symlink_to(root / "secret.txt")
    (farm.brought / "day").mkdir(parents=True)
    (farm.brought / "day" / "log.csv").write_text("a\n1\n")
    # What is asked for is the routes, not the work behind them.
    desk.board.start_in_turn = lambda *_: None  # type: ignore[method-assign]
    desk.board.start = lambda *_: desk.board.job  # type: ignore[method-assign]
    desk.network = Network(GUEST, Pin(lambda: 0.0, "482913"))
    app = make_app(desk)
    gates = {OWN: app, GUEST: Gate(app.app, GUEST)}  # type: ignore[attr-defined, dict-item]
    routes = [re.sub(r":path\}", "}", route.path) for route in app.app.routes]  # type: ignore[attr-defined]
    patched = pytest.MonkeyPatch()
    patched.setattr(network, "own_addresses", list)
    with asyncio.Runner() as runner:
        made = Home(root, desk, gates, runner, routes, [])
        pages, met = ["/"], set()
        while pages:
            if (page := pages.pop()) not in met and page.startswith("/") and "/file/" not in page:
                met.add(page)
                text = made.ask(OWN, "GET", *page.partition("?")[::2]).body.decode()
                seen = Forms(text, page)
                made.forms += seen.found
                pages += seen.links
        made.addresses += sorted(met)
        yield made
    patched.undo()


# fmt: off
ODD = [
    "", "..", ".", "/", "//", "\\", "\0", "a\0b", "%00", "%2e%2e%2f", "..%5c", "%", "%zz",
    "../../secret.txt", "/etc/passwd", "C:\\x", "file:///etc/passwd", "link.txt", "~", "-1",
    "evenacre-out", "results", "report.html", "season", "implement", "new", "0", "99999",
    "\u202e", "\ud800", "\uffff", "é" * 300, "x" * 5000, "<b>&\"'", "{{7*7}}", "${x}",
    "1e400", "nan", "-inf", "9" * 5000, "1 ft", "1e9 ft", "2026-13-45", "'''", '"""', "\r\nX: y",
    "../elsewhere/season.toml", "farm/../../secret.txt", "0" * 64, "job0", "true", "[1]",
]
NAMES = [
    "seen", "x", "tow.0.x", "tow." + "9" * 5000 + ".x", "tow.-1", "tow", "a.b.c.d", ".", "job99999"
]
VALUES = [
    "application/json", "multipart/form-data; boundary=x", "text/plain; charset=utf-7", "*", "",
    "bytes=0-1", "bytes=-1", "bytes=9999999-", "bytes=a-b", "bytes=0-0,2-3", "-5",
]
# fmt: on
SPOILT = st.text(max_size=40) | st.sampled_from(ODD)
HEADERS = st.dictionaries(
    st.sampled_from(["content-type", "range", "if-none-match", "accept", "content-length"]),
    st.sampled_from(VALUES),
    max_size=2,
)


@st.composite
def asked(draw: st.DrawFn, home: Home) -> tuple[Any, ...]:
    """A request: a form of some page with boxes spoilt, or an address with its parts spoilt."""
    door = draw(st.sampled_from([OWN, OWN, GUEST]))
    headers = draw(HEADERS)
    if draw(st.booleans()):
        action, boxes = draw(st.sampled_from(home.forms))
        changed = draw(st.dictionaries(st.sampled_from([*boxes, *NAMES]), SPOILT, max_size=4))
        left_out = draw(st.sets(st.sampled_from([*boxes, "x"]), max_size=2))
        sent = {k: v for k, v in {**boxes, **changed}.items() if k not in left_out}
        if "seen" in boxes and draw(st.booleans()):
            sent["seen"] = digest_of(home.desk.farm.season)
        body = urllib.parse.urlencode(sent, errors="replace").encode()
        return door, "POST", action, "", headers, body
    path = draw(st.sampled_from(home.addresses))
    path = re.sub(r"\{\w+\}", lambda _: draw(SPOILT), path)
    if draw(st.booleans()):
        path += "/" + draw(SPOILT)
    method = draw(st.sampled_from(["GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "TRACE"]))
    names = st.sampled_from(["name", "key", "version", "seen", "bytes", "pin", "host"])
    query = urllib.parse.urlencode(
        draw(st.dictionaries(names, SPOILT, max_size=3)), errors="replace"
    )
    return door, method, path, query, headers, draw(st.binary(max_size=60))


@given(st.data())
@settings(max_examples=EXAMPLES, suppress_health_check=list(HealthCheck))
def test_no_request_is_a_fault_or_leads_out_of_the_folder(home: Home, data: st.DataObject) -> None:
    farm = home.desk.farm
    outside, kept = home.outside(), home.kept()
    for _ in range(data.draw(st.integers(1, 5))):
        door, method, path, query, headers, body = data.draw(asked(home))
        season = farm.season.read_bytes()
        answer = home.ask(door, method, path, query, headers=headers, body=body)
        assert 200 <= answer.status < 500
        assert SECRET.encode() not in answer.body
        assert b"Traceback" not in answer.body
        assert b"x-content-type-options" in answer.headers
        if farm.season.read_bytes() != season:
            assert season in [path.read_bytes() for path in versions(farm.versions)]
    assert home.outside() == outside
    assert {name: home.kept().get(name) for name in kept} == kept


def test_what_the_fuzz_asks_with_is_answered(home: Home) -> None:
    """It would find nothing if it were turned away at the gate."""
    assert home.ask(OWN, "GET", "/season").status == 200
    assert home.ask(GUEST, "GET", "/season").status == 200
    assert home.ask(GUEST, "GET", "/phone").status == 403
    assert {"/audit", "/season/restore", "/ask/end"} <= {action for action, _ in home.forms}
    assert any("{" in path for path in home.addresses)
