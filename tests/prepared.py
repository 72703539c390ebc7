"""Processes that the program starts anew, here forked off one that has imported what they need.

A worker or a job at the desk takes two seconds of imports, which is more than most that is asked
of it. What is told to it, and how it answers, stays as it is; where the start itself is tested, the
program runs in a process of its own.
"""

from __future__ import annotations

import multiprocessing
import os
from typing import Any

from evenacre.desk import jobs
from evenacre.processes import workers

# What a job at the desk or a worker imports
_NEEDED = [
    *("evenacre.desk.planned", "evenacre.workflows.audit", "evenacre.workflows.gather"),
    *("evenacre.workflows.interseed", "evenacre.workflows.passes"),
]


if hasattr(os, "fork"):
    from multiprocessing import forkserver
    from multiprocessing.context import ForkServerContext, ForkServerProcess

    class _Process(ForkServerProcess):
        """One that has the variables of who started it, as a process that is started anew has."""

        def __init__(self, *args: Any, **named: Any) -> None:
            super().__init__(*args, **named)
            self._variables = dict(os.environ)

        def run(self) -> None:
            os.environ.clear()
            os.environ.update(self._variables)
            forkserver._forkserver.ensure_running = lambda: None  # it is whose child this one is
            prepare()
            super().run()

    class _Prepared(ForkServerContext):
        Process = _Process


def prepare() -> None:
    """Have what is started from here on forked off, where processes can be."""
    if not hasattr(os, "fork"):
        return
    context = _Prepared()
    context.set_forkserver_preload(_NEEDED)
    for module in (workers, jobs):
        module.get_context = lambda _: context  # type: ignore[assignment]


def start_anew() -> None:
    """Leave it to the program how it starts processes."""
    for module in (workers, jobs):
        module.get_context = multiprocessing.get_context
