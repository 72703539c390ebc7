"""The herd's moves: days in each paddock, rest between, and whether the forage carries it."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from evenacre.coverage.field_plane import lay_out, plane_for
from evenacre.errors import InputError
from evenacre.model import FloatArray, Grazing, HerdClass, IntArray, Paddock, Stay
from evenacre.model.finding import Finding
from evenacre.planning.interseeding.plan_types import GrazingPlan, PlannedStay, Shortage

# Feed that is short by less than this share of it is there: the rounding of outlines and areas
# is no shortage.
_MOST_DAYS = 3650
_ROUNDING = 1e-6


def forage_demand_kg_per_day(herd: Sequence[HerdClass]) -> float:
    """Dry matter that a herd eats in a day: head times what each eats.

    Source: NCAT ATTRA, Grazier's Math.
    """
    return sum(animals.head * animals.intake_kg_per_day for animals in herd)


def available_forage_kg(forage_kg_per_m2: float, area_m2: float, utilization: float) -> float:
    """Forage that may be eaten: total forage times area times utilization.

    Source: USDA National Plant Materials Manual.
    """
    return forage_kg_per_m2 * area_m2 * utilization


def days_of_feed(available_kg: float, demand_kg_per_day: float) -> float:
    """Days that the available forage feeds a herd, fractions included.

    The same sum as the acres an animal unit needs for a stay. Source: Penn State Agronomy
    Guide, table 1.8-9.
    """
    return available_kg / demand_kg_per_day


def ground_m2(paddock: Paddock) -> tuple[float, float]:
    """Area inside a paddock's fence, and of the workable ground of it, which bears the forage."""
    ground = lay_out(paddock.field, plane_for(paddock.field, ()), shapely.Polygon(), 0.0)
    return float(ground.boundary.area), float(ground.workable.area)


def plan_grazing(grazing: Grazing) -> GrazingPlan:
    """Work out the herd's moves, or check those that are decided already.

    The herd stays for as many whole days as what it may eat feeds it, one at least. Forage
    grows from the first day of grazing on, not while it is grazed, and up to its most. A
    paddock whose turn comes before it has rested is grazed all the same, and the rest that it
    lacks is told, with what the herd would eat elsewhere meanwhile. Where forage is short the
    herd eats what is available and no more: the rest is feed to be found.

    Moves of paddocks that are not among ``grazing.paddocks`` are left out, with a warning; those
    that would go on for more years than anyone plans are refused.
    """
    demand = forage_demand_kg_per_day(grazing.herd)
    begin = grazing.start or min((stay.enter for stay in grazing.moves), default=None)
    stands = {p.field.name: _Stand(p, begin) for p in grazing.paddocks}
    stays: list[PlannedStay] = []
    shortages: list[Shortage] = []
    known_moves = [move for move in grazing.moves if move.paddock in stands]
    decided = sorted(known_moves, key=lambda move: move.enter)
    for stay in decided if grazing.moves else _computed(grazing, stands, demand):
        planned = stands[stay.paddock].graze(stay, demand)
        stays.append(planned)
        shortages += _shortages(planned, demand, grazing)
    known = [stay.available_kg for stay in stays if stay.available_kg is not None]
    return GrazingPlan(
        stays=tuple(stays),
        demand_kg_per_day=demand,
        supply_kg=sum(known) if stays and len(known) == len(stays) else None,
        needed_kg=sum(stay.stay.days for stay in stays) * demand,
        shortages=tuple(shortages),
        findings=tuple(_findings(grazing, stays)),
    )


class _Stand:
    """Forage of one paddock through the season."""

    def __init__(self, paddock: Paddock, begin: dt.date | None) -> None:
        self.paddock = paddock
        self.area_m2 = ground_m2(paddock)[1]
        self._since = begin
        self._standing = paddock.forage_kg_per_m2
        self._left: dt.date | None = None

    def on(self, day: dt.date) -> float | None:
        """Standing forage (kg/m2); None: not known."""
        if self._standing is None or self._since is None:
            return None
        days = (day - self._since).days
        return float(grown(self.paddock, np.array(self._standing), np.array(days)))

    def available_kg(self, day: dt.date) -> float | None:
        """What the herd may eat of it."""
        standing = self.on(day)
        if standing is None:
            return None
        return available_forage_kg(standing, self.area_m2, self.paddock.utilization)

    def graze(self, stay: Stay, demand_kg_per_day: float) -> PlannedStay:
        """Let the herd eat what it needs, and no more than it may.

        What is left standing is not known where the herd is not.
        """
        entry, available = self.on(stay.enter), self.available_kg(stay.enter)
        rested = None if self._left is None else (stay.enter - self._left).days
        need = demand_kg_per_day * stay.days
        eaten = need if available is None else min(need, available)
        residual = None
        if entry is not None and demand_kg_per_day > 0:
            residual = max(entry - eaten / self.area_m2, 0.0) if eaten else entry
        self._since = self._left = stay.leave
        self._standing = residual
        return PlannedStay(stay, rested, entry, residual, available, eaten)


