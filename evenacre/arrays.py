"""Kinds of arrays, and how often each item of one is taken."""

from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.signedinteger[Any]]


def expand(counts: IntArray) -> tuple[IntArray, IntArray]:
    """Item i ``counts[i]`` times, and a running number from 0 within each."""
    item = np.repeat(np.arange(len(counts)), counts)
    return item, np.arange(len(item)) - np.repeat(np.cumsum(counts) - counts, counts)
