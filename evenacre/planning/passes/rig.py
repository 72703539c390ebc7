"""Tractor, carts and tool: how sharply they turn together, and the ground they stand on."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
import shapely

from evenacre.coverage.tow import follow
from evenacre.model import FloatArray, Implement, TowedUnit
from evenacre.planning.passes.bends import MOST_RAD, Bend, Way, drawn, joined
from evenacre.planning.passes.pass_types import Drive

# A tractor alone turns no tighter: common practice, no source.
_TRACTOR_RADIUS_M = 6.0
# A unit stands no more askew to what pulls it: common practice, no source.
_ASKEW_RAD = math.radians(60.0)
# Where nothing is said, from common practice, no source: the tractor ahead of its pin, and how wide
# it is; the frame of a tool ahead of and behind its openers; a cart behind its axle, and its width.
TRACTOR_LENGTH_M = 5.5
TRACTOR_WIDTH_M = 2.6
_FRAME_M = 1.0
_CART_BEHIND_M = 1.5
_CART_WIDTH_M = 3.0
# A tool of which no tow is told is taken to be pulled this far behind, in widths, at least so many
# metres and at most so many: common practice, no source.
_TOW_WIDTHS, _TOW_LEAST_M, _TOW_MOST_M = 0.8, 4.0, 7.0
# The swing of a cart that is hitched behind its axle fades to a hundredth over so many times as far
# as it is hitched behind.
_SETTLED = 5.0
# Points along an outline are no farther apart.
_OUTLINE_M = 1.5
# Steering from straight to full lock takes a tractor alone so many metres.
_STEER_M = 2.0
_STEP_M = 0.5
# Between the places at which a rig is looked at a corner of it may swing out by so much; they are
# at most so far apart.
SWING_M = 0.03
_LOOK_M = 0.75
_FINE_M = 0.05
# Where corners are looked at roughly: at so many places of a bend, of bends that turn by so much
# and what lies between them, and at these shares of a straight.
_SWUNG = 6
_SWING_RAD = math.radians(6.0)
_ALONG = np.array([0.25, 0.5, 0.75, 1.0])
# Gentler bends: circles so many times as wide, and as wide again where steered against the bend.
_GENTLER = ((1.0, 2.5), (1.2, 4.0), (1.5, 6.0), (2.0, 6.0), (3.0, 8.0))
# How much wider than the steady circle bends of a chain are tried.
_WIDER = (1.05, 1.2, 1.4, 1.7, 2.2, 3.0)
# Ramps out of a bend as shares of those into it, likewise.
_OUT_OF_INTO = (0.5, 0.7, 1.0)


@dataclass(frozen=True)
class Rig:
    """What is driven: tightest circle of the hitch pin, and the units behind it, in metres."""

    width_m: float
    radius_m: float
    tow: tuple[TowedUnit, ...] = ()  # the last of them carries the tool; none: mounted
    tool_behind_m: float = 0.0
    behind: tuple[TowedUnit, ...] = ()  # towed behind the tool
    tool_to_pin_m: float = 0.0  # from the tool's axle to their pin
    tractor_length_m: float = TRACTOR_LENGTH_M
    tractor_width_m: float = TRACTOR_WIDTH_M

    @property
    def backs_up(self) -> bool:
        """Whether it can be backed up straight: with one joint at most."""
        return len(self.tow) + len(self.behind) <= 1

    @cached_property
    def pulled(self) -> Rig:
        """The tool and what pulls it."""
        return replace(self, behind=())

    @cached_property
    def lead_m(self) -> float:
        """From the openers to the hitch pin, in line."""
        return self.tool_behind_m + sum(
            unit.hitch_to_axle_m + (unit.axle_to_pin_m if unit is not self.tow[-1] else 0.0)
            for unit in self.tow
        )

    @cached_property
    def ahead_m(self) -> float:
        """From the openers to the foremost point, in line."""
        return self.lead_m + self.tractor_length_m

    @cached_property
    def back_m(self) -> float:
        """From the openers to the rearmost point, in line."""
        if not self.behind:
            return _FRAME_M
        lengths = sum(unit.hitch_to_axle_m for unit in self.behind)
        lengths += sum(unit.axle_to_pin_m for unit in self.behind[:-1])
        return self.tool_to_pin_m - self.tool_behind_m + lengths + _CART_BEHIND_M

    @cached_property
    def bend(self) -> Bend:
        """How sharply the axle of the tool can be led."""
        return _bend(self)

    @cached_property
    def bends(self) -> tuple[Bend, ...]:
        """That one and gentler ones, in which the tractor swings out less."""
        return (
            self.bend,
            *(_bend(replace(self, radius_m=w * self.radius_m), c) for w, c in _GENTLER),
        )

    @cached_property
    def settles_m(self) -> float:
        """So far before a bend what pulls the tool is in line, to a few millimetres.

        Where the tool is hitched behind the axle of a cart, that swings out before a bend begins.
        """
        return _SETTLED * max([0.0, *(unit.axle_to_pin_m for unit in self.tow[:-1])])

    @cached_property
    def step_m(self) -> float:
        """So far apart the rig is looked at along a way of the tool's axle.

        No farther than that its nose and the ends of its tool swing out by `SWING_M` between.
        """
        askew = _ASKEW_RAD if self.tow else 0.0
        if self.tow:
            askew = min(askew, math.asin(min(self.tow[-1].hitch_to_axle_m / self.radius_m, 1.0)))
        axle_m = self.radius_m * math.cos(askew)
        nose_m = math.hypot(self.radius_m + self.tractor_width_m / 2, self.tractor_length_m)
        tool_m = math.hypot(axle_m + self.width_m / 2, self.tool_behind_m + _FRAME_M)
        # The arc of a step rises above its chord by the square of half its angle, times radius / 2.
        return min(_LOOK_M, axle_m * 2.0 * math.sqrt(2.0 * SWING_M / max(nose_m, tool_m)))

    @cached_property
    def swing_m(self) -> float:
        """How far an end of the tool swings out where a bend begins."""
        way = drawn(self.bend, np.zeros(3), [(np.pi / 2, 0.0)], _FINE_M)
        outline = self._tool
        sin, cos = np.sin(way.heading_rad)[:, None], np.cos(way.heading_rad)[:, None]
        right = way.xy[:, 1:] + sin * outline[:, 0] + cos * outline[:, 1]
        return float(-self.width_m / 2 - right.min())

    def tool_xy(self, way: Way) -> FloatArray:
        """Middle of the openers where the tool's axle goes along a way."""
        return np.asarray(way.xy - self.tool_behind_m * _ahead(way.heading_rad))

    def pulled_by(self, way: Way) -> list[tuple[FloatArray, FloatArray]]:
        """Axle and heading of each unit ahead, from the tool's to the tractor's."""
        xy, heading, bent = way.xy, way.heading_rad, way.curvature
        found = [(xy, heading)]
        for number, unit in reversed(list(enumerate(self.tow))):
            pin = xy + unit.hitch_to_axle_m * _ahead(heading)
            course = heading + np.arctan(unit.hitch_to_axle_m * bent)
            back = self.tow[number - 1].axle_to_pin_m if number else 0.0
            if back > 0:
                # The axle before the pin goes as if the pin pulled it, driven the other way.
                turned = follow(pin[::-1, 0], pin[::-1, 1], back, float(course[-1] + np.pi))
                course = turned[::-1] - np.pi
                pin = pin + back * _ahead(course)
            xy, heading = pin, course
            found.append((xy, heading))
            if number:
                bent = _curvature(xy, heading)
        return found

    def places(
        self,
        way: Way,
        trailing_rad: FloatArray,
        came: Way | None = None,
        goes: Way | None = None,
    ) -> tuple[list[tuple[FloatArray, FloatArray, FloatArray]], FloatArray]:
        """Outline, origin and heading of every body along a way, and the trailing ones' last.

        ``trailing_rad`` (k,) is how the units behind the tool head at the beginning. What pulls the
        tool is looked at on the way that it ``came``, too, where it steers for this one already,
        and steers at the end of this one for where it ``goes`` then.
        """
        if self.settles_m:
            parts = [part for part in (came, way, goes) if part is not None]
            until = len(way.xy) + (0 if came is None else len(came.xy) - 1)
            pulling = self.pulled_by(joined(*parts))[1:]
            units = [
                (way.xy, way.heading_rad),
                *((xy[:until], heading[:until]) for xy, heading in pulling),
            ]
        else:
            units = self.pulled_by(way)
        bodies = [(self._tractor, units[-1][0], units[-1][1])]
        for number, (xy, heading) in enumerate(reversed(units[:-1])):
            last = number == len(units) - 2
            outline = self._tool if last else self._cart(self.tow[number].hitch_to_axle_m)
            bodies.append((outline, xy, heading))
        if not self.tow:
            bodies.append((self._tool, way.xy, way.heading_rad))
        pin = way.xy - self.tool_to_pin_m * _ahead(way.heading_rad)
        left = np.array(trailing_rad, dtype=float)
        for number, unit in enumerate(self.behind):
            heading = follow(pin[:, 0], pin[:, 1], unit.hitch_to_axle_m, float(left[number]))
            left[number] = heading[-1]
            axle = pin - unit.hitch_to_axle_m * _ahead(heading)
            bodies.append((self._cart(unit.hitch_to_axle_m), axle, heading))
            pin = axle - unit.axle_to_pin_m * _ahead(heading)
        return bodies, left

    @cached_property
    def in_line(self) -> list[FloatArray]:
        """Outline of every body from the axle of the tool, x ahead, where it stands in line."""
        still = Way(np.zeros((1, 2)), np.zeros(1), np.zeros(1), 0.0)
        bodies, _ = self.places(still, np.zeros(len(self.behind)))
        return [outline + xy for outline, xy, _ in bodies]

    def corners(self, bend: Bend, starts: FloatArray, ways: FloatArray) -> np.ndarray:
        """Where the tool, and the tractor but of a chain, has its outer corners along each way.

        At a few places, to a decimetre, at a fraction of what `places` takes. Ways (w, 3, 2) as of
        `ways_between_all` from poses (w, 3); x + iy of the corners (w, p).
        """
        known, at_bends = _swings(self, bend)
        turned, straights = ways[..., 0], ways[..., 1]
        size = np.abs(turned)
        at = np.minimum(size / known[1], len(known) - 1.001)
        low = at.astype(int)
        share = (at - low)[..., None]
        swung = (1.0 - share) * at_bends[low] + share * at_bends[low + 1]
        swung = np.where(turned[..., None] < 0, np.conj(swung), swung)
        leads = bend.leads(turned)
        place = starts[:, 0] + 1j * starts[:, 1]
        course = np.exp(1j * starts[:, 2])
        found = []
        for k in range(ways.shape[1]):
            found.append(place[:, None] + course[:, None] * swung[:, k])
            place = place + course * leads[:, k]
            course = course * np.exp(1j * turned[:, k])
            if straights[:, k].any() or k == 1:
                along = straights[:, k, None, None] * _ALONG[:, None] + self._corners_in_line
                found.append(place[:, None] + course[:, None] * along.reshape(len(ways), -1))
                place = place + straights[:, k] * course
        return np.concatenate(found, axis=1)

    @cached_property
    def _corners_in_line(self) -> np.ndarray:
        """Outer corners from the axle of the tool, as x + iy along it, (4,)."""
        tool, front = -self.tool_behind_m, self.lead_m - self.tool_behind_m + self.tractor_length_m
        halves = [(tool, self.width_m / 2), (front, self.tractor_width_m / 2)]
        # What pulls a chain is in line at neither end of a bend.
        halves = halves[: 2 if len(self.tow) < 2 else 1]
        return np.concatenate([ahead + half * np.array([1j, -1j]) for ahead, half in halves])

    @cached_property
    def _tractor(self) -> FloatArray:
        half = self.tractor_width_m / 2
        return _outline(0.0, self.tractor_length_m, half)

    @cached_property
    def _tool(self) -> FloatArray:
        behind = -self.tool_behind_m
        return _outline(behind - _FRAME_M, behind + _FRAME_M, self.width_m / 2)

    def _cart(self, ahead_m: float) -> FloatArray:
        return _outline(-_CART_BEHIND_M, ahead_m * 0.6, _CART_WIDTH_M / 2)


