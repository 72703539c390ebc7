"""Whose files are in a result folder: what Evenacre wrote and nobody changed, and the rest.

The account of a result lists its files with their SHA-256, and its own with its value written
as zeros. Only what is listed and unchanged is ever deleted.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path, PurePosixPath
from typing import Any

from evenacre.errors import InputError
from evenacre.io.common.json_text import json_text
from evenacre.language import mark, tr
from evenacre.processes.written import named

SUMMARY = "summary.json"
"""The account of an audit; a folder's account lists the files that belong to the result."""
PLAN = "plan.json"
"""The account of a plan of interseeding, which an audit reads back after the season."""
PASSES = "passes.json"
"""The account of planned passes."""

MEASURED = "measured.json"
"""The account of what logs tell of a drill."""
EXPORT = "export.json"
"""The account of task data for a machine."""

# What desktops and map viewers leave beside the files they open.
_LITTER = (".DS_Store", "Thumbs.db", "desktop.ini", "*.aux.xml")
_SQLITE = ("-journal", "-shm", "-wal")
_STATISTICS = ".aux.xml"
SEAL = "account_sha256"
"""Key of an account's digest of itself."""
_UNSEALED = "0" * 64
_CLOCK_STEP_S = 2.0  # the coarsest times that file systems keep
_REMEDY = mark("Choose another folder with --out, or move what is there.")


@dataclass(frozen=True)
class Account:
    """What the account in a result folder says of its files."""

    name: str  # Of the account itself
    kind: str  # ``evenacre/summary`` and so on: the schema without its version
    files: frozenset[str]  # Every file of the result, the account too
    sha256: Mapping[str, str]  # By file; empty in accounts of versions that did not write it
    sealed: bool  # Whether the account itself is as it was written, as far as it can tell
    written_s: float  # When it was written, which was after every other file

    def is_unchanged(self, folder: Path, file: str) -> bool:
        """Tell whether a file in the folder is listed and as it was written."""
        path = folder / file
        if file not in self.files or path.is_symlink() or not path.is_file():
            return False
        if file == self.name:
            return self.sealed
        if any(path.with_name(path.name + end).exists() for end in _SQLITE):
            return False  # it is open in another program, or was when that ended
        try:
            if self.sha256:
                return self.sha256.get(file) == file_sha256(path)
            return path.stat().st_mtime <= self.written_s + _CLOCK_STEP_S
        except OSError:
            return False


def write_account(folder: Path, name: str, account: Mapping[str, Any]) -> dict[str, Any]:
    """Write the account of a result last, with the list of files that belong to it.

    ``summary.json`` holds the schema ``evenacre/summary/...``, and so on. Returned is what is in
    the file: with ``files``, ``sha256`` of all of them but this one, and ``account_sha256`` of
    this one as it is with 64 zeros in the place of that value.
    """
    present = sorted(file for file, _ in entries_of(folder))
    whole = {
        **account,
        "files": sorted([*present, name]),
        "sha256": {file: file_sha256(folder / file) for file in present},
        SEAL: _UNSEALED,
    }
    whole[SEAL] = hashlib.sha256(f"{json_text(whole)}\n".encode()).hexdigest()
    (folder / name).write_bytes(f"{json_text(whole)}\n".encode())
    return whole


def read_account(folder: Path, name: str) -> Account | None:
    """Read what an account says of the files beside it; None: there is none of ours."""
    path = folder / name
    try:
        raw = path.read_bytes()
        account = json.loads(raw)
        kind, _, _ = str(account["schema"]).rpartition("/")
        if f"{kind}/".startswith(f"evenacre/{path.stem}/"):
            seal = str(account.get(SEAL, ""))
            bare = raw.replace(seal.encode(), _UNSEALED.encode()) if seal else b""
            return Account(
                name,
                kind,
                files=frozenset(file for file in account["files"] if isinstance(file, str)),
                sha256=dict(account.get("sha256", {})),
                sealed=not seal or hashlib.sha256(bare).hexdigest() == seal,
                written_s=path.stat().st_mtime,
            )
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        pass
    return None


def is_whole(folder: Path, name: str) -> bool:
    """Tell whether a result has all its files, each as it was written."""
    own = read_account(folder, name)
    return own is not None and all(own.is_unchanged(folder, file) for file in sorted(own.files))


