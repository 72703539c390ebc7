"""Which paddock is seeded on which day: the most valuable ground the days and the seed allow."""

from __future__ import annotations

import time

import numpy as np

from evenacre.planning.interseeding.plan_types import Schedule, ScheduleProblem
from evenacre.planning.interseeding.solver.candidate import (
    VALUE_TOLERANCE,
    Draft,
    better,
    draft_of,
    fits,
    settled,
    share_worth,
    total_value,
)
from evenacre.planning.interseeding.solver.fewest_visits import tidied
from evenacre.planning.interseeding.solver.greedy import greedy_schedules
from evenacre.planning.interseeding.solver.local_search import improved
from evenacre.planning.interseeding.solver.max_rate import highest_rate
from evenacre.planning.interseeding.solver.milp import Program
from evenacre.planning.interseeding.solver.slots import Slots, add_schedule, open_days, slots_of

PROVEN_GAP = 1e-6
"""Relative; a value so near to the bound counts as proven."""
_EXACT_PART = 0.6  # of the time; the rest betters what was found by then


def solve_schedule(problem: ScheduleProblem, *, time_limit_s: float = 6.0) -> Schedule:
    """Seed the most valuable ground inside windows, hours and seed.

    First the most value, at the least rate; then the highest rate that keeps that value, so
    that the seed comes out even: up to ``most_rate_kg_per_m2`` where the seed on hand is known,
    else up to the rate wanted; then the fewest visits, and the earliest days.

    A paddock may be seeded in part or on several days, with set-up each time. The cart starts
    empty and is filled when it is empty, a whole load at a time, and the fill takes its time
    from that day; it may be filled on an earlier day than it is sown.

    Parameters
    ----------
    problem : ScheduleProblem
    time_limit_s : float
        For all of the solving together. A problem that is solved in time has the same answer
        every time; one that is not may have another.

    Returns
    -------
    Schedule
        ``bound`` and ``proven`` speak of the value. Only where fills bind is the rate short of
        the highest, by a hundredth of its range at most when time suffices.
    """
    end = time.monotonic() + time_limit_s
    slots = slots_of(problem, open_days(problem), problem.capacity_s)
    if not len(slots.day):
        share = np.zeros(slots.shape)
        rate = problem.rate_kg_per_m2
        return Schedule(share, draft_of(problem, share, rate).fills, rate, 0.0, 0.0, True, 0.0)
    draft, bound = most_valuable(problem, slots, time_limit_s=0.55 * time_limit_s)
    draft = highest_rate(problem, slots, draft, end=end - 0.25 * time_limit_s)
    draft = tidied(problem, slots, draft, end=min(end, time.monotonic() + 0.25 * time_limit_s))
    value = draft.value(problem)
    bound = max(bound, value)
    gap = (bound - value) / bound if bound > 0 else 0.0
    return Schedule(
        share=draft.share,
        fills=draft.fills,
        rate_kg_per_m2=draft.rate_kg_per_m2,
        value=value,
        bound=bound,
        proven=gap <= PROVEN_GAP,
        gap=gap,
    )


def most_valuable(
    problem: ScheduleProblem, slots: Slots, *, time_limit_s: float
) -> tuple[Draft, float]:
    """Find the most value at the least rate.

    Plain rules often reach what the linear relaxation allows; only where they do not is the
    whole-number program solved.

    Returns
    -------
    draft : Draft
    bound : float
        Value that no schedule exceeds.
    """
    rate = problem.least_rate_kg_per_m2
    end = time.monotonic() + time_limit_s
    program = Program()
    add_schedule(program, problem, slots, rate, problem.capacity_s)
    cost = {"share": -share_worth(problem, slots)}
    whole = total_value(problem)

    relaxed = program.solve(cost, time_limit_s=time_limit_s, loose=frozenset({"visit", "fills"}))
    bound = whole
    wanted = [np.ones(slots.shape[0])]
    if relaxed.optimal and relaxed.values is not None:
        bound = min(bound, -relaxed.cost * whole)
        wanted.append(np.minimum(slots.spread(relaxed.values["share"]).sum(axis=1), 1.0))
    best = draft_of(problem, np.zeros(slots.shape), rate)
    for amounts in wanted:
        for share in greedy_schedules(problem, slots, rate, problem.capacity_s, amounts):
            draft = draft_of(problem, share, rate)
            if fits(problem, draft) and better(draft, best, problem):
                best = draft
    if best.value(problem) >= bound * (1 - VALUE_TOLERANCE):
        return best, bound

    solution = program.solve(cost, time_limit_s=_EXACT_PART * (end - time.monotonic()))
    if solution.infeasible:
        return best, bound
    bound = min(bound, -solution.bound * whole)
    found = settled(problem, slots, program, solution, rate)
    if found is not None and better(found, best, problem):
        best = found
    if best.value(problem) < bound * (1 - PROVEN_GAP):
        best = improved(problem, slots, program, cost, best, end=end)
    return best, bound
