"""Jobs stopped at a random moment, driven to the end by a driver of their own in a plane.

Shares no code with the engine: what is still driven follows from the driver's true lines.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
import shapely
from jobs import START_S, Drive, Floats, Job
from put_down import operation
from shapely.affinity import scale
from shapely.geometry.base import BaseGeometry

from evenacre.model import Application, Implement, Operation, Product

SPEEDS_MPS, RUN_IN_M = (2.0, 3.0), 14.0
ROWS, SECTIONS = 32, 8
RATE = 0.012  # kg/m2
SHAPES = ("rectangle", "slanted", "irregular", "angle")
# A strip narrower than this share of the drill is taken along by the pass before it.
_NOT_WORTH = 0.02


@dataclass(frozen=True)
class Leg:
    """A straight run in work: from ``start`` to ``end``, the rows on ``rows`` (first, after last).

    ``shut`` are (s, 2): how far along each section goes on and off; None where all go at once.
    """

    start: Floats
    end: Floats
    rows: tuple[int, int]
    headland: bool
    shut: Floats | None = None

    @property
    def length_m(self) -> float:
        return float(np.hypot(*(self.end - self.start)))

    def swept_m2(self, width_m: float, after_m: float = 0.0) -> float:
        """Ground driven with rows on, beyond so many metres."""
        if self.shut is None:
            on = (self.rows[1] - self.rows[0]) / ROWS * width_m
            return on * max(self.length_m - after_m, 0.0)
        left = np.clip(self.shut[:, 1], after_m, None) - np.clip(self.shut[:, 0], after_m, None)
        return float(left.sum()) * width_m / len(self.shut)


@dataclass(frozen=True)
class StoppedJob:
    """A job as far as it came, and what was driven after that."""

    operation: Operation
    shape: str
    rounds: int
    switched: bool
    inner_seen: int  # passes off the headland, the one under way too
    driven_m2: float


def stopped_job(seed: int, *, steady: bool = False) -> StoppedJob:
    """A job of a driver with habits of his own, stopped as some inner pass was under way.

    A steady one does the same at each pass, and shuts off row by row at the last. The fewest
    passes are seen of seeds that three divides, the most of those before.
    """
    rng = np.random.default_rng(seed)
    seen = ((1, 5), (6, 12), (13, 30))[seed % 3]
    shape = SHAPES[int(rng.integers(len(SHAPES)))]
    width = float(rng.choice([4.572, 6.096, 9.144]))
    stop = int(rng.integers(seen[0], seen[1] + 1))
    count = stop + int(rng.integers(2, 25))
    rounds = int(rng.choice([0, 1, 1, 2, 3]))
    boundary = _field(rng, shape, rng.uniform(150, 450), (count + 2 * rounds) * width)
    switched = bool(rng.random() < 0.3)
    legs = [*_rounds(boundary, width, rounds)]
    start = len(legs)
    ring = boundary.buffer(-rounds * width * 0.99, join_style="mitre", mitre_limit=20)
    legs += _passes(rng, ring, width, switched=switched, steady=steady)
    turn, hand = rng.uniform(0, 2 * np.pi), rng.choice([-1.0, 1.0])
    last = min(start + stop - 1, len(legs) - 2)
    part = 1.0 if rng.random() < 0.3 else float(rng.uniform(0.1, 1.0))
    stop_m = part * legs[last].length_m
    driven = legs[last].swept_m2(width, stop_m) + sum(
        leg.swept_m2(width) for leg in legs[last + 1 :]
    )
    drive = _drive(legs[: last + 1], part, rng)
    job = Job(
        boundary,
        (drive,),
        Implement(width, rows=ROWS, rows_known=True),
        applications=(Application(Product("rye"), RATE),),
    )
    if hand < 0:  # the same, mirrored
        mirrored = replace(
            drive, y_m=-drive.y_m, heading_rad=-drive.heading_rad,
            sections=None if drive.sections is None else drive.sections[:, ::-1],
        )  # fmt: skip
        job = replace(job, boundary=scale(boundary, 1, -1, origin=(0, 0)), drives=(mirrored,))
    put = operation(job, turn=turn, jitter_m=0.01, seed=seed)
    return StoppedJob(put, shape, rounds, switched, last - start + 1, driven)


def _field(rng: np.random.Generator, shape: str, length: float, height: float) -> BaseGeometry:
    low, high = (rng.uniform(-0.8, 0.8, 2) for _ in range(2))
    west = low * height / 2 if shape != "rectangle" else np.zeros(2)
    east = high * height / 2 if shape != "rectangle" else np.zeros(2)
    length += 2 * max(np.abs(west).max(), np.abs(east).max())
    if shape == "irregular":  # slants change half-way
        corners = [
            (west[0], 0), (length + east[0], 0), (length, height / 2), (length + east[1], height),
            (west[1], height), (0, height / 2),
        ]  # fmt: skip
        return shapely.Polygon(corners)
    if shape == "angle":
        cut = rng.uniform(0.3, 0.7, 2)
        corners = [
            (0, 0), (length, 0), (length, cut[1] * height), (cut[0] * length, cut[1] * height),
            (cut[0] * length, height), (0, height),
        ]  # fmt: skip
        return shapely.Polygon(corners)
    return shapely.Polygon([(0, 0), (length, 0), (length + east[0], height), (west[0], height)])


def _rounds(boundary: BaseGeometry, width: float, rounds: int) -> list[Leg]:
    """Rounds along the boundary, a straight run for each side."""
    legs = []
    for k in range(rounds):
        middle = boundary.buffer(-(k * 0.99 + 0.5) * width, join_style="mitre", mitre_limit=20)
        corners = np.array(middle.exterior.coords)
        for a, b in itertools.pairwise(corners):
            ahead = (b - a) / np.hypot(*(b - a)) * width / 2
            legs.append(Leg(a - ahead, b + ahead, (0, ROWS), True))
    return legs


def _passes(
    rng: np.random.Generator, ring: BaseGeometry, width: float, *, switched: bool, steady: bool
) -> list[Leg]:
    """Passes to and fro from the south, each with a lap of its own and ends of its own."""
    aim, waver = rng.uniform(0.0, 0.06) * width, rng.uniform(0.01, 0.03) * width
    towers = int(rng.choice([4, 8, ROWS]))  # rows that go off together at the last pass
    late, unsure = rng.uniform(0.0, 3.0), rng.uniform(0.2, 1.0)
    if steady:
        waver, unsure, towers = 0.0, 0.0, ROWS
    _, edge, _, north = ring.bounds
    legs: list[Leg] = []
    while north - edge > _NOT_WORTH * width:
        lap = float(rng.normal(aim, waver))
        low = edge - lap
        need = min(north - low, width)
        rows = int(np.ceil(need / width * towers - 1e-9)) * ROWS // towers
        fresh = ring & shapely.box(-1e5, max(edge, low), 1e5, low + width)
        pieces = [p for p in shapely.get_parts(fresh) if p.area > 0.05 * width**2]
        forward = len(legs) % 2 == 0
        for piece in sorted(pieces, key=lambda p: p.bounds[0], reverse=not forward):
            west, _, east, _ = piece.bounds
            ends = rng.normal(late, unsure, 2)
            start, end = west - ends[0], east + ends[1]
            y = low + width / 2
            shut = None
            if switched:
                shut = _shut(piece, low, width, start, ends)
            row = (0, rows)
            if not forward:
                start, end = end, start
                row = (ROWS - rows, ROWS)
                if shut is not None:
                    shut = shut[:, ::-1]
            # From the left, as seen from the seat: north on the way east.
            row = (ROWS - row[1], ROWS - row[0])
            a, b = np.array([start, y]), np.array([end, y])
            if shut is not None:
                along = np.abs(shut - start)
                along = along[::-1] if forward else along
                shut = along
            legs.append(Leg(a, b, row, False, shut))
        edge = low + width
    return legs


def _shut(piece: BaseGeometry, low: float, width: float, start: float, late: Floats) -> Floats:
    """From and to in x of each section, from the south: as far as it has ground to do."""
    step = width / SECTIONS
    found = np.full((SECTIONS, 2), start)
    for s in range(SECTIONS):
        mine = piece & shapely.box(-1e5, low + s * step, 1e5, low + (s + 1) * step)
        if mine.area > 0:
            west, _, east, _ = mine.bounds
            found[s] = west - late[0], east + late[1]
    return found


def _drive(legs: list[Leg], part: float, rng: np.random.Generator) -> Drive:
    """One record a second along all runs, each with a pace and a receiver's drift of its own."""
    points, on, off, first = [], [], [], []
    travelled = 0.0
    for i, leg in enumerate(legs):
        ahead = (leg.end - leg.start) / leg.length_m
        share = part if i == len(legs) - 1 else 1.0
        stop = leg.start + share * (leg.end - leg.start)
        run_out = RUN_IN_M if share == 1.0 else 0.0
        for at in (leg.start - RUN_IN_M * ahead, stop + run_out * ahead):
            if points:
                travelled += float(np.hypot(*(at - points[-1])))
            points.append(at)
            first.append(travelled)
        on.append(first[-2] + RUN_IN_M)
        off.append(on[-1] + share * leg.length_m)
    line = np.array(points)
    pace = np.repeat(rng.uniform(*SPEEDS_MPS, len(legs)), 2)[1:]
    clock = np.concatenate([[0.0], np.cumsum(np.diff(first) / pace)])
    time = np.arange(rng.uniform(0.0, 1.0), clock[-1])
    s = np.interp(time, clock, first)
    x, y = np.interp(s, first, line[:, 0]), np.interp(s, first, line[:, 1])
    run = np.clip(np.searchsorted(first[::2], s, side="right") - 1, 0, None)
    working = (s >= np.array(on)[run]) & (s < np.array(off)[run])
    into = s - np.array(on)[run]
    sections = np.ones((len(s), ROWS), dtype=bool)
    for i, leg in enumerate(legs):
        mine = run == i
        if leg.shut is not None:
            each = np.repeat(leg.shut, ROWS // SECTIONS, axis=0)
            sections[mine] = (into[mine, None] >= each[:, 0]) & (into[mine, None] < each[:, 1])
        else:
            row = np.arange(ROWS)
            sections[mine] = (row >= leg.rows[0]) & (row < leg.rows[1])
    shift = rng.normal(0.0, 0.02, (2, len(legs)))[:, run]
    heading = np.zeros(len(s))
    return Drive(START_S + time, x + shift[0], y + shift[1], heading, working, sections)
