"""Seeded jobs whose drill is known: what was driven, and the log an antenna ahead of it kept.

Shares no code with the engine: the antenna is driven, the drill is towed behind it in steps of a
few centimetres, and its work is switched where it crosses the lines of a field.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pyproj
import shapely
from jobs import START_S, Bools, Floats

from evenacre.model import Field, Implement, Operation, Settings, Track

_FINE_M = 0.05  # of the drive and of the tow
_LEAD_M = 8.0  # driven straight after the drill has left a pass, and before it begins one


@dataclass(frozen=True)
class Rig:
    """The drill as it is: what the log does not say."""

    width_m: float = 9.144
    ahead_m: float = 2.0  # antenna ahead of the pin
    hitch_to_axle_m: float = 6.0  # 0: mounted
    tool_behind_m: float = 1.0
    left_m: float = 0.0
    lag_s: float = 0.0
    sections: int = 1

    @property
    def behind_m(self) -> float:
        """Tool line behind the antenna on a straight line."""
        return self.ahead_m + self.hitch_to_axle_m + self.tool_behind_m


@dataclass(frozen=True)
class Work:
    """A field and how it is driven.

    ``habit``: ``"line"`` work goes on and off as the drill crosses the headland's edge;
    ``"overlap"`` a careful driver is early on and late off by some 0.6 m; ``"late"`` a hand is
    late both ways by a time of its own from 0.5 to 1 s; ``"set off"`` section control switches each
    section as its timing says, which is off by some 0.15 s; ``"never up"`` work stays on in turns.
    ``guided``: ``"tool"`` the drill is on evenly spaced lines, ``"antenna"`` the antenna is.
    """

    length_m: float = 260.0
    passes: int = 16
    slant: float = 0.0  # of the headland's edge to the passes: metres along for each across
    spacing_m: float | None = None  # None: edge to edge
    pattern: str = "to and fro"  # "lands" (round and round two halves), "one way"
    habit: str = "line"
    guided: str = "tool"
    rounds: int = 1
    speed_mps: float = 2.2
    speed_spread: float = 0.0  # share by which the speed at the ends differs from pass to pass
    hz: float = 5.0
    white_m: float = 0.005
    steer_m: float = 0.02  # of whole passes
    turned_rad: float = 0.6
    zone_m: float | None = None  # from here along the passes on, the rate is a third higher


@dataclass(frozen=True)
class Simulated:
    """The log, and what is true of the drill."""

    operation: Operation
    rig: Rig
    work: Work


def simulate(rig: Rig, work: Work, seed: int, **told: object) -> Simulated:
    """Drive a field; ``told`` are figures of the implement that the season says."""
    rng = np.random.default_rng(seed)
    spacing = work.spacing_m or rig.width_m
    order, heads = _order(work.passes, work.pattern)
    x, y, straight, speed = _antenna_path(rig, work, rng, spacing, order, heads)
    s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    time = np.concatenate([[0.0], np.cumsum(np.diff(s) / ((speed[1:] + speed[:-1]) / 2))])
    course = np.arctan2(np.gradient(y), np.gradient(x))
    tool_x, tool_y, heading = _towed(rig, x, y, course)
    on = _worked(rig, work, rng, spacing, tool_x, tool_y, heading, straight, time)
    if work.habit == "never up":
        on[:] = True
    logged_t = np.arange(time[0] + rng.uniform(0, 1 / work.hz), time[-1], 1 / work.hz)
    # What is on the ground at t was logged a lag before.
    then = np.clip(np.searchsorted(time, logged_t + rig.lag_s), 0, len(time) - 1)
    sections = on[then]
    ax, ay = np.interp(logged_t, time, x), np.interp(logged_t, time, y)
    ax += rng.normal(0, work.white_m, len(ax))
    ay += rng.normal(0, work.white_m, len(ay))
    boundary = _boundary(rig, work, spacing)
    lon, lat = _lonlat(*_turned(ax, ay, work.turned_rad))
    corners = shapely.get_coordinates(boundary)
    boundary = shapely.Polygon(
        np.column_stack(_lonlat(*_turned(corners[:, 0], corners[:, 1], work.turned_rad)))
    )
    rates = {}
    if work.zone_m is not None:
        rates["p"] = np.where(tool_x[then] > work.zone_m, 0.02, 0.015) * sections.any(axis=1)
    track = Track(
        "log.csv",
        START_S + logged_t,
        lon,
        lat,
        working=sections.any(axis=1),
        sections=sections if rig.sections > 1 else None,
        rates=rates,
    )
    drill = Implement(rig.width_m, rows=12 * rig.sections, rows_known=True, **told)  # type: ignore[arg-type]
    job = Operation("job", Field("field", boundary), drill, (track,), settings=Settings())
    return Simulated(job, rig, work)


def _order(count: int, pattern: str) -> tuple[list[int], list[int]]:
    """Passes in the order they are driven, and which way (1 or -1)."""
    if pattern == "one way":
        return list(range(count)), [1] * count
    if pattern == "lands":
        half = count // 2
        order = [p for pair in zip(range(half), range(half, 2 * half), strict=True) for p in pair]
        return order, [1 if p < half else -1 for p in order]
    return list(range(count)), [1 if p % 2 == 0 else -1 for p in range(count)]


def _antenna_path(
    rig: Rig,
    work: Work,
    rng: np.random.Generator,
    spacing: float,
    order: list[int],
    heads: list[int],
) -> tuple[Floats, Floats, Bools, Floats]:
    """Antenna in fine steps, where it is on a pass, and its speed."""
    parts: list[Floats] = []
    on_pass: list[Bools] = []
    speeds: list[Floats] = []

    def add(xy: Floats, straight: bool, speed: Floats | float) -> None:
        parts.append(xy)
        on_pass.append(np.full(len(xy), straight))
        speeds.append(np.broadcast_to(speed, len(xy)).astype(float))

    v0 = work.speed_mps
    for ring in range(work.rounds):
        xy = _round(rig, work, spacing, ring)
        add(xy, straight=False, speed=v0)
    reach = rig.behind_m + _LEAD_M + 2.5 * (rig.lag_s + 1.0)
    for p, head in zip(order, heads, strict=True):
        y0 = (p + 0.5) * spacing + rng.normal(0, work.steer_m)
        if work.guided == "tool":
            y0 += head * rig.left_m
        low = min(0.0, y0 * work.slant) - reach
        high = work.length_m + max(0.0, y0 * work.slant) + reach
        along = np.arange(low, high, _FINE_M)
        xy = np.column_stack([along, np.full(len(along), y0)])[::head]
        # Its speed at either end is its own.
        a, b = v0 * (1 + work.speed_spread * rng.uniform(-1, 1, 2))
        ramp = np.clip(np.linspace(-1.0, 2.0, len(along)), 0.0, 1.0)
        if (parts and on_pass[-1][0]) or parts:
            add(_turn(parts[-1], xy), straight=False, speed=0.8 * v0)
        add(xy, straight=True, speed=a + (b - a) * ramp)
    xy = np.concatenate(parts)
    step = np.hypot(*np.diff(xy, axis=0, prepend=np.nan).T)
    keep = ~(step < 1e-6)
    flags, speed = np.concatenate(on_pass)[keep], np.concatenate(speeds)[keep]
    return xy[keep, 0], xy[keep, 1], flags, speed


def _turn(before: Floats, after: Floats) -> Floats:
    """A smooth way from the end of one piece to the start of the next."""
    p, q = before[-1], after[0]
    u, v = before[-1] - before[-2], after[1] - after[0]
    u, v = u / np.hypot(*u), v / np.hypot(*v)
    reach = max(np.hypot(*(q - p)), 12.0) * 0.9
    t = np.linspace(0, 1, int(3 * reach / _FINE_M))[1:-1, None]
    a, b = p + reach * u, q - reach * v
    return (1 - t) ** 3 * p + 3 * t * (1 - t) ** 2 * a + 3 * t**2 * (1 - t) * b + t**3 * q


def _boundary(rig: Rig, work: Work, spacing: float, inset: float = 0.0) -> shapely.Polygon:
    """Outline of the field; its ends lie as far out as the rounds need."""
    deep = work.rounds * rig.width_m - inset
    top = work.passes * spacing + deep
    ends = [
        (-deep + y * work.slant, y) if side < 0 else (work.length_m + deep + y * work.slant, y)
        for y, side in ((-deep, -1), (-deep, 1), (top, 1), (top, -1))
    ]
    return shapely.Polygon(ends)


def _round(rig: Rig, work: Work, spacing: float, ring: int) -> Floats:
    """Antenna's round; the drill runs as far inside the boundary as it should on the straights."""
    inset = (ring + 0.5) * rig.width_m - rig.left_m
    line = _boundary(rig, work, spacing, inset).buffer(-7.0).buffer(7.0, quad_segs=64).exterior
    # One way round, so that the antenna's left is always the same side.
    s = np.arange(0.0, line.length + 6.0, _FINE_M)
    points = shapely.line_interpolate_point(
        line.reverse() if line.is_ccw else line, s % line.length
    )
    return shapely.get_coordinates(points)


