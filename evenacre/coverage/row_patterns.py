"""Which rows are on, moment by moment: a few patterns come again and again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenacre.arrays import BoolArray, IntArray


@dataclass(frozen=True, eq=False)
class RowPatterns:
    """States of the rows at n moments, each by the number of its pattern.

    Attributes
    ----------
    number : (n,) int
    pattern : (k, rows) bool or int
        All different.
    """

    number: npt.NDArray[np.int32]
    pattern: np.ndarray

    @classmethod
    def of(cls, states: np.ndarray) -> RowPatterns:
        """Number the patterns of states, (n, rows)."""
        changes = (states[1:] != states[:-1]).any(axis=1)
        first = np.flatnonzero(np.append(True, changes)[: len(states)])
        length = np.diff(np.append(first, len(states)))
        return cls.numbered(np.repeat(np.arange(len(first)), length), states[first])

    @classmethod
    def numbered(cls, number: npt.NDArray[np.integer], pattern: np.ndarray) -> RowPatterns:
        """Patterns of which some may be the same."""
        found, same = np.unique(pattern, axis=0, return_inverse=True)
        return cls(same.reshape(-1).astype(np.int32)[number], found)

    @classmethod
    def joined(cls, parts: Sequence[RowPatterns]) -> RowPatterns:
        """The moments of all parts, one after the other."""
        before = np.cumsum([0, *(len(part.pattern) for part in parts)])
        numbers = [part.number + n for part, n in zip(parts, before, strict=False)]
        return cls.numbered(
            np.concatenate(numbers), np.concatenate([part.pattern for part in parts])
        )

    def at(self, chosen: IntArray | BoolArray | slice) -> RowPatterns:
        """Those of some moments."""
        return RowPatterns(self.number[chosen], self.pattern)

    def where(self, mask: BoolArray) -> RowPatterns:
        """The same where the mask, (n,), says so, all rows off elsewhere."""
        off = np.zeros_like(self.pattern, shape=(1, self.rows))
        number = np.where(mask, self.number + 1, 0)
        return RowPatterns.numbered(number, np.concatenate([off, self.pattern]))

    @property
    def rows(self) -> int:
        """How many rows there are."""
        return int(self.pattern.shape[1])

    @property
    def states(self) -> np.ndarray:
        """The state of every row at every moment, (n, rows)."""
        return np.asarray(self.pattern[self.number])

    @property
    def changes(self) -> BoolArray:
        """Whether the next moment has another pattern, (n - 1,)."""
        return np.asarray(self.number[1:] != self.number[:-1])

    @property
    def any(self) -> BoolArray:
        """Whether any row is on, (n,)."""
        return np.asarray(self.pattern.any(axis=1))[self.number]

    @property
    def count(self) -> IntArray:
        """How many rows are on, (n,)."""
        return np.asarray(np.count_nonzero(self.pattern, axis=1))[self.number]
