"""Take receiver jitter out of positions and courses without bending real curves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from evenacre.arrays import expand
from evenacre.coverage.clean import typical_interval_s
from evenacre.coverage.thinning import bends
from evenacre.model import BoolArray, FloatArray, IntArray

# Half-windows in records, tried from the narrowest.
_HALF_WINDOWS = (2, 4, 8, 14, 24)
# So many fixes are fitted at a time: the sums of a window take some 400 bytes a fix.
_BLOCK = 1 << 16
# Below this, jitter does no harm and the positions are left as they are.
_CLEAN_M = 0.0005
# A wider fit is kept while it lies within this many standard errors of every narrower one.
_CONFIDENCE = 2.0
# A way is straight that bends by no more than so many times the jitter which the widest fits
# leave, and as a rule by little more than it.
_NO_BEND, _AS_JITTER = 5.0, 1.5
# Records over which a straight stretch is led over to its neighbours.
_LEAD = 10.0
# Slower than this the direction of motion is noise and the last course is held.
_STANDING_MPS = 0.2


@dataclass(frozen=True)
class SmoothPath:
    """Positions and courses of the antenna.

    Attributes
    ----------
    x_m, y_m : (n,) float
    course_rad : (n,) float
        Direction of motion, counter-clockwise from the x axis.
    jitter_m : float
        Estimated standard deviation of the receiver's white jitter.
    left_m : float
        What smoothing leaves of it at most, as a rule; on long straights it is less.
    """

    x_m: FloatArray
    y_m: FloatArray
    course_rad: FloatArray
    jitter_m: float
    left_m: float = 0.0


def jitter_m(x_m: FloatArray, y_m: FloatArray, run: IntArray) -> float:
    """Estimate white position jitter from the cross-track part of third differences.

    On a smooth path sampled densely the third difference is nearly pure noise of variance
    20 s^2 (1 + 9 + 9 + 1); its part across the direction of travel is free of speed changes.
    The median makes turns and stops harmless.
    """
    if len(x_m) < 8:
        return 0.0
    whole = run[3:] == run[:-3]
    dx, dy = x_m[3:] - x_m[:-3], y_m[3:] - y_m[:-3]
    length = np.hypot(dx, dy)
    ok = whole & (length > 0)
    if ok.sum() < 5:
        return 0.0
    third_x, third_y = np.diff(x_m, 3)[ok], np.diff(y_m, 3)[ok]
    across = (third_y * dx[ok] - third_x * dy[ok]) / length[ok]
    return float(np.median(np.abs(across)) / 0.6744897501960817 / np.sqrt(20.0))


def smooth_path(
    time_s: FloatArray, x_m: FloatArray, y_m: FloatArray, run: IntArray, *, smooth: bool = True
) -> SmoothPath:
    """Local quadratic fits over time, each with the widest window the data allow.

    For every fix, fits with growing windows are compared; the widest one whose position
    still agrees with all narrower ones within their standard errors is taken (the
    intersection-of-confidence-intervals rule of Goldenshluger and Nemirovski 1997). Straight
    runs get long windows, curves short ones. Stretches that are straight as far as can be told
    are laid on straight lines then.

    Parameters
    ----------
    run : (n,) int
        Windows never reach across runs.
    smooth : bool
        When False positions stay as logged and only the course is estimated.
    """
    noise, unit = jitter_m(x_m, y_m, run), typical_interval_s(time_s)
    if not smooth or noise < _CLEAN_M:
        (fit,) = _fits(time_s, x_m, y_m, run, unit, (1,))
        return SmoothPath(x_m, y_m, _course(fit, run), noise)
    halo, count = _HALF_WINDOWS[-1], len(x_m)
    best = _Fit(*np.empty((5, count)))
    widest = _Places(*np.empty((3, count)))
    for first in range(0, count, _BLOCK):
        end = min(first + _BLOCK, count)
        near = slice(max(first - halo, 0), end + halo)
        found = _local_fits(time_s[near], x_m[near], y_m[near], run[near], unit, noise)
        own = slice(first - near.start, end - near.start)
        for whole, part in zip((best, widest), found, strict=True):
            for name in whole.__dataclass_fields__:
                getattr(whole, name)[first:end] = getattr(part, name)[own]
    left = noise * float(np.sqrt(np.median(best.variance)))
    best = _laid_straight(best, widest, x_m, y_m, run, noise)
    return SmoothPath(best.x, best.y, _course(best, run), noise, left)


def _local_fits(
    time_s: FloatArray,
    x_m: FloatArray,
    y_m: FloatArray,
    run: IntArray,
    unit_s: float,
    noise_m: float,
) -> tuple[_Fit, _Fit]:
    """Of each fix the widest fit that agrees with all narrower ones, and the widest of all."""
    best: _Fit | None = None
    narrower: list[_Fit] = []
    agrees = np.ones(len(x_m), dtype=bool)
    for fit in _fits(time_s, x_m, y_m, run, unit_s, _HALF_WINDOWS):
        for other in narrower:
            apart = np.hypot(fit.x - other.x, fit.y - other.y)
            agrees &= apart <= _CONFIDENCE * noise_m * np.sqrt(fit.variance + other.variance)
        best = fit if best is None else best.replaced_where(agrees, fit)
        narrower.append(fit)
    assert best is not None
    return best, narrower[-1]


@dataclass(frozen=True)
class _Places:
    """Positions at n fixes, and their variance factor."""

    x: FloatArray
    y: FloatArray
    variance: FloatArray


@dataclass(frozen=True)
class _Fit(_Places):
    """Quadratic fits at n fixes, with their velocity."""

    vx: FloatArray
    vy: FloatArray

    def replaced_where(self, better: BoolArray, other: _Fit) -> _Fit:
        """Take the other fit where a mask says so."""
        names = self.__dataclass_fields__
        return _Fit(*(np.where(better, getattr(other, n), getattr(self, n)) for n in names))


def _fits(
    time_s: FloatArray,
    x_m: FloatArray,
    y_m: FloatArray,
    run: IntArray,
    unit_s: float,
    half_windows: Sequence[int],
) -> Iterator[_Fit]:
    """Least-squares quadratics over growing windows, all windows sharing one set of sums.

    The sums over a window of half-width h are those of half-width h - 1 plus two records, so
    the loop is over offsets, not over fixes.
    """
    n = len(time_s)
    # Sums of t^p, and of (x, y) - (x, y)[fix] times t^p; t counts from the fix.
    t_sum = np.zeros((5, n))
    t_sum[0] = 1.0
    x_sum, y_sum = np.zeros((3, n)), np.zeros((3, n))
    done = 0
    for half in half_windows:
        for offset in range(done + 1, min(half, n - 1) + 1):
            same = run[offset:] == run[:-offset]
            t = np.where(same, time_s[offset:] - time_s[:-offset], 0.0) / unit_s
            dx = np.where(same, x_m[offset:] - x_m[:-offset], 0.0)
            dy = np.where(same, y_m[offset:] - y_m[:-offset], 0.0)
            power = same.astype(float)
            for p in range(5):
                sign = -1.0 if p % 2 else 1.0
                t_sum[p, :-offset] += power
                t_sum[p, offset:] += sign * power
                if p < 3:
                    x_sum[p, :-offset] += dx * power
                    x_sum[p, offset:] -= sign * dx * power
                    y_sum[p, :-offset] += dy * power
                    y_sum[p, offset:] -= sign * dy * power
                power = power * t
        done = half
        yield _solve(x_m, y_m, t_sum, x_sum, y_sum, unit_s)


def _solve(
    x_m: FloatArray,
    y_m: FloatArray,
    t_sum: FloatArray,
    x_sum: FloatArray,
    y_sum: FloatArray,
    unit_s: float,
) -> _Fit:
    """Solve the 3 x 3 normal equations of every fix by cofactors."""
    s0, s1, s2, s3, s4 = t_sum
    # Two fixes fix a line, one a point: pin what they leave open to zero.
    s4 = s4 + (s0 < 3) * 1e6
    s2_pinned = s2 + (s0 < 2) * 1e6
    c00 = s2_pinned * s4 - s3 * s3
    c01 = s2 * s3 - s1 * s4
    c02 = s1 * s3 - s2_pinned * s2
    c11 = s0 * s4 - s2 * s2
    c12 = s1 * s2 - s0 * s3
    whole = s0 * c00 + s1 * c01 + s2 * c02
    x, y = ((c00 * b[0] + c01 * b[1] + c02 * b[2]) / whole for b in (x_sum, y_sum))
    vx, vy = ((c01 * b[0] + c11 * b[1] + c12 * b[2]) / whole for b in (x_sum, y_sum))
    return _Fit(x_m + x, y_m + y, c00 / whole, vx / unit_s, vy / unit_s)


def _laid_straight(
    fit: _Fit, widest: _Places, x_m: FloatArray, y_m: FloatArray, run: IntArray, noise_m: float
) -> _Fit:
    """Lay long stretches that bend by no more than jitter does on straight lines.

    Each is the least-squares line through its fixes; how far along it they lie stays. The ends
    are led over to what goes before and after.

    Parameters
    ----------
    widest : _Places
        With the longest windows everywhere, which bends least where the way is straight.
    """
    left_m = noise_m * float(np.sqrt(np.median(widest.variance)))
    first, last = _long_stretches(widest, run, _NO_BEND * left_m)
    if not len(first):
        return fit
    stretch, rank = expand(last - first + 1)
    at, start = first[stretch] + rank, np.flatnonzero(rank == 0)
    count = (last - first + 1).astype(float)
    course = np.arctan2(fit.y[last] - fit.y[first], fit.x[last] - fit.x[first])

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray(np.add.reduceat(values, start) / count)

    middle_x, middle_y = mean(x_m[at]), mean(y_m[at])
    cos, sin = np.cos(course)[stretch], np.sin(course)[stretch]

    def turned(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Along and across each stretch, from its middle."""
        dx, dy = x[at] - middle_x[stretch], y[at] - middle_y[stretch]
        return dx * cos + dy * sin, dy * cos - dx * sin

    along, across = turned(x_m, y_m)
    spread = mean(along**2)
    slope = mean(along * across) / spread
    along, across = turned(widest.x, widest.y)
    straight = np.sqrt(mean((across - slope[stretch] * along) ** 2)) <= _AS_JITTER * left_m
    along, across = turned(fit.x, fit.y)
    move = slope[stretch] * along - across
    lead = np.minimum(rank, (count - 1)[stretch] - rank) / _LEAD
    weight = np.minimum(lead, 1.0) * straight[stretch]
    ahead = (course + np.arctan(slope))[stretch]
    speed = np.hypot(fit.vx[at], fit.vy[at])

    def led(old: FloatArray, new: FloatArray) -> FloatArray:
        out = old.copy()
        out[at] += weight * (new - old[at])
        return out

    return _Fit(
        led(fit.x, fit.x[at] - move * sin),
        led(fit.y, fit.y[at] + move * cos),
        fit.variance,
        led(fit.vx, speed * np.cos(ahead)),
        led(fit.vy, speed * np.sin(ahead)),
    )


