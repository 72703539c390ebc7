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


def fills_needed(sown_kg: FloatArray, most: IntArray, load_kg: float) -> IntArray | None:
    """Find the fewest fills on each of n days, at most so many; None: they cannot be had.

    A fill goes into an empty cart and may be less than a load. So it need not wait until a whole
    load is used up: where the next day has no time for it, the load before is made smaller, and
    the cart is empty in the evening. That is why the seed that was loaded by the evening of a day
    can be anything from what was sown by then to a load more, or to a load for each fill more
    than in the evening before, whichever is less.
    """
    sown = np.cumsum(sown_kg) / load_kg
    n = len(sown)
    need = np.append(np.concatenate([[0.0], sown[:-1]]), sown[-1:])  # loaded before each day
    for day in reversed(range(n)):
        if need[day + 1] > sown[day] + 1 + LOAD_TOLERANCE:
            return None
        need[day] = max(need[day], need[day + 1] - most[day])
    if n and need[0] > LOAD_TOLERANCE:
        return None
    fills, loaded = np.zeros(n, dtype=np.int64), 0.0
    for day in range(n):
        fills[day] = max(np.ceil(need[day + 1] - loaded - LOAD_TOLERANCE), 0)
        loaded = min(loaded + fills[day], sown[day] + 1) if fills[day] else loaded
    return fills


def loads_of(fills: IntArray, sown_kg: FloatArray, load_kg: float) -> tuple[FloatArray, IntArray]:
    """Seed sown when the cart runs empty, from 0 to all of it, and the day of each fill.

    A load is whole, unless the cart would not be empty on the day of the next fill; the last
    is what is still needed.
    """
    sown = np.cumsum(sown_kg)
    day = np.repeat(np.arange(len(fills)), fills)
    ends = [0.0]
    for by in [*day[1:], -1] if len(day) else []:
        ends.append(min(ends[-1] + load_kg, float(sown[by])))
    if ends[-1] > float(sown[-1:].sum()) - LOAD_TOLERANCE * load_kg:
        ends[-1] = float(sown[-1:].sum())
    return np.array(ends), day


def sown_in(
    wanted_kg: FloatArray,
    before_kg: FloatArray,
    filled: IntArray,
    time_s: FloatArray,
    kg_per_s: float,
    ends_kg: FloatArray,
    refill_s: float,
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Sow as much of ``wanted_kg`` as time allows, filling the cart whenever it runs empty.

    ``ends_kg`` is the seed sown when each load runs empty, from 0 on (see ``loads_of``); a cart
    that never does is one filled once, and ends at infinity. ``before_kg`` was sown already, and
    ``filled`` loads were put in. Arrays are of one shape. Returned are the seed sown, the loads
    put in by then, and the time it took with fills.
    """
    slack = LOAD_TOLERANCE * ends_kg[-1] / (len(ends_kg) - 1) if ends_kg[-1] < np.inf else 0.0
    # By a clock that starts with the first fill: when each load can be sown from, and when not.
    number = np.arange(1, len(ends_kg))
    begins_s = ends_kg[:-1] / kg_per_s + number * refill_s
    until_s = before_kg / kg_per_s + filled * refill_s + time_s
    by_time = np.maximum(np.searchsorted(begins_s, until_s, side="left"), filled)
    reached = np.minimum(ends_kg[by_time], (until_s - by_time * refill_s) * kg_per_s)
    goal = before_kg + wanted_kg
    by_need = np.maximum(np.searchsorted(ends_kg, goal - slack, side="left"), filled)
    by_need = np.minimum(by_need, len(ends_kg) - 1)
    enough = goal <= reached + slack
    sown = np.where(enough, wanted_kg, np.clip(reached - before_kg, 0.0, wanted_kg))
    loads = np.where(enough, by_need, by_time)
    return sown, loads, sown / kg_per_s + (loads - filled) * refill_s


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
    a day without a visit where the schedule fills it for a later day. Fills add up to what the
    visits sow (see ``loads_of``). Without a load there are none.
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
    loads, fill_days = _loads(ends, problem, schedule)
    visits: list[Visit] = []
    fills: list[CartFill] = []

    def fill(d: int, start_s: float, p: int, share: float) -> None:
        """Fill the cart in a paddock with what is sown between two times it is empty.

        ``share`` of the paddock is seeded by then.
        """
        low, high = loads[len(fills)], loads[len(fills) + 1]
        serves: dict[str, float] = {}
        parts = np.minimum(ends[1:], high) - np.maximum(ends[:-1], low)
        for i in np.nonzero(parts > 0)[0]:
            name = names[order[int(i)][1]]
            serves[name] = serves.get(name, 0.0) + float(parts[i])
        mass_kg, served = float(high - low), tuple(serves.items())
        number = len(fills) + 1
        fills.append(
            CartFill(number, days[d].day, float(start_s), names[p], mass_kg, served, share)
        )

    clock, today = 0.0, -1
    done = np.zeros(len(names))  # share of each paddock, before the visit
    for i, (d, p) in enumerate(order):
        if d != today:
            for early in fill_days[len(fills) :][fill_days[len(fills) :] < d]:
                fill(int(early), days[early].start_s, p, float(done[p]))
            clock, today = days[d].start_s, d
        start = clock
        clock += problem.setup_s
        work_s = problem.work_s[p] * schedule.share[p, d]
        kg_per_s = sown[i] / work_s if work_s > 0 else np.inf
        at = ends[i]
        last_today = i + 1 == len(order) or order[i + 1][0] != d
        while len(fills) < len(fill_days) and fill_days[len(fills)] == d:
            empty = loads[len(fills)]
            if empty > ends[i + 1] or (empty == ends[i + 1] and not last_today):
                break
            clock += (empty - at) / kg_per_s
            at = empty
            fill(d, clock, p, float(done[p] + (at - ends[i]) / seed[p]))
            clock += problem.refill_s
        clock += (ends[i + 1] - at) / kg_per_s
        done[p] += schedule.share[p, d]
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


def _loads(
    ends: FloatArray, problem: ScheduleProblem, schedule: SeedingSchedule
) -> tuple[FloatArray, IntArray]:
    """Seed sown when the cart runs empty, and the days of the fills.

    Where that is the end of a visit but for rounding, it is the end of the visit.
    """
    if problem.load_kg is None or not schedule.share.any():
        return np.zeros(1), np.zeros(0, dtype=np.int64)
    loads, day = loads_of(schedule.fills, schedule.sown_kg(problem), problem.load_kg)
    nearest = ends[np.abs(ends[:, None] - loads).argmin(axis=0)]
    near = np.abs(nearest - loads) <= LOAD_TOLERANCE * problem.load_kg
    return np.where(near, nearest, loads), day
