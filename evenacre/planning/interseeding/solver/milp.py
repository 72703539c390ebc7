"""A linear program with whole numbers, built block by block and solved by HiGHS."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from evenacre.model import FloatArray
from evenacre.planning.interseeding.solver.quiet_stdout import silence

_INFEASIBLE = 2  # scipy.optimize.milp: status


@dataclass(frozen=True)
class Solution:
    """What the solver found.

    Attributes
    ----------
    values : dict of str to array, or None
        Best values found, block by block; None: none were found in time.
    cost : float
        Infinite when there are no values.
    bound : float
        No solution costs less.
    optimal, infeasible : bool
        Proven to be the cheapest; proven not to exist.
    """

    values: dict[str, FloatArray] | None
    cost: float
    bound: float
    optimal: bool
    infeasible: bool


class Program:
    """Blocks of unknowns from zero up to a limit, and rows that bind them."""

    def __init__(self) -> None:
        self._blocks: dict[str, slice] = {}
        self._upper: list[FloatArray] = []
        self._whole: list[FloatArray] = []
        self._rows: list[tuple[dict[str, Any], FloatArray, FloatArray]] = []
        self._size = 0

    def block(self, name: str, upper: FloatArray, *, whole: bool = False) -> None:
        """Add unknowns between 0 and ``upper``, whole numbers if so asked."""
        self._blocks[name] = slice(self._size, self._size + len(upper))
        self._size += len(upper)
        self._upper.append(np.asarray(upper, dtype=np.float64))
        self._whole.append(np.full(len(upper), float(whole)))

    def rows(
        self,
        terms: Mapping[str, Any],
        *,
        low: float | FloatArray = -np.inf,
        high: float | FloatArray = np.inf,
    ) -> None:
        """Bind low <= sum of (matrix @ block) <= high; a vector stands for a single row."""
        matrices = {
            name: sparse.csr_array(np.atleast_2d(m) if isinstance(m, np.ndarray) else m)
            for name, m in terms.items()
        }
        (count,) = {matrix.shape[0] for matrix in matrices.values()}
        self._rows.append((matrices, np.broadcast_to(low, count), np.broadcast_to(high, count)))

    def narrowed(
        self,
        terms: Mapping[str, Any],
        *,
        low: float | FloatArray = -np.inf,
        high: float | FloatArray = np.inf,
    ) -> Program:
        """Return the program with more rows, and leave this one as it is."""
        other = Program()
        other._blocks, other._size = dict(self._blocks), self._size
        other._upper, other._whole = list(self._upper), list(self._whole)
        other._rows = list(self._rows)
        other.rows(terms, low=low, high=high)
        return other

    def upper(self, name: str) -> FloatArray:
        """Limits of a block."""
        return self._upper[list(self._blocks).index(name)]

    def solve(
        self,
        cost: Mapping[str, FloatArray],
        *,
        time_limit_s: float,
        gap: float = 1e-7,
        fixed: Mapping[str, FloatArray] | None = None,
        loose: frozenset[str] = frozenset(),
    ) -> Solution:
        """Find the cheapest values.

        Parameters
        ----------
        cost : dict of str to (size,) float
            Of the blocks that cost something.
        time_limit_s : float
        gap : float
            Relative; a solution so near to the bound counts as optimal.
        fixed : dict of str to (size,) float, optional
            Values that are decided; NaN where they are not.
        loose : frozenset of str
            Blocks that need not be whole numbers this time, where there are such.
        """
        fixed = fixed or {}
        lower = np.zeros(self._size)
        upper = np.concatenate(self._upper)
        whole = np.concatenate(self._whole)
        price = np.zeros(self._size)
        for name, values in fixed.items():
            block = self._blocks[name]
            lower[block] = np.where(np.isnan(values), 0.0, values)
            upper[block] = np.where(np.isnan(values), upper[block], values)
        for name in self._blocks.keys() & loose:
            whole[self._blocks[name]] = 0
        for name, values in cost.items():
            price[self._blocks[name]] = values
        grid = [[terms.get(name) for name in self._blocks] for terms, _, _ in self._rows]
        whole[lower == upper] = 0  # what is decided is no choice: it may leave a linear program
        with silence():
            found = milp(
                price,
                integrality=whole,
                bounds=Bounds(lower, upper),
                constraints=LinearConstraint(
                    self._matrix(grid),
                    np.concatenate([low for _, low, _ in self._rows]),
                    np.concatenate([high for _, _, high in self._rows]),
                ),
                options={"time_limit": max(time_limit_s, 0.01), "mip_rel_gap": gap},
            )
        best: dict[str, FloatArray] | None = None
        if found.x is not None:
            best = {name: found.x[block] for name, block in self._blocks.items()}
        bound = found.mip_dual_bound
        if bound is None:
            bound = found.fun if found.status == 0 and best is not None else -np.inf
        return Solution(
            values=best,
            cost=np.inf if best is None else float(price @ found.x),
            bound=float(bound),
            optimal=found.status == 0 and best is not None,
            infeasible=found.status == _INFEASIBLE,
        )

    def _matrix(self, grid: list[list[Any]]) -> Any:
        """One matrix of all rows; blocks that a row does not name are empty."""
        sizes = [block.stop - block.start for block in self._blocks.values()]
        full = [
            [
                sparse.csr_array((low.shape[0], size)) if part is None else part
                for part, size in zip(parts, sizes, strict=True)
            ]
            for parts, (_, low, _) in zip(grid, self._rows, strict=True)
        ]
        return sparse.block_array(full, format="csc")
