"""Which paddocks can be worked on which days, and the rows that any schedule keeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse

from evenacre.model import BoolArray, FloatArray, IntArray
from evenacre.planning.interseeding.plan_types import ScheduleProblem
from evenacre.planning.interseeding.solver.program import Program

HOUR_S = 3600.0
_LEAST_SHARE = 1e-9


@dataclass(frozen=True, eq=False)
class Slots:
    """Pairs of a paddock worth seeding and a day that has time to work it."""

    problem: ScheduleProblem
    # (k,)
    paddock: IntArray
    day: IntArray
    most: FloatArray  # (k,); share of the paddock that the day has time for, set-up taken off
    # (q,); the days with any time, in order: the cart may be filled where nothing is open
    days: IntArray
    place: IntArray  # (k,); where ``day`` stands in ``days``

    @classmethod
    def of(cls, problem: ScheduleProblem, allowed: BoolArray, capacity_s: FloatArray) -> Slots:
        """List the slots of the days (m, n) that rules leave open, with so much time each (n,)."""
        paddock, day = np.nonzero(allowed & problem.worth_seeding[:, None])
        left = capacity_s[day] - problem.setup_s
        work = problem.work_s[paddock]
        whole = np.divide(left, work, out=np.ones(len(left)), where=work > 0)
        most = np.where(left >= 0, np.minimum(whole, 1.0), 0.0)
        keep = most > _LEAST_SHARE
        days = np.nonzero(capacity_s > 0)[0]
        place = np.searchsorted(days, day[keep])
        return cls(problem, paddock[keep], day[keep], most[keep], days, place)

    def __len__(self) -> int:
        return len(self.day)

    def spread(self, values: FloatArray) -> FloatArray:
        """Lay values of slots, shape (k,), out as paddocks by days, shape (m, n)."""
        table = np.zeros(self.problem.shape)
        table[self.paddock, self.day] = values
        return table

    @property
    def worth(self) -> FloatArray:
        """What each slot's share adds to the value, as a part of all there is, shape (k,)."""
        value = self.problem.value_per_m2 * self.problem.area_m2
        return (value / max(float(value.sum()), 1e-300))[self.paddock]


def picks(row: IntArray, column: IntArray, shape: tuple[int, int]) -> Any:
    """A matrix with a one at each row and column."""
    return sparse.csr_array((np.ones(len(row)), (row, column)), shape=shape)


def schedule_program(slots: Slots, rate_kg_per_m2: float) -> Program:
    """Write the program of a schedule at one rate."""
    program = Program()
    add_schedule(program, slots, rate_kg_per_m2, slots.problem.capacity_s)
    return program


def add_schedule(
    program: Program,
    slots: Slots,
    rate_kg_per_m2: float,
    capacity_s: FloatArray,
    more_s: Mapping[str, Any] | None = None,
) -> None:
    """Add shares, visits, fills and what is left in the cart, and the rows that bind them.

    Blocks: ``share`` and ``visit`` (k,), ``fills`` and ``cart`` (q,; the cart at the end of
    each day, in loads). A fill is a whole load and goes into an empty cart, so that the cart
    never holds more than one; it may be made days before it is sown. ``more_s`` is the time that
    other blocks of the program add to each day of ``slots.days``, a matrix (q, size) each.
    """
    problem, more_s = slots.problem, more_s or {}
    count, q = len(slots), len(slots.days)
    each = np.arange(count)
    by_day = picks(slots.place, each, (q, count))
    program.add("share", slots.most)
    program.add("visit", np.ones(count), whole=True)
    within = {"share": sparse.eye_array(count), "visit": -sparse.diags_array(slots.most)}
    program.bind(within, high=0)
    program.bind({"share": picks(slots.paddock, each, (problem.shape[0], count))}, high=1.0)

    # Rows are in hours and in loads: the solver's tolerances are absolute.
    time: dict[str, Any] = {
        "share": by_day @ sparse.diags_array(problem.work_s[slots.paddock] / HOUR_S),
        "visit": by_day * (problem.setup_s / HOUR_S),
        **{name: matrix * (-1 / HOUR_S) for name, matrix in more_s.items()},
    }
    seed_kg = problem.seed_kg(rate_kg_per_m2)
    if problem.counts_fills and problem.load_kg is not None:
        extra = [matrix @ program.upper[name] for name, matrix in more_s.items()]
        day_s = np.sum([capacity_s[slots.days], *extra], axis=0)
        program.add("fills", np.floor(day_s / problem.refill_s), whole=True)
        program.add("cart", np.ones(q))
        time["fills"] = sparse.eye_array(q) * (problem.refill_s / HOUR_S)
        sown = by_day @ sparse.diags_array(seed_kg[slots.paddock] / problem.load_kg)
        kept = sparse.eye_array(q) - sparse.eye_array(q, k=-1)
        cart = {"share": sown, "fills": -sparse.eye_array(q), "cart": kept}
        program.bind(cart, low=0.0, high=0.0)
    program.bind(time, high=capacity_s[slots.days] / HOUR_S)
    if problem.on_hand_kg is not None:
        total = max(float(seed_kg.sum()), 1e-300)
        program.bind({"share": seed_kg[slots.paddock] / total}, high=problem.on_hand_kg / total)
