"""Take receiver jitter out of positions and courses without bending real curves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.model import FloatArray, IntArray

# Half-windows in records, tried from the narrowest.
_HALF_WINDOWS = (2, 4, 8, 14, 24)
# Below this, jitter does no harm and the positions are left as they are.
_CLEAN_M = 0.0005
# A wider fit is kept while it lies within this many standard errors of every narrower one.
_CONFIDENCE = 2.0
# Slower than this the direction of motion is noise and the last course is held.
_STANDING_MPS = 0.2
# How many windows' worth of fixes are held in memory at once.
_CHUNK = 20_000


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
    """

    x_m: FloatArray
    y_m: FloatArray
    course_rad: FloatArray
    jitter_m: float


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
    runs get long windows, curves short ones.

    Parameters
    ----------
    time_s, x_m, y_m : (n,) float
    run : (n,) int
        Windows never reach across runs.
    smooth : bool
        When False positions stay as logged and only the course is estimated.

    Returns
    -------
    SmoothPath
    """
    noise = jitter_m(x_m, y_m, run)
    if not smooth or noise < _CLEAN_M:
        fit = _fit(time_s, x_m, y_m, run, 1)
        return SmoothPath(x_m, y_m, _course(fit, time_s, x_m, y_m, run), noise)
    best = _fit(time_s, x_m, y_m, run, _HALF_WINDOWS[0])
    narrower = [best]
    open_ = np.ones(len(x_m), dtype=bool)
    for half in _HALF_WINDOWS[1:]:
        fit = _fit(time_s, x_m, y_m, run, half)
        for other in narrower:
            apart = np.hypot(fit[:, 0] - other[:, 0], fit[:, 1] - other[:, 1])
            limit = _CONFIDENCE * noise * np.sqrt(fit[:, 4] + other[:, 4])
            open_ &= apart <= limit
        best = np.where(open_[:, None], fit, best)
        narrower.append(fit)
    return SmoothPath(best[:, 0], best[:, 1], _course(best, time_s, x_m, y_m, run), noise)


def _fit(
    time_s: FloatArray, x_m: FloatArray, y_m: FloatArray, run: IntArray, half: int
) -> FloatArray:
    """Quadratic fit around each fix: (n, 5) of x, y, vx, vy and variance factor."""
    out = np.empty((len(time_s), 5))
    offsets = np.arange(-half, half + 1)
    for start in range(0, len(time_s), _CHUNK):
        here = np.arange(start, min(start + _CHUNK, len(time_s)))
        at = here[:, None] + offsets
        inside = (at >= 0) & (at < len(time_s))
        at = np.clip(at, 0, len(time_s) - 1)
        inside &= run[at] == run[here][:, None]
        t = np.where(inside, time_s[at] - time_s[here][:, None], 0.0)
        scale = np.maximum(np.abs(t).max(axis=1, keepdims=True), 1e-9)
        t = t / scale
        w = inside.astype(float)
        dx = np.where(inside, x_m[at] - x_m[here][:, None], 0.0)
        dy = np.where(inside, y_m[at] - y_m[here][:, None], 0.0)
        moment = [np.einsum("ij,ij->i", w, t**p) for p in range(5)]
        # A whisper of ridge on the curvature keeps runs of two fixes solvable as straight.
        ridge = np.where(inside.sum(axis=1) < 3, 1e6, 0.0)
        lone = np.where(inside.sum(axis=1) < 2, 1e6, 0.0)
        m = np.empty((len(here), 3, 3))
        for i in range(3):
            for j in range(3):
                m[:, i, j] = moment[i + j]
        m[:, 1, 1] += lone
        m[:, 2, 2] += ridge
        rhs = np.empty((len(here), 3, 3))
        for p in range(3):
            rhs[:, p, 0] = np.einsum("ij,ij->i", dx, t**p)
            rhs[:, p, 1] = np.einsum("ij,ij->i", dy, t**p)
            rhs[:, p, 2] = 1.0 if p == 0 else 0.0
        solved = np.linalg.solve(m, rhs)
        out[here, 0] = x_m[here] + solved[:, 0, 0]
        out[here, 1] = y_m[here] + solved[:, 0, 1]
        out[here, 2] = solved[:, 1, 0] / scale[:, 0]
        out[here, 3] = solved[:, 1, 1] / scale[:, 0]
        out[here, 4] = solved[:, 0, 2]
    return out


def _course(
    fit: FloatArray, time_s: FloatArray, x_m: FloatArray, y_m: FloatArray, run: IntArray
) -> FloatArray:
    """Direction of the fitted velocity, held through standstills."""
    vx, vy = fit[:, 2], fit[:, 3]
    moving = np.hypot(vx, vy) >= _STANDING_MPS
    at = np.arange(len(vx))
    last = np.maximum.accumulate(np.where(moving, at, -1))
    following = np.minimum.accumulate(np.where(moving, at, len(at))[::-1])[::-1]
    has_last = (last >= 0) & (run[np.maximum(last, 0)] == run)
    source = np.where(has_last, last, np.minimum(following, len(at) - 1))
    source = np.where(run[source] == run, source, at) if len(at) else source
    return np.arctan2(vy[source], vx[source])
