"""Marks of places and colours of the map: told apart by every eye, and by form."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from evenacre.arrays import FloatArray
from evenacre.reports.maps import sheet
from evenacre.reports.maps.marks import MARKS, mark_picture
from evenacre.reports.maps.rates import RATE_CLASSES

# Machado, Oliveira and Fernandes 2009, "A Physiologically-based Model for Simulation of Color
# Vision Deficiency", IEEE TVCG 15(6): matrices for severity 1.0, on linear RGB.
EYES = {
    "usual": np.eye(3),
    "protanopia": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deuteranopia": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritanopia": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
# IEC 61966-2-1: linear sRGB to XYZ under D65, and CIE 1976 L*a*b* of it.
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
CLEARLY_APART = 20.0  # a just noticeable difference is about 2.3 (Mahy et al. 1994)


def linear(colour: str) -> FloatArray:
    value = np.array(to_rgb(colour))
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab(colour: str, eye: FloatArray) -> FloatArray:
    seen = np.clip(eye @ linear(colour), 0, 1)
    ratio = XYZ @ seen / XYZ.sum(axis=1)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def distance(one: str, other: str, eye: FloatArray) -> float:
    return float(np.linalg.norm(lab(one, eye) - lab(other, eye)))


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2."""
    low, high = sorted(float(XYZ[1] @ linear(c)) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def test_the_measure_knows_black_and_white() -> None:
    for eye in EYES.values():
        assert distance("#ffffff", "#000000", eye) == pytest.approx(100.0, abs=0.1)
    # Reds and greens of one lightness are one colour to a deuteranope, and two to others.
    assert distance("#b87900", "#7d8f00", EYES["deuteranopia"]) < 12
    assert distance("#b87900", "#7d8f00", EYES["usual"]) > CLEARLY_APART


@pytest.mark.parametrize("eye", EYES)
def test_marks_are_told_apart_by_every_eye(eye: str) -> None:
    for (one, a), (other, b) in combinations(MARKS.items(), 2):
        looks = max(distance(a.fill, b.fill, EYES[eye]), distance(a.edge, b.edge, EYES[eye]))
        assert looks > CLEARLY_APART, (one, other)


@pytest.mark.parametrize("eye", EYES)
def test_colours_of_the_ground_are_told_apart_by_every_eye(eye: str) -> None:
    rates = [style.colour for style in RATE_CLASSES]
    cover = [sheet.ONCE, sheet.TWICE, sheet.MORE, sheet.SKIP]
    for one, other in [*combinations(rates, 2), *combinations(cover, 2)]:
        assert distance(one, other, EYES[eye]) > CLEARLY_APART, (one, other)
    # And without colour, by hatches on paper and on screen.
    for signs in ([style.hatch for style in RATE_CLASSES], [s.strokes for s in RATE_CLASSES]):
        assert len(set(signs)) == len(RATE_CLASSES)


def test_marks_are_told_apart_without_colour() -> None:
    known = {name: m for name, m in MARKS.items() if name}
    assert len({m.outline for m in known.values()}) == len(known)
    # Where no chance is known the flag is hollow, that of sure places is not.
    assert MARKS[""].fill != MARKS["sure"].fill
    for m in MARKS.values():
        assert contrast(m.ink if m.ink != m.edge else m.edge, m.fill) > 4.5


def test_the_writing_lies_on_the_flag() -> None:
    for standing, m in MARKS.items():
        for number in ("1", "37", "208"):
            assert m.across(number) > 8.5 * len(m.writing(number))
            assert m.writing(number) in mark_picture(standing, number)
