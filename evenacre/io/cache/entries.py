"""Entries kept from run to run in a folder of the user's own."""

from __future__ import annotations

import contextlib
import hashlib
import os
import stat
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

from platformdirs import user_cache_dir

from evenacre.language import tr

PLACE = "EVENACRE_CACHE"
"""Variable that names another folder; empty or ``off``: nothing is kept."""

_SUFFIX, _PART = ".kept", ".part"
_MARK = b"evenacre kept 1\n"
_DIGEST_BYTES = hashlib.sha256().digest_size
_ABANDONED_S = 86400.0
# Files that cannot be waited on: a pipe put in an entry's place would never answer.
_OPEN = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
_OPEN |= getattr(os, "O_BINARY", 0)


class PlaceRefusedError(Exception):
    """Why nothing is kept, in words for the user."""


@dataclass(frozen=True)
class KeptEntries:
    """Bytes by name; what was not used for longest makes room for what is new.

    Several processes may share the folder: an entry appears whole or not at all, and one that
    is damaged is as good as none.
    """

    folder: Path
    most: int = 500  # Entries kept
    most_bytes: int = 2_000_000_000  # Their size together

    def below(self, name: str) -> KeptEntries:
        """Entries of another kind, in a folder of this one."""
        return replace(self, folder=self.folder / name)

    def get(self, name: str) -> bytes | None:
        """Return an entry; None when there is none, or none that can be trusted."""
        path = self._path(name)
        try:
            with open(os.open(path, _OPEN), "rb") as stream:
                found = os.fstat(stream.fileno())
                if not stat.S_ISREG(found.st_mode) or _exposed(found):
                    return None
                whole = stream.read()
        except OSError:
            return None
        start = len(_MARK) + _DIGEST_BYTES
        data = whole[start:]
        if whole[:start] != _head(name, data):
            return None
        with contextlib.suppress(OSError):
            os.utime(path)
        return data

    def put(self, name: str, data: bytes) -> None:
        """Keep an entry, over an earlier one; OSError when the disk does not take it."""
        if len(data) > self.most_bytes:
            return
        self.folder.mkdir(mode=0o700, exist_ok=True)
        handle, part = tempfile.mkstemp(suffix=_PART, dir=self.folder)
        try:
            with open(handle, "wb") as stream:
                stream.write(_head(name, data))
                stream.write(data)
            os.replace(part, self._path(name))
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(part)
            raise
        self._make_room()

    def has(self, name: str) -> bool:
        """Tell whether there is an entry of that name, whole or not."""
        return self._path(name).exists()

    def _path(self, name: str) -> Path:
        return self.folder / f"{name}{_SUFFIX}"

    def _make_room(self) -> None:
        """Remove the entries over the budget, and what runs that were cut off left behind."""
        entries: list[tuple[float, int, str]] = []
        for file in os.scandir(self.folder):
            with contextlib.suppress(OSError):  # another process may be quicker
                found = file.stat(follow_symlinks=False)
                if file.name.endswith(_SUFFIX):
                    entries.append((found.st_mtime, found.st_size, file.path))
                elif file.name.endswith(_PART) and found.st_mtime < time.time() - _ABANDONED_S:
                    os.unlink(file.path)
        size = 0
        for count, (_, length, path) in enumerate(sorted(entries, reverse=True), start=1):
            size += length
            if count > self.most or size > self.most_bytes:
                with contextlib.suppress(OSError):
                    os.unlink(path)


def open_kept_entries() -> KeptEntries | None:
    """Open the user's folder of kept entries, made where it is missing; None: not wanted.

    One that cannot be made, or that anyone else could have put something into, is refused.
    """
    said = os.environ.get(PLACE)
    if said is not None and said.strip().lower() in ("", "off"):
        return None
    folder = Path(os.path.abspath(said) if said else user_cache_dir("evenacre", appauthor=False))
    if not folder.is_absolute():
        raise PlaceRefusedError(f"there is no home folder to keep them in; {PLACE} names another.")
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        exposures = [(folder, _exposed(folder.lstat())), (folder, _exposed(folder.stat()))]
        for path in folder.glob(f"*{_SUFFIX}"):
            with contextlib.suppress(FileNotFoundError):  # another process may make room
                exposures.append((path, _exposed(path.lstat())))
    except OSError as error:
        what = tr(
            "{folder} cannot be used ({strerror}); {place} names another.",
            folder=folder,
            strerror=error.strerror or error,
            place=PLACE,
        )
        raise PlaceRefusedError(what) from None
    for path, how in exposures:
        if how:
            raise PlaceRefusedError(f"{path} {how}; {PLACE} names another folder.")
    return KeptEntries(folder)


def _head(name: str, data: bytes) -> bytes:
    """What goes before the data: a sum over name and data, so that neither passes for another."""
    return _MARK + hashlib.sha256(name.encode() + b"\0" + data).digest()


def _exposed(found: os.stat_result) -> str:
    """Say who else could have written a file or folder; empty: no one."""
    if not hasattr(os, "geteuid"):  # there the user's own profile shuts others out
        return ""
    if found.st_uid != os.geteuid():
        return "belongs to another user"
    if not stat.S_ISLNK(found.st_mode) and found.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        return "can be changed by other users"
    return ""
