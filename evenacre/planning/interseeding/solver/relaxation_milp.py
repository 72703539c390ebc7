"""The program behind what to relax: every paddock whole, and a switch for each constraint."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse

from evenacre.model import BoolArray, FloatArray
from evenacre.planning.interseeding.plan_types import ScheduleProblem
from evenacre.planning.interseeding.solver.milp import Program
from evenacre.planning.interseeding.solver.slots import Slots, add_schedule, slots_of

HOURS = "hours"
DAY_S = 86400.0
_HOUR_S = 3600.0


@dataclass(frozen=True)
class Relaxing:
    """The program, and what its unknowns stand for.

    Blocks besides those of a schedule: ``relaxed``, a switch each for hours, what takes time
    and windows, in this order; ``hours`` (1,; s); what is given back of each taken time, by
    its name (q,; s); ``missing`` (m,), the share of a paddock that is out of reach.

    Attributes
    ----------
    program : Program
    slots : Slots
        Of all days that no hard rule shuts.
    taken : tuple of str
    windows : tuple of (str, int)
        Rule and paddock.
    shut : (w, k) matrix
        Which slots each window's rule shuts.
    worth : (m,) bool
        Paddocks to be seeded.
    count_cost, amount_cost : dict of str to array
        What counts the relaxed, and what adds up how much is relaxed.
    """

    program: Program
    slots: Slots
    taken: tuple[str, ...]
    windows: tuple[tuple[str, int], ...]
    shut: Any
    worth: BoolArray
    count_cost: dict[str, FloatArray]
    amount_cost: dict[str, FloatArray]

    @property
    def count(self) -> int:
        """Number of switches."""
        return 1 + len(self.taken) + len(self.windows)

    def given_back(self, values: dict[str, FloatArray]) -> list[float]:
        """Time given back in all by each thing that takes it, s."""
        return [float(values[given_back_of(what)].sum()) for what in self.taken]


def relaxing(problem: ScheduleProblem) -> Relaxing:
    """Build the program. Seed is left out: how much is short hangs on nothing else."""
    m, n = len(problem.area_m2), len(problem.capacity_s)
    capacity = problem.capacity_s
    taken = tuple(what for what, time in problem.taken_s.items() if time.any())
    has_time = capacity > 0
    more = max(DAY_S - float(capacity.max(initial=0.0)), 0.0)
    most = capacity + more * has_time + sum((problem.taken_s[w] for w in taken), np.zeros(n))
    hard = np.zeros((m, n), dtype=bool)
    for rule in problem.hard & problem.forbidden.keys():
        hard |= problem.forbidden[rule]
    slots = slots_of(problem, ~hard, most)
    windows, shut = _windows(problem, slots)
    worth = (problem.area_m2 > 0) & (problem.value_per_m2 > 0)

    program = Program()
    count = 1 + len(taken) + len(windows)
    q = len(slots.days)
    program.block("relaxed", np.ones(count), whole=True)
    program.block(HOURS, np.array([more]))
    for what in taken:
        program.block(given_back_of(what), problem.taken_s[what][slots.days])
    program.block("missing", worth.astype(float))
    if not q:
        return Relaxing(program, slots, taken, windows, shut, worth, {}, {})

    adds: dict[str, Any] = {HOURS: sparse.csr_array(has_time[slots.days].astype(float)[:, None])}
    adds |= {given_back_of(what): sparse.eye_array(q) for what in taken}
    free = ScheduleProblem(**{**vars(problem), "on_hand_kg": None})
    add_schedule(program, free, slots, problem.least_rate_kg_per_m2, capacity, adds)
    _bind(program, problem, slots, taken, more, worth)
    pairs = shut.tocoo()
    slot = sparse.csr_array(
        (np.ones(pairs.nnz), (np.arange(pairs.nnz), pairs.col)), shape=(pairs.nnz, len(slots.day))
    )
    switch = sparse.csr_array(
        (np.ones(pairs.nnz), (np.arange(pairs.nnz), 1 + len(taken) + pairs.row)),
        shape=(pairs.nnz, count),
    )
    if pairs.nnz:
        program.rows({"visit": slot, "relaxed": -switch}, high=0.0)
    mean_day = float(capacity[has_time].mean()) if has_time.any() else DAY_S / 2
    per_visit = np.asarray(shut.sum(axis=0)).ravel() * mean_day / _HOUR_S
    return Relaxing(
        program=program,
        slots=slots,
        taken=taken,
        windows=windows,
        shut=shut,
        worth=worth,
        count_cost={"relaxed": np.ones(count)},
        amount_cost={
            HOURS: np.array([has_time.sum() / _HOUR_S]),
            **{given_back_of(what): np.full(q, 1 / _HOUR_S) for what in taken},
            "visit": per_visit,
        },
    )


def given_back_of(what: str) -> str:
    """Name of the block of what is given back of a taken time."""
    return f"given back: {what}"


def _windows(problem: ScheduleProblem, slots: Slots) -> tuple[tuple[tuple[str, int], ...], Any]:
    """Rules that shut slots, paddock by paddock, and which."""
    windows: list[tuple[str, int]] = []
    rows: list[FloatArray] = []
    for rule, table in problem.forbidden.items():
        if rule in problem.hard:
            continue
        shuts = table[slots.paddock, slots.day]
        for p in np.unique(slots.paddock[shuts]):
            windows.append((rule, int(p)))
            rows.append((shuts & (slots.paddock == p)).astype(np.float64))
    shape = (len(windows), len(slots.day))
    return tuple(windows), sparse.csr_array(np.array(rows).reshape(shape))


def _bind(
    program: Program,
    problem: ScheduleProblem,
    slots: Slots,
    taken: tuple[str, ...],
    more_s: float,
    worth: BoolArray,
) -> None:
    """Nothing is relaxed without its switch; every paddock is whole but for what is missing."""
    m, count = len(worth), len(program.upper("relaxed"))

    def switch(number: int, most: FloatArray) -> Any:
        where = (np.arange(len(most)), np.full(len(most), number))
        return sparse.csr_array((-most, where), shape=(len(most), count))

    program.rows({HOURS: sparse.eye_array(1), "relaxed": switch(0, np.array([more_s]))}, high=0.0)
    for number, what in enumerate(taken, 1):
        most = problem.taken_s[what][slots.days]
        program.rows(
            {given_back_of(what): sparse.eye_array(len(most)), "relaxed": switch(number, most)},
            high=0.0,
        )
    k = len(slots.day)
    of = sparse.csr_array((np.ones(k), (slots.paddock, np.arange(k))), shape=(m, k))
    program.rows({"share": of, "missing": sparse.eye_array(m)}, low=worth.astype(float))
