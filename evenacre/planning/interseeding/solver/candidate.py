"""A schedule in the making: shares and fills, what they are worth, and whether they fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.model import FloatArray, IntArray
from evenacre.planning.interseeding.plan_types import ScheduleProblem
from evenacre.planning.interseeding.solver.cart_fills import fills_through
from evenacre.planning.interseeding.solver.milp import Program, Solution
from evenacre.planning.interseeding.solver.slots import Slots, filled, seed_kg

VALUE_TOLERANCE = 1e-7
"""Relative; values so near to each other are the same."""
_TIME_TOLERANCE_S = 1e-3  # the solver keeps its rows, in hours, to about this
_LEAST_SHARE = 1e-7


@dataclass(frozen=True)
class Draft:
    """Shares (m, n) and fills (n,) of a schedule, with the rate they were made for."""

    share: FloatArray
    fills: IntArray
    rate_kg_per_m2: float

    def value(self, problem: ScheduleProblem) -> float:
        """Value of the seeded ground."""
        return float(problem.value_per_m2 * problem.area_m2 @ self.share.sum(axis=1))

    def area_m2(self, problem: ScheduleProblem) -> float:
        """Ground that is seeded."""
        return float(problem.area_m2 @ self.share.sum(axis=1))

    @property
    def visits(self) -> int:
        """Number of visits."""
        return int((self.share > 0).sum())

    def lateness(self, problem: ScheduleProblem) -> float:
        """Mean day of the seeded ground, as a part of all days and of all ground: 0 to 1."""
        return float((self.share * lateness_cost(problem)).sum())


def lateness_cost(problem: ScheduleProblem) -> FloatArray:
    """What each share adds to the lateness, shape (m, n)."""
    n = len(problem.capacity_s)
    weight = problem.area_m2 / max(float(problem.area_m2.sum()), 1e-300)
    return weight[:, None] * (np.arange(n) / max(n, 1))


def better(a: Draft, b: Draft, problem: ScheduleProblem) -> bool:
    """Whether ``a`` is worth more than ``b``, or as much with fewer or earlier visits."""
    worth_a, worth_b = a.value(problem), b.value(problem)
    if abs(worth_a - worth_b) > VALUE_TOLERANCE * max(worth_a, worth_b):
        return worth_a > worth_b
    return (a.visits, a.lateness(problem)) < (b.visits, b.lateness(problem))


def time_s(problem: ScheduleProblem, share: FloatArray, fills: IntArray) -> FloatArray:
    """Time that a schedule takes of each day, shape (n,)."""
    return (
        problem.work_s @ share
        + problem.setup_s * (share > 0).sum(axis=0)
        + problem.refill_s * fills
    )


def fills_needed(problem: ScheduleProblem, share: FloatArray, rate: float) -> IntArray:
    """Fills of each day, made when the cart is empty and more is to be sown, shape (n,)."""
    if problem.load_kg is None:
        return np.zeros(share.shape[1], dtype=np.int64)
    through = fills_through(np.cumsum(seed_kg(problem, rate) @ share), problem.load_kg)
    return np.diff(through, prepend=0)


def fits(problem: ScheduleProblem, draft: Draft) -> bool:
    """Whether the days have time for a draft, and the seed lasts."""
    used = draft.area_m2(problem) * draft.rate_kg_per_m2
    if problem.on_hand_kg is not None and used > problem.on_hand_kg * (1 + 1e-9):
        return False
    spent = time_s(problem, draft.share, draft.fills)
    return bool((spent <= problem.capacity_s + _TIME_TOLERANCE_S).all())


def draft_of(problem: ScheduleProblem, share: FloatArray, rate: float) -> Draft:
    """A draft that fills the cart when it is empty."""
    return Draft(share, fills_needed(problem, share, rate), rate)


def settled(
    problem: ScheduleProblem,
    slots: Slots,
    program: Program,
    solution: Solution,
    rate_kg_per_m2: float,
) -> Draft | None:
    """Turn a solution into a draft: visits and fills rounded, shares worked out once more.

    Given the visits and the fills, the shares are a linear program: first the most value, then
    the earliest days at that value.
    """
    if solution.values is None:
        return None
    fixed = {"visit": np.round(solution.values["visit"])}
    if filled(problem):
        fixed["fills"] = np.round(solution.values["fills"])
    worth = share_worth(problem, slots)
    first = program.solve({"share": -worth}, time_limit_s=5.0, fixed=fixed)
    if first.values is None:
        return None
    share = first.values["share"]
    program_early = program.narrowed({"share": worth}, low=-first.cost * (1 - 1e-9))
    early = program_early.solve(
        {"share": lateness_cost(problem)[slots.paddock, slots.day]}, time_limit_s=5.0, fixed=fixed
    )
    if early.values is not None:
        share = early.values["share"]
    return _drafted(problem, slots, share, fixed.get("fills"), rate_kg_per_m2)


def share_worth(problem: ScheduleProblem, slots: Slots) -> FloatArray:
    """What each slot's share adds to the value, as a part of all there is, shape (k,)."""
    value = problem.value_per_m2 * problem.area_m2
    return (value / max(total_value(problem), 1e-300))[slots.paddock]


def total_value(problem: ScheduleProblem) -> float:
    """Value of all ground seeded whole."""
    return float(problem.value_per_m2 @ problem.area_m2)


def _drafted(
    problem: ScheduleProblem,
    slots: Slots,
    values: FloatArray,
    fills: FloatArray | None,
    rate: float,
) -> Draft:
    share = slots.spread(np.where(values > _LEAST_SHARE, values, 0.0))
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1.0)
    needed = draft_of(problem, share, rate)
    if fills is None or fits(problem, needed):
        return needed
    # The solver fills an empty cart on an earlier day, where the next has no time for it.
    table = np.zeros(share.shape[1], dtype=np.int64)
    table[slots.days] = fills.astype(np.int64)
    total = int(needed.fills.sum())
    table = np.diff(np.minimum(np.cumsum(table), total), prepend=0)
    return Draft(share, table, rate)
