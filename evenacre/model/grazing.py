"""Grazed ground: the herd, its paddocks, its moves, and the seed that is to go in behind it.

Days are calendar days of the farm (``datetime.date``); a clock time is in seconds after local
midnight. Masses of forage are dry matter.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from evenacre.model.field import Field
from evenacre.model.implement import Implement
from evenacre.model.product import Product


@dataclass(frozen=True)
class HerdClass:
    """Animals of one kind."""

    name: str
    head: int
    weight_kg: float  # live weight of one
    intake_kg_per_day: float  # dry matter that one eats in a day


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


@dataclass(frozen=True)
class Booking:
    """The drill is wanted elsewhere."""

    # Both included
    first: dt.date
    last: dt.date
    what: str  # what it is wanted for
    hours_s: float | None = None  # time it takes of each day; None: the whole day


@dataclass(frozen=True)
class Seeding:
    """How grazed paddocks are interseeded: seed, drill, windows, days and hours.

    Examples
    --------
    >>> seeding = ev.load_season(Path("season.toml"), must_hold="seeding").seeding
    >>> seeding.product.name
    'red clover'
    """

    product: Product  # a seed lot or a blend
    implement: Implement
    # Wanted. ``least_`` and ``most_rate_kg_per_m2`` bound what it may be changed to so that the
    # seed comes out even; both equal it when it is not to be changed.
    rate_kg_per_m2: float
    least_rate_kg_per_m2: float
    most_rate_kg_per_m2: float
    on_hand_kg: float | None = None  # seed there is; None: as much as it takes
    # A window opens and closes (that day still belongs to it) so many days after the herd left
    opens_after_days: int = 0
    closes_after_days: int = 14
    # A paddock with more than this left standing is not seeded
    residual_most_kg_per_m2: float | None = None
    # A window closes when regrowth stands higher than this
    regrowth_most_kg_per_m2: float | None = None
    # Of seeding, for all paddocks
    first_day: dt.date | None = None
    last_day: dt.date | None = None
    # Clock times between which the drill can work while it is light; None: from sunrise, to sunset
    day_from_s: float | None = None
    day_to_s: float | None = None
    hours_most_s: float | None = None  # drilling time in a day, refills and moves included, at most
    lost_days: tuple[dt.date, ...] = ()  # already known as lost to weather
    lost_chance: float = 0.0  # chance of any other day to be lost, 0 to 1
    bookings: tuple[Booking, ...] = ()
    speed_mps: float = 2.2352
    turn_speed_mps: float = 1.5
    turn_radius_m: float = 6.0  # the tightest the drill turns on
    setup_s: float = 900.0  # to move to a paddock and begin there, each time
    refill_s: float = 1200.0
    load_kg: float | None = None  # seed that a full cart takes; None: never refilled
    rest_days: int = 45  # from seeding a paddock to grazing it again
    # The seed's label forbids grazing for so long after seeding; 0: it does not
    withholding_days: int = 0
    treated: bool = False  # the seed is treated
    rounds: int = 2  # headland rounds
    prefer: str = "turns"  # ``"turns"`` or ``"overlap"``: what a good heading has least of
    runs: int = 2000  # simulated seasons when days may be lost
    random_seed: int = 1  # of the simulation

    @property
    def ungrazed_days(self) -> int:
        """Days after seeding for which the herd stays out: the rest, or the label's if longer."""
        return max(self.rest_days, self.withholding_days)
