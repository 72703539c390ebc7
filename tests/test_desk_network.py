"""The desk on the farm's own network: who comes in, who does not, and what stays shut."""

from __future__ import annotations

import http.client
import re
import urllib.parse
from collections.abc import Iterator
from pathlib import Path
from threading import Thread

import pytest
from pages import Page
from processes import wait_for
from starlette.testclient import TestClient
from test_desk import client_of

from evenacre.desk import network
from evenacre.desk.farm import open_farm
from evenacre.desk.gate import Door, Gate
from evenacre.desk.network import Network, OwnAddress, Pin, own_addresses
from evenacre.desk.server import RUNNING, serve
from evenacre.errors import InputError
from evenacre.io.season.edit import versions

DOOR = Door("192.168.7.5", 4711, "g" * 43, for_guests=True)
HOME = "http://192.168.7.5:4711"
LEAK = "three-larks"


class Clock:
    def __init__(self) -> None:
        self.s = 1000.0

    def __call__(self) -> float:
        return self.s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def guest(tmp_path: Path, clock: Clock) -> Iterator[TestClient]:
    """A phone that has found the address."""
    with client_of(tmp_path / LEAK) as own:
        own.desk.network = Network(DOOR, Pin(clock, "482913"))  # type: ignore[attr-defined]
        app = Gate(own.app.app, DOOR)  # type: ignore[attr-defined]
        phone = TestClient(app, HOME, headers={"Origin": HOME}, follow_redirects=False)
        phone.own, phone.desk = own, own.desk  # type: ignore[attr-defined]
        yield phone


def test_without_the_pin_a_phone_sees_nothing_of_the_farm(guest: TestClient) -> None:
    for address in ("/", "/overview", "/events", "/results", "/season", "/nothing", "/enter"):
        answer = guest.get(address)
        assert (answer.status_code, answer.headers["location"]) == (303, "/pin")
        assert guest.post(address).status_code == 403
    assert guest.put("/bring/x/file", content=b"x").status_code == 403
    asks = guest.get("/pin")
    assert asks.status_code == 200
    # Browsers complain of it at an address that they do not trust.
    assert "cross-origin-opener-policy" not in asks.headers
    assert LEAK not in asks.text
    assert "482913" not in asks.text
    for _, attrs in Page(asks.text).elements:
        if attrs.get("href", "").startswith("/assets"):
            assert guest.get(attrs["href"]).status_code == 200
    for out in ("/assets/../overview", "/assets/%2e%2e/overview", "/assets/x/../../season"):
        assert guest.get(HOME + out).status_code in (303, 404)


def test_the_pin_lets_in_to_all_but_what_is_the_machines_own(guest: TestClient) -> None:
    answer = guest.post("/pin", data={"pin": " 482 913 "})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    page = guest.get("/")
    assert page.status_code == 200
    assert LEAK in page.text
    assert "Close the desk" not in page.text
    assert "/phone" not in page.text
    for shut in ("/enter", "/alive", "/phone", "/phone/open", "/phone/close", "/close"):
        assert guest.get(shut, params={"key": "k" * 43}).status_code == 403
        assert guest.post(shut).status_code == 403
    assert guest.post("/look").status_code == 303


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example:4711"},
        {"Host": "192.168.7.5"},
        {"Host": "192.168.7.6:4711"},
        {"Host": "127.0.0.1:4711"},
        {"Host": "localhost:4711"},
        {"Origin": "http://evil.example"},
        {"Origin": "http://127.0.0.1:4711"},
        {"Origin": "null"},
    ],
)
def test_another_host_or_origin_cannot_even_try_a_pin(
    guest: TestClient, headers: dict[str, str]
) -> None:
    for pin in ("482913", "000000"):
        answer = guest.post("/pin", data={"pin": pin}, headers=headers)
        assert answer.status_code == 403
        assert "set-cookie" not in answer.headers
        assert "PIN" not in answer.text
    pin = guest.desk.network.pin  # type: ignore[attr-defined]
    assert (pin.wrong, pin.entered) == (0, 0)


def test_two_at_once_do_not_lose_each_others_edits(guest: TestClient) -> None:
    desk = guest.desk  # type: ignore[attr-defined]
    desk.board.start_in_turn = lambda *_: None
    desk.farm.season.write_text('[[field]]\nname = "Home"\n')
    guest.post("/pin", data={"pin": "482913"})
    own = guest.own  # type: ignore[attr-defined]

    def form(asking: TestClient) -> dict[str, str]:
        page = Page(asking.get("/season/field/0").text)
        return {a["name"]: a.get("value") or "" for _, a in page.elements if a.get("name")}

    at_the_desk, on_the_phone = form(own), form(guest)
    at_the_desk["name"], on_the_phone["name"] = "East", "West"
    assert own.post("/season/field/0", data=at_the_desk).status_code == 303
    late = guest.post("/season/field/0", data=on_the_phone)
    assert late.status_code == 409
    assert 'value="West"' in late.text  # what was typed is not lost
    assert 'name = "East"' in desk.farm.season.read_text()
    # Whoever has read that keeps it knowingly, and the other's stays among the versions.
    again = {a["name"]: a.get("value") or "" for _, a in Page(late.text).elements if a.get("name")}
    assert guest.post("/season/field/0", data=again).status_code == 303
    assert 'name = "West"' in desk.farm.season.read_text()
    kept = [path.read_text() for path in versions(desk.farm.versions)]
    assert any('name = "East"' in text for text in kept)


