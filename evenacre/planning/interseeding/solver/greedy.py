"""A schedule by plain rules, day after day: quick, feasible, and often the best there is."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np

from evenacre.model import FloatArray, IntArray
from evenacre.planning.interseeding.fills import sown_kg
from evenacre.planning.interseeding.solver.slots import Slots

_LEAST_SHARE = 1e-9


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
    load_kg = problem.load_kg if problem.counts_fills else None
    most = slots.spread(slots.most)
    # The best day still to come for each paddock, after each day.
    later = np.zeros_like(most)
    later[:, :-1] = np.maximum.accumulate(most[:, :0:-1], axis=1)[:, ::-1]
    share = np.zeros_like(most)
    left = wanted.copy()
    cart = 0.0
    stock = np.inf if problem.on_hand_kg is None else problem.on_hand_kg
    begun = -1
    for day in slots.days:
        time = float(capacity_s[day])
        here = [int(p) for p in np.nonzero((most[:, day] > 0) & (left > _LEAST_SHARE))[0]]
        for p in sorted(here, key=lambda p: (p != begun, rank[p])):
            if time <= problem.setup_s or stock <= 0:
                break
            want_kg = min(left[p] * full_kg[p], stock)
            speed = full_kg[p] / problem.work_s[p] if problem.work_s[p] > 0 else 1e300
            want, inside, room = np.array([[want_kg], [cart], [time - problem.setup_s]])
            done = sown_kg(want, inside, room, speed, load_kg, problem.refill_s)
            sown, cart_after, spent = (float(values[0]) for values in done)
            part = sown / full_kg[p]
            if part <= _LEAST_SHARE:
                continue
            if whole and part < want_kg / full_kg[p] - 1e-9 and later[p, day] >= left[p]:
                continue
            share[p, day] = min(part, left[p])
            left[p] = max(left[p] - part, 0.0)
            cart, stock = cart_after, stock - sown
            time -= spent + problem.setup_s
            begun = p if left[p] > _LEAST_SHARE else -1
    return share
