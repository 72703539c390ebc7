"""A planned drive, driven exactly: the log a perfect machine would keep of it."""

from __future__ import annotations

import numpy as np
import shapely
from jobs import Floats

from evenacre.model import Field, Implement, Operation, Track
from evenacre.planning.passes.nouns import PassPlan

_HZ = 5.0


def driven(plan: PassPlan, field: Field) -> Operation:
    """The plan as a logged operation: down on every pass, lifted in every turn.

    The state of the tool changes midway between two records, so records lie half a step to
    either side of where a pass begins and ends.
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
        count = max(int(np.ceil(planned.line.length / drive.speed_mps * _HZ)), 1)
        step = planned.line.length / count
        add(_beyond(planned.line, -step / 2), step / drive.speed_mps, False)
        middles = shapely.line_interpolate_point(planned.line, (np.arange(count) + 0.5) * step)
        add(shapely.get_coordinates(middles), step / drive.speed_mps, True)
        add(_beyond(planned.line.reverse(), -step / 2), step / drive.speed_mps, False)
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


def _beyond(line: shapely.LineString, at: float) -> Floats:
    """A point before the line's start, straight behind it."""
    first, second = np.array(line.coords[:2])
    ahead = (second - first) / np.hypot(*(second - first))
    return (first + at * ahead)[None, :]


def _along(line: shapely.LineString, step: float) -> Floats:
    """Points along a line, its ends left out."""
    at = np.arange(step, max(line.length - step / 2, step), step)
    return shapely.get_coordinates(shapely.line_interpolate_point(line, at))
