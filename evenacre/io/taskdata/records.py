"""Binary records of a time log: found, and taken apart.

A record is a head of fixed length, a count, and so many pairs of an index and a value, so
where one ends is known only from its count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from evenacre.model import FloatArray, IntArray

PAIR = np.dtype([("index", "u1"), ("value", "<i4")])
_BLOCK = 1 << 14
_DOUBLINGS = 3
_BATCH_PAIRS = 1 << 20

Bytes = npt.NDArray[np.uint8]


def record_starts(data: Bytes, head: int) -> tuple[IntArray, int]:
    """Find where each whole record begins.

    Within a block the length of a record is worked out at every byte, as if one began there;
    leaps over eight records at a time come of doubling these steps thrice. The chain from the
    first record is then followed in leaps, and the records in between are filled in for all
    leaps at once. This is exact whatever the bytes are, and its cost is linear in them.

    Parameters
    ----------
    data : (b,) uint8
        The whole file.
    head : int
        Bytes before the count of a record.

    Returns
    -------
    starts : (n,) int
        Offsets of whole records.
    rest : int
        Bytes at the end that are no whole record.
    """
    found: list[IntArray] = []
    at, room = 0, len(data) - head
    here = np.arange(_BLOCK + 1)
    while at < room:
        size = min(_BLOCK, room - at)
        counts = data[at + head : at + head + size].astype(np.int64)
        step = np.append(np.minimum(here[:size] + (head + 1 + PAIR.itemsize * counts), size), size)
        leap = step
        for _ in range(_DOUBLINGS):
            leap = leap[leap]
        chain = [0]
        while (next_at := leap.item(chain[-1])) < size:
            chain.append(next_at)
        ranks = [np.array(chain)]
        for _ in range(2**_DOUBLINGS - 1):
            ranks.append(step[ranks[-1]])
        starts = np.stack(ranks, axis=1).ravel()
        starts = starts[starts < size]
        found.append(starts + at)
        last = int(starts[-1])
        at += last + head + 1 + PAIR.itemsize * int(counts[last])
    if not found:
        return np.zeros(0, dtype=np.int64), len(data)
    starts = np.concatenate(found)
    if at <= len(data):
        return starts, len(data) - at
    return starts[:-1], len(data) - int(starts[-1])


def read_heads(data: Bytes, starts: IntArray, head: np.dtype[np.void]) -> npt.NDArray[np.void]:
    """Gather the heads of records, (n,) of the given type."""
    if not (head.itemsize and len(starts)):
        return np.zeros(len(starts), dtype=head)
    return sliding_window_view(data, head.itemsize)[starts].view(head).reshape(-1)


@dataclass(frozen=True)
class Logged:
    """The values logged in one column, where there are any.

    Attributes
    ----------
    record : (k,) int32
        Ascending.
    value : (k,) int32
        The last one where a record names a column twice.
    """

    record: npt.NDArray[np.int32]
    value: npt.NDArray[np.int32]


def read_values(
    data: Bytes, starts: IntArray, head: int, wanted: set[int]
) -> tuple[dict[int, Logged], IntArray]:
    """Gather the values of some columns.

    Parameters
    ----------
    data, starts, head
        As in `record_starts`.
    wanted : set of int
        Indices of columns.

    Returns
    -------
    dict of int to Logged
    counts : (256,) int
        Values seen by index, wanted or not.
    """
    counts = data[starts + head].astype(np.int64)
    ends = np.cumsum(counts)
    pieces: dict[int, list[Logged]] = {index: [] for index in wanted}
    seen = np.zeros(256, dtype=np.int64)
    first = 0
    while first < len(starts):
        done = int(ends[first - 1]) if first else 0
        last = max(first + 1, int(np.searchsorted(ends, done + _BATCH_PAIRS, side="right")))
        some = counts[first:last]
        record = np.repeat(np.arange(first, last, dtype=np.int64), some)
        pair = np.arange(len(record)) - np.repeat(ends[first:last] - some - done, some)
        offset = starts[record] + (head + 1) + PAIR.itemsize * pair
        index = data[offset]
        seen += np.bincount(index, minlength=256)
        order = np.argsort(index, kind="stable")
        bounds = np.searchsorted(index[order], np.arange(257))
        for column in wanted:
            mine = order[bounds[column] : bounds[column + 1]]
            if len(mine):
                pieces[column].append(_gather(data, record[mine], offset[mine]))
        first = last
    logged = {
        column: Logged(
            np.concatenate([p.record for p in parts]), np.concatenate([p.value for p in parts])
        )
        for column, parts in pieces.items()
        if parts
    }
    return logged, seen


def _gather(data: Bytes, record: IntArray, offset: IntArray) -> Logged:
    last = np.append(record[1:] != record[:-1], True)
    record, offset = record[last], offset[last]
    pairs = sliding_window_view(data, PAIR.itemsize)[offset].view(PAIR).reshape(-1)
    return Logged(record.astype(np.int32), pairs["value"].astype(np.int32))


def held(logged: Logged | None, records: int, before: float = np.nan) -> FloatArray:
    """Spread logged values over all records: each holds until the next one.

    Parameters
    ----------
    before : float
        Until the first value.
    """
    out = np.full(records, before)
    if logged is not None and len(logged.record):
        first = int(logged.record[0])
        spans = np.diff(np.append(logged.record, records))
        out[first:] = np.repeat(logged.value, spans)
    return out
