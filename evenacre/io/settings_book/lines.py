"""The lines of a settings book: told whole from cut short, whoever wrote them."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from evenacre.errors import InputError
from evenacre.language import tr
from evenacre.units.parsing import Dimension

COMPLETE, WHOLE = "complete", "yes"
"""The last column, and what it holds: a line that broke off while being written lacks it.

Lines added by hand may leave it empty. It comes after everything that matters, so a line cut
within it has lost nothing.
"""


@dataclass(frozen=True)
class BookColumn:
    """A column: what of a `PastSetting` it holds, and its unit in a US and a metric book."""

    attribute: str = ""
    dimension: Dimension | None = None
    units: tuple[str, str] = ("", "")


_RATE = Dimension.MASS_PER_AREA, ("lb/ac", "kg/ha")
COLUMNS = {
    "date": BookColumn("date"),
    "product": BookColumn("product"),
    "bulk density": BookColumn(
        "bulk_density_kg_per_m3", Dimension.MASS_PER_VOLUME, ("lb/bu", "kg/m3")
    ),
    "roller": BookColumn("roller"),
    "setting": BookColumn("setting"),
    "fan": BookColumn("fan"),
    "ground speed": BookColumn("speed_mps", Dimension.SPEED, ("mph", "km/h")),
    "down pressure": BookColumn("down_pressure"),
    "rate": BookColumn("rate_kg_per_m2", *_RATE),
    "target": BookColumn("target_kg_per_m2", *_RATE),
    "scatter": BookColumn(units=("%", "%")),
    "catches": BookColumn(),
    "result": BookColumn("result"),
    "trouble": BookColumn("trouble"),
    COMPLETE: BookColumn(),
}
_SEPARATORS = (",", ";", "\t")
_HEAD = re.compile(r"(?P<name>.*?)\s*(?:\[(?P<unit>[^\]]*)\])?\s*")
_MOST_JOINED = 20


@dataclass
class BookText:
    """A settings book as text; lines are told by their number in the file."""

    header: list[str] = field(default_factory=list)  # as written; empty for an empty file
    places: dict[str, int] = field(default_factory=dict)  # where each known column stands
    units: dict[str, str] = field(default_factory=dict)  # what each of them is headed with
    separator: str = ","  # a spreadsheet may have changed it, and the next two
    newline: str = "\r\n"
    encoding: str = "utf-8"
    lines: list[tuple[int, list[str]]] = field(default_factory=list)  # cells of the whole ones
    broken: list[tuple[int, str]] = field(default_factory=list)  # what is wrong with the others
    length: int = 0  # lines in the file, broken ones and all
    tail: str = ""  # to be written before a new line: an end for a last line that has none

    @cached_property
    def decimal_comma(self) -> bool:
        """Numbers are written with a comma, as spreadsheets of some countries do."""
        cells = (cell for _, line in self.lines for cell in line)
        return self.separator != "," and any(re.fullmatch(r"-?\d+,\d+", cell) for cell in cells)


def header_line(units: str) -> str:
    """Head of a new book, in the units ``"us"`` or ``"metric"``."""
    heads = [(name, column.units[units == "metric"]) for name, column in COLUMNS.items()]
    return written([f"{name} [{unit}]" if unit else name for name, unit in heads], ",")


def written(cells: list[str], separator: str) -> str:
    """Join cells into a line without its end."""
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator="").writerow(cells)
    return out.getvalue()


def read_lines(content: bytes, file: str) -> BookText:
    """Part a settings book into lines, and the whole ones from the others."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError.at(file, "", tr("It is UTF-16 text."), tr("Save it as CSV UTF-8."))
    *ended, last = content.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    physical = [*ended, last] if last else ended
    head = next((i for i, line in enumerate(physical) if line.strip(b"\0\r ")), None)
    if head is None:
        return BookText(tail="\r\n" if last else "")
    texts, encoding = [], "utf-8"
    for number, line in enumerate(physical):
        try:
            texts.append(line.removesuffix(b"\r").decode("utf-8"))
        except UnicodeDecodeError:
            texts.append(line.removesuffix(b"\r").decode("cp1252", errors="replace"))
            if number < len(ended):  # it was not half a character that the line broke off at
                encoding = "cp1252"
    book = _with_header(texts[head], file, cut_short=head == len(ended))
    book.length, book.encoding = len(texts), encoding
    book.newline = "\r\n" if physical[head].endswith(b"\r") else "\n"
    last_is_open = _sort_lines(book, texts, head + 1)
    if last:
        book.tail = ('"' if last_is_open else "") + book.newline
        if COMPLETE not in book.places and book.lines and book.lines[-1][0] == book.length:
            book.broken.append((book.lines.pop()[0], tr("has no end and may be cut short")))
    return book


