"""Ground that a known cause may have left bare: blocked rows and holes in the log."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely

from evenacre.coverage.skips import Beside, Suspect
from evenacre.coverage.steps import Steps, tool_ends
from evenacre.coverage.swath import build_strips, build_swaths
from evenacre.geo.overlay import union
from evenacre.model import Blockage, BoolArray, Implement

# Ground beside passes only tells skips apart; it need not be finer than this.
_ROUGHLY_M = 0.01
# A silent stretch was probably driven straight on if its chord keeps to both headings and its
# speed is near the usual one.
_STRAIGHT_ON_RAD = np.radians(25.0)
_USUAL_SPEED = (0.3, 1.6)


def find_suspects(
    steps: Steps, implement: Implement, blockages: Sequence[Blockage]
) -> list[Suspect]:
    """Blocked rows by their logged event, rows off between rows on, and gaps in the log.

    Parameters
    ----------
    steps : Steps
    implement : Implement
    blockages : sequence of Blockage
        Those that ``steps.blocked`` numbers.
    """
    found = [
        Suspect("blocked rows", blockage.cause, _swept(steps, steps.blocked == number, implement))
        for number, blockage in enumerate(blockages, start=1)
    ]
    found += _rows_off_between(steps, implement)
    found += _silences(steps, implement)
    return [s for s in found if not s.swept.is_empty]


def ground_beside(steps: Steps, implement: Implement) -> Beside:
    """Ground up to one tool width to the left and right of every working step."""
    threefold = replace(implement, width_m=3 * implement.width_m, rows=3)
    sides = steps.working[:, None] & np.array([True, False, True])
    swaths = build_swaths(build_strips(steps, sides, threefold), _ROUGHLY_M)
    ahead = steps.tool.heading_rad[swaths.first_step]
    return Beside(swaths.geometry, ahead + np.where(swaths.first_row == 1, np.pi / 2, -np.pi / 2))


def _swept(steps: Steps, active: BoolArray, implement: Implement) -> shapely.Geometry:
    return union(build_swaths(build_strips(steps, active, implement)).geometry)


def _rows_off_between(steps: Steps, implement: Implement) -> Iterator[Suspect]:
    """Rows that the log has off while rows on both sides of them were on."""
    on = steps.active | (steps.blocked > 0)
    left = np.maximum.accumulate(on, axis=1)
    right = np.maximum.accumulate(on[:, ::-1], axis=1)[:, ::-1]
    off = ~on & left & right
    if not off.any():
        return
    strips = build_strips(steps, off, implement)
    swaths = build_swaths(strips)
    rows = np.column_stack([swaths.first_row, swaths.last_row])
    for first, last in np.unique(rows, axis=0):
        mine = (rows == (first, last)).all(axis=1)
        name = f"row {first}" if first == last else f"rows {first}-{last}"
        yield Suspect("blocked rows", f"{name} off in the log", union(swaths.geometry[mine]))


def _silences(steps: Steps, implement: Implement) -> Iterator[Suspect]:
    """Cuts in the log with work on both sides, driven straight on."""
    tool = steps.tool
    cut = np.flatnonzero(~steps.whole[1:-1]) + 1
    cut = cut[steps.working[cut - 1] & steps.working[cut + 1]]
    if not len(cut):
        return
    dx, dy = tool.x_m[cut + 1] - tool.x_m[cut], tool.y_m[cut + 1] - tool.y_m[cut]
    seconds = tool.time_s[cut + 1] - tool.time_s[cut]
    chord = np.arctan2(dy, dx)
    straight = np.ones(len(cut), dtype=bool)
    for knot in (cut, cut + 1):
        apart = np.abs(np.angle(np.exp(1j * (chord - tool.heading_rad[knot]))))
        straight &= apart < _STRAIGHT_ON_RAD
    working = steps.working
    usual = steps.distance_m[working].sum() / steps.duration_s[working].sum()
    speed = np.hypot(dx, dy) / np.maximum(seconds, 1e-9)
    straight &= (speed > _USUAL_SPEED[0] * usual) & (speed < _USUAL_SPEED[1] * usual)
    left, right = tool_ends(tool, cut[straight], implement.width_m)
    left_after, right_after = tool_ends(tool, cut[straight] + 1, implement.width_m)
    quads = shapely.polygons(np.stack([left, right, right_after, left_after], axis=1))
    for quad, s in zip(quads, seconds[straight], strict=True):
        yield Suspect("no log", f"no log for {s:.0f} s", quad)