def _long_stretches(widest: _Places, run: IntArray, bend_m: float) -> tuple[IntArray, IntArray]:
    """First and last fix of each stretch, as long as the widest windows, that bends no more."""
    several = np.flatnonzero(np.bincount(run)[run] > 1)
    if not len(several):
        return several, several
    points = np.column_stack([widest.x, widest.y])[several]
    chain = np.unique(run[several], return_inverse=True)[1]
    corner = several[bends([points], chain, bend_m)]
    first, last = corner[:-1], corner[1:]
    long = (run[first] == run[last]) & (last - first >= 2 * _HALF_WINDOWS[-1])
    return first[long], last[long]


def _course(fit: _Fit, run: IntArray) -> FloatArray:
    """Direction of the fitted velocity, held through standstills."""
    vx, vy = fit.vx, fit.vy
    moving = np.hypot(vx, vy) >= _STANDING_MPS
    at = np.arange(len(vx))
    last = np.maximum.accumulate(np.where(moving, at, -1))
    following = np.minimum.accumulate(np.where(moving, at, len(at))[::-1])[::-1]
    has_last = (last >= 0) & (run[np.maximum(last, 0)] == run)
    source = np.where(has_last, last, np.minimum(following, len(at) - 1))
    source = np.where(run[source] == run, source, at) if len(at) else source
    return np.arctan2(vy[source], vx[source])