def rig_of(drive: Drive, *, towed: bool) -> Rig:
    """What a tool is driven by; with no radius given, the tightest that fits it.

    ``towed``: where no tow is told of, it is taken for one that is common for its width.
    """
    tool = drive.implement or Implement(drive.width_m)
    tow = tool.tow
    if towed and not tow:
        usual = min(max(_TOW_WIDTHS * drive.width_m, _TOW_LEAST_M), _TOW_MOST_M)
        tow = (TowedUnit(usual),)
    return Rig(
        drive.width_m,
        least_radius_m(drive.width_m, tow) if drive.turn_radius_m is None else drive.turn_radius_m,
        tow,
        tool.tool_behind_m,
        tool.behind,
        tool.tool_to_pin_m,
        TRACTOR_LENGTH_M if drive.tractor_length_m is None else drive.tractor_length_m,
        TRACTOR_WIDTH_M if drive.tractor_width_m is None else drive.tractor_width_m,
    )


def least_radius_m(width_m: float, tow: tuple[TowedUnit, ...]) -> float:
    """Tightest circle of the pin on which no end of the tool goes backward and no joint is askew.

    On a circle each unit's axle is nearer to the middle than its pin: R^2 = r^2 + L^2.
    """
    square = (width_m / 2) ** 2
    for number, unit in reversed(list(enumerate(tow))):
        square += unit.hitch_to_axle_m**2
        square = max(square, (unit.hitch_to_axle_m / math.sin(_ASKEW_RAD)) ** 2)
        if number:
            square -= tow[number - 1].axle_to_pin_m ** 2
    return max(math.sqrt(square), _TRACTOR_RADIUS_M)


