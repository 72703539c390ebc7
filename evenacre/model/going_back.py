"""What going back over missed ground would bring, and what it would take."""

from __future__ import annotations

import math
from dataclasses import dataclass

import shapely

WORTH_IT, WHEN_THERE, LEAVE = "worth it", "only when you are there", "leave it"
"""Verdicts on a trip: it pays, it pays once the drill stands there, it does not pay at all."""


@dataclass(frozen=True)
class Trip:
    """Letting the drill down once more over one place, or over several that one pass takes.

    ``worth`` and ``cost`` are in the measure of the judgement, :class:`GoingBack`.
    """

    places: tuple[int, ...]  # numbers of the layer of skips, in the order they are driven over
    verdict: str
    lanes: tuple[shapely.LineString, ...]  # the middle of the tool, plane metres, as it is driven
    gained_m2: float  # bare ground covered
    doubled_m2: float  # covered ground covered again
    outside_m2: float  # covered where nothing is to be worked
    chance: float  # that the places are bare, by their ground; NaN where that is not known
    work_s: float  # from letting down to the last lifting, turns between lanes included
    drive_s: float  # from the trip before, lifted; NaN where it is in no drive
    worth: float  # what is not lost, by the chance that it is bare
    put_down: float  # what is put down costs, on ground gained, doubled and outside
    time: float  # so much for the time, the drive included where there is one

    @property
    def time_s(self) -> float:
        """Time of work, and of the drive where there is one."""
        return self.work_s + (0.0 if math.isnan(self.drive_s) else self.drive_s)

    @property
    def worth_per_s(self) -> float:
        """What is left of the worth after what is put down, for each second of it."""
        return (self.worth - self.put_down) / self.time_s


@dataclass(frozen=True)
class GoingBack:
    """A judgement of every listed place, and what it stands on.

    With ``in_money`` worth and cost are in the currency; else in m2 of ground as this job worked
    it, each of which costs 1.
    """

    # Those worth it in the order of driving; then those for when somebody is there, and those to
    # leave, the best first
    trips: tuple[Trip, ...]
    in_money: bool
    bare_per_m2: float  # what ground that stays bare loses
    bare_given: bool  # somebody said so
    put_down_per_m2: float  # what is put down costs
    time_per_s: float
    speed_mps: float
    radius_m: float  # of the tightest turn
    start: str  # ``"gate"``, ``"end of work"`` or empty: from where the drive begins

    def of(self, verdict: str) -> tuple[Trip, ...]:
        """Trips of a verdict."""
        return tuple(trip for trip in self.trips if trip.verdict == verdict)
