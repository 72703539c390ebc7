"""Processes of the command, watched from outside."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

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
