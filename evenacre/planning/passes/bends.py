"""Bends that a towed tool can follow, and the ways made of a bend, a straight and a bend.

The curvature of the way rises smoothly from none, stays, and falls to none again, so the units
ahead of the tool are in line at both ends of a bend. A way that a tractor could follow alone, made
of circles and straights, would ask it to turn on the spot with a tool behind it.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

from evenacre.model import FloatArray, IntArray

# Turned at most in one bend, and the step of the table of bends.
MOST_RAD = np.radians(330.0)
_TABLE_RAD = np.radians(1.5)
# What turns by less than the first is no bend.
_NONE_RAD, _LEAST_RAD = (1 - 1e-6) * 1e-6, 1e-6
# Closer together for those that turn by little: how long they are grows as the root of that, or
# they are of one length however little they turn.
_SMALL_RAD = np.append(_LEAST_RAD, np.radians(6.0) * (np.arange(1, 30) / 30.0) ** 3)
# First bends tried, and how often a root between two of them is halved in on.
_TRIED_RAD, _TRIED_MOST_RAD = np.radians(3.0), MOST_RAD - _TABLE_RAD
_SECANTS = 4
# Turned by the outer of three bends to begin with, how often that is bettered, and by what step.
_OUTER_RAD = np.radians([15.0, 60.0])
_NEWTONS = 7
_NEAR_RAD = 1e-3
# Between the places of a circle.
_HOLD_M = 0.1
# A straight shorter than this is none.
_STRAIGHT_M = 1e-3
# A way comes to a pose within this; ways whose lengths differ by less than that are one.
_MISS_M = 0.02
_SAME_M = 1e-3


Turns = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Way:
    """Places along a way, about every step: of what follows it, with its heading."""

    xy: FloatArray  # (n, 2)
    heading_rad: FloatArray  # (n,), of the unit, also where it backs up
    curvature: FloatArray  # (n,), to the left, per m
    length_m: float
    backs_m: float = 0.0  # of it, going backward
    # The bend, pose and turns it is drawn from
    drawn_from: tuple[Bend, FloatArray, Sequence[tuple[float, float]]] | None = None

    @property
    def begin(self) -> FloatArray:
        """Place and heading it begins at, (3,)."""
        return np.array([*self.xy[0], self.heading_rad[0]])

    @property
    def end(self) -> FloatArray:
        """Place and heading it comes to, (3,)."""
        return np.array([*self.xy[-1], self.heading_rad[-1]])

    def last(self, length_m: float) -> Way:
        """The end of it, of so much length or a place more."""
        step = np.hypot(*np.diff(self.xy, axis=0).T)
        left = np.append(np.cumsum(step[::-1])[::-1], 0.0)
        k = max(int(np.sum(left > length_m)) - 1, 0)
        return Way(self.xy[k:], self.heading_rad[k:], self.curvature[k:], float(left[k]))

    def led_to(self, pose: FloatArray) -> Way:
        """The same way, moved by more and more so that it comes to a pose close by."""
        step = np.hypot(*np.diff(self.xy, axis=0).T)
        share = np.append(0.0, np.cumsum(step)) / max(float(step.sum()), 1e-9)
        gap = pose - self.end
        turned = float(np.angle(np.exp(1j * gap[2])))
        return replace(
            self,
            xy=self.xy + share[:, None] * gap[:2],
            heading_rad=self.heading_rad + share * turned,
        )

    def finer(self, step_m: float) -> Way:
        """The same way with places closer together."""
        if self.drawn_from is None:
            return self
        return drawn(*self.drawn_from, step_m).led_to(self.end)


def joined(*ways: Way) -> Way:
    """Ways that go on one from another, as one."""
    firsts = [k > 0 for k in range(len(ways))]
    return Way(
        np.concatenate([way.xy[k:] for way, k in zip(ways, firsts, strict=True)]),
        np.concatenate([way.heading_rad[k:] for way, k in zip(ways, firsts, strict=True)]),
        np.concatenate([way.curvature[k:] for way, k in zip(ways, firsts, strict=True)]),
        sum(way.length_m for way in ways),
        sum(way.backs_m for way in ways),
    )


@dataclass(frozen=True, eq=False)
class Bend:
    """How a way may bend: curves into a bend and out of it, between which any bend is joined.

    Each curve has rows of length in m, heading turned in rad and curvature per m; the first begins
    straight and goes on for more than a full turn, the second ends straight. Their curvatures are
    matched where the one is left and the other joined. Where they are to be joined more smoothly,
    ``scaled``, gentler bends are the same curves with less curvature, not shorter ones.
    """

    into: FloatArray  # (n, 3)
    out: FloatArray  # (m, 3)
    scaled: bool = False

    def along(self, turned_rad: float) -> tuple[FloatArray, np.ndarray, FloatArray, FloatArray]:
        """One bend from a beginning along x, (k,) each.

        Lengths so far, places x + iy, headings and curvatures.
        """
        size = abs(turned_rad)
        s, path, turned, bent = self._scaled(size) if self.scaled else self._joined(size)
        # What rounding leaves of the heading.
        turned = turned + (size - turned[-1]) * s / max(float(s[-1]), 1e-9)
        return (s, path, turned, bent) if turned_rad >= 0 else (s, np.conj(path), -turned, -bent)

    def _scaled(self, size: float) -> tuple[FloatArray, np.ndarray, FloatArray, FloatArray]:
        into, out = self.into, self.out
        sharpest = float(out[0, 2])
        level = int(np.argmax(into[:, 2] >= sharpest - 1e-12))
        least = float(into[level, 1]) + float(out[-1, 1] - out[0, 1])
        share = min(size / least, 1.0)
        hold = max(size - least, 0.0) / sharpest
        into = into[: level + 1]
        if hold:
            held = np.linspace(0.0, hold, math.ceil(hold / _HOLD_M) + 1)[1:, None]
            into = np.vstack([into, into[-1] + held * [1.0, sharpest, 0.0]])
        s = np.concatenate([into[:, 0], into[-1, 0] + out[1:, 0] - out[0, 0]])
        turned = np.concatenate([into[:, 1], into[-1, 1] + out[1:, 1] - out[0, 1]]) * share
        return s, _followed(s, turned), turned, np.concatenate([into[:, 2], out[1:, 2]]) * share

    def _joined(self, size: float) -> tuple[FloatArray, np.ndarray, FloatArray, FloatArray]:
        (into, begun), (out, ended) = self._curves
        left = float(np.interp(size, self._joined_rad, into[:, 0]))
        count = int(np.searchsorted(into[:, 0], left))
        turned, bent = (float(np.interp(left, into[:, 0], into[:, k])) for k in (1, 2))
        first = float(np.interp(-bent, -out[:, 2], out[:, 0]))
        from_rad = float(np.interp(first, out[:, 0], out[:, 1]))
        at = int(np.searchsorted(out[:, 0], first + 1e-9, side="right"))
        s, heading, curve = (
            np.concatenate([into[:count, k], [here], there + out[at:, k]])
            for k, (here, there) in enumerate(
                [(left, left - first), (turned, turned - from_rad), (bent, 0.0)]
            )
        )
        # On from the last place of the one curve, and from the first of the other.
        near = max(count - 1, 0)
        here = begun[near] + _chord(left - into[near, 0], into[near, 1], turned)
        on = (
            here + _chord(out[at, 0] - first, turned, heading[count + 1]) if at < len(out) else here
        )
        turn = cmath.exp(1j * (turned - from_rad))
        path = np.concatenate(
            [begun[:count], [here], on + turn * (ended[at:] - ended[at : at + 1])]
        )
        return s, path, heading, curve

    @cached_property
    def _curves(self) -> tuple[tuple[FloatArray, np.ndarray], ...]:
        """Both curves, and their places from a beginning along x."""
        return tuple((rows, _followed(rows[:, 0], rows[:, 1])) for rows in (self.into, self.out))

    @cached_property
    def _joined_rad(self) -> FloatArray:
        """What is turned in all where the way in is left at each of its places, (n,)."""
        into, out = self.into, self.out
        # Of the way out, what is left from each curvature on.
        rest = np.interp(into[:, 2], out[::-1, 2], (out[-1, 1] - out[:, 1])[::-1])
        return np.asarray(into[:, 1] + rest)

    @cached_property
    def _table(self) -> tuple[FloatArray, np.ndarray, FloatArray]:
        """Bends: what each turns, where it leads, x along its beginning, and its length."""
        turned = np.arange(0.0, MOST_RAD + _TABLE_RAD, _TABLE_RAD)
        larger = turned[turned > _SMALL_RAD[-1]]
        turned = np.concatenate([[0.0, _NONE_RAD], _SMALL_RAD, larger])
        lead, length = np.zeros(len(turned), dtype=complex), np.zeros(len(turned))
        for k, angle in enumerate(turned[2:], 2):
            s, path, *_ = self.along(float(angle))
            lead[k], length[k] = path[-1], s[-1]
        # To the right it leads as to the left, in a mirror.
        return (
            np.concatenate([-turned[:0:-1], turned]),
            np.concatenate([np.conj(lead[:0:-1]), lead]),
            np.concatenate([length[:0:-1], length]),
        )

    @cached_property
    def tried(self) -> tuple[FloatArray, np.ndarray, np.ndarray]:
        """Bends tried first, in rising order: angles, where they lead, and the turn back again."""
        angles = np.arange(-_TRIED_MOST_RAD, _TRIED_MOST_RAD, _TRIED_RAD)
        angles = np.sort(np.append(angles, 0.0))
        return angles, self.leads(angles), np.exp(-1j * angles)

    @cached_property
    def farthest_m(self) -> float:
        """From the beginning of a bend to its end, at most."""
        return float(np.abs(self._table[1]).max())

    def leads(self, turned_rad: FloatArray) -> np.ndarray:
        """Where bends lead, as x + iy from a beginning along x."""
        known, lead, _ = self._table
        return np.asarray(np.interp(turned_rad, known, lead))

    def length_m(self, turned_rad: FloatArray) -> FloatArray:
        """Length of bends that turn by so much, either way."""
        known, _, length = self._table
        return np.asarray(np.interp(turned_rad, known, length))

    def tangents_m(self, turned_rad: float) -> tuple[float, float]:
        """From the beginning of a bend to where its tangents meet, and on to its end.

        For less than a half turn.
        """
        lead = complex(_path(self, abs(turned_rad))[0][-1])
        after = lead.imag / math.sin(abs(turned_rad))
        return lead.real - after * math.cos(turned_rad), after


def _followed(s: FloatArray, heading: FloatArray) -> np.ndarray:
    """Places x + iy along a curve, from the headings at so far along it."""
    steps = _chord(np.diff(s), heading[:-1], heading[1:])
    return np.concatenate([[0.0], np.cumsum(steps)])


def _chord(length: Any, before_rad: Any, after_rad: Any) -> Any:
    """From one end of an arc between two headings to the other, as x + iy."""
    half = (after_rad - before_rad) / 2
    return length * np.sinc(half / np.pi) * np.exp(1j * (before_rad + half))


def standing(pose: FloatArray) -> Way:
    """No way at all, at a pose."""
    return Way(pose[None, :2], pose[2:], np.zeros(1), 0.0)


def ways_between(bend: Bend, start: FloatArray, end: FloatArray, *, backs: bool) -> list[Turns]:
    """Bend, straight and bend from one pose to another, shortest first.

    A pose is x and y in metres and the heading in radians. Each way is a list of what a bend
    turns and the straight after it in metres, less than 0 where it is driven backward.
    """
    _, _, ways = ways_between_all(bend, start[None], end[None], backs=backs)
    return [as_turns(way) for way in ways]


def as_turns(way: FloatArray) -> Turns:
    """One way of `ways_between_all`."""
    return tuple((turned, ahead) for turned, ahead in way.tolist() if _bends(turned) or ahead)


def _bends(turned_rad: float) -> bool:
    return abs(turned_rad) > _NONE_RAD


def ways_between_all(
    bend: Bend, starts: FloatArray, ends: FloatArray, *, backs: bool
) -> tuple[IntArray, FloatArray, FloatArray]:
    """`ways_between` of many pairs of poses, (m, 3) each.

    Which pair each of k ways is of (k,), in rising order, how long it is (k,), and its bends and
    the straights after them (k, 3, 2). Those of one pair come with the shortest first.
    """
    turn = np.exp(-1j * starts[:, 2])
    there = ((ends[:, 0] - starts[:, 0]) + 1j * (ends[:, 1] - starts[:, 1])) * turn
    whole = np.angle(np.exp(1j * (ends[:, 2] - starts[:, 2])))
    some = [_two_bends(bend, there, whole, backs=backs), _three_bends(bend, there, whole)]
    pair, length, ways = (np.concatenate(of) for of in zip(*some, strict=True))
    order = np.lexsort((length, pair))
    pair, length, ways = pair[order], length[order], ways[order]
    # What is as long as another is that one, found twice.
    kept = np.ones(len(pair), dtype=bool)
    kept[1:] = (np.diff(pair) > 0) | (np.diff(length) >= _SAME_M)
    return pair[kept], length[kept], ways[kept]


_Ways = tuple[IntArray, FloatArray, FloatArray]


def _two_bends(bend: Bend, there: np.ndarray, whole: FloatArray, *, backs: bool) -> _Ways:
    """Ways of two bends and a straight between them, where a bend that is tried leads past."""
    tried, tried_leads, tried_back = bend.tried
    totals = whole[:, None] + 2 * np.pi * np.arange(-1, 2)
    # `past` of all that are tried, with what does not hang on both worked out once.
    left = totals[..., None] - tried
    off = ((there[:, None] - tried_leads) * tried_back)[:, None].imag - bend.leads(left).imag
    allowed = np.abs(left) <= _TRIED_MOST_RAD
    above_none = off >= 0
    cross = (above_none[..., :-1] != above_none[..., 1:]) & allowed[..., :-1] & allowed[..., 1:]
    pair, row, at = np.nonzero(cross)
    low, high = tried[at], tried[at + 1]
    total, to = totals[pair, row], there[pair]

    def past(first: FloatArray) -> tuple[FloatArray, FloatArray]:
        """How far the rest is beside a straight after the first bend, and along it."""
        begun, ended = bend.leads(np.stack([first, total - first]))
        rest = (to - begun) * np.exp(-1j * first) - ended
        return np.asarray(rest.imag), np.asarray(rest.real)

    below, above = off[pair, row, at], off[pair, row, at + 1]
    for _ in range(_SECANTS):
        middle = low - below * (high - low) / np.where(above == below, 1.0, above - below)
        value, _ = past(middle)
        same = np.sign(value) == np.sign(below)
        low, below = np.where(same, middle, low), np.where(same, value, below)
        high, above = np.where(same, high, middle), np.where(same, above, value)
        # The end that stays counts half (Illinois), so that both close in.
        above = np.where(same, above / 2, above)
        below = np.where(same, below, below / 2)
    first = np.where(np.abs(below) < np.abs(above), low, high)
    aside, straight = past(first)
    good = np.abs(aside) < _MISS_M
    if not backs:
        good &= straight > -_STRAIGHT_M
    first, straight, second = first[good], straight[good], (total - first)[good]
    length = bend.length_m(first) + bend.length_m(second) + np.abs(straight)
    none = np.zeros_like(first)
    ways = np.stack([first, straight, second, none, none, none], axis=-1)
    return pair[good], length, ways.reshape(-1, 3, 2)


def _three_bends(bend: Bend, there: np.ndarray, whole: FloatArray) -> _Ways:
    """Ways of three bends, the middle one the other way about, by Newton's method."""
    # Three bends lead no farther than so.
    near = np.flatnonzero(np.abs(there) < 3 * bend.farthest_m)
    first, last, side = (a.ravel() for a in np.meshgrid(_OUTER_RAD, _OUTER_RAD, [1.0, -1.0]))
    there, whole = there[near, None], whole[near, None]
    first, last = np.broadcast_arrays(side * first, side * last, whole)[:2]
    # The middle one turns the other way.
    total = whole + np.where(side > 0, -2 * np.pi, 2 * np.pi) * ((side * whole > 0) | (whole == 0))

    def off(first: FloatArray, last: FloatArray) -> np.ndarray:
        middle = total - first - last
        begun, on, ended = bend.leads(np.stack([first, middle, last]))
        return np.asarray(begun + np.exp(1j * first) * (on + np.exp(1j * middle) * ended) - there)

    ahead, aside = _NEAR_RAD * np.eye(3)[:, 1:].T.reshape(2, 3, 1, 1)
    for _ in range(_NEWTONS):
        gap, more_first, more_last = off(first + ahead, last + aside)
        a, b = (more_first - gap) / _NEAR_RAD, (more_last - gap) / _NEAR_RAD
        across = (np.conj(a) * b).imag
        across = np.where(np.abs(across) < 1e-9, 1e-9, across)
        first = first - np.clip((np.conj(gap) * b).imag / across, -0.4, 0.4)
        last = last - np.clip((np.conj(a) * gap).imag / across, -0.4, 0.4)
    middle = total - first - last
    good = (np.abs(off(first, last)) < _MISS_M) & (side * first > 0) & (side * last > 0)
    good &= (side * middle < 0) & (np.abs(middle) < MOST_RAD) & (np.abs(first) < np.pi)
    good &= np.abs(last) < np.pi
    turned = np.stack([first, middle, last], axis=-1)[good]
    length = bend.length_m(turned).sum(axis=-1)
    return near[np.nonzero(good)[0]], length, np.stack([turned, np.zeros_like(turned)], axis=-1)