def test_after_five_wrong_tries_the_right_one_is_not_heard_either(
    guest: TestClient, clock: Clock
) -> None:
    odd = ["", "48291", "4829134", "482914", "\u0664\u0668\u0662\u0669\u0661\u0663"]
    told = [guest.post("/pin", data={"pin": pin}).status_code for pin in odd]
    assert told == [403, 403, 403, 403, 429]
    refused = guest.post("/pin", data={"pin": "482913"})
    assert refused.status_code == 429
    assert "for 1 minute;" in refused.text
    assert "<input" not in refused.text
    clock.s += 59
    assert guest.post("/pin", data={"pin": "482913"}).status_code == 429
    clock.s += 2
    assert guest.post("/pin", data={"pin": "482913"}).status_code == 303


def test_guessing_all_day_gets_nowhere(clock: Clock) -> None:
    pin = Pin(clock, "482913")
    waits = []
    while clock.s < 1000 + 86400:
        pin.fits("000000")
        if pin.wait_s:
            waits.append(pin.wait_s)
            clock.s += pin.wait_s
    assert waits[:7] == [60, 120, 240, 480, 960, 1920, 3600]
    assert pin.wrong < 160


def test_each_opening_has_a_pin_of_six_digits_of_its_own() -> None:
    pins = {Pin().digits for _ in range(200)}
    assert len(pins) > 190
    assert all(re.fullmatch(r"\d{6}", pin) for pin in pins)


def test_only_addresses_of_a_home_are_served(monkeypatch: pytest.MonkeyPatch) -> None:
    class Held:
        def __init__(self, address: str) -> None:
            self.address, self.family, self.isup = address, 2, address != "10.0.0.9"

    held = ["127.0.0.1", "8.8.8.8", "169.254.1.1", "10.0.0.9", "172.17.0.1", "192.168.7.5"]
    adapters = {f"adapter {address}": Held(address) for address in held}
    monkeypatch.setattr(network.psutil, "net_if_stats", lambda: adapters)
    monkeypatch.setattr(
        network.psutil, "net_if_addrs", lambda: {name: [one] for name, one in adapters.items()}
    )
    monkeypatch.setattr(network, "_used_address", lambda: "192.168.7.5")
    assert [one.host for one in own_addresses()] == ["192.168.7.5", "172.17.0.1"]
    with pytest.raises(InputError, match="no network"):
        Network().listen(0, "8.8.8.8")


def asked(home: str, method: str, path: str, **headers: str) -> http.client.HTTPResponse:
    line = http.client.HTTPConnection(home.removeprefix("http://"), timeout=60)
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    body = headers.pop("body", "")
    line.request(method, path, body, {"Origin": home, **kind, **headers})
    return line.getresponse()


def test_a_phone_comes_in_and_is_cut_off_when_the_network_is_closed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(network, "own_addresses", lambda: [OwnAddress("127.0.0.2", "Wi-Fi")])
    said: list[str] = []
    options = {"browser": False, "on_network": True}
    thread = Thread(target=serve, args=(tmp_path, said.append), kwargs=options)
    thread.start()
    wait_for(lambda: len(said) == 4)
    home, pin = re.search(r"open (\S+) with the PIN (\d{6})\.", said[1]).groups()  # type: ignore[union-attr]
    told = open_farm(tmp_path).recall(RUNNING)
    own = f"http://127.0.0.1:{told['port']}"
    own_cookie = f"evenacre-desk-{told['port']}={told['key']}"
    try:
        # What opens the one way does not open the other.
        wait_for(lambda: asked(home, "GET", "/").status == 303)
        assert asked(home, "GET", "/", Cookie=own_cookie).status == 303
        came = asked(home, "POST", "/pin", body=urllib.parse.urlencode({"pin": pin}))
        cookie = (came.getheader("Set-Cookie") or "").partition(";")[0]
        assert asked(home, "GET", "/", Cookie=cookie).status == 200
        assert asked(own, "GET", "/", Cookie=cookie).status == 403
        watched = asked(home, "GET", "/events", Cookie=cookie)
        assert watched.readline().startswith(b"data: ")

        page = asked(own, "GET", "/phone", Cookie=own_cookie).read().decode()
        assert f"{pin[:3]} {pin[3:]}" in page
        assert 'src="data:image/svg+xml' in page
        assert asked(own, "POST", "/phone/close", Cookie=own_cookie).status == 303
        with pytest.raises(http.client.IncompleteRead):  # it was cut off, and keeps nobody waiting
            watched.read()
        with pytest.raises(OSError):
            asked(home, "GET", "/", Cookie=cookie)
        assert asked(own, "POST", "/phone/open", Cookie=own_cookie).status == 303
        page = asked(own, "GET", "/phone", Cookie=own_cookie).read().decode()
        assert f'"large">{home}<' in page
        assert asked(home, "GET", "/", Cookie=cookie).status == 303
    finally:
        asked(own, "POST", "/close", Cookie=own_cookie)
        thread.join(60)
        assert not thread.is_alive()
    with pytest.raises(OSError):
        asked(home, "GET", "/")
