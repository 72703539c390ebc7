"""What a plan of interseeding is made of."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from evenacre.model import BoolArray, FloatArray, Grazing, IntArray, Paddock, Seeding, Stay
from evenacre.model.finding import Finding
from evenacre.planning.interseeding.progress import DoneGround
from evenacre.planning.passes.pass_types import FillSpot, PassPlan

BOOKED = "booked: "
"""Begins the key of a booking in what takes time from the drill; what it is for follows."""
WEATHER = "weather"
"""Key of the time that the plan leaves to bad weather."""
WHOLE_SHARE = 1.0 - 1e-6
"""From here on a paddock counts as seeded whole: the solver leaves crumbs."""
MOVES, WINDOW_FIRST, WINDOW_LAST = "moves", "window_first", "window_last"
NOT_BEFORE, READY = "not_before", "ready"
"""What can be changed and is no setting of ``Seeding``."""
BEYOND = "beyond"
"""Key of a paddock that cannot be seeded whole, whatever is relaxed."""


@dataclass(frozen=True)
class PlannedStay:
    """A stay of the herd and the forage it meets."""

    stay: Stay
    rested_days: int | None  # since the herd left this paddock before; None: the first time
    # Standing when it enters and when it leaves; None: forage is not known
    entry_kg_per_m2: float | None
    residual_kg_per_m2: float | None
    available_kg: float | None  # what it may eat: standing forage x area x utilization
    eaten_kg: float  # what it needs over the stay, and no more than is available


@dataclass(frozen=True)
class Shortage:
    """Forage that is not there when the herd needs it."""

    # ``"forage"`` (a stay needs more than is available), ``"rest"`` (the herd is back before the
    # paddock has rested) or ``"ground"`` (a paddock does not feed the herd for one day)
    kind: str
    paddock: str
    day: dt.date  # when it is felt
    days: float  # days of feed, or of rest, that are missing
    feed_kg: float  # dry matter to be found elsewhere


@dataclass(frozen=True)
class GrazingPlan:
    """The herd's moves, and whether the forage carries it."""

    stays: tuple[PlannedStay, ...]  # in order of time
    demand_kg_per_day: float
    # Of all stays; None: forage is not known
    supply_kg: float | None
    needed_kg: float
    shortages: tuple[Shortage, ...] = ()
    findings: tuple[Finding, ...] = ()


class Rule(StrEnum):
    """What keeps a paddock from being seeded on a day."""

    HERD = "herd"  # it has not left yet, or is back again
    WAIT = "wait"  # so many days after the herd
    RESIDUAL = "residual"  # too much is left standing
    CLOSE = "close"  # too long after the herd
    REGROWTH = "regrowth"  # regrowth competes
    REGRAZE = "regraze"  # the herd is back before seedlings or the label allow
    GIVEN = "given"  # outside the window the user decided
    SEASON = "season"  # before the first or after the last day of seeding
    WET = "wet"  # before the day that the user decided it bears the drill
    UNTOLD = "untold"  # nothing tells when it is grazed or ready


@dataclass(frozen=True)
class SeedingWindow:
    """When one paddock may be seeded.

    A paddock grazed more than once has a spell after each stay; ``opens`` and ``closes`` are
    of the first day and the last day that any of them allows.
    """

    paddock: str
    # First and last open day; None: there is none
    opens: dt.date | None
    closes: dt.date | None
    # The rule that kept it shut until the day it opens and after the day it closes
    opened_by: Rule | None
    closed_by: Rule | None
    left: dt.date | None  # the herd leaves, before the window opens
    back: dt.date | None  # the herd enters again, after it
    # (n,); for each of the plan's days, how far each rule would have to move to allow it, in days
    # or kg/m2: 0 where it does, below 0 to an earlier day, infinite where nothing helps
    blocked: dict[Rule, FloatArray]
    ready: bool = False  # it was said to stand ready, whatever the herd did before

    @property
    def open_days(self) -> BoolArray:
        """Of the plan's days, those that no rule forbids, shape (n,)."""
        return ~np.asarray(np.logical_or.reduce([*self.blocked.values()]))


