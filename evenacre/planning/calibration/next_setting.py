"""The setting that should give a wanted rate, and how far it lies from what was tested."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from evenacre.model import FloatArray
from evenacre.model.finding import Finding
from evenacre.planning.calibration.meter_test import CONFIDENCE, MeterTest

FARTHEST_FACTOR = 2.0
"""From one setting, a guess is given up to twice or half of it; ours, no source."""

PROPORTION, LINE = "in proportion", "by a line"


@dataclass(frozen=True)
class NextSetting:
    """The setting to try next."""

    setting: float | None  # None: refused, see ``refused``
    # Settings between which the right one lies nine times in ten, if the meter follows the line;
    # None when the scatter is not known
    low: float | None
    high: float | None
    # ``"in proportion"`` (from one setting: twice the setting, twice the rate) or ``"by a line"``
    # (through several)
    method: str
    tested: tuple[float, float]  # lowest and highest setting tested
    beyond: float  # how far outside the tested settings this lies; 0 when between them
    # Largest departure of a tested setting from the line, as a fraction of the rate there; None
    # with fewer than three settings, which show none
    bend: float | None = None
    refused: Finding | None = None  # why there is no setting


def in_proportion(
    setting: float, test: MeterTest, target_kg_per_m2: float, *, allow_far: bool = False
) -> NextSetting:
    """Next setting from a test at one, on a scale on which nothing flows at zero.

    Output is taken as proportional to the setting; ``allow_far`` gives one even beyond twice or
    half the tested one.
    """
    factor = target_kg_per_m2 / test.rate_kg_per_m2
    found = setting * factor
    beyond = abs(found - setting)
    tested = (setting, setting)
    if setting <= 0:
        return _none(PROPORTION, tested, beyond, Finding.note("setting_not_above_zero"))
    if not allow_far and not 1 / FARTHEST_FACTOR <= factor <= FARTHEST_FACTOR:
        return _none(PROPORTION, tested, beyond, Finding.note("tested_setting_too_far"))
    low = high = None
    if test.interval_kg_per_m2 is not None and test.interval_kg_per_m2[0] > 0:
        low, high = (setting * target_kg_per_m2 / rate for rate in test.interval_kg_per_m2[::-1])
    return NextSetting(found, low, high, PROPORTION, tested, beyond)


def by_a_line(
    settings: Sequence[float],
    rates_kg_per_m2: Sequence[float],
    target_kg_per_m2: float,
    *,
    allow_far: bool = False,
) -> NextSetting:
    """Next setting from a straight line through catches (n,) at two settings or more.

    The interval is Fieller's: all settings at which the target lies within the confidence
    band of the line (E. C. Fieller 1954, Some problems in interval estimation, Journal of the
    Royal Statistical Society B 16, 175-185). ``allow_far`` carries the line beyond the tested
    settings.
    """
    x, y = np.asarray(settings, float), np.asarray(rates_kg_per_m2, float)
    tested = (float(x.min()), float(x.max()))
    if tested[0] == tested[1]:
        raise ValueError("a line needs two settings")
    fit = stats.linregress(x, y)
    slope = float(fit.slope)
    # Rounding alone can leave a trace of slope in equal rates.
    if abs(slope) * (tested[1] - tested[0]) <= 1e-9 * float(np.abs(y).max()):
        return _none(LINE, tested, 0.0, Finding.note("rate_unchanged_by_setting"))
    found = float(x.mean()) + (target_kg_per_m2 - float(y.mean())) / slope
    beyond = max(tested[0] - found, found - tested[1], 0.0)
    if beyond < 1e-9 * (tested[1] - tested[0]):
        beyond = 0.0
    if found <= 0:
        return _none(LINE, tested, beyond, Finding.note("line_below_zero"))
    low = high = None
    if len(x) > 2:
        interval = _fieller(x, y, slope, target_kg_per_m2)
        if interval is None:
            return _none(LINE, tested, beyond, Finding.note("scatter_hides_change"))
        low, high = interval
    if beyond and not allow_far:
        return _none(LINE, tested, beyond, Finding.note("target_beyond_settings"))
    bend = None
    places, which = np.unique(x, return_inverse=True)
    if len(places) > 2:
        means = np.bincount(which, y) / np.bincount(which)
        line = y.mean() + slope * (places - x.mean())
        bend = float(np.max(np.abs(means - line) / means))
    return NextSetting(found, low, high, LINE, tested, beyond, bend)


def _fieller(
    x: FloatArray, y: FloatArray, slope: float, target: float
) -> tuple[float, float] | None:
    """Solve (d - b u)^2 = t^2 s^2 (1 / n + u^2 / Sxx) for u, the way from the mean setting."""
    n, dx, d = len(x), x - x.mean(), target - float(y.mean())
    squares = float(dx @ dx)
    residual = y - y.mean() - slope * dx
    t = float(stats.t.ppf((1 + CONFIDENCE) / 2, n - 2))
    k = t**2 * float(residual @ residual) / (n - 2)
    a = slope**2 - k / squares
    if a <= 0:
        return None
    root = math.sqrt(max(d**2 * slope**2 - a * (d**2 - k / n), 0.0))
    ends = sorted(((d * slope - root) / a, (d * slope + root) / a))
    return float(x.mean()) + ends[0], float(x.mean()) + ends[1]


def _none(method: str, tested: tuple[float, float], beyond: float, why: Finding) -> NextSetting:
    return NextSetting(None, None, None, method, tested, beyond, refused=why)