def book_columns(names: Sequence[str]) -> dict[str, str]:
    """Columns of a settings book, as they are headed, by what they hold."""
    found: dict[str, str] = {}
    for head in names:
        name, _ = _head(head)
        if name in COLUMNS:
            found.setdefault(name, head)
    return found


def _head(cell: str) -> tuple[str, str]:
    """Name and unit of a column."""
    found = _HEAD.fullmatch(cell.strip())
    name = " ".join(found["name"].lower().replace("_", " ").split()) if found else ""
    return name, (found["unit"] or "") if found else ""


def _with_header(text: str, file: str, *, cut_short: bool) -> BookText:
    books = []
    for separator in _SEPARATORS:
        book = BookText(header=_cells(text, separator)[0], separator=separator)
        for place, cell in enumerate(book.header):
            name, unit = _head(cell)
            if name in COLUMNS and name not in book.places:
                book.places[name], book.units[name] = place, unit
        books.append(book)
    book = max(books, key=lambda book: len(book.places))
    if "product" not in book.places or (cut_short and COMPLETE not in book.places):
        what = (
            tr("The header is cut short.")
            if cut_short
            else tr('It has no column "product" in line 1.')
        )
        remedy = tr("Give a settings book with --book, or name a file to start one.")
        raise InputError.at(file, tr("line 1"), what, remedy)
    return book


def _sort_lines(book: BookText, texts: list[str], at: int) -> bool:
    """Put every line after the header among the whole or the broken; tell if a quote stays open."""
    width, end, is_open = len(book.header), book.places.get(COMPLETE), False
    while at < len(texts):
        text = texts[at]
        at += 1
        number, fault = at, ""
        if not text.strip("\0 "):
            if text.strip(" "):
                book.broken.append((number, "is damaged"))
            continue
        cells, is_open = _cells(text, book.separator)
        if is_open and (joined := _joined(texts, at - 1, width, book.separator)):
            cells, at = joined  # a cell of several lines, as spreadsheets allow
            is_open = False
        if any("\0" in cell for cell in cells):
            fault = tr("is damaged")
        elif is_open or len(cells) < width:
            fault = tr("is cut short")
        elif any(cell.strip() for cell in cells[width:]):
            fault = tr("has more cells than the header")
        elif end is not None and cells[end].strip().lower() not in ("", WHOLE):
            fault = tr("is cut short")
        if fault:
            book.broken.append((number, fault))
        else:
            book.lines.append((number, [cell.strip() for cell in cells[:width]]))
    return is_open


def _joined(
    texts: list[str], start: int, width: int, separator: str
) -> tuple[list[str], int] | None:
    """Cells of a line that goes on in the next ones, and where the line after it starts."""
    text = texts[start]
    for at in range(start + 1, min(start + _MOST_JOINED, len(texts))):
        alone, _ = _cells(texts[at], separator)
        if len(alone) == width and written(alone, separator) == texts[at]:
            return None  # a line of its own: the one before broke off
        text += "\n" + texts[at]
        cells, is_open = _cells(text, separator)
        if not is_open:
            return (cells, at + 1) if len(cells) == width else None
    return None


def _cells(text: str, separator: str) -> tuple[list[str], bool]:
    """Cells of one line, and whether a quote was left open."""

    def read(*, strict: bool) -> list[str]:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=strict)
        return next(reader, [])

    try:
        return read(strict=True), False
    except csv.Error as error:
        if len(text) > csv.field_size_limit():  # no line of a book
            return [], False
        return read(strict=False), "unexpected end" in str(error)
