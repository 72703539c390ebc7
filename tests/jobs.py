"""Jobs whose answer is known, or can be worked out without the engine, laid out in a plane."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.model import Application, Blockage, Implement, Settings

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

START_S = 1_776_150_000.0
HZ = 5.0
SPEED_MPS = 2.4
STEP_M = SPEED_MPS / HZ
DRILL = Implement(
    width_m=6.096,
    rows=32,
    rows_known=True,
    rows_per_tower=8,
    told=("behind", "left", "lag"),  # positions are those of the tool line itself
)


@dataclass(frozen=True)
class Drive:
    """The tool line along one drive: its centre, heading and states at each record.

    ``heading_rad`` runs counter-clockwise from the plane's x axis. ``sections`` is (n, s),
    from the left; None when the whole tool is switched by ``working``.
    """

    time_s: Floats
    x_m: Floats
    y_m: Floats
    heading_rad: Floats
    working: Bools
    sections: Bools | None = None
    rates: dict[str, Floats] = field(default_factory=dict)
    flows: dict[str, Floats] = field(default_factory=dict)

    def row_states(self, rows: int) -> Bools:
        """(n, rows) states; sections share the rows equally."""
        if self.sections is None:
            return np.repeat(self.working[:, None], rows, axis=1)
        per_section = rows // self.sections.shape[1]
        return np.repeat(self.sections, per_section, axis=1) & self.working[:, None]

    def later(self, seconds: float) -> Drive:
        return replace(self, time_s=self.time_s + seconds)

    def with_rate(self, product: str, rate: float) -> Drive:
        return replace(self, rates={**self.rates, product: np.where(self.working, rate, 0.0)})

    def with_flow(self, product: str, flow: float) -> Drive:
        return replace(self, flows={**self.flows, product: np.where(self.working, flow, 0.0)})


@dataclass(frozen=True)
class Job:
    """A field, a drill and the drives over it, in the plane."""

    boundary: BaseGeometry
    drives: tuple[Drive, ...]
    implement: Implement = DRILL
    unworkable: BaseGeometry | None = None
    zones: dict[str, BaseGeometry] = field(default_factory=dict)
    blockages: tuple[Blockage, ...] = ()
    applications: tuple[Application, ...] = ()
    settings: Settings = field(default_factory=Settings)
    name: str = "job"


class Turtle:
    """A path of straight lines and arcs, followed exactly."""

    def __init__(self, x: float = 0.0, y: float = 0.0, heading: float = 0.0) -> None:
        self._legs: list[tuple[float, float, float, float, float, bool]] = []
        self.x_m, self.y_m, self._h, self.travelled_m = x, y, heading, 0.0

    def forward(self, length: float, work: bool = False) -> Turtle:
        return self._leg(length, 0.0, work)

    def arc(self, radius: float, angle: float, work: bool = False) -> Turtle:
        """Turn through ``angle`` (left positive) about a pivot ``radius`` to that side."""
        return self._leg(radius * abs(angle), math.copysign(1.0 / radius, angle), work)

    def sample(self, step: float = STEP_M, speed: float = SPEED_MPS, phase: float = 0.5) -> Drive:
        """Records every ``step`` metres, the first ``phase`` steps from the start."""
        count = math.floor(self.travelled_m / step - phase + 1e-9) + 1
        s = (np.arange(count) + phase) * step
        legs = np.array(self._legs)
        leg = legs[np.clip(np.searchsorted(legs[:, 0], s, side="right") - 1, 0, None)]
        s0, x0, y0, h0, bend, work = leg.T
        x, y, heading = _follow_leg(x0, y0, h0, bend, s - s0)
        return Drive(START_S + s / speed, x, y, heading, work > 0.5)

    def _leg(self, length: float, bend: float, work: bool) -> Turtle:
        if length <= 0:
            return self
        self._legs.append((self.travelled_m, self.x_m, self.y_m, self._h, bend, work))
        x, y, h = _follow_leg(
            np.array([self.x_m]), np.array([self.y_m]), np.array([self._h]), np.array([bend]),
            np.array([length]),
        )  # fmt: skip
        self.x_m, self.y_m, self._h = float(x[0]), float(y[0]), float(h[0])
        self.travelled_m += length
        return self


def _follow_leg(
    x: Floats, y: Floats, h: Floats, bend: Floats, s: Floats
) -> tuple[Floats, Floats, Floats]:
    """End of a leg of length ``s`` and curvature ``bend`` from a pose."""
    half = bend * s / 2
    chord = s * np.sinc(half / math.pi)
    return x + chord * np.cos(h + half), y + chord * np.sin(h + half), h + 2 * half


def uturn_lead(spacing: float, at_least: float = 14.4, step: float = STEP_M) -> float:
    """Straight run either side of a U-turn that makes the whole turn a multiple of ``step``."""
    turn = math.pi * spacing / 2
    return (math.ceil((2 * at_least + turn) / step) * step - turn) / 2


def straight_job(
    length: float = 240.0,
    gaps: Sequence[float] = (0.0, -0.3, 0.5, 0.0, -0.1, 0.2),
    implement: Implement = DRILL,
    **rest: object,
) -> Job:
    """Passes along x from 0 to ``length``, the swaths stacked on the left of the first.

    ``gaps[i]`` is the ground left between pass i and i + 1 (negative: overlapped). Work is
    switched exactly midway between two records, and the boundary is the outline of the
    swaths: x from 0 to ``length``, y from 0 to the last swath's far edge.
    """
    width = implement.width_m
    turtle = Turtle(-9.6, width / 2).forward(9.6)
    for i, gap in enumerate([*gaps, 0.0]):
        turtle.forward(length, work=True)
        if i == len(gaps):
            turtle.forward(9.6)
            break
        lead = uturn_lead(width + gap)
        side = math.pi if i % 2 == 0 else -math.pi
        turtle.forward(lead).arc((width + gap) / 2, side).forward(lead)
    top = (len(gaps) + 1) * width + sum(gaps)
    boundary = shapely.box(0.0, 0.0, length, top)
    return Job(boundary, (turtle.sample(),), implement, **rest)  # type: ignore[arg-type]


def all_work_job(length: float = 240.0, gaps: Sequence[float] = (0.0, -0.3, 0.5)) -> Job:
    """The same stack of passes, each logged alone and in work from first record to last."""
    drives, y = [], DRILL.width_m / 2
    for i, gap in enumerate([*gaps, 0.0]):
        turtle = Turtle(0.0, y).forward(length, work=True)
        drives.append(turtle.sample(phase=0.0).later(600.0 * i))
        y += DRILL.width_m + gap
    top = (len(gaps) + 1) * DRILL.width_m + sum(gaps)
    return Job(shapely.box(0.0, 0.0, length, top), tuple(drives))


def arc_length(radius: float, angle: float, step: float = STEP_M) -> float:
    """Length of an arc in work, rounded up to whole steps."""
    return math.ceil(radius * angle / step) * step


def arc_job(
    radius: float,
    angle: float,
    step: float = STEP_M,
    speed: float = SPEED_MPS,
    *,
    hand: int = 1,
    lead_m: float = 8.0,
    implement: Implement = DRILL,
) -> Job:
    """One arc in work about the origin, the tool up for ``lead_m`` on either side of it.

    ``hand`` is 1 for a left turn and -1 for a right turn.
    """
    lead = math.ceil(lead_m / step) * step
    worked = arc_length(radius, angle, step)
    start = -lead / radius
    turtle = Turtle(
        radius * math.cos(start), hand * radius * math.sin(start), hand * (math.pi / 2 + start)
    )
    turtle.arc(radius, hand * lead / radius)
    turtle.arc(radius, hand * worked / radius, work=True)
    turtle.arc(radius, hand * lead / radius)
    reach = radius + implement.width_m
    drive = turtle.sample(step, speed)
    return Job(shapely.box(-reach, -reach, reach, reach), (drive,), implement)
