"""Passes: continuous working runs, one row of the table each."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from evenacre.arrays import expand
from evenacre.coverage.steps import Steps, tool_ends
from evenacre.coverage.swath import Swaths
from evenacre.geo.overlay import along, simplified
from evenacre.model import Implement, IntArray

# A pass belongs to the headland when this share of its length runs inside the band.
_HEADLAND_SHARE = 0.6
# A lift shorter than this does not end a pass.
_LIFT_S = 2.0


def number_passes(steps: Steps) -> IntArray:
    """Pass number (from 1) of every step; 0 where the tool was not working.

    A pass ends where the tool is lifted for two seconds or more or the log is cut.
    """
    working = steps.working
    index = np.flatnonzero(working)
    number = np.zeros(len(working), dtype=np.int64)
    if not len(index):
        return number
    time = steps.tool.time_s
    lifted = time[index[1:]] - time[index[:-1] + 1] >= _LIFT_S
    cuts = np.cumsum(~steps.whole)
    lifted |= cuts[index[1:]] != cuts[index[:-1]]
    number[index] = np.concatenate([[1], 1 + np.cumsum(lifted)])
    return number


def pass_table(
    steps: Steps, number: IntArray, swaths: Swaths, headland: BaseGeometry, crs: CRS
) -> gpd.GeoDataFrame:
    """One row per pass; ``number`` is of `number_passes`, ``headland`` the band.

    Returns
    -------
    GeoDataFrame
        pass, start_s, end_s, length_m, area_m2, mean_speed_mps, heading_deg (clockwise from
        the plane's north), headland, geometry (path of the tool-line centre).
    """
    tool = steps.tool
    index = np.flatnonzero(number)
    first, last = first_and_last(number)
    length = np.bincount(number[index], steps.distance_m[index])[1:]
    duration = np.bincount(number[index], steps.duration_s[index])[1:]
    middle = (tool.heading_rad[index] + tool.heading_rad[index + 1]) / 2
    east = np.bincount(number[index], np.cos(middle) * steps.distance_m[index])[1:]
    north = np.bincount(number[index], np.sin(middle) * steps.distance_m[index])[1:]
    # A pass that gains no ground has no swath.
    swept = np.bincount(
        number[swaths.first_step], shapely.area(swaths.geometry), minlength=len(first) + 1
    )[1:]
    paths = _paths(steps, first, last)
    inside = shapely.length(along(paths, headland))
    return gpd.GeoDataFrame(
        {
            "pass": np.arange(1, len(first) + 1),
            "start_s": tool.time_s[first],
            "end_s": tool.time_s[last + 1],
            "length_m": length,
            "area_m2": swept,
            "mean_speed_mps": np.divide(length, duration, where=duration > 0, out=0 * length),
            "heading_deg": np.degrees(np.arctan2(east, north)) % 360.0,
            "headland": inside > _HEADLAND_SHARE * shapely.length(paths),
        },
        geometry=paths,
        crs=crs,
    )


def no_passes(crs: CRS) -> gpd.GeoDataFrame:
    """Table of passes without a row."""
    numbers = ("start_s", "end_s", "length_m", "area_m2", "mean_speed_mps", "heading_deg")
    columns = {"pass": np.zeros(0, dtype=np.int64)} | {name: np.zeros(0) for name in numbers}
    return gpd.GeoDataFrame({**columns, "headland": np.zeros(0, dtype=bool)}, geometry=[], crs=crs)


def first_and_last(number: IntArray) -> tuple[IntArray, IntArray]:
    """First and last step of each pass."""
    index = np.flatnonzero(number)
    new = np.flatnonzero(np.diff(number[index], prepend=0))
    return index[new], index[np.append(new[1:], len(index)) - 1]


def _paths(steps: Steps, first: IntArray, last: IntArray) -> np.ndarray:
    """Line of each pass, straight stretches thinned to a centimetre."""
    owner, offset = expand(last + 2 - first)
    at = first[owner] + offset
    points = np.column_stack([steps.tool.x_m[at], steps.tool.y_m[at]])
    return simplified(shapely.linestrings(points, indices=owner), 0.01)


def pass_ends(steps: Steps, number: IntArray, implement: Implement) -> shapely.Geometry:
    """Tool lines where passes start and stop."""
    first, last = first_and_last(number)
    knot = np.concatenate([first, last + 1])
    ends = tool_ends(steps.tool, knot, implement.width_m)
    return shapely.multilinestrings(shapely.linestrings(np.stack(ends, axis=1)))