def _towed(rig: Rig, x: Floats, y: Floats, course: Floats) -> tuple[Floats, Floats, Floats]:
    """Tool line's middle and heading: the pin follows the antenna, the axle the pin."""
    cos, sin = np.cos(course), np.sin(course)
    px = x - rig.ahead_m * cos + rig.left_m * sin
    py = y - rig.ahead_m * sin - rig.left_m * cos
    if not rig.hitch_to_axle_m:
        return px - rig.tool_behind_m * cos, py - rig.tool_behind_m * sin, course
    h = float(course[0])
    length = rig.hitch_to_axle_m
    heading = np.empty(len(px))
    heading[0] = h
    dx, dy = np.diff(px).tolist(), np.diff(py).tolist()
    for k, (ex, ey) in enumerate(zip(dx, dy, strict=True)):
        # The axle goes along its own unit: its heading turns with the pin's sideways move.
        mid = h + (ey * math.cos(h) - ex * math.sin(h)) / length / 2
        h += (ey * math.cos(mid) - ex * math.sin(mid)) / length
        heading[k + 1] = h
    back = length + rig.tool_behind_m
    return px - back * np.cos(heading), py - back * np.sin(heading), heading


def _worked(
    rig: Rig,
    work: Work,
    rng: np.random.Generator,
    spacing: float,
    tool_x: Floats,
    tool_y: Floats,
    heading: Floats,
    straight: Bools,
    time: Floats,
) -> Bools:
    """(n, sections) where each section is in work on the ground."""
    count = rig.sections
    left = rig.width_m / 2 - (np.arange(count) + 0.5) * rig.width_m / count
    by_hand = work.habit in ("overlap", "late")
    if by_hand:  # all sections at once
        left = np.zeros(1)
    on = np.zeros((len(tool_x), count), dtype=bool)
    piece = np.cumsum(np.diff(straight.astype(int), prepend=0) != 0)
    on[piece == piece[0]] = not straight[0]  # the rounds, all in one go
    late_s = {"late": rng.uniform(0.5, 1.0), "set off": rng.normal(0, 0.15)}.get(work.habit, 0.0)
    for number in np.unique(piece[straight]):
        at = np.flatnonzero(piece == number)
        # The tool may still be on the pass when the antenna has begun its turn.
        at = np.arange(at[0], min(at[-1] + 1, len(tool_x)))
        for k in range(len(left)):
            sx = tool_x[at] - left[k] * np.sin(heading[at])
            sy = tool_y[at] + left[k] * np.cos(heading[at])
            along = sx - work.slant * sy
            inside = np.flatnonzero((along > 0) & (along < work.length_m))
            if not len(inside):
                continue
            first, last = at[inside[0]], at[inside[-1]]
            if work.habit == "overlap":
                early, more = np.abs(rng.normal(0.6, 0.2, 2))
                first -= int(early / _FINE_M)
                last += int(more / _FINE_M)
            if late_s:
                own = late_s + (rng.normal(0, 0.1, 2) if by_hand else np.zeros(2))
                first = int(np.searchsorted(time, time[first] + own[0]))
                last = int(np.searchsorted(time, time[last] + own[1]))
            on[first : last + 1, slice(None) if by_hand else k] = True
    return on


def _turned(x: Floats, y: Floats, angle: float) -> tuple[Floats, Floats]:
    cos, sin = math.cos(angle), math.sin(angle)
    return x * cos - y * sin, x * sin + y * cos


def _lonlat(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    plane = pyproj.Transformer.from_crs(
        "+proj=laea +lat_0=40.2 +lon_0=-93.1 +datum=WGS84", "EPSG:4326", always_xy=True
    )
    lon, lat = plane.transform(x, y)
    return lon, lat
