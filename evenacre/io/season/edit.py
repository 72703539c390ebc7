"""Change a season file in place: what is not changed stays as it was written."""

from __future__ import annotations

import hashlib
import json
import pickle
import tomllib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Any, Literal

import tomlkit
import tomlkit.items
from filelock import FileLock, Timeout
from tomlkit.exceptions import TOMLKitError

from evenacre.errors import ChangedElsewhereError, InputError
from evenacre.io.result_folder.staging import disk_troubles_told
from evenacre.io.result_folder.whole_file import write_whole
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_whole
from evenacre.language import tr

Step = Literal["undo", "redo"]
_HISTORY = "history.json"
_MOST_KEPT = 200
_PARSING = Lock()
_PATIENCE_S = 5.0


def digest_of(season: Path) -> str:
    """Digest (SHA-256) of a season file as it is now; empty where there is none."""
    if not season.exists():
        return ""
    return hashlib.sha256(read_whole(season, season.name, budget.SEASON_BYTES)).hexdigest()


def change_season(
    season: Path, seen: str, change: Callable[[tomlkit.TOMLDocument], None], kept: Path
) -> None:
    """Change a season file, whole or not at all, and keep the version before.

    Parameters
    ----------
    season : Path
        It is made where it is missing.
    seen : str
        Its digest when the change was thought of.
    change : callable
        Takes the document, comments and all, and changes it.
    kept : Path
        Folder of versions.

    Raises
    ------
    ChangedElsewhereError
        When it was changed since it was seen; nothing is written.
    InputError
        When it is no TOML, or cannot be written.
    """

    def changed(content: bytes) -> bytes:
        try:
            document = _parsed(content)
            change(document)
            text = tomlkit.dumps(document)
            tomllib.loads(text)  # what cannot be read is not written
            return text.encode()
        except (TOMLKitError, ValueError, RecursionError) as error:
            what = tr("It cannot be changed here ({error}).", error=error)
            raise InputError.at(season.name, "", what, tr("Mend it in a text editor.")) from None

    _exchange(season, seen, changed, kept)


def parse_ahead(season: Path) -> None:
    """Parse a season file before it is to be changed: of a long one that takes a while."""
    with suppress(OSError, InputError, TOMLKitError, ValueError, RecursionError):
        _parsed(read_whole(season, season.name, budget.SEASON_BYTES))


def _parsed(content: bytes) -> Any:
    """A document of its own; who comes while it is parsed waits instead of parsing it too."""
    with _PARSING:
        packed = _packed(content)
    return pickle.loads(packed)


@lru_cache(maxsize=2)
def _packed(content: bytes) -> bytes:
    """A document as it is parsed; to unpack it again takes a seventh of the time."""
    return pickle.dumps(tomlkit.parse(content.decode("utf-8-sig")))


@dataclass(frozen=True)
class Steps:
    """The way back from a season file as it is, and forth again.

    Attributes
    ----------
    past : tuple of Path
        Versions, the one before the last change last.
    ahead : tuple of Path
        Versions that were gone back from, the next last; none once anything else was changed.
    """

    past: tuple[Path, ...] = ()
    ahead: tuple[Path, ...] = ()


def steps_of(season: Path, kept: Path) -> Steps:
    """What can be undone and redone of a season file."""
    now = digest_of(season)
    known = {}
    for path in versions(kept):
        with suppress(OSError):  # just taken away
            known[_digest_of_version(path, path.stat().st_size)] = path
    told = _history(kept)
    past = [one for one in told.get("past", known) if one in known]
    while past and past[-1] == now:  # kept, but then not changed
        past.pop()
    ahead = told.get("ahead", []) if told.get("now") == now else []
    return Steps(
        tuple(known[one] for one in past), tuple(known[one] for one in ahead if one in known)
    )


def step(season: Path, seen: str, which: Step, kept: Path) -> None:
    """Undo the last change, or redo the one that was undone last; nothing where there is none.

    Raises
    ------
    ChangedElsewhereError
        When the file was changed since it was seen.
    InputError
        When it cannot be written.
    """
    found = steps_of(season, kept)
    versions_there = found.past if which == "undo" else found.ahead
    if not versions_there:
        return
    target = versions_there[-1].read_bytes()
    past, ahead = map(_digests, (found.past, found.ahead))
    if which == "undo":
        past, ahead = past[:-1], [*ahead, seen]
    else:
        past, ahead = [*past, seen], ahead[:-1]
    _exchange(season, seen, lambda _content: target, kept)
    _keep_history(kept, past, ahead, hashlib.sha256(target).hexdigest())


