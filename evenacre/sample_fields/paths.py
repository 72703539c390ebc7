"""Smooth paths for a drill axle: straights and turns whose curvature never jumps.

A turn here is a lobe: curvature rises evenly, holds, and falls evenly, so that the wheels
of a real machine could follow it. Lengths are metres, headings radians counter-clockwise
from the x axis, curvature is positive to the left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.integrate import cumulative_trapezoid
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

FloatArray = npt.NDArray[np.float64]

STEP_M = 0.1
TURN_RADIUS_M = 6.0
TURN_RAMP_M = 2.5
_FINE_M = 0.01
_MAX_TURN_RAD = 1.7 * np.pi


@dataclass(frozen=True)
class Pose:
    """A position and the heading there."""

    x: float
    y: float
    heading: float

    def ahead(self, distance_m: float) -> Pose:
        """The pose this far straight ahead (behind when negative)."""
        return Pose(
            self.x + distance_m * float(np.cos(self.heading)),
            self.y + distance_m * float(np.sin(self.heading)),
            self.heading,
        )


@dataclass(frozen=True)
class Path:
    """A densely sampled path; arrays share length n, ``s`` is the distance along it."""

    x: FloatArray
    y: FloatArray
    heading: FloatArray
    curvature: FloatArray
    s: FloatArray

    @property
    def length(self) -> float:
        """Length of the whole path."""
        return float(self.s[-1])

    @property
    def end(self) -> Pose:
        """The pose at the end of the path."""
        return Pose(float(self.x[-1]), float(self.y[-1]), float(self.heading[-1]))

    @property
    def start(self) -> Pose:
        """The pose at the start of the path."""
        return Pose(float(self.x[0]), float(self.y[0]), float(self.heading[0]))

    def placed(self, pose: Pose) -> Path:
        """The path moved so that its own origin and x axis fall on ``pose``."""
        cos, sin = np.cos(pose.heading), np.sin(pose.heading)
        return Path(
            pose.x + cos * self.x - sin * self.y,
            pose.y + sin * self.x + cos * self.y,
            self.heading + pose.heading,
            self.curvature,
            self.s,
        )

    def started_at(self, s: float) -> Path:
        """A closed path begun at the first point at or beyond ``s`` instead."""
        at = int(np.searchsorted(self.s, s))
        return join([self._slice(at, len(self.s)), self._slice(0, at + 1)])

    def first(self, length_m: float) -> Path:
        """The path up to the first point at or beyond ``length_m``."""
        return self._slice(0, int(np.searchsorted(self.s, length_m)) + 1)

    def _slice(self, start: int, stop: int) -> Path:
        part = slice(start, stop)
        return Path(
            self.x[part],
            self.y[part],
            self.heading[part],
            self.curvature[part],
            self.s[part] - self.s[start],
        )

    def parallel(self, left_m: float) -> Path:
        """The path that runs this far to the left, with the same headings."""
        stretch = 1.0 - left_m * self.curvature
        return Path(
            self.x - left_m * np.sin(self.heading),
            self.y + left_m * np.cos(self.heading),
            self.heading,
            self.curvature / stretch,
            cumulative_trapezoid(stretch, self.s, initial=0.0),
        )

    def shifted(self, left_m: FloatArray) -> Path:
        """The path moved sideways by a smooth amount that differs from point to point."""
        x = self.x - left_m * np.sin(self.heading)
        y = self.y + left_m * np.cos(self.heading)
        slope = np.gradient(left_m, self.s)
        heading = self.heading + np.arctan2(slope, 1.0 - left_m * self.curvature)
        s = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))))
        return Path(x, y, heading, np.gradient(heading, s), s)


def join(paths: Sequence[Path]) -> Path:
    """Paths end to end; each must start where the last one ended."""
    columns: list[list[FloatArray]] = [[] for _ in range(5)]
    travelled = 0.0
    for path in paths:
        keep = slice(0 if not columns[0] else 1, None)
        values = (path.x, path.y, path.heading, path.curvature, path.s + travelled)
        for column, value in zip(columns, values, strict=True):
            column.append(value[keep])
        travelled += path.length
    x, y, heading, curvature, s = (np.concatenate(column) for column in columns)
    return Path(x, y, np.unwrap(heading), curvature, s)


def straight(pose: Pose, length_m: float) -> Path:
    """A straight run from a pose."""
    s = np.linspace(0.0, length_m, max(2, int(np.ceil(length_m / STEP_M)) + 1))
    zero = np.zeros_like(s)
    return Path(s, zero, zero, zero, s).placed(pose)


@cache
def lobe(angle: float, radius_m: float = TURN_RADIUS_M, ramp_m: float = TURN_RAMP_M) -> Path:
    """A turn by ``angle`` from the origin along x; gentler than ``radius_m`` when small."""
    size = abs(angle)
    peak = 1.0 / radius_m
    plateau = size * radius_m - ramp_m
    if plateau < 0.0:
        peak = (size / (radius_m * ramp_m)) ** 0.5
        ramp_m, plateau = size / peak, 0.0
    length = plateau + 2.0 * ramp_m
    coarse = max(2, int(np.ceil(length / STEP_M)))
    fine = int(np.ceil(length / coarse / _FINE_M))
    s = np.linspace(0.0, length, coarse * fine + 1)
    curvature = np.sign(angle) * peak * np.clip(np.minimum(s, length - s) / ramp_m, 0.0, 1.0)
    heading = cumulative_trapezoid(curvature, s, initial=0.0)
    heading *= angle / heading[-1]
    x = cumulative_trapezoid(np.cos(heading), s, initial=0.0)
    y = cumulative_trapezoid(np.sin(heading), s, initial=0.0)
    return Path(x[::fine], y[::fine], heading[::fine], curvature[::fine], s[::fine])


@cache
def _lobe_ends() -> Any:
    """End point of a left lobe over the square root of its angle, as a spline."""
    root = np.linspace(0.02, _MAX_TURN_RAD**0.5, 600)
    ends = [(lobe(float(r) ** 2).x[-1], lobe(float(r) ** 2).y[-1]) for r in root]
    return CubicSpline(np.concatenate(([0.0], root)), np.array([(0.0, 0.0), *ends]))


def _misses(
    start: Pose, end: Pose, first: FloatArray, second: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """How far the straight between two lobes would miss sideways, and its length."""
    middle = start.heading + first
    gap_x, gap_y = end.x - start.x, end.y - start.y
    for angle, heading in ((first, start.heading), (second, middle)):
        ends = _lobe_ends()(np.sqrt(np.abs(angle)))
        along, left = ends[..., 0], np.sign(angle) * ends[..., 1]
        gap_x = gap_x - along * np.cos(heading) + left * np.sin(heading)
        gap_y = gap_y - along * np.sin(heading) - left * np.cos(heading)
    cos, sin = np.cos(middle), np.sin(middle)
    return cos * gap_y - sin * gap_x, cos * gap_x + sin * gap_y


def connect(start: Pose, end: Pose) -> Path:
    """The shortest lobe, straight, lobe that leads from one pose to another."""
    change = float(np.remainder(end.heading - start.heading + np.pi, 2.0 * np.pi) - np.pi)
    grid = np.linspace(-_MAX_TURN_RAD, _MAX_TURN_RAD, 1400)
    best: tuple[float, float, float] | None = None
    for total in (change - 2.0 * np.pi, change, change + 2.0 * np.pi):
        first = grid[np.abs(total - grid) <= _MAX_TURN_RAD]
        if len(first) < 2:
            continue
        sideways, _ = _misses(start, end, first, total - first)

        def miss(angle: float, total: float = total) -> float:
            at = np.array([angle])
            return float(_misses(start, end, at, total - at)[0][0])

        for i in np.flatnonzero(sideways[:-1] * sideways[1:] <= 0.0):
            angle = float(brentq(miss, first[i], first[i + 1], xtol=1e-13))
            at = np.array([angle])
            along = float(_misses(start, end, at, total - at)[1][0])
            length = along + TURN_RADIUS_M * (abs(angle) + abs(total - angle))
            if along >= 0.0 and (best is None or length < best[0]):
                best = (length, angle, total - angle)
    if best is None:
        raise ValueError(f"no turn leads from {start} to {end}")
    return _turn(start, end, best[1], best[2])


def _turn(start: Pose, end: Pose, first: float, second: float) -> Path:
    """Lobe, straight and lobe of known angles, closed exactly on the end pose."""
    away = lobe(first).placed(start)
    home = lobe(second)
    home = home.placed(Pose(0.0, 0.0, away.end.heading))
    shift_x, shift_y = end.x - home.x[-1], end.y - home.y[-1]
    home = Path(home.x + shift_x, home.y + shift_y, home.heading, home.curvature, home.s)
    gap_x, gap_y = home.start.x - away.end.x, home.start.y - away.end.y
    gap = float(np.hypot(gap_x, gap_y))
    if gap < STEP_M:
        return join([away, home])
    bearing = float(np.arctan2(gap_y, gap_x))
    return join([away, straight(Pose(away.end.x, away.end.y, bearing), gap), home])


def rounded_loop(
    corners: Sequence[tuple[float, float]], radii_m: Sequence[float], ramp_m: float
) -> Path:
    """A closed loop along a polygon with its corners rounded, from the middle of side 0.

    Parameters
    ----------
    corners : sequence of (x, y)
        Counter-clockwise; side 0 leads from corner 0 to corner 1.
    radii_m : sequence of float
        Tightest radius at each corner.
    """
    points = np.asarray(corners, dtype=float)
    sides = np.roll(points, -1, axis=0) - points
    bearings = np.arctan2(sides[:, 1], sides[:, 0])
    turns = np.remainder(bearings - np.roll(bearings, 1) + np.pi, 2.0 * np.pi) - np.pi
    bends = [lobe(float(a), r, ramp_m) for a, r in zip(turns, radii_m, strict=True)]
    tangents = [float(bend.x[-1] / (1.0 + np.cos(a))) for bend, a in zip(bends, turns, strict=True)]
    start = points[0] + sides[0] / 2.0
    pose = Pose(float(start[0]), float(start[1]), float(bearings[0]))
    parts: list[Path] = []
    count = len(points)
    for i in (*range(1, count), 0):
        room = float(np.hypot(*(points[i] - (pose.x, pose.y)))) - tangents[i]
        parts.append(straight(pose, room))
        parts.append(bends[i].placed(parts[-1].end))
        pose = parts[-1].end
    parts.append(straight(pose, float(np.hypot(start[0] - pose.x, start[1] - pose.y))))
    return join(parts)
