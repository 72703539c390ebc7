"""Runs that are killed, or refused by the disk, at any call into the file system.

``KILL_EVERY=1`` strikes at every single call (some 2,700 of them, a few minutes).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

EVERY = int(os.environ.get("KILL_EVERY", "0"))
SHARES = {blow: EVERY or share for blow, share in {"kill": 8, "full": 30, "forbidden": 30}.items()}
MEMORY = Path("/dev/shm")
PROGRAM = Path(__file__).with_name("killed_runs.py")


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Path]:
    """In memory where that is to be had: a run waits for the disk many times."""
    if not MEMORY.is_dir():
        yield tmp_path / "home"
        return
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        yield Path(folder) / "home"


@pytest.mark.skipif(not hasattr(os, "fork"), reason="strikes at forks")
@pytest.mark.parametrize("steps", ["one step", "two steps"])
def test_one_whole_result_stands_and_nothing_is_left(home: Path, steps: str) -> None:
    done = subprocess.run(
        [sys.executable, PROGRAM, home, "7", steps, json.dumps(SHARES)],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    # The shortest of them, writing a zip, makes over thirty calls.
    for blow, counts in json.loads(done.stdout).items():
        for what in ("none", "untouched", "used", "farm", "farm in a folder", "zip"):
            assert counts[f"{what} struck"] >= 30 // SHARES[blow], blow
