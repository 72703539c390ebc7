"""What to relax, where not every paddock can be seeded whole: as few things as possible."""

from __future__ import annotations

import time

import numpy as np

from evenacre.model import FloatArray
from evenacre.planning.interseeding.nouns import BEYOND, ScheduleProblem
from evenacre.planning.interseeding.program import Solution
from evenacre.planning.interseeding.relax_program import HOURS, Relaxing, relaxing
from evenacre.planning.interseeding.slots import seed_kg

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
        then no larger than the smallest, but may fall somewhat short of what is needed.

    Returns
    -------
    tuple of (str, int or None, float)
        What to relax, the paddock, how much: kg of ``"seed"``, seconds a day of ``"hours"``,
        seconds in all of what takes time, days of a window. A paddock that cannot be seeded
        whole even so is told as ``BEYOND`` with the share of it that is out of reach; the rest
        is what the others need. Empty when every paddock can be seeded whole.
    """
    end = time.monotonic() + time_limit_s
    task = relaxing(problem)
    if not len(task.slots.day):
        return _told(problem, task, None)
    best = _by_parts(task, end=end)
    if best.values is not None:
        exact = _least(task, best, end=end)
        if exact.infeasible:
            fewest = task.program.solve(task.count_cost, time_limit_s=end - time.monotonic())
            if fewest.values is not None:
                exact = _least(task, fewest, end=end + 0.2 * time_limit_s)
                best = fewest
        best = exact if exact.values is not None else best
    return _told(problem, task, best)


def _by_parts(task: Relaxing, *, end: float) -> Solution:
    """The fewest, and of them the least, where visits and fills may be parts of whole ones."""
    everything = task.program.solve(
        {"missing": np.ones(len(task.worth))},
        time_limit_s=_LINEAR_S,
        fixed={"relaxed": np.ones(task.count)},
        loose=_PARTS | {"given_up"},
    )
    if everything.values is None:
        return everything
    out_of_reach = {"given_up": (everything.values["missing"] > _LEAST).astype(float)}
    left = (end - time.monotonic()) / 3
    fewest = task.program.solve(
        task.count_cost, time_limit_s=left, fixed=out_of_reach, loose=_PARTS
    )
    program, loose = task.program, _PARTS
    if fewest.values is None:
        loose |= {"relaxed"}
    else:
        count = float(np.round(fewest.values["relaxed"]).sum())
        program = program.narrowed({"relaxed": np.ones(task.count)}, high=count)
    least = program.solve(
        task.amount_cost,
        time_limit_s=left if fewest.values else _LINEAR_S,
        fixed=out_of_reach,
        loose=loose,
    )
    return fewest if least.values is None else least


def _least(task: Relaxing, chosen: Solution, *, end: float) -> Solution:
    """The least amounts for a chosen set, with whole visits and fills."""
    assert chosen.values is not None
    return task.program.solve(
        task.amount_cost,
        time_limit_s=end - time.monotonic(),
        gap=1e-4,
        # A switch counts as on, however little it is on.
        fixed={name: np.ceil(chosen.values[name] - _LEAST) for name in ("relaxed", "given_up")},
    )


def _told(
    problem: ScheduleProblem, task: Relaxing, found: Solution | None
) -> tuple[tuple[str, int | None, float], ...]:
    values = None if found is None else found.values
    missing = task.worth.astype(float) if values is None else values["missing"]
    told: list[tuple[str, int | None, float]] = []
    if problem.on_hand_kg is not None:
        least = seed_kg(problem, problem.least_rate_kg_per_m2)
        short = float(least[task.worth] @ (1 - missing[task.worth])) - problem.on_hand_kg
        if short > _LEAST * max(problem.on_hand_kg, 1.0):
            told.append((SEED, None, short))
    if values is not None:
        told += [item for item in _amounts(task, values) if item[2] > _LEAST]
    told += [(BEYOND, int(p), float(missing[p])) for p in np.nonzero(missing > _LEAST)[0]]
    return tuple(told)


def _amounts(task: Relaxing, values: dict[str, FloatArray]) -> list[tuple[str, int | None, float]]:
    """Hours, then what takes time, then windows; days are whole."""
    given = task.given_back(values)
    days = np.ceil(task.shut @ values["visit"] - _LEAST)
    return [
        (HOURS, None, float(values["hours"][0])),
        *((what, None, float(given[i])) for i, what in enumerate(task.taken)),
        *((rule, p, float(days[i])) for i, (rule, p) in enumerate(task.windows)),
    ]
