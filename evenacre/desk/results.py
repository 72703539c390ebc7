"""Results in the farm's folder: those of the desk, by day, and those of the command line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from evenacre.desk.farm import Farm
from evenacre.io.result_folder.ownership import PASSES, PLAN, SUMMARY, read_account

_KINDS = {SUMMARY: "Audit", PLAN: "Plan of interseeding", PASSES: "Planned passes"}
_REPORT = "report.html"


@dataclass(frozen=True)
class ShownResult:
    """A result that can be opened.

    Attributes
    ----------
    place : str
        Its folder, below the farm's, which is also its name in addresses.
    kind : str
        What it is, in words.
    made : datetime
        When it was made, local time.
    jobs : tuple of str
        What was audited.
    files : frozenset of str
        What belongs to it; nothing else of its folder is handed out.
    """

    place: str
    kind: str
    made: datetime
    jobs: tuple[str, ...]
    cautions: int
    files: frozenset[str]

    @property
    def day(self) -> str:
        """The day it was made."""
        return f"{self.made:%A, %Y-%m-%d}"


def results_of(farm: Farm) -> list[ShownResult]:
    """Every result of a farm, the newest first."""
    found = [one for folder in _folders(farm) if (one := _result(farm, folder)) is not None]
    return sorted(found, key=lambda one: (one.made, one.place), reverse=True)


def result_at(farm: Farm, place: str) -> ShownResult | None:
    """The result of a name that :func:`results_of` gives."""
    return next((one for one in results_of(farm) if one.place == place), None)


def file_of(farm: Farm, result: ShownResult, name: str) -> Path | None:
    """A file of a result: one that its account lists and that is no link."""
    path = farm.root / result.place / name
    whole = name in result.files and path.is_file() and not path.is_symlink()
    return path if whole and farm.holds(path) else None


def _folders(farm: Farm) -> Iterator[Path]:
    for home in (farm.root, farm.results):
        if home.is_dir():
            for entry in home.iterdir():
                if not (entry.name.startswith(".") or entry.is_symlink()) and entry.is_dir():
                    yield entry


def _result(farm: Farm, folder: Path) -> ShownResult | None:
    for account, kind in _KINDS.items():
        path = folder / account
        if path.is_file() and not path.is_symlink():
            try:
                changed = path.stat().st_mtime_ns
            except OSError:
                return None
            return _read(farm, folder, account, kind, changed)
    return None


@lru_cache(maxsize=512)
def _read(farm: Farm, folder: Path, name: str, kind: str, _changed: int) -> ShownResult | None:
    account = read_account(folder, name)
    if account is None or _REPORT not in account.files:
        return None
    try:
        told: dict[str, Any] = json.loads((folder / name).read_bytes())
        made = datetime.fromisoformat(str(told.get("generated"))).astimezone()
    except (OSError, ValueError):
        made, told = datetime.fromtimestamp(account.written_s).astimezone(), {}
    operations = told.get("operations") or []
    parts = [told, *operations]
    return ShownResult(
        folder.relative_to(farm.root).as_posix(),
        kind,
        made,
        tuple(f"{one.get('field')}, {one.get('operation')}" for one in operations),
        sum(len(part.get("warnings") or []) for part in parts if isinstance(part, dict)),
        account.files,
    )
