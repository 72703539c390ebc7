"""How a table of text is written: its separator, decimal mark and column names."""

from __future__ import annotations

import csv
import itertools
import re
from dataclasses import dataclass

from evenacre.errors import InputError

_SEPARATORS = (";", "\t", "|", ",")
_SAMPLE_LINES = 200
_MOST_COLUMNS = 2000
_DECIMAL_COMMA = re.compile(r"[-+]?\d+,\d+")
_DECIMAL_POINT = re.compile(r"[-+]?\d+\.\d+")
_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?")


@dataclass(frozen=True)
class Dialect:
    """What it takes to read a table of text.

    Attributes
    ----------
    skipped_lines : int
        Lines above the one with the column names.
    header : tuple of str
    separator : str
    decimal_comma : bool
    words_above : int
        How many of the skipped lines are free text.
    """

    skipped_lines: int
    header: tuple[str, ...]
    separator: str
    decimal_comma: bool
    words_above: int


def sniff(content: bytes, file: str) -> Dialect:
    """Find out how a table is written from its first lines.

    Raises
    ------
    InputError
        When there is no line of column names, or they are far too many.
    csv.Error
        When it is no table of text.
    """
    lines = content[: 1 << 18].decode(errors="replace").splitlines()[:_SAMPLE_LINES]
    separator = ""
    skipped = 0
    for line in lines:
        if line.lower().startswith("sep=") and len(line) == 5:
            separator = line[4]  # how spreadsheets name their separator
        elif line.strip() and not line.startswith("#"):
            break
        skipped += 1
    lines = lines[skipped:]
    if not lines:
        raise InputError.at(file, "", "there is no header line.", "Export the log again.")
    separator, above = _start(lines, (separator,) if separator else _SEPARATORS)
    skipped, lines = skipped + above, lines[above:]
    header, *rows = (cells for cells in csv.reader(lines, delimiter=separator) if cells)
    if len(header) == 1:
        raise InputError.at(
            file,
            f"line {skipped + 1}",
            "only one column was found.",
            "Separate the columns with commas, semicolons, tabs or bars.",
        )
    if len(header) > _MOST_COLUMNS:
        raise InputError.at(
            file,
            f"line {skipped + 1}",
            f"it has {len(header):,} columns; a log has no more than {_MOST_COLUMNS:,}.",
            "Export the log again, or leave out the columns that are not needed.",
        )
    if _are_numbers(header):
        raise InputError.at(
            file,
            f"line {skipped + 1}",
            "the first line holds numbers instead of column names.",
            "Add a line with the column names at the top.",
        )
    lengths = [len(row) for row in rows]
    if rows and all(n == len(header) + 1 and not r[-1] for n, r in zip(lengths, rows, strict=True)):
        header = [*header, ""]  # each record ends with a separator of its own
    cells = [cell.strip() for row in rows for cell in row]
    commas = any(_DECIMAL_COMMA.fullmatch(cell) for cell in cells)
    points = any(_DECIMAL_POINT.fullmatch(cell) for cell in cells)
    names = tuple(h.strip() for h in header)
    return Dialect(skipped, names, separator, commas and not points, above)


def _start(lines: list[str], separators: tuple[str, ...]) -> tuple[str, int]:
    """Separator, and how many lines of free text stand above the column names."""
    best = max(separators, key=lambda s: _score(lines, s))
    if _score(lines, best)[0] > len(lines) / 2:
        return best, 0
    below = [
        (_score(lines[number:], separator), separator, number)
        for separator in separators
        if (number := _table_from(lines, separator))
    ]
    score, separator, number = max(below, default=((0, 0), best, 0))
    return (separator, number) if score[0] > (len(lines) - number) / 2 else (best, 0)


def _table_from(lines: list[str], separator: str) -> int:
    """First line of names as many as the cells of the line after it; 0 when there is none."""
    rows = list(csv.reader(lines, delimiter=separator))
    if len(rows) != len(lines):  # quoted text over several lines
        return 0
    for number, (row, following) in enumerate(itertools.pairwise(rows)):
        if len(row) > 2 and len(row) == len(following):
            return 0 if _are_numbers(row) else number
    return 0


def _are_numbers(cells: list[str]) -> bool:
    return sum(bool(_NUMBER.fullmatch(cell.strip())) for cell in cells) >= max(2, len(cells) / 2)


def _score(lines: list[str], separator: str) -> tuple[int, int]:
    """How many lines have as many cells as the header, and how many cells that is."""
    counts = [len(cells) for cells in csv.reader(lines, delimiter=separator) if cells]
    if counts[0] < 2:
        return 0, 0
    return sum(n == counts[0] for n in counts), counts[0]
