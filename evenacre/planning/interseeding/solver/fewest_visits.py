"""Fewest visits, then earliest days, at no cost in seeded ground."""

from __future__ import annotations

import time

import numpy as np

from evenacre.planning.interseeding.plan_types import ScheduleProblem
from evenacre.planning.interseeding.solver.candidate import (
    Draft,
    better,
    fits,
    lateness_cost,
    settled,
    share_worth,
    total_value,
)
from evenacre.planning.interseeding.solver.local_search import improved
from evenacre.planning.interseeding.solver.milp import Program
from evenacre.planning.interseeding.solver.slots import Slots, add_schedule

_LATENESS = 0.5  # below the cost of one visit, even at its worst


def tidied(problem: ScheduleProblem, slots: Slots, draft: Draft, *, end: float) -> Draft:
    """Look for a draft of the same value and rate with fewer or earlier visits.

    Parameters
    ----------
    end : float
        Of the time for it, on the monotonic clock; the draft as it was is kept when nothing
        better is found by then.
    """
    begin = time.monotonic()
    if begin >= end or not draft.visits:
        return draft
    program = Program()
    add_schedule(program, problem, slots, draft.rate_kg_per_m2, problem.capacity_s)
    goal = draft.value(problem) / total_value(problem)
    program.rows({"share": share_worth(problem, slots)}, low=goal * (1 - 1e-9))
    program.rows({"visit": np.ones(len(slots.day))}, high=float(draft.visits))
    cost = {
        "visit": np.ones(len(slots.day)),
        "share": _LATENESS * lateness_cost(problem)[slots.paddock, slots.day],
    }
    solution = program.solve(cost, time_limit_s=(end - begin) / 2, gap=1e-6)
    found = settled(problem, slots, program, solution, draft.rate_kg_per_m2)
    if found is not None and fits(problem, found) and better(found, draft, problem):
        draft = found
    if solution.optimal or solution.infeasible:
        return draft
    return improved(problem, slots, program, cost, draft, end=end)
