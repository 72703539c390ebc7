"""The cart: what it sows before it runs empty, and the drill's visits and fills by the clock."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenacre.model import FloatArray, IntArray, SeedBin
from evenacre.planning.interseeding.loads import LOAD_TOLERANCE, Cart, Stop, best_loads
from evenacre.planning.interseeding.plan_types import (
    BinFill,
    CartFill,
    ScheduleProblem,
    SeedingSchedule,
    Visit,
    WorkDay,
)

_TIME_TOLERANCE_S = 1e-3  # the solver keeps the hours of a day no closer
_PASS_ROUNDING = 1e-7


def fills_needed(
    sown_kg: FloatArray,
    most: IntArray,
    load_kg: float,
    start_kg: float = 0.0,
    within_days: int | None = None,
) -> IntArray | None:
    """Find the fewest fills on each of n days, at most so many; None: they cannot be had.

    A fill goes into an empty cart and may be less than a load. So it need not wait until a whole
    load is used up: where the next day has no time for it, the load before is made smaller, and
    the cart is empty in the evening. That is why the seed that was loaded by the evening of a day
    can be anything from what was sown by then to a load more, or to a load for each fill more
    than in the evening before, whichever is less. Where a load has to be sown in so many days, nor
    can it be more than what is sown by the last of them. ``start_kg`` is in the cart on the first.
    """
    sown = np.cumsum(sown_kg) / load_kg
    n, start = len(sown), start_kg / load_kg
    need = np.append(np.concatenate([[0.0], sown[:-1]]), sown[-1:])  # loaded before each day
    most_loaded = sown + 1.0  # by the evening of a day with a fill
    if within_days is not None and n:
        by = sown[np.minimum(np.arange(n) + within_days, n) - 1]
        most_loaded, start = np.minimum(most_loaded, by), min(start, by[0])
    for day in reversed(range(n)):
        limit = max(most_loaded[day] if most[day] else sown[day] + 1.0, start)
        if need[day + 1] > limit + LOAD_TOLERANCE:
            return None
        need[day] = max(need[day], need[day + 1] - most[day])
    if n and need[0] > start + LOAD_TOLERANCE:
        return None
    fills, loaded = np.zeros(n, dtype=np.int64), start
    for day in range(n):
        fills[day] = max(np.ceil(need[day + 1] - loaded - LOAD_TOLERANCE), 0)
        if fills[day]:
            loaded = max(loaded, min(loaded + fills[day], most_loaded[day]))
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


@dataclass(frozen=True)
class Rounds:
    """How the drill goes round n days: the order of m named paddocks, their passes, and the cart.

    A day begins in the paddock that the day before left unfinished; then comes that which
    closes first, then by name. ``passes_m`` are the lengths of each paddock's passes, as they are
    driven; without them loads end anywhere.
    """

    names: Sequence[str]
    days: Sequence[WorkDay]
    closes: Sequence[dt.date | None]
    passes_m: Sequence[FloatArray] | None = None
    cart: Cart | None = None

    @property
    def parts_done(self) -> list[FloatArray]:
        """For each paddock the part of it that is done when each pass is, from 0 to 1."""
        each = [np.ones(1)] * len(self.names) if self.passes_m is None else self.passes_m
        return [_parts_done(one) for one in each]

    def cart_of(self, problem: ScheduleProblem) -> Cart | None:
        """The cart; one without compartments and bags where none was given."""
        if self.cart is not None or problem.load_kg is None:
            return self.cart
        return Cart((SeedBin("", "", problem.load_kg),), problem.within_days)

    def has_loads(self, problem: ScheduleProblem, schedule: SeedingSchedule) -> bool:
        """Whether whole bags make up all loads but the last, and all end with a pass."""
        walk, cart = _Walk(problem, schedule, self), self.cart_of(problem)
        return cart is None or not walk.order or walk.loads(cart) is not None

    def visits_and_fills(
        self, problem: ScheduleProblem, schedule: SeedingSchedule
    ) -> tuple[tuple[Visit, ...], tuple[CartFill, ...], SeedingSchedule]:
        """Walk through a schedule day by day and in order.

        The cart is filled as `best_loads` finds it best, on a day that has time for it. Returned
        besides is the schedule with these fills; without a load there are none.
        """
        walk, cart = _Walk(problem, schedule, self), self.cart_of(problem)
        stops = [] if cart is None or not walk.order else walk.stops(cart)
        visits, fills = walk.by_the_clock(stops, cart)
        counts = np.zeros_like(schedule.fills)
        np.add.at(counts, [stop.day for stop in stops], 1)
        ends = np.array([*(stop.at_kg for stop in stops), *walk.ends[-1:]]) if stops else None
        return visits, fills, replace(schedule, fills=counts, ends_kg=ends)


def _parts_done(passes_m: FloatArray) -> FloatArray:
    """Part of a paddock that is done when each pass is, from 0 on."""
    done = np.concatenate([[0.0], np.cumsum(passes_m)])
    return done / done[-1] if done[-1] > 0 else np.linspace(0.0, 1.0, max(len(done), 2))


class _Walk:
    """Visits in their order, and what was sown when each is over."""

    def __init__(self, problem: ScheduleProblem, schedule: SeedingSchedule, rounds: Rounds) -> None:
        self.problem, self.schedule = problem, schedule
        names, closes = rounds.names, rounds.closes
        self.names, self.days, self.done = names, rounds.days, rounds.parts_done
        self.knows_passes = rounds.passes_m is not None
        self.order: list[tuple[int, int]] = []  # (day, paddock) of all visits
        for d in range(schedule.share.shape[1]):
            before = self.order[-1][1] if self.order else -1
            here = [int(p) for p in np.nonzero(schedule.share[:, d])[0]]
            here.sort(key=lambda p: (p != before, closes[p] or dt.date.max, names[p]))
            self.order += [(d, p) for p in here]
        self.seed_kg = problem.seed_kg(schedule.rate_kg_per_m2)
        self.sown = np.array([self.seed_kg[p] * schedule.share[p, d] for d, p in self.order])
        self.ends = np.concatenate([[0.0], np.cumsum(self.sown)])
        before_day = np.cumsum(schedule.share, axis=1) - schedule.share
        self.begun = [float(before_day[p, d]) for d, p in self.order]  # part done when each begins

    def loads(self, cart: Cart, *, bags: bool = True, passes: bool = True) -> list[Stop] | None:
        """The best loads, of whole bags, and each ending with a pass, where so asked."""
        problem, schedule = self.problem, self.schedule
        spent = problem.work_s @ schedule.share + problem.setup_s * (schedule.share > 0).sum(axis=0)
        most = np.full(len(spent), len(self.order) + int(self.ends[-1] / cart.load_kg) + 1)
        if problem.counts_fills:
            time = np.maximum(problem.capacity_s - spent, 0.0) + _TIME_TOLERANCE_S
            most = np.maximum(schedule.fills, (time // problem.refill_s).astype(np.int64))
        most[: problem.fills_from] = 0
        breaks = [
            self.ends[i] + self.seed_kg[p] * (self.done[p] - begun)
            for i, ((_, p), begun) in enumerate(zip(self.order, self.begun, strict=True))
        ]
        inside = [
            b[(b > low) & (b <= high)]
            for b, low, high in zip(breaks, self.ends[:-1], self.ends[1:], strict=True)
        ]
        return best_loads(
            self.ends[1:],
            [d for d, _ in self.order],
            most,
            cart,
            np.concatenate(inside),
            whole_bags=bags,
            whole_passes=passes and self.knows_passes,
        )

    def stops(self, cart: Cart) -> list[Stop]:
        """When the cart is filled; as the schedule has it where the search finds nothing.

        A bag is opened, or a load ends within a pass, only where none does without.
        """
        problem, schedule = self.problem, self.schedule
        found = self.loads(cart)
        for bags, passes in ((False, True), (True, False), (False, False)):
            if found is None:
                found = self.loads(cart, bags=bags, passes=passes)
        if found is None:  # by no more than rounding
            ends, day = loads_of(schedule.fills, schedule.sown_kg(problem), cart.load_kg)
            near = np.abs(self.ends[:, None] - ends).argmin(axis=0)
            close = np.abs(self.ends[near] - ends) <= LOAD_TOLERANCE * cart.load_kg
            ends = np.where(close, self.ends[near], ends)
            found = [
                Stop(int(d), float(a), float(b))
                for d, a, b in zip(day, ends[:-1], ends[1:], strict=True)
            ]
        return found

    def by_the_clock(
        self, stops: Sequence[Stop], cart: Cart | None
    ) -> tuple[tuple[Visit, ...], tuple[CartFill, ...]]:
        """Visits and fills with their times."""
        problem, order, ends, days = self.problem, self.order, self.ends, self.days
        visits: list[Visit] = []
        fills: list[CartFill] = []
        held = [0.0] * len(cart.bins) if cart else []

        def fill(start_s: float, i: int) -> None:
            """Fill the cart with what is sown until the next stop, during a visit."""
            nonlocal held
            assert cart is not None
            stop = stops[len(fills)]
            before, (held, _) = held, cart.put_in(stop.at_kg, stop.until_kg)
            fills.append(self._fill(len(fills) + 1, start_s, i, stop, cart, before, held))

        clock, today = 0.0, -1
        for i, (d, p) in enumerate(order):
            if d != today:
                while len(fills) < len(stops) and stops[len(fills)].day < d:
                    fill(days[stops[len(fills)].day].start_s, i)
                clock, today = days[d].start_s, d
            start = clock
            clock += problem.setup_s
            work_s = problem.work_s[p] * self.schedule.share[p, d]
            kg_per_s = self.sown[i] / work_s if work_s > 0 else np.inf
            at = ends[i]
            last_today = i + 1 == len(order) or order[i + 1][0] != d
            while len(fills) < len(stops) and stops[len(fills)].day == d:
                empty = stops[len(fills)].at_kg
                if empty > ends[i + 1] or (empty == ends[i + 1] and not last_today):
                    break
                clock += (empty - at) / kg_per_s
                at = empty
                fill(clock, i)
                clock += problem.refill_s
            clock += (ends[i + 1] - at) / kg_per_s
            visits.append(self._visit(i, float(start), float(clock)))
        return tuple(visits), tuple(fills)

    def _visit(self, i: int, start_s: float, end_s: float) -> Visit:
        d, p = self.order[i]
        share = float(self.schedule.share[p, d])
        first, _ = self._passes_done(p, self.begun[i])
        last, into = self._passes_done(p, self.begun[i] + share)
        return Visit(
            paddock=self.names[p],
            day=self.days[d].day,
            start_s=start_s,
            end_s=end_s,
            area_m2=float(self.problem.area_m2[p] * share),
            seed_kg=float(self.sown[i]),
            share=share,
            first_pass=first + 1,
            last_pass=last + (into > 0),
        )

    def _passes_done(self, p: int, part: float) -> tuple[int, float]:
        """Passes that are whole when so much of a paddock is done, and the part of the next."""
        done = self.done[p]
        number = int(np.searchsorted(done, part + _PASS_ROUNDING, side="right")) - 1
        if number >= len(done) - 1:
            return len(done) - 1, 0.0
        into = (part - done[number]) / (done[number + 1] - done[number])
        return number, float(into) if into > 1e-3 else 0.0

    def _fill(
        self,
        number: int,
        start_s: float,
        i: int,
        stop: Stop,
        cart: Cart,
        before: Sequence[float],
        after: Sequence[float],
    ) -> CartFill:
        p = self.order[i][1]
        low, high = stop.at_kg, stop.until_kg
        parts = np.minimum(self.ends[1:], high) - np.maximum(self.ends[:-1], low)
        serves: dict[str, float] = {}
        for place in np.nonzero(parts > 0)[0]:
            name = self.names[self.order[int(place)][1]]
            serves[name] = serves.get(name, 0.0) + float(parts[place])
        sown = (low - self.ends[i]) / self.seed_kg[p] if self.seed_kg[p] > 0 else 0.0
        done, into = self._passes_done(p, self.begun[i] + max(sown, 0.0))
        each = tuple(
            BinFill(b.name, b.product, max(now - then, 0.0), b.start_kg + then - b.share * low)
            for b, then, now in zip(cart.bins, before, after, strict=True)
        )
        return CartFill(
            number=number,
            day=self.days[stop.day].day,
            start_s=float(start_s),
            paddock=self.names[p],
            mass_kg=sum(one.mass_kg for one in each),
            serves=tuple(serves.items()),
            left_kg=sum(one.left_kg for one in each),
            passes_done=done,
            into_pass=into,
            bins=each,
        )
