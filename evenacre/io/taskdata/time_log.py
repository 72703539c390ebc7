"""One time log (TLG): its template, and its binary records found and taken apart.

A record is a head of fixed length, a count, and so many pairs of an index and a value, so
where one ends is known only from its count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any, NamedTuple
from xml.etree.ElementTree import Element

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from evenacre.errors import InputError
from evenacre.io.common.findings import Subject
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.clock import Stamps, read_stamps
from evenacre.io.taskdata.folder import TaskFiles
from evenacre.io.taskdata.tree import ddi, integer, number, parse_xml, text
from evenacre.language import tr, trn
from evenacre.model import FloatArray, IntArray

# Attributes of a position (PTN) in the order of the records: name and number type.
_POSITION = {
    "A": ("north", "<i4"),
    "B": ("east", "<i4"),
    "C": ("up", "<i4"),
    "D": ("status", "u1"),
    "E": ("pdop", "<u2"),
    "F": ("hdop", "<u2"),
    "G": ("satellites", "u1"),
    "H": ("gps_ms", "<u4"),
    "I": ("gps_day", "<u2"),
}
_PAIR_BYTES, _VALUE = 5, np.dtype("<i4")
_MAX_COLUMNS = 255
_BATCH_PAIRS = 1 << 20
_BYTES_PER_RECORD, _BYTES_PER_VALUE, _BYTES_PER_STATE = 80, 8, 2
_MAX_BYTES = 500 * 1024**2
_MAX_TEMPLATE_BYTES = 1024**2
_SHOWN = 8

Bytes = npt.NDArray[np.uint8]


class LoggedValue(NamedTuple):
    """A logged value (DLV): what it is, which element it is of, its value until one is logged."""

    ddi: int | None
    part: str
    fixed: int | None = None


class Logged(NamedTuple):
    """The values logged in one column: records in ascending order, and the last value of each."""

    record: npt.NDArray[np.int32]
    value: npt.NDArray[np.int32]


@dataclass
class Room:
    """How much may still be read at once, so that no file fills the memory."""

    label: str
    left: int = _MAX_BYTES

    @property
    def records(self) -> int:
        """The most records there is room for."""
        return self.left // _BYTES_PER_RECORD

    def take(self, records: int, ddis_used: list[int]) -> None:
        """Count records with some values as read; InputError when there is no room for them."""
        last = max((key for key in ddis_used if key in ddis.CONDENSED_STATES), default=None)
        groups = 0 if last is None else ddis.CONDENSED_STATES.index(last) + 1
        states = ddis.STATES_PER_VALUE * groups
        self.left -= records * (
            _BYTES_PER_RECORD + _BYTES_PER_VALUE * len(ddis_used) + _BYTES_PER_STATE * states
        )
        if self.left < 0:
            what = tr("its time logs are too large to be read at once.")
            remedy = tr("Export fewer tasks at a time, or name one task as the layer.")
            raise InputError.at(self.label, "", what, remedy)


@dataclass(frozen=True)
class Log:
    """The records of one time log."""

    columns: tuple[LoggedValue, ...]
    stamps: Stamps  # n of them
    # Values by index of column, of the columns that are used and were ever logged
    logged: dict[int, Logged]
    seen: IntArray  # How many values were logged by index of column, used or not
    left_out: dict[str, int] = field(default_factory=dict)  # Positions left out, by cause

    def __len__(self) -> int:
        return len(self.stamps.time_s)

    def indices(self, ddi: int) -> list[int]:
        """Return the columns of an identifier that hold any value."""
        return [
            i
            for i, column in enumerate(self.columns)
            if column.ddi == ddi and (i in self.logged or column.fixed is not None)
        ]

    def index_by_part(self, ddi: int) -> dict[str, int]:
        """Return the columns of an identifier by the element they are of."""
        return {self.columns[index].part: index for index in self.indices(ddi)}

    def values(self, index: int) -> FloatArray:
        """Return the raw values of a column, each held until the next; NaN before the first."""
        fixed = self.columns[index].fixed
        out = np.full(len(self), np.nan if fixed is None else float(fixed))
        if index in self.logged:
            record, value = self.logged[index]
            out[record[0] :] = np.repeat(value, np.diff(record, append=len(self)))
        return out


def read_log(
    files: TaskFiles, name: str, time_zone: str | None, room: Room, about: Subject
) -> Log | None:
    """Read a time log; None (and a warning) when there is nothing in it."""
    missing = [f"{name}{end}" for end in (".XML", ".BIN") if not files.has(f"{name}{end}")]
    if missing:
        about.warn(tr("{names} missing; the log was left out.", names=" and ".join(missing)))
        return None
    template = _read_template(parse_xml(files, f"{name}.XML", _MAX_TEMPLATE_BYTES), about)
    if template is None:
        return None
    data = np.frombuffer(files.read(f"{name}.BIN"), dtype=np.uint8)
    head, columns, fixed = template
    starts, rest = record_starts(data, head.itemsize, room.records + 1)
    wanted = {i: c.ddi for i, c in enumerate(columns) if c.ddi is not None and c.ddi in ddis.USED}
    # Of what a machine tells of its shape only the few values that are logged are kept.
    room.take(len(starts), [key for key in wanted.values() if key not in ddis.SHAPE])
    if rest:
        about.warn(
            tr(
                "it breaks off within a record; the last {bytes} left out.",
                bytes=trn("{count:,} byte was", "{count:,} bytes were", rest),
            )
        )
    if not len(starts):
        about.warn(tr("there is no record in it."))
        return None
    logged, seen = _read_values(data, starts, head.itemsize, wanted)
    _tell_of_others(columns, seen, about)
    heads = _gathered(data, starts, head)
    stamps, left_out = read_stamps(heads, fixed, time_zone, about)
    return Log(columns, stamps, logged, seen, left_out)


def _read_template(
    root: Element, about: Subject
) -> tuple[np.dtype[np.void], tuple[LoggedValue, ...], dict[str, float]] | None:
    """Read a template, the TIM element or what is around one; None (and a warning) without.

    It tells what every record begins with, what the indices of values stand for, and the parts
    of the position that are the same for all records.
    """
    time = root if root.tag == "TIM" else root.find(".//TIM")
    if time is None:
        about.warn(tr("its template holds no TIM element; the log was left out."))
        return None
    # Strictly the attribute is there but empty; without one a log would have no times.
    fields = [] if text(time, "A") else [("ms", "<u4"), ("day", "<u2")]
    position = time.find("PTN")
    given = {} if position is None else position.attrib
    fields += [_POSITION[key] for key in _POSITION if key in given and not given[key].strip()]
    fixed = {
        name: number(position, key)
        for key, (name, _) in _POSITION.items()
        if position is not None and given.get(key, "").strip()
    }
    columns = tuple(
        LoggedValue(
            ddi(value, "A"), text(value, "C"), integer(value, "B") if text(value, "B") else None
        )
        for value in time.findall("DLV")
    )
    if len(columns) > _MAX_COLUMNS:
        about.warn(
            tr(
                "its template has {count:,} values, of which records can name {max_columns}.",
                count=len(columns),
                max_columns=_MAX_COLUMNS,
            )
        )
    return np.dtype(fields), columns[:_MAX_COLUMNS], fixed


def record_starts(data: Bytes, head: int, most: int | None = None) -> tuple[IntArray, int]:
    """Find the offsets of whole records, up to so many, and how many bytes follow the last.

    Where a record ends hangs on its own count, so this is a loop, the only one over records.

    Parameters
    ----------
    head : int
        Bytes before the count of a record.
    """
    raw, size = data.data, len(data)
    after = 0

    def chain() -> Iterator[int]:
        nonlocal after
        while after + head < size:
            at = after
            end = at + head + 1 + _PAIR_BYTES * raw[at + head]
            if end > size:
                return
            after = end
            yield at

    starts = np.fromiter(islice(chain(), most), np.int64)
    return starts, size - after


def _gathered(data: Bytes, offsets: IntArray, kind: np.dtype[Any]) -> npt.NDArray[Any]:
    """Gather values of one type from anywhere in the file, (n,)."""
    if not (kind.itemsize and len(offsets)):
        return np.zeros(len(offsets), dtype=kind)
    return sliding_window_view(data, kind.itemsize)[offsets].view(kind).reshape(-1)


def _read_values(
    data: Bytes, starts: IntArray, head: int, wanted: Iterable[int]
) -> tuple[dict[int, Logged], IntArray]:
    """Gather the values of some columns, and count those of all, wanted or not."""
    counts = data[starts + head].astype(np.int64)
    records = np.arange(len(starts), dtype=np.int32)
    batches = np.flatnonzero(np.diff(np.cumsum(counts) // _BATCH_PAIRS)) + 1
    pieces: dict[int, list[Logged]] = {index: [] for index in wanted}
    seen = np.zeros(256, dtype=np.int64)
    for some in np.split(records, batches):
        count = counts[some]
        record = np.repeat(some, count)
        pair = np.arange(len(record)) - np.repeat(np.cumsum(count) - count, count)
        offset = starts[record] + (head + 1) + _PAIR_BYTES * pair
        index = data[offset]
        seen += np.bincount(index, minlength=256)
        for column in wanted:
            mine = np.flatnonzero(index == column)
            # Of a column that a record names twice the last value counts.
            last = mine[np.diff(record[mine], append=-1) != 0]
            if len(last):
                value = _gathered(data, offset[last] + 1, _VALUE)
                pieces[column].append(Logged(record[last], value))
    logged = {
        column: Logged(*map(np.concatenate, zip(*parts, strict=True)))
        for column, parts in pieces.items()
        if parts
    }
    return logged, seen


def _tell_of_others(columns: Sequence[LoggedValue], seen: IntArray, about: Subject) -> None:
    """Say which values were logged and are not used."""
    beyond = int(seen[len(columns) :].sum())
    if beyond:
        about.warn(
            tr(
                "{values} to no column of its template and were left out; the log may be damaged.",
                values=trn("{count:,} value belongs", "{count:,} values belong", beyond),
            )
        )
    others: Counter[int | None] = Counter()
    for column, count in zip(columns, seen, strict=False):
        if count and column.ddi not in ddis.USED and column.ddi not in ddis.UNWEIGHED_SETPOINTS:
            others[column.ddi] += int(count)
    if others:
        shown = [
            f"{'unnamed' if key is None else key} ({count:,})"
            for key, count in others.most_common()
        ]
        more = f" and {len(shown) - _SHOWN} more" if len(shown) > _SHOWN else ""
        about.note(
            tr(
                "values not used, by data dictionary number: {names}{more}.",
                names=", ".join(shown[:_SHOWN]),
                more=more,
            )
        )
