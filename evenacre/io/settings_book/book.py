"""The farm's settings book: a table that every calibration adds a line to.

A CSV file that any spreadsheet opens. Lines are only ever added, each in one piece and
flushed to the disk under a lock, so that two writers lose nothing and a crash costs at most
the line being written. What people change by hand stays as they left it.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from evenacre.errors import InputError
from evenacre.io.result_folder.exchange import flush
from evenacre.io.result_folder.staging import disk_troubles_told
from evenacre.io.settings_book.cells import line_of, setting_of
from evenacre.io.settings_book.lines import header_line, read_lines
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_whole
from evenacre.model import PastSetting
from evenacre.processes.interrupts import held
from evenacre.processes.written import Written

BOOK_NAME = "settings-book.csv"
_PATIENCE_S = 10.0
_BOM = "\ufeff"  # makes spreadsheets read the file as UTF-8


@dataclass(frozen=True)
class SettingsBook:
    """What a settings book holds, and what in it could not be used."""

    settings: tuple[PastSetting, ...]
    warnings: tuple[str, ...]


def read_book(path: Path) -> SettingsBook:
    """Read a settings book.

    Lines that broke off while being written, and cells that are no quantity, are left out
    with a warning; the file stays as it is.

    Raises
    ------
    InputError
        When there is no such file or it is no settings book.
    """
    if path.is_dir() or not path.exists():
        what = "It is a folder." if path.is_dir() else "There is no such file."
        remedy = "Name the settings book with --book, or calibrate first to start one."
        raise InputError.at(path, "", what, remedy)
    content = read_whole(path, str(path), budget.SETTINGS_BYTES)
    book = read_lines(content, path.name)
    warnings = [f"{path.name}, line {n}: the line {what}; left out." for n, what in book.broken]
    settings = tuple(setting_of(book, line, path.name, warnings.append) for line in book.lines)
    return SettingsBook(settings, tuple(warnings))


def append_setting(
    path: Path, setting: PastSetting, units: str = "us", *, written: Written | None = None
) -> tuple[str, ...]:
    """Add a line to a settings book; start the book when there is none.

    Parameters
    ----------
    path : Path
    setting : PastSetting
        Its ``place`` is not written.
    units : str
        Units of a new book, ``"us"`` or ``"metric"``; an old one keeps its own.
    written : Written, optional
        Told of the book when the line is in it.

    Returns
    -------
    tuple of str
        Warnings: a last line that was found cut short, values the book has no column for.

    Raises
    ------
    InputError
        When the book cannot be written, is held by another program for ten seconds, or is no
        settings book.
    """
    path = Path(os.path.realpath(path))  # one lock for all names of the file
    if path.exists() and not path.is_file():
        what = "It is a folder." if path.is_dir() else "It is a device or pipe, not a file."
        raise InputError.at(path, "", what, "Name a file with --book.")
    if not path.parent.is_dir():
        raise InputError.at(path.parent, "", "There is no such folder.", "Choose one with --book.")
    with disk_troubles_told(path, "--book"), _locked(path), held():
        fresh = path.with_name(f".{path.name}.new")
        fresh.unlink(missing_ok=True)  # a killed run may have left it
        if not path.exists():
            _start(path, fresh, header_line(units))
        book = read_lines(read_whole(path, str(path), budget.SETTINGS_BYTES), path.name)
        warnings = [
            f"{path.name}, line {n}: the line {what}. It stays as it is; new lines follow it."
            for n, what in book.broken
            if n == book.length
        ]
        lines = [book.tail] if book.tail else []
        if not book.header:
            head = header_line(units) + book.newline
            lines.append(head if path.stat().st_size else _BOM + head)
            book = read_lines(head.encode(), path.name)
        lines.append(line_of(book, setting, path.name, warnings.append) + book.newline)
        _append(path, _encoded("".join(lines), book.encoding))
        if written is not None:
            written.places.append(path)
    return tuple(warnings)


@contextlib.contextmanager
def _locked(path: Path) -> Iterator[None]:
    """Keep other writers out. The lock file stays: taking it away could let two in at once."""
    lock = FileLock(path.with_name(f".{path.name}.lock"), timeout=_PATIENCE_S)
    try:
        lock.acquire()
    except Timeout:
        raise InputError.at(
            path, "", "Another program is writing to it.", "Close that program and try again."
        ) from None
    try:
        yield
    finally:
        lock.release()


def _start(path: Path, fresh: Path, header: str) -> None:
    """Put a new book in its place with its header whole; one that has come to be is kept."""
    try:
        with fresh.open("wb") as file:
            file.write(f"{_BOM}{header}\r\n".encode())
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(FileExistsError):
            _move(fresh, path)
    finally:
        fresh.unlink(missing_ok=True)
    flush([path.parent])


def _move(fresh: Path, path: Path) -> None:
    """Give a file its name unless that is taken."""
    try:
        os.link(fresh, path)
    except FileExistsError:
        raise
    except OSError:  # a disk without hard links
        if path.exists():
            raise FileExistsError(path) from None
        fresh.replace(path)


def _append(path: Path, data: bytes) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0))
    before = os.fstat(descriptor).st_size
    try:
        while data:
            data = data[os.write(descriptor, data) :]
        os.fsync(descriptor)
    except OSError:
        os.ftruncate(descriptor, before)  # half a line is of no use
        raise
    finally:
        os.close(descriptor)


def _encoded(text: str, encoding: str) -> bytes:
    try:
        return text.encode(encoding)
    except UnicodeEncodeError:
        return text.encode()
