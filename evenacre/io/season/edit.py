"""Change a season file in place: what is not changed stays as it was written."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import tomlkit
import tomlkit.items
from filelock import FileLock, Timeout
from tomlkit.exceptions import TOMLKitError

from evenacre.errors import InputError
from evenacre.io.result_folder.staging import disk_troubles_told
from evenacre.io.result_folder.whole_file import write_whole
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_whole

_MOST_KEPT = 200
_PATIENCE_S = 5.0


class ChangedElsewhereError(InputError):
    """The file is not as it was when the change was thought of."""


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
            document = tomlkit.parse(content.decode("utf-8-sig"))
            change(document)
            return tomlkit.dumps(document).encode()
        except (TOMLKitError, UnicodeDecodeError, RecursionError) as error:
            what = f"It cannot be changed here ({error})."
            raise InputError.at(season.name, "", what, "Mend it in a text editor.") from None

    _exchange(season, seen, changed, kept)


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
    others = versions(kept)
    for same in (path for path in others if path.read_bytes() == content):
        same.unlink()
    kept.mkdir(exist_ok=True)
    write_whole(kept / f"{datetime.now():%Y-%m-%d-%H%M%S-%f}.toml", content)
    for old in versions(kept)[:-_MOST_KEPT]:
        old.unlink(missing_ok=True)


def versions(kept: Path) -> list[Path]:
    """Versions that were kept, the oldest first."""
    return sorted(kept.glob("*.toml"))


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
                    what = "It was changed elsewhere since this page was opened."
                    remedy = "Look at what it says now, and change it again; nothing was written."
                    raise ChangedElsewhereError.at(season.name, "", what, remedy)
                content = season.read_bytes() if season.exists() else b""
                fresh = make(content)
                if fresh == content:
                    return
                keep_version(season, kept)
                write_whole(season, fresh)
        except Timeout:
            what = "Something else is writing it."
            raise InputError.at(season.name, "", what, "Try again in a moment.") from None
