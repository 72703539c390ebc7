"""Schedules in the making: by plain rules or of a program, what they are worth, if they fit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from evenacre.model import FloatArray, IntArray
from evenacre.planning.interseeding.fills import fills_needed, sown_in
from evenacre.planning.interseeding.plan_types import ScheduleProblem
from evenacre.planning.interseeding.solver.program import Program, Slots, Solution

VALUE_TOLERANCE = 1e-7
"""Relative; values so near to each other are the same."""
_TIME_TOLERANCE_S = 1e-3  # the solver keeps its rows, in hours, to about this
_LEAST_SHARE, _NO_SHARE = 1e-7, 1e-9


@dataclass(frozen=True, eq=False)
class Candidate:
    """Shares (m, n) and fills (n,) of a schedule, with the rate they were made for."""

    problem: ScheduleProblem
    share: FloatArray
    fills: IntArray
    rate_kg_per_m2: float
    fits: bool  # the days have time for it, and the seed lasts

    @classmethod
    def of(cls, problem: ScheduleProblem, share: FloatArray, rate_kg_per_m2: float) -> Candidate:
        """Fill the cart as late as the days have time for."""
        n = problem.shape[1]
        spent = problem.work_s @ share + problem.setup_s * (share > 0).sum(axis=0)
        left_s = problem.capacity_s + _TIME_TOLERANCE_S - spent
        stock = np.inf if problem.on_hand_kg is None else problem.on_hand_kg * (1 + 1e-9)
        sown_kg = problem.seed_kg(rate_kg_per_m2) @ share
        fits = bool((left_s >= 0).all()) and float(sown_kg.sum()) <= stock
        fills = np.zeros(n, dtype=np.int64)
        if problem.load_kg is not None and fits:
            most = np.full(n, 1 + np.ceil(sown_kg.sum() / problem.load_kg))
            if problem.counts_fills:
                most = np.minimum(most, left_s // problem.refill_s)
                most[: problem.fills_from] = 0
            cart = (problem.load_kg, problem.start_kg, problem.within_days)
            found = fills_needed(sown_kg, most.astype(np.int64), *cart)
            fits = found is not None
            fills = fills if found is None else found
        return cls(problem, share, fills, rate_kg_per_m2, fits)

    @property
    def area_m2(self) -> float:
        """Ground that is seeded."""
        return float(self.problem.area_m2 @ self.share.sum(axis=1))

    @property
    def value(self) -> float:
        """Value of the seeded ground."""
        worth = self.problem.value_per_m2 * self.problem.area_m2
        return float(worth @ self.share.sum(axis=1))

    @property
    def visits(self) -> int:
        """Number of visits."""
        return int((self.share > 0).sum())

    def better_than(self, other: Candidate) -> bool:
        """Whether it is worth more, or as much with fewer or earlier visits."""
        worth, others = self.value, other.value
        if abs(worth - others) > VALUE_TOLERANCE * max(worth, others):
            return worth > others
        late = lateness(self.problem)
        mine, theirs = ((c.visits, float((c.share * late).sum())) for c in (self, other))
        return mine < theirs

    def start(self, slots: Slots) -> dict[str, FloatArray]:
        """Where a program of the slots begins from it."""
        share = self.share[slots.paddock, slots.day]
        known = {"share": share, "visit": (share > 0).astype(np.float64)}
        if self.problem.counts_fills:
            known["fills"] = self.fills[slots.days].astype(np.float64)
        return known


def lateness(problem: ScheduleProblem) -> FloatArray:
    """What each share adds to the mean day of the ground, as a part of all days, shape (m, n)."""
    n = problem.shape[1]
    weight = problem.area_m2 / max(float(problem.area_m2.sum()), 1e-300)
    return weight[:, None] * (np.arange(n) / max(n, 1))


def settled(slots: Slots, program: Program, solution: Solution, rate: float) -> Candidate | None:
    """Turn a solution into a candidate: visits and fills rounded, shares worked out once more.

    Given the visits and the fills, the shares are a linear program: first the most value, then
    the earliest days at that value.
    """
    if solution.values is None:
        return None
    fixed = {name: np.round(solution.values[name]) for name in program.whole}
    first = program.solve({"share": -slots.worth}, time_limit_s=5.0, fixed=fixed)
    if first.values is None:
        return None
    late = lateness(slots.problem)[slots.paddock, slots.day]
    as_good = program.narrowed({"share": slots.worth}, low=-first.cost * (1 - 1e-9))
    early = as_good.solve({"share": late}, time_limit_s=5.0, fixed=fixed)
    values = (early.values or first.values)["share"]
    share = slots.spread(np.where(values > _LEAST_SHARE, values, 0.0))
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1.0)
    return Candidate.of(slots.problem, share, rate)


def greedy_schedules(
    slots: Slots, rate_kg_per_m2: float, capacity_s: FloatArray, wanted: FloatArray
) -> Iterator[FloatArray]:
    """Yield schedules, shares (m, n) of so much of each paddock (m,), each by other rules.

    Every day the drill goes to the open paddocks in an order (that which closes first, the
    most valuable, or the one begun before) and stays until the paddock, the day or the seed is
    at an end; or it leaves alone a paddock that the day cannot finish while another day can.
    """
    if not len(slots):
        yield np.zeros(slots.problem.shape)
        return
    last = np.zeros(slots.problem.shape[0])
    np.maximum.at(last, slots.paddock, slots.day)
    worth = -slots.problem.value_per_m2
    for keys, whole in product(((last, worth), (worth, last)), (True, False)):
        yield _greedy(slots, rate_kg_per_m2, capacity_s, wanted, np.lexsort(keys[::-1]), whole)


def _greedy(
    slots: Slots,
    rate_kg_per_m2: float,
    capacity_s: FloatArray,
    wanted: FloatArray,
    order: IntArray,
    whole: bool,
) -> FloatArray:
    problem = slots.problem
    rank = np.argsort(order)
    full_kg = problem.seed_kg(rate_kg_per_m2)
    ends_kg, filled = np.array([0.0, np.inf]), np.ones(1, dtype=np.int64)
    if problem.load_kg is not None and problem.counts_fills:
        count = int(np.ceil(float(full_kg @ wanted) / problem.load_kg))
        ends_kg = problem.start_kg + np.arange(count + 2) * problem.load_kg
        filled = np.zeros(1, dtype=np.int64)
    most = slots.spread(slots.most)
    # The best day still to come for each paddock, after each day.
    later = np.zeros_like(most)
    later[:, :-1] = np.maximum.accumulate(most[:, :0:-1], axis=1)[:, ::-1]
    share = np.zeros_like(most)
    left = wanted.copy()
    total = np.zeros(1)
    stock = np.inf if problem.on_hand_kg is None else problem.on_hand_kg
    begun = -1
    for day in slots.days:
        time = float(capacity_s[day])
        if problem.within_days is not None and problem.counts_fills:
            # Each day begins with a fill: then no load stays in the cart for longer.
            total, filled = np.full(1, problem.start_kg), np.zeros(1, dtype=np.int64)
        here = [int(p) for p in np.nonzero((most[:, day] > 0) & (left > _NO_SHARE))[0]]
        for p in sorted(here, key=lambda p: (p != begun, rank[p])):
            if time <= problem.setup_s or stock <= 0:
                break
            want_kg = min(left[p] * full_kg[p], stock)
            speed = full_kg[p] / problem.work_s[p] if problem.work_s[p] > 0 else 1e300
            room = np.array([time - problem.setup_s])
            want = np.array([want_kg])
            sown, loads, spent = sown_in(
                want, total, filled, room, speed, ends_kg, problem.refill_s
            )
            part = float(sown[0]) / full_kg[p]
            if part <= _NO_SHARE:
                continue
            if whole and part < want_kg / full_kg[p] - 1e-9 and later[p, day] >= left[p]:
                continue
            share[p, day] = min(part, left[p])
            left[p] = max(left[p] - part, 0.0)
            total, filled, stock = total + sown, loads, stock - float(sown[0])
            time -= float(spent[0]) + problem.setup_s
            begun = p if left[p] > _NO_SHARE else -1
    return share
