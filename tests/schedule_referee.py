"""Small schedules by enumeration and a checker of any schedule; shares no code with the planner.

Every set of visits and every number of fills a day is tried; for each the best shares and the
best size of each load are a linear program, and all of them are solved as one, block beside block.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
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


def refill_heavy(rng: np.random.Generator, **given: object) -> ScheduleProblem:
    """One or two paddocks where fills take much of two or three days, and the rate may change."""
    m, n = int(rng.integers(1, 3)), int(rng.integers(2, 4))
    p = small_problem(rng)
    area = rng.uniform(2, 8, m) * 1e4
    shut = rng.random((m, n)) < 0.2
    values: dict[str, object] = {
        "area_m2": area,
        "value_per_m2": rng.choice([1.0, 1.5], m),
        "work_s": area / 1e4 * rng.uniform(0.8, 1.2, m) * 1500.0,
        "forbidden": {"close": shut},
        "capacity_s": rng.uniform(1.0, 4.0, n) * HOUR,
        "most_rate_kg_per_m2": 0.0021,
        "on_hand_kg": float(area.sum() * 0.0015 * rng.uniform(0.8, 1.6)),
        "load_kg": float(area.sum() * 0.0015 * rng.uniform(0.2, 0.6)),
        "refill_s": float(rng.uniform(0.4, 1.2) * HOUR),
        "setup_s": float(rng.choice([0.0, 600.0])),
    }
    return replace(p, **{**values, **given})


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
    if not slots:
        return Enumerated(0.0, 0)
    cases = _cases(problem, rate, slots)
    if not cases:
        return Enumerated(0.0, 0)
    values = _best_values(problem, rate, slots, cases)
    best = max(values)
    near = [
        sum(visits)
        for (visits, _, _), value in zip(cases, values, strict=True)
        if value >= best * (1 - 1e-9) - 1e-9
    ]
    return Enumerated(best, min(near))


def _fill_counts(problem, rate, slots):  # type: ignore[no-untyped-def]
    n = len(problem.capacity_s)
    if problem.load_kg is None or problem.refill_s == 0:
        return [(0,) * n]
    # A load is whole unless the next fill is the first of a later day: one such a day at most.
    loads = problem.area_m2 * rate / problem.load_kg
    total = int(loads.sum()) + n
    most = [
        min(total, int(c // problem.refill_s), int(sum(loads[p] for p, on in slots if on == d)) + 2)
        for d, c in enumerate(problem.capacity_s)
    ]
    return [fills for fills in product(*(range(k + 1) for k in most)) if sum(fills) <= total]


def _cases(problem, rate, slots):  # type: ignore[no-untyped-def]
    """Visits and fills with the time left for work on each day.

    Left out is where set-up and fills do not fit, and where one less does as well: a visit without
    any time, and more fills on a day than those of whole loads, one before and one after them.
    """
    visits = list(product((0, 1), repeat=len(slots)))
    fills = _fill_counts(problem, rate, slots)
    days = np.arange(len(problem.capacity_s))
    on = np.array(visits) @ (np.array([d for _, d in slots])[:, None] == days)
    room = problem.capacity_s - problem.refill_s * np.array(fills) - problem.setup_s * on[:, None]
    filled, visited = np.array(fills) > 0, on[:, None] > 0
    bad = (room < 0) & filled | (room <= 0) & visited
    if problem.load_kg is not None and filled.any():
        fastest = (problem.area_m2 * rate / problem.work_s).max() / problem.load_kg
        bad |= filled & (np.array(fills) > np.floor(visited * room * fastest) + 2)
    return [(visits[v], fills[f], room[v, f]) for v, f in np.argwhere(~bad.any(axis=2)).tolist()]


def _best_values(problem, rate, slots, cases):  # type: ignore[no-untyped-def]
    """One linear program: each case a block of shares, sizes of loads, and one slack."""
    m, n, k = len(problem.area_m2), len(problem.capacity_s), len(slots)
    pad = np.array([p for p, _ in slots])
    day = np.array([d for _, d in slots])
    loads = max(sum(fills) for _, fills, _ in cases)
    none = np.zeros(loads + 1)
    fixed_rows = [np.append(pad == p, none) for p in range(m)]
    fixed_rows += [np.append((day == d) * problem.work_s[pad] / HOUR, none) for d in range(n)]
    if problem.on_hand_kg is not None:
        fixed_rows.append(np.append(problem.area_m2[pad] * rate / problem.on_hand_kg, none))
    blocks, sides, upper = {}, [], []
    for visits, fills, room in cases:
        if fills not in blocks:
            rows = [*fixed_rows, *_loads_sown(problem, rate, pad, day, fills, loads)]
            blocks[fills] = sparse.coo_array(np.array(rows, dtype=float))
        side = [1.0] * m + list(np.maximum(room, 0.0) / HOUR)
        side += [1.0] * (problem.on_hand_kg is not None)
        sides.append(side + [0.0] * (blocks[fills].shape[0] - len(side)))
        upper.append([*map(float, visits), *[1.0] * sum(fills), *[0.0] * (loads - sum(fills))])
    worth = problem.value_per_m2 * problem.area_m2 / 1e4
    cost = np.tile(np.concatenate([-worth[pad], np.zeros(loads), [1e4]]), len(cases))
    solved = linprog(
        cost,
        A_ub=_side_by_side([blocks[fills] for _, fills, _ in cases]),
        b_ub=np.concatenate(sides),
        bounds=np.column_stack([np.zeros(cost.size), np.ravel([[*row, np.inf] for row in upper])]),
        method="highs",
    )
    assert solved.status == 0
    table = solved.x.reshape(len(cases), k + loads + 1)
    value = table[:, :k] @ worth[pad] * 1e4
    return np.where(table[:, -1] > 1e-9, -1.0, value)


def _side_by_side(blocks):  # type: ignore[no-untyped-def]
    """Block beside block; scipy's own way takes longer than the solver."""
    ends = np.cumsum([block.shape for block in blocks], axis=0)
    starts = np.repeat(ends - [block.shape for block in blocks], [b.nnz for b in blocks], axis=0)
    row, column = (np.concatenate([b.coords[axis] for b in blocks]) for axis in (0, 1))
    data = np.concatenate([block.data for block in blocks])
    at = (row + starts[:, 0], column + starts[:, 1])
    return sparse.csr_array((data, at), shape=tuple(ends[-1]))


