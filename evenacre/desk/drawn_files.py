"""Files of what was drawn or typed: those that nothing names any more go away."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Sequence
from contextlib import suppress
from functools import lru_cache
from itertools import islice
from pathlib import Path
from threading import Lock
from typing import Any

from evenacre.desk.farm import Farm
from evenacre.io.season.edit import versions
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.archives import shown_below

_MOST_FILES = 2_000
_ESCAPED = re.compile(r"\\u([0-9a-fA-F]{4})|\\U([0-9a-fA-F]{8})")
_ONE_AT_A_TIME = Lock()


def settle(farm: Farm, home: Path, fresh: Sequence[Path]) -> None:
    """Remember files that the season names now, and take away those that nothing names any more.

    ``home`` is the folder that holds files of their kind, ``fresh`` those that came just now.
    A file that was changed since the desk wrote it stays, and so does one that any season file of
    the folder names, or a version of the season that can be brought back.
    """
    with _ONE_AT_A_TIME:
        known = farm.recall(home.name)
        written: dict[str, Any] = dict(known) if isinstance(known, dict) else {}
        written |= {path.name: _digest(path) for path in fresh}
        told = "\n".join(_texts(farm))
        for name, digest in list(written.items()):
            path = home / name
            if Path(name).name != name or path.is_symlink() or not path.is_file():
                del written[name]
            elif _plain(name) not in told and _digest(path) == digest:
                with suppress(OSError):
                    path.unlink()
                    del written[name]
        farm.remember(home.name, written)


def _texts(farm: Farm) -> list[str]:
    """Whatever may name a file: seasons in the folder, and versions of the desk's."""
    below = (home / name for home, _, files in shown_below(farm.root) for name in files)
    seasons = islice((path for path in below if path.suffix.lower() == ".toml"), _MOST_FILES)
    found = [_text(path) for path in seasons]
    for path in versions(farm.versions):
        with suppress(OSError):
            found.append(_of_version(path, path.stat().st_size))
    return found


def _text(path: Path) -> str:
    if path.stat().st_size > budget.SEASON_BYTES:
        return ""
    text = path.read_bytes().decode(errors="replace")
    return _plain(_ESCAPED.sub(lambda found: _letter(found[1] or found[2]), text))


@lru_cache(maxsize=400)
def _of_version(path: Path, _size: int) -> str:
    return _text(path)  # a version is never written over


def _letter(code: str) -> str:
    return chr(int(code, 16)) if int(code, 16) <= 0x10FFFF else ""


def _plain(text: str) -> str:
    """A name however a disk writes it."""
    return unicodedata.normalize("NFC", text).casefold()


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
