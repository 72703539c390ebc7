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
    getattr(signal, name)
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    if hasattr(signal, name)
)
_PLAIN = (signal.SIG_DFL, signal.default_int_handler)


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


class _Stopping:
    """Answers what is to stop the work by raising `Stopped`, and remembers that it did."""

    def __init__(self) -> None:
        self._heard = 0

    def __call__(self, number: int, _frame: FrameType | None) -> None:
        for stream in (1, 2):
            if _is_lost_terminal(stream):  # words to it would fail in turn
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream)
        self._heard = self._heard or number
        raise Stopped(number)

    def insist(self) -> None:
        """Raise again what was raised, and dropped on its way."""
        if self._heard:
            raise Stopped(self._heard)


@contextmanager
def heeded() -> Iterator[None]:
    """Let Ctrl-C, a request to end and a lost terminal stop the work, all in one way.

    What the parent chose to ignore (``nohup``) stays ignored. Python drops what is raised while it
    tidies up (``__del__``, callbacks of weak references and of the collector); a request that
    falls there is heeded at the next `committing`, or else at the end. So is one that a library
    has made an error of its own of.
    """
    stopping = _Stopping()
    with _handled(stopping, [n for n in _ASKED if signal.getsignal(n) in _PLAIN]):
        try:
            yield
        except Exception:
            stopping.insist()
            raise
        stopping.insist()


@contextmanager
def committing() -> Iterator[None]:
    """Put in its place what was made: not begun once the work was to stop, not stopped midway."""
    for handler in {signal.getsignal(number) for number in _ASKED}:
        if isinstance(handler, _Stopping):
            handler.insist()
    with held():
        yield


@contextmanager
def held() -> Iterator[None]:
    """Hold back whatever would stop the work until the end of a few steps that belong together."""
    heard: list[int] = []
    ignored = (signal.SIG_IGN, None)
    numbers = [n for n in _ASKED if signal.getsignal(n) not in ignored]
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


def _is_lost_terminal(descriptor: int) -> bool:
    try:
        return stat.S_ISCHR(os.fstat(descriptor).st_mode) and not os.isatty(descriptor)
    except OSError:
        return False
