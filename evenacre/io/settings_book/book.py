"""The farm's settings book: a table that every calibration adds a line to.

A CSV file that any spreadsheet opens. A new line is written with all that was there into a
file that takes the book's place, under a lock: two writers lose nothing, and a crash or a full
disk leaves the book as it was. What people change by hand stays as they left it.
"""

from __future__ import annotations

import contextlib
import hashlib
import math
import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from evenacre.errors import ChangedElsewhereError, InputError
from evenacre.io.result_folder.exchange import flush
from evenacre.io.result_folder.staging import disk_troubles_told
from evenacre.io.result_folder.whole_file import write_whole
from evenacre.io.settings_book.lines import (
    COLUMNS,
    COMPLETE,
    WHOLE,
    BookText,
    header_line,
    read_lines,
    written,
)
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_whole
from evenacre.io.writers.cells import cell, without_apostrophe
from evenacre.language import tr
from evenacre.model import PastSetting
from evenacre.processes.interrupts import committing
from evenacre.processes.written import Written
from evenacre.units.parsing import Dimension, parse_quantity, plain_number, unit_factor

BOOK_NAME = "settings-book.csv"
_PATIENCE_S = 10.0
_MOST_KEPT = 50
_BOM = "\ufeff"  # makes spreadsheets read the file as UTF-8
_NUMBER = re.compile(r"[-+]?[\d.,]+(?:[eE][-+]?\d+)?")


@dataclass(frozen=True)
class SettingsBook:
    """What a settings book holds, and what in it could not be used."""

    settings: tuple[PastSetting, ...]
    warnings: tuple[str, ...]


def read_book(path: Path) -> SettingsBook:
    """Read a settings book.

    Lines that broke off while being written, and cells that are no quantity, are left out
    with a warning; the file stays as it is. What is no settings book is refused.
    """
    if path.is_dir() or not path.exists():
        what = tr("It is a folder.") if path.is_dir() else tr("There is no such file.")
        remedy = tr("Name the settings book with --book, or calibrate first to start one.")
        raise InputError.at(path, "", what, remedy)
    book = read_lines(read_whole(path, str(path), budget.SETTINGS_BYTES), path.name)
    warnings = [
        tr("{name}, line {n}: the line {what}; left out.", name=path.name, n=n, what=what)
        for n, what in book.broken
    ]
    settings = [
        _setting_of(book, cells, f"{path.name}, line {number}", warnings)
        for number, cells in book.lines
    ]
    return SettingsBook(tuple(settings), tuple(warnings))


def append_setting(
    path: Path, setting: PastSetting, units: str = "us", *, written: Written | None = None
) -> tuple[str, ...]:
    """Add a line to a settings book; start the book, in the units given, when there is none.

    The ``place`` of the setting is not written; ``written`` is told of the book when the line is
    in it. Returned are warnings: a last line that was found cut short, values the book has no
    column for.

    Raises
    ------
    InputError
        When the book cannot be written, is held by another program for ten seconds, or is no
        settings book.
    """
    path = Path(os.path.realpath(path))  # one lock for all names of the file
    if path.exists() and not path.is_file():
        what = tr("It is a folder.") if path.is_dir() else tr("It is a device or pipe, not a file.")
        raise InputError.at(path, "", what, tr("Name a file with --book."))
    if not path.parent.is_dir():
        raise InputError.at(
            path.parent, "", tr("There is no such folder."), tr("Choose one with --book.")
        )
    with disk_troubles_told(path, "--book"), _locked(path), committing():
        before = read_whole(path, str(path), budget.SETTINGS_BYTES) if path.exists() else b""
        book = read_lines(before, path.name)
        warnings = [
            tr(
                "{name}, line {n}: the line {what}. It stays as it is; new lines follow it.",
                name=path.name,
                n=n,
                what=what,
            )
            for n, what in book.broken
            if n == book.length
        ]
        added = book.tail if before else ""
        if not book.header:
            head = header_line(units) + book.newline
            added += head if before else _BOM + head
            book = read_lines(head.encode(), path.name)
        added += _line_of(book, setting, path.name, warnings) + book.newline
        try:
            line = added.encode(book.encoding)
        except UnicodeEncodeError:
            line = added.encode()
        _replace(path, before + line)
        if written is not None:
            written.places.append(path)
    return tuple(warnings)


def replace_book(path: Path, seen: str, content: bytes, kept: Path) -> None:
    """Put another settings book into the place of one; the one that is left is kept.

    Parameters
    ----------
    path : Path
    seen : str
        Digest (SHA-256) of the book when the change was thought of; empty where there was none.
    content : bytes
        Empty where none is to be left.
    kept : Path
        Folder of earlier books.

    Raises
    ------
    ChangedElsewhereError
        When it was changed since it was seen; nothing is written.
    InputError
        When it cannot be written.
    """
    path = Path(os.path.realpath(path))
    with disk_troubles_told(path, "another folder"), _locked(path), committing():
        before = read_whole(path, str(path), budget.SETTINGS_BYTES) if path.exists() else b""
        if (hashlib.sha256(before).hexdigest() if path.exists() else "") != seen:
            what = tr("It was changed elsewhere since this page was opened.")
            remedy = tr("Look at what it says now, and change it again; nothing was written.")
            raise ChangedElsewhereError.at(path.name, "", what, remedy)
        if content == before:
            return
        if before:
            kept.mkdir(exist_ok=True)
            write_whole(kept / f"{datetime.now():%Y-%m-%d-%H%M%S-%f}.csv", before)
            for old in earlier_books(kept)[:-_MOST_KEPT]:
                old.unlink(missing_ok=True)
        if content:
            _replace(path, content)
        else:
            path.unlink(missing_ok=True)


