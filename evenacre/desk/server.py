"""Start the desk of a farm, or find the one that is open already."""

from __future__ import annotations

import json
import os
import secrets
import signal
import socket
import time
import urllib.error
import urllib.parse
import urllib.request
import webbrowser
from collections.abc import Callable
from contextlib import ExitStack, suppress
from pathlib import Path
from threading import Thread
from types import FrameType

import uvicorn
from filelock import FileLock, Timeout

from evenacre.desk.app import make_app
from evenacre.desk.asked import Desk
from evenacre.desk.farm import Farm, open_farm
from evenacre.desk.gate import ALIVE, ENTRANCE
from evenacre.desk.listening import listen, serving
from evenacre.errors import InputError

RUNNING = "running"
_PATIENCE_S = 10.0


def serve(
    folder: Path,
    say: Callable[[str], None],
    *,
    browser: bool,
    port: int = 0,
    on_network: bool = False,
) -> None:
    """Serve the desk of a farm until it is closed.

    Parameters
    ----------
    folder : Path
        The farm's; made where it is missing.
    say : callable
        Told the address, and whatever else somebody at a terminal wants to know.
    browser : bool
        Open it in the browser.
    port : int
        On the loopback address; 0 for one that is free.
    on_network : bool
        Answer phones in the same network too, if they have the PIN.

    Raises
    ------
    InputError
        When the folder, the port or the network cannot be had.
    """
    farm = open_farm(folder)
    with ExitStack() as stack:
        lock = FileLock(farm.state / "lock")
        try:
            stack.enter_context(lock.acquire(timeout=0))
        except Timeout:
            _find_the_first(farm, say, browser=browser)
            if on_network:
                say("Open it to the network on its page Phone.")
            return
        except (NotImplementedError, OSError):  # a disk without locks
            if (address := _address_of(farm)) is not None:
                _show(address, say, browser=browser)
                return
        _serve(farm, say, browser=browser, port=port, on_network=on_network)


def _serve(
    farm: Farm, say: Callable[[str], None], *, browser: bool, port: int, on_network: bool
) -> None:
    try:
        listening = listen("127.0.0.1", port)
    except OSError as error:
        what = f"Port {port} cannot be had ({error.strerror})."
        raise InputError.at("--port", "", what, "Name another, or leave it out.") from None
    port = listening.getsockname()[1]
    key = secrets.token_urlsafe(32)
    address = f"http://127.0.0.1:{port}{ENTRANCE}?key={key}"
    server: _Server

    def close() -> None:
        server.should_exit = True

    desk = Desk(farm, key, port, close)
    if on_network:
        desk.network.listen(port)
    server = _Server(serving(make_app(desk), "on"), desk)
    farm.remember(RUNNING, {"pid": os.getpid(), "port": port, "key": key})
    try:
        # What is listened on already takes the browser's question before it is served.
        _show(address, say, browser=browser)
        if on_network:
            network = desk.network
            say(f"Phones in your Wi-Fi open {network.address} with the PIN {network.pin.digits}.")
            say("Nothing on its way is encrypted: do this in your own Wi-Fi only.")
        say("Close it from the page, or here with Ctrl-C.")
        server.run(sockets=[listening])
        say("The desk is closed.")
    finally:
        listening.close()
        with suppress(OSError):
            (farm.state / f"{RUNNING}.json").unlink()


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, desk: Desk) -> None:
        super().__init__(config)
        self._desk = desk

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Close as from the page: for a server that is no work broken off."""
        self.force_exit = self.should_exit and sig == signal.SIGINT
        self.should_exit = True

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End what would never end by itself, then all the rest."""
        self._desk.board.hush()
        await super().shutdown(sockets)


def _find_the_first(farm: Farm, say: Callable[[str], None], *, browser: bool) -> None:
    end = time.monotonic() + _PATIENCE_S
    while time.monotonic() < end:
        if (address := _address_of(farm)) is not None:
            say("The desk of this farm is open already.")
            _show(address, say, browser=browser)
            return
        time.sleep(0.1)
    what = "The desk of this farm is open already, but does not answer."
    raise InputError.at(farm.root, "", what, "End it (or start the machine anew) and try again.")


def _address_of(farm: Farm) -> str | None:
    """Where the desk of a farm is served, if it answers; what a killed one left does not."""
    told = farm.recall(RUNNING)
    try:
        key, port = str(told["key"]), int(told["port"])
        home = f"http://127.0.0.1:{port}"
        query = urllib.parse.urlencode({"key": key})
        asked = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        with asked.open(f"{home}{ALIVE}?{query}", timeout=2) as answer:
            there = json.loads(answer.read(1 << 16))
    except (TypeError, KeyError, ValueError, OSError):
        return None
    return f"{home}{ENTRANCE}?{query}" if there == {"desk": str(farm.root)} else None


def _show(address: str, say: Callable[[str], None], *, browser: bool) -> None:
    say(f"The desk is at {address}")
    if browser:
        # Some browsers keep whoever opens them waiting.
        Thread(target=webbrowser.open, args=(address,), daemon=True).start()
