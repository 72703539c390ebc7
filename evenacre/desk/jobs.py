"""The job at work: in a process of its own, so that pages answer meanwhile."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from threading import Thread
from typing import Any, Literal

from evenacre.desk.work import Ended, Stage, begin
from evenacre.errors import InputError
from evenacre.processes import workers

_PATIENCE_S = 10.0
_APART_S = 0.1
_PULSE_S = 15.0
_BROKE_OFF = (
    "It broke off: the system ended it (for want of memory, perhaps), or it was closed. What was "
    "there before is unharmed."
)


@dataclass(frozen=True)
class Job:
    """A job as the page shows it.

    Attributes
    ----------
    number : int
        Counted from the start of the desk; 0 before the first.
    title : str
    state : str
    stage : str
        What it is at.
    done, total : int
        Parts of it; 0 of 0 where it has none.
    told : tuple of str
        What came of it, in words.
    address : str
        Of the page that shows what came of it.
    wrong : mapping of str to str
        What is wrong, by the box of its form that it concerns.
    """

    number: int = 0
    title: str = ""
    state: Literal["none", "running", "done", "failed", "stopped"] = "none"
    stage: str = ""
    done: int = 0
    total: int = 0
    told: tuple[str, ...] = ()
    address: str = ""
    wrong: Mapping[str, str] = field(default_factory=dict)


@dataclass
class Board:
    """One job at a time, and everybody who watches it."""

    job: Job = field(default_factory=Job)
    _process: BaseProcess | None = None
    _changed: set[asyncio.Event] = field(default_factory=set)
    _waiting: list[tuple[str, Callable[..., Ended], tuple[object, ...]]] = field(
        default_factory=list
    )
    _closed: bool = False

    def start_in_turn(self, title: str, work: Callable[..., Ended], *args: object) -> None:
        """Begin a job now, or when the one at work has ended; call it in the event loop."""
        if self.job.state != "running":
            self.start(title, work, *args)
        elif (title, work, args) not in self._waiting:
            self._waiting.append((title, work, args))

    def start(self, title: str, work: Callable[..., Ended], *args: object) -> Job:
        """Begin a job in a process of its own; call it in the event loop.

        Raises
        ------
        InputError
            While another one is at work.
        """
        if self.job.state == "running":
            what = f'"{self.job.title}" is at work.'
            raise InputError.at(title, "", what, "Wait until it has ended, or stop it.")
        loop = asyncio.get_running_loop()
        context = get_context("spawn")
        hears, tells = context.Pipe(duplex=False)
        process = context.Process(target=begin, args=(tells, work, args))
        with workers.starting():
            process.start()
        tells.close()
        number = self.job.number + 1
        self.job = Job(number, title, "running", "starting")
        self._process = process

        def hear() -> None:
            for message in _messages(hears, process):
                with suppress(RuntimeError):  # the loop was closed meanwhile
                    loop.call_soon_threadsafe(self._take, number, message)

        Thread(target=hear, daemon=True).start()
        self._tell()
        return self.job

    def stop(self) -> None:
        """Ask the job to end; it leaves everything as it was before."""
        if self.job.state == "running" and self._process is not None:
            self._process.terminate()
            self._become(state="stopped", told=("Stopped. What was there before is unharmed.",))

    def hush(self) -> None:
        """Let whoever watches go: a server waits for its last answer before it ends."""
        self._closed = True
        self._tell()

    def close(self) -> None:
        """End the job."""
        if self._process is not None and self._process.is_alive():
            self._process.terminate()
            self._process.join(_PATIENCE_S)
            if self._process.is_alive():
                self._process.kill()

    async def watched(self) -> AsyncIterator[str]:
        """The job as JSON, now and whenever it changes; an empty text now and then between."""
        changed = asyncio.Event()
        changed.set()
        self._changed.add(changed)
        try:
            while not self._closed:
                try:
                    await asyncio.wait_for(changed.wait(), _PULSE_S)
                except TimeoutError:
                    yield ""
                    continue
                changed.clear()
                yield json.dumps(asdict(self.job))
                await asyncio.sleep(_APART_S)
        finally:
            self._changed.discard(changed)

    def _take(self, number: int, message: Stage | Ended | None) -> None:
        if self.job.state != "running" or number != self.job.number:
            return  # one that was stopped has still something to say
        if isinstance(message, Stage):
            self._become(stage=message.name, done=message.done, total=message.total)
        elif isinstance(message, Ended):
            state = "failed" if message.failed else "done"
            told, address, wrong = message.told, message.address, message.wrong
            self._become(state=state, told=told, address=address, wrong=wrong)
        else:
            self._become(state="failed", told=(_BROKE_OFF,))

    def _become(self, **changes: Any) -> None:
        self.job = Job(**{**asdict(self.job), **changes})
        self._tell()
        if self.job.state != "running" and self._waiting and not self._closed:
            title, work, args = self._waiting.pop(0)
            self.start(title, work, *args)

    def _tell(self) -> None:
        for changed in self._changed:
            changed.set()


def _messages(hears: Connection, process: BaseProcess) -> Iterator[Stage | Ended | None]:
    """What a worker says, and None at its end, however that comes."""
    with hears, suppress(EOFError, OSError):
        while hears in wait([hears, process.sentinel]):
            yield hears.recv()
    yield None
