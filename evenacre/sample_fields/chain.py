"""From the drill's axle forward to the antenna on the tractor, without slip.

A towed axle moves only along its own unit, so its path alone says where the unit points and
where its pin was. The tractor's rear axle obeys the same rule, but its pin hangs behind it:
played backward in time the rear axle is a trailer towed by the pin, and the exact trailer
step for a straight move (the half-angle tangent falls by exp(-move / length), the tractrix)
forgets any wrong start within metres.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.sample_fields.paths import FloatArray, Path

_BLOCK = 1500
_WARM_UP = 300


@dataclass(frozen=True)
class Rig:
    """Lengths of tractor and drill, metres."""

    antenna_ahead_of_axle_m: float = 0.6
    pin_behind_axle_m: float = 1.2
    hitch_to_axle_m: float = 5.0
    tool_behind_m: float = 1.0


def tool_line(path: Path, rig: Rig) -> tuple[FloatArray, FloatArray]:
    """Centre of the tool line while the drill axle follows ``path``."""
    return (
        path.x - rig.tool_behind_m * np.cos(path.heading),
        path.y - rig.tool_behind_m * np.sin(path.heading),
    )


def antenna(path: Path, rig: Rig) -> tuple[FloatArray, FloatArray]:
    """Antenna positions, one for each point of the drill axle's path."""
    pin_x = path.x + rig.hitch_to_axle_m * np.cos(path.heading)
    pin_y = path.y + rig.hitch_to_axle_m * np.sin(path.heading)
    heading = _leader_heading(pin_x, pin_y, path.heading, rig.pin_behind_axle_m)
    reach = rig.pin_behind_axle_m + rig.antenna_ahead_of_axle_m
    return pin_x + reach * np.cos(heading), pin_y + reach * np.sin(heading)


def _leader_heading(
    pin_x: FloatArray, pin_y: FloatArray, guess: FloatArray, length_m: float
) -> FloatArray:
    """Heading of a unit whose pin hangs ``length_m`` behind its axle.

    The path is cut into blocks solved side by side; each is given a run-in long enough to
    forget its guessed start.
    """
    n = len(pin_x)
    move_x, move_y = np.diff(pin_x), np.diff(pin_y)
    # Backward in time: step j leads from point n-1-j to point n-2-j.
    bearing = np.unwrap(np.arctan2(move_y, move_x))[::-1]
    shrink = np.exp(-np.hypot(move_x, move_y) / length_m)[::-1]
    starts = np.arange(0, n - 1, _BLOCK)
    heading = np.empty(n)
    heading[0] = guess[-1]
    angle = guess[::-1][np.maximum(starts - _WARM_UP, 0)]
    for offset in range(-_WARM_UP, _BLOCK):
        step = starts + offset
        live = (step >= 0) & (step < n - 1)
        at = step[live]
        slip = angle[live] - bearing[at]
        slip = np.remainder(slip + np.pi, 2.0 * np.pi) - np.pi
        slip = 2.0 * np.arctan(np.tan(slip / 2.0) * shrink[at])
        angle[live] = bearing[at] + slip
        if offset >= 0:
            heading[at + 1] = angle[live]
    return np.asarray(heading[::-1])
