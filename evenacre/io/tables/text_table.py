"""Tables of text, however they are written: separator, decimal mark, names, encoding."""

from __future__ import annotations

import codecs
import csv
import io
import itertools
import re
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pacsv

from evenacre.errors import InputError
from evenacre.io.common.arrow_arrays import told_apart
from evenacre.io.common.findings import FEW, Findings
from evenacre.io.tables.record_table import RecordTable
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_start, read_whole, wide_encoding
from evenacre.language import tr, trn

_SEPARATORS = (";", "\t", "|", ",")
_SAMPLE_LINES, _SAMPLE_BYTES = 200, 1 << 18
_MOST_COLUMNS = 2000
_DECIMAL_COMMA = re.compile(r"[-+]?\d+,\d+")
_DECIMAL_POINT = re.compile(r"[-+]?\d+\.\d+")
# A number, date or time; no name of a column looks so.
_NAMES = {"lat", "lon", "long", "latitude", "longitude", "x", "y", "time", "timestamp", "date"}
_VALUE = re.compile(
    r"[-+]?\d+(?:[.,]\d+)?(?:e[-+]?\d+)?|\d[\d:/.\-TZ ]*[\d:/.\-][\d:/.\-TZ ]*", re.I
)


@dataclass(frozen=True)
class Dialect:
    """What it takes to read a table of text."""

    skipped_lines: int  # lines above the one with the column names
    header: tuple[str, ...]
    separator: str
    decimal_comma: bool
    words_above: int  # how many of the skipped lines are free text
    headless: bool = False  # no line holds names: the columns are called by their numbers


def sniff(content: bytes, file: str, *, headless: bool = False) -> Dialect:
    """Find out how a table is written from its first lines.

    Parameters
    ----------
    headless : bool
        Whether it may do without a line of column names.
    """
    lines = content[:_SAMPLE_BYTES].decode(errors="replace").splitlines()[:_SAMPLE_LINES]
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
        raise InputError.at(file, "", tr("there is no header line."), tr("Export the log again."))
    separator, above = _start(lines, (separator,) if separator else _SEPARATORS)
    skipped, lines = skipped + above, lines[above:]
    header, *rows = (cells for cells in csv.reader(lines, delimiter=separator) if cells)
    if len(header) == 1:
        raise InputError.at(
            file,
            tr("line {skipped}", skipped=skipped + 1),
            tr("only one column was found."),
            tr("Separate the columns with commas, semicolons, tabs or bars."),
        )
    if len(header) > _MOST_COLUMNS:
        raise InputError.at(
            file,
            tr("line {skipped}", skipped=skipped + 1),
            tr(
                "it has {count:,} columns; a log has no more than {most_columns:,}.",
                count=len(header),
                most_columns=_MOST_COLUMNS,
            ),
            tr("Export the log again, or leave out the columns that are not needed."),
        )
    bare = _are_values(header) and not _NAMES & {cell.strip().lower() for cell in header}
    if bare and not headless:
        raise InputError.at(
            file,
            tr("line {skipped}", skipped=skipped + 1),
            tr("the first line holds numbers instead of column names."),
            tr("Add a line with the column names at the top."),
        )
    if bare:
        rows, header, skipped = [header, *rows], [""] * len(header), skipped - 1
    lengths = [len(row) for row in rows]
    if rows and all(n == len(header) + 1 and not r[-1] for n, r in zip(lengths, rows, strict=True)):
        header = [*header, ""]  # each record ends with a separator of its own
    cells = [cell.strip() for row in rows for cell in row]
    commas = any(_DECIMAL_COMMA.fullmatch(cell) for cell in cells)
    points = any(_DECIMAL_POINT.fullmatch(cell) for cell in cells)
    names = tuple(h.strip() for h in header)
    return Dialect(skipped, names, separator, commas and not points, above, bare)


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
            return 0 if _are_values(row) else number
    return 0


def _are_values(cells: list[str]) -> bool:
    values = sum(bool(_VALUE.fullmatch(cell.strip())) for cell in cells)
    return values >= max(2, len(cells) / 2)


def _score(lines: list[str], separator: str) -> tuple[int, int]:
    """How many lines have as many cells as the header, and how many cells that is."""
    counts = [len(cells) for cells in csv.reader(lines, delimiter=separator) if cells]
    if counts[0] < 2:
        return 0, 0
    return sum(n == counts[0] for n in counts), counts[0]


def read_delimited(
    path: Path,
    findings: Findings,
    most_records: int = budget.RECORDS,
    *,
    headless: bool = False,
) -> RecordTable:
    """Read a text table with one header line; every cell stays text.

    With ``headless`` it may have none: then its columns are called ``column 1`` and so on.
    Separators ``, ; tab |``, decimal commas, byte order marks, UTF-8, UTF-16 and Latin text
    are recognised. Lines of a wrong length are left out with a warning while they are few.
    """
    content = as_utf8(read_whole(path), path.name, findings)
    budget.check_count(content, b"\n", most_records, path.name)
    return parse_table(content, path.name, findings, headless=headless)