@dataclass(frozen=True)
class WorkDay:
    """A day of the plan and the time it has for the drill."""

    day: dt.date
    start_s: float  # clock time work can begin, seconds after local midnight
    full_s: float  # time for the drill when the day is not lost
    # Time the plan may use: ``full_s`` less the share that weather is expected to take
    planned_s: float
    lost: bool = False  # known to be lost to weather
    booked_s: float = 0.0  # taken by bookings; ``full_s`` is less by it
    booked_for: tuple[str, ...] = ()


@dataclass(frozen=True)
class ScheduleProblem:
    """Which of m paddocks to seed on which of n days, in plain numbers."""

    # (m,)
    area_m2: FloatArray
    value_per_m2: FloatArray
    work_s: FloatArray  # (m,); to seed the whole paddock, turns included, refills and set-up not
    # (m, n); how far each rule would have to move for the paddock to be open on the day: 0 where it
    # is, infinite where no move opens it
    forbidden: dict[str, FloatArray]
    capacity_s: FloatArray  # (n,); time for the drill
    least_rate_kg_per_m2: float
    rate_kg_per_m2: float
    most_rate_kg_per_m2: float
    on_hand_kg: float | None = None  # None: as much as it takes
    load_kg: float | None = None  # sown from one fill to the next; None: no refills
    start_kg: float = 0.0  # sown before the first fill
    within_days: int | None = None  # a load is sown in so many, that of the fill counted
    refill_s: float = 0.0
    setup_s: float = 0.0
    fills_from: int = 0  # the first day that the cart may be filled on
    # What could be relaxed, besides the seed.
    # (n,); time that was taken off ``capacity_s`` and could be given back, by what took it
    taken_s: dict[str, FloatArray] = field(default_factory=dict)
    longer_s: FloatArray | None = None  # (n,); time that longer hours could add at most
    common: frozenset[str] = frozenset()  # rules that are moved for all paddocks together
    # How much of a rule's move weighs as much as a day; 1 of others
    counts_as_day: dict[str, float] = field(default_factory=dict)

    @property
    def shape(self) -> tuple[int, int]:
        """Number of paddocks and of days."""
        return len(self.area_m2), len(self.capacity_s)

    @property
    def open_days(self) -> BoolArray:
        """Days that no rule forbids, shape (m, n)."""
        none = np.zeros(self.shape, bool)
        return ~np.asarray(np.logical_or.reduce([none, *self.forbidden.values()]))

    @property
    def worth_seeding(self) -> BoolArray:
        """Paddocks with ground and value, shape (m,)."""
        return (self.area_m2 > 0) & (self.value_per_m2 > 0)

    @property
    def counts_fills(self) -> bool:
        """Whether fills take time, so that the schedule has to count them."""
        return self.load_kg is not None and self.refill_s > 0

    def seed_kg(self, rate_kg_per_m2: float) -> FloatArray:
        """Seed that each whole paddock takes, shape (m,)."""
        return self.area_m2 * rate_kg_per_m2


@dataclass(frozen=True)
class SeedingSchedule:
    """A solved schedule."""

    # (m, n); share of each paddock seeded on each day; a row adds up to 1 at most
    share: FloatArray
    fills: IntArray  # (n,); times the cart is filled on each day
    rate_kg_per_m2: float
    # Value of the seeded ground (m2 x value), and what no schedule can exceed
    value: float
    bound: float
    # The solver proved that none is better; otherwise ``gap`` says by how much one might be
    proven: bool
    gap: float  # (bound - value) / bound
    # Part of ``gap`` that is there because days end with a pass and loads are of whole bags
    gap_of_passes: float = 0.0
    # Seed sown when each load is at an end, from the start on; None: as the fills alone tell
    ends_kg: FloatArray | None = None

    def sown_kg(self, problem: ScheduleProblem) -> FloatArray:
        """Seed sown on each day, shape (n,)."""
        return problem.seed_kg(self.rate_kg_per_m2) @ self.share


