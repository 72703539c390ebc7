"""Where the tool line goes when the antenna moves: offsets and the tow chain."""

from __future__ import annotations

import numpy as np

from evenacre.model import FloatArray, Implement, IntArray
from evenacre.model.audit_result import ToolPath


def follow(x_m: FloatArray, y_m: FloatArray, length_m: float, heading0_rad: float) -> FloatArray:
    """Heading of a unit pulled by its hitch along a polyline.

    For a straight hitch step of length d in direction f the angle a between unit and step
    obeys tan(a'/2) = tan(a/2) exp(-d / L): the tractrix in closed form, no Euler step. In
    half-angle coordinates (cos h/2, sin h/2) this is linear, a turn by f/2, a scaling and the
    turn back, so a whole path is a product of 2 x 2 matrices.

    Parameters
    ----------
    x_m, y_m : (n,) float
        Hitch positions.
    length_m : float
        Hitch to axle.
    heading0_rad : float
        The unit's heading at the first hitch position.

    Returns
    -------
    (n,) float
        Heading of the unit at each hitch position, counter-clockwise from the x axis.
    """
    dx, dy = np.diff(x_m), np.diff(y_m)
    half = np.arctan2(dy, dx) / 2
    c, s = np.cos(half), np.sin(half)
    decay = np.exp(-np.hypot(dx, dy) / length_m)
    step = np.empty((len(dx), 2, 2))
    step[:, 0, 0] = c * c + decay * s * s
    step[:, 0, 1] = step[:, 1, 0] = c * s * (1 - decay)
    step[:, 1, 1] = s * s + decay * c * c
    start = np.array([np.cos(heading0_rad / 2), np.sin(heading0_rad / 2)])
    vectors = np.vstack([start, _running_product(step) @ start]) if len(dx) else start[None]
    heading = 2 * np.arctan2(vectors[:, 1], vectors[:, 0])
    return np.unwrap(heading)


def _running_product(step: FloatArray) -> FloatArray:
    """Products step[k] ... step[0] for all k, in about 2 sqrt(n) vectorised strides."""
    n = len(step)
    width = max(1, int(np.sqrt(n)))
    blocks = -(-n // width)
    padded = np.broadcast_to(np.eye(2), (blocks * width, 2, 2)).copy()
    padded[:n] = step
    part = padded.reshape(blocks, width, 2, 2)
    for i in range(1, width):
        part[:, i] = part[:, i] @ part[:, i - 1]
    carry = np.eye(2)
    for b in range(blocks):
        part[b] = part[b] @ carry
        carry = part[b, -1] / np.abs(part[b, -1]).max()
    return part.reshape(-1, 2, 2)[:n]


def tool_path(
    time_s: FloatArray,
    x_m: FloatArray,
    y_m: FloatArray,
    course_rad: FloatArray,
    run: IntArray,
    implement: Implement,
) -> ToolPath:
    """Carry antenna positions back to the centre of the tool line.

    Each run starts with every unit in line with the direction of travel.
    """

    def towed(px: FloatArray, py: FloatArray, length_m: float) -> FloatArray:
        starts = np.flatnonzero(np.diff(run, prepend=-1))
        ends = np.append(starts[1:], len(run))
        pieces = [
            follow(px[a:b], py[a:b], length_m, course_rad[a])
            for a, b in zip(starts, ends, strict=True)
        ]
        return np.concatenate(pieces) if pieces else px

    heading = course_rad
    if implement.axle_to_antenna_m > 0:
        heading = towed(x_m, y_m, implement.axle_to_antenna_m)
    ahead, left = implement.antenna_ahead_m, implement.antenna_left_m
    x = x_m - ahead * np.cos(heading) + left * np.sin(heading)
    y = y_m - ahead * np.sin(heading) - left * np.cos(heading)
    for unit in implement.tow:
        heading = towed(x, y, unit.hitch_to_axle_m)
        back = unit.hitch_to_axle_m + unit.axle_to_pin_m
        if unit is implement.tow[-1]:
            back = unit.hitch_to_axle_m
        x = x - back * np.cos(heading)
        y = y - back * np.sin(heading)
    x = x - implement.tool_behind_m * np.cos(heading)
    y = y - implement.tool_behind_m * np.sin(heading)
    return ToolPath(time_s, x, y, heading)