def parse_table(
    content: bytes, file: str, findings: Findings, *, headless: bool = False
) -> RecordTable:
    """Read a table from text in UTF-8, as `read_delimited` does from a file."""
    if not content.strip():
        raise InputError.at(file, "", tr("the file is empty."), tr("Export the log again."))
    try:
        dialect = sniff(content, file, headless=headless)
    except csv.Error as error:
        raise _no_table(file, error) from None
    bad_lines: list[int] = []

    def skip(row: pacsv.InvalidRow) -> str:
        bad_lines.append(row.number - dialect.skipped_lines - 1)  # skipped ones are counted
        return "skip"

    if dialect.words_above:
        findings.note(
            tr(
                "{file}: the column names are taken from line {skipped_lines}; what stands "
                "above them is not used.",
                file=file,
                skipped_lines=dialect.skipped_lines + 1,
            )
        )
    names = unique_names(dialect.header, file, findings)
    if dialect.decimal_comma:
        findings.note(tr("{file}: the comma in its numbers is read as a decimal mark.", file=file))
    try:
        data = pacsv.read_csv(
            io.BytesIO(content),
            # One thread: only then are wrong lines given with their numbers.
            read_options=pacsv.ReadOptions(
                use_threads=False,
                skip_rows=dialect.skipped_lines + 1,
                column_names=names,
                block_size=1 << 24,
            ),
            parse_options=pacsv.ParseOptions(delimiter=dialect.separator, invalid_row_handler=skip),
            convert_options=pacsv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False
            ),
        )
    except pa.ArrowInvalid as error:
        if "Empty CSV" not in str(error):
            raise _no_table(file, error) from None
        data = pa.table({name: pa.array([], pa.string()) for name in names})
    places = _Places(content, dialect.skipped_lines, tuple(bad_lines))
    table = RecordTable(file, data, places, dialect.decimal_comma, dialect.headless)
    if bad_lines:
        _judge_bad_lines(table, len(bad_lines), places.lines[bad_lines[0] - 1], findings)
    if len(table) == 0:
        raise InputError.at(
            file,
            tr("line {skipped_lines}", skipped_lines=dialect.skipped_lines + 1),
            tr("there is a header but no records."),
            tr("Export the log again, with its records."),
        )
    return table


def column_names(path: Path) -> tuple[str, ...]:
    """Names of the columns of a table, from its beginning alone; none where it is none."""
    start = read_start(path, _SAMPLE_BYTES)
    # A character that the beginning breaks off in is none.
    whole = start[: start.rfind(b"\n") + 1] or start
    return names_in(as_utf8(whole, path.name, Findings()).decode())


def names_in(text: str) -> tuple[str, ...]:
    """Names of the columns of a table that begins so; none where it is none."""
    try:
        return sniff(text.encode(), "", headless=True).header
    except (csv.Error, InputError):
        return ()


def _no_table(file: str, why: object) -> InputError:
    return InputError.at(
        file, "", tr("it is no table of text ({why}).", why=why), tr("Export the log as CSV.")
    )


class _Places:
    """Say which line of the file a row came from, counting lines only when asked."""

    def __init__(self, content: bytes, skipped: int, bad: tuple[int, ...]) -> None:
        self._content, self._skipped, self._bad = content, skipped, frozenset(bad)

    @cached_property
    def lines(self) -> list[int]:
        """File lines of the filled lines after the header."""
        lines = enumerate(self._content.splitlines(), 1)
        return [number for number, line in lines if number > self._skipped + 1 and line]

    @cached_property
    def _good(self) -> list[int]:
        return [line for n, line in enumerate(self.lines, 1) if n not in self._bad]

    def __call__(self, row: int) -> str:
        return f"line {self._good[row]:,}"


def as_utf8(raw: bytes, file: str, findings: Findings) -> bytes:
    """Bytes of the file as UTF-8 without a byte order mark."""
    if raw.startswith(codecs.BOM_UTF8):
        raw = raw[len(codecs.BOM_UTF8) :]
    encoding = "utf-8"
    if b"\0" in raw[:4096]:
        encoding = wide_encoding(raw)
        if not encoding:
            raise InputError.at(
                file, "", tr("this is not a text file."), tr("Give a CSV, GPX or layer file.")
            )
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError:
        if encoding != "utf-8":
            raise InputError.at(
                file, "", tr("the text breaks off inside a character."), tr("Export the log again.")
            ) from None
        findings.note(tr("{file}: the text is not UTF-8 and was read as Latin text.", file=file))
        encoding = "cp1252"
        text = raw.decode(encoding, errors="replace")
    if "\r" in text and "\n" not in text:
        text, encoding = text.replace("\r", "\n"), ""
    return raw if encoding == "utf-8" else text.encode()


def unique_names(header: tuple[str, ...], file: str, findings: Findings) -> list[str]:
    """Names to call columns by: no two are alike, and none is empty."""
    names = told_apart(name or f"column {number}" for number, name in enumerate(header, 1))
    for name, fresh in zip(header, names, strict=True):
        if name and fresh != name:
            findings.note(
                tr(
                    '{file}: a second column named "{name}" is called "{fresh}".',
                    file=file,
                    name=name,
                    fresh=fresh,
                )
            )
    return names


def _judge_bad_lines(table: RecordTable, count: int, first: int, findings: Findings) -> None:
    what = tr(
        "{lines_have} another number of columns than the header ({count}); the first is "
        "line {first:,}",
        lines_have=trn("{count:,} line has", "{count:,} lines have", count),
        count=len(table.names),
        first=first,
    )
    # The last line of a log is often cut short when the power goes.
    if count > max(1, FEW * (count + len(table))) or len(table) == 0:
        raise InputError.at(
            table.file,
            tr("line {first:,}", first=first),
            f"{what}.",
            tr(
                "If numbers have decimal commas, separate columns with semicolons; put text "
                "that holds the separator in quotes."
            ),
        )
    findings.warn(tr("{file}: {what}; left out.", file=table.file, what=what))
