"""The loads of a schedule whose days are decided: how large each is, and when the cart is filled.

Only what takes time from a day is a matter of the schedule: how much can be sown from fill to fill,
and how long a load may stay in the cart. Where a load ends is settled here, afterwards, by a
dynamic program over the ends of loads: with a pass, and of whole bags where seed comes in bags.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from evenacre.model import FloatArray, IntArray, SeedBin

LOAD_TOLERANCE = 1e-6
"""Part of a load that no one goes back for: below the solver's own tolerance."""

# What counts as so many fills: seed that stands in the cart while nothing is sown, and a bag that
# is opened for the last load, or has to be earlier (common practice, no source). Lesser wishes
# decide between loads that cost as much.
_STANDS, _OPENED = 1.5, 3.0
_LONG_DAYS = 3

Cost = tuple[float, int, float]


@dataclass(frozen=True)
class Cart:
    """What the cart holds; amounts that are of no compartment are of all the seed sown.

    All compartments are filled at each stop: the one that is empty first decides when that is.
    """

    bins: tuple[SeedBin, ...]
    within_days: int | None = None  # a load is sown in so many, that of the fill counted
    on_hand_kg: float = math.inf  # seed there is, what the cart holds at first included

    @property
    def load_kg(self) -> float:
        """Seed that can be sown from one fill to the next, in whole bags where it comes in bags."""
        return min(b.bags_kg(b.room_kg) / b.share for b in self.bins)

    @property
    def start_kg(self) -> float:
        """Seed that can be sown before the first fill."""
        return max(min((b.start_kg - b.least_kg) / b.share for b in self.bins), 0.0)

    @property
    def least_kg(self) -> float:
        """Seed that stays in the cart whatever is sown."""
        return sum(b.least_kg for b in self.bins)

    def full_kg(self, at_kg: float) -> float:
        """How much can be sown with as much as goes in after so much, bags opened if need be."""
        return min(at_kg + b.room_kg / b.share for b in self.bins)

    def whole_kg(self, at_kg: float) -> float:
        """The same where no bag is opened: each compartment takes the whole bags that fit."""
        far = self.full_kg(at_kg)
        for b in self.bins:
            if b.bag_kg is not None:
                most = b.bags_kg(b.load_kg - b.start_kg + b.share * at_kg)
                far = min(far, (most + b.start_kg - b.least_kg) / b.share)
        return far

    def put_in(self, at_kg: float, until_kg: float) -> tuple[list[float], int]:
        """Seed of each compartment put in by then, all told, for a load; and bags to be opened."""
        exact = [max(b.share * until_kg + b.least_kg - b.start_kg, 0.0) for b in self.bins]
        whole = [b.bags_kg(kg, up=True) for b, kg in zip(self.bins, exact, strict=True)]
        left = self.on_hand_kg - sum(b.start_kg for b in self.bins)
        opened = 0
        for i, b in enumerate(self.bins):
            slack = LOAD_TOLERANCE * b.load_kg
            too_much = b.start_kg + whole[i] - b.share * at_kg > b.load_kg + slack
            if whole[i] > exact[i] + slack and (too_much or sum(whole) > left + slack):
                whole[i] = exact[i]
                opened += 1
        return whole, opened


@dataclass(frozen=True)
class Stop:
    """The cart is filled on a day, after so much was sown, for what is sown until so much is."""

    day: int
    at_kg: float
    until_kg: float


def best_loads(
    ends_kg: FloatArray,
    days: Sequence[int],
    most: IntArray,
    cart: Cart,
    breaks_kg: FloatArray,
    *,
    whole_bags: bool = True,
    whole_passes: bool = True,
) -> list[Stop] | None:
    """Find the loads that take the fewest fills; None: there are none that fit.

    Parameters
    ----------
    ends_kg : ndarray of float, shape (v,)
        Seed sown, all told, at the end of each visit.
    days : sequence of int, (v,)
        The day of each visit, in order.
    most : ndarray of int, shape (n,)
        Fills that each day has time for.
    cart : Cart
    breaks_kg : ndarray of float, shape (b,)
        Seed sown at the end of each pass, in order.
    whole_bags : bool
        Whether every load but the last has to be of whole bags.
    whole_passes : bool
        Whether every load has to end with a pass, unless it is less than one, or begins within one
        since the load before was.

    Seed that would stand in the cart for days while nothing is sown is worth a fill more, and a
    bag that would have to be opened even two. Of loads that are as good, those that end with a
    paddock are taken, then those that stand in the cart least, over night. It is enough to look at
    loads that are full, or end with a visit: whatever other loads there are, each can be made
    larger, up to the last pass it holds out for, until it is one of these.
    """
    ways = _Ways(ends_kg, np.array(days), most, cart, breaks_kg, whole_bags, whole_passes)
    return ways.cheapest()


