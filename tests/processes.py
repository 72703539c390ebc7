"""Processes of the command, watched from outside."""

from __future__ import annotations

import gc
import os
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from multiprocessing import resource_tracker
from pathlib import Path

from prepared import start_anew

import evenacre.workflows.audit  # noqa: F401  what processes that are forked off are to have
from evenacre.cli.main import main

LISTED = Path("/proc/self/task").is_dir()
"""Whether the system lists processes."""


def alive(pid: int) -> bool:
    """Tell whether a process still runs; one that only waits to be counted does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def children(pid: int) -> list[int]:
    """Processes that a process started."""
    try:
        return [int(c) for c in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


def wait_for(ready: Callable[[], bool], seconds: float = 60.0) -> None:
    """Wait until something is so."""
    end = time.monotonic() + seconds
    while not ready():
        assert time.monotonic() < end, "it never was"
        time.sleep(0.005)


class Forked:
    """The command in a process forked off this one, which has imported what it needs.

    A process of its own in all but its start, which would take longer than most of what it is
    watched for. It leads a session of its own.
    """

    def __init__(
        self,
        *args: object,
        stdin: int | None = None,
        stdout: int | None = None,
        stderr: int | None = None,
        before: Callable[[], object] = lambda: None,
    ) -> None:
        self._said = [tempfile.TemporaryFile() for _ in range(2)]  # noqa: SIM115
        self.returncode: int | None = None
        streams = (
            os.open(os.devnull, os.O_RDONLY) if stdin is None else stdin,
            self._said[0].fileno() if stdout is None else stdout,
            self._said[1].fileno() if stderr is None else stderr,
        )
        self.pid = os.fork()
        if not self.pid:
            _run([str(a) for a in args], streams, before)
        if stdin is None:
            os.close(streams[0])

    def poll(self) -> int | None:
        """How it ended, as `subprocess` tells it; None while it runs."""
        if self.returncode is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.returncode = os.waitstatus_to_exitcode(status)
        return self.returncode

    def wait(self, seconds: float = 60.0) -> int:
        """Wait for its end."""
        wait_for(lambda: self.poll() is not None, seconds)
        assert self.returncode is not None
        return self.returncode

    def communicate(self, seconds: float = 60.0) -> tuple[str, str]:
        """Wait for its end, and return what it said on either stream."""
        self.wait(seconds)
        for stream in self._said:
            stream.seek(0)
        out, err = (stream.read().decode() for stream in self._said)
        return out, err

    def send_signal(self, number: int) -> None:
        """Send it a signal, if it still runs."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """End it at once."""
        self.send_signal(signal.SIGKILL)


def _run(args: list[str], streams: tuple[int, ...], before: Callable[[], object]) -> None:
    """Be the command: never returns into the test that was forked."""
    code = 70
    try:
        os.setsid()
        for number, stream in enumerate(streams):
            os.dup2(stream, number)
        sys.stdin, sys.stdout, sys.stderr = (
            open(number, mode, encoding="utf-8", closefd=False)  # noqa: SIM115
            for number, mode in enumerate(("r", "w", "w"))
        )
        before()
        # An interrupt that strikes within a callback of the collector (Hypothesis has one) is lost.
        gc.callbacks.clear()
        # Workers that it starts are its own, and counted by a process of its own.
        start_anew()
        resource_tracker._resource_tracker._fd = None
        sys.argv = ["evenacre", *args]
        code = 0
        main()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
    except BaseException:
        code = 1
        traceback.print_exc()
    finally:
        os._exit(code)
