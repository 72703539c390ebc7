"""Read a farm's season file."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from evenacre.errors import InputError
from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.season.build import MustHold, SeasonDraft, build_season
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.schema import ENTRIES, SINGLES
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_start, read_whole
from evenacre.model import Season

_GIVE_ONE = "Give a season file, such as season.toml; `evenacre audit` takes a log after --tracks."
_DEEPEST = 20
_LOOKED_AT = 1 << 16
_TABLES = "|".join((*ENTRIES, *SINGLES)).encode()
_READS_LIKE_ONE = re.compile(
    rb"^[ \t]*((farm|time_zone)[ \t]*=|\[\[?(" + _TABLES + rb")\b)", re.MULTILINE
)
_MADE_ON_THE_DAY = ("tracks", "columns", "blockages", "blockage", "loads")


def is_season_file(path: Path) -> bool:
    """Tell whether a file calls itself a season or reads like one, without checking it."""
    if path.suffix.lower() == ".toml":
        return True
    return path.is_file() and bool(_READS_LIKE_ONE.search(read_start(path, _LOOKED_AT, path.name)))


def load_season(path: Path, *, logs: bool = True, must_hold: MustHold = "operations") -> Season:
    """Read and check a season file and the map files it names; logs are only looked for.

    Parameters
    ----------
    path : Path
        The season file; other files are named relative to it.
    logs : bool
        False for a plan of work to come: nothing that is made on the day is looked for, and
        operations need not name any.
    must_hold : str
        What the season is read for: ``"operations"``, ``"seeding"`` (of grazed paddocks: it
        has ``grazing`` and ``seeding`` then, and need not have operations), ``"either"``, or
        ``"fields"`` (or paddocks, whatever is done there).

    Returns
    -------
    Season
        In SI units.

    Raises
    ------
    InputError
        With everything that is wrong, at once.

    Examples
    --------
    >>> [field.name for field in ev.load_season(Path("season.toml")).fields]
    ['Home Field', 'West paddock', 'East paddock']
    """
    draft = draft_season(path, logs=logs, must_hold=must_hold)
    if draft.problems:
        raise InputError(draft.problems)
    return draft.season


def draft_season(
    path: Path, *, logs: bool = True, must_hold: MustHold = "operations"
) -> SeasonDraft:
    """Read a season file as far as it goes, and collect what is wrong; see `load_season`.

    A file that is missing or not TOML, so that nothing can be read, is refused.
    """
    raw = read_toml(path)
    files = SeasonFiles(path.parent, ProblemCollector(lambda key: _name_key(path.name, raw, key)))
    files.add(path, path.name)
    return build_season(raw if logs else _to_come(raw), files, logs=logs, must_hold=must_hold)


def _to_come(raw: dict[str, Any]) -> dict[str, Any]:
    """Leave out of operations what is made on the day they are done."""
    operations = raw.get("operation")
    if isinstance(operations, dict):
        operations = [operations]
    if not isinstance(operations, list):
        return raw
    kept = [
        {k: v for k, v in o.items() if k not in _MADE_ON_THE_DAY} | {"tracks": []}
        if isinstance(o, dict)
        else o
        for o in operations
    ]
    return {**raw, "operation": kept}


def read_toml(path: Path) -> dict[str, Any]:
    """Read the tables of a season file, none of them checked."""

    def refused(place: str, what: str, remedy: str = _GIVE_ONE) -> InputError:
        return InputError.at(path.name, place, what, remedy)

    if path.is_dir() or not path.exists():
        what = "It is a folder." if path.is_dir() else "There is no such file."
        raise InputError.at(path, "", what, "Give the season file, such as season.toml.")
    is_toml = path.suffix.lower() == ".toml"
    data = read_whole(path, str(path), budget.SEASON_BYTES)
    for number, text in enumerate(data.split(b"\n"), 1):
        if text.count(b".") > budget.SEASON_DOTS:
            what = f"The line has more than {budget.SEASON_DOTS} dots."
            raise refused(f"line {number:,}", what)
    try:
        raw = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        if not is_toml:
            raise refused("", "It is no season file.") from None
        line = data[: error.start].count(b"\n") + 1
        what = "The text is not UTF-8."
        raise refused(f"line {line}", what, "Save the file as UTF-8.") from None
    except tomllib.TOMLDecodeError as error:
        words, _, where = str(error).removesuffix(")").rpartition(" (at ")
        place = where if "line" in where else f"line {len(data.splitlines())}, the last"
        what = f"It is not TOML: {words[0].lower()}{words[1:]}."
        remedy = "Check quotes, brackets and the = sign there and on the line before."
        raise refused(place, what, remedy if is_toml else _GIVE_ONE) from None
    except (ValueError, RecursionError):
        # A number of thousands of digits, or brackets in brackets without end.
        raise refused("", "It is no TOML that a season can be.") from None
    level: list[Any] = [raw]
    for _ in range(_DEEPEST):
        inside = [o.values() if isinstance(o, dict) else o for o in level]
        level = [inner for one in inside for inner in one if isinstance(inner, dict | list)]
    if level:
        raise refused("", "Its tables are nested deeper than those of a season are.")
    if not raw:
        what = "The season file is empty."
        raise refused("", what, "Describe field, implement and operation.")
    return raw


def _name_key(file: str, raw: dict[str, Any], path: KeyPath) -> tuple[str, str]:
    """Name a key as a person would find it: ``operation "Spring", products 1, rate``."""
    parts: list[str] = []
    if len(path) > 1 and path[0] in ENTRIES and isinstance(path[1], int):
        entries = raw[str(path[0])]
        entry = entries[path[1]] if isinstance(entries, list) else entries
        name = entry.get("name", entry.get("class")) if isinstance(entry, dict) else None
        label = f'"{name}"' if isinstance(name, str) and name else str(path[1] + 1)
        parts, path = [f"{path[0]} {label}"], path[2:]
    for part in path:
        if isinstance(part, int) and parts:
            parts[-1] += f" {part + 1}"
        else:
            parts.append(str(part))
    return file, ", ".join(parts)
