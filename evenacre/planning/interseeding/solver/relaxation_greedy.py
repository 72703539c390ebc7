"""Whether a relaxation worked out with parts of visits and fills is enough with whole ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from evenacre.model import FloatArray
from evenacre.planning.interseeding.plan_types import ScheduleProblem
from evenacre.planning.interseeding.solver.candidate import draft_of, fits
from evenacre.planning.interseeding.solver.greedy import greedy_schedules
from evenacre.planning.interseeding.solver.relaxation_milp import (
    DAY_S,
    HOURS,
    Relaxing,
    given_back_of,
)
from evenacre.planning.interseeding.solver.slots import open_days, slots_of

_FACTORS = (1.0, 1.01, 1.03, 1.06, 1.1, 1.2, 1.4, 1.7, 2.0)
_LEAST = 1e-6


def enough(
    problem: ScheduleProblem,
    task: Relaxing,
    values: dict[str, FloatArray],
    beyond: FloatArray,
) -> tuple[dict[str, FloatArray], float] | None:
    """Look for a schedule, by plain rules, that a relaxation makes room for.

    Where there is none, the same things are relaxed somewhat more.

    Parameters
    ----------
    values : dict of str to array
        Of the program's blocks; visits and fills may be parts of whole ones.
    beyond : (m,) float
        Share of each paddock that is out of reach; such a paddock is left out.

    Returns
    -------
    values : dict of str to array
        With whole visits.
    factor : float
        By how much more time is relaxed; 1: no more.
    """
    free = replace(problem, on_hand_kg=None)
    slots = task.slots
    switched = np.zeros(slots.shape, dtype=bool)
    used = slots.spread(values["visit"]) > _LEAST
    chosen = open_days(problem)
    on = np.ceil(values["relaxed"][1 + len(task.taken) :] - _LEAST)
    # A slot is open when every rule that shuts it is relaxed.
    open_slots = task.shut.T @ on >= np.asarray(task.shut.sum(axis=0)).ravel()
    switched[slots.paddock, slots.day] = open_slots
    wanted = (task.worth & (beyond == 0)).astype(float)
    for factor in _FACTORS:
        amounts, capacity = _scaled(problem, task, values, factor)
        for allowed in (chosen | (switched & used), chosen | switched):
            there = slots_of(free, allowed, capacity)
            rate = problem.least_rate_kg_per_m2
            for share in greedy_schedules(free, there, rate, capacity, wanted):
                if (share.sum(axis=1) < wanted - _LEAST).any():
                    continue
                if fits(replace(free, capacity_s=capacity), draft_of(free, share, rate)):
                    visit = (share[slots.paddock, slots.day] > 0).astype(float)
                    return {**values, **amounts, "visit": visit}, factor
    return None


def _scaled(
    problem: ScheduleProblem, task: Relaxing, values: dict[str, FloatArray], factor: float
) -> tuple[dict[str, FloatArray], FloatArray]:
    """So many times the hours and what is given back, as far as there is any; and the days."""
    has_time = problem.capacity_s > 0
    most = max(DAY_S - float(problem.capacity_s.max(initial=0.0)), 0.0)
    amounts = {HOURS: np.minimum(values[HOURS] * factor, most)}
    capacity = problem.capacity_s + has_time * amounts[HOURS][0]
    for what in task.taken:
        block = given_back_of(what)
        there = problem.taken_s[what][task.slots.days]
        amounts[block] = np.minimum(values[block] * factor, there)
        capacity[task.slots.days] += amounts[block]
    return amounts, capacity