@lru_cache(maxsize=64)
def _swings(rig: Rig, bend: Bend) -> tuple[FloatArray, np.ndarray]:
    """Outer corners at a few places of bends to the left, from a beginning along x.

    Angles (n,) evenly apart, and x + iy of the corners (n, p).
    """
    angles = np.arange(0.0, MOST_RAD + _SWING_RAD, _SWING_RAD)
    ends = np.array([1j, -1j])
    found = []
    for angle in angles:
        way = drawn(bend, np.zeros(3), [(max(float(angle), _SWING_RAD), 0.0)], _STEP_M)
        some = np.linspace(0, len(way.heading_rad) - 1, _SWUNG + 1).round().astype(int)[1:]
        if not angle:
            some[:] = 0  # no bend: where it stands
        bodies = [(way.xy, way.heading_rad, -rig.tool_behind_m, rig.width_m / 2)]
        if len(rig.tow) < 2:
            pin = rig.pulled_by(way)[-1]
            bodies.append((*pin, rig.tractor_length_m, rig.tractor_width_m / 2))
        corners = [
            (xy[some] @ [1.0, 1j])[:, None]
            + np.exp(1j * heading[some])[:, None] * (ahead_m + half_m * ends)
            for xy, heading, ahead_m, half_m in bodies
        ]
        found.append(np.concatenate(corners).ravel())
    return angles, np.array(found)


