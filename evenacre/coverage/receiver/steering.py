"""Where a machine was driven by hand though it follows its receiver elsewhere."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.spatial import KDTree

from evenacre.coverage.clean import Fixes
from evenacre.coverage.receiver.behaviour import (
    ALONG_RAD,
    END,
    NEAREST,
    SHORTEST_M,
    SHORTEST_WIDTHS,
    SIDE_BY_SIDE,
)
from evenacre.coverage.receiver.judgement import BY_ITSELF_M
from evenacre.coverage.smooth import SmoothPath
from evenacre.model import BoolArray, FloatArray, IntArray

# Ways are looked at so often. Where they turn by more from one look to the next they go round a
# corner, and what lies before it is not held against what lies after.
_STATION_M, _CORNER_RAD = 2.0, 0.1
# What lies beside is one of so many looks, those nearest to where a neighbour would be.
_BESIDE = 3
# Ways are a hand's that are so many times as uneven as the machine's may be: what lies between may
# be either's.
_CLEARLY = 2.0
_LINED = 3  # a line is fitted so often to what lies nearest


def hand_or_machine(
    fixes: Fixes, path: SmoothPath, working: BoolArray, width_m: float
) -> FloatArray:
    """Who steered at each fix, as the log shows it: 1 a hand, -1 the machine, 0 not told.

    The machine keeps to a line, or at its distance from a way beside it; a hand to neither, by far.

    Parameters
    ----------
    working : (n,) bool
        Fixes with the tool down.
    width_m : float
        Of the tool.

    Returns
    -------
    (n,) float
    """
    told = np.zeros(len(working))
    if not working.any():
        return told
    run = np.cumsum((np.diff(fixes.run, prepend=-1) != 0) | np.diff(working, prepend=False))
    step = np.hypot(np.diff(path.x_m, prepend=path.x_m[0]), np.diff(path.y_m, prepend=path.y_m[0]))
    went = np.cumsum(step)
    at = np.arange(0.0, went[-1], _STATION_M)
    fix = np.searchsorted(went, at, side="right") - 1
    kept = working[fix] & (run[fix] == run[np.minimum(fix + 1, len(run) - 1)])
    at, fix = at[kept], fix[kept]
    course = path.course_rad[fix]
    turned = np.abs(np.sin(np.diff(course, prepend=course[:1]) / 2)) > np.sin(_CORNER_RAD / 2)
    way = np.cumsum((np.diff(run[fix], prepend=-1) != 0) | turned) - 1
    enough = np.bincount(way) * _STATION_M >= max(SHORTEST_M, SHORTEST_WIDTHS * width_m)
    if not enough.any():
        return told
    kept = enough[way]
    at, fix, course = at[kept], fix[kept], course[kept]
    way = (np.cumsum(enough) - 1)[way[kept]]
    x, y = np.interp(at, went, path.x_m), np.interp(at, went, path.y_m)
    uneven = np.minimum(_off_lines(x, y, way), _off_ways(x, y, course, way, width_m))
    # Every fix is as the last look before it.
    last = np.searchsorted(fix, np.arange(len(told)), side="right") - 1
    mine = (last >= 0) & working & (run == run[fix[last]])
    hand = uneven > _CLEARLY * BY_ITSELF_M
    steers = np.select([uneven < BY_ITSELF_M, hand], [-1.0, 1.0], 0.0)
    told[mine] = steers[way[last[mine]]]
    return told


def _off_lines(x: FloatArray, y: FloatArray, way: IntArray) -> FloatArray:
    """Scatter of each way about its line, that of most of it."""
    first = np.flatnonzero(np.diff(way, prepend=-1))
    last = np.append(first[1:], len(way)) - 1
    along = np.arctan2(y[last] - y[first], x[last] - x[first])[way]
    u = (x - x[first][way]) * np.cos(along) + (y - y[first][way]) * np.sin(along)
    v = (y - y[first][way]) * np.cos(along) - (x - x[first][way]) * np.sin(along)
    near = np.ones(len(way), dtype=bool)
    for _ in range(_LINED):
        du, dv = (values - _means(values, way, near) for values in (u, v))
        slope = _means(du * dv, way, near) / np.maximum(_means(du * du, way, near), 1e-9)
        off = np.abs(dv - slope * du)
        most = pd.Series(off).groupby(way).quantile(NEAREST).to_numpy()
        near = off <= most[way]
    return np.asarray(most / END)


def _means(values: FloatArray, way: IntArray, near: BoolArray) -> FloatArray:
    """At each look, of the near ones of its way."""
    count = np.bincount(way[near])
    return np.asarray((np.bincount(way[near], values[near]) / count)[way])


def _off_ways(
    x: FloatArray, y: FloatArray, course: FloatArray, way: IntArray, width_m: float
) -> FloatArray:
    """Least scatter of each way's distance from one beside it; infinite where none is."""
    point, ahead = np.column_stack([x, y]), np.column_stack([np.cos(course), np.sin(course)])
    out = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    tree = KDTree(point)
    low, high = (limit * width_m for limit in SIDE_BY_SIDE)
    least = np.full(int(way.max()) + 1, np.inf)
    for side in (-1.0, 1.0):
        _, other = tree.query(
            point + side * width_m * out, k=_BESIDE, distance_upper_bound=(high - low) / 2
        )
        real = other < len(way)
        j = np.where(real, other, 0)
        to = point[j] - point[:, None]
        along = np.abs((to * ahead[:, None]).sum(axis=2))
        real &= (way[j] != way[:, None]) & (along <= _STATION_M)
        real &= np.abs(np.sin(course[j] - course[:, None])) < np.sin(ALONG_RAD)
        best = np.where(real, along, np.inf).argmin(axis=1)
        row = np.flatnonzero(real[np.arange(len(best)), best])
        apart = (to[row, best[row]] * out[row]).sum(axis=1)
        pair = way[row] * len(least) + way[j[row, best[row]]]
        found, of, count = np.unique(pair, return_inverse=True, return_counts=True)
        off = np.abs(apart - pd.Series(apart).groupby(of).transform("median"))
        scatter = off.groupby(of).quantile(NEAREST).to_numpy() / END
        long = count * _STATION_M >= SHORTEST_M
        np.minimum.at(least, found[long] // len(least), scatter[long])
    return least
