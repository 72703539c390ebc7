"""Two folders change places: in one step where the system can, else so that it can be undone."""

from __future__ import annotations

import ctypes
import errno
import itertools
import json
import os
import shutil
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from evenacre.io.result_folder.ownership import put_away
from evenacre.language import tr
from evenacre.processes.written import Written, named

NEW = "new"
"""In a job's folder: what is being made. After the exchange: the earlier result."""
_OLD = "old"
_RECORD = "record.json"
_LONGEST_NAME = 255  # bytes, on every file system in use
_LINUX_AT_FDCWD, _LINUX_EXCHANGE, _MACOS_SWAP = -100, 2, 2
_CANNOT = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP}


def publish(job: Path, out: Path, account: str, written: Written) -> None:
    """Put the folder ``new`` of a job in its place; the earlier result stays in the job.

    Whenever it is cut short, :func:`settle` brings what was begun to an end.
    """
    new = job / NEW
    if not os.path.lexists(out):
        new.rename(out)
    else:
        draft = job / f"{_RECORD}.new"
        record = {"out": out.name, "account": account, "aside": _aside(out).name}
        draft.write_text(json.dumps(record), encoding="utf-8")
        _flush_one(draft, os.O_RDWR)
        draft.rename(job / _RECORD)
        flush([job])
        if not swap(new, out):
            out.rename(job / _OLD)
            new.rename(out)
    written.places.append(out)
    flush([out.parent])


def settle(job: Path, out: Path, written: Written) -> None:
    """Clear the folder of a job that has ended, however it ended.

    Without a record nothing was exchanged yet and all that is in it was in the making. With
    one it may hold an earlier result, which returns when its place is empty; then all but
    unchanged files of ours are kept. After an OSError what could not be cleared is still there.
    """
    try:
        record = json.loads((job / _RECORD).read_text(encoding="utf-8"))
    except FileNotFoundError:
        shutil.rmtree(job)
        return
    out, aside = out.with_name(record["out"]), out.with_name(record["aside"])
    if (job / _OLD).exists() and not os.path.lexists(out):
        (job / _OLD).rename(out)
    for remains in (job / _OLD, job / NEW):
        if not remains.exists():
            continue
        kept = put_away(remains, out, record["account"], aside)
        if kept:
            what = tr("files that were changed since they were written are now in")
            written.notes.append(f"{out.name}: {what} {aside}: {named(kept)}.")
    (job / _RECORD).unlink()
    job.rmdir()


def swap(one: Path, other: Path) -> bool:
    """Exchange two folders in one step; False where the system cannot."""
    function = _system_swap()
    if function is None:
        return False
    if function(os.fsencode(one), os.fsencode(other)) == 0:
        return True
    number = ctypes.get_errno()
    if number in _CANNOT:
        return False
    raise OSError(number, os.strerror(number), str(other))


def flush(folders: list[Path]) -> None:
    """Wait until the entries of folders are on the disk."""
    if os.name == "nt":  # folders cannot be opened there, nor need to be
        return
    for folder in folders:
        _flush_one(folder, os.O_RDONLY)


def flush_tree(folder: Path) -> None:
    """Wait until a folder with all that is in it is on the disk."""
    files, folders = [], []
    for root, _, names in os.walk(folder):
        folders.append(Path(root))
        files += [Path(root, name) for name in names]
    with ThreadPoolExecutor(8) as pool:  # the disk gathers what is asked for at once
        list(pool.map(lambda file: _flush_one(file, os.O_RDWR), files))
    flush(folders)


def _flush_one(path: Path, flags: int) -> None:
    descriptor = os.open(path, flags)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in _CANNOT:  # some network disks do not know how
            raise
    finally:
        os.close(descriptor)


@cache
def _system_swap() -> Any:
    system: str = sys.platform
    with suppress(OSError, AttributeError, TypeError):
        library = ctypes.CDLL(None, use_errno=True)
        if system == "linux":
            rename, at = library.renameat2, _LINUX_AT_FDCWD
            return lambda one, other: rename(at, one, at, other, _LINUX_EXCHANGE)
        if system == "darwin":
            return lambda one, other: library.renamex_np(one, other, _MACOS_SWAP)
    return None


def _aside(out: Path) -> Path:
    """A name beside the result that says what is in it, and is not taken."""
    stamp = f" edited {datetime.now():%Y-%m-%d %H%M}"
    name = os.fsencode(out.name)
    ends = (stamp if number == 1 else f"{stamp} {number}" for number in itertools.count(1))
    stems = ((name[: _LONGEST_NAME - len(end)].decode(errors="ignore"), end) for end in ends)
    paths = (out.with_name(stem + end) for stem, end in stems)
    return next(path for path in paths if not os.path.lexists(path))
