"""What to relax, where not every paddock can be seeded whole: as few things as possible."""

from __future__ import annotations

import time

import numpy as np

from evenacre.model import FloatArray
from evenacre.planning.interseeding.plan_types import BEYOND, ScheduleProblem
from evenacre.planning.interseeding.solver.milp import Solution
from evenacre.planning.interseeding.solver.relaxation_greedy import enough
from evenacre.planning.interseeding.solver.relaxation_milp import HOURS, Relaxing, relaxing
from evenacre.planning.interseeding.solver.slots import seed_kg

SEED = "seed"
_PARTS = frozenset({"visit", "fills"})
_LEAST = 1e-6
_LINEAR_S = 5.0  # for linear programs, which take a fraction of it


def smallest_relaxation(
    problem: ScheduleProblem, *, time_limit_s: float = 2.0
) -> tuple[tuple[str, int | None, float], ...]:
    """Find the fewest constraints to relax so that every paddock is seeded whole.

    What can be relaxed: the seed, the hours of all days that have any (by as much each), each
    thing that takes time, and each rule that shuts a paddock. Of the sets with the fewest, one
    that relaxes little is taken, and of it no more than is needed: by drill time, where a day
    of a window counts as a mean day of the drill. Everything is seeded at the least rate.
    Paddocks without ground or value are left out.

    Parameters
    ----------
    problem : ScheduleProblem
    time_limit_s : float
        Where it does not suffice, visits and fills count as parts of whole ones: the set is
        then no larger than the smallest. Plain rules look for a schedule with it, and amounts
        of time grow until there is one; where they find none, the amounts may fall short.

    Returns
    -------
    tuple of (str, int or None, float)
        What to relax, the paddock, how much: kg of ``"seed"``, seconds a day of ``"hours"``,
        seconds in all of what takes time, days of a window. A paddock that cannot be seeded
        whole even with everything relaxed is told as ``BEYOND`` with the share of it that is
        out of reach, and what is told besides is for the others. Empty when every paddock can
        be seeded whole.
    """
    end = time.monotonic() + time_limit_s
    task = relaxing(problem)
    if not len(task.slots.day):
        return _told(problem, task, None, task.worth.astype(float))
    beyond = _beyond(task, _PARTS, _LINEAR_S)
    best = None if beyond is None else _by_parts(task, beyond, end=end)
    if beyond is None or best is None:  # there was no time even for linear programs
        return ()
    simple = enough(problem, task, best, beyond)
    if simple is None or simple[1] > 1.0 or _days(task, simple[0]) > _days(task, best):
        exact = _least(task, best, beyond, end=end)
        if exact.infeasible:
            told = _exact(problem, task, end=end)
            return _told(problem, task, best, beyond) if told is None else told
        if exact.values is not None:
            return _told(problem, task, exact.values, beyond)
    return _told(problem, task, best if simple is None else simple[0], beyond)


def _beyond(task: Relaxing, loose: frozenset[str], time_limit_s: float) -> FloatArray | None:
    """Share of each paddock that is out of reach with everything relaxed; None: not known."""
    found = task.program.solve(
        {"missing": np.ones(len(task.worth))},
        time_limit_s=time_limit_s,
        fixed={"relaxed": np.ones(task.count)},
        loose=loose,
    )
    if found.values is None:
        return None
    missing = found.values["missing"]
    return np.where(missing > _LEAST, missing, 0.0)


def _reached(beyond: FloatArray) -> dict[str, FloatArray]:
    """Nothing is missing of the paddocks within reach; the others ask for nothing."""
    return {"missing": np.where(beyond > 0, np.nan, 0.0)}


def _by_parts(task: Relaxing, beyond: FloatArray, *, end: float) -> dict[str, FloatArray] | None:
    """The fewest, and of them the least, where visits and fills may be parts of whole ones."""
    left = (end - time.monotonic()) / 3
    reached = _reached(beyond)
    fewest = task.program.solve(task.count_cost, time_limit_s=left, fixed=reached, loose=_PARTS)
    program, loose, limit = task.program, _PARTS, left
    if fewest.values is None:
        loose, limit = loose | {"relaxed"}, _LINEAR_S
    else:
        count = float(np.round(fewest.values["relaxed"]).sum())
        program = program.narrowed({"relaxed": np.ones(task.count)}, high=count)
    least = program.solve(task.amount_cost, time_limit_s=limit, fixed=reached, loose=loose)
    return fewest.values if least.values is None else least.values


def _least(
    task: Relaxing, chosen: dict[str, FloatArray], beyond: FloatArray, *, end: float
) -> Solution:
    """The least amounts for a chosen set, with whole visits and fills."""
    return task.program.solve(
        task.amount_cost,
        time_limit_s=end - time.monotonic(),
        gap=1e-4,
        # A switch counts as on, however little it is on.
        fixed={"relaxed": np.ceil(chosen["relaxed"] - _LEAST), **_reached(beyond)},
    )


def _exact(
    problem: ScheduleProblem, task: Relaxing, *, end: float
) -> tuple[tuple[str, int | None, float], ...] | None:
    """The fewest with whole visits and fills from the start; None: no time for it."""
    beyond = _beyond(task, frozenset(), end - time.monotonic())
    if beyond is None:
        return None
    fewest = task.program.solve(
        task.count_cost, time_limit_s=end - time.monotonic(), fixed=_reached(beyond)
    )
    if fewest.values is None:
        return None
    least = _least(task, fewest.values, beyond, end=end)
    return _told(problem, task, least.values or fewest.values, beyond)


def _told(
    problem: ScheduleProblem,
    task: Relaxing,
    values: dict[str, FloatArray] | None,
    beyond: FloatArray,
) -> tuple[tuple[str, int | None, float], ...]:
    told: list[tuple[str, int | None, float]] = []
    if problem.on_hand_kg is not None:
        least = seed_kg(problem, problem.least_rate_kg_per_m2)
        short = float(least[task.worth & (beyond == 0)].sum()) - problem.on_hand_kg
        if short > _LEAST * max(problem.on_hand_kg, 1.0):
            told.append((SEED, None, short))
    if values is not None:
        told += [item for item in _amounts(task, values) if item[2] > _LEAST]
    told += [(BEYOND, int(p), float(beyond[p])) for p in np.nonzero(beyond)[0]]
    return tuple(told)


def _days(task: Relaxing, values: dict[str, FloatArray]) -> float:
    return float(_window_days(task, values).sum())


def _window_days(task: Relaxing, values: dict[str, FloatArray]) -> FloatArray:
    """Whole days of each window that its rule shuts."""
    return np.ceil(task.shut @ values["visit"] - _LEAST)


def _amounts(task: Relaxing, values: dict[str, FloatArray]) -> list[tuple[str, int | None, float]]:
    """Hours, then what takes time, then windows; days are whole."""
    given = task.given_back(values)
    days = _window_days(task, values)
    return [
        (HOURS, None, float(values["hours"][0])),
        *((what, None, float(given[i])) for i, what in enumerate(task.taken)),
        *((rule, p, float(days[i])) for i, (rule, p) in enumerate(task.windows)),
    ]
