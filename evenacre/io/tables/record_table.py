"""Records of any file as columns of text or numbers, before they have meanings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from evenacre.errors import InputError
from evenacre.io.common.arrow_arrays import bools, floats
from evenacre.io.common.findings import FEW, Findings, one_line
from evenacre.io.common.suggestions import listed
from evenacre.language import tr, trn
from evenacre.model import BoolArray, FloatArray

# What exporters write where there is nothing to write.
_EMPTY = pa.array(["", "na", "n/a", "#n/a", "null", "none", "-", "--", "?", "(null)"])
_SPOKEN = {"lon": "longitude", "lat": "latitude"}
_NOT_FINITE = r"^[+-]?(nan|inf|infinity|1\.#(inf|ind|qnan).*)$"
# So many cells spread over a long column tell whether it holds numbers, where nearly all agree.
_TELLING, _CLEARLY = 5_000, 0.4

_LISTED = 40


@dataclass(frozen=True)
class RecordTable:
    """Records in file order."""

    file: str  # shown to people
    data: pa.Table  # one column per column of the file, names unique
    place: Callable[[int], str]  # says where in the file a row is: ``place(16)`` is ``"line 18"``
    decimal_comma: bool = False  # True when text numbers are written as ``43,92``
    headless: bool = False  # True when the file has no names: the columns are numbered

    def __len__(self) -> int:
        return int(self.data.num_rows)

    @property
    def names(self) -> list[str]:
        """Column names in file order."""
        return list(self.data.column_names)

    @property
    def listing(self) -> str:
        """Column names for a sentence, cut after so many."""
        return listed(map(one_line, self.names), _LISTED, mark="")

    def about(self, column: str) -> str:
        """File and column, to begin a sentence with."""
        return f'{self.file}: column "{column}"'

    def first(self, mask: BoolArray) -> str:
        """Where the first marked row is."""
        return self.place(int(np.flatnonzero(mask)[0]))

    def error(self, place: str, what: str, remedy: str) -> InputError:
        """Build the error for something wrong in the file."""
        return InputError.at(self.file, place, what, remedy)

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

    def row(self, number: int) -> str:
        """A record as it stands in the file, each cell after the number of its column."""
        cells = (self.data.column(name)[number].as_py() or "" for name in self.names)
        return ", ".join(f"{n}: {one_line(cell, 30)}" for n, cell in enumerate(cells, 1))

    def words(self, column: str | None) -> list[str]:
        """Cells as text, empty where there is nothing, and everywhere without a column."""
        return (
            [""] * len(self) if column is None else pc.fill_null(self.text(column), "").to_pylist()
        )

    def first_text(self, column: str) -> str:
        """The first filled cell of a column that has one."""
        return str(pc.drop_null(self.text(column))[0])

    def is_empty(self, column: str) -> bool:
        """Tell whether no cell of a column is filled."""
        head = RecordTable(self.file, self.data.slice(0, 100), self.place)
        return all(part.text(column).null_count == len(part) for part in (head, self))

    def holds_numbers(self, column: str) -> bool:
        """Tell whether most of the filled cells of a column are numbers."""
        every = len(self) // _TELLING
        if every > 1:
            rows = np.arange(0, len(self), every)
            share = replace(self, data=self.data.select([column]).take(rows))._numbers(column)
            if abs(share - 0.5) > _CLEARLY:
                return share > 0.5
        return self._numbers(column) > 0.5

    def _numbers(self, column: str) -> float:
        """Share of numbers among the filled cells; half where none is filled."""
        values, bad = self._convert(column)
        filled = int(np.isfinite(values).sum() + bad.sum())
        return 1 - int(bad.sum()) / filled if filled else 0.5

    def numbers(self, column: str, meaning: str, findings: Findings) -> FloatArray:
        """Cells as numbers, NaN where there is none.

        Up to 1 % of unreadable cells, and any infinite ones, are left out with a warning.
        """
        values, bad = self._convert(column)
        self.judge(
            column,
            bad,
            int(bad.sum() + np.isfinite(values).sum()),
            findings,
            wrong=tr(
                "is not a number ({such_cells}), but the column is read as the {get}.",
                such_cells=trn("{count:,} such cell", "{count:,} such cells", bad.sum()),
                get=_SPOKEN.get(meaning, meaning),
            ),
            few=tr(
                "{cells} that cannot be read as a number, taken as missing",
                cells=trn("{count:,} cell", "{count:,} cells", bad.sum()),
            ),
            remedy=tr(
                "Mend the cells, or name another column with --column '{split}=COLUMN'.",
                split=meaning.split()[0],
            ),
        )
        infinite = np.isinf(values)
        if infinite.any():
            findings.warn(
                tr(
                    "{about} has {infinite_values}, taken as missing; the first is at {first}.",
                    about=self.about(column),
                    infinite_values=trn(
                        "{count:,} infinite value", "{count:,} infinite values", infinite.sum()
                    ),
                    first=self.first(infinite),
                )
            )
            values = np.where(infinite, np.nan, values)
        return values

    def judge(
        self,
        column: str,
        bad: BoolArray,
        filled: int,
        findings: Findings,
        *,
        wrong: str,
        few: str,
        remedy: str,
        cells: pa.Array | None = None,
    ) -> None:
        """Refuse a column with many bad cells, and warn of a few, showing the first.

        Parameters
        ----------
        filled : int
            How many cells could have been good.
        wrong, few : str
            What is said of the first bad cell, and what the column is said to have.
        cells : pyarrow.Array, optional
            The texts that were read, when they are not those of the column.
        """
        if not bad.any():
            return
        texts = self.text(column) if cells is None else cells
        first = f'"{one_line(texts[int(np.flatnonzero(bad)[0])])}"'
        if bad.sum() > FEW * filled:
            place = f'{self.first(bad)}, column "{column}"'
            raise self.error(place, f"{first} {wrong}", remedy)
        findings.warn(
            tr(
                "{about} has {few}; the first is {first} at {first_2}.",
                about=self.about(column),
                few=few,
                first=first,
                first_2=self.first(bad),
            )
        )

    def _convert(self, column: str) -> tuple[FloatArray, BoolArray]:
        """Numbers of a column and which cells hold something else."""
        kind = self.data.column(column).type
        none = np.zeros(len(self), dtype=bool)
        if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_boolean(kind):
            # Unsafe: whole numbers above 2**53 lose their last digits and are numbers still.
            return floats(pc.cast(self.data.column(column), pa.float64(), safe=False)), none
        # Most columns are clean: try them as they are, then without the empty cells.
        for clean in (self.data.column, self.text) if pa.types.is_string(kind) else (self.text,):
            cells = clean(column)
            if self.decimal_comma:
                cells = pc.replace_substring(cells, ",", ".")
            try:
                return floats(pc.cast(cells, pa.float64())), none
            except pa.ArrowInvalid:
                continue
        special = pc.fill_null(pc.match_substring_regex(pc.utf8_lower(cells), _NOT_FINITE), False)
        shape = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
        good = pc.fill_null(pc.match_substring_regex(cells, shape), False)
        plain = pc.if_else(good, pc.replace_substring_regex(cells, r"^\+", ""), None)
        bad = pc.and_not(pc.is_valid(cells), pc.or_(good, special))
        values = floats(pc.cast(plain, pa.float64()))
        return values, bools(bad)
