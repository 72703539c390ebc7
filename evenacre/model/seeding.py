"""The seed that is to go into grazed ground behind the herd.

Days are calendar days of the farm; clock times are seconds after local midnight.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from evenacre.arrays import FloatArray
from evenacre.model.implement import Implement
from evenacre.model.product import Product

_ROUNDING = 1e-6  # of a bag


@dataclass(frozen=True)
class Booking:
    """The drill is wanted elsewhere."""

    first: dt.date
    last: dt.date  # included
    what: str  # what it is wanted for
    hours_s: float | None = None  # time it takes of each day; None: the whole day


@dataclass(frozen=True, eq=False)
class PastWeather:
    """Rain of past days, and what of it stops the drill."""

    first: dt.date
    rain_m: FloatArray  # (k,) depth on the days from ``first`` on; NaN where it is not known
    source: str  # name of the table
    stops_m: float  # so much in a day stops the drill
    dry_after_days: int  # and for so many days after it
    allowance_told: bool = False  # ``Seeding.lost_chance`` was told besides


@dataclass(frozen=True)
class SeedBin:
    """A compartment of the cart, or all of it, and the seed it meters."""

    name: str  # empty: the whole cart
    product: str
    load_kg: float  # full
    share: float = 1.0  # of all seed sown that comes out of it
    least_kg: float = 0.0  # with less in it, it does not meter evenly
    bag_kg: float | None = None  # it is filled with whole bags of so much
    start_kg: float = 0.0  # in it when the plan begins

    @property
    def room_kg(self) -> float:
        """What a fill adds when no more than the least is in it."""
        return self.load_kg - self.least_kg

    def bags_kg(self, kg: float, *, up: bool = False) -> float:
        """So much in whole bags, no more of them than that, or (``up``) no less."""
        if self.bag_kg is None:
            return kg
        bags = kg / self.bag_kg
        whole = math.ceil(bags - _ROUNDING) if up else math.floor(bags + _ROUNDING)
        return max(whole, 0) * self.bag_kg


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
    # Paddocks that stand ready on a day, whatever is known of the herd
    ready: tuple[str, ...] = ()
    ready_day: dt.date | None = None
    # A window opens and closes (that day still belongs to it) so many days after the herd left
    opens_after_days: int = 0
    closes_after_days: int = 14
    # A paddock with more than this left standing is not seeded
    residual_most_kg_per_m2: float | None = None
    # A window closes when regrowth stands higher than this
    regrowth_most_kg_per_m2: float | None = None
    from_day: dt.date | None = None  # the plan begins then: a season that is under way
    # Of seeding, for all paddocks
    first_day: dt.date | None = None
    last_day: dt.date | None = None
    # Clock times between which the drill can work while it is light; None: from sunrise, to sunset
    day_from_s: float | None = None
    day_to_s: float | None = None
    hours_most_s: float | None = None  # drilling time in a day, refills and moves included, at most
    lost_days: tuple[dt.date, ...] = ()  # already known as lost to weather
    lost_chance: float = 0.0  # chance of any other day to be lost, 0 to 1
    # Mean length of a run of lost days; None: each day is lost by itself
    lost_spell_days: float | None = None
    past_weather: PastWeather | None = None  # in the place of both
    bookings: tuple[Booking, ...] = ()
    speed_mps: float = 2.2352
    turn_speed_mps: float = 1.5
    # The tightest circle of the hitch pin; None: the tightest that tractor and tow allow
    turn_radius_m: float | None = None
    setup_s: float = 900.0  # to move to a paddock and begin there, each time
    refill_s: float = 1200.0
    load_kg: float | None = None  # seed that a full cart takes; None: never refilled
    least_kg: float = 0.0  # with less in the cart it does not meter evenly
    in_cart_kg: float = 0.0  # in it when the plan begins
    # Where compartments meter their own seed, or are told one by one; empty: the cart is one
    compartments: tuple[SeedBin, ...] = ()
    # Days in which a load is sown, that of the fill counted; None: as many as it takes
    sow_within_days: int | None = None
    rest_days: int = 45  # from seeding a paddock to grazing it again
    # The seed's label forbids grazing for so long after seeding; 0: it does not
    withholding_days: int = 0
    treated: bool = False  # the seed is treated
    rounds: int | None = None  # headland rounds; None: as many as turns need
    # ``"first"`` or ``"last"``: when they are driven. Last, no turn runs over seeded rows
    headland: str = "last"
    blocks: bool = True  # ground may be cut into blocks with headings of their own
    # None: of a common size
    tractor_length_m: float | None = None  # from the hitch pin to its foremost point
    tractor_width_m: float | None = None
    prefer: str = "turns"  # ``"turns"`` or ``"overlap"``: what a good heading has least of
    runs: int = 2000  # simulated seasons when days may be lost
    random_seed: int = 1  # of the simulation

    @property
    def bins(self) -> tuple[SeedBin, ...]:
        """What the cart meters seed from; nothing where it is never refilled."""
        if self.compartments or self.load_kg is None:
            return self.compartments
        held = (self.load_kg, 1.0, self.least_kg, self.product.bag_kg, self.in_cart_kg)
        return (SeedBin("", self.product.name, *held),)

    @property
    def ungrazed_days(self) -> int:
        """Days after seeding for which the herd stays out: the rest, or the label's if longer."""
        return max(self.rest_days, self.withholding_days)
