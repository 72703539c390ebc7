"""Which points of lines have to be kept, where the rest lie on straight stretches."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import shapely

from evenacre.arrays import BoolArray, FloatArray, IntArray
from evenacre.geo.overlay import simplified

# So many points are thinned at a time, for memory.
_BLOCK = 1 << 16


def bends(sides: Sequence[FloatArray], chain: IntArray, straight_m: float) -> BoolArray:
    """Tell the points that chains running side by side have to keep.

    A chain without the others is within ``straight_m`` of itself with them (Douglas and Peucker
    1973) where each side is thinned alone; since all keep what one has to, within twice that.

    Parameters
    ----------
    sides : sequence of (n, 2) float
        Points of each side, by chain and along it.
    chain : (n,) int
        The chain each point is of, two points or more.
    """
    first = np.diff(chain, prepend=-1) != 0
    kept = first | (np.diff(chain, append=chain[-1:] + 1) != 0)
    starts = np.flatnonzero(first)
    # Some chains at a time: as lines they take far more than their points.
    at = np.searchsorted(starts, np.arange(0, len(chain), _BLOCK), side="right") - 1
    blocks = np.unique([*starts[at], len(chain)])
    for start, end in itertools.pairwise(blocks):
        index, own = np.arange(start, end, dtype=float), chain[start:end] - chain[start]
        for points in sides:
            lines = shapely.linestrings(np.column_stack([points[start:end], index]), indices=own)
            thinned = simplified(lines, straight_m, sound=False)
            kept[shapely.get_coordinates(thinned, include_z=True)[:, 2].astype(np.int64)] = True
    return kept
