"""A planned drive, driven exactly: the log a perfect machine would keep of it."""

from __future__ import annotations

import numpy as np
import shapely
from jobs import Floats

from evenacre.model import Field, Implement, Operation, Track
from evenacre.planning.passes.pass_types import PassPlan

_HZ = 5.0
# From where the tool is let down or lifted to the records beside it.
_SWITCH_M = 0.05


def driven(plan: PassPlan, field: Field) -> Operation:
    """The plan as a logged operation: down on every pass, lifted in every turn.

    The state of the tool changes midway between two records, so where a pass begins and ends
    there is one just before and one just after, and one more to tell the heading by.
    """
    drive = plan.drive
    xy: list[Floats] = []
    seconds: list[Floats] = []
    down: list[bool] = []

    def add(points: Floats, step_s: float, working: bool) -> None:
        xy.append(points)
        seconds.append(np.full(len(points), step_s))
        down.extend([working] * len(points))

    for number, planned in enumerate(plan.passes):
        length = planned.line.length
        count = max(int(np.ceil(length / drive.speed_mps * _HZ)), 1)
        inside = np.linspace(_SWITCH_M, length - _SWITCH_M, count + 1)
        points = shapely.get_coordinates(shapely.line_interpolate_point(planned.line, inside))
        add(_beyond(planned.line), _SWITCH_M / drive.speed_mps, False)
        add(points[:1], 2 * _SWITCH_M / drive.speed_mps, True)
        add(points[1:], (length - 2 * _SWITCH_M) / count / drive.speed_mps, True)
        add(_beyond(planned.line.reverse())[::-1], 2 * _SWITCH_M / drive.speed_mps, False)
        if number < len(plan.turns):
            add(_along(plan.turns[number], drive.turn_speed_mps / _HZ), 1 / _HZ, False)
    x, y = np.concatenate(xy).T
    lon, lat = plan.plane.lonlat(x, y)
    track = Track(
        source="driven.csv",
        time_s=1_786_000_000.0 + np.cumsum(np.concatenate(seconds)),
        lon=lon,
        lat=lat,
        working=np.array(down),
    )
    tool = Implement(width_m=drive.width_m, rows=32, rows_known=True)
    return Operation(name="Interseeding", field=field, implement=tool, tracks=(track,))


def _beyond(line: shapely.LineString) -> Floats:
    """Two points just before the line's start, straight behind it."""
    first, second = np.array(line.coords[:2])
    ahead = (second - first) / np.hypot(*(second - first))
    return first - _SWITCH_M * np.outer([3.0, 1.0], ahead)


def _along(line: shapely.LineString, step: float) -> Floats:
    """Points along a line, its ends left out."""
    at = np.arange(step, max(line.length - step / 2, step), step)
    return shapely.get_coordinates(shapely.line_interpolate_point(line, at))
