"""Worker processes that leave Ctrl-C to their parent and end when it does."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from multiprocessing import active_children, get_context, parent_process, resource_tracker
from multiprocessing.connection import wait
from threading import Thread, current_thread, main_thread
from typing import Any, TypeVar

from evenacre.language import ENGLISH, now_spoken, speak
from evenacre.processes.garbage import collect_seldom
from evenacre.processes.interrupts import held

Result = TypeVar("Result")

_LEFT = tuple(getattr(signal, name) for name in ("SIGINT", "SIGHUP") if hasattr(signal, name))


@contextmanager
def shared(
    function: Callable[..., Result], work: Sequence[tuple[Any, ...]], jobs: int
) -> Iterator[list[Callable[[], Result]]]:
    """One call for the arguments of each piece of work, in their order.

    With ``jobs`` of 2 or more they are under way in as many worker processes, which are started
    anew: a script that asks for them does so under ``if __name__ == "__main__":``.
    """
    if jobs < 2:
        yield [partial(function, *args) for args in work]
        return
    pool: ProcessPoolExecutor | None = None
    try:
        with starting():
            told = now_spoken().tag
            pool = ProcessPoolExecutor(
                jobs, get_context("spawn"), initializer=begin, initargs=(told,)
            )
            started = {k: pool.submit(function, *args) for k, args in enumerate(work)}
        # Each result is had once: what its caller lets go is kept by nobody.
        yield [partial(_taken, started, k) for k in range(len(work))]
    except BaseException:
        for child in active_children():
            child.terminate()
        raise
    finally:
        if pool is not None:
            pool.shutdown(cancel_futures=True)


def _taken(started: dict[int, Future[Result]], number: int) -> Result:
    return started.pop(number).result()


@contextmanager
def starting() -> Iterator[None]:
    """Hold back what would stop the work, and from the processes started meanwhile for good.

    A worker that is only half started would answer Ctrl-C with a traceback of its own.
    """
    with held():
        if not hasattr(signal, "pthread_sigmask") or current_thread() is not main_thread():
            yield
            return
        mask = signal.pthread_sigmask(signal.SIG_BLOCK, _LEFT)  # processes inherit it
        try:
            resource_tracker.ensure_running()
            signal.pthread_sigmask(signal.SIG_BLOCK, _LEFT)  # which that lifted
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)


def begin(told: str = ENGLISH) -> None:
    """First act of a worker: leave Ctrl-C to the parent, and end with it however it ends.

    ``told`` is the tag of the language that it answers in.
    """
    speak(told)
    collect_seldom()
    for number in _LEFT:
        signal.signal(number, signal.SIG_IGN)
    parent = parent_process()
    if parent is not None:
        Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)  # nobody is left to hear of it
