"""Jobs whose answer is known, or can be worked out without the engine.

A job is laid out in a plane in metres and put down anywhere on Earth through a Lambert
azimuthal equal-area projection, so that areas of the plane are areas of the ground.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from pyproj import Transformer
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from evenacre.model import Application, Blockage, Field, Implement, Operation, Settings, Track

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

MISSOURI = (-92.6, 40.1)
CANTERBURY = (171.9, -43.7)
LAPLAND = (25.3, 66.2)
TAVEUNI = (179.9999, -16.85)  # astride the antimeridian
QUITO = (-78.45, 0.02)
PLACES = {
    "Missouri": MISSOURI,
    "Canterbury": CANTERBURY,
    "Lapland": LAPLAND,
    "Taveuni": TAVEUNI,
    "Quito": QUITO,
}

START_S = 1_776_150_000.0
HZ = 5.0
SPEED_MPS = 2.4
STEP_M = SPEED_MPS / HZ
DRILL = Implement(width_m=6.096, rows=32, rows_known=True, rows_per_tower=8)


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
    settings: Settings = Settings()
    name: str = "job"


class Turtle:
    """A path of straight lines and arcs, followed exactly."""

    def __init__(self, x: float = 0.0, y: float = 0.0, heading: float = 0.0) -> None:
        self._legs: list[tuple[float, float, float, float, float, bool]] = []
        self._x, self._y, self._h, self.travelled_m = x, y, heading, 0.0

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
        self._legs.append((self.travelled_m, self._x, self._y, self._h, bend, work))
        x, y, h = _follow_leg(
            np.array([self._x]), np.array([self._y]), np.array([self._h]), np.array([bend]),
            np.array([length]),
        )  # fmt: skip
        self._x, self._y, self._h = float(x[0]), float(y[0]), float(h[0])
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


@dataclass(frozen=True)
class FieldPlan:
    """How to drive a whole field: rounds along the boundary, then passes inside."""

    boundary: Polygon
    direction_rad: float
    unworkable: Polygon | None = None
    implement: Implement = DRILL
    sections: int = 4
    rounds: int = 2
    corner_radius_m: float = 4.5
    gaps: tuple[float, ...] = (-0.05, 0.0, -0.1, 0.25, -0.3, 0.02, -0.15)
    headland_overlap_m: float = 0.6
    step_m: float = STEP_M
    speed_mps: float = SPEED_MPS


def field_job(plan: FieldPlan, **rest: object) -> Job:
    """Drive a field as its plan says, sections switched over ground not to be worked."""
    drives = [_round(plan, k) for k in range(plan.rounds)]
    drives.append(_interior(plan))
    start = START_S
    timed = []
    for drive in drives:
        timed.append(drive.later(start - drive.time_s[0]))
        start = timed[-1].time_s[-1] + 30.0
    return Job(
        plan.boundary,
        tuple(timed),
        plan.implement,
        unworkable=plan.unworkable,
        **rest,  # type: ignore[arg-type]
    )


def _round(plan: FieldPlan, k: int) -> Drive:
    """Round ``k`` along the boundary, run 3 m over its own start before lifting."""
    width = plan.implement.width_m
    # Later rounds overlap the one before by a little, as a careful driver's do.
    inset = width / 2 + k * (width - 0.1)
    r = plan.corner_radius_m
    ring = plan.boundary.buffer(-inset - r, join_style="mitre").buffer(r, quad_segs=90).exterior
    around = float(ring.length)
    s = np.arange(-6.0, around + 9.0, plan.step_m)
    here = shapely.line_interpolate_point(ring, s % around)
    ahead = shapely.line_interpolate_point(ring, (s + 0.02) % around)
    behind = shapely.line_interpolate_point(ring, (s - 0.02) % around)
    x, y = shapely.get_x(here), shapely.get_y(here)
    heading = np.unwrap(
        np.arctan2(
            shapely.get_y(ahead) - shapely.get_y(behind),
            shapely.get_x(ahead) - shapely.get_x(behind),
        )
    )
    down = (s >= 0) & (s <= around + 3.0)
    may = plan.boundary if plan.unworkable is None else plan.boundary - plan.unworkable
    return _sectioned(plan, START_S + s / plan.speed_mps, x, y, heading, down, may)


def _interior(plan: FieldPlan) -> Drive:
    """Passes to and fro inside the rounds; each section works only over ground left to do."""
    width, turn = plan.implement.width_m, plan.direction_rad
    done = plan.rounds * (width - 0.1) - plan.headland_overlap_m
    left_to_do = plan.boundary.buffer(-done, join_style="mitre")
    may = left_to_do if plan.unworkable is None else left_to_do - plan.unworkable
    flat = shapely.affinity.rotate(left_to_do, -turn, origin=(0, 0), use_radians=True)
    x_low, y_low, x_high, y_high = flat.bounds
    centres = [y_low + width / 2]
    while centres[-1] + width / 2 < y_high:
        centres.append(centres[-1] + width + plan.gaps[(len(centres) - 1) % len(plan.gaps)])
    ends = []
    for y in centres:
        strip = flat & shapely.box(x_low - 1, y - width / 2, x_high + 1, y + width / 2)
        ends.append((strip.bounds[0] - 8.0, strip.bounds[2] + 8.0))
    turtle = Turtle(ends[0][0], centres[0])
    for i, y in enumerate(centres):
        last = i + 1 == len(centres)
        goes_right = i % 2 == 0
        here = (
            ends[i] if last else (min(ends[i][0], ends[i + 1][0]), max(ends[i][1], ends[i + 1][1]))
        )
        stop = here[1] if goes_right else here[0]
        turtle.forward(abs(stop - turtle._x))
        if not last:
            turtle.arc((centres[i + 1] - y) / 2, math.pi if goes_right else -math.pi)
    drive = turtle.sample(plan.step_m, plan.speed_mps)
    cos, sin = math.cos(turn), math.sin(turn)
    x, y = drive.x_m * cos - drive.y_m * sin, drive.x_m * sin + drive.y_m * cos
    # The tool is up while the machine turns.
    straight = np.abs(np.sin(drive.heading_rad)) < 1e-6
    return _sectioned(plan, drive.time_s, x, y, drive.heading_rad + turn, straight, may)


def _sectioned(
    plan: FieldPlan,
    time_s: Floats,
    x: Floats,
    y: Floats,
    heading: Floats,
    down: Bools,
    may: BaseGeometry,
) -> Drive:
    """States of the sections: on where the middle of a section is over ground it may work."""
    width, count = plan.implement.width_m, plan.sections
    left = width / 2 - (np.arange(count) + 0.5) * width / count
    sx = x[:, None] - np.sin(heading)[:, None] * left
    sy = y[:, None] + np.cos(heading)[:, None] * left
    shapely.prepare(may)
    on = shapely.contains_xy(may, sx, sy) & down[:, None]
    return Drive(time_s, x, y, heading, on.any(axis=1), on)


def reference_field(**rest: object) -> Job:
    """About 5 ha: oblique sides, a waterway, switched sections and a blocked tower."""
    boundary = Polygon([(0, 0), (262, 22), (305, 140), (170, 232), (12, 196)])
    waterway = LineString([(100, -40), (128, 90), (210, 260)]).buffer(5.0, quad_segs=16)
    plan = FieldPlan(boundary, direction_rad=0.37, unworkable=waterway & boundary)
    job = field_job(plan)
    inside = job.drives[-1]
    start = float(inside.time_s[0]) + 0.35 * float(np.ptp(inside.time_s))
    blocked = Blockage(start + 0.07, start + 45.13, DRILL.tower_rows(3), "tower 3")
    return replace(job, blockages=(blocked,), name="reference field", **rest)  # type: ignore[arg-type]


def lonlat_of(x: Floats, y: Floats, place: tuple[float, float]) -> tuple[Floats, Floats]:
    """Longitude and latitude of plane positions put down at ``place``."""
    lon0, lat0 = place
    plane = f"+proj=laea +lon_0={lon0} +lat_0={lat0} +datum=WGS84 +units=m"
    lon, lat = Transformer.from_crs(plane, "EPSG:4326", always_xy=True).transform(x, y)
    return np.asarray(lon), np.asarray(lat)


def on_earth(
    geometry: BaseGeometry, place: tuple[float, float], turn: float, shift: tuple[float, float]
) -> BaseGeometry:
    """A plane geometry put down at ``place``, its longitudes unbroken past 180."""

    def put(points: Floats) -> Floats:
        lon, lat = lonlat_of(*_moved(points[:, 0], points[:, 1], turn, shift), place)
        lon = place[0] + (lon - place[0] + 180.0) % 360.0 - 180.0
        return np.column_stack([lon, lat])

    return shapely.transform(geometry, put)


def operation(
    job: Job,
    place: tuple[float, float] = MISSOURI,
    *,
    turn: float = 0.0,
    shift: tuple[float, float] = (0.0, 0.0),
    jitter_m: float = 0.0,
    seed: int = 0,
    separate: bool = False,
) -> Operation:
    """The job as the engine is given it.

    Parameters
    ----------
    job : Job
    place : (lon, lat)
        Where on Earth the plane's origin goes.
    turn, shift : float, (float, float)
        The job is turned about the origin and then moved, in the plane.
    jitter_m : float
        Standard deviation of white noise on each coordinate of the log.
    separate : bool
        One track per drive instead of one log of them all.
    """
    rng = np.random.default_rng(seed)
    tracks = []
    for i, drive in enumerate(job.drives):
        x, y = _moved(drive.x_m, drive.y_m, turn, shift)
        noise = rng.normal(0.0, jitter_m, (2, len(x))) if jitter_m else np.zeros((2, 1))
        lon, lat = lonlat_of(x + noise[0], y + noise[1], place)
        tracks.append(
            Track(
                source=f"drive-{i + 1}.csv",
                time_s=drive.time_s,
                lon=lon,
                lat=lat,
                working=drive.working,
                sections=drive.sections,
                rates=drive.rates,
                flows=drive.flows,
            )
        )
    if not separate:
        tracks = [joined(tracks)]

    def put(geometry: BaseGeometry) -> BaseGeometry:
        return on_earth(geometry, place, turn, shift)

    zones = None
    if job.zones:
        zones = gpd.GeoDataFrame(
            {"zone": list(job.zones)},
            geometry=[put(z) for z in job.zones.values()],
            crs="EPSG:4326",
        )
    return Operation(
        name=job.name,
        field=Field(
            name=job.name,
            boundary=put(job.boundary),
            unworkable=None if job.unworkable is None else put(job.unworkable),
            zones=zones,
        ),
        implement=job.implement,
        tracks=tuple(tracks),
        applications=job.applications,
        blockages=job.blockages,
        settings=job.settings,
    )


def joined(tracks: Sequence[Track]) -> Track:
    """Several tracks as one log."""

    def together(name: str) -> npt.NDArray[np.generic] | None:
        parts = [getattr(t, name) for t in tracks]
        return None if parts[0] is None else np.concatenate(parts)

    return replace(
        tracks[0],
        source="log.csv",
        **{name: together(name) for name in ("time_s", "lon", "lat", "working", "sections")},
        rates={k: np.concatenate([t.rates[k] for t in tracks]) for k in tracks[0].rates},
        flows={k: np.concatenate([t.flows[k] for t in tracks]) for k in tracks[0].flows},
    )


def split(track: Track, at: Sequence[int]) -> tuple[Track, ...]:
    """One log cut into several files before the records ``at``."""
    edges = [0, *sorted(set(at)), len(track)]
    parts = []
    for i, (a, b) in enumerate(zip(edges[:-1], edges[1:], strict=True)):
        if a == b:
            continue
        cut = {
            name: None if (values := getattr(track, name)) is None else values[a:b]
            for name in ("time_s", "lon", "lat", "working", "sections")
        }
        parts.append(
            replace(
                track,
                source=f"part-{i}.csv",
                **cut,
                rates={k: v[a:b] for k, v in track.rates.items()},
                flows={k: v[a:b] for k, v in track.flows.items()},
            )
        )
    return tuple(parts)


def _moved(x: Floats, y: Floats, turn: float, shift: tuple[float, float]) -> tuple[Floats, Floats]:
    cos, sin = math.cos(turn), math.sin(turn)
    return x * cos - y * sin + shift[0], x * sin + y * cos + shift[1]
