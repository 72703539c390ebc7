"""Folders that appear whole or not at all: results, and the sample farm."""

from __future__ import annotations

import errno
import filecmp
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from evenacre.errors import InputError
from evenacre.io.result_folder.exchange import NEW, flush, flush_tree, publish
from evenacre.io.result_folder.ownership import SUMMARY, check_replaceable, entries_of
from evenacre.io.result_folder.workplace import workplace
from evenacre.language import tr
from evenacre.processes.interrupts import committing
from evenacre.processes.written import Written, named

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_FORBIDDEN = {errno.EACCES, errno.EPERM, errno.EROFS}
_SCARCE_BYTES = 1 << 20
_OTHER = "evenacre demo FOLDER"
_REMEDY = tr("Name a new folder: {other}.", other=_OTHER)


@contextmanager
def staged_folder(
    out: Path, account: str = SUMMARY, *, kind: str = "", written: Written | None = None
) -> Iterator[Path]:
    """Give an empty folder to write into; it becomes ``out`` when the block ends well.

    The folder is a hidden one beside ``out``. It is removed when the block fails or is
    interrupted, and whatever stood at ``out`` is left as it was. The next run removes it when
    the process was killed. An earlier result of the same kind is replaced; files of it that were
    changed since are moved into a folder beside it. ``account`` is the file that
    :func:`~evenacre.io.result_folder.ownership.write_account` writes; where several kinds of
    result share its name, ``kind`` tells them apart.

    Raises
    ------
    InputError
        When ``out`` holds anything Evenacre did not write, cannot be written, or is being
        written by another run.
    """
    out = settled_place(out)
    written = written or Written()
    with ExitStack() as stack:
        stack.enter_context(disk_troubles_told(out))
        check_replaceable(out, account, kind)
        stack.enter_context(parents_made(out))
        stage = stack.enter_context(workplace(out, written)) / NEW
        stage.mkdir()
        yield stage
        flush_tree(stage)
        # A long run leaves time to save something there.
        check_replaceable(out, account, kind)
        with committing():
            publish(stage.parent, out, account, written)


def settled_place(out: Path) -> Path:
    """Where a path leads: a link to a result stays a link."""
    out = Path(os.path.abspath(out))
    return out.resolve() if out.is_symlink() else out


@contextmanager
def disk_troubles_told(out: Path, option: str = "--out") -> Iterator[None]:
    """Turn what the disk refuses while writing to ``out`` into an InputError about it.

    It advises the option that chooses another folder. Other errors pass as they are.
    """
    out = Path(os.path.abspath(out))
    try:
        yield
    except OSError as error:
        told = error.filename if isinstance(error.filename, str) else out
        path = Path(os.path.abspath(told))
        # An error that names a file has to be about one on the way to the result or beside it.
        if not (path.is_relative_to(out.parent) or out.is_relative_to(path)):
            raise
        raise _disk_error(error, out, option) from error


@contextmanager
def parents_made(out: Path) -> Iterator[None]:
    """Make the folders above ``out``; they are taken away when it does not come to be."""
    made: list[Path] = []
    missing = [p for p in (out.parent, *out.parent.parents) if not p.exists()]
    try:
        for path in reversed(missing):
            path.mkdir(exist_ok=True)
            made.append(path)
        yield
    finally:
        if not out.exists():
            for folder in reversed(made):
                with suppress(OSError):  # something else is in it
                    folder.rmdir()


def _disk_error(error: OSError, out: Path, option: str) -> InputError:
    """Say what a person can do about a failed write."""
    # A read-only disk has no free space either, so this comes first.
    if error.errno in _FORBIDDEN:
        what = tr("cannot be written: no permission, or the disk is read-only.")
        remedy = tr("Choose another folder with {option}.", option=option)
    elif error.errno == errno.ENAMETOOLONG:
        what = tr("could not be written: the name is too long for this system.")
        remedy = tr("Choose a shorter one with {option}.", option=option)
    elif error.errno in _FULL or _is_full(out):
        what = tr("could not be written: the disk is full.")
        remedy = tr("Free some space or choose another disk with {option}.", option=option)
    else:
        what = tr("could not be written ({strerror}).", strerror=error.strerror or error)
        remedy = tr("Check the disk, or choose another folder with {option}.", option=option)
    return InputError.at(out, "", what, remedy)


def _is_full(out: Path) -> bool:
    """Tell whether the disk is full: GDAL and SQLite fail there with errors of their own."""
    with suppress(OSError):
        disk = shutil.disk_usage(out.parent)
        return disk.total > 0 and disk.free < _SCARCE_BYTES
    return False


def put_farm(directory: Path, write: Callable[[Path], None], mark: str, written: Written) -> None:
    """Write a sample farm beside its place, and put there what is missing.

    The directory is made when it is missing; files in it that are not the farm's stay as they
    are. ``write`` writes the farm into a folder, the same bytes every time; only a sample farm has
    a file of the name ``mark``: nothing is written into someone's own season.
    """
    directory = settled_place(directory)
    with ExitStack() as stack:
        stack.enter_context(disk_troubles_told(directory, _OTHER))
        if directory.exists() and not directory.is_dir():
            raise InputError.at(directory, "", tr("is a file, not a folder."), _REMEDY)
        if directory.is_dir() and any(directory.iterdir()) and not (directory / mark).is_file():
            what = tr("is not empty and holds no sample farm.")
            raise InputError.at(directory, "", what, _REMEDY)
        stack.enter_context(parents_made(directory))
        fresh = stack.enter_context(workplace(directory, written, f"folder: {_OTHER}")) / NEW
        fresh.mkdir()
        write(fresh)
        flush_tree(fresh)
        with committing():
            if os.path.lexists(directory):
                _fill(directory, fresh, mark, written)
            else:
                fresh.rename(directory)
                written.places.append(directory)
            flush([directory.parent])


def _fill(folder: Path, fresh: Path, mark: str, written: Written) -> None:
    """Put what is missing into a folder that is there, perhaps with a terminal open in it."""
    differing = []
    files = dict(entries_of(fresh))
    # The mark comes first: with it, a farm that was cut short can be begun again.
    for file in sorted(files, key=lambda file: (file != mark, file)):
        place = folder / file
        if not os.path.lexists(place):
            place.parent.mkdir(parents=True, exist_ok=True)
            files[file].rename(place)
            if folder not in written.places:
                written.places.append(folder)
        elif not place.is_file() or not filecmp.cmp(place, files[file], shallow=False):
            differing.append(file)
    if differing:
        what = tr("files that differ from the sample farm's stay and are used as they are")
        written.notes.append(f"{folder.name}: {what}: {named(differing)}.")
