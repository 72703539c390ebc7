"""A schedule in the making: shares and fills, what they are worth, and whether they fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.model import FloatArray, IntArray
from evenacre.planning.interseeding.fills import fills_through
from evenacre.planning.interseeding.plan_types import ScheduleProblem
from evenacre.planning.interseeding.solver.program import Program, Solution
from evenacre.planning.interseeding.solver.slots import Slots

VALUE_TOLERANCE = 1e-7
"""Relative; values so near to each other are the same."""
_TIME_TOLERANCE_S = 1e-3  # the solver keeps its rows, in hours, to about this
_LEAST_SHARE = 1e-7


@dataclass(frozen=True, eq=False)
class Candidate:
    """Shares (m, n) and fills (n,) of a schedule, with the rate they were made for."""

    problem: ScheduleProblem
    share: FloatArray
    fills: IntArray
    rate_kg_per_m2: float

    @classmethod
    def of(cls, problem: ScheduleProblem, share: FloatArray, rate_kg_per_m2: float) -> Candidate:
        """Fill the cart when it is empty and more is to be sown."""
        fills = np.zeros(share.shape[1], dtype=np.int64)
        if problem.load_kg is not None:
            sown_kg = np.cumsum(problem.seed_kg(rate_kg_per_m2) @ share)
            fills = np.diff(fills_through(sown_kg, problem.load_kg), prepend=0)
        return cls(problem, share, fills, rate_kg_per_m2)

    @property
    def area_m2(self) -> float:
        """Ground that is seeded."""
        return float(self.problem.area_m2 @ self.share.sum(axis=1))

    @property
    def value(self) -> float:
        """Value of the seeded ground."""
        worth = self.problem.value_per_m2 * self.problem.area_m2
        return float(worth @ self.share.sum(axis=1))

    @property
    def visits(self) -> int:
        """Number of visits."""
        return int((self.share > 0).sum())

    @property
    def fits(self) -> bool:
        """Whether the days have time for it, and the seed lasts."""
        p = self.problem
        used = self.area_m2 * self.rate_kg_per_m2
        if p.on_hand_kg is not None and used > p.on_hand_kg * (1 + 1e-9):
            return False
        spent = p.work_s @ self.share + p.setup_s * (self.share > 0).sum(axis=0)
        spent += p.refill_s * self.fills
        return bool((spent <= p.capacity_s + _TIME_TOLERANCE_S).all())

    def better_than(self, other: Candidate) -> bool:
        """Whether it is worth more, or as much with fewer or earlier visits."""
        worth, others = self.value, other.value
        if abs(worth - others) > VALUE_TOLERANCE * max(worth, others):
            return worth > others
        late = lateness(self.problem)
        return (self.visits, float((self.share * late).sum())) < (
            other.visits,
            float((other.share * late).sum()),
        )

    def start(self, slots: Slots) -> dict[str, FloatArray]:
        """Where a program of the slots begins from it."""
        share = self.share[slots.paddock, slots.day]
        known = {"share": share, "visit": (share > 0).astype(np.float64)}
        if self.problem.counts_fills:
            known["fills"] = self.fills[slots.days].astype(np.float64)
        return known


def lateness(problem: ScheduleProblem) -> FloatArray:
    """What each share adds to the mean day of the ground, as a part of all days, shape (m, n)."""
    n = problem.shape[1]
    weight = problem.area_m2 / max(float(problem.area_m2.sum()), 1e-300)
    return weight[:, None] * (np.arange(n) / max(n, 1))


def settled(slots: Slots, program: Program, solution: Solution, rate: float) -> Candidate | None:
    """Turn a solution into a candidate: visits and fills rounded, shares worked out once more.

    Given the visits and the fills, the shares are a linear program: first the most value, then
    the earliest days at that value.
    """
    if solution.values is None:
        return None
    fixed = {name: np.round(solution.values[name]) for name in program.whole}
    first = program.solve({"share": -slots.worth}, time_limit_s=5.0, fixed=fixed)
    if first.values is None:
        return None
    late = lateness(slots.problem)[slots.paddock, slots.day]
    as_good = program.narrowed({"share": slots.worth}, low=-first.cost * (1 - 1e-9))
    early = as_good.solve({"share": late}, time_limit_s=5.0, fixed=fixed)
    values = (early.values or first.values)["share"]
    share = slots.spread(np.where(values > _LEAST_SHARE, values, 0.0))
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1.0)
    needed = Candidate.of(slots.problem, share, rate)
    if "fills" not in fixed or needed.fits:
        return needed
    # The solver fills an empty cart on an earlier day, where the next has no time for it.
    fills = np.zeros(share.shape[1], dtype=np.int64)
    fills[slots.days] = fixed["fills"].astype(np.int64)
    total = int(needed.fills.sum())
    fills = np.diff(np.minimum(np.cumsum(fills), total), prepend=0)
    return Candidate(slots.problem, share, fills, rate)