def earlier_books(kept: Path) -> list[Path]:
    """Books that were replaced, the oldest first."""
    return sorted(kept.glob("*.csv"))


def bring_book_back(path: Path, seen: str, kept: Path) -> None:
    """Bring the book before the last change back; see `replace_book`."""
    books = earlier_books(kept)
    if not books:
        return
    replace_book(path, seen, books[-1].read_bytes(), kept)
    books[-1].unlink(missing_ok=True)  # the one that was left is the last now


@contextlib.contextmanager
def _locked(path: Path) -> Iterator[None]:
    """Keep other writers out. The lock file stays: taking it away could let two in at once."""
    try:
        with FileLock(path.with_name(f".{path.name}.lock"), timeout=_PATIENCE_S):
            yield
    except Timeout:
        what = tr("Another program is writing to it.")
        raise InputError.at(path, "", what, tr("Close that program and try again.")) from None


def _replace(path: Path, content: bytes) -> None:
    """Put a file that is whole and on the disk into the place of another."""
    fresh = path.with_name(f".{path.name}.new")
    try:
        with fresh.open("wb") as file:  # over what a killed run may have left
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            shutil.copymode(path, fresh)
        fresh.replace(path)
    finally:
        fresh.unlink(missing_ok=True)
    flush([path.parent])


def _line_of(book: BookText, setting: PastSetting, file: str, warnings: list[str]) -> str:
    """Write a setting as a line of this book, in its columns, units and decimal mark."""
    values = {COMPLETE: WHOLE}
    if setting.scatter is not None:
        values["scatter"] = f"{100 * setting.scatter:.3g}"
    if setting.catches is not None:
        values["catches"] = str(setting.catches)
    for name, column in COLUMNS.items():
        noted = getattr(setting, column.attribute) if column.attribute else None
        if column.dimension and noted is not None:
            unit = book.units.get(name, "")
            factor = unit_factor(unit, column.dimension) if unit else None
            # Where the column has no unit that fits, the cell says it.
            own = "" if factor else f" {column.units[1]}"
            factor = factor or unit_factor(column.units[1], column.dimension) or 1.0
            values[name] = f"{noted / factor:.6g}{own}"
        elif noted is not None:
            values[name] = " ".join(str(noted).split())
    cells = [""] * len(book.header)
    for name, value in values.items():
        if name in book.places:
            # Numbers as numbers, no text as a formula.
            number = value.replace(".", ",") if book.decimal_comma else value
            cells[book.places[name]] = number if _NUMBER.fullmatch(value) else str(cell(value))
        elif value and name != COMPLETE:
            warnings.append(
                tr(
                    '{file}: the book has no column "{name}", so "{value}" was not noted.',
                    file=file,
                    name=name,
                    value=value,
                )
            )
    return written(cells, book.separator)


def _setting_of(book: BookText, cells: list[str], place: str, warnings: list[str]) -> PastSetting:
    """Read a line of this book; a cell that is no quantity is left out with a warning."""
    values: dict[str, Any] = {}
    contents = {name: cells[at] for name, at in book.places.items()}
    for name, column in COLUMNS.items():
        content = contents.get(name, "")
        if column.dimension:
            try:
                values[column.attribute] = _measured(content, name, column.dimension, book)
            except InputError as error:
                values[column.attribute] = None
                warnings.append(
                    tr(
                        "{place}, {name}: {what} Left out.",
                        place=place,
                        name=name,
                        what=error.problems[0].what,
                    )
                )
        elif column.attribute:
            values[column.attribute] = without_apostrophe(content)
    for name, as_number in (("catches", round), ("scatter", lambda percent: percent / 100)):
        number = plain_number(contents.get(name, "").strip(" %"))
        if number is not None and 0 <= number < math.inf:
            values[name] = as_number(number)
    return PastSetting(**values, place=place)


def _measured(text: str, name: str, dimension: Dimension, book: BookText) -> float | None:
    """SI value of a cell, whose unit stands in it or at the head of its column."""
    if not text:
        return None
    unit = book.units.get(name, "")
    if _NUMBER.fullmatch(text) and unit:
        text = f"{text.replace(',', '.') if book.decimal_comma else text} {unit}"
    value = parse_quantity(text, dimension)
    if value <= 0:
        raise InputError.at("", "", tr('"{said}" is not above zero.', said=text), "")
    return value
