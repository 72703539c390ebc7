"""The desk on the farm's own network, for the phone: off unless asked for."""

from __future__ import annotations

import asyncio
import ipaddress
import secrets
import socket
import time
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass, field
from typing import Any

import psutil
import uvicorn
from starlette.types import ASGIApp

from evenacre.desk.gate import Door, Gate, is_key
from evenacre.desk.listening import listen, serving
from evenacre.errors import InputError

_TRIES = 5
_FIRST_WAIT_S = 60.0
_LONGEST_WAIT_S = 3600.0
_NOWHERE = ("192.0.2.1", 9)  # for documents (RFC 5737): nobody has it, and nothing is sent


@dataclass(frozen=True)
class OwnAddress:
    """An address of this machine on a network of somebody's own.

    Attributes
    ----------
    host : str
        IPv4.
    network : str
        What the system calls the adapter.
    """

    host: str
    network: str


def own_addresses() -> list[OwnAddress]:
    """Where others can reach this machine; where most of its traffic goes comes first.

    Public addresses are left out: the desk is never served to the internet.
    """
    adapters = psutil.net_if_stats()
    found = [
        OwnAddress(one.address, name)
        for name, held in psutil.net_if_addrs().items()
        if name in adapters and adapters[name].isup
        for one in held
        if one.family == socket.AF_INET and _is_of_a_home(one.address)
    ]
    used = _used_address()
    return sorted(found, key=lambda one: one.host != used)


def _is_of_a_home(host: str) -> bool:
    address = ipaddress.ip_address(host)
    return address.is_private and not address.is_loopback and not address.is_link_local


def _used_address() -> str:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(_NOWHERE)
        except OSError:  # no way leads anywhere
            return ""
        return str(asked.getsockname()[0])


@dataclass
class Pin:
    """Six digits; every fifth wrong try in a row makes everybody wait, each time twice as long.

    Whoever tries all day long gets through some 150 of a million.
    """

    now: Callable[[], float] = time.monotonic
    digits: str = field(default_factory=lambda: f"{secrets.randbelow(10**6):06}")
    entered: int = 0
    wrong: int = 0
    _in_a_row: int = 0
    _until: float = float("-inf")

    @property
    def wait_s(self) -> float:
        """How long nobody is heard."""
        return max(0.0, self._until - self.now())

    def fits(self, given: str) -> bool:
        """Tell whether this is the PIN; while nobody is heard it never is."""
        if self.wait_s > 0:
            return False
        if is_key("".join(given.split()), self.digits):
            self.entered += 1
            self._in_a_row = 0
            return True
        self.wrong += 1
        self._in_a_row += 1
        if self._in_a_row % _TRIES == 0:
            wait_s = _FIRST_WAIT_S * 2.0 ** min(self._in_a_row // _TRIES - 1, 10)
            self._until = self.now() + min(wait_s, _LONGEST_WAIT_S)
        return False


@dataclass
class Network:
    """Whether the desk is open to the network, and to whom."""

    door: Door | None = None
    pin: Pin = field(default_factory=Pin)
    _listening: socket.socket | None = None
    _server: uvicorn.Server | None = None
    _task: asyncio.Task[None] | None = None
    _changing: asyncio.Lock = field(default_factory=asyncio.Lock)

    @property
    def address(self) -> str:
        """What a phone opens; empty while it is closed."""
        return f"http://{self.door.host}:{self.door.port}" if self.door is not None else ""

    def listen(self, port: int, host: str = "") -> None:
        """Take an address of this machine and think of a PIN; nobody is answered yet.

        Parameters
        ----------
        port : int
            Another one is taken where it cannot be had.
        host : str
            One of `own_addresses`; the first of them where it is empty.

        Raises
        ------
        InputError
            When there is none.
        """
        hosts = [one.host for one in own_addresses()]
        if host:
            hosts = [one for one in hosts if one == host]
        if not hosts:
            what = "This machine is on no network that a phone could share."
            raise InputError.at("Network", host, what, "Join the Wi-Fi, then try again.")
        try:
            try:
                self._listening = listen(hosts[0], port)
            except OSError:
                self._listening = listen(hosts[0], 0)
        except OSError as error:
            what = f"Nothing can be served there ({error.strerror})."
            raise InputError.at(
                "Network", hosts[0], what, "Join the Wi-Fi, then try again."
            ) from None
        taken: int = self._listening.getsockname()[1]
        self.door = Door(hosts[0], taken, secrets.token_urlsafe(32), for_guests=True)
        self.pin = Pin()

    async def serve(self, app: ASGIApp) -> None:
        """Answer whoever comes that way from now on."""
        assert self.door is not None
        assert self._listening is not None
        self._server = _GuestServer(serving(Gate(app, self.door), "off"))
        self._task = asyncio.create_task(self._server.serve(sockets=[self._listening]))

    async def open(self, app: ASGIApp, port: int, host: str) -> None:
        """Listen, and answer with another PIN than before.

        Raises
        ------
        InputError
            As of `listen`.
        """
        async with self._changing:
            await self._end()
            self.listen(port, host)
            await self.serve(app)

    async def close(self) -> None:
        """Answer nobody there any more, those who came in neither; with the key it is over."""
        async with self._changing:
            await self._end()

    async def _end(self) -> None:
        if self._server is not None and self._task is not None:
            self._server.should_exit = True
            await self._task
        if self._listening is not None:
            self._listening.close()
        self.door = self._listening = self._server = self._task = None


class _GuestServer(uvicorn.Server):
    def capture_signals(self) -> Any:
        """Leave them to the desk's own server."""
        return nullcontext()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Cut off what would never end by itself."""
        for connection in list(self.server_state.connections):
            if (transport := getattr(connection, "transport", None)) is not None:
                transport.close()
        await super().shutdown(sockets)
