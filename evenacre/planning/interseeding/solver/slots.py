"""Which paddocks can be worked on which days, and the rows that any schedule keeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse

from evenacre.model import BoolArray, FloatArray, IntArray
from evenacre.planning.interseeding.plan_types import ScheduleProblem
from evenacre.planning.interseeding.solver.milp import Program

_LEAST_SHARE = 1e-9


@dataclass(frozen=True)
class Slots:
    """Pairs of a paddock and a day on which it can be worked.

    Attributes
    ----------
    paddock, day : (k,) int
    most : (k,) float
        Share of the paddock that the day has time for, set-up taken off.
    days : (q,) int
        The days with any time, in order: the cart may be filled where nothing is open.
    place : (k,) int
        Where ``day`` stands in ``days``.
    shape : (int, int)
        Number of paddocks and of days in the problem.
    """

    paddock: IntArray
    day: IntArray
    most: FloatArray
    days: IntArray
    place: IntArray
    shape: tuple[int, int]

    def spread(self, values: FloatArray) -> FloatArray:
        """Lay values of slots, shape (k,), out as paddocks by days, shape (m, n)."""
        table = np.zeros(self.shape)
        table[self.paddock, self.day] = values
        return table


def open_days(problem: ScheduleProblem) -> BoolArray:
    """Days that no rule forbids, shape (m, n)."""
    shut = np.zeros((len(problem.area_m2), len(problem.capacity_s)), dtype=bool)
    for rule in problem.forbidden.values():
        shut |= rule
    return ~shut


def slots_of(problem: ScheduleProblem, allowed: BoolArray, capacity_s: FloatArray) -> Slots:
    """List the slots with time for work, of paddocks worth seeding.

    Parameters
    ----------
    problem : ScheduleProblem
    allowed : (m, n) bool
        Days that rules leave open.
    capacity_s : (n,) float
    """
    worth = (problem.area_m2 > 0) & (problem.value_per_m2 > 0)
    paddock, day = np.nonzero(allowed & worth[:, None])
    left = capacity_s[day] - problem.setup_s
    work = problem.work_s[paddock]
    whole = np.divide(left, work, out=np.ones(len(left)), where=work > 0)
    most = np.where(left >= 0, np.minimum(whole, 1.0), 0.0)
    keep = most > _LEAST_SHARE
    paddock, day, most = paddock[keep], day[keep], most[keep]
    days = np.nonzero(capacity_s > 0)[0]
    place = np.searchsorted(days, day)
    return Slots(paddock, day, most, days, place, allowed.shape)


def filled(problem: ScheduleProblem) -> bool:
    """Whether fills take time, so that the schedule has to count them."""
    return problem.load_kg is not None and problem.refill_s > 0


def seed_kg(problem: ScheduleProblem, rate_kg_per_m2: float) -> FloatArray:
    """Seed that each whole paddock takes, shape (m,)."""
    return problem.area_m2 * rate_kg_per_m2


def add_schedule(
    program: Program,
    problem: ScheduleProblem,
    slots: Slots,
    rate_kg_per_m2: float,
    capacity_s: FloatArray,
    more_s: Mapping[str, Any] | None = None,
) -> None:
    """Add shares, visits, fills and what is left in the cart, and the rows that bind them.

    Blocks: ``share`` and ``visit`` (k,), ``fills`` and ``cart`` (q,; the cart at the end of
    each day, in loads). A fill is a whole load and goes into an empty cart, so that the cart
    never holds more than one; it may be made days before it is sown.

    Parameters
    ----------
    capacity_s : (n,) float
        Time of each day.
    more_s : dict of str to (q, size) matrix, optional
        Time that other blocks of the program add to each day in ``slots.days``.
    """
    count, q = len(slots.day), len(slots.days)
    each = sparse.eye_array(count)
    by_day = sparse.csr_array((np.ones(count), (slots.place, np.arange(count))), shape=(q, count))
    by_paddock = sparse.csr_array(
        (np.ones(count), (slots.paddock, np.arange(count))), shape=(slots.shape[0], count)
    )
    program.block("share", slots.most)
    program.block("visit", np.ones(count), whole=True)
    program.rows({"share": each, "visit": -sparse.diags_array(slots.most)}, high=0.0)
    program.rows({"share": by_paddock}, high=1.0)

    # Rows are in hours and in loads: the solver's tolerances are absolute.
    hour = 3600.0
    time: dict[str, Any] = {
        "share": by_day @ sparse.diags_array(problem.work_s[slots.paddock] / hour),
        "visit": by_day * (problem.setup_s / hour),
        **{name: matrix * (-1 / hour) for name, matrix in (more_s or {}).items()},
    }
    seed = seed_kg(problem, rate_kg_per_m2)[slots.paddock]
    if filled(problem) and problem.load_kg is not None:
        most = np.floor(_most_s(program, capacity_s[slots.days], more_s) / problem.refill_s)
        program.block("fills", most, whole=True)
        program.block("cart", np.ones(q))
        time["fills"] = sparse.eye_array(q) * (problem.refill_s / hour)
        program.rows(
            {
                "share": by_day @ sparse.diags_array(seed / problem.load_kg),
                "fills": -sparse.eye_array(q),
                "cart": sparse.eye_array(q) - sparse.eye_array(q, k=-1),
            },
            low=0.0,
            high=0.0,
        )
    program.rows(time, high=capacity_s[slots.days] / hour)
    if problem.on_hand_kg is not None:
        total = max(float(seed_kg(problem, rate_kg_per_m2).sum()), 1e-300)
        program.rows({"share": seed / total}, high=problem.on_hand_kg / total)


def _most_s(
    program: Program, capacity_s: FloatArray, more_s: Mapping[str, Any] | None
) -> FloatArray:
    """The time a day can have at most, shape (q,)."""
    extra = [matrix @ program.upper(name) for name, matrix in (more_s or {}).items()]
    return np.sum([capacity_s, *extra], axis=0)
