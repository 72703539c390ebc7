"""Read a farm's season file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

from evenacre.errors import InputError
from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.season.build import MustHold, SeasonDraft, build_season
from evenacre.io.season.files import KnownShapes, SeasonFiles
from evenacre.io.season.schema import ENTRIES, SINGLES
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_start, read_whole
from evenacre.language import ENGLISH, Tag, now_spoken, spoken, tr
from evenacre.model import Season

_GIVE_ONE = "Give a season file, such as season.toml; `evenacre audit` takes a log after --tracks."
_DEEPEST = 20
_LOOKED_AT = 1 << 16
_TABLES = "|".join((*ENTRIES, *SINGLES)).encode()
_READS_LIKE_ONE = re.compile(
    rb"^[ \t]*((farm|time_zone)[ \t]*=|\[\[?(" + _TABLES + rb")\b)", re.MULTILINE
)
_ON_THE_GROUND = ("need", "paddocks", "paddock", "herd", "grazing", "move", "seeding")
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
    draft = draft_season(path, logs=logs, must_hold=must_hold, in_its_language=True)
    if draft.problems:
        raise InputError(draft.problems)
    return replace(draft.season, origin=(path.name,))


def draft_season(
    path: Path,
    *,
    logs: bool = True,
    maps: bool = True,
    must_hold: MustHold = "operations",
    in_its_language: bool = False,
    known: KnownShapes | None = None,
) -> SeasonDraft:
    """Read a season file as far as it goes, and collect what is wrong; see `load_season`.

    A file that is missing or not TOML, so that nothing can be read, is refused. Without ``maps``
    nothing of the ground is read, which takes most of the time: fields are names alone. With
    ``in_its_language`` complaints are in that which the file names, unless another is spoken. Maps
    that are ``known`` from before are not read again.
    """
    raw = read_toml(path)
    told = raw.get("language")
    if in_its_language and now_spoken().tag == ENGLISH and told in get_args(Tag):
        with spoken(str(told)):
            return draft_season(path, logs=logs, maps=maps, must_hold=must_hold, known=known)
    left = raw if maps else _without_ground(raw)
    return _draft(path, left, logs=logs, must_hold=must_hold, known=known)


def draft_jobs(path: Path, raw: Mapping[str, Any], numbers: Collection[int]) -> SeasonDraft:
    """Some operations of a season alone, by their numbers; nothing of the ground is read.

    ``path`` is that of the season file, ``raw`` what `read_toml` gave of it.
    """
    left = _without_ground(raw)
    held = left.get("operation", [])
    operations = held if isinstance(held, list) else [held]
    left["operation"] = [one for n, one in enumerate(operations) if n in numbers]
    named = {one.get("field") for one in left["operation"] if isinstance(one, dict)}
    left["field"] = [one for one in left.get("field", []) if one["name"] in named]
    return _draft(path, left, logs=True, must_hold="operations")


def _draft(
    path: Path,
    raw: dict[str, Any],
    *,
    logs: bool,
    must_hold: MustHold,
    known: KnownShapes | None = None,
) -> SeasonDraft:
    problems = ProblemCollector(lambda key: _name_key(path.name, raw, key))
    files = SeasonFiles(path.parent, problems, known=known)
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


def _without_ground(raw: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out of a season whatever is drawn, and the plans that are made of it."""
    left = {key: value for key, value in raw.items() if key not in _ON_THE_GROUND}
    fields = raw.get("field")
    if isinstance(fields, list):
        names = [one.get("name") if isinstance(one, dict) else None for one in fields]
        left["field"] = [{"name": name} for name in names if isinstance(name, str)]
    return left


def read_toml(path: Path) -> dict[str, Any]:
    """Read the tables of a season file, none of them checked."""

    def refused(place: str, what: str, remedy: str = _GIVE_ONE) -> InputError:
        return InputError.at(path.name, place, what, remedy)

    if path.is_dir() or not path.exists():
        what = tr("It is a folder.") if path.is_dir() else tr("There is no such file.")
        raise InputError.at(path, "", what, tr("Give the season file, such as season.toml."))
    is_toml = path.suffix.lower() == ".toml"
    data = read_whole(path, str(path), budget.SEASON_BYTES)
    for number, text in enumerate(data.split(b"\n"), 1):
        if text.count(b".") > budget.SEASON_DOTS:
            what = tr("The line has more than {season_dots} dots.", season_dots=budget.SEASON_DOTS)
            raise refused(tr("line {number:,}", number=number), what)
    try:
        raw = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        if not is_toml:
            raise refused("", tr("It is no season file.")) from None
        line = data[: error.start].count(b"\n") + 1
        what = tr("The text is not UTF-8.")
        raise refused(tr("line {line}", line=line), what, tr("Save the file as UTF-8.")) from None
    except tomllib.TOMLDecodeError as error:
        words, _, where = str(error).removesuffix(")").rpartition(" (at ")
        place = where if "line" in where else f"line {len(data.splitlines())}, the last"
        what = tr("It is not TOML: {lower}{words}.", lower=words[0].lower(), words=words[1:])
        remedy = tr("Check quotes, brackets and the = sign there and on the line before.")
        raise refused(place, what, remedy if is_toml else _GIVE_ONE) from None
    except (ValueError, RecursionError):
        # A number of thousands of digits, or brackets in brackets without end.
        raise refused("", tr("It is no TOML that a season can be.")) from None
    level: list[Any] = [raw]
    for _ in range(_DEEPEST):
        inside = [o.values() if isinstance(o, dict) else o for o in level]
        level = [inner for one in inside for inner in one if isinstance(inner, dict | list)]
    if level:
        raise refused("", tr("Its tables are nested deeper than those of a season are."))
    if not raw:
        what = tr("The season file is empty.")
        raise refused("", what, tr("Describe field, implement and operation."))
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
