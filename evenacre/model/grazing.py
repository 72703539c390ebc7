"""Grazed ground: the herd, its paddocks and its moves.

Days are calendar days of the farm (``datetime.date``). Masses of forage are dry matter.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenacre.model.field import Field

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True)
class HerdClass:
    """Animals of one kind."""

    name: str
    head: int
    weight_kg: float  # live weight of one
    intake_kg_per_day: float  # dry matter that one eats in a day


@dataclass(frozen=True)
class WetGround:
    """Ground that does not bear the drill; it is grazed all the same."""

    ground: BaseGeometry  # longitude and latitude
    until: dt.date | None = None  # from this day on it does; None: not this time


@dataclass(frozen=True)
class Paddock:
    """Ground that is grazed at one time and may be seeded afterwards."""

    field: Field  # its name, outline and unworkable ground
    # Standing on the first day of grazing; None: not known (moves are decided already)
    forage_kg_per_m2: float | None = None
    growth_kg_per_m2_per_day: float = 0.0
    forage_most_kg_per_m2: float | None = None  # it grows no further than this
    utilization: float = 0.5  # share of the standing forage that the herd is to eat, 0 to 1
    value: float = 1.0  # what an acre seeded here is worth beside an acre elsewhere
    seeded: bool = True  # whether it is to be interseeded
    # First and last day for seeding, where the user has decided them
    window: tuple[dt.date, dt.date] | None = None
    not_before: dt.date | None = None  # too wet to bear the drill before this day
    keep_out: tuple[WetGround, ...] = ()


@dataclass(frozen=True)
class Stay:
    """The herd in one paddock: in on the morning of ``enter``, out on that of ``leave``."""

    paddock: str
    enter: dt.date
    leave: dt.date

    @property
    def days(self) -> int:
        """Days of grazing."""
        return (self.leave - self.enter).days


@dataclass(frozen=True)
class Grazing:
    """A herd on its round of paddocks.

    Examples
    --------
    >>> grazing = ev.load_season(Path("season.toml"), must_hold="seeding").grazing
    >>> [paddock.field.name for paddock in grazing.paddocks]
    ['West paddock', 'East paddock']
    """

    herd: tuple[HerdClass, ...]  # They graze together. Empty when only dated moves are given.
    paddocks: tuple[Paddock, ...]  # in the order they are grazed
    # The herd enters the first paddock; None when the moves are decided
    start: dt.date | None = None
    # Grazing goes on, round after round, until this day; None: once through all paddocks
    end: dt.date | None = None
    rest_days: int = 30  # from leaving a paddock to entering it again, at least
    # Decided already, in order of time; empty: they are to be computed
    moves: tuple[Stay, ...] = ()
