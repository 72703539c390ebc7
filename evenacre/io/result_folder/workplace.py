"""The hidden folder beside a result in which it is made.

A lock in it, which the system takes back from a process that dies, tells the living run from
one that was killed. The next run into the same folder clears what a killed one left.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
import stat
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from evenacre.errors import InputError
from evenacre.io.result_folder.exchange import settle
from evenacre.language import tr
from evenacre.processes.interrupts import held
from evenacre.processes.written import Written

_PATIENCE_S, _POLL_S = 3.0, 0.05
_SURELY_DEAD_S = 24 * 3600.0
_NAME = re.compile(r"\.evenacre-[0-9a-f]{16}")
_LOCK, _JOB = "lock", "job-"
_NO_LOCKS = {errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOLCK}


@contextmanager
def workplace(target: Path, written: Written, option: str = "folder with --out") -> Iterator[Path]:
    """Give an empty folder on the same disk to make a file or folder in.

    The folder of the absolute target exists. ``option`` says how another is chosen, in words that
    follow "choose another". What another run is making is refused.
    """
    # A name may be as long as the file system allows, with nothing to add: hence a digest.
    owner = str(os.geteuid()) if hasattr(os, "geteuid") else ""
    digest = hashlib.sha256(os.fsencode(f"{owner}/{os.path.normcase(target.name)}")).hexdigest()
    own = target.with_name(f".evenacre-{digest[:16]}")
    with _entered(own, target, option, _PATIENCE_S) as is_locked:
        _clear(own, target, written, all_dead=is_locked)
        for place in own.parent.glob(".evenacre-*"):
            if place == own or not _NAME.fullmatch(place.name):
                continue
            # What killed runs into other folders left beside this one.
            with suppress(InputError, OSError), _entered(place, target, "", 0.0) as is_locked:
                _clear(place, target, written, all_dead=is_locked)
        job: Path | None = None
        try:
            with held():
                job = Path(tempfile.mkdtemp(prefix=_JOB, dir=own))
            yield job
        finally:
            if job is not None:
                with held():
                    _settle(job, target, written)


@contextmanager
def _entered(place: Path, target: Path, option: str, patience_s: float) -> Iterator[bool]:
    """Hold the place against other runs; tell whether the disk knows locks."""
    lock = FileLock(place / _LOCK)
    knows_locks = True
    try:
        knows_locks = _acquire(lock, place, target, option, patience_s)
        yield knows_locks
    finally:
        if lock.is_locked or not knows_locks:
            with held():
                # The folder is taken away, unless something in it is still wanted.
                if os.name == "nt":  # what is open cannot be deleted there
                    lock.release()
                with suppress(OSError):
                    if os.listdir(place) in ([], [_LOCK]):
                        (place / _LOCK).unlink(missing_ok=True)
                        place.rmdir()
                lock.release()


def _acquire(lock: FileLock, place: Path, target: Path, option: str, patience_s: float) -> bool:
    """Make the place and lock it; False on a disk without locks."""
    end = time.monotonic() + patience_s
    while True:
        with held():  # or a place would be left that nobody has locked
            with suppress(FileExistsError):
                place.mkdir()
            try:
                return _lock(lock, place, target, option)
            except (Timeout, FileNotFoundError):
                pass  # another run has it, or has just ended and taken it away
        if time.monotonic() >= end:
            what = tr("is being written by another run of Evenacre.")
            remedy = tr("Wait until that has ended, or choose another {option}.", option=option)
            raise InputError.at(target, "", what, remedy)
        time.sleep(_POLL_S)


def _lock(lock: FileLock, place: Path, target: Path, option: str) -> bool:
    status = place.lstat()
    owner = os.geteuid() if hasattr(os, "geteuid") else status.st_uid
    if not stat.S_ISDIR(status.st_mode) or status.st_uid != owner:
        what = tr("cannot be written: {name} beside it is not Evenacre's.", name=place.name)
        remedy = tr("Move that, or choose another {option}.", option=option)
        raise InputError.at(target, "", what, remedy)
    try:
        lock.acquire(timeout=0.0)
    except NotImplementedError:
        return False
    except OSError as error:
        if error.errno not in _NO_LOCKS:
            raise
        return False
    return True


def _clear(place: Path, target: Path, written: Written, *, all_dead: bool) -> None:
    for job in sorted(place.glob(f"{_JOB}*")):
        if all_dead or time.time() - job.stat().st_mtime > _SURELY_DEAD_S:
            _settle(job, target, written)


def _settle(job: Path, target: Path, written: Written) -> None:
    try:
        settle(job, target, written)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        written.notes.append(
            tr("{job}: what is left of an earlier result stays here ({why}).", job=job, why=why)
        )