@lru_cache(maxsize=256)
def _bend(rig: Rig, counter: float = 1.0) -> Bend:
    """The sharpest bends of the tool's axle that ask the tractor for no tighter a circle.

    ``counter``: steered against the bend at its end, one towed unit comes into line the sooner;
    then on a circle so many times as wide.
    """
    if not rig.tow:
        # Full lock is reached over some metres.
        lock = 1.0 / rig.radius_m
        at = np.arange(0.0, _STEER_M + 7.0 * rig.radius_m, _FINE_M)
        bent = lock * np.minimum(at / _STEER_M, 1.0)
        into = np.column_stack([at, _integral(at, bent), bent])
        out = into[round(_STEER_M / _FINE_M) :: -1] * [-1.0, -1.0, 1.0]
        return Bend(into, out - [out[0, 0], out[0, 1], 0.0])
    if len(rig.tow) == 1:
        return _full_lock(rig.tow[0].hitch_to_axle_m, rig.radius_m, counter * rig.radius_m)
    return _ramps(rig)


def _full_lock(length_m: float, radius_m: float, counter_m: float) -> Bend:
    """What the axle of one towed unit does while the pin goes on its tightest circle, and back.

    The angle b between unit and pull grows by 1 / R - sin(b) / L for each metre of the pin, the
    heading of the unit by sin(b) / L, and its axle goes cos(b).
    """

    def run(askew: float, lock: float, until: Callable[[float, float], bool]) -> FloatArray:
        rows = [(0.0, 0.0, math.tan(askew) / length_m)]
        at = turned = 0.0
        while until(askew, turned):
            held = min(lock, math.sin(askew) / length_m) if askew >= _ASKEW_RAD else lock
            # The midpoint rule.
            half = askew + _FINE_M / 2 * (held - math.sin(askew) / length_m)
            at += _FINE_M * math.cos(half)
            turned += _FINE_M * math.sin(half) / length_m
            askew += _FINE_M * (held - math.sin(half) / length_m)
            rows.append((at, turned, math.tan(askew) / length_m))
        return np.array(rows)

    into = run(0.0, 1.0 / radius_m, lambda _, turned: turned < 2 * np.pi)
    # It comes near to the angle of the steady circle, and never quite to it.
    into[:, 2] = np.maximum.accumulate(into[:, 2])
    askew = math.atan(float(into[-1, 2]) * length_m)
    out = run(askew, -1.0 / counter_m, lambda askew, _: askew > 0)
    share = float(out[-2, 2] / (out[-2, 2] - out[-1, 2]))
    out[-1] = out[-2] + share * (out[-1] - out[-2])
    return Bend(into, out)


