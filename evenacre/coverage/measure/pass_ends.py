"""Where work went on and off, against where it did on the passes beside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from evenacre.arrays import FloatArray, IntArray
from evenacre.coverage.measure.antenna_path import AntennaPath
from evenacre.geo.overlay import along

# A pass shows where it points over so much of it, and is one from so many widths on.
_COURSE_M, _LEAST_WIDTHS = 12.0, 2.0
_PARALLEL_RAD = np.radians(8.0)
# Ends on one line: so many widths apart across the passes, and so far along them at most.
_ACROSS = (0.4, 1.6)
_ALONG_M = 45.0
# Ends weigh less from so many standard deviations on (Huber 1964), of which the median of the
# absolute deviations is a share; and a fit through ends that share neighbours is less sure than
# through as many by themselves: twice the neighbours' mean taken off, variance 3/2 of one end
# over 4 in place of 1 (see `shift_of`).
_ROBUST, _MAD, _SHARED = 1.5, 0.6745, np.sqrt(8 / 3)
_ITERATIONS = 20
# A rate steps from one level, held for a while, to another that differs by a share of the usual;
# of its rise so much lies between two records, unless the meter takes its time.
_LEVEL_S, _ASIDE_S, _LEAST_STEP, _WHOLE_STEP = 2.0, 1.5, 0.08, 0.8
# Ends at one side of the field point the same way within this; against the boundary they tell
# something from so many each way on, and lie so near it.
_SIDE_RAD, _FEWEST, _NEAR_M = np.radians(15.0), 4, 80.0


@dataclass(frozen=True)
class PassEnds:
    """Where work went on or off on a straight pass, k ends.

    Attributes
    ----------
    x_m, y_m : (k,) float
        The antenna there.
    outward_rad : (k,) float
        Direction out of the worked ground.
    sign : (k,) int
        1 where the machine went out (work went off), -1 where it came in.
    speed_mps : (k,) float
    wait_s : (k,) float
        Time between the two records the switch lies between.
    parted : float
        Share of the ends where some rows switched before others.
    """

    x_m: FloatArray
    y_m: FloatArray
    outward_rad: FloatArray
    sign: IntArray
    speed_mps: FloatArray
    wait_s: FloatArray
    parted: float


@dataclass(frozen=True)
class Shift:
    """How far ends going out lie beyond those coming in.

    Attributes
    ----------
    behind_m : float
        Half of that: travel from where the switch was logged to where the ground shows it, at the
        mean speed.
    sigma_m : float
    per_speed_s, per_speed_sigma_s : float
        How much of it is less for each m/s of speed: time by which the ground lags the log.
    speed_mps : float
        Mean speed at the ends.
    scatter_m : float
        Of single ends.
    step_m : (m,) float
        From each end to the line between its two neighbours that go the other way, halved, as
        ``behind_m``.
    sign : (m,) int
        1 where the machine went out there, -1 where it came in.
    across_m : (m,) float
        Where they are across the passes.
    """

    behind_m: float
    sigma_m: float
    per_speed_s: float
    per_speed_sigma_s: float
    speed_mps: float
    scatter_m: float
    step_m: FloatArray
    sign: IntArray
    across_m: FloatArray


def find_ends(path: AntennaPath, width_m: float) -> PassEnds:
    """Find where work of the middle of the tool went on or off on straight passes."""
    on = path.middle
    inside = path.run[1:] == path.run[:-1]
    off = np.flatnonzero(on[:-1] & ~on[1:] & inside)
    begun = np.flatnonzero(~on[:-1] & on[1:] & inside)
    k = np.concatenate([off, begun])
    sign = np.concatenate([np.ones(len(off), int), -np.ones(len(begun), int)])
    step = np.hypot(np.diff(path.x_m), np.diff(path.y_m))
    way = np.concatenate([[0.0], np.cumsum(step)])
    # The stretch of work that each end closes, and how long it is.
    change = np.flatnonzero((on[:-1] != on[1:]) | ~inside)
    before = np.concatenate([[0], change + 1])
    after = np.concatenate([change, [len(on) - 1]])
    first = before[np.searchsorted(before, k, side="right") - 1]
    last = after[np.searchsorted(after, k + 1)]
    length = np.where(sign > 0, way[k] - way[first], way[last] - way[k + 1])
    share = (path.handover_s[k] - path.time_s[k]) / np.maximum(np.diff(path.time_s)[k], 1e-9)
    x = path.x_m[k] + share * (path.x_m[k + 1] - path.x_m[k])
    y = path.y_m[k] + share * (path.y_m[k + 1] - path.y_m[k])
    inner = np.where(sign > 0, way[k] - _COURSE_M, way[k + 1] + _COURSE_M)
    there = np.clip(np.searchsorted(way, inner), 0, len(way) - 1)
    out = np.arctan2(y - path.y_m[there], x - path.x_m[there])
    course = path.course_rad[np.where(sign > 0, k, k + 1)] + np.where(sign > 0, 0.0, np.pi)
    straight = np.abs(np.angle(np.exp(1j * (course - out)))) < _PARALLEL_RAD
    speed = (path.speed_mps[k] + path.speed_mps[k + 1]) / 2
    long = length > max(_LEAST_WIDTHS * width_m, _COURSE_M)
    good: IntArray = np.flatnonzero(straight & long & (speed > 0))
    return PassEnds(
        x[good],
        y[good],
        out[good],
        sign[good],
        speed[good],
        np.diff(path.time_s)[k][good],
        _parted(path, k[good]),
    )


def find_rate_steps(path: AntennaPath) -> PassEnds | None:
    """Find where the rate of a pass at work goes from one level to another, as at a zone's edge.

    ``outward_rad`` points to the higher rate, whichever way the machine goes; ``sign`` is 1 where
    it goes there. None where no rate is logged.
    """
    if path.rate is None:
        return None
    aside = max(1, round(_ASIDE_S / path.interval_s))
    size = max(3, round(_LEVEL_S / path.interval_s))
    rate = pd.Series(np.where(path.middle & (path.rate > 0), path.rate, np.nan))
    level = rate.rolling(size).median().to_numpy()
    count = len(level)
    before, after = np.full(count, np.nan), np.full(count, np.nan)
    if count > size + 2 * aside:
        before[aside:] = level[:-aside]
        after[: -size - aside] = level[size + aside :]
    middle = (before + after) / 2
    r = rate.to_numpy()
    rise = after - before
    # Of the level halfway between before and after, the one place where it is crossed.
    crossed = (r[:-1] - middle[:-1]) * (r[1:] - middle[:-1]) <= 0
    crossed &= np.abs(rise[:-1]) > _LEAST_STEP * np.nanmedian(r)
    crossed &= (r[1:] - r[:-1]) * rise[:-1] > 0
    crossed &= (path.run[1:] == path.run[:-1]) & path.straight[:-1]
    k = np.flatnonzero(crossed)
    k = k[np.diff(path.time_s[k], prepend=-np.inf) > _ASIDE_S]
    # A step of the log is no ramp: it lies where the say of one record gives way to the next.
    whole = np.abs(r[k + 1] - r[k]) > _WHOLE_STEP * np.abs(rise[k])
    part = (middle[k] - r[k]) / (r[k + 1] - r[k])
    handover = (path.handover_s[k] - path.time_s[k]) / np.maximum(np.diff(path.time_s)[k], 1e-9)
    share = np.where(whole, handover, part)
    sign = np.where(rise[k] > 0, 1, -1)
    course = path.course_rad[k]
    return PassEnds(
        path.x_m[k] + share * (path.x_m[k + 1] - path.x_m[k]),
        path.y_m[k] + share * (path.y_m[k + 1] - path.y_m[k]),
        course + np.where(sign > 0, 0.0, np.pi),
        sign,
        (path.speed_mps[k] + path.speed_mps[k + 1]) / 2,
        np.diff(path.time_s)[k],
        1.0,
    )


def _parted(path: AntennaPath, k: IntArray) -> float:
    """Share of the ends beside which only some of the rows were on."""
    if not len(k):
        return 0.0
    pattern = path.on.pattern
    some = np.asarray(pattern.any(axis=1) & ~pattern.all(axis=1))[path.on.number]
    return float((some[k] | some[k + 1]).mean())


def shift_of(ends: PassEnds, width_m: float) -> Shift | None:
    """Fit how far each end lies from the line between its neighbours; None where it cannot be.

    With the line of the ends straight from one neighbour to the other, and a shift ``b - v t``
    along the travel, an end that goes out between two that come in lies ``2 (b - v t)`` beyond
    the line between them, one that comes in between two that go out as much inside it. The line's
    slope falls out. Each end's error goes into three such differences, so the mean of n of them
    has the variance of one end over n.
    """
    left, right = _neighbours(ends, width_m)
    whole = np.flatnonzero((left >= 0) & (right >= 0))
    if len(whole) < 2:
        return None
    left, right = left[whole], right[whole]
    cos, sin = np.cos(ends.outward_rad[whole]), np.sin(ends.outward_rad[whole])

    def beside(j: IntArray) -> tuple[FloatArray, FloatArray]:
        dx, dy = ends.x_m[j] - ends.x_m[whole], ends.y_m[j] - ends.y_m[whole]
        return dx * cos + dy * sin, np.abs(dy * cos - dx * sin)

    along_left, across_left = beside(left)
    along_right, across_right = beside(right)
    to_left = across_right / (across_left + across_right)
    to_right = 1 - to_left
    beyond = -(to_left * along_left + to_right * along_right)
    sign = ends.sign.astype(float)
    lone = sign[whole] - to_left * sign[left] - to_right * sign[right]
    moved = sign * ends.speed_mps
    paced = moved[whole] - to_left * moved[left] - to_right * moved[right]
    opposite = np.abs(lone) > 1.5
    if opposite.sum() < 2:
        return None
    speed = float(ends.speed_mps[whole].mean())
    design = np.column_stack([lone, -(paced - speed * lone)])
    fit = _robust(design, beyond)
    if fit is None:
        return None
    (behind, late), (sigma, late_sigma), scatter = fit
    step = sign[whole] * beyond / 2
    return Shift(
        float(behind),
        float(sigma * _SHARED),
        float(late),
        float(late_sigma * _SHARED),
        speed,
        float(scatter / np.sqrt(1.5)),
        step[opposite],
        ends.sign[whole][opposite],
        _across(ends, whole[opposite]),
    )


def shift_to_boundary(ends: PassEnds, boundary: BaseGeometry) -> Shift | None:
    """Hold ends that go out against ends that come in by how far they lie from the boundary.

    For passes whose neighbours go the same way (round and round two halves of the field): on one
    side of the field the ends of one half go out and those of the other come in, on the opposite
    side the other way round. What differs between the halves themselves shows as a difference
    between the two sides, and is part of the uncertainty.
    """
    if not len(ends.x_m):
        return None
    cos, sin = np.cos(ends.outward_rad), np.sin(ends.outward_rad)
    rays = shapely.linestrings(
        np.stack(
            [
                np.column_stack([ends.x_m - _NEAR_M * cos, ends.y_m - _NEAR_M * sin]),
                np.column_stack([ends.x_m + _NEAR_M * cos, ends.y_m + _NEAR_M * sin]),
            ],
            axis=1,
        )
    )
    # What of each ray lies in the field ends where it crosses the boundary, or where the ray does.
    crossings, ray = shapely.get_coordinates(along(rays, boundary), return_index=True)
    dx, dy = crossings[:, 0] - ends.x_m[ray], crossings[:, 1] - ends.y_m[ray]
    away = dx * cos[ray] + dy * sin[ray]
    crossed = np.abs(away) < 0.99 * _NEAR_M
    away, ray = away[crossed], ray[crossed]
    order = np.lexsort((np.abs(away), ray))
    end, first = np.unique(ray[order], return_index=True)
    to_edge = np.full(len(ends.x_m), np.nan)
    to_edge[end] = away[order][first]
    found: list[tuple[float, float, int]] = []
    steps, at = [], []
    rest = np.isfinite(to_edge)
    while rest.any():
        toward = ends.outward_rad[np.flatnonzero(rest)[0]]
        side = rest & (np.abs(np.angle(np.exp(1j * (ends.outward_rad - toward)))) < _SIDE_RAD)
        rest &= ~side
        out, came = (np.flatnonzero(side & (ends.sign == s)) for s in (1, -1))
        if min(len(out), len(came)) < _FEWEST:
            continue
        middle_out, middle_in = np.median(to_edge[out]), np.median(to_edge[came])
        spread = [
            float(np.median(np.abs(to_edge[k] - m))) / _MAD / np.sqrt(len(k))
            for k, m in ((out, middle_out), (came, middle_in))
        ]
        found.append(((middle_in - middle_out) / 2, np.hypot(*spread) / 2, len(out) + len(came)))
        line = (middle_out + middle_in) / 2
        steps += [line - to_edge[out], to_edge[came] - line]
        at += [out, came]
    if len(found) < 2:
        return None
    behind = np.array([f[0] for f in found])
    own = float(np.sqrt(np.mean([f[1] ** 2 for f in found]) / len(found)))
    sigma = np.hypot(own, np.ptp(behind) / 2)
    k, step = np.concatenate(at), np.concatenate(steps)
    scatter = float(np.median(np.abs(step - np.median(step))) / _MAD)
    return Shift(
        float(behind.mean()),
        float(sigma),
        0.0,
        np.inf,
        float(ends.speed_mps[k].mean()),
        scatter,
        step,
        ends.sign[k],
        _across(ends, k),
    )


def _across(ends: PassEnds, k: IntArray) -> FloatArray:
    """Where some ends are across the passes, whichever way these are driven."""
    axis = np.angle(np.exp(2j * ends.outward_rad).mean()) / 2
    across: FloatArray = ends.y_m[k] * np.cos(axis) - ends.x_m[k] * np.sin(axis)
    return across


def _neighbours(ends: PassEnds, width_m: float) -> tuple[IntArray, IntArray]:
    """For each end the nearest one on its left and right on the same line; -1 for none."""
    count = len(ends.x_m)
    none = np.full(count, -1)
    if count < 3:
        return none, none
    tree = cKDTree(np.column_stack([ends.x_m, ends.y_m]))
    pairs = tree.query_pairs(np.hypot(_ALONG_M, _ACROSS[1] * width_m), output_type="ndarray")
    a = np.concatenate([pairs[:, 0], pairs[:, 1]])
    b = np.concatenate([pairs[:, 1], pairs[:, 0]])
    turn = np.angle(np.exp(1j * (ends.outward_rad[b] - ends.outward_rad[a])))
    cos, sin = np.cos(ends.outward_rad[a]), np.sin(ends.outward_rad[a])
    dx, dy = ends.x_m[b] - ends.x_m[a], ends.y_m[b] - ends.y_m[a]
    ahead, across = dx * cos + dy * sin, dy * cos - dx * sin
    good = (np.abs(turn) < _PARALLEL_RAD) & (np.abs(ahead) < _ALONG_M)
    good &= (np.abs(across) > _ACROSS[0] * width_m) & (np.abs(across) < _ACROSS[1] * width_m)
    nearest = []
    for hand in (1.0, -1.0):
        mine = np.flatnonzero(good & (hand * across > 0))
        # The nearest across; of those as near, the nearest along.
        order = mine[np.lexsort((np.abs(ahead[mine]), np.rint(np.abs(across[mine]) / width_m * 4)))]
        end, first = np.unique(a[order], return_index=True)
        found = np.full(count, -1)
        found[end] = b[order][first]
        nearest.append(found)
    return nearest[0], nearest[1]


def _robust(design: FloatArray, seen: FloatArray) -> tuple[np.ndarray, np.ndarray, float] | None:
    """Fit by Huber's weights: coefficients, their standard errors, and the scatter of one.

    The second coefficient is pinned where the data do not tell it.
    """
    free = len(seen) - 2
    if free < 1:
        return None
    weight: FloatArray = np.ones(len(seen))
    scatter = 0.0
    # What cannot be told (speeds all alike) is taken for 0, with a wide error.
    ridge = np.diag([0.0, 1e-6 * len(seen)])
    for _ in range(_ITERATIONS):
        normal = design.T @ (design * weight[:, None]) + ridge
        solved = np.linalg.solve(normal, design.T @ (weight * seen))
        left = seen - design @ solved
        scatter = float(np.median(np.abs(left)) / _MAD * np.sqrt(len(seen) / free))
        weight = np.minimum(1.0, _ROBUST * scatter / np.maximum(np.abs(left), 1e-9))
    spread = np.sqrt(np.diag(np.linalg.inv(normal)) * max(scatter, 1e-3) ** 2)
    return solved, spread, scatter
