"""Bends that a towed tool can follow, and the ways made of a bend, a straight and a bend.

The curvature of the way rises smoothly from none, stays, and falls to none again, so the units
ahead of the tool are in line at both ends of a bend. A way that a tractor could follow alone, made
of circles and straights, would ask it to turn on the spot with a tool behind it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from evenacre.model import FloatArray

# Turned at most in one bend, and the step of the table of bends.
MOST_RAD = np.radians(330.0)
_TABLE_RAD = np.radians(1.5)
# First bends tried, and how often a root between two of them is halved in on.
_TRIED_RAD, _TRIED_MOST_RAD = np.radians(3.0), MOST_RAD - _TABLE_RAD
_SECANTS = 4
# Turned by the outer of three bends to begin with, how often that is bettered, and by what step.
_OUTER_RAD = np.radians([15.0, 60.0])
_NEWTONS = 7
_NEAR_RAD = 1e-3
# A straight shorter than this is none.
_STRAIGHT_M = 1e-3


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

    def finer(self, step_m: float) -> Way:
        """The same way with places closer together."""
        return self if self.drawn_from is None else drawn(*self.drawn_from, step_m)


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

    def along(self, turned_rad: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Lengths, headings turned so far and curvatures along one bend, (k,) each."""
        size = abs(turned_rad)
        into, out = self.into, self.out
        sharpest = float(out[0, 2])
        whole = float(out[-1, 1] - out[0, 1])
        if self.scaled:
            level = int(np.argmax(into[:, 2] >= sharpest - 1e-12))
            least = float(into[level, 1]) + whole
            share = min(size / least, 1.0)
            hold = max(size - least, 0.0) / sharpest
            into = into[: level + 1]
            if hold:
                into = np.vstack([into, into[-1] + [hold, hold * sharpest, 0.0]])
            s = np.concatenate([into[:, 0], into[-1, 0] + out[1:, 0] - out[0, 0]])
            turned = np.concatenate([into[:, 1], into[-1, 1] + out[1:, 1] - out[0, 1]]) * share
            bent = np.concatenate([into[:, 2], out[1:, 2]]) * share
        else:
            left = float(np.interp(size, self._joined_rad, into[:, 0]))
            count = int(np.searchsorted(into[:, 0], left))
            last = [left, *(float(np.interp(left, into[:, 0], into[:, k])) for k in (1, 2))]
            first = float(np.interp(-last[2], -out[:, 2], out[:, 0]))
            tail = out[out[:, 0] > first + 1e-9]
            from_rad = float(np.interp(first, out[:, 0], out[:, 1]))
            s = np.concatenate([into[:count, 0], [left], left + tail[:, 0] - first])
            turned = np.concatenate([into[:count, 1], last[1:2], last[1] + tail[:, 1] - from_rad])
            bent = np.concatenate([into[:count, 2], last[2:3], tail[:, 2]])
        # What rounding leaves of the heading.
        turned = turned + (size - turned[-1]) * s / max(float(s[-1]), 1e-9)
        sign = np.sign(turned_rad)
        return s, sign * turned, sign * bent

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
        lead, length = np.zeros(len(turned), dtype=complex), np.zeros(len(turned))
        for k, angle in enumerate(turned[1:], 1):
            s, heading, _ = self.along(float(angle))
            lead[k], length[k] = _chords(s, heading).sum(), s[-1]
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
        s, heading, _ = self.along(abs(turned_rad))
        lead = complex(_chords(s, heading).sum())
        after = lead.imag / math.sin(abs(turned_rad))
        return lead.real - after * math.cos(turned_rad), after


def _chords(s: FloatArray, heading: FloatArray) -> np.ndarray:
    """Steps along a curve, from the headings at its places."""
    turned = np.diff(heading) / 2
    # The chord of an arc between two headings.
    return np.asarray(np.diff(s) * np.sinc(turned / np.pi) * np.exp(1j * (heading[:-1] + turned)))