def _ramps(rig: Rig) -> Bend:
    """The shortest half turn with smooth ramps for which no unit of a chain turns too tightly."""
    square = rig.radius_m**2
    for unit in rig.tow:
        square -= unit.hitch_to_axle_m**2
        if unit is not rig.tow[-1]:
            square += unit.axle_to_pin_m**2
    askew_m = rig.tow[-1].hitch_to_axle_m / math.tan(_ASKEW_RAD)
    tightest = max(math.sqrt(max(square, 0.0)), askew_m)
    best: tuple[float, Bend] | None = None
    for wider, of_into in itertools.product(_WIDER, _OUT_OF_INTO):
        curvature = 1.0 / (wider * tightest)
        # Bisection for the shortest ramps with which the chain follows.
        low, high = 0.5, 6.0 * rig.lead_m + 4.0
        if not _follows(rig, _ramped(curvature, high, of_into * high)):
            continue
        for _ in range(10):
            middle = (low + high) / 2
            works = _follows(rig, _ramped(curvature, middle, of_into * middle))
            low, high = (low, middle) if works else (middle, high)
        bend = _ramped(curvature, high, of_into * high)
        length = float(bend.along(np.pi)[0][-1])
        if best is None or length < best[0]:
            best = (length, bend)
    assert best is not None
    return best[1]


def _ramped(curvature: float, into_m: float, out_m: float) -> Bend:
    u = np.linspace(0.0, 1.0, 60)
    rise = curvature * u * u * (3.0 - 2.0 * u)
    into = np.column_stack([into_m * u, _integral(into_m * u, rise), rise])
    out = np.column_stack([out_m * u, _integral(out_m * u, rise[::-1]), rise[::-1]])
    return Bend(into, out, scaled=True)


def _integral(at: FloatArray, value: FloatArray) -> FloatArray:
    steps = np.diff(at) * (value[1:] + value[:-1]) / 2
    return np.concatenate([[0.0], np.cumsum(steps)])


def _follows(rig: Rig, bend: Bend) -> bool:
    way = drawn(bend, np.zeros(3), [(np.pi, 3 * rig.lead_m + 3.0)], _STEP_M / 2)
    bent = _curvature(*rig.pulled_by(way)[-1])
    return bool(np.abs(bent).max() <= 1.001 / rig.radius_m)


def _curvature(xy: FloatArray, heading_rad: FloatArray) -> FloatArray:
    step = np.hypot(*np.diff(xy, axis=0).T)
    at = np.concatenate([[0.0], np.cumsum(np.maximum(step, 1e-9))])
    return np.gradient(np.unwrap(heading_rad), at) if len(at) > 2 else np.zeros(len(at))


def _ahead(heading_rad: FloatArray) -> FloatArray:
    return np.stack([np.cos(heading_rad), np.sin(heading_rad)], axis=-1)


def _outline(back: float, ahead: float, half: float) -> FloatArray:
    """Points round a rectangle, x ahead."""
    corners = np.array([[back, -half], [ahead, -half], [ahead, half], [back, half], [back, -half]])
    ring = shapely.segmentize(shapely.LineString(corners), _OUTLINE_M)
    return np.array(ring.coords)
