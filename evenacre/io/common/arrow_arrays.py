"""Arrow columns as NumPy arrays, and their names."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from evenacre.model import BoolArray, FloatArray, IntArray


def floats(cells: pa.Array | pa.ChunkedArray) -> FloatArray:
    """Numbers as a writable array with NaN for null."""
    if isinstance(cells, pa.ChunkedArray):
        cells = pa.chunked_array(cells.chunks, cells.type).combine_chunks()
    if isinstance(cells, pa.ChunkedArray):  # a table of no rows
        return np.zeros(0)
    return np.array(pc.fill_null(cells, np.nan).to_numpy(zero_copy_only=False), dtype=float)


def bools(cells: pa.Array) -> BoolArray:
    """Truth values with False for null."""
    return np.asarray(pc.fill_null(cells, False).to_numpy(zero_copy_only=False), dtype=bool)


def coded(cells: pa.Array) -> tuple[IntArray, list[str]]:
    """Which of the distinct texts each cell holds (null: -1, the last), and these texts."""
    encoded = pc.dictionary_encode(cells)
    codes = pc.fill_null(encoded.indices, -1).to_numpy(zero_copy_only=False)
    return np.asarray(codes, dtype=np.int64), encoded.dictionary.to_pylist()


def told_apart(names: Iterable[str]) -> list[str]:
    """Number names that come again: ``rate``, ``rate (2)``."""
    apart: list[str] = []
    for name in names:
        fresh, repeat = name, 2
        while fresh in apart:
            fresh = f"{name} ({repeat})"
            repeat += 1
        apart.append(fresh)
    return apart
