"""Files on their way in: streamed to disk, named safely, known again by their content."""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import shutil
from collections.abc import AsyncIterator
from contextlib import suppress
from datetime import datetime
from itertools import count
from pathlib import Path, PurePosixPath

from starlette.concurrency import run_in_threadpool

from evenacre.desk.farm import Farm
from evenacre.errors import InputError
from evenacre.io.result_folder.exchange import flush, flush_tree
from evenacre.io.untrusted.archives import is_hidden
from evenacre.shown_text import shown

_KNOWN = "brought"
_BLOCK_BYTES = 1 << 20
_SPARE_BYTES = 256 << 20
_MOST_FILES = 20_000
_LONGEST_NAME_BYTES = 200
_DEEPEST = 20
_UNSAFE = re.compile(r'[<>:"|?*\x00-\x1f]')
# Names that Windows keeps for its devices, whatever follows the first dot.
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


def safe_name(name: str) -> PurePosixPath | None:
    """Where a file of a name goes, below a folder; None of one that no reader looks at.

    Parameters
    ----------
    name : str
        As the browser has it: folders and file, parted by slashes of either kind.
    """
    parts = [part for part in re.split(r"[/\\]+", shown(name)) if part.strip(" .")]
    if not parts or len(parts) > _DEEPEST or any(map(is_hidden, parts)):
        return None
    return PurePosixPath(*map(_safe_part, parts))


def free_place(folder: Path, stem: str, suffix: str, usual: str) -> Path:
    """Where a file that is written here goes: nothing that is there is written over.

    Parameters
    ----------
    folder : Path
    stem : str
        What it is to be called.
    suffix : str
    usual : str
        What it is called where that is no name of a file.
    """
    stem = re.sub(r"[/\\]", "-", stem).strip(" .~$") or usual
    for number in count(1):
        again = f" {number}" if number > 1 else ""
        place = safe_name(f"{stem}{again}{suffix}") or Path(f"{usual}{again}{suffix}")
        path = folder / place
        if not path.exists() and not path.is_symlink():
            break
    return path


def _safe_part(part: str) -> str:
    part = _UNSAFE.sub("_", part).strip().rstrip(".")
    if _DEVICES.fullmatch(part):
        part = f"_{part}"
    stem, dot, suffix = part.rpartition(".")
    while len(part.encode()) > _LONGEST_NAME_BYTES:  # the suffix tells readers what it is
        stem, suffix = (stem[:-1], suffix) if dot and stem else ("", suffix[:-1])
        part = f"{stem}{dot}{suffix}" if stem else suffix
    return part