def drawn(bend: Bend, start: FloatArray, way: Sequence[tuple[float, float]], step_m: float) -> Way:
    """Follow a way from a pose: bends, and the straight after each."""
    place, heading = complex(start[0], start[1]), float(start[2])
    places, headings, bent = [np.array([place])], [np.array([heading])], [np.zeros(1)]
    for turned, ahead in way:
        if _bends(turned):
            path, turn, curve, apart_m = _path(bend, turned)
            stride = max(int(step_m / apart_m), 1)
            every = np.append(np.arange(stride, len(path) - 1, stride), len(path) - 1)
            places.append(place + cmath.exp(1j * heading) * path[every])
            headings.append(heading + turn[every])
            bent.append(curve[every])
            place, heading = complex(places[-1][-1]), float(headings[-1][-1])
        if abs(ahead) > _STRAIGHT_M:
            count = max(int(np.ceil(abs(ahead) / step_m)), 1)
            along = np.linspace(0.0, ahead, count + 1)[1:]
            places.append(place + along * cmath.exp(1j * heading))
            headings.append(np.full(count, heading))
            bent.append(np.zeros(count))
            place = complex(places[-1][-1])
    if len(places) == 1:  # a way of no length is a line too
        places, headings, bent = 2 * places, 2 * headings, 2 * bent
    z = np.concatenate(places)
    length = float(np.abs(np.diff(z)).sum())
    return Way(
        np.column_stack([z.real, z.imag]),
        np.concatenate(headings),
        np.concatenate(bent),
        length,
        sum(max(-ahead, 0.0) for _, ahead in way),
        (bend, start, way),
    )


# A way is drawn roughly to be looked at, and finely where it is taken; turns alike come often.
@lru_cache(maxsize=256)
def _path(bend: Bend, turned_rad: float) -> tuple[np.ndarray, FloatArray, FloatArray, float]:
    """One bend from a beginning along x: places x + iy, headings, curvatures, and first step."""
    s, path, turned, bent = bend.along(turned_rad)
    return path, turned, bent, float(s[1])
