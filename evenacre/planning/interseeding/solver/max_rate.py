"""The rate at which the seed comes out even, without costing any ground."""

from __future__ import annotations

import time

import numpy as np

from evenacre.planning.interseeding.plan_types import ScheduleProblem
from evenacre.planning.interseeding.solver.candidate import (
    VALUE_TOLERANCE,
    Draft,
    draft_of,
    fits,
    settled,
    share_worth,
    total_value,
)
from evenacre.planning.interseeding.solver.greedy import greedy_schedules
from evenacre.planning.interseeding.solver.milp import Program
from evenacre.planning.interseeding.solver.slots import Slots, add_schedule, filled

_RATE_STEP = 0.01  # of the range from the least rate to the highest
_TRIES = 8
_HALVINGS = 40


def highest_rate(problem: ScheduleProblem, slots: Slots, draft: Draft, *, end: float) -> Draft:
    """Raise the rate of a draft as far as its value can be kept.

    The seed on hand over the ground seeded is the highest; the rate wanted where the seed is
    not limited. Where a higher rate means fills that the days have no time for, other days are
    tried, and the range is halved.

    Parameters
    ----------
    draft : Draft
        Made for the least rate.
    end : float
        Of the time for it, on the monotonic clock.
    """
    least = problem.least_rate_kg_per_m2
    top = _top_rate(problem, draft)
    best = raised(problem, draft, top)
    if not filled(problem) or top <= least:
        return best
    low, high = best.rate_kg_per_m2, top
    tried = top
    for _ in range(_TRIES):
        if high - low <= _RATE_STEP * (top - least) or time.monotonic() >= end:
            break
        found = _kept(problem, slots, draft, tried, end=end)
        if found is None:
            high = tried
        else:
            best = raised(problem, found, top)
            low = best.rate_kg_per_m2
        tried = (low + high) / 2
    return best


def raised(problem: ScheduleProblem, draft: Draft, top: float) -> Draft:
    """Raise the rate of a draft and leave its days as they are."""
    at_top = draft_of(problem, draft.share, top)
    if top <= draft.rate_kg_per_m2:
        return draft
    if fits(problem, at_top):
        return at_top
    best, low, high = draft, draft.rate_kg_per_m2, top
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        tried = draft_of(problem, draft.share, middle)
        if fits(problem, tried):
            best, low = tried, middle
        else:
            high = middle
    return best


def _top_rate(problem: ScheduleProblem, draft: Draft) -> float:
    least = problem.least_rate_kg_per_m2
    if problem.on_hand_kg is None:
        return max(problem.rate_kg_per_m2, least)
    area = draft.area_m2(problem)
    even = problem.on_hand_kg / area if area > 0 else problem.rate_kg_per_m2
    return max(min(even, problem.most_rate_kg_per_m2), least)


def _kept(
    problem: ScheduleProblem, slots: Slots, draft: Draft, rate: float, *, end: float
) -> Draft | None:
    """Find a draft at another rate that is worth as much, if one is found in time."""
    goal = draft.value(problem) * (1 - VALUE_TOLERANCE)
    wanted = np.minimum(draft.share.sum(axis=1), 1.0)
    for share in greedy_schedules(problem, slots, rate, problem.capacity_s, wanted):
        other = draft_of(problem, share, rate)
        if other.value(problem) >= goal and fits(problem, other):
            return other
    program = Program()
    add_schedule(program, problem, slots, rate, problem.capacity_s)
    program.rows({"share": share_worth(problem, slots)}, low=goal / total_value(problem))
    solution = program.solve({}, time_limit_s=(end - time.monotonic()) / 2)
    found = settled(problem, slots, program, solution, rate)
    if found is None or found.value(problem) < goal * (1 - VALUE_TOLERANCE):
        return None
    return found if fits(problem, found) else None
