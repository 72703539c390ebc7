"""What is planned of a drive over a field."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import Implement
from evenacre.model.finding import Finding

SEEN_M2 = 1.0
"""Smaller places left are not counted."""

_NONE = shapely.Polygon()


@dataclass(frozen=True)
class Drive:
    """How the drill is driven.

    Examples
    --------
    >>> ev.Drive(width_m=6.096, rounds=1).prefer
    'turns'
    """

    width_m: float
    # At work, and between passes
    speed_mps: float = 2.2352
    turn_speed_mps: float = 1.5
    # The tightest circle of the hitch pin; None: the tightest that tractor and tow allow
    turn_radius_m: float | None = None
    # Headland rounds, along the boundary and round holes; None: two, and inside a fence as many as
    # turns need
    rounds: int | None = None
    # Counter-clockwise from the plane's x axis; None: the best is found
    heading_rad: float | None = None
    prefer: str = "turns"  # ``"turns"`` or ``"overlap"``: what a good heading has least of
    # What the tool is towed by and tows; None: only its width is known
    implement: Implement | None = None
    # None: of a common size
    tractor_length_m: float | None = None  # from the hitch pin to its foremost point
    tractor_width_m: float | None = None
    headland: str = "first"  # ``"first"`` or ``"last"``: when the rounds are driven
    # Passes run parallel to it, in the working plane
    along: shapely.LineString | None = None
    load_m2: float | None = None  # ground that a full cart does; None: it is never filled
    # Whether ground may be cut into blocks with headings of their own, where that takes less
    blocks: bool = True


@dataclass(frozen=True)
class Block:
    """Ground with parallel passes of its own."""

    ground: shapely.Polygon  # in the working plane
    heading_rad: float  # counter-clockwise from the plane's x axis, 0 to pi
    part: int  # which connected part it is cut from; its blocks come in the order of driving


@dataclass(frozen=True)
class PlannedPass:
    """One run with the drill in the ground."""

    # ``"round"`` (along the boundary or a hole), ``"middle"`` (along ground narrower than the tool)
    # or ``"pass"`` (parallel to the heading)
    kind: str
    number: int  # of the round from the boundary inward, or of the pass from one side; both from 1
    # The middle of the tool, in the direction of travel, in the working plane
    line: shapely.LineString
    ring: int | None = None  # which closed round it is a leg of
    block: int | None = None  # index of the block it is in, where there are some


@dataclass(frozen=True)
class PlannedTurn:
    """One turn with the tool lifted."""

    line: shapely.LineString  # the middle of the openers, in the working plane
    pin: shapely.LineString  # the hitch pin, which is what is driven
    backs_m: float = 0.0  # of the way, driven backward


@dataclass(frozen=True)
class FillSpot:
    """Where the drill stands when the cart is filled."""

    run: int  # which run, in the order of driving, from 1
    kind: str  # of the run, as of a `PlannedPass`
    number: int
    into_m: float  # from where that run begins, with the drill in the ground
    length_m: float  # of that run
    at: shapely.Point  # the middle of the tool, in the working plane
    heading_rad: float  # of the drill there
    gate_m: float | None  # straight to the gate; None: none was told


@dataclass(frozen=True)
class PassPlan:
    """A drive over a field, pass by pass, and what it comes to."""

    field: str
    plane: WorkingPlane
    drive: Drive  # with the heading that was chosen; without one where there are blocks
    workable: BaseGeometry  # in the working plane
    passes: tuple[PlannedPass, ...]  # in the order they are driven
    # Between each pass and the next: the way of the middle of the tool, in the working plane
    turns: tuple[shapely.LineString, ...]
    # As an audit of the drive would find them
    workable_m2: float
    covered_m2: float
    overlap_m2: float
    excess_m2: float
    missed_m2: float
    outside_m2: float
    work_m: float
    turn_m: float
    work_s: float
    turn_s: float
    left: BaseGeometry = _NONE  # workable ground no pass covers, in the working plane
    crossed: BaseGeometry = _NONE  # not worked, but crossed with the tool lifted
    fenced: bool = False  # whether all of the rig stays inside the boundary
    # Inside a fence: the way of the hitch pin along passes and in turns, one on from the other, and
    # how much of each turn is driven backward
    pin_runs: tuple[shapely.LineString, ...] = ()
    pin_turns: tuple[shapely.LineString, ...] = ()
    backs_m: tuple[float, ...] = ()
    blocks: tuple[Block, ...] = ()  # none: all passes have the heading of the drive
    # Of a field with a gate, in the working plane: the middle of the tool from there to the first
    # pass, and from the last one back
    gate: shapely.Point | None = None
    way_in: shapely.LineString | None = None
    way_out: shapely.LineString | None = None
    fills: tuple[FillSpot, ...] = ()  # of full carts, the first before anything is done
    findings: tuple[Finding, ...] = ()

    @property
    def field_time_s(self) -> float:
        """From first to last pass, without refills."""
        return self.work_s + self.turn_s

    @property
    def covered_share(self) -> float:
        """Of the workable ground."""
        return self.covered_m2 / self.workable_m2 if self.workable_m2 else 0.0

    @property
    def left_places(self) -> int:
        """How many places of a square metre or more no pass covers."""
        return sum(part.area >= SEEN_M2 for part in shapely.get_parts(self.left))

    @property
    def takes_s(self) -> float:
        """What plans of a field are compared by: field time, and doubled and missed ground.

        Each of those counts as the time it takes to seed it: doubled ground for its seed, missed
        ground because it has to be gone back to.
        """
        lost_m2 = self.excess_m2 + self.missed_m2 + self.outside_m2
        return self.field_time_s + lost_m2 / (self.drive.width_m * self.drive.speed_mps)

    @property
    def field_efficiency(self) -> float:
        """Covered area over what the full width sweeps at working speed in the field time.

        Source: ASABE EP496.
        """
        theory = self.drive.width_m * self.drive.speed_mps * self.field_time_s
        return self.covered_m2 / theory if theory else 0.0
