"""A linear program with whole numbers, written block by block and solved by HiGHS."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import highspy
import numpy as np
from scipy import sparse

from evenacre.model import FloatArray

_BY_ROW, _CHEAPEST = int(highspy.MatrixFormat.kRowwise), int(highspy.ObjSense.kMinimize)
_FEASIBLE = int(highspy.SolutionStatus.kSolutionStatusFeasible)
_IMPOSSIBLE = {
    highspy.HighsModelStatus.kInfeasible,
    highspy.HighsModelStatus.kUnboundedOrInfeasible,  # every unknown here is bounded
}


class _Silent(highspy.Highs):
    """A solver that prints nothing, not even the header that some versions begin with."""

    def enableCallbacks(self) -> None:  # noqa: N802
        """Called first of all; no callbacks are needed here."""
        self.silent()


@dataclass(frozen=True)
class Solution:
    """What the solver found."""

    # Best values found, block by block; None: none were found in time
    values: dict[str, FloatArray] | None
    cost: float  # infinite when there are no values
    bound: float  # no solution costs less
    # Proven to be the cheapest; proven not to exist
    optimal: bool
    infeasible: bool


@dataclass(frozen=True)
class Program:
    """Blocks of unknowns from zero up to a limit, and rows that bind them."""

    upper: dict[str, FloatArray] = field(default_factory=dict)
    whole: set[str] = field(default_factory=set)
    rows: list[tuple[dict[str, Any], FloatArray, FloatArray]] = field(default_factory=list)

    def add(self, name: str, upper: FloatArray, *, whole: bool = False) -> None:
        """Add a block of unknowns between 0 and ``upper``, whole numbers if so asked."""
        self.upper[name] = np.asarray(upper, dtype=np.float64)
        if whole:
            self.whole.add(name)

    def bind(
        self,
        terms: Mapping[str, Any],
        *,
        low: float | FloatArray = -np.inf,
        high: float | FloatArray = np.inf,
    ) -> None:
        """Bind low <= sum of (matrix @ block) <= high; a vector stands for a single row."""
        rows = {
            name: sparse.csr_array(np.atleast_2d(m) if isinstance(m, np.ndarray) else m)
            for name, m in terms.items()
        }
        (count,) = {matrix.shape[0] for matrix in rows.values()}
        self.rows.append((rows, np.broadcast_to(low, count), np.broadcast_to(high, count)))

    def narrowed(self, terms: Mapping[str, Any], **limits: float) -> Program:
        """Return the program with more rows, and leave this one as it is."""
        other = replace(self, rows=list(self.rows))
        other.bind(terms, **limits)
        return other

    def solve(
        self,
        cost: Mapping[str, FloatArray],
        *,
        time_limit_s: float,
        gap: float = 1e-7,
        fixed: Mapping[str, FloatArray] | None = None,
        loose: frozenset[str] = frozenset(),
        start: Mapping[str, FloatArray] | None = None,
    ) -> Solution:
        """Find the cheapest values; all are (size,), by blocks.

        A solution within the relative ``gap`` of the bound counts as optimal. ``fixed`` values
        are decided, NaN where they are not; ``loose`` blocks need not be whole numbers this time;
        ``start`` is a solution that is known, to be bettered.
        """
        ends = np.cumsum([len(upper) for upper in self.upper.values()])
        at = {
            name: slice(end - len(upper), end)
            for end, (name, upper) in zip(ends, self.upper.items(), strict=True)
        }
        size = int(ends[-1])
        price, lower, upper = np.zeros(size), np.zeros(size), np.concatenate([*self.upper.values()])
        whole = np.zeros(size, dtype=np.int32)
        for name in self.whole - loose:
            whole[at[name]] = 1
        for name, values in cost.items():
            price[at[name]] = values
        for name, values in (fixed or {}).items():
            decided = ~np.isnan(values)
            lower[at[name]][decided] = upper[at[name]][decided] = values[decided]
        whole[lower == upper] = 0  # what is decided is no choice: it may leave a linear program
        matrix = sparse.vstack([_wide(terms, at, size) for terms, _, _ in self.rows], format="csr")
        highs = _Silent()  # type: ignore[no-untyped-call]
        highs.setOptionValue("time_limit", max(time_limit_s, 0.01))
        highs.setOptionValue("mip_rel_gap", gap)
        highs.passModel(
            size, matrix.shape[0], matrix.nnz, _BY_ROW, _CHEAPEST, 0.0, price, lower, upper,
            np.concatenate([low for _, low, _ in self.rows]),
            np.concatenate([high for _, _, high in self.rows]),
            matrix.indptr, matrix.indices, matrix.data, whole,
        )  # fmt: skip
        if start:
            place = np.concatenate([np.arange(at[n].start, at[n].stop) for n in start])
            highs.setSolution(len(place), place.astype(np.int32), np.concatenate([*start.values()]))
        highs.run()
        status, info = highs.getModelStatus(), highs.getInfo()
        x = np.array(highs.getSolution().col_value)
        found = info.primal_solution_status == _FEASIBLE
        optimal = found and status == highspy.HighsModelStatus.kOptimal
        cheapest = float(price @ x) if found else np.inf
        return Solution(
            values={name: x[block] for name, block in at.items()} if found else None,
            cost=cheapest,
            bound=info.mip_dual_bound if whole.any() else cheapest if optimal else -np.inf,
            optimal=optimal,
            infeasible=status in _IMPOSSIBLE,
        )


def _wide(terms: Mapping[str, Any], at: Mapping[str, slice], size: int) -> Any:
    """The matrices of some blocks side by side, in rows as wide as the program."""
    return sum(
        sparse.csr_array(
            (matrix.data, matrix.indices + at[name].start, matrix.indptr),
            shape=(matrix.shape[0], size),
        )
        for name, matrix in terms.items()
    )
