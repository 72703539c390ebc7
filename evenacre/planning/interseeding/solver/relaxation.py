"""What to relax, where not every paddock can be seeded whole: as few things as possible."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import numpy as np
from scipy import sparse

from evenacre.model import FloatArray
from evenacre.planning.interseeding.plan_types import BEYOND, ScheduleProblem
from evenacre.planning.interseeding.solver.candidate import Candidate, greedy_schedules
from evenacre.planning.interseeding.solver.program import (
    HOUR_S,
    Program,
    Slots,
    Solution,
    add_schedule,
    picks,
)

_DAY_S = 86400.0
_PARTS = frozenset({"visit", "fills"})
_FACTORS = (1.0, 1.01, 1.03, 1.06, 1.1, 1.2, 1.4, 1.7, 2.0)
_LEAST = 1e-6
_LINEAR_S = 5.0  # for linear programs, which take a fraction of it

Values = dict[str, FloatArray]
Told = tuple[tuple[str, int | None, float], ...]


def smallest_relaxation(problem: ScheduleProblem, *, time_limit_s: float = 2.0) -> Told:
    """Find the fewest constraints to relax so that every paddock is seeded whole.

    What can be relaxed: the seed, the hours of all days that have any (by as much each), each
    thing that takes time, and each rule that shuts a paddock. Of the sets with the fewest, one
    that relaxes little is taken, and of it no more than is needed: by drill time, where a day
    of a window counts as a mean day of the drill. Everything is seeded at the least rate.
    Paddocks without ground or value are left out.

    Where the time limit does not suffice, visits and fills count as parts of whole ones: the set
    is then no larger than the smallest. Plain rules look for a schedule with it, and amounts of
    time grow until there is one; where they find none, the amounts may fall short.

    Told are what to relax, the paddock, and how much: kg of ``"seed"``, seconds a day of
    ``"hours"``, seconds in all of what takes time, days of a window. A paddock that cannot be
    seeded whole even with everything relaxed is told as ``BEYOND`` with the share of it that is
    out of reach, and what is told besides is for the others. Nothing when every paddock can be
    seeded whole.
    """
    end = time.monotonic() + time_limit_s
    task = _Relaxing(problem)
    if not len(task.slots):
        return task.told(None, problem.worth_seeding.astype(float))
    beyond = task.beyond(_PARTS, _LINEAR_S)
    best = None if beyond is None else task.by_parts(beyond, end=end)
    if beyond is None or best is None:  # there was no time even for linear programs
        return ()
    simple = task.enough(best, beyond)
    chosen = best if simple is None else simple[0]
    if simple is None or simple[1] > 1.0 or task.days(chosen).sum() > task.days(best).sum():
        exact = task.least(best, beyond, time_limit_s=end - time.monotonic())
        if exact.infeasible:
            told = task.exactly(end=end)
            return task.told(best, beyond) if told is None else told
        chosen = exact.values or chosen
    return task.told(chosen, beyond)


class _Relaxing:
    """The program: every paddock whole, and a switch for each constraint.

    Blocks besides those of a schedule: ``relaxed``, a switch each for hours, what takes time
    and windows, in this order; ``hours`` (1,; s); ``given`` (t * q,; s), what each taken time
    gives back on each day; ``missing`` (m,), the share of a paddock that is out of reach.
    """

    def __init__(self, problem: ScheduleProblem) -> None:
        self.problem, self.program = problem, Program()
        capacity = problem.capacity_s
        # What takes time, and the hours that may be added to each day that has any.
        self.taken = [what for what, taking in problem.taken_s.items() if taking.any()]
        self.more_s = max(_DAY_S - float(capacity.max(initial=0.0)), 0.0)
        most = sum(
            (problem.taken_s[w] for w in self.taken), capacity + self.more_s * (capacity > 0)
        )
        hard = {rule: problem.forbidden[rule] for rule in problem.hard & problem.forbidden.keys()}
        # Of all days that no hard rule shuts; the seed of their problem does not bind: how much
        # of it is short hangs on nothing else.
        free = replace(problem, on_hand_kg=None, forbidden=hard)
        self.slots = slots = Slots.of(free, free.open_days, most)
        # Rule and paddock of each window, and which slots the rule shuts, (w, k).
        self.windows: list[tuple[str, int]] = []
        rows = []
        for rule in [rule for rule in problem.forbidden if rule not in problem.hard]:
            shuts = problem.forbidden[rule][slots.paddock, slots.day]
            for p in np.unique(slots.paddock[shuts]):
                self.windows.append((rule, int(p)))
                rows.append(shuts & (slots.paddock == p))
        self.shut: Any = sparse.csr_array(
            np.array(rows, dtype=float).reshape(len(rows), len(slots))
        )
        if len(slots):
            self._write()

    def _write(self) -> None:
        problem, program, slots = self.problem, self.program, self.slots
        m, count, k = problem.shape[0], 1 + len(self.taken) + len(self.windows), len(slots)
        t, q = len(self.taken), len(slots.days)
        given = np.array([problem.taken_s[what][slots.days] for what in self.taken]).ravel()
        program.add("relaxed", np.ones(count), whole=True)
        program.add("hours", np.array([self.more_s]))
        program.add("given", given)
        program.add("missing", problem.worth_seeding.astype(float))
        has_time = problem.capacity_s[slots.days] > 0
        more_s = {
            "hours": sparse.csr_array(has_time.astype(float)[:, None]),
            "given": picks(np.tile(np.arange(q), t), np.arange(t * q), (q, t * q)),
        }
        add_schedule(program, slots, problem.least_rate_kg_per_m2, problem.capacity_s, more_s)
        # Nothing is relaxed without its switch; each paddock is whole but for what is missing.
        hours = sparse.csr_array(([-self.more_s], ([0], [0])), shape=(1, count))
        program.bind({"hours": sparse.eye_array(1), "relaxed": hours}, high=0.0)
        if t:
            by_what = picks(np.arange(t * q), 1 + np.repeat(np.arange(t), q), (t * q, count))
            switch = sparse.diags_array(-given) @ by_what
            program.bind({"given": sparse.eye_array(t * q), "relaxed": switch}, high=0.0)
        share = picks(slots.paddock, np.arange(k), (m, k))
        whole = {"share": share, "missing": sparse.eye_array(m)}
        program.bind(whole, low=problem.worth_seeding.astype(float))
        pairs = self.shut.tocoo()
        each = np.arange(pairs.nnz)
        if pairs.nnz:
            opened = -picks(each, 1 + t + pairs.row, (pairs.nnz, count))
            visit = picks(each, pairs.col, (pairs.nnz, k))
            program.bind({"visit": visit, "relaxed": opened}, high=0.0)

    @property
    def count_cost(self) -> Values:
        """What counts the relaxed."""
        return {"relaxed": np.ones(len(self.program.upper["relaxed"]))}

    @property
    def amount_cost(self) -> Values:
        """What adds up how much is relaxed, in hours of the drill."""
        capacity = self.problem.capacity_s
        has_time = capacity > 0
        mean_day = float(capacity[has_time].mean()) if has_time.any() else _DAY_S / 2
        return {
            "hours": np.array([has_time.sum() / HOUR_S]),
            "given": np.full(len(self.program.upper["given"]), 1 / HOUR_S),
            "visit": np.asarray(self.shut.sum(axis=0)).ravel() * mean_day / HOUR_S,
        }

    def beyond(self, loose: frozenset[str], time_limit_s: float) -> FloatArray | None:
        """Share of each paddock that is out of reach with everything relaxed; None: not known."""
        cost = {"missing": np.ones(self.problem.shape[0])}
        found = self.program.solve(
            cost, time_limit_s=time_limit_s, fixed=self.count_cost, loose=loose
        )
        if found.values is None:
            return None
        missing = found.values["missing"]
        return np.where(missing > _LEAST, missing, 0.0)

    def by_parts(self, beyond: FloatArray, *, end: float) -> Values | None:
        """The fewest, and of them the least, where visits and fills may be parts of whole ones.

        Without time to prove the fewest, so may switches, and a part of one counts as whole.
        """
        left = (end - time.monotonic()) / 3
        found = self.program.solve(
            self.count_cost, time_limit_s=left, fixed=_reached(beyond), loose=_PARTS
        )
        if not found.optimal:
            loose = _PARTS | {"relaxed"}
            parts = self.program.solve(
                self.count_cost, time_limit_s=_LINEAR_S, fixed=_reached(beyond), loose=loose
            )
            if parts.values is not None and _switches(parts.values).sum() <= found.cost:
                least = self.least(parts.values, beyond, time_limit_s=_LINEAR_S, loose=_PARTS)
                return least.values or parts.values
        if found.values is None:
            return None
        count = float(np.round(found.cost))
        least = self.program.narrowed(self.count_cost, high=count).solve(
            self.amount_cost, time_limit_s=left, fixed=_reached(beyond), loose=_PARTS
        )
        return least.values or found.values

    def least(
        self,
        chosen: Values,
        beyond: FloatArray,
        *,
        time_limit_s: float,
        loose: frozenset[str] = frozenset(),
    ) -> Solution:
        """The least amounts for a chosen set."""
        fixed = {"relaxed": _switches(chosen), **_reached(beyond)}
        return self.program.solve(
            self.amount_cost, time_limit_s=time_limit_s, gap=1e-4, fixed=fixed, loose=loose
        )

    def exactly(self, *, end: float) -> Told | None:
        """The fewest with whole visits and fills from the start; None: no time for it."""
        beyond = self.beyond(frozenset(), end - time.monotonic())
        if beyond is None:
            return None
        left = end - time.monotonic()
        fewest = self.program.solve(self.count_cost, time_limit_s=left, fixed=_reached(beyond))
        if fewest.values is None:
            return None
        least = self.least(fewest.values, beyond, time_limit_s=end - time.monotonic())
        return self.told(least.values or fewest.values, beyond)

    def enough(self, values: Values, beyond: FloatArray) -> tuple[Values, float] | None:
        """Look for a schedule, by plain rules, that a relaxation makes room for.

        Where there is none, the same times are relaxed somewhat more. Returned are values with
        whole visits, and by how much more time is relaxed; 1: no more.
        """
        slots, rate = self.slots, self.problem.least_rate_kg_per_m2
        on = _switches(values)[1 + len(self.taken) :]
        # A slot is open when every rule that shuts it is relaxed.
        opened = self.shut.T @ on >= np.asarray(self.shut.sum(axis=0)).ravel()
        switched = slots.spread(opened) > 0
        used = slots.spread(values["visit"]) > _LEAST
        chosen = self.problem.open_days
        wanted = (self.problem.worth_seeding & (beyond == 0)).astype(float)
        upper, has_time = self.program.upper, self.problem.capacity_s > 0
        for factor in _FACTORS:
            # So many times the hours and what is given back, as far as there is any.
            amounts = {n: np.minimum(values[n] * factor, upper[n]) for n in ("hours", "given")}
            capacity = self.problem.capacity_s + has_time * amounts["hours"][0]
            for given in amounts["given"].reshape(-1, len(slots.days)):
                capacity[slots.days] += given
            free = replace(slots.problem, capacity_s=capacity)
            for allowed in (chosen | (switched & used), chosen | switched):
                there = Slots.of(free, allowed, capacity)
                for share in greedy_schedules(there, rate, capacity, wanted):
                    if (share.sum(axis=1) < wanted - _LEAST).any():
                        continue
                    if Candidate.of(free, share, rate).fits:
                        visit = (share[slots.paddock, slots.day] > 0).astype(float)
                        return {**values, **amounts, "visit": visit}, factor
        return None

    def days(self, values: Values) -> FloatArray:
        """Whole days of each window that its rule shuts."""
        return np.ceil(self.shut @ values["visit"] - _LEAST)

    def told(self, values: Values | None, beyond: FloatArray) -> Told:
        """Seed, hours, what takes time, windows, and paddocks out of reach."""
        problem = self.problem
        told: list[tuple[str, int | None, float]] = []
        if problem.on_hand_kg is not None:
            least = problem.seed_kg(problem.least_rate_kg_per_m2)
            short = float(least[problem.worth_seeding & (beyond == 0)].sum()) - problem.on_hand_kg
            if short > _LEAST * max(problem.on_hand_kg, 1.0):
                told.append(("seed", None, short))
        if values is not None:
            given = values["given"].reshape(-1, len(self.slots.days)).sum(axis=1)
            names = [("hours", None), *((what, None) for what in self.taken), *self.windows]
            amounts = [*values["hours"], *given, *self.days(values)]
            named = zip(names, amounts, strict=True)
            told += [(*name, float(amount)) for name, amount in named if amount > _LEAST]
        told += [(BEYOND, int(p), float(beyond[p])) for p in np.nonzero(beyond)[0]]
        return tuple(told)


def _switches(values: Values) -> FloatArray:
    """A switch counts as on, however little it is on."""
    return np.ceil(values["relaxed"] - _LEAST)


def _reached(beyond: FloatArray) -> Values:
    """Nothing is missing of the paddocks within reach; the others ask for nothing."""
    return {"missing": np.where(beyond > 0, np.nan, 0.0)}