def ways_between(bend: Bend, start: FloatArray, end: FloatArray, *, backs: bool) -> list[Turns]:
    """Bend, straight and bend from one pose to another, shortest first.

    A pose is x and y in metres and the heading in radians. Each way is a list of what a bend
    turns and the straight after it in metres, less than 0 where it is driven backward.
    """
    there = (complex(end[0], end[1]) - complex(start[0], start[1])) * np.exp(-1j * start[2])
    whole = float(np.angle(np.exp(1j * (end[2] - start[2]))))
    tried, tried_leads, tried_back = bend.tried

    def past(first: FloatArray, total: FloatArray) -> tuple[FloatArray, FloatArray]:
        """How far the rest is beside a straight after the first bend, and along it."""
        second = total - first
        rest = (there - bend.leads(first)) * np.exp(-1j * first) - bend.leads(second)
        return np.asarray(rest.imag), np.asarray(rest.real)

    totals = whole + 2 * np.pi * np.arange(-1, 2)[:, None]
    # `past` of all that are tried, with what does not hang on both worked out once.
    second = bend.leads(totals - tried)
    off = ((there - tried_leads) * tried_back - second).imag
    allowed = np.abs(totals - tried) <= _TRIED_MOST_RAD
    cross = (np.sign(off[:, :-1]) != np.sign(off[:, 1:])) & allowed[:, :-1] & allowed[:, 1:]
    row, at = np.nonzero(cross)
    low, high = tried[at], tried[at + 1]
    total = totals[row, 0]
    below, above = off[row, at], off[row, at + 1]
    for _ in range(_SECANTS):
        middle = low - below * (high - low) / np.where(above == below, 1.0, above - below)
        value, _ = past(middle, total)
        left = np.sign(value) == np.sign(below)
        low, below = np.where(left, middle, low), np.where(left, value, below)
        high, above = np.where(left, high, middle), np.where(left, above, value)
        # The end that stays counts half (Illinois), so that both close in.
        above = np.where(left, above / 2, above)
        below = np.where(left, below, below / 2)
    first = np.where(np.abs(below) < np.abs(above), low, high)
    aside, straight = past(first, total)
    good = np.abs(aside) < 0.02
    if not backs:
        good &= straight > -_STRAIGHT_M
    first, straight, total = first[good], straight[good], total[good]
    length = (
        bend.length_m(first)
        + bend.length_m(total - first)
        + np.where(straight < 0, -straight, straight)
    )
    found: list[tuple[float, Turns]] = [
        (float(m), ((float(f), float(s)), (float(t - f), 0.0)))
        for m, f, s, t in zip(length, first, straight, total, strict=True)
    ]
    found += _three_bends(bend, there, whole)
    found.sort()
    kept: list[tuple[float, Turns]] = []
    for one in found:
        if not any(abs(one[0] - other[0]) < 1e-3 for other in kept):
            kept.append(one)
    return [way for _, way in kept]


def _three_bends(bend: Bend, there: complex, whole: float) -> list[tuple[float, Turns]]:
    """Ways of three bends, the middle one the other way about, by Newton's method."""
    first, last, side = (a.ravel() for a in np.meshgrid(_OUTER_RAD, _OUTER_RAD, [1.0, -1.0]))
    first, last = side * first, side * last
    # The middle one turns the other way.
    total = whole + np.where(side > 0, -2 * np.pi, 2 * np.pi) * ((side * whole > 0) | (whole == 0))

    def off(first: FloatArray, last: FloatArray) -> np.ndarray:
        middle = total - first - last
        begun, on, ended = bend.leads(np.stack([first, middle, last]))
        way = begun + np.exp(1j * first) * on
        return np.asarray(way + np.exp(1j * (first + middle)) * ended - there)

    ahead, aside = _NEAR_RAD * np.array([[[0.0], [1.0], [0.0]], [[0.0], [0.0], [1.0]]])
    for _ in range(_NEWTONS):
        gap, more_first, more_last = off(first + ahead, last + aside)
        a, b = (more_first - gap) / _NEAR_RAD, (more_last - gap) / _NEAR_RAD
        across = (np.conj(a) * b).imag
        across = np.where(np.abs(across) < 1e-9, 1e-9, across)
        first = first - np.clip((np.conj(gap) * b).imag / across, -0.4, 0.4)
        last = last - np.clip((np.conj(a) * gap).imag / across, -0.4, 0.4)
    middle = total - first - last
    good = (np.abs(off(first, last)) < 0.02) & (side * first > 0) & (side * last > 0)
    good &= (side * middle < 0) & (np.abs(middle) < MOST_RAD) & (np.abs(first) < np.pi)
    good &= np.abs(last) < np.pi
    length = bend.length_m(first) + bend.length_m(middle) + bend.length_m(last)
    return [
        (float(length[k]), ((float(first[k]), 0.0), (float(middle[k]), 0.0), (float(last[k]), 0.0)))
        for k in np.flatnonzero(good)
    ]


def drawn(bend: Bend, start: FloatArray, way: Sequence[tuple[float, float]], step_m: float) -> Way:
    """Follow a way from a pose: bends, and the straight after each."""
    places = [np.array([complex(start[0], start[1])])]
    headings, bent = [np.array([float(start[2])])], [np.zeros(1)]
    for turned, ahead in way:
        if turned:
            s, turn, curve = bend.along(turned)
            steps = _chords(s, headings[-1][-1] + turn)
            stride = max(int(step_m / s[1]), 1)
            every = np.append(np.arange(stride, len(s) - 1, stride), len(s) - 1)
            places.append(places[-1][-1] + np.cumsum(steps)[every - 1])
            headings.append(headings[-1][-1] + turn[every])
            bent.append(curve[every])
        if abs(ahead) > _STRAIGHT_M:
            count = max(int(np.ceil(abs(ahead) / step_m)), 1)
            along = np.linspace(0.0, ahead, count + 1)[1:]
            places.append(places[-1][-1] + along * np.exp(1j * headings[-1][-1]))
            headings.append(np.full(count, headings[-1][-1]))
            bent.append(np.zeros(count))
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
