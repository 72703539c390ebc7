"""Text tables: find out their encoding and read them."""

from __future__ import annotations

import codecs
import csv
import io
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pacsv

from evenacre.errors import InputError
from evenacre.io.logs.columns.headers import told_apart
from evenacre.io.logs.columns.records_table import FEW, Findings, Table, counted
from evenacre.io.logs.formats.dialect import sniff
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_whole


def read_delimited(path: Path, findings: Findings, most_records: int = budget.RECORDS) -> Table:
    """Read a text table with one header line; every cell stays text.

    Separators ``, ; tab |``, decimal commas, byte order marks, UTF-8, UTF-16 and Latin text
    are recognised. Lines of a wrong length are left out with a warning while they are few.

    Parameters
    ----------
    path : Path
    findings : Findings
    most_records : int
        A table of more is refused.

    Raises
    ------
    InputError
        When the file is empty, has a header only, no header, or is not a table.
    """
    content = _utf8(read_whole(path), path.name, findings)
    budget.check_count(content, b"\n", most_records, path.name)
    if not content.strip():
        raise InputError.at(path.name, "", "the file is empty.", "Export the log again.")
    try:
        dialect = sniff(content, path.name)
    except csv.Error as error:
        raise InputError.at(
            path.name, "", f"it is no table of text ({error}).", "Export the log as CSV."
        ) from None
    bad_lines: list[int] = []

    def skip(row: pacsv.InvalidRow) -> str:
        bad_lines.append(row.number - dialect.skipped_lines - 1)  # skipped ones are counted
        return "skip"

    if dialect.words_above:
        findings.note(
            f"{path.name}: the column names are taken from line {dialect.skipped_lines + 1}; what "
            "stands above them is not used."
        )
    names = _unique(dialect.header, path.name, findings)
    if dialect.decimal_comma:
        findings.note(f"{path.name}: the comma in its numbers is read as a decimal mark.")
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
            raise InputError.at(
                path.name, "", f"not a table of text: {error}.", "Export the log as CSV."
            ) from None
        data = pa.table({name: pa.array([], pa.string()) for name in names})
    places = _Places(content, dialect.skipped_lines, tuple(bad_lines))
    table = Table(path.name, data, places, dialect.decimal_comma)
    if bad_lines:
        _judge_bad_lines(table, len(bad_lines), places.line(bad_lines[0]), findings)
    if len(table) == 0:
        raise InputError.at(
            path.name,
            f"line {dialect.skipped_lines + 1}",
            "there is a header but no records.",
            "Export the log again, with its records.",
        )
    return table


class _Places:
    """Say which line of the file a row came from, counting lines only when asked."""

    def __init__(self, content: bytes, skipped: int, bad: tuple[int, ...]) -> None:
        self._content, self._skipped, self._bad = content, skipped, frozenset(bad)

    def line(self, number: int) -> int:
        """File line of the n-th filled line after the header, counted from 1."""
        return self._lines()[number - 1]

    def _lines(self) -> list[int]:
        lines = self._content.splitlines()
        return [i + 1 for i, line in enumerate(lines) if i > self._skipped and line]

    def __call__(self, row: int) -> str:
        good = [line for n, line in enumerate(self._lines(), 1) if n not in self._bad]
        return f"line {good[row]:,}"


def _utf8(raw: bytes, file: str, findings: Findings) -> bytes:
    """Bytes of the file as UTF-8 without a byte order mark."""
    if raw.startswith(codecs.BOM_UTF8):
        raw = raw[len(codecs.BOM_UTF8) :]
    encoding = "utf-8"
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    elif b"\0" in raw[:4096]:
        even, odd = raw[:4096:2].count(0), raw[1:4096:2].count(0)
        if max(even, odd) < 0.4 * len(raw[:4096]) / 2:
            raise InputError.at(
                file, "", "this is not a text file.", "Give a CSV, GPX or layer file."
            )
        encoding = "utf-16-le" if odd > even else "utf-16-be"
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError:
        if encoding != "utf-8":
            raise InputError.at(
                file, "", "the text breaks off inside a character.", "Export the log again."
            ) from None
        findings.note(f"{file}: the text is not UTF-8 and was read as Latin text.")
        text, encoding = raw.decode("latin-1"), "latin-1"
    if "\r" in text and "\n" not in text:
        text, encoding = text.replace("\r", "\n"), ""
    return raw if encoding == "utf-8" else text.encode()


def _unique(header: tuple[str, ...], file: str, findings: Findings) -> list[str]:
    names = told_apart(name or f"column {number}" for number, name in enumerate(header, 1))
    for name, fresh in zip(header, names, strict=True):
        if name and fresh != name:
            findings.note(f'{file}: a second column named "{name}" is called "{fresh}".')
    return names


def _judge_bad_lines(table: Table, count: int, first: int, findings: Findings) -> None:
    what = (
        f"{counted(count, 'line', 'have')} another number of columns than the header "
        f"({len(table.names)}); the first is line {first:,}"
    )
    # The last line of a log is often cut short when the power goes.
    if count > max(1, FEW * (count + len(table))) or len(table) == 0:
        raise InputError.at(
            table.file,
            f"line {first:,}",
            f"{what}.",
            "If numbers have decimal commas, separate columns with semicolons; "
            "put text that holds the separator in quotes.",
        )
    findings.warn(f"{table.file}: {what}; left out.")
