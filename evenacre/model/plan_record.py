"""What a plan of interseeding set down, as its file tells it once the season is over."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from evenacre.model.season import InputFile


@dataclass(frozen=True)
class PlannedWindow:
    """When a paddock was to be seeded."""

    # First and last day of each run of open days, in order; empty: no day was open
    spells: tuple[tuple[dt.date, dt.date], ...]
    back: dt.date | None = None  # the herd was to enter again

    def days_outside(self, day: dt.date) -> int | None:
        """Days from a day to the nearest open one: 0 open, above 0 too late, below too early.

        Between two spells the nearer of them counts. None when no day was open.
        """
        if any(first <= day <= last for first, last in self.spells):
            return 0
        away = [(day - (last if day > last else first)).days for first, last in self.spells]
        return min(away, key=lambda days: (abs(days), -days), default=None)


@dataclass(frozen=True)
class PlannedVisit:
    """The drill was to be in the paddock on a day, for so much ground and seed."""

    day: dt.date
    area_m2: float
    seed_kg: float


@dataclass(frozen=True)
class PlannedPaddock:
    """What was planned for one paddock."""

    name: str
    workable_m2: float
    window: PlannedWindow | None  # None: it was not to be seeded
    visits: tuple[PlannedVisit, ...] = ()  # in order of time; empty: the plan had no room for it
    graze_from: dt.date | None = None  # first day it was to be grazed after seeding

    @property
    def area_m2(self) -> float:
        """Ground to be seeded."""
        return sum(visit.area_m2 for visit in self.visits)

    @property
    def seed_kg(self) -> float:
        """Seed to be put on it."""
        return sum(visit.seed_kg for visit in self.visits)


@dataclass(frozen=True)
class PlannedSeeding:
    """A plan of interseeding, as far as it can be held against what was done."""

    product: str  # the seed lot or blend
    parts: tuple[str, ...]  # what the blend is mixed of; the product itself where it is no blend
    paddocks: tuple[PlannedPaddock, ...]
    file: InputFile  # where it was read

    @property
    def rest_days(self) -> int | None:
        """Days from seeding to grazing, from the paddocks; None: the plan does not tell."""
        days = [
            (p.graze_from - max(v.day for v in p.visits)).days
            for p in self.paddocks
            if p.graze_from is not None and p.visits
        ]
        return max(days, default=None)
