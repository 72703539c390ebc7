"""The setting to try: by what was tested now, or by what the farm did before."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenacre.model import FloatArray, PastSetting
from evenacre.model.finding import Finding
from evenacre.planning.calibration.meter_test import CONFIDENCE, MeterTest
from evenacre.units.parsing import plain_number

FARTHEST_TESTED = 2.0
"""A guess from one setting is up to twice or half of it; ours, no source."""
# A setting is carried over rates and densities up to half as much again; ours, no source.
_FARTHEST_NOTED = 1.5
_MOST_SHOWN = 3

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
    if not allow_far and not 1 / FARTHEST_TESTED <= factor <= FARTHEST_TESTED:
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
    spread, shared = np.cov(x, y, bias=True)[0]
    slope = float(shared / spread)
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
    from scipy.special import stdtrit  # slow to load, and most tests need none

    t = float(stdtrit(n - 2, (1 + CONFIDENCE) / 2))
    k = t**2 * float(residual @ residual) / (n - 2)
    a = slope**2 - k / squares
    if a <= 0:
        return None
    root = math.sqrt(max(d**2 * slope**2 - a * (d**2 - k / n), 0.0))
    ends = sorted(((d * slope - root) / a, (d * slope + root) / a))
    return float(x.mean()) + ends[0], float(x.mean()) + ends[1]


def _none(method: str, tested: tuple[float, float], beyond: float, why: Finding) -> NextSetting:
    return NextSetting(None, None, None, method, tested, beyond, refused=why)


@dataclass(frozen=True)
class Match:
    """A past setting and how far the job asked about lies from it."""

    past: PastSetting
    rate_factor: float  # rate asked for over the rate found then
    # Bulk density of the job over the one then; None when one of them is not known
    density_factor: float | None
    same_product: bool

    @property
    def distance(self) -> float:
        """Distance in the logarithms of rate and density: twice is as far as half."""
        return math.hypot(math.log(self.rate_factor), math.log(self.density_factor or 1.0))

    @property
    def reach(self) -> float:
        """The larger of the two steps, as a factor of 1 or more."""
        steps = (self.rate_factor, self.density_factor or 1.0)
        return max(max(step, 1.0 / step) for step in steps)


@dataclass(frozen=True)
class LookUp:
    """What the book has to say about a job."""

    matches: tuple[Match, ...]  # nearest first
    rates_kg_per_m2: tuple[float, float] | None  # lowest and highest rate of everything comparable
    outside: bool  # the rate asked for lies outside of those
    # Setting to start the test at, carried over from the nearest; None: refused
    start: float | None
    refused: Finding | None = None  # why there is no start


def look_up(
    past: Sequence[PastSetting],
    rate_kg_per_m2: float,
    bulk_density_kg_per_m3: float | None = None,
    product: str = "",
    roller: str = "",
    *,
    allow_far: bool = False,
) -> LookUp:
    """Find the past settings nearest in bulk density and rate, and one to start at.

    A roller carries volume, so at one roller the setting goes with rate over bulk density
    (common practice, no source): that carries a past setting over to the new job, for a test
    to correct; ``allow_far`` even farther than half as much again. Without a bulk density only
    lines of the same product are compared; lines of another roller than that given are left out.
    """
    name = _plain(product)
    matches = []
    for line in past:
        same = bool(name) and _plain(line.product) == name
        now, then = bulk_density_kg_per_m3, line.bulk_density_kg_per_m3
        if line.rate_kg_per_m2 is None or not (same or None not in (now, then)):
            continue
        if roller and line.roller and _plain(line.roller) != _plain(roller):
            continue
        factor = now / then if now and then else None
        matches.append(Match(line, rate_kg_per_m2 / line.rate_kg_per_m2, factor, same))
    matches.reverse()  # of equals the latest line of the book counts
    ranked = sorted(matches, key=lambda m: (round(m.distance, 9), not m.same_product))
    if not ranked:
        return LookUp((), None, False, None, Finding.note("nothing_comparable"))
    rates = [m.past.rate_kg_per_m2 for m in ranked if m.past.rate_kg_per_m2 is not None]
    low, high = min(rates), max(rates)
    outside = not low * (1 - 1e-9) <= rate_kg_per_m2 <= high * (1 + 1e-9)
    nearest, start, refused = ranked[0], None, None
    then = setting_number(nearest.past.setting)
    if then is None:
        refused = Finding.note("noted_setting_no_number")
    elif not allow_far and nearest.reach > _FARTHEST_NOTED * (1 + 1e-9):
        refused = Finding.note("noted_setting_too_far")
    else:
        start = then * nearest.rate_factor / (nearest.density_factor or 1.0)
    return LookUp(tuple(ranked[:_MOST_SHOWN]), (low, high), outside, start, refused)


def setting_number(text: str) -> float | None:
    """Return a setting as a number, where it is one above zero."""
    value = plain_number(text)
    return value if value is not None and 0 < value < math.inf else None


def _plain(text: str) -> str:
    return " ".join(text.lower().split())
