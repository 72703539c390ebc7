"""Being stopped: Ctrl-C, a request to end and a lost terminal, heeded in one way."""

from __future__ import annotations

import os
import signal
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from threading import current_thread, main_thread
from types import FrameType

_ASKED = tuple(
    getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)
)


class Stopped(KeyboardInterrupt):
    """The system asked the program to end.

    Attributes
    ----------
    number : int
        Of the signal.
    """

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(number)


@contextmanager
def heeded() -> Iterator[None]:
    """Let a request to end and a lost terminal stop the work as Ctrl-C does.

    What the parent chose to ignore (``nohup``) stays ignored.
    """
    with _handled(_stop, [n for n in _ASKED if signal.getsignal(n) is signal.SIG_DFL]):
        yield


@contextmanager
def held() -> Iterator[None]:
    """Hold back whatever would stop the work until the end of a few steps that belong together."""
    heard: list[int] = []
    ignored = (signal.SIG_IGN, None)
    numbers = [n for n in (signal.SIGINT, *_ASKED) if signal.getsignal(n) not in ignored]
    try:
        with _handled(lambda number, _frame: heard.append(number), numbers):
            yield
    finally:
        if heard:
            signal.raise_signal(heard[0])


@contextmanager
def _handled(handler: object, numbers: list[int]) -> Iterator[None]:
    """Answer signals for a time. Only the main thread may; in others nothing changes."""
    before: dict[int, object] = {}
    try:
        if current_thread() is main_thread():
            for number in numbers:
                before[number] = signal.getsignal(number)
                signal.signal(number, handler)  # type: ignore[arg-type]
        yield
    finally:
        for number, earlier in before.items():
            signal.signal(number, earlier)  # type: ignore[arg-type]


def _stop(number: int, _frame: FrameType | None) -> None:
    for stream in (1, 2):
        if _is_lost_terminal(stream):  # words to it would fail in turn
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream)
    raise Stopped(number)


def _is_lost_terminal(descriptor: int) -> bool:
    try:
        return stat.S_ISCHR(os.fstat(descriptor).st_mode) and not os.isatty(descriptor)
    except OSError:
        return False
