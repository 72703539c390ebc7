"""The desk, killed or stopped in the middle of an audit: nothing is lost, and it goes on."""

from __future__ import annotations

import json
import os
import signal
import time
import urllib.parse
import urllib.request
from pathlib import Path

import pytest
from processes import LISTED, Forked, alive, children, wait_for
from small_farm import write_small_farm

from evenacre.desk import work
from evenacre.desk.farm import Farm, open_farm
from evenacre.desk.results import results_of
from evenacre.desk.server import RUNNING
from evenacre.io.season.edit import digest_of


class Served:
    """A desk in a process of its own, and its page."""

    def __init__(self, farm: Farm) -> None:
        self.farm = farm
        self.process = Forked("desk", farm.root, "--no-browser")
        running = farm.state / f"{RUNNING}.json"

        def is_up() -> bool:
            told = farm.recall(RUNNING)
            return running.exists() and bool(told) and told["pid"] == self.process.pid

        wait_for(is_up)
        told = farm.recall(RUNNING)
        self._home = f"http://127.0.0.1:{told['port']}"
        cookie = f"evenacre-desk-{told['port']}={told['key']}"
        self._headers = {"Cookie": cookie, "Origin": self._home}

    def post(self, path: str, **boxes: str) -> None:
        body = urllib.parse.urlencode(boxes).encode()
        request = urllib.request.Request(f"{self._home}{path}", body, self._headers)
        with urllib.request.urlopen(request, timeout=30) as answer:
            assert answer.status == 200

    def ended(self) -> str:
        """Wait until the job is at work no more, and tell how it ended."""
        request = urllib.request.Request(f"{self._home}/events", headers=self._headers)
        end = time.monotonic() + 60.0
        with urllib.request.urlopen(request, timeout=60) as answer:
            for line in answer:  # the desk sends one now and then, whatever becomes of the job
                assert time.monotonic() < end, "it never ended"
                if line.startswith(b"data: "):
                    state = str(json.loads(line.removeprefix(b"data: "))["state"])
                    if state != "running":
                        return state
        raise AssertionError("the desk fell silent")

    def audit(self) -> set[Path]:
        """Begin an audit, wait until it is in the middle, and give what it is writing into."""
        left = set(hidden(self.farm))
        self.post("/audit", seen=digest_of(self.farm.season), job0="on")
        wait_for(lambda: bool(set(hidden(self.farm)) - left))
        return set(hidden(self.farm)) - left


def hidden(farm: Farm) -> list[Path]:
    """What an audit is writing into."""
    return [path for path in farm.results.iterdir() if path.name.startswith(".evenacre-")]


def contents(farm: Farm) -> dict[str, bytes]:
    return {
        path.relative_to(farm.results).as_posix(): path.read_bytes()
        for result in results_of(farm)
        for path in sorted((farm.root / result.place).rglob("*"))
        if path.is_file()
    }


@pytest.mark.skipif(not (LISTED and hasattr(os, "fork")), reason="processes are forked and listed")
def test_a_desk_that_is_killed_or_stopped_in_an_audit_has_lost_nothing(tmp_path: Path) -> None:
    write_small_farm(tmp_path)
    farm = open_farm(tmp_path)
    work.look(lambda _: None, farm)
    assert not work.audit(lambda _: None, farm, []).failed
    earlier = contents(farm)
    assert earlier

    desk = Served(farm)
    desk.audit()
    desk.post("/season/farm/0", seen=digest_of(farm.season), farm="Renamed Farm")
    edited = farm.season.read_bytes()
    assert b"Renamed Farm" in edited
    workers = children(desk.process.pid)
    assert workers
    desk.process.kill()
    desk.process.wait()
    wait_for(lambda: not any(map(alive, workers)))
    assert farm.season.read_bytes() == edited
    # The earlier result is as it was, and no half one stands beside it.
    assert earlier.items() <= contents(farm).items()
    shown = {path.name for path in farm.results.iterdir()} - {path.name for path in hidden(farm)}
    assert shown == {Path(result.place).name for result in results_of(farm)}

    # Opened again, it goes on, and the next whole audit clears what the killed one left. One that
    # is stopped leaves everything as it was, too.
    work.look(lambda _: None, farm)
    desk = Served(farm)
    try:
        for _ in range(5):  # one that has ended before it is told to is no test of stopping
            before = contents(farm)
            begun = desk.audit()
            desk.post("/stop")
            if (ended := desk.ended()) == "stopped":
                break
        assert ended == "stopped"
        wait_for(lambda: not begun & {*hidden(farm)})
        assert contents(farm) == before
        desk.audit()
        assert desk.ended() == "done"
    finally:
        desk.process.send_signal(signal.SIGINT)
        desk.process.communicate()
    assert len(results_of(farm)) >= 2
    assert before.items() <= contents(farm).items()
    assert hidden(farm) == []
    assert farm.season.read_bytes() == edited
