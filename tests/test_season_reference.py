"""The reference of the season file says what the checks of the file know."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent.parent
TOOL, PAGE = HERE / "tools" / "season_reference.py", HERE / "docs" / "season_file.md"


@pytest.mark.skipif(not TOOL.exists(), reason="the tool is not part of every archive")
def test_the_reference_is_up_to_date() -> None:
    made = subprocess.run([sys.executable, TOOL], capture_output=True, text=True, check=True)
    assert made.stdout == PAGE.read_text(encoding="utf-8"), (
        "python tools/season_reference.py > docs/season_file.md"
    )
