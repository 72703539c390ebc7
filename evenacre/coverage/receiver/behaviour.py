"""How a log's positions behave: at rest, on straight passes and from one pass to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from evenacre.coverage.clean import Fixes, typical_interval_s
from evenacre.coverage.smooth import SmoothPath
from evenacre.model import BoolArray, FloatArray, IntArray, Track

# Passes run along the heading that is driven most, within so much; shorter ones tell little.
_BIN_RAD, ALONG_RAD = np.radians(2.0), np.radians(12.0)
SHORTEST_M, SHORTEST_WIDTHS = 30.0, 3.0
# Passes are looked at so often along their way, at least; and at two records a look.
_STATION_M = 10.0
# Passes nearer or further apart than these shares of the width are not side by side.
SIDE_BY_SIDE = (0.5, 1.5)
_FEWEST_STATIONS = 3
# Pairs that are driven in the same two directions have a spacing of their own where so many are.
_FEWEST_ALIKE = 5
# Drift over a lag shorter than a pass, to be held against that from pass to pass.
_LAG_S = 30.0
_MEMORIES_S = np.geomspace(60.0, 900.0, 30)
# Standing: no further off so long before and after, for at least so long.
_STAND_S, _STAND_M, _STOOD_S = 15.0, 2.0, 30.0
# Coordinates of more decimals are as fine as arithmetic.
_DECIMALS, _SAMPLE, _DEGREE_M = range(3, 8), 2000, 111_195.0
# Standard deviations are of this share of the values, the nearest; of normal ones it has the
# variance (1 - 2 z phi(z) / share), z being its end in standard deviations.
NEAREST = 0.85
END = NormalDist().inv_cdf((1 + NEAREST) / 2)
_NEAREST_VARIANCE = 1 - 2 * END * NormalDist().pdf(END) / NEAREST


@dataclass(frozen=True)
class Behaviour:
    """What the positions of one machine show. Lengths are standard deviations in m.

    NaN where there is too little to tell.

    Attributes
    ----------
    interval_s : float
        Between records.
    written_m : float
        One unit of the last decimal of the coordinates, where they are written so coarsely.
    spacing_m, pairs
        Scatter of the spacing between passes side by side, pair by pair, and how many there are.
    spread_m : float
        The same from place to place, along all of them.
    line_m : float
        Scatter about the line of each straight pass.
    straight_m : float
        Length of all straight passes.
    drift_m, apart_s : float
        Root mean square of the sideways drift over 30 s within straight passes; and how much
        later than its neighbour a pass is driven.
    creep_m : float
        Scatter while the machine stands; exactly 0 where the place is then held.
    way_excess : float
        The logged way over that between the ends of straights, less 1.
    """

    interval_s: float
    written_m: float
    spacing_m: float = np.nan
    pairs: int = 0
    spread_m: float = np.nan
    line_m: float = np.nan
    straight_m: float = 0.0
    drift_m: float = np.nan
    apart_s: float = np.nan
    creep_m: float = np.nan
    way_excess: float = 0.0

    @property
    def memory_s(self) -> float:
        """Memory of a first-order process that drifts so much in 30 s and from pass to pass.

        Of such a process values a time t apart differ by the variance 2 s^2 (1 - exp(-t / T)).
        NaN where the log does not show both, or hardly drifts within a pass.
        """
        if not (self.drift_m > 0 and self.spread_m > 0 and self.apart_s > 0):
            return np.nan
        share = np.expm1(-_LAG_S / _MEMORIES_S) / np.expm1(-self.apart_s / _MEMORIES_S)
        seen = (self.drift_m / self.spread_m) ** 2
        if seen < share.min():
            return np.nan
        return float(_MEMORIES_S[np.abs(share - seen).argmin()])


def behaviour(
    tracks: Sequence[Track],
    fixes: Fixes,
    path: SmoothPath,
    speed_mps: FloatArray,
    working: BoolArray,
    width_m: float,
    left_m: float,
) -> Behaviour:
    """Look at the positions of one machine.

    Parameters
    ----------
    speed_mps : (n,) float
        At each fix.
    working : (n,) bool
        Fixes with the tool down.
    width_m, left_m : float
        Of the tool, and how far to the left of its middle the antenna is told to be.
    """
    interval_s, written_m = typical_interval_s(fixes.time_s), _written_m(tracks)
    creep_m = _creep_m(fixes)
    lines = _straight_lines(fixes, path, speed_mps, working, width_m, left_m)
    if lines is None:
        return Behaviour(interval_s, written_m, creep_m=creep_m)
    spacing_m, pairs, spread_m, apart_s = _spacing(lines, width_m)
    line_m, straight_m, way_excess = _about_lines(lines)
    return Behaviour(
        interval_s,
        written_m,
        spacing_m,
        pairs,
        spread_m,
        line_m,
        straight_m,
        _drift_m(lines),
        apart_s,
        creep_m,
        way_excess,
    )


def _written_m(tracks: Sequence[Track]) -> float:
    """Metres of the last decimal of latitude; NaN where there are as many as a machine writes."""
    lat = np.concatenate([t.lat[:_SAMPLE] for t in tracks])
    lat = lat[np.isfinite(lat)]
    for decimals in _DECIMALS:
        steps = lat * 10.0**decimals
        if len(lat) and np.abs(steps - np.rint(steps)).max() < 1e-4:
            return _DEGREE_M / 10.0**decimals
    return np.nan


def _creep_m(fixes: Fixes) -> float:
    """Scatter about the mean place of each stand, along one axis; NaN without a stand."""
    time, last = fixes.time_s, len(fixes.time_s) - 1
    later = np.searchsorted(time, time + _STAND_S)
    sooner = np.searchsorted(time, time - _STAND_S, side="right") - 1
    still = (later <= last) & (sooner >= 0)
    for other in (np.minimum(later, last), np.maximum(sooner, 0)):
        moved = np.hypot(fixes.x_m[other] - fixes.x_m, fixes.y_m[other] - fixes.y_m)
        still &= (moved < _STAND_M) & (fixes.run[other] == fixes.run)
    stand = np.cumsum(np.diff(still, prepend=False) != 0)[still]
    if not len(stand):
        return np.nan
    _, first, owner, count = np.unique(
        stand, return_index=True, return_inverse=True, return_counts=True
    )
    at = time[still]
    long = at[first + count - 1] - at[first] >= _STOOD_S
    if not long.any():
        return np.nan
    variance = np.zeros(len(count))
    for values in (fixes.x_m[still], fixes.y_m[still]):
        off = values - values[first][owner]
        variance += np.bincount(owner, off**2) / count - (np.bincount(owner, off) / count) ** 2
    variance = np.maximum(variance[long] / 2, 0.0)
    return float(np.sqrt(np.average(variance, weights=count[long])))


@dataclass(frozen=True)
class _Lines:
    """Fixes on straight passes: along (u) and across (v) the main heading, and whose they are.

    Across, they are those of the middle of the tool.

    ``way_m`` is the way from the fix before; ``line`` ascends, ``ahead`` is its sense.
    """

    time_s: FloatArray
    u_m: FloatArray
    v_m: FloatArray
    way_m: FloatArray
    line: IntArray
    ahead: BoolArray  # of each line


def _straight_lines(
    fixes: Fixes,
    path: SmoothPath,
    speed_mps: FloatArray,
    working: BoolArray,
    width_m: float,
    left_m: float,
) -> _Lines | None:
    step = np.hypot(np.diff(path.x_m, prepend=np.nan), np.diff(path.y_m, prepend=np.nan))
    step = np.where(np.diff(fixes.run, prepend=-1) == 0, step, 0.0)
    moving = working & (speed_mps > 0)
    if not step[moving].sum():
        return None
    axis = _main_axis(path.course_rad[moving], step[moving])
    off = np.angle(np.exp(1j * (path.course_rad - axis)))
    ahead = np.abs(off) < np.pi / 2
    along = moving & (np.abs(np.sin(off)) < np.sin(ALONG_RAD))
    new = (np.diff(fixes.run, prepend=-1) != 0) | ~np.append(False, along[:-1])
    new |= np.append(False, ahead[1:] != ahead[:-1])
    line = np.cumsum(new & along)[along] - 1
    if not len(line):
        return None
    u = (path.x_m * np.cos(axis) + path.y_m * np.sin(axis))[along]
    v = (path.y_m * np.cos(axis) - path.x_m * np.sin(axis) - left_m * np.where(ahead, 1, -1))[along]
    way = np.where(np.diff(line, prepend=-1) == 0, step[along], 0.0)
    enough = np.bincount(line, way) >= max(SHORTEST_M, SHORTEST_WIDTHS * width_m)
    if not enough.any():
        return None
    kept = enough[line]
    line = (np.cumsum(enough) - 1)[line[kept]]
    first = np.flatnonzero(np.diff(line, prepend=-1))
    return _Lines(
        fixes.time_s[along][kept], u[kept], v[kept], way[kept], line, ahead[along][kept][first]
    )


def _main_axis(course_rad: FloatArray, weight: FloatArray) -> float:
    """The heading, or its opposite, that most of the way runs along."""
    bins = int(np.pi / _BIN_RAD)
    at = np.floor(course_rad % np.pi / np.pi * bins).astype(int) % bins
    ways = np.bincount(at, weight, minlength=bins)
    peak = (np.argmax(ways + np.roll(ways, 1) + np.roll(ways, -1)) + 0.5) * np.pi / bins
    off = np.angle(np.exp(2j * (course_rad - peak))) / 2
    near = np.abs(off) < ALONG_RAD
    return float(peak + np.angle((weight * np.exp(2j * off))[near].sum()) / 2)


def _spacing(lines: _Lines, width_m: float) -> tuple[float, int, float, float]:
    """Scatter of spacing by pairs, how many, scatter from place to place, and seconds apart."""
    same = np.diff(lines.line) == 0
    k = np.flatnonzero(same)
    step_m = np.abs(np.diff(lines.u_m))[k]
    station_m = max(_STATION_M, 2 * float(np.median(step_m)))
    before, after = (np.floor(lines.u_m[i] / station_m) for i in (k, k + 1))
    crossed = np.abs(after - before) == 1
    k, station = k[crossed], np.maximum(before, after)[crossed].astype(np.int64)
    share = (station * station_m - lines.u_m[k]) / (lines.u_m[k + 1] - lines.u_m[k])
    v = lines.v_m[k] + share * (lines.v_m[k + 1] - lines.v_m[k])
    order = np.lexsort((v, station))
    k, station, v = k[order], station[order], v[order]
    apart = np.diff(v)
    low, high = (limit * width_m for limit in SIDE_BY_SIDE)
    beside = (np.diff(station) == 0) & (apart > low) & (apart < high)
    apart, right, left = apart[beside], k[:-1][beside], k[1:][beside]
    pair = np.stack([lines.line[right], lines.line[left]], axis=1)
    pairs, owner, count = np.unique(pair, axis=0, return_inverse=True, return_counts=True)
    owner = owner.ravel()
    long = count >= _FEWEST_STATIONS
    if not long.any():
        return np.nan, 0, np.nan, np.nan
    mean = np.bincount(owner, apart) / count
    # An antenna beside the middle of the tool parts passes up and down by turns more and less.
    kind = 2 * lines.ahead[pairs[:, 0]] + lines.ahead[pairs[:, 1]]
    usual, fitted = np.full(len(pairs), np.median(mean[long])), 1
    for alike in (kind == n for n in range(4)):
        if (alike & long).sum() >= _FEWEST_ALIKE:
            usual[alike] = np.median(mean[alike & long])
            fitted += 1
    free = max(long.sum() - fitted, 1) / long.sum()
    some = long[owner]
    later_s = np.abs(lines.time_s[left] - lines.time_s[right])[some]
    return (
        _scatter((mean - usual)[long]) / np.sqrt(free),
        int(long.sum()),
        _scatter((apart - usual[owner])[some]) / np.sqrt(free),
        float(np.median(later_s)),
    )


def _about_lines(lines: _Lines) -> tuple[float, float, float]:
    """Scatter about the lines, their length, and how much longer the logged way is."""
    line, count = lines.line, np.bincount(lines.line)

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(line, values) / count)

    u, v = lines.u_m - mean(lines.u_m)[line], lines.v_m - mean(lines.v_m)[line]
    slope = mean(u * v) / np.maximum(mean(u * u), 1e-9)
    residual = np.maximum(mean(v * v) - slope**2 * mean(u * u), 0.0)
    first = np.flatnonzero(np.diff(line, prepend=-1))
    last = np.append(first[1:], len(line)) - 1
    chord = float(np.hypot(u[last] - u[first], v[last] - v[first]).sum())
    way = float(lines.way_m.sum())
    return float(np.sqrt(np.median(residual))), way, max(way / chord - 1, 0.0)


def _drift_m(lines: _Lines) -> float:
    """Root mean square of the sideways move over 30 s within a line, the slope of all taken off."""
    at = np.searchsorted(lines.time_s, lines.time_s + _LAG_S)
    known = at < len(lines.time_s)
    k, later = np.flatnonzero(known), at[known]
    within = (lines.line[later] == lines.line[k]) & (
        lines.time_s[later] - lines.time_s[k] < 1.5 * _LAG_S
    )
    k, later = k[within], later[within]
    if not len(k):
        return np.nan
    du, dv = lines.u_m[later] - lines.u_m[k], lines.v_m[later] - lines.v_m[k]
    return _scatter(dv - float((du * dv).sum() / (du * du).sum()) * du)


def _scatter(values: FloatArray) -> float:
    """Standard deviation about zero that outliers do not move."""
    size = np.abs(values)
    nearest = size[size <= np.quantile(size, NEAREST)]
    return float(np.sqrt((nearest**2).mean() / _NEAREST_VARIANCE))