def grown(paddock: Paddock, standing_kg_per_m2: FloatArray, days: IntArray) -> FloatArray:
    """Standing forage after so many days of growth, up to the most it grows to; any shape."""
    most = paddock.forage_most_kg_per_m2
    ceiling = np.inf if most is None else most
    taller = standing_kg_per_m2 + paddock.growth_kg_per_m2_per_day * np.maximum(days, 0)
    return np.asarray(np.maximum(standing_kg_per_m2, np.minimum(taller, ceiling)))


def _computed(grazing: Grazing, stands: dict[str, _Stand], demand: float) -> Iterator[Stay]:
    """Moves one after the other: each is grazed before the next is asked for."""
    if grazing.start is None or demand <= 0:
        return
    enter = grazing.start
    rounds = itertools.cycle(grazing.paddocks) if grazing.end else grazing.paddocks
    for paddock in rounds:
        available = stands[paddock.field.name].available_kg(enter) or 0.0
        days = max(math.floor(days_of_feed(available, demand) * (1 + _ROUNDING)), 1)
        if not grazing.end and (enter - grazing.start).days + days > _MOST_DAYS:
            raise InputError.at(
                "grazing",
                f'paddock "{paddock.field.name}"',
                "The forage up to here would feed the herd for more than ten years.",
                "Check head, weight and intake of the herd, and the forage.",
            )
        days = min(days, _MOST_DAYS)
        leave = enter + dt.timedelta(days=days)
        if grazing.end:
            leave = min(leave, grazing.end)
        if leave <= enter:
            return
        yield Stay(paddock.field.name, enter, leave)
        enter = leave


def _shortages(planned: PlannedStay, demand: float, grazing: Grazing) -> Iterator[Shortage]:
    stay, available = planned.stay, planned.available_kg
    if planned.rested_days is not None and planned.rested_days < grazing.rest_days:
        missing = grazing.rest_days - planned.rested_days
        yield Shortage("rest", stay.paddock, stay.enter, missing, missing * demand)
    if available is None or demand <= 0:
        return
    fed = days_of_feed(available, demand)
    if fed < stay.days * (1 - _ROUNDING):
        kind = "ground" if stay.days == 1 and not grazing.moves else "forage"
        runs_out = stay.enter + dt.timedelta(days=math.floor(fed))
        missing_kg = stay.days * demand - available
        yield Shortage(kind, stay.paddock, runs_out, stay.days - fed, missing_kg)


def _findings(grazing: Grazing, stays: Sequence[PlannedStay]) -> Iterator[Finding]:
    if grazing.moves and not grazing.herd:
        yield Finding.warning("no_herd")
    unknown = dict.fromkeys(s.stay.paddock for s in stays if s.available_kg is None)
    if grazing.herd and unknown:
        yield Finding.warning("no_forage", paddocks=tuple(unknown))
    paddocks = [paddock.field.name for paddock in grazing.paddocks]
    for name in dict.fromkeys(move.paddock for move in grazing.moves):
        if name not in paddocks:
            yield Finding.warning("unknown_move", paddock=name)
    grazed = {s.stay.paddock for s in stays}
    grazed |= {p.field.name for p in grazing.paddocks if p.window is not None}
    idle = tuple(name for name in paddocks if name not in grazed)
    if stays and idle:
        yield Finding.warning("never_grazed", paddocks=idle)
    for before, after in itertools.pairwise(s.stay for s in stays):
        if after.enter < before.leave:
            yield Finding.warning(
                "moves_overlap",
                paddock=after.paddock,
                enters=str(after.enter),
                before=before.paddock,
                leaves=str(before.leave),
            )
