"""The cart: what it sows before it runs empty, and the drill's visits and fills by the clock."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from evenacre.model import FloatArray, IntArray
from evenacre.planning.interseeding.plan_types import (
    CartFill,
    ScheduleProblem,
    SeedingSchedule,
    Visit,
    WorkDay,
)

LOAD_TOLERANCE = 1e-6
"""Part of a load that no one goes back for: below the solver's own tolerance."""


def fills_through(used_kg: FloatArray, load_kg: float) -> IntArray:
    """Fills, whole loads each from an empty cart, that it takes to have sown so much."""
    return np.ceil(used_kg / load_kg - LOAD_TOLERANCE).astype(np.int64)


def sown_kg(
    wanted_kg: FloatArray,
    cart_kg: FloatArray,
    time_s: FloatArray,
    kg_per_s: float,
    load_kg: float | None,
    refill_s: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sow as much of ``wanted_kg`` as time allows, filling the cart whenever it runs empty.

    Closed form: what is in the cart, then whole rounds of a fill and a load, then part of one.
    Arrays are of one shape; without a load the cart never runs empty. Returned are the seed sown,
    what is left in the cart, and the time it took with fills.
    """
    if load_kg is None:
        sown = np.minimum(wanted_kg, time_s * kg_per_s)
        return sown, cart_kg, sown / kg_per_s
    first = np.minimum(np.minimum(wanted_kg, cart_kg), time_s * kg_per_s)
    time = time_s - first / kg_per_s
    wanted = wanted_kg - first
    wanted = np.where((cart_kg - first > 0) | (wanted <= LOAD_TOLERANCE * load_kg), 0.0, wanted)
    round_s = refill_s + load_kg / kg_per_s
    rounds = np.floor(time / round_s)
    last = np.maximum(time - rounds * round_s - refill_s, 0.0) * kg_per_s
    later = np.minimum(wanted, rounds * load_kg + last)
    fills = np.ceil(later / load_kg - LOAD_TOLERANCE)
    left = cart_kg - first + fills * load_kg - later
    left = np.where(left <= LOAD_TOLERANCE * load_kg, 0.0, left)
    sown = first + later
    return sown, left, sown / kg_per_s + fills * refill_s


def visits_and_fills(
    problem: ScheduleProblem,
    schedule: SeedingSchedule,
    names: Sequence[str],
    days: Sequence[WorkDay],
    closes: Sequence[dt.date | None],
) -> tuple[tuple[Visit, ...], tuple[CartFill, ...]]:
    """Walk through a schedule of m named paddocks on n days, day by day and in order.

    A day begins in the paddock that the day before left unfinished; then comes that which
    closes first, then by name. The cart is filled where it runs empty, or in the evening or on
    a day without a visit where the schedule fills it for a later day. Every fill is a whole
    load, but the last is only what is still needed: fills add up to what the visits sow. Without
    a load there are none.
    """
    order: list[tuple[int, int]] = []  # (day, paddock) of all visits
    for d in range(schedule.share.shape[1]):
        before = order[-1][1] if order else -1
        here = [int(p) for p in np.nonzero(schedule.share[:, d])[0]]
        here.sort(key=lambda p: (p != before, closes[p] or dt.date.max, names[p]))
        order += [(d, p) for p in here]
    seed = problem.seed_kg(schedule.rate_kg_per_m2)
    sown = np.array([seed[p] * schedule.share[p, d] for d, p in order])
    ends = np.concatenate([[0.0], np.cumsum(sown)])
    loads = _loads(ends, problem.load_kg)
    visits: list[Visit] = []
    fills: list[CartFill] = []

    def fill(d: int, start_s: float, p: int) -> None:
        """Fill the cart in a paddock with what is sown between two times it is empty."""
        low, high = loads[len(fills)], loads[len(fills) + 1]
        serves: dict[str, float] = {}
        parts = np.minimum(ends[1:], high) - np.maximum(ends[:-1], low)
        for i in np.nonzero(parts > 0)[0]:
            name = names[order[int(i)][1]]
            serves[name] = serves.get(name, 0.0) + float(parts[i])
        mass_kg, served = float(high - low), tuple(serves.items())
        number = len(fills) + 1
        fills.append(CartFill(number, days[d].day, float(start_s), names[p], mass_kg, served))

    clock, today, filled_today = 0.0, -1, 0
    for i, (d, p) in enumerate(order):
        if d != today:
            early = [e for e in range(today + 1, d) if schedule.fills[e]]
            if early and len(fills) < len(loads) - 1 and loads[len(fills)] == ends[i]:
                fill(early[0], days[early[0]].start_s, p)
            clock, today, filled_today = days[d].start_s, d, 0
        start = clock
        clock += problem.setup_s
        work_s = problem.work_s[p] * schedule.share[p, d]
        kg_per_s = sown[i] / work_s if work_s > 0 else np.inf
        at = ends[i]
        last_today = i + 1 == len(order) or order[i + 1][0] != d
        while len(fills) < len(loads) - 1:
            empty = loads[len(fills)]
            evening = last_today and filled_today < schedule.fills[d] and empty == ends[i + 1]
            if empty >= ends[i + 1] and not evening:
                break
            clock += (empty - at) / kg_per_s
            at = empty
            fill(d, clock, p)
            clock += problem.refill_s
            filled_today += 1
        clock += (ends[i + 1] - at) / kg_per_s
        visits.append(
            Visit(
                paddock=names[p],
                day=days[d].day,
                start_s=float(start),
                end_s=float(clock),
                area_m2=float(problem.area_m2[p] * schedule.share[p, d]),
                seed_kg=float(sown[i]),
                share=float(schedule.share[p, d]),
            )
        )
    return tuple(visits), tuple(fills)


def _loads(ends: FloatArray, load_kg: float | None) -> FloatArray:
    """Seed sown when the cart runs empty, from 0 to the whole: one more than there are fills.

    Where that is the end of a visit but for rounding, it is the end of the visit.
    """
    total = float(ends[-1])
    if load_kg is None or total <= 0:
        return np.zeros(1)
    count = max(int(np.ceil(total / load_kg - LOAD_TOLERANCE)), 1)
    loads = np.arange(count + 1) * load_kg
    loads[-1] = total
    nearest = ends[np.abs(ends[:, None] - loads).argmin(axis=0)]
    near = np.abs(nearest - loads) <= LOAD_TOLERANCE * load_kg
    return np.where(near, nearest, loads)
