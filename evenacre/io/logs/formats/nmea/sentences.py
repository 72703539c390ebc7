"""Sentences of NMEA 0183 (IEC 61162-1) found among the bytes of a receiver's log.

A sentence is ``$``, two letters for the talker, three for the kind, fields behind commas, and
``*`` with the exclusive or of all characters between ``$`` and ``*`` in two hexadecimal digits.
Nothing here loops over sentences: bytes are searched as arrays, and the fields are split by
pyarrow's reader of text tables.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from evenacre.io.common.arrow_arrays import coded, floats
from evenacre.model import FloatArray, IntArray

Bytes = npt.NDArray[np.uint8]

# Least and most fields behind the name, over all versions of the standard, and those used.
_FIELDS = {
    "GGA": (9, 14),
    "GNS": (9, 13),
    "RMC": (9, 13),
    "VTG": (8, 9),
    "ZDA": (4, 6),
    "GST": (8, 8),
}
_USED = {
    "GGA": (1, 2, 3, 4, 5, 6, 8),
    "GNS": (1, 2, 3, 4, 5, 6, 8),
    "RMC": (1, 2, 3, 4, 5, 6, 7, 8, 9, 12),
    "VTG": (1, 5, 7),
    "ZDA": (1, 2, 3, 4),
    "GST": (1, 6, 7),
}
_BLOCK, _ROWS = 1 << 25, 1 << 18  # bytes and sentences worked on at once
# The standard allows 82 characters; receivers that write more decimals exceed it.
_LONGEST = 200
# Files in which fewer sentences than this carry a checksum are taken to be without.
_WITH_CHECKSUM = 0.01
_UNWRITTEN = -1
_NONE = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True)
class Sentences:
    """All whole sentences of one kind, in file order."""

    place: IntArray  # (n,) byte of the file each begins at
    talker: IntArray  # (n,) its two letters as one number
    # Those that are used, counted from 1 behind the name; null where empty
    fields: dict[int, pa.Array]

    def __len__(self) -> int:
        return len(self.place)

    def numbers(self, number: int) -> FloatArray:
        """Return one field as numbers; NaN where it is empty or none."""
        cells = self.fields[number]
        try:
            values = pc.cast(cells, pa.float64())
        except pa.ArrowInvalid:
            good = pc.match_substring_regex(cells, r"^[+-]?(\d+\.?\d*|\.\d+)$")
            plain = pc.if_else(pc.fill_null(good, False), cells, pa.scalar(None, pa.string()))
            values = pc.cast(pc.utf8_ltrim(plain, "+"), pa.float64())
        out = floats(values)
        out[np.isinf(out)] = np.nan
        return out

    def letters(self, number: int) -> npt.NDArray[np.str_]:
        """Return one field as upper-case text; empty where there is none."""
        codes, words = coded(pc.utf8_upper(self.fields[number]))
        return np.array([*words, ""], dtype=np.str_)[codes]


@dataclass
class Scan:
    """What a file holds."""

    # ``GGA``, ``GNS``, ``RMC``, ``VTG``, ``ZDA`` and ``GST``; any may be empty
    kinds: dict[str, Sentences] = field(default_factory=dict)
    damaged: int = 0  # sentences of these kinds that are cut, garbled or contradict their checksum
    # Whole ones that carry no checksum. They are kept only where hardly any carries one.
    unchecked: int = 0


def scan_sentences(content: bytes) -> Scan:
    """Find the whole sentences of a log that may hold anything else between them."""
    # Where sentences lie, from ``$`` to before ``*``, and the two checksums.
    nothing = dict.fromkeys(("start", "stop", "commas", "stated", "worked_out"), _NONE)
    found = {kind: [pd.DataFrame(nothing)] for kind in _FIELDS}
    for offset, block in _blocks(content):
        for kind, sentences in _search(block, offset):
            found[kind].append(sentences)
    joined = {kind: pd.concat(parts, ignore_index=True) for kind, parts in found.items()}
    checked = sum(int((f["stated"] >= 0).sum()) for f in joined.values())
    unchecked = sum(int((f["stated"] == _UNWRITTEN).sum()) for f in joined.values())
    none_checked = checked <= _WITH_CHECKSUM * unchecked
    scan = Scan(unchecked=unchecked if none_checked else 0)
    bytes_ = np.frombuffer(content, dtype=np.uint8)
    for kind, sentences in joined.items():
        whole = sentences["stated"] == sentences["worked_out"]
        if none_checked:
            whole |= sentences["stated"] == _UNWRITTEN
        whole &= sentences["commas"].between(*_FIELDS[kind])
        scan.damaged += int((~whole).sum())
        scan.kinds[kind] = _split(bytes_, sentences[whole], _USED[kind])
    return scan


def _blocks(content: bytes) -> Iterator[tuple[int, Bytes]]:
    """Parts of a file that begin with a sentence, so that none is cut in two."""
    start = max(content.find(b"$"), 0)
    while start < len(content):
        stop = len(content)
        if start + _BLOCK < stop:
            cut = content.rfind(b"$", start + 1, start + _BLOCK)
            stop = cut if cut > 0 else start + _BLOCK
        yield start, np.frombuffer(content, dtype=np.uint8, count=stop - start, offset=start)
        start = stop


def _search(block: Bytes, offset: int) -> Iterator[tuple[str, pd.DataFrame]]:
    start = np.flatnonzero(block == ord("$"))
    start = start[start + 6 < len(block)]
    head = np.stack([block[start + i] for i in range(1, 7)])
    lettered = ((head[:2] >= ord("A")) & (head[:2] <= ord("Z"))).all(axis=0)
    lettered &= head[5] == ord(",")
    name = (head[2].astype(np.int64) << 16) | (head[3].astype(np.int64) << 8) | head[4]
    ends = np.flatnonzero((block < 32) | (block > 126) | (block == ord("$")))
    stars = np.flatnonzero(block == ord("*"))
    commas = np.flatnonzero(block == ord(","))
    parity = np.bitwise_xor.accumulate(block)
    for kind in _FIELDS:
        own = start[lettered & (name == int.from_bytes(kind.encode(), "big"))]
        end = _next(ends, own + 1, len(block))
        star = _next(stars, own, len(block))
        stop = np.minimum(star, end)
        count = np.searchsorted(commas, stop) - np.searchsorted(commas, own)
        starred = star < end
        stated = np.where(starred, _hexadecimal(block, star), _UNWRITTEN)
        stated = np.where(stop - own > _LONGEST, -2, stated)
        # A line cut off by the end of the file or by other bytes is not one without a checksum.
        ended = end < len(block)
        follows = block[np.minimum(end, len(block) - 1)]
        broken = ~starred & ~(ended & np.isin(follows, (10, 13)))
        stated = np.where(broken, -2, stated)
        worked_out = (parity[stop - 1] ^ parity[own]).astype(np.int64)
        places = {"start": own + offset, "stop": stop + offset, "commas": count}
        yield kind, pd.DataFrame(places | {"stated": stated, "worked_out": worked_out})


def _next(places: IntArray, after: IntArray, otherwise: int) -> IntArray:
    """The first of sorted places at or after each of some bytes."""
    return np.append(places, otherwise)[np.searchsorted(places, after)]


_DIGITS = np.full(256, -1000, dtype=np.int64)
_DIGITS[list(b"0123456789ABCDEF")] = _DIGITS[list(b"0123456789abcdef")] = np.arange(16)


def _hexadecimal(block: Bytes, star: IntArray) -> IntArray:
    """The number written in two digits behind each star; below -1 where there is none."""
    last = len(block) - 1
    high = _DIGITS[block[np.minimum(star + 1, last)]]
    low = _DIGITS[block[np.minimum(star + 2, last)]]
    return np.where((star + 2 <= last), high * 16 + low, -2).clip(min=-2)


def _split(content: Bytes, found: pd.DataFrame, used: tuple[int, ...]) -> Sentences:
    """Split sentences at their commas; those of one version of the standard together."""
    start, stop, commas = (found[name].to_numpy() for name in ("start", "stop", "commas"))
    rows_of, pieces = [_NONE], [dict.fromkeys(used, pa.nulls(0, pa.string()))]
    for count in np.unique(commas):
        own = np.flatnonzero(commas == count)
        for first in range(0, len(own), _ROWS):
            rows = own[first : first + _ROWS]
            rows_of.append(rows)
            pieces.append(_columns(content, start[rows], stop[rows], int(count), used))
    order = pa.array(np.argsort(np.concatenate(rows_of)))
    joined = {i: pa.concat_arrays([columns[i] for columns in pieces]).take(order) for i in used}
    talker = content[start + 1].astype(np.int64) * 256 + content[start + 2]
    return Sentences(start, talker, joined)


def _columns(
    content: Bytes, start: IntArray, stop: IntArray, commas: int, used: tuple[int, ...]
) -> dict[int, pa.Array]:
    """Fields of sentences that have as many commas, null where empty or not in this version."""
    origin = start[0]
    span = content[origin : stop[-1] + 1]
    turns = np.zeros(len(span) + 1, dtype=np.int8)
    turns[start - origin] += 1
    turns[stop + 1 - origin] -= 1
    lines = span[np.cumsum(turns[:-1], dtype=np.int8).view(bool)]
    lines[np.cumsum(stop - start + 1) - 1] = ord("\n")  # in the place of the star
    names = [str(i) for i in range(commas + 1)]
    present = [i for i in used if i <= commas]
    table = pacsv.read_csv(
        io.BytesIO(lines),
        read_options=pacsv.ReadOptions(column_names=names, block_size=1 << 24),
        parse_options=pacsv.ParseOptions(quote_char=False, escape_char=False),
        convert_options=pacsv.ConvertOptions(
            include_columns=[str(i) for i in present],
            column_types=dict.fromkeys(names, pa.string()),
            null_values=[""],
            strings_can_be_null=True,
        ),
    )
    columns = {i: pa.concat_arrays(table.column(str(i)).chunks) for i in present}
    missing = pa.nulls(len(start), pa.string())
    return {i: columns.get(i, missing) for i in used}
