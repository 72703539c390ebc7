"""Several tabs, files on their way, and a desk that does not answer: nobody waits in vain."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from processes import wait_for
from small_farm import write_small_farm
from test_desk_drill import write_towed
from test_desk_whole import open_desk, post

from evenacre.desk import asked, work
from evenacre.desk.asked import Desk
from evenacre.desk.farm import open_farm
from evenacre.desk.jobs import Job

pytestmark = pytest.mark.browser

# A browser without a window takes every tab for one that is looked at.
AWAY = "Object.defineProperty(document, 'hidden', { get: () => window.away === true })"
TURNED = """away => {
    window.away = away; document.dispatchEvent(new Event('visibilitychange')); }"""
DROPPED = """entry => {
    const event = new Event('drop', { cancelable: true });
    event.dataTransfer = { items: [{ webkitGetAsEntry: () => (%s) }] };
    document.dispatchEvent(event); }"""
GONE = "{ isFile: true, name: 'a', file: (found, failed) => failed(new Error('gone')) }"
EMPTY = "{ name: 'a', createReader: () => ({ readEntries: (found) => found([]) }) }"


def test_many_tabs_do_not_wait_for_each_other(
    tmp_path: Path, visit: Callable[..., Any], opened: list[Desk]
) -> None:
    with open_desk(tmp_path / "farm") as address:
        first = visit(address, 1280)
        first.context.add_init_script(AWAY)
        home = address.partition("/enter")[0]
        first.goto(home)
        tabs = [first]
        for _ in range(8):  # a browser has six connections to one machine
            tabs[-1].evaluate(TURNED, True)
            tabs.append(first.context.new_page())
            tabs[-1].goto(home)
        # One that is looked at again tells what became of the job meanwhile.
        opened[0].board.job = Job(1, "Audit", "done", told=("All of it.",))
        first.evaluate(TURNED, False)
        first.wait_for_selector("#job[data-state=done] >> text=All of it.")
        first.context.close()


def test_who_goes_to_another_page_as_a_job_ends_arrives(
    tmp_path: Path,
    visit: Callable[..., Any],
    opened: list[Desk],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with open_desk(tmp_path / "farm") as address:
        tab = visit(address, 1280)
        steps: list[Callable[[], Any]] = []

        def held(route: Any) -> None:
            steps.pop()()
            time.sleep(1)  # for the page to hear of it
            route.continue_()

        def go() -> None:
            tab.get_by_role("link", name="Season").click()
            tab.wait_for_url("**/season")

        def look() -> None:
            post(address, "/look")
            wait_for(lambda: opened[0].board.job.state in ("done", "failed"))

        tab.route("**/season", held)
        steps.append(look)
        go()
        # And from a page that stands for one that takes long.
        monkeypatch.setattr(asked, "_PATIENCE_S", 0.0)
        tab.route("**/ready/*", lambda route: steps.append(route.continue_))
        tab.goto(f"{address.partition('/enter')[0]}/results")
        wait_for(lambda: bool(tab.evaluate("1") and steps))
        go()
        tab.context.close()


def test_files_on_their_way_outlast_a_job_and_stop_with_their_page(
    tmp_path: Path, visit: Callable[..., Any]
) -> None:
    write_small_farm(tmp_path)
    farm = open_farm(tmp_path)
    work.look(lambda _: None, farm)
    log = tmp_path / "other.csv"
    log.write_text("a,b\n1,2\n")
    leaves = "dispatchEvent(new Event('beforeunload', { cancelable: true }))"
    with open_desk(tmp_path) as address:
        tab = visit(address, 360)
        on_their_way: list[Any] = []
        tab.route("**/file?name=*", lambda route: on_their_way.append(route))
        for reaches_its_end in (True, False):
            tab.wait_for_load_state()
            assert tab.evaluate(leaves)
            tab.set_input_files("#pick-files", [str(log)])
            wait_for(lambda: bool(tab.evaluate("1") and on_their_way))
            assert not tab.evaluate(leaves)  # who leaves is asked first
            assert len(list(farm.incoming.iterdir())) == 1
            # A second time meanwhile is told.
            tab.set_input_files("#pick-files", [str(log)])
            tab.wait_for_selector("#bring-wrong >> text=on their way still")
            if reaches_its_end:
                tab.evaluate("fetch('/look', { method: 'POST' })")
                tab.wait_for_selector("#job[data-state=done] >> text=Looking the season over")
                assert tab.locator("#bringing").is_visible()
                on_their_way.pop().continue_()
                tab.wait_for_selector("#bringing", state="hidden")
                wait_for(lambda: any(farm.brought.rglob("other.csv")))
                ended = ":is([data-state=done], [data-state=failed])"
                tab.wait_for_selector(f"#job{ended} >> text=Looking at what came")
        tab.goto(f"{address.partition('/enter')[0]}/season")
        wait_for(lambda: not list(farm.incoming.iterdir()))
        tab.context.close()


@pytest.mark.parametrize(
    ("entry", "says"), [(GONE, "could not be read"), (EMPTY, "There was no file in it.")]
)
def test_what_was_dropped_in_vain_is_told(
    tmp_path: Path, visit: Callable[..., Any], entry: str, says: str
) -> None:
    with open_desk(tmp_path / "farm") as address:
        tab = visit(address, 360)
        tab.evaluate(DROPPED % entry)
        tab.wait_for_selector(f"#bring-wrong >> text={says}")
        tab.context.close()


def test_a_form_says_that_the_desk_does_not_answer(
    tmp_path: Path, visit: Callable[..., Any]
) -> None:
    write_towed(tmp_path)
    with open_desk(tmp_path) as address:
        tab = visit(address, 1280)
        tab.route("**/check", lambda route: route.abort())
        tab.goto(f"{address.partition('/enter')[0]}/season/implement/0")
        tab.get_by_label("Width", exact=True).first.fill("30 ft")
        tab.wait_for_selector("form [role=alert] >> text=What you type is not kept meanwhile.")
        tab.unroute("**/check")
        tab.get_by_label("Width", exact=True).first.fill("31 ft")
        tab.wait_for_selector("form [role=alert] >> text=What you type", state="detached")
        # What is turned down, as of a drill that was taken out meanwhile, is not waited for.
        tab.route("**/ask", lambda route: route.fulfill(status=200, body="no"))
        tab.get_by_role("button", name="Ask the logs").click()
        tab.wait_for_selector("#ask-stage >> text=The season was changed meanwhile.")
        assert tab.get_by_role("button", name="Ask the logs").is_enabled()
        tab.context.close()