def check_replaceable(out: Path, account: str = SUMMARY, kind: str = "") -> None:
    """Refuse an output folder that holds anything but an earlier result of the same kind.

    Where several kinds share an account's name, ``kind`` tells them: ``evenacre/summary/finish``.
    The InputError names what stands in the way, or cannot be read.
    """
    if not out.exists():
        return
    if not out.is_dir():
        raise InputError.at(out, "", tr("is a file, not a folder."), tr(_REMEDY))
    try:
        present = dict(entries_of(out))
        as_user = os.access in os.supports_effective_ids
        shut = [
            file
            for file, path in present.items()
            if not (path.is_symlink() or os.access(path, os.R_OK, effective_ids=as_user))
        ]
    except OSError as error:
        shut = [_relative(out, error.filename or out)]
    if shut:
        what = (
            tr("cannot be read.")
            if shut == ["."]
            else tr("cannot be read: {named}.", named=named(shut))
        )
        raise InputError.at(out, "", what, tr(_REMEDY))
    own = read_account(out, account)
    strange = [
        file
        for file, path in present.items()
        if not (own and file in own.files)
        and not _is_litter(path)
        and not (path.is_symlink() and path.is_dir())
    ]
    if own is None and strange:
        raise InputError.at(
            out, "", tr("is not empty and holds no earlier Evenacre result."), tr(_REMEDY)
        )
    if own is not None and own.kind != (kind or f"evenacre/{PurePosixPath(account).stem}"):
        raise InputError.at(out, "", tr("holds another kind of result."), tr(_REMEDY))
    if strange:
        what = tr("holds files that Evenacre did not write: {named}.", named=named(sorted(strange)))
        raise InputError.at(out, "", what, tr(_REMEDY))


def put_away(remains: Path, out: Path, account: str, aside: Path) -> list[str]:
    """Delete the unchanged files of an earlier result and keep everything else.

    May be cut short anywhere and begun again: what could not be moved or deleted is still there.
    ``remains``, the earlier result, no longer in its place, is gone in the end. Empty folders,
    links to folders and what desktops left go into the result ``out`` that has its place; changed
    files go ``aside``, under the same relative names, and are returned.
    """
    own, new = read_account(remains, account), read_account(out, account)
    listed = own.files if own else frozenset()
    own_folders = {p.as_posix() for file in listed for p in PurePosixPath(file).parents}
    kept: list[str] = []

    def keep(file: str) -> None:
        _move(remains / file, aside / file)
        kept.append(file)

    def stays(file: str) -> bool:
        """Whether what a desktop or viewer left is as true beside the new result."""
        if file.endswith(_SQLITE):
            return False
        raster = file.removesuffix(_STATISTICS)
        if raster == file or raster not in listed:
            return True
        before, after = (a.sha256.get(raster) if a else None for a in (own, new))
        return before is not None and before == after and raster not in kept

    for root, folders, files in os.walk(remains, topdown=False, onerror=_refuse):
        links = [name for name in folders if os.path.islink(os.path.join(root, name))]
        for name in sorted([*files, *links]):  # a database before what belongs to it
            path = Path(root, name)
            file = _relative(remains, path)
            if file == account:
                continue
            if own and own.is_unchanged(remains, file):
                path.unlink()
            elif file in listed or os.path.lexists(out / file):
                keep(file)
            elif path.is_symlink() or (_is_litter(path) and stays(file)):
                _move(path, out / file)
            else:
                keep(file)
        folder = _relative(remains, root)
        if folder != ".":
            if not files and not folders and folder not in own_folders:
                (out / folder).mkdir(parents=True, exist_ok=True)
            os.rmdir(root)
    if own and own.sealed:
        (remains / account).unlink()  # last: it says what else is ours
    elif os.path.lexists(remains / account):
        keep(account)
    remains.rmdir()
    return kept


def entries_of(folder: Path) -> Iterator[tuple[str, Path]]:
    """Everything in a folder but folders, by relative name; links are not followed.

    ``rglob`` would pass over a folder that cannot be read; here that is an OSError.
    """
    for root, folders, files in os.walk(folder, onerror=_refuse):
        for name in [*files, *(f for f in folders if os.path.islink(os.path.join(root, f)))]:
            path = Path(root, name)
            yield _relative(folder, path), path


def file_sha256(path: Path) -> str:
    """SHA-256 of a file, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _refuse(error: OSError) -> None:
    raise error


def _relative(folder: Path, path: str | Path) -> str:
    return Path(path).relative_to(folder).as_posix()


def _is_litter(path: Path) -> bool:
    patterns = (*_LITTER, *(f"*.gpkg{end}" for end in _SQLITE))
    return any(fnmatch(path.name, pattern) for pattern in patterns) and not path.is_symlink()


def _move(path: Path, target: Path) -> None:
    """Move within a disk, under a further name where one is taken."""
    target.parent.mkdir(parents=True, exist_ok=True)
    free, number = target, 2
    while os.path.lexists(free):
        free, number = target.with_name(f"{target.stem} {number}{target.suffix}"), number + 1
    path.rename(free)