def ground_speed(time_s: FloatArray, path: SmoothPath, run: IntArray) -> FloatArray:
    """Ground speed at each fix from the positions around it, m/s."""
    if len(time_s) < 2:
        return np.zeros(len(time_s))
    same = run[1:] == run[:-1]
    moved = np.where(same, np.hypot(np.diff(path.x_m), np.diff(path.y_m)), 0.0)
    time = np.where(same, np.diff(time_s), 0.0)
    around = np.append(moved, 0.0) + np.insert(moved, 0, 0.0)
    span = np.append(time, 0.0) + np.insert(time, 0, 0.0)
    return np.divide(around, span, out=np.zeros_like(around), where=span > 0)


def turn_radius(
    time_s: FloatArray, path: SmoothPath, run: IntArray, speed_mps: FloatArray
) -> FloatArray:
    """Radius of the path at each fix, m; infinite where it runs straight."""
    turn = np.abs(np.angle(np.exp(1j * np.diff(path.course_rad))))
    turn = np.where(run[1:] == run[:-1], turn, 0.0)
    rate = (np.append(turn, 0.0) + np.insert(turn, 0, 0.0)) / 2
    dt = np.gradient(time_s) if len(time_s) > 1 else np.ones(len(turn) + 1)
    rate = rate / np.maximum(dt, 1e-9)
    return np.divide(speed_mps, rate, out=np.full(len(speed_mps), np.inf), where=rate > 1e-9)
