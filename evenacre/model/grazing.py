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
    """Animals of one kind.

    Attributes
    ----------
    name : str
    head : int
    weight_kg : float
        Live weight of one.
    intake_kg_per_day : float
        Dry matter that one eats in a day.
    """

    name: str
    head: int
    weight_kg: float
    intake_kg_per_day: float


@dataclass(frozen=True)
class Paddock:
    """Ground that is grazed at one time and may be seeded afterwards.

    Attributes
    ----------
    field : Field
        Its name, outline and unworkable ground.
    forage_kg_per_m2 : float or None
        Standing on the first day of grazing; None: not known (moves are decided already).
    growth_kg_per_m2_per_day : float
    forage_most_kg_per_m2 : float or None
        It grows no further than this.
    utilization : float
        Share of the standing forage that the herd is to eat, 0 to 1.
    value : float
        What an acre seeded here is worth beside an acre elsewhere.
    seeded : bool
        Whether it is to be interseeded.
    window : (date, date) or None
        First and last day for seeding, where the user has decided them.
    """

    field: Field
    forage_kg_per_m2: float | None = None
    growth_kg_per_m2_per_day: float = 0.0
    forage_most_kg_per_m2: float | None = None
    utilization: float = 0.5
    value: float = 1.0
    seeded: bool = True
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

    Attributes
    ----------
    herd : tuple of HerdClass
        They graze together. Empty when only dated moves are given.
    paddocks : tuple of Paddock
        In the order they are grazed.
    start : date or None
        The herd enters the first paddock; None when the moves are decided.
    end : date or None
        Grazing goes on, round after round, until this day; None: once through all paddocks.
    rest_days : int
        From leaving a paddock to entering it again, at least.
    moves : tuple of Stay
        Decided already, in order of time; empty: they are to be computed.

    Examples
    --------
    >>> grazing = ev.load_season(Path("season.toml"), must_hold="seeding").grazing
    >>> [paddock.field.name for paddock in grazing.paddocks]
    ['West paddock', 'East paddock']
    """

    herd: tuple[HerdClass, ...]
    paddocks: tuple[Paddock, ...]
    start: dt.date | None = None
    end: dt.date | None = None
    rest_days: int = 30
    moves: tuple[Stay, ...] = ()


@dataclass(frozen=True)
class Booking:
    """The drill is wanted elsewhere.

    Attributes
    ----------
    first, last : date
        Both included.
    what : str
        What it is wanted for.
    hours_s : float or None
        Time it takes of each day; None: the whole day.
    """

    first: dt.date
    last: dt.date
    what: str
    hours_s: float | None = None


@dataclass(frozen=True)
class Seeding:
    """How grazed paddocks are interseeded: seed, drill, windows, days and hours.

    Attributes
    ----------
    product : Product
        A seed lot or a blend.
    implement : Implement
    rate_kg_per_m2 : float
        Wanted. ``least_`` and ``most_rate_kg_per_m2`` bound what it may be changed to so that
        the seed comes out even; both equal it when it is not to be changed.
    on_hand_kg : float or None
        Seed there is; None: as much as it takes.
    opens_after_days, closes_after_days : int
        A window opens and closes (that day still belongs to it) so many days after the herd
        left.
    residual_most_kg_per_m2 : float or None
        A paddock with more than this left standing is not seeded.
    regrowth_most_kg_per_m2 : float or None
        A window closes when regrowth stands higher than this.
    first_day, last_day : date or None
        Of seeding, for all paddocks.
    day_from_s, day_to_s : float or None
        Clock times between which the drill can work while it is light; None: from sunrise, to
        sunset.
    hours_most_s : float or None
        Drilling time in a day, refills and moves included, at most.
    lost_days : tuple of date
        Already known as lost to weather.
    lost_chance : float
        Chance of any other day to be lost, 0 to 1.
    bookings : tuple of Booking
    speed_mps, turn_speed_mps : float
    turn_radius_m : float
        The tightest the drill turns on.
    setup_s : float
        To move to a paddock and begin there, each time.
    refill_s : float
    load_kg : float or None
        Seed that a full cart takes; None: never refilled.
    rest_days : int
        From seeding a paddock to grazing it again.
    withholding_days : int
        The seed's label forbids grazing for so long after seeding; 0: it does not.
    treated : bool
        The seed is treated.
    rounds : int
        Headland rounds.
    prefer : str
        ``"turns"`` or ``"overlap"``: what a good heading has least of.
    runs : int
        Simulated seasons when days may be lost.
    random_seed : int
        Of the simulation.

    Examples
    --------
    >>> seeding = ev.load_season(Path("season.toml"), must_hold="seeding").seeding
    >>> seeding.product.name
    'red clover'
    """

    product: Product
    implement: Implement
    rate_kg_per_m2: float
    least_rate_kg_per_m2: float
    most_rate_kg_per_m2: float
    on_hand_kg: float | None = None
    opens_after_days: int = 0
    closes_after_days: int = 14
    residual_most_kg_per_m2: float | None = None
    regrowth_most_kg_per_m2: float | None = None
    first_day: dt.date | None = None
    last_day: dt.date | None = None
    day_from_s: float | None = None
    day_to_s: float | None = None
    hours_most_s: float | None = None
    lost_days: tuple[dt.date, ...] = ()
    lost_chance: float = 0.0
    bookings: tuple[Booking, ...] = ()
    speed_mps: float = 2.2352
    turn_speed_mps: float = 1.5
    turn_radius_m: float = 6.0
    setup_s: float = 900.0
    refill_s: float = 1200.0
    load_kg: float | None = None
    rest_days: int = 45
    withholding_days: int = 0
    treated: bool = False
    rounds: int = 2
    prefer: str = "turns"
    runs: int = 2000
    random_seed: int = 1

    @property
    def ungrazed_days(self) -> int:
        """Days after seeding for which the herd stays out: the rest, or the label's if longer."""
        return max(self.rest_days, self.withholding_days)
