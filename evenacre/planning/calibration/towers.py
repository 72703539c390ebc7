"""Which towers of a drill, and which openers in them, give more or less than scatter allows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenacre.model import BoolArray, FloatArray, IntArray
from evenacre.planning.calibration.meter_test import CONFIDENCE

_ALARM = 0.05  # chance that anything at all is named where openers only scatter, for each question


@dataclass(frozen=True)
class OddTower:
    """A tower whose openers differ from those of the others by more than they scatter."""

    number: int  # from 1 at the left
    openers: tuple[int, int]  # first and last
    off_by: float  # mean of its openers over that of the towers that agree, less one
    interval_90: tuple[float, float]


@dataclass(frozen=True)
class OddOpener:
    """An opener that differs from the others of its tower by more than they scatter."""

    number: int  # from 1 at the left
    tower: int
    off_by: float  # its catch over the mean of the others of its tower, less one


@dataclass(frozen=True)
class Towers:
    """The towers of a drill held against one another."""

    count: int
    scatter: float  # standard deviation between openers of one tower over the mean of all
    odd: tuple[OddTower, ...]  # the farthest off first
    odd_openers: tuple[OddOpener, ...]  # from the left


def compare_towers(openers_kg: Sequence[float], rows_per_tower: int) -> Towers | None:
    """Find towers and openers that do not give what the others give.

    First openers are held against the others of their tower (externally studentized residuals of
    the one-way layout), the one that is farthest off set aside, and the rest held against one
    another again, as long as the farthest is too far. Then the same with towers: each against the
    mean of the others, by the scatter within towers. Each time the chance to name any wrongly is
    kept below 1 in 20 by dividing it among those that are compared (Bonferroni). With two towers
    it cannot be told which is right: the one that gives less is named.

    Parameters
    ----------
    openers_kg : (n,) sequence of float
        Catch of each opener from the left, or its mean over tests.
    rows_per_tower : int
        Openers that each tower feeds; the last may have fewer.

    Returns
    -------
    Towers or None
        None where there are not two towers, or no two openers in one of them.
    """
    kg = np.asarray(openers_kg, dtype=float)
    tower = np.arange(len(kg)) // rows_per_tower
    count = int(tower[-1]) + 1
    if count < 2 or rows_per_tower < 2 or len(kg) - count < 2 or kg.mean() <= 0:
        return None
    kept = np.ones(len(kg), dtype=bool)
    openers = []
    while (worst := _oddest_opener(kg, tower, kept)) is not None:
        kept[worst] = False
        mine = kept & (tower == tower[worst])
        openers.append(OddOpener(worst + 1, int(tower[worst]) + 1, _over(kg[worst], kg[mine])))
    spread, freedom = _within(kg, tower, kept)
    agree, odd = list(range(count)), []
    while (found := _oddest_tower(kg, tower, kept, agree, spread, freedom)) is not None:
        agree.remove(found.number - 1)
        odd.append(found)
    return Towers(
        count,
        spread / float(kg[kept].mean()),
        tuple(sorted(odd, key=lambda one: -abs(one.off_by))),
        tuple(sorted(openers, key=lambda one: one.number)),
    )


def _over(catch: float, others: FloatArray) -> float:
    mean = float(others.mean())
    return float(catch) / mean - 1 if mean > 0 else math.inf


def _within(kg: FloatArray, tower: IntArray, kept: BoolArray) -> tuple[float, int]:
    """Standard deviation within towers, pooled, and its degrees of freedom."""
    counts = np.bincount(tower[kept], minlength=tower[-1] + 1)
    means = np.bincount(tower[kept], kg[kept], tower[-1] + 1) / np.maximum(counts, 1)
    squares = float(((kg - means[tower])[kept] ** 2).sum())
    freedom = int(kept.sum() - (counts > 0).sum())
    return math.sqrt(squares / freedom), freedom


def _oddest_opener(kg: FloatArray, tower: IntArray, kept: BoolArray) -> int | None:
    """The opener farthest from the others of its tower, where that is too far; else None."""
    alike = [i for i in np.flatnonzero(kept).tolist() if (kept & (tower == tower[i])).sum() > 2]
    if len(alike) < 3 or kept.sum() <= 0.75 * len(kept):
        return None
    far = []
    for i in alike:
        others = kept.copy()
        others[i] = False
        spread, freedom = _within(kg, tower, others)
        mine = others & (tower == tower[i])
        off = kg[i] - float(kg[mine].mean())
        error = spread * math.sqrt(1 + 1 / mine.sum())
        far.append(_chance(off, error, freedom))
    least = int(np.argmin(far))
    return alike[least] if far[least] * len(alike) < _ALARM else None


def _chance(off: float, error: float, freedom: int) -> float:
    """Chance of being so far off, to either side, by scatter alone."""
    if error <= 0:
        return 0.0 if off else 1.0
    from scipy.special import stdtr  # slow to load, and few catches are by tower

    return 2 * float(stdtr(freedom, -abs(off) / error))


def _oddest_tower(
    kg: FloatArray,
    tower: IntArray,
    kept: BoolArray,
    agree: Sequence[int],
    spread: float,
    freedom: int,
) -> OddTower | None:
    """Of the towers that agree the one farthest off, where that is too far; else None."""
    if len(agree) < 2:
        return None
    from scipy.special import stdtrit

    found = []
    for number in agree:
        here = tower == number
        mine, others = kg[kept & here], kg[kept & ~here & np.isin(tower, agree)]
        if len(mine) == 0 or len(others) == 0 or others.mean() <= 0:
            continue
        off, mean = float(mine.mean() - others.mean()), float(others.mean())
        error = spread * math.sqrt(1 / len(mine) + 1 / len(others))
        reach = float(stdtrit(freedom, (1 + CONFIDENCE) / 2)) * error
        rows = np.flatnonzero(here)
        ends = (off - reach) / mean, (off + reach) / mean
        odd = OddTower(number + 1, (int(rows[0]) + 1, int(rows[-1]) + 1), off / mean, ends)
        found.append((_chance(off, error, freedom), off, odd))
    chance, _, odd = min(found, key=lambda one: one[:2])
    compared = len(found) if len(found) > 2 else 1
    return odd if chance * compared < _ALARM else None