class Delivery:
    """Files that come together: they stand aside until the last of them is there.

    Parameters
    ----------
    farm : Farm
    total_bytes : int
        What was announced, for which there is room; no more is taken.

    Attributes
    ----------
    id : str
        Its name in addresses.
    """

    def __init__(self, farm: Farm, total_bytes: int) -> None:
        self.id = secrets.token_urlsafe(12)
        self._farm = farm
        self._home = farm.incoming / self.id
        self._home.mkdir(parents=True)
        self._digests: dict[str, str] = {}
        self._left_bytes = total_bytes

    async def take(self, name: str, content: AsyncIterator[bytes]) -> bool:
        """Write a file as it comes; False where no reader would look at it.

        Raises
        ------
        InputError
            When the disk is full, there are too many files, or more comes than was announced.
        """
        place = safe_name(name)
        if place is None:
            return False
        if len(self._digests) >= _MOST_FILES:
            what = f"There are over {_MOST_FILES:,} files, more than are looked at."
            raise InputError.at(name, "", what, "Bring a folder of them at a time.")
        # Of two files of one name the second gets a folder of its own, for it may be a part of
        # another map.
        apart, number = place, 2
        while apart.as_posix().casefold() in {other.casefold() for other in self._digests}:
            apart, number = PurePosixPath(str(number)) / place, number + 1
        self._digests[apart.as_posix()] = ""
        path = self._home / apart
        try:
            self._digests[apart.as_posix()] = await _written(path, self._bounded(name, content))
        except BaseException as error:
            del self._digests[apart.as_posix()]
            with suppress(OSError):
                path.unlink()
            if isinstance(error, OSError):
                what = f"It could not be written ({error.strerror})."
                raise InputError.at(
                    name, "", what, "Free some space, and bring it again."
                ) from None
            raise
        return True

    async def _bounded(self, name: str, content: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
        async for block in content:
            self._left_bytes -= len(block)
            if self._left_bytes < 0:
                what = "More came than was announced: a file grew on its way."
                raise InputError.at(name, "", what, "Bring it again once nothing writes to it.")
            yield block

    def finish(self) -> str:
        """Put what came in its place, and say how much of it is new.

        Raises
        ------
        InputError
            When nothing came that could be used.
        """
        try:
            return self._finish()
        finally:
            self.drop()

    def drop(self) -> None:
        """Forget what came."""
        shutil.rmtree(self._home, ignore_errors=True)

    def _finish(self) -> str:
        if not self._digests:
            what = "No file came that could be used."
            raise InputError.at("Files", "", what, "Drop logs, maps, tables, task data or zips.")
        there = _still_there(self._farm)
        fresh = [name for name, sha in self._digests.items() if sha not in there]
        if not fresh:
            return f"All of it is here already: {_counted(len(self._digests))}."
        for name, sha in self._digests.items():
            if sha in there:
                # A part of a map may have the bytes of another map's part, so it stays in its
                # place; it only takes no room a second time, where the disk knows how.
                _shared(self._farm.root / str(there[sha][0]), self._home / name)
        flush_tree(self._home)
        self._farm.brought.mkdir(exist_ok=True)
        home = _free(self._farm.brought / f"{datetime.now():%Y-%m-%d %H%M}")
        self._home.rename(home)
        flush([self._farm.brought])
        for name, sha in self._digests.items():
            path = home / name
            there[sha] = [path.relative_to(self._farm.root).as_posix(), *_stamp(path)]
        self._farm.remember(_KNOWN, there)
        again = len(self._digests) - len(fresh)
        known = f"; {_counted(again)} of them here already" if again else ""
        return f"{_counted(len(self._digests))} came{known}."


def clear_incoming(farm: Farm) -> None:
    """Take away what an earlier run of the desk did not receive to its end."""
    shutil.rmtree(farm.incoming, ignore_errors=True)


def check_room(farm: Farm, total_bytes: int) -> None:
    """Refuse more than the disk has room for.

    Raises
    ------
    InputError
    """
    free = shutil.disk_usage(farm.root).free - _SPARE_BYTES
    if total_bytes > free:
        what = f"They are {_size(total_bytes)}, and the disk has room for {_size(max(free, 0))}."
        raise InputError.at("Files", "", what, "Free some space, or bring fewer.")


async def _written(path: Path, content: AsyncIterator[bytes]) -> str:
    digest = hashlib.sha256()
    await run_in_threadpool(path.parent.mkdir, parents=True, exist_ok=True)
    held = bytearray()
    with path.open("xb") as file:

        def put() -> None:
            digest.update(held)
            file.write(held)
            held.clear()

        async for block in content:
            held += block
            if len(held) >= _BLOCK_BYTES:
                await run_in_threadpool(put)
        await run_in_threadpool(put)
    return digest.hexdigest()


def _still_there(farm: Farm) -> dict[str, list[str | int]]:
    """Place and stamp of every file brought before that is as it was, by digest."""
    kept = farm.recall(_KNOWN)
    found: dict[str, list[str | int]] = {}
    for sha, told in kept.items() if isinstance(kept, dict) else ():
        with suppress(OSError, TypeError, ValueError, IndexError):
            path = farm.root / str(told[0])
            if farm.holds(path) and _stamp(path) == told[1:]:
                found[sha] = told
    return found


def _stamp(path: Path) -> list[int]:
    status = path.stat()
    return [status.st_size, status.st_mtime_ns]


def _shared(first: Path, again: Path) -> None:
    with suppress(OSError):
        link = again.with_name(f"{again.name}.{secrets.token_hex(4)}")
        os.link(first, link)
        link.replace(again)


def _free(place: Path) -> Path:
    number, found = 2, place
    while found.exists():
        found, number = place.with_name(f"{place.name} {number}"), number + 1
    return found


def _counted(number: int) -> str:
    return f"{number:,} file{'' if number == 1 else 's'}"


def _size(count: int) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e8 else f"{count / 1e6:.1f} MB"