@dataclass(frozen=True)
class Relaxation:
    """One constraint to relax, by how much, and what that comes to."""

    # ``"seed"``, ``"rate"``, ``"hours"``, a key of ``taken_s`` (see ``BOOKED``, ``WEATHER``), or a
    # ``Rule``; or ``BEYOND``, where nothing helps
    rule: str
    paddock: str | None  # the paddock whose window it is
    # How far to move it: kg of seed, kg/m2 of the least rate, seconds of a day for ``"hours"`` and
    # in all for what takes time, days or kg/m2 of a rule; of ``BEYOND`` the share of the paddock
    # that is out of reach
    amount: float
    # What is to be changed, by its name in ``Seeding``, and to what; ``MOVES``: the day the herd
    # may be back; ``READY``: that the paddock is; ``WINDOW_FIRST``, ``WINDOW_LAST`` and
    # ``NOT_BEFORE``: of what was decided for it
    setting: str | None = None
    to: float | dt.date | None = None
    freed: tuple[tuple[dt.date, float], ...] = ()  # seconds that a booking gives back on each day
    instead: tuple[Relaxation, ...] = ()  # any of these would do in its place


@dataclass(frozen=True)
class Visit:
    """The drill in one paddock on one day."""

    paddock: str
    day: dt.date
    # Clock times; set-up and refills within them
    start_s: float
    end_s: float
    area_m2: float
    seed_kg: float
    share: float  # of the paddock
    # Of its passes, as they are driven, from 1; the first and the last may be done in part
    first_pass: int = 1
    last_pass: int = 1


@dataclass(frozen=True)
class BinFill:
    """What of a load goes into one compartment."""

    name: str  # empty: the whole cart
    product: str
    mass_kg: float
    left_kg: float  # in it when it is filled


@dataclass(frozen=True)
class CartFill:
    """One load put into the cart."""

    number: int  # from 1
    day: dt.date
    start_s: float  # clock time
    paddock: str  # where it is put in
    mass_kg: float
    serves: tuple[tuple[str, float], ...]  # paddocks it is sown in, and kg of it in each
    left_kg: float = 0.0  # in the cart when it is filled
    # Passes of the paddock, as they are driven, that are whole by then, and the part of the next
    passes_done: int = 0
    into_pass: float = 0.0
    bins: tuple[BinFill, ...] = ()
    spot: FillSpot | None = None  # where the drill stands there


@dataclass(frozen=True)
class PaddockPlan:
    """All that is planned for one paddock."""

    paddock: Paddock
    area_m2: float
    workable_m2: float
    stays: tuple[PlannedStay, ...]
    window: SeedingWindow | None  # None: it is not to be seeded
    passes: PassPlan | None
    visits: tuple[Visit, ...]
    seeded_m2: float
    seed_kg: float
    # That all that is planned here is done inside the window; None: nothing is uncertain, or
    # nothing planned
    chance: float | None
    graze_from: dt.date | None  # first day it may be grazed after seeding
    done: DoneGround | None = None  # what was seeded before the plan begins

    @property
    def finished(self) -> bool:
        """Whether it was seeded whole before the plan begins."""
        return self.done is not None and self.passes is not None and not self.passes.passes


@dataclass(frozen=True)
class WeatherTold:
    """The weather that chances come from."""

    share: float  # of days that are lost
    spell_days: float  # mean length of the runs of lost days
    years: tuple[int, ...] | None  # past ones; None: seasons were drawn


@dataclass(frozen=True)
class InterseedPlan:
    """The whole plan."""

    grazing: Grazing
    seeding: Seeding
    herd: GrazingPlan
    days: tuple[WorkDay, ...]
    paddocks: tuple[PaddockPlan, ...]  # in the order of ``grazing.paddocks``
    visits: tuple[Visit, ...]  # in order of time
    fills: tuple[CartFill, ...]
    schedule: SeedingSchedule
    seed_used_kg: float
    seed_left_kg: float | None  # None: the seed on hand was not told
    chance_all: float | None  # that every paddock planned is done inside its window
    # Its 90 % interval, where past years tell it
    chance_all_within: tuple[float, float] | None = None
    weather: WeatherTold | None = None  # None: no day may be lost
    # A small set that would let every paddock be seeded whole; empty: it is
    relaxations: tuple[Relaxation, ...] = ()
    relaxed_fewest: bool = True  # that fewer will not do was proven
    # That with all of them every paddock within reach is seeded whole was worked out; otherwise
    # they may fall short
    relaxed_holds: bool = True
    findings: tuple[Finding, ...] = ()