def restore(season: Path, seen: str, version: Path) -> None:
    """Bring an earlier version back; the one that is left is kept like any other.

    Raises
    ------
    ChangedElsewhereError
        When the file was changed since it was seen.
    InputError
        When it cannot be written.
    """
    _exchange(season, seen, lambda _content: version.read_bytes(), version.parent)


def keep_version(season: Path, kept: Path) -> None:
    """Keep the file as it is now, the newest of its versions."""
    if not season.is_file():
        return
    content = read_whole(season, season.name, budget.SEASON_BYTES)
    past = _digests(steps_of(season, kept).past)
    for same in (path for path in versions(kept) if path.read_bytes() == content):
        same.unlink()
    kept.mkdir(exist_ok=True)
    write_whole(kept / f"{datetime.now():%Y-%m-%d-%H%M%S-%f}.toml", content)
    for old in versions(kept)[:-_MOST_KEPT]:
        old.unlink(missing_ok=True)
    _keep_history(kept, [*past, hashlib.sha256(content).hexdigest()], [], "")


def versions(kept: Path) -> list[Path]:
    """Versions that were kept, the oldest first."""
    return sorted(kept.glob("*.toml"))


def _digests(those: tuple[Path, ...]) -> list[str]:
    return [_digest_of_version(path, path.stat().st_size) for path in those]


@lru_cache(maxsize=4 * _MOST_KEPT)
def _digest_of_version(path: Path, _size: int) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()  # a version is never written over


def _history(kept: Path) -> dict[str, Any]:
    """The order of versions as they were gone through; empty where nothing is told of it."""
    try:
        told = json.loads((kept / _HISTORY).read_bytes())
    except (OSError, ValueError):
        return {}
    if not isinstance(told, dict):
        return {}
    lists = [one for key in ("past", "ahead") for one in [told.get(key)] if isinstance(one, list)]
    texts = all(isinstance(text, str) for one in lists for text in one)
    return told if len(lists) == 2 and texts else {}


def _keep_history(kept: Path, past: list[str], ahead: list[str], now: str) -> None:
    told = {"past": past[-_MOST_KEPT:], "ahead": ahead[-_MOST_KEPT:], "now": now}
    write_whole(kept / _HISTORY, json.dumps(told).encode())


def remarks_of(season: Path) -> dict[tuple[str, ...], list[str]]:
    """What comments say of fields and operations, where gathering tells what it guessed.

    Returns
    -------
    dict of tuple to list of str
        By ``("field", NAME)`` and ``("operation", FIELD, NAME)``; of what stands beside a value,
        its key first. Empty of a file that cannot be changed in place.
    """
    found: dict[tuple[str, ...], list[str]] = {}
    content = read_whole(season, season.name, budget.SEASON_BYTES)
    try:
        document = tomlkit.parse(content.decode("utf-8-sig"))
    except (TOMLKitError, UnicodeDecodeError, RecursionError):
        return {}
    for kind, names in (("field", ("name",)), ("operation", ("field", "name"))):
        tables = document.get(kind)
        for table in tables if isinstance(tables, tomlkit.items.AoT) else ():
            # Comments below the last value are about what follows.
            body = table.value.body
            last = max((n for n, (key, _) in enumerate(body) if key is not None), default=0)
            said = [
                f"{key.key}: {text}" if key is not None else text
                for key, item in body[: last + 1]
                if (text := item.trivia.comment.lstrip("# "))
            ]
            found[kind, *(str(table.get(name)) for name in names)] = said
    return found


def inline(values: Mapping[str, Any]) -> Any:
    """A table on one line, as a value of a document."""
    table = tomlkit.inline_table()
    table.update(values)
    return table


def _exchange(season: Path, seen: str, make: Callable[[bytes], bytes], kept: Path) -> None:
    with disk_troubles_told(season, "another folder"):
        try:
            with FileLock(kept.with_name(f"{kept.name}.lock"), timeout=_PATIENCE_S):
                if digest_of(season) != seen:
                    what = tr("It was changed elsewhere since this page was opened.")
                    remedy = tr(
                        "Look at what it says now, and change it again; nothing was written."
                    )
                    raise ChangedElsewhereError.at(season.name, "", what, remedy)
                content = season.read_bytes() if season.exists() else b""
                fresh = make(content)
                if fresh == content:
                    return
                keep_version(season, kept)
                write_whole(season, fresh)
        except Timeout:
            what = tr("Something else is writing it.")
            raise InputError.at(season.name, "", what, tr("Try again in a moment.")) from None
