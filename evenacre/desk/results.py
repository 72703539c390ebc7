"""Results in the farm's folder: those of the desk, by day, and those of the command line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from evenacre.desk.farm import Farm
from evenacre.io.result_folder.ownership import EXPORT, PASSES, PLAN, SUMMARY, read_account
from evenacre.io.writers.file_names import REPORT
from evenacre.language import date_text

_KINDS = {
    "evenacre/summary": "Audit",
    "evenacre/summary/finish": "Come out even",
    "evenacre/plan": "Plan of interseeding",
    "evenacre/passes": "Planned passes",
    "evenacre/export": "Task data",
}
_ACCOUNTS = (SUMMARY, PLAN, PASSES, EXPORT)
AUDIT = _KINDS["evenacre/summary"]


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
        What was audited, or planned.
    cautions : int
        Warnings in it.
    files : frozenset of str
        What belongs to it; nothing else of its folder is handed out.
    operations : tuple of (str, str, str)
        Field, name and date of each, in the order of the account; none of what is no audit.
    """

    place: str
    kind: str
    made: datetime
    jobs: tuple[str, ...]
    cautions: int
    files: frozenset[str]
    operations: tuple[tuple[str, str, str], ...] = ()

    @property
    def papers(self) -> list[str]:
        """What is to be printed and handed over."""
        return sorted(name for name in self.files if name.endswith(".pdf"))

    @property
    def has_report(self) -> bool:
        """Whether there is a page of it; results of long ago may have pictures alone."""
        return REPORT in self.files

    @property
    def pictures(self) -> list[str]:
        """Its maps."""
        return sorted(name for name in self.files if name.endswith(".png"))

    @property
    def day(self) -> str:
        """The day it was made."""
        return f"{self.made:%A}, {date_text(self.made)}"


def results_of(farm: Farm) -> list[ShownResult]:
    """Every result of a farm, the newest first."""
    found = [one for folder in _folders(farm) if (one := _result(farm, folder)) is not None]
    return sorted(found, key=lambda one: (one.made, one.place), reverse=True)


def result_at(farm: Farm, place: str) -> ShownResult | None:
    """The result of a name that :func:`results_of` gives."""
    return next((one for one in results_of(farm) if one.place == place), None)


def file_of(farm: Farm, result: ShownResult, name: str) -> Path | None:
    """A file of a result: one that its account lists, that lies in its folder and is no link."""
    home = farm.root / result.place
    path = home / name
    whole = name in result.files and path.is_file() and not path.is_symlink()
    return path if whole and farm.holds(path) and path.resolve().is_relative_to(home) else None


def _folders(farm: Farm) -> Iterator[Path]:
    for home in (farm.root, farm.results):
        if home.is_dir():
            for entry in home.iterdir():
                if not (entry.name.startswith(".") or entry.is_symlink()) and entry.is_dir():
                    yield entry


def _result(farm: Farm, folder: Path) -> ShownResult | None:
    for account in _ACCOUNTS:
        path = folder / account
        if path.is_file() and not path.is_symlink():
            try:
                changed = path.stat().st_mtime_ns
            except OSError:
                return None
            return _read(farm, folder, account, changed)
    return None


@lru_cache(maxsize=512)
def _read(farm: Farm, folder: Path, name: str, _changed: int) -> ShownResult | None:
    account = read_account(folder, name)
    kind = None if account is None else _KINDS.get(account.kind)
    if account is None or kind is None:
        return None
    told: dict[str, Any] = {}
    made = datetime.fromtimestamp(account.written_s).astimezone()
    with suppress(OSError, ValueError):
        told = json.loads((folder / name).read_bytes())
        made = datetime.fromisoformat(str(told.get("generated"))).astimezone()
    listed = told.get("operations") or []
    operations = [one for one in listed if isinstance(one, dict)]
    parts = [told, *operations]
    return ShownResult(
        folder.relative_to(farm.root).as_posix(),
        kind,
        made,
        tuple(f"{one.get('field')}, {one.get('operation')}" for one in operations) or _fields(told),
        sum(len(part.get("warnings") or []) for part in parts if isinstance(part, dict)),
        account.files,
        tuple(
            (str(one.get("field")), str(one.get("operation")), str(one.get("date") or ""))
            for one in (operations if kind == AUDIT and len(operations) == len(listed) else ())
        ),
    )


def _fields(told: dict[str, Any]) -> tuple[str, ...]:
    """What a result is about that is no audit."""
    if told.get("operation"):
        return (f"{told.get('field')}, {told['operation']}",)
    for key, name in (("fields", "field"), ("paddocks", "paddock"), ("jobs", "field")):
        rows = told.get(key)
        if isinstance(rows, list):
            names = (str(row.get(name)) for row in rows if isinstance(row, dict))
            return tuple(dict.fromkeys(names))
    return ()
