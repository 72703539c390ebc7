"""Small schedules by enumeration and a checker of any schedule; shares no code with the planner.

Every set of visits and every number of fills a day is tried; for each the best shares are a
linear program, and all of them are solved as one, block beside block.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy import sparse
from scipy.optimize import linprog

from evenacre.planning.interseeding.plan_types import ScheduleProblem, SeedingSchedule

HOUR = 3600.0


def small_problem(rng: np.random.Generator, **given: object) -> ScheduleProblem:
    """Two or three paddocks, two to four days, anything short now and then."""
    m, n = int(rng.integers(1, 4)), int(rng.integers(1, 5))
    area = rng.uniform(1, 10, m) * 1e4
    shut = rng.random((m, n)) < 0.35
    while (~shut).sum() > 8:
        shut[rng.integers(m), rng.integers(n)] = True
    filled = rng.random() < 0.5
    if filled:
        while (~shut).sum() > 6:
            shut[rng.integers(m), rng.integers(n)] = True
    rate = 0.0015
    total = area.sum() * rate
    values: dict[str, object] = {
        "area_m2": area,
        "value_per_m2": rng.choice([1.0, 1.0, 1.5, 2.0], m),
        "work_s": area / 1e4 * rng.uniform(0.8, 1.2, m) * 1200.0,
        "forbidden": {"close": shut & (rng.random((m, n)) < 0.5), "wait": shut},
        "capacity_s": np.where(rng.random(n) < 0.15, 0.0, rng.uniform(0.5, 4, n) * HOUR),
        "least_rate_kg_per_m2": rate,
        "rate_kg_per_m2": rate,
        "most_rate_kg_per_m2": rate,
        "on_hand_kg": float(total * rng.uniform(0.3, 1.2)) if rng.random() < 0.5 else None,
        "load_kg": float(total * rng.uniform(0.3, 1.1)) if filled else None,
        "refill_s": 1200.0 if filled else 0.0,
        "setup_s": float(rng.choice([0.0, 900.0, 1500.0])),
    }
    return ScheduleProblem(**{**values, **given})  # type: ignore[arg-type]


def open_slots(problem: ScheduleProblem) -> list[tuple[int, int]]:
    m, n = len(problem.area_m2), len(problem.capacity_s)
    return [
        (p, d)
        for p in range(m)
        for d in range(n)
        if not any(rule[p, d] for rule in problem.forbidden.values())
    ]


@dataclass(frozen=True)
class Enumerated:
    """The most value of all, and the fewest visits that reach it."""

    value: float
    visits: int


def enumerate_schedules(problem: ScheduleProblem, rate: float | None = None) -> Enumerated:
    """Try all sets of visits and all numbers of fills."""
    rate = problem.least_rate_kg_per_m2 if rate is None else rate
    slots = open_slots(problem)
    cases = [
        (visits, fills, room)
        for visits in product((0, 1), repeat=len(slots))
        for fills in _fill_counts(problem, rate)
        if (room := _room(problem, slots, visits, fills)) is not None
    ]
    if not slots or not cases:
        return Enumerated(0.0, 0)
    values = _best_values(problem, rate, slots, cases)
    best = max(values)
    near = [
        sum(visits)
        for (visits, _, _), value in zip(cases, values, strict=True)
        if value >= best * (1 - 1e-9) - 1e-9
    ]
    return Enumerated(best, min(near))


def _fill_counts(problem, rate):  # type: ignore[no-untyped-def]
    n = len(problem.capacity_s)
    if problem.load_kg is None or problem.refill_s == 0:
        return [(0,) * n]
    total = int(np.ceil(problem.area_m2.sum() * rate / problem.load_kg)) + 1
    return [fills for fills in product(range(total + 1), repeat=n) if sum(fills) <= total]


def _room(problem, slots, visits, fills):  # type: ignore[no-untyped-def]
    """Time left for work on each day; None: set-up and fills alone do not fit."""
    room = problem.capacity_s - problem.refill_s * np.array(fills)
    for (_, d), on in zip(slots, visits, strict=True):
        room[d] -= problem.setup_s * on
    used = {d for (_, d), on in zip(slots, visits, strict=True) if on}
    used |= {d for d, count in enumerate(fills) if count}
    return None if any(room[d] < 0 for d in used) else room


def _best_values(problem, rate, slots, cases):  # type: ignore[no-untyped-def]
    """One linear program: each case a block of shares and one slack for the cart."""
    m, n, k = len(problem.area_m2), len(problem.capacity_s), len(slots)
    pad = np.array([p for p, _ in slots])
    day = np.array([d for _, d in slots])
    fixed_rows = [np.append(pad == p, 0.0) for p in range(m)]
    fixed_rows += [np.append((day == d) * problem.work_s[pad] / HOUR, 0.0) for d in range(n)]
    loaded = problem.load_kg is not None and problem.refill_s > 0
    if problem.on_hand_kg is not None:
        fixed_rows.append(np.append(problem.area_m2[pad] * rate / problem.on_hand_kg, 0.0))
    if loaded:
        for d in range(n):  # no more sown than was loaded; never more than a load in the cart
            through = (day <= d) * problem.area_m2[pad] * rate / problem.load_kg
            fixed_rows.append(np.append(through, 0.0))
            fixed_rows.append(np.append(-through, -1.0))
    block = np.array(fixed_rows)
    sides, upper = [], []
    for visits, fills, room in cases:
        side = [1.0] * m + list(np.maximum(room, 0.0) / HOUR)
        if problem.on_hand_kg is not None:
            side.append(1.0)
        if loaded:
            for through in np.cumsum(fills):
                side += [float(through), 1.0 - float(through)]
        sides.append(side)
        upper.append([*map(float, visits), np.inf])
    worth = problem.value_per_m2 * problem.area_m2 / 1e4
    cost = np.tile(np.append(-worth[pad], 1e4), len(cases))
    solved = linprog(
        cost,
        A_ub=sparse.block_diag([block] * len(cases), format="csr"),
        b_ub=np.concatenate(sides),
        bounds=np.column_stack([np.zeros(cost.size), np.concatenate(upper)]),
        method="highs",
    )
    assert solved.status == 0
    table = solved.x.reshape(len(cases), k + 1)
    value = table[:, :k] @ worth[pad] * 1e4
    return np.where(table[:, k] > 1e-9, -1.0, value)


def assert_feasible(problem: ScheduleProblem, schedule: SeedingSchedule) -> None:
    """Windows, hours with set-up and fills, seed, and the cart: all kept."""
    share, rate = schedule.share, schedule.rate_kg_per_m2
    m, n = len(problem.area_m2), len(problem.capacity_s)
    assert share.shape == (m, n)
    assert schedule.fills.shape == (n,)
    assert (share >= 0).all()
    assert (share.sum(axis=1) <= 1 + 1e-9).all()
    for rule in problem.forbidden.values():
        assert not share[rule].any()
    assert problem.least_rate_kg_per_m2 * (1 - 1e-12) <= rate
    assert rate <= problem.most_rate_kg_per_m2 * (1 + 1e-12)
    used = problem.area_m2 @ share * rate
    if problem.on_hand_kg is not None:
        assert used.sum() <= problem.on_hand_kg * (1 + 1e-6)
    for d in range(n):
        visits = np.count_nonzero(share[:, d])
        time = problem.work_s @ share[:, d] + problem.setup_s * visits
        time += problem.refill_s * schedule.fills[d]
        assert time <= problem.capacity_s[d] * (1 + 1e-6) + 0.01
    if problem.load_kg is not None:
        in_cart = np.cumsum(schedule.fills) - np.cumsum(used) / problem.load_kg
        assert (in_cart >= -2e-6).all()
        assert (in_cart <= 1 + 2e-6).all()
    worth = float(problem.value_per_m2 * problem.area_m2 @ share.sum(axis=1))
    assert abs(schedule.value - worth) <= 1e-9 * max(worth, 1.0)
    assert schedule.bound >= schedule.value
