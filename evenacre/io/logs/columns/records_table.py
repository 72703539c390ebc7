"""Records of any file as columns of text or numbers, before they have meanings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from evenacre.errors import InputError
from evenacre.io.common.findings import FEW, Findings, counted, one_line
from evenacre.model import BoolArray, FloatArray

# What exporters write where there is nothing to write.
_EMPTY = pa.array(["", "na", "n/a", "#n/a", "null", "none", "-", "--", "?", "(null)"])
_SPOKEN = {"lon": "longitude", "lat": "latitude"}
_NOT_FINITE = r"^[+-]?(nan|inf|infinity|1\.#(inf|ind|qnan).*)$"

_LISTED = 40


@dataclass(frozen=True)
class RecordTable:
    """Records in file order.

    Attributes
    ----------
    file : str
        Name one_line to people.
    data : pyarrow.Table
        One column per column of the file, names unique.
    place : callable
        Says where in the file a row is: ``place(16)`` is ``"line 18"``.
    decimal_comma : bool
        True when text numbers are written as ``43,92``.
    """

    file: str
    data: pa.Table
    place: Callable[[int], str]
    decimal_comma: bool = False

    def __len__(self) -> int:
        return int(self.data.num_rows)

    @property
    def names(self) -> list[str]:
        """Column names in file order."""
        return list(self.data.column_names)

    @property
    def listing(self) -> str:
        """Column names for a sentence, cut after so many."""
        names = [one_line(name) for name in self.data.column_names[:_LISTED]]
        more = len(self.data.column_names) - len(names)
        return ", ".join(names) + (f" and {more:,} more" if more else "")

    def text(self, column: str) -> pa.Array:
        """Cells as trimmed text; null where there is nothing."""
        cells = self.data.column(column).combine_chunks()
        if isinstance(cells, pa.ChunkedArray):  # a table of no rows
            cells = pa.array([], cells.type)
        if pa.types.is_dictionary(cells.type):
            cells = cells.dictionary_decode()
        if not pa.types.is_string(cells.type):
            cells = pc.cast(cells, pa.string())
        cells = pc.utf8_trim_whitespace(cells)
        missing = pc.is_in(pc.utf8_lower(cells), value_set=_EMPTY)
        return pc.if_else(missing, pa.scalar(None, pa.string()), cells)

    def is_empty(self, column: str) -> bool:
        """Tell whether no cell of a column is filled."""
        head = RecordTable(self.file, self.data.slice(0, 100), self.place)
        return all(part.text(column).null_count == len(part) for part in (head, self))

    def holds_numbers(self, column: str) -> bool:
        """Tell whether most of the filled cells of a column are numbers."""
        values, bad = self._convert(column)
        filled = np.isfinite(values).sum() + bad.sum()
        return bool(filled > 0 and bad.sum() < 0.5 * filled)

    def numbers(self, column: str, meaning: str, findings: Findings) -> FloatArray:
        """Cells as numbers, NaN where there is none.

        Up to 1 % of unreadable cells, and any infinite ones, are left out with a warning.

        Raises
        ------
        InputError
            When more cells are unreadable; it names the first.
        """
        values, bad = self._convert(column)
        if bad.any():
            row = int(np.flatnonzero(bad)[0])
            value = one_line(self.text(column)[row])
            where = f'{self.place(row)}, column "{column}"'
            share = bad.sum() / max(bad.sum() + np.isfinite(values).sum(), 1)
            if share > FEW:
                raise InputError.at(
                    self.file,
                    where,
                    f'"{value}" is not a number ({counted(bad.sum(), "such cell")}), '
                    f"but the column is read as the {_SPOKEN.get(meaning, meaning)}.",
                    "Mend the cells, or name another column with "
                    f"--column '{meaning.split()[0]}=COLUMN'.",
                )
            findings.warn(
                f'{self.file}: column "{column}" has {counted(bad.sum(), "cell")} that cannot be '
                f'read as a number, taken as missing; the first is "{value}" at {self.place(row)}.'
            )
        infinite = np.isinf(values)
        if infinite.any():
            findings.warn(
                f'{self.file}: column "{column}" has {counted(infinite.sum(), "infinite value")}, '
                f"taken as missing; the first is at {self.place(int(np.flatnonzero(infinite)[0]))}."
            )
            values = np.where(infinite, np.nan, values)
        return values

    def _convert(self, column: str) -> tuple[FloatArray, BoolArray]:
        """Numbers of a column and which cells hold something else."""
        kind = self.data.column(column).type
        none = np.zeros(len(self), dtype=bool)
        if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_boolean(kind):
            # Unsafe: whole numbers above 2**53 lose their last digits and are numbers still.
            return _floats(pc.cast(self.data.column(column), pa.float64(), safe=False)), none
        # Most columns are clean: try them as they are, then without the empty cells.
        for clean in (self.data.column, self.text) if pa.types.is_string(kind) else (self.text,):
            cells = clean(column)
            if self.decimal_comma:
                cells = pc.replace_substring(cells, ",", ".")
            try:
                return _floats(pc.cast(cells, pa.float64())), none
            except pa.ArrowInvalid:
                continue
        special = pc.fill_null(pc.match_substring_regex(pc.utf8_lower(cells), _NOT_FINITE), False)
        shape = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
        good = pc.fill_null(pc.match_substring_regex(cells, shape), False)
        plain = pc.if_else(good, pc.replace_substring_regex(cells, r"^\+", ""), None)
        bad = pc.and_not(pc.is_valid(cells), pc.or_(good, special))
        values = _floats(pc.cast(plain, pa.float64()))
        return values, np.asarray(bad.to_numpy(zero_copy_only=False), dtype=bool)


def _floats(cells: pa.Array | pa.ChunkedArray) -> FloatArray:
    """Arrow numbers as a writable float array with NaN for null."""
    if isinstance(cells, pa.ChunkedArray):
        cells = pa.chunked_array(cells.chunks, cells.type).combine_chunks()
    if isinstance(cells, pa.ChunkedArray):
        return np.zeros(0)
    return np.array(pc.fill_null(cells, np.nan).to_numpy(zero_copy_only=False), dtype=float)
