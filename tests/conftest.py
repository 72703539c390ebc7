"""For all tests: nothing kept from run to run, no example timed, a browser without network."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from filelock import FileLock
from hypothesis import settings
from playwright.sync_api import sync_playwright
from prepared import prepare
from watched_tabs import watch

from evenacre.sample_fields.three_larks import write_farm

CHROMIUM = Path("/usr/bin/chromium")

# Tests are to compute, and to leave the user's own folder alone; processes they start inherit it.
os.environ["EVENACRE_CACHE"] = "off"

# Hundreds of processes are started; each would compile the package anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# Nobody pulls the plug meanwhile, and waiting for the disk takes longer than most tests.
os.fsync = lambda _: None  # type: ignore[assignment]
os.environ["OGR_SQLITE_SYNCHRONOUS"] = "OFF"  # nor the GeoPackages that tests write

# A shell that starts the tests in the background has them, and all they start, ignore Ctrl-C.
signal.signal(signal.SIGINT, signal.default_int_handler)

prepare()

# A busy machine is no fault of the code.
settings.register_profile("untimed", deadline=None)
# The same examples in every run of the same code: what fails fails again.
settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.load_profile("untimed")


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config: pytest.Config) -> None:
    """Have each process take tests that lie side by side: what a module makes is made once."""
    if getattr(config.option, "numprocesses", None) and config.option.dist == "no":
        config.option.dist = "worksteal"


def pytest_collection_finish() -> None:
    """Spare what is there before the first test from being looked through for garbage again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def sample_farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample farm, written once for all processes of a run; tests leave it as it is."""
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent
    farm = shared / "sample-farm"
    with FileLock(f"{farm}.lock"):
        if not farm.exists():
            write_farm(farm)
    return farm


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if not CHROMIUM.exists():
        # CI asks for the browser: there a missing one is a failure, not a skip.
        refuse = pytest.fail if os.environ.get("REQUIRE_BROWSER") else pytest.skip
        refuse("no chromium at /usr/bin/chromium")
    flags = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=str(CHROMIUM), args=flags)
        yield chromium
        chromium.close()


@pytest.fixture
def open_page(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """Open a page offline; fails on any script error, blocked load or request."""
    contexts: list[Any] = []
    troubles: list[str] = []

    def go(text: str, width: int = 1280, height: int = 900, scheme: str = "light") -> Any:
        path = tmp_path / "report.html"
        path.write_text(text, encoding="utf-8")
        context = browser.new_context(
            offline=True,
            viewport={"width": width, "height": height},
            reduced_motion="reduce",
            color_scheme=scheme,
        )
        contexts.append(context)
        tab = context.new_page()
        tab.on("pageerror", lambda error: troubles.append(str(error)))
        tab.on("console", lambda message: troubles.append(message.text))
        tab.on(
            "request",
            lambda r: None if r.url.startswith(("file:", "data:")) else troubles.append(r.url),
        )
        tab.goto(path.as_uri())
        tab.set_default_timeout(60_000)
        return tab

    yield go
    for context in contexts:
        context.close()
    assert troubles == []


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Desks that were opened since."""
    from evenacre.desk import server

    made, found = server.Desk, []

    def desk(*args: Any) -> Any:
        found.append(made(*args))
        return found[-1]

    monkeypatch.setattr(server, "Desk", desk)
    return found


@pytest.fixture
def visit(browser: Any) -> Iterator[Callable[..., Any]]:
    """Open the desk as a person would; fails on script errors and requests that leave it."""
    contexts: list[Any] = []
    troubles: list[str] = []

    def go(address: str, width: int) -> Any:
        context = browser.new_context(
            viewport={"width": width, "height": 900}, reduced_motion="reduce"
        )
        contexts.append(context)
        tab = context.new_page()
        watch(tab, address.partition("/enter")[0], troubles)
        tab.goto(address)
        return tab

    yield go
    for context in contexts:
        context.close()
    assert troubles == []
