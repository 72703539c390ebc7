"""What a plan of interseeding came to: paddock by paddock, planned and done."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from evenacre.model import PlannedPaddock, PlannedSeeding
from evenacre.model.finding import Finding


class PaddockStanding(StrEnum):
    """How a paddock stands to the plan."""

    DONE = "done"
    NOT_LOGGED = "not logged"  # planned, but no log of it
    UNPLANNED = "done, not planned"
    LEFT = "neither planned nor done"  # to be seeded, but the plan had no room for it


class WindowVerdict(StrEnum):
    """Whether seeding kept to the window."""

    KEPT = "kept"
    PART = "kept in part"
    MISSED = "missed"
    UNDATED = "day not known"


@dataclass(frozen=True)
class DoneDay:
    """A day of seeding."""

    day: dt.date | None  # None: neither log nor season file tells
    area_m2: float  # ground covered
    seed_kg: float | None  # on the field; None: neither log nor target tells


@dataclass(frozen=True)
class PaddockCompared:
    """One paddock, planned and done."""

    name: str
    planned: PlannedPaddock | None  # None: the plan does not know it
    operations: tuple[str, ...] = ()  # that seeded it
    # When, in order of time; ground covered on two days counts on both
    days: tuple[DoneDay, ...] = ()
    done_m2: float = 0.0  # workable ground covered, once however often
    applied_kg: float | None = 0.0  # seed that landed on it; None: neither log nor target tell
    window: WindowVerdict | None = None  # None: nothing was done, or there was no window to keep
    # Of ``done_m2``; None as ``window``, and where the day is not known
    in_window_m2: float | None = None
    # The farthest a day of seeding lies before the window opens and after it closes
    too_early_days: int = 0
    too_late_days: int = 0
    # First and last day done less first and last day planned; below 0: early
    began_late_days: int | None = None
    ended_late_days: int | None = None
    graze_from: dt.date | None = None  # first day it may be grazed, counted from the last day done

    @property
    def planned_m2(self) -> float:
        """Ground to be seeded."""
        return self.planned.area_m2 if self.planned else 0.0

    @property
    def planned_kg(self) -> float:
        """Seed to be put on it."""
        return self.planned.seed_kg if self.planned else 0.0

    @property
    def dated(self) -> bool:
        """Whether every day it was seeded is known."""
        return all(one.day is not None for one in self.days)

    @property
    def standing(self) -> PaddockStanding:
        """How it stands to the plan."""
        if self.planned is None or not self.planned.visits:
            return PaddockStanding.UNPLANNED if self.operations else PaddockStanding.LEFT
        return PaddockStanding.DONE if self.operations else PaddockStanding.NOT_LOGGED


@dataclass(frozen=True)
class SeededTotals:
    """Ground and seed of several paddocks; ``applied_kg`` is None where one is not known."""

    planned_m2: float
    done_m2: float
    planned_kg: float
    applied_kg: float | None


@dataclass(frozen=True)
class PlannedDone:
    """A whole plan beside what was done."""

    planned: PlannedSeeding
    paddocks: tuple[PaddockCompared, ...]  # in the order of the plan, then what it does not know
    findings: tuple[Finding, ...] = ()

    def of(self, *standings: PaddockStanding) -> list[PaddockCompared]:
        """Paddocks that stand so to the plan."""
        return [p for p in self.paddocks if p.standing in standings]

    @property
    def sums(self) -> SeededTotals:
        """Of the paddocks that the plan had a day for."""
        return _sums(self.of(PaddockStanding.DONE, PaddockStanding.NOT_LOGGED))

    @property
    def besides(self) -> SeededTotals:
        """Of what was seeded though not planned."""
        return _sums(self.of(PaddockStanding.UNPLANNED))


def _sums(paddocks: Sequence[PaddockCompared]) -> SeededTotals:
    amounts = [p.applied_kg for p in paddocks]
    known = [kg for kg in amounts if kg is not None]
    return SeededTotals(
        planned_m2=sum(p.planned_m2 for p in paddocks),
        done_m2=sum(p.done_m2 for p in paddocks),
        planned_kg=sum(p.planned_kg for p in paddocks),
        applied_kg=sum(known) if len(known) == len(amounts) else None,
    )