def _loads_sown(problem, rate, pad, day, fills, loads):  # type: ignore[no-untyped-def]
    """Rows, at most 0: each fill goes into an empty cart on its day, and what is sown was loaded.

    The cart is empty when all loads so far are sown, which has to be on that day: no later than
    what is sown by its evening, no sooner than by its morning. In loads; the last unknown is slack.
    """
    if problem.load_kg is None or problem.refill_s == 0:
        return
    days = np.repeat(np.arange(len(fills)), fills)

    def row(sown_by, filled, sign):  # type: ignore[no-untyped-def]
        """Seed sown by the end of a day less the first so many loads, times a sign."""
        sown = (day <= sown_by) * problem.area_m2[pad] * rate / problem.load_kg
        return np.concatenate([sign * sown, -sign * (np.arange(loads) < filled), [-1.0]])

    for number, d in enumerate(days):
        yield row(d - 1, number, 1.0)
        yield row(d, number, -1.0)
        if problem.within_days is not None:  # and it is at an end while it may stay
            yield row(d + problem.within_days - 1, number + 1, -1.0)
    yield row(len(fills), len(days), 1.0)


def assert_feasible(problem: ScheduleProblem, schedule: SeedingSchedule) -> None:
    """Windows, hours with set-up and fills, seed, and the cart: all kept."""
    share, rate = schedule.share, schedule.rate_kg_per_m2
    m, n = len(problem.area_m2), len(problem.capacity_s)
    assert share.shape == (m, n)
    assert schedule.fills.shape == (n,)
    assert (share >= 0).all()
    assert (share.sum(axis=1) <= 1 + 1e-9).all()
    for rule in problem.forbidden.values():
        assert not share[np.asarray(rule) != 0].any()
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
    if problem.load_kg is not None and used.any():
        sown = np.append(0.0, np.cumsum(used))
        _assert_filled_when_empty(sown, schedule.fills, problem.load_kg, problem.within_days)
    worth = float(problem.value_per_m2 * problem.area_m2 @ share.sum(axis=1))
    assert abs(schedule.value - worth) <= 1e-9 * max(worth, 1.0)
    assert schedule.bound >= schedule.value


def _assert_filled_when_empty(sown, fills, load, within):  # type: ignore[no-untyped-def]
    """Loads of some sizes, each put in on its day when the one before is sown, are enough."""
    days = np.repeat(np.arange(len(fills)), fills)
    low = high = 0.0  # what was sown when the cart is empty lies between
    for number, d in enumerate(days):
        low, high = max(low, sown[d]), min(high, sown[d + 1])
        assert low <= high + 2e-6 * load, number
        high += load
        if within is not None:
            high = min(high, sown[min(d + within, len(fills))])
    assert sown[-1] <= high + 2e-6 * load
