"""What reading a log ends in, in words."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pytest

from evenacre.errors import InputError
from evenacre.io.logs.read_tracks import read_tracks


def complaint(file: Path, **how: object) -> str:
    """The one complaint about a log, which is a full one."""
    with pytest.raises(InputError) as caught:
        read_tracks(file, **how)  # type: ignore[arg-type]
    (problem,) = caught.value.problems
    assert file.name in problem.file or problem.file in ("columns", "time zone")  # of ``how``
    assert problem.what
    assert problem.remedy
    return str(problem)


def has(texts: Iterable[str], *words: str) -> bool:
    """Tell whether one of some texts holds all these words."""
    return any(all(word in text for word in words) for text in texts)
