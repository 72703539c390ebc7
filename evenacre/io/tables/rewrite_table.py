"""Change a table of text in place: what is not changed stays as it was written."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.tables.text_table import as_utf8, sniff, unique_names
from evenacre.language import tr


@dataclass(frozen=True)
class WrittenRecord:
    """A line of a table, or several where a cell has some.

    Attributes
    ----------
    text : str
        As it stands in the file, its end too.
    cells : tuple of str
        As many as there are columns; empty of what is no record.
    """

    text: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class WrittenTable:
    """A table as it was written.

    Attributes
    ----------
    above : str
        What stands above the names of the columns.
    header : str
        The line of names.
    names : tuple of str
        Of the columns, as `evenacre.io.tables.text_table.read_delimited` calls them.
    separator, newline : str
    records : tuple of WrittenRecord
    marked : bool
        Whether it begins with the mark of UTF-8.
    """

    above: str
    header: str
    names: tuple[str, ...]
    separator: str
    newline: str
    records: tuple[WrittenRecord, ...]
    marked: bool = False

    def with_changes(
        self,
        changes: Mapping[int, Mapping[str, str] | None],
        added: Iterable[Mapping[str, str]],
    ) -> tuple[str, dict[int, int], list[int]]:
        """Write it with changes; a name that is none of its columns gets one of its own.

        Parameters
        ----------
        changes : mapping of int to mapping, or None
            Cells by column, of records by their number; None takes one out.
        added : iterable of mapping
            Cells of records to come last.

        Returns
        -------
        text : str
        lines : dict of int to int
            In which line each record stands that was there, by its number.
        added_lines : list of int
            In which line each of those added stands.
        """
        added = list(added)
        given: list[Mapping[str, str]] = [
            *(one for one in changes.values() if one is not None),
            *added,
        ]
        named = dict.fromkeys(name for one in given for name, text in one.items() if text)
        fresh = [name for name in named if name not in self.names]
        names = (*self.names, *fresh)
        more = self._line([""] * (len(fresh) + 1)) if fresh else ""
        written = [self.above, self.header]
        if fresh and len(next(csv.reader([self.header], delimiter=self.separator))) < len(names):
            # Records may end with a separator that the line of names has not.
            written[1] = self._line(names) + self.newline
        line = sum(text.count("\n") for text in written) + 1
        lines: dict[int, int] = {}
        for number, record in enumerate(self.records):
            change = changes.get(number, {})
            if change is None:
                continue
            text = self._longer(record.text, more) if record.cells else record.text
            told = {
                name: said for name, said in change.items() if self._differs(record, name, said)
            }
            if told:
                cells = {**dict(zip(self.names, record.cells, strict=True)), **told}
                text = self._line([cells.get(name, "") for name in names]) + self.newline
            lines[number] = line
            written.append(self._ended(text))
            line += written[-1].count("\n")
        added_lines = []
        for one in added:
            written.append(self._line([one.get(name, "") for name in names]) + self.newline)
            added_lines.append(line)
            line += written[-1].count("\n")
        written[1] = self._ended(written[1])
        return "".join(written), lines, added_lines

    def _differs(self, record: WrittenRecord, name: str, said: str) -> bool:
        """Whether something else is said than stands there, but for blanks."""
        there = record.cells[self.names.index(name)] if name in self.names else ""
        return there.split() != said.split()

    def _line(self, cells: Sequence[str]) -> str:
        out = io.StringIO()
        csv.writer(out, delimiter=self.separator, lineterminator="").writerow(cells)
        return out.getvalue()

    def _longer(self, text: str, more: str) -> str:
        bare = text.rstrip("\r\n")
        return bare + more + text[len(bare) :]

    def _ended(self, text: str) -> str:
        return text if text.endswith("\n") else text + self.newline


def new_table(names: Sequence[str]) -> WrittenTable:
    """A table of no records, parted by commas."""
    empty = WrittenTable("", "", tuple(names), ",", "\n", ())
    return WrittenTable("", empty._line(names) + "\n", tuple(names), ",", "\n", ())


def written_table(content: bytes, file: str) -> WrittenTable:
    """Part a table of text into its lines.

    Parameters
    ----------
    content : bytes
        In any encoding that is read.
    file : str
        Its name, for complaints.

    Raises
    ------
    InputError
        When it is no table.
    """
    utf8 = as_utf8(content, file, Findings())
    try:
        dialect = sniff(utf8, file)
        lines = list(io.StringIO(utf8.decode(), newline=""))
        above, below = lines[: dialect.skipped_lines], lines[dialect.skipped_lines :]
        taken = 0
        parts: list[WrittenRecord] = []
        reader = csv.reader(below, delimiter=dialect.separator)
        for cells in reader:
            text = "".join(below[taken : reader.line_num])
            taken = reader.line_num
            is_whole = len(cells) == len(dialect.header)
            parts.append(WrittenRecord(text, tuple(cells) if is_whole else ()))
    except csv.Error as error:
        what = tr("It is no table of text ({error}).", error=error)
        raise InputError.at(file, "", what, tr("Save it as CSV.")) from None
    newline = "\r\n" if parts[0].text.endswith("\r\n") else "\n"
    names = unique_names(dialect.header, file, Findings())
    return WrittenTable(
        above="".join(above),
        header=parts[0].text,
        names=tuple(names),
        separator=dialect.separator,
        newline=newline,
        records=tuple(parts[1:]),
        marked=content.startswith(codecs.BOM_UTF8),
    )
