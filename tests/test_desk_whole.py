"""Whole jobs at the desk, in a browser, as a person would do them."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from processes import Forked, wait_for
from typer.testing import CliRunner

from evenacre.cli.main import app
from evenacre.desk import asked
from evenacre.desk.farm import open_farm
from evenacre.desk.server import RUNNING, serve
from evenacre.errors import InputError

FILES = (
    *("fields.gpkg", "logs/paddock-interseeding.csv"),
    *("logs/paddock-interseeding-blockages.csv", "zones/paddock-4.geojson"),
)


asked._PATIENCE_S = 60.0  # that a machine is busy is not what is tested


@contextmanager
def open_desk(folder: Path) -> Iterator[str]:
    """Serve the desk in a thread, and give its first address."""
    said: list[str] = []
    thread = Thread(target=serve, args=(folder, said.append), kwargs={"browser": False})
    thread.start()
    wait_for(lambda: bool(said))
    address = said[0].removeprefix("The desk is at ")
    try:
        yield address
    finally:
        post(address, "/close")
        thread.join(60)
        assert not thread.is_alive()


def post(address: str, path: str) -> None:
    """Press a button of the desk."""
    home, key = re.fullmatch(r"(.*)/enter\?key=(.*)", address).groups()  # type: ignore[union-attr]
    port = home.rpartition(":")[2]
    headers = {"Cookie": f"evenacre-desk-{port}={key}", "Origin": home}
    request = urllib.request.Request(f"{home}{path}", b"", headers)
    with urllib.request.urlopen(request, timeout=60) as answer:
        assert answer.status == 200


def test_a_second_start_finds_the_first_and_closing_leaves_nothing(tmp_path: Path) -> None:
    # What a killed one left does not keep the next from starting.
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        port = unused.getsockname()[1]
    open_farm(tmp_path).remember(RUNNING, {"pid": 1, "port": port, "key": "old"})
    with open_desk(tmp_path) as address:
        said: list[str] = []
        serve(tmp_path, said.append, browser=False)
        assert said == ["The desk of this farm is open already.", f"The desk is at {address}"]
        with pytest.raises(urllib.error.HTTPError, match="403"):
            urllib.request.urlopen(address.partition("/enter")[0], timeout=60)
        taken = int(address.rpartition(":")[2].partition("/")[0])
        with pytest.raises(InputError, match="cannot be had"):
            serve(tmp_path / "other", said.append, browser=False, port=taken)
    assert not (tmp_path / ".evenacre-desk" / "running.json").exists()


def answers(folder: Path) -> bool:
    """Whether the desk of a folder is open: a second start finds it."""
    said: list[str] = []
    with suppress(InputError):
        serve(folder, said.append, browser=False)
    return bool(said)


def test_one_that_was_killed_is_no_hindrance_and_ctrl_c_closes_it(tmp_path: Path) -> None:
    killed = Forked("desk", tmp_path, "--no-browser")
    running = tmp_path / ".evenacre-desk" / f"{RUNNING}.json"
    wait_for(running.exists)
    killed.kill()
    killed.wait()
    assert running.exists()
    process = Forked("desk", tmp_path, "--no-browser")
    wait_for(lambda: (open_farm(tmp_path).recall(RUNNING) or {}).get("pid") == process.pid)
    assert answers(tmp_path)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate()
    assert (process.returncode, err) == (0, "")
    assert out.endswith("The desk is closed.\n")
    assert not running.exists()


def test_it_closes_when_nobody_reads_what_it_says(tmp_path: Path) -> None:
    reads, writes = os.pipe()
    process = Forked(
        "desk", tmp_path, "--no-browser", stdout=writes, before=lambda: os.close(reads)
    )
    os.close(writes)
    wait_for(lambda: (open_farm(tmp_path).recall(RUNNING) or {}).get("pid") == process.pid)
    assert answers(tmp_path)
    os.close(reads)
    process.send_signal(signal.SIGINT)
    assert (process.wait(), process.communicate()[1]) == (0, "")


def fits(tab: Any) -> None:
    """Nothing is cut off at the side, every box has a name, and buttons are large enough."""
    # The browser shows nothing before the style of a page is there, but can be asked for sizes.
    tab.wait_for_load_state()
    # A drawing follows a window of another size a moment later. What is no function would be
    # evaluated anew at each look, which the policy of the pages forbids.
    tab.wait_for_function("() => document.documentElement.scrollWidth <= innerWidth")
    nameless = """[...document.querySelectorAll('input, select, textarea, button, iframe')]
        .filter(e => e.type !== 'hidden' && !(e.labels && e.labels.length) && !e.title
            && !e.textContent.trim() && !e.getAttribute('aria-label'))
        .map(e => e.outerHTML)"""
    assert tab.evaluate(nameless) == []
    small = """[...document.querySelectorAll('button, .button, nav a')]
        .map(e => [e.textContent, e.getBoundingClientRect()])
        .filter(([, r]) => r.height && r.height < 43).map(([text]) => text)"""
    assert tab.evaluate(small) == []


@pytest.mark.browser
def test_from_an_empty_folder_and_raw_files_to_the_report(
    sample_farm: Path, tmp_path: Path, visit: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790000000")
    farm = tmp_path / "farm"
    with open_desk(farm) as address:
        tab = visit(address, 1280)
        assert "evenacre-desk" not in tab.evaluate("document.cookie")
        fits(tab)
        tab.set_input_files("#pick-files", [str(sample_farm / name) for name in FILES])
        tab.wait_for_selector("#farm-map[data-ready] .shape.pass")
        tab.get_by_role("link", name="Answer them, one at a time").click()
        for question, text in (
            ("Working width", "20 ft"),
            ("Number of rows", "32"),
            ("Rows of a tower", "8"),
        ):
            tab.get_by_label(re.compile(f"^{question}")).fill(text)
            fits(tab)
            tab.get_by_role("button", name="Next").click()
        tab.get_by_role("link", name="Stop here").click()
        tab.get_by_role("button", name="Keep the answers").click()
        tab.wait_for_selector("#job[data-state=done] >> text=Looking the season over")
        tab.get_by_role("button", name="Audit what is ticked").click()
        # The page may still show the job before.
        ended = ":is([data-state=done], [data-state=failed]):has(#job-title:text-is('Audit'))"
        tab.wait_for_selector(f"#job{ended}")
        assert tab.locator("#job-told").inner_text().startswith("Long Pasture"), tab.content()
        tab.get_by_role("link", name="Open the report").click()
        report = tab.frame_locator("iframe.report")
        assert "paddock 4" in report.locator(".card h2").first.text_content().lower()
        # Nothing that the report holds could ask the desk for anything.
        inside = next(frame for frame in tab.frames if frame.url.endswith("/file/report.html"))
        assert inside.evaluate("origin") == "null"

        narrow = visit(address, 360)
        for page in ("/", "/bring", "/results"):
            narrow.goto(address.partition("/enter")[0] + page)
            fits(narrow)
        narrow.get_by_role("link", name=re.compile("Audit")).click()
        narrow.wait_for_selector("iframe.report")
        fits(narrow)

        # By the keyboard alone: the first stop leads past the head of the page.
        narrow.keyboard.press("Tab")
        assert narrow.evaluate("document.activeElement.textContent") == "To the content"
        tab.context.close()
        narrow.context.close()

    (made,) = (farm / "results").iterdir()
    done = CliRunner().invoke(app, ["audit", str(farm / "season.toml"), "--quiet"])
    assert done.exit_code == 0, done.output
    same = farm / "evenacre-out"
    assert json.loads((made / "summary.json").read_bytes()) == json.loads(
        (same / "summary.json").read_bytes()
    )
    assert (made / "report.html").read_bytes() == (same / "report.html").read_bytes()
