"""Better schedules near a known one: a few days at a time are planned anew."""

from __future__ import annotations

import time
from collections.abc import Iterator

import numpy as np

from evenacre.model import BoolArray, FloatArray
from evenacre.planning.interseeding.plan_types import ScheduleProblem
from evenacre.planning.interseeding.solver.candidate import Draft, better, fits, settled
from evenacre.planning.interseeding.solver.milp import Program
from evenacre.planning.interseeding.solver.slots import Slots, filled

_SLOTS = 60  # as many visits as the solver decides on at once in a moment
_LEAST_DAYS = 3
_TRY_S = 0.5
_GAIN = 1e-7


def improved(
    problem: ScheduleProblem,
    slots: Slots,
    program: Program,
    cost: dict[str, FloatArray],
    draft: Draft,
    *,
    end: float,
) -> Draft:
    """Plan some days in a row anew and leave visits and fills of all others, over and over.

    Parameters
    ----------
    program : Program
        With the rows of a schedule at the draft's rate.
    cost : dict of str to array
        What is to be least.
    end : float
        On the monotonic clock; it ends sooner when no days are left that better the draft.
    """
    gained = True
    while gained:
        gained = False
        for free in _spells(slots):
            if time.monotonic() >= end:
                return draft
            found = _anew(problem, slots, program, cost, draft, free, end=end)
            if found is not None and fits(problem, found) and better(found, draft, problem):
                draft, gained = found, True
    return draft


def _anew(
    problem: ScheduleProblem,
    slots: Slots,
    program: Program,
    cost: dict[str, FloatArray],
    draft: Draft,
    free: BoolArray,
    *,
    end: float,
) -> Draft | None:
    share = draft.share[slots.paddock, slots.day]
    now = {"share": share, "visit": (share > 0).astype(float)}
    fixed = {"visit": np.where(free[slots.place], np.nan, now["visit"])}
    if filled(problem):
        fixed["fills"] = np.where(free, np.nan, draft.fills[slots.days])
    solution = program.solve(
        cost, time_limit_s=min(_TRY_S, end - time.monotonic()), gap=1e-6, fixed=fixed
    )
    known = sum(float(values @ now[name]) for name, values in cost.items())
    if solution.cost >= known - _GAIN:
        return None
    return settled(problem, slots, program, solution, draft.rate_kg_per_m2)


def _spells(slots: Slots) -> Iterator[BoolArray]:
    """Days in a row, half of them also in the next spell, shape (q,)."""
    q = len(slots.days)
    through = np.concatenate([[0], np.cumsum(np.bincount(slots.place, minlength=q))])
    first = 0
    while first < q:
        last = int(np.searchsorted(through, through[first] + _SLOTS, side="right")) - 1
        last = min(max(last, first + _LEAST_DAYS), q)
        free = np.zeros(q, dtype=bool)
        free[first:last] = True
        yield free
        if last == q:
            return
        first += max((last - first) // 2, 1)
