"""What a plan of interseeding is made of."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from evenacre.model import BoolArray, FloatArray, Grazing, IntArray, Paddock, Seeding, Stay
from evenacre.planning.passes.pass_types import PassPlan

BOOKED = "booked: "
"""Begins the key of a booking in what takes time from the drill; what it is for follows."""
WEATHER = "weather"
"""Key of the time that the plan leaves to bad weather."""
WHOLE_SHARE = 1.0 - 1e-6
"""From here on a paddock counts as seeded whole: the solver leaves crumbs."""
BEYOND = "beyond"
"""Key of a paddock that cannot be seeded whole, whatever is relaxed."""


@dataclass(frozen=True)
class PlannedStay:
    """A stay of the herd and the forage it meets.

    Attributes
    ----------
    stay : Stay
    rested_days : int or None
        Since the herd left this paddock before; None: the first time.
    entry_kg_per_m2, residual_kg_per_m2 : float or None
        Standing when it enters and when it leaves; None: forage is not known.
    available_kg : float or None
        What it may eat: standing forage x area x utilization.
    eaten_kg : float
        What it needs over the stay, and no more than is available.
    """

    stay: Stay
    rested_days: int | None
    entry_kg_per_m2: float | None
    residual_kg_per_m2: float | None
    available_kg: float | None
    eaten_kg: float


@dataclass(frozen=True)
class Shortage:
    """Forage that is not there when the herd needs it.

    Attributes
    ----------
    kind : str
        ``"forage"`` (a stay needs more than is available), ``"rest"`` (the herd is back before
        the paddock has rested) or ``"ground"`` (a paddock does not feed the herd for one day).
    paddock : str
    day : date
        When it is felt.
    days : float
        Days of feed, or of rest, that are missing.
    feed_kg : float
        Dry matter to be found elsewhere.
    """

    kind: str
    paddock: str
    day: dt.date
    days: float
    feed_kg: float


@dataclass(frozen=True)
class GrazingPlan:
    """The herd's moves, and whether the forage carries it.

    Attributes
    ----------
    stays : tuple of PlannedStay
        In order of time.
    demand_kg_per_day : float
    supply_kg, needed_kg : float or None
        Of all stays; None: forage is not known.
    shortages : tuple of Shortage
    warnings : tuple of str
    """

    stays: tuple[PlannedStay, ...]
    demand_kg_per_day: float
    supply_kg: float | None
    needed_kg: float
    shortages: tuple[Shortage, ...] = ()
    warnings: tuple[str, ...] = ()


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


@dataclass(frozen=True)
class SeedingWindow:
    """When one paddock may be seeded.

    A paddock grazed more than once has a spell after each stay; ``opens`` and ``closes`` are
    of the first day and the last day that any of them allows.

    Attributes
    ----------
    paddock : str
    opens, closes : date or None
        First and last open day; None: there is none.
    opened_by, closed_by : Rule or None
        The rule that kept it shut until the day it opens and after the day it closes.
    left : date or None
        The herd leaves, before the window opens.
    back : date or None
        The herd enters again, after it.
    blocked : dict of Rule to (n,) bool
        For each of the plan's days, which rules forbid it; ``HERD`` is never relaxed.
    """

    paddock: str
    opens: dt.date | None
    closes: dt.date | None
    opened_by: Rule | None
    closed_by: Rule | None
    left: dt.date | None
    back: dt.date | None
    blocked: dict[Rule, BoolArray]


@dataclass(frozen=True)
class WorkDay:
    """A day of the plan and the time it has for the drill.

    Attributes
    ----------
    day : date
    start_s : float
        Clock time work can begin, seconds after local midnight.
    full_s : float
        Time for the drill when the day is not lost.
    planned_s : float
        Time the plan may use: ``full_s`` less the share that weather is expected to take.
    lost : bool
        Known to be lost to weather.
    booked_s : float
        Taken by bookings; ``full_s`` is less by it.
    booked_for : tuple of str
    """

    day: dt.date
    start_s: float
    full_s: float
    planned_s: float
    lost: bool = False
    booked_s: float = 0.0
    booked_for: tuple[str, ...] = ()


@dataclass(frozen=True)
class ScheduleProblem:
    """Which of m paddocks to seed on which of n days, in plain numbers.

    Attributes
    ----------
    area_m2, value_per_m2 : (m,) float
    work_s : (m,) float
        To seed the whole paddock, turns included, refills and set-up not.
    forbidden : dict of str to (m, n) bool
        Days each paddock is kept shut, by the rule that does it. A key of ``hard`` cannot be
        relaxed; any other can.
    capacity_s : (n,) float
        Time for the drill.
    taken_s : dict of str to (n,) float
        Time that was taken off ``capacity_s`` and could be given back, by what took it.
    least_rate_kg_per_m2, rate_kg_per_m2, most_rate_kg_per_m2 : float
    on_hand_kg : float or None
        None: as much as it takes.
    load_kg : float or None
        None: no refills.
    refill_s, setup_s : float
    """

    area_m2: FloatArray
    value_per_m2: FloatArray
    work_s: FloatArray
    forbidden: dict[str, BoolArray]
    capacity_s: FloatArray
    least_rate_kg_per_m2: float
    rate_kg_per_m2: float
    most_rate_kg_per_m2: float
    on_hand_kg: float | None = None
    load_kg: float | None = None
    refill_s: float = 0.0
    setup_s: float = 0.0
    taken_s: dict[str, FloatArray] = field(default_factory=dict)
    hard: frozenset[str] = frozenset()

    @property
    def shape(self) -> tuple[int, int]:
        """Number of paddocks and of days."""
        return len(self.area_m2), len(self.capacity_s)

    @property
    def open_days(self) -> BoolArray:
        """Days that no rule forbids, shape (m, n)."""
        shut: BoolArray = np.logical_or.reduce(
            [np.zeros(self.shape, bool), *self.forbidden.values()]
        )
        return ~shut

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
class Schedule:
    """A solved schedule.

    Attributes
    ----------
    share : (m, n) float
        Share of each paddock seeded on each day; a row adds up to 1 at most.
    fills : (n,) int
        Times the cart is filled on each day.
    rate_kg_per_m2 : float
    value, bound : float
        Value of the seeded ground (m2 x value), and what no schedule can exceed.
    proven : bool
        The solver proved that none is better; otherwise ``gap`` says by how much one might be.
    gap : float
        (bound - value) / bound.
    """

    share: FloatArray
    fills: IntArray
    rate_kg_per_m2: float
    value: float
    bound: float
    proven: bool
    gap: float


@dataclass(frozen=True)
class Relaxation:
    """One constraint to relax, and by how much.

    Attributes
    ----------
    rule : str
        ``"seed"``, ``"hours"``, a key of ``taken_s`` (see ``BOOKED``, ``WEATHER``), or a
        ``Rule``; or ``BEYOND``, where nothing helps.
    paddock : str or None
        The paddock whose window it is.
    amount : float
        kg of seed, seconds (in a day for ``"hours"``, in all for what takes time), or days of
        window; of ``BEYOND`` the share of the paddock that is out of reach.
    """

    rule: str
    paddock: str | None
    amount: float


@dataclass(frozen=True)
class Visit:
    """The drill in one paddock on one day.

    Attributes
    ----------
    paddock : str
    day : date
    start_s, end_s : float
        Clock times; set-up and refills within them.
    area_m2, seed_kg : float
    share : float
        Of the paddock.
    """

    paddock: str
    day: dt.date
    start_s: float
    end_s: float
    area_m2: float
    seed_kg: float
    share: float


@dataclass(frozen=True)
class Fill:
    """One load put into the cart.

    Attributes
    ----------
    number : int
        From 1.
    day : date
    start_s : float
        Clock time.
    paddock : str
        Where it is put in.
    mass_kg : float
    serves : tuple of (str, float)
        Paddocks it is sown in, and kg of it in each.
    """

    number: int
    day: dt.date
    start_s: float
    paddock: str
    mass_kg: float
    serves: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class PaddockPlan:
    """All that is planned for one paddock.

    Attributes
    ----------
    paddock : Paddock
    area_m2, workable_m2 : float
    stays : tuple of PlannedStay
    window : SeedingWindow or None
        None: it is not to be seeded.
    passes : PassPlan or None
    visits : tuple of Visit
    seeded_m2, seed_kg : float
    chance : float or None
        That all that is planned here is done inside the window; None: nothing is uncertain,
        or nothing planned.
    graze_from : date or None
        First day it may be grazed after seeding.
    """

    paddock: Paddock
    area_m2: float
    workable_m2: float
    stays: tuple[PlannedStay, ...]
    window: SeedingWindow | None
    passes: PassPlan | None
    visits: tuple[Visit, ...]
    seeded_m2: float
    seed_kg: float
    chance: float | None
    graze_from: dt.date | None


@dataclass(frozen=True)
class InterseedPlan:
    """The whole plan.

    Attributes
    ----------
    grazing : Grazing
    seeding : Seeding
    herd : GrazingPlan
    days : tuple of WorkDay
    paddocks : tuple of PaddockPlan
        In the order of ``grazing.paddocks``.
    visits : tuple of Visit
        In order of time.
    fills : tuple of Fill
    schedule : Schedule
    seed_used_kg : float
    seed_left_kg : float or None
        None: the seed on hand was not told.
    chance_all : float or None
        That every paddock planned is done inside its window.
    relaxations : tuple of Relaxation
        The smallest set that would let every paddock be seeded whole; empty: it is.
    warnings : tuple of str
    """

    grazing: Grazing
    seeding: Seeding
    herd: GrazingPlan
    days: tuple[WorkDay, ...]
    paddocks: tuple[PaddockPlan, ...]
    visits: tuple[Visit, ...]
    fills: tuple[Fill, ...]
    schedule: Schedule
    seed_used_kg: float
    seed_left_kg: float | None
    chance_all: float | None
    relaxations: tuple[Relaxation, ...] = ()
    warnings: tuple[str, ...] = ()