@dataclass(eq=False)
class _Ways:
    """All ways to fill the cart. A state: seed sown by a fill, its day, and its number that day."""

    ends: FloatArray
    days: IntArray
    most: IntArray
    cart: Cart
    breaks: FloatArray
    whole_bags: bool
    whole_passes: bool

    def __post_init__(self) -> None:
        self.slack = LOAD_TOLERANCE * self.cart.load_kg
        nights = np.diff(self.days, append=self.days[-1:])
        before = [0.0]
        self.nights = np.concatenate([before, np.cumsum(nights)])
        self.standing = np.concatenate([before, np.cumsum(nights * self.ends)])
        self.long = np.concatenate([before, np.cumsum(nights > _LONG_DAYS)])

    def cheapest(self) -> list[Stop] | None:
        """The stops of the cheapest way."""
        found: dict[tuple[int, int, int], tuple[Cost, Stop | None, Any]] = {}
        queue: list[tuple[float, int, int]] = []
        goal = float(self.ends[-1])
        best: tuple[Cost, Stop | None, Any] | None = None

        def reach(cost: Cost, stop: Stop | None, since: Any, at: float, used: int) -> None:
            """Take over a way that is empty after so much, if it is cheaper than those known."""
            for day in self._days_at(at, stop):
                count = used + 1 if stop is not None and day == stop.day else 1
                key = (round(at / self.slack), day, count)
                if count <= self.most[day] and (key not in found or cost < found[key][0]):
                    if key not in found:
                        heapq.heappush(queue, (at, day, count))
                    found[key] = (cost, stop, since)

        within = self.cart.within_days
        fresh = self.ends if within is None else self.ends[self.days < within]
        start = min(self.cart.start_kg, float(fresh[-1:].sum()))  # what the cart holds at first
        if start >= goal - self.slack:
            return []
        for at in [0.0, *self._ends_from(0.0, {start})]:
            within = int(start > 0 and at not in self.ends) + self._within_a_pass(at)
            reach((0.0, within, 0.0), None, None, at, 0)
        while queue:
            at, day, used = heapq.heappop(queue)
            here = (round(at / self.slack), day, used)
            cost = found[here][0]
            for until in self._ends_from(at, {self.cart.whole_kg(at), self.cart.full_kg(at)}):
                more = self._cost(at, until, day)
                if more is None:
                    continue
                total = (cost[0] + more[0], cost[1] + more[1], cost[2] + more[2])
                stop = Stop(day, at, until)
                if until < goal:
                    reach(total, stop, here, until, used)
                elif best is None or total < best[0]:
                    best = (total, stop, here)
        stops: list[Stop] = []
        while best is not None and best[1] is not None:
            stops.insert(0, best[1])
            best = found[best[2]]
        return stops or None

    def _ends_from(self, at: float, far: set[float]) -> list[float]:
        """Where a load may end: with a visit, or when it is all sown; never past the last."""
        first = np.searchsorted(self.ends, at + self.slack, side="right")
        last = np.searchsorted(self.ends, max(far) + self.slack, side="right")
        ends = self.ends[first:last].tolist()
        for end in {whole for one in far for whole in self._with_a_pass(at, one)}:
            near = np.abs(self.ends - end).min() <= self.slack
            if at + self.slack < end < self.ends[-1] and not near:
                ends.append(end)
        return ends

    def _with_a_pass(self, at: float, end: float) -> set[float]:
        """The end of the last pass that a load holds out for, and its own where it may be that."""
        whole = self.breaks[: np.searchsorted(self.breaks, end + self.slack, side="right")]
        last = {float(one) for one in whole[-1:] if one > at + self.slack}
        return last if last and self.whole_passes and not self._within_a_pass(at) else last | {end}

    def _within_a_pass(self, at: float) -> bool:
        return bool(at > 0 and np.abs(self.breaks - at).min(initial=np.inf) > self.slack)

    def _days_at(self, at: float, stop: Stop | None) -> list[int]:
        """Days on which the cart can be filled when so much is sown, the last of them first."""
        visit = int(np.searchsorted(self.ends, at, side="right"))
        last = int(self.days[visit])
        begun = visit > 0 and self.ends[visit - 1] != at
        if begun or (visit == 0 and at > 0):
            return [last]
        first = int(self.days[visit - 1]) if visit else 0
        between = np.flatnonzero(self.most[first:last]) + first
        options = [last, *between[-1:].tolist(), first]
        since = -1 if stop is None else stop.day
        return [day for day in dict.fromkeys(options) if day >= since]

    def _cost(self, at: float, until: float, day: int) -> Cost | None:
        """What a load costs that is put in on a day; None: it would stay in the cart too long."""
        first = int(np.searchsorted(self.ends, at, side="right"))
        last = int(np.searchsorted(self.ends, until, side="left"))
        within = self.cart.within_days
        if within is not None and self.days[last] >= day + within:
            return None
        waits = int(self.days[first]) - day
        stands = self.long[last] - self.long[first] + (waits > _LONG_DAYS)
        nights = until * (self.nights[last] - self.nights[first] + waits) - at * waits
        kg_nights = nights - (self.standing[last] - self.standing[first])
        opened = self.cart.put_in(at, until)[1]
        if opened and self.whole_bags and until < self.ends[-1]:
            return None
        cost = 1.0 + _STANDS * float(stands) + _OPENED * opened
        within = int(self.ends[last] != until) + self._within_a_pass(until)
        return cost, within, float(kg_nights)
