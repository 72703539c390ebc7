"""Points without times: the order of the file is the drive, or else they lie along its passes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from evenacre.errors import InputError
from evenacre.geo.geodesy import ShapeArray
from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.common.findings import Findings
from evenacre.io.logs.columns.clock import Clock
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr
from evenacre.model import FloatArray

if TYPE_CHECKING:
    from scipy.spatial import KDTree

_SPEED_MPS = 2.0
# From one point of a drive to the next it is hardly farther than to the nearest.
_MOST_TIMES_NEAREST = 5.0
_MOST_BACK = 0.2  # share of steps that lead back: a machine turns far less often
_PAUSE_S = 600.0  # for a way between two parts of a drive that no point tells of
_FEWEST = 20  # places that make a drive; fewer may be anything
_LOOKED_AT = 5_000
_NEIGHBOURS = 8
_STRAIGHT = np.cos(np.radians(30.0))  # a way bends less than this from one place to the next
_LONGEST_LINK = 3.0  # times the usual step: longer ones lead from one pass to another
_BESIDE = 0.5  # cosine to the way: what lies beside it, not along it
_ABOUT_AS_NEAR = 1.5  # places beside the way that are so near make a grid, not lines
_IN_LINES = 0.9  # share of places that has to lie in lines


def order_of_file(
    table: RecordTable, lon: FloatArray, lat: FloatArray, findings: Findings
) -> tuple[Clock, ShapeArray | None]:
    """Give n points times in the order of the file, or ground where they are in no such order.

    Parameters
    ----------
    lon, lat : (n,) float
        Degrees, NaN where there is no fix.

    Returns
    -------
    Clock
        At a speed that is nobody's; all zeros where there is ground.
    (n,) array of geometry or None
        A line in degrees for each point: its part of the pass it lies on; empty where it lies on
        none.

    Raises
    ------
    InputError
        When the points neither follow one another as those of a drive do nor lie in lines.
    """
    known = np.isfinite(lon) & np.isfinite(lat)
    plane = WorkingPlane(float(np.median(lon[known])), float(np.median(lat[known])))
    xy = np.column_stack(plane.xy(lon[known], lat[known]))
    steps = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)
    typical, nearest, back = _shape(xy[np.append(True, steps[1:] > 0)])
    if not typical or typical > _MOST_TIMES_NEAREST * nearest or back > _MOST_BACK:
        corners = _along_lines(xy, nearest) if typical else None
        if corners is None:
            raise _no_order(table, int(known.sum()), typical, nearest, back)
        on_line = np.isfinite(corners).all(axis=(1, 2))
        degrees = np.stack(plane.lonlat(*corners[on_line].reshape(-1, 2).T), axis=-1)
        ground = np.full(len(lon), shapely.LineString(), dtype=object)
        ground[np.flatnonzero(known)[on_line]] = shapely.linestrings(degrees.reshape(-1, 3, 2))
        findings.warn(
            tr(
                "{file}: it holds no times, and its points are not in the order they were "
                "driven. They lie in lines, mostly {nearest:.1f} m from one to the next, so "
                "each is taken as ground as wide as the tool, half way to its neighbours on "
                "the line. Passes, times and speeds are not known. If a column is the time "
                "after all, name it with --column time=COLUMN.",
                file=table.file,
                nearest=nearest,
            )
        )
        return Clock(np.zeros(len(lon)), dated=False, assumed=True), ground
    findings.warn(
        tr(
            "{file}: it holds no times. The points follow one another like a drive, so the "
            "order of the file and {speed:g} m/s are assumed; times and speeds are not known.",
            file=table.file,
            speed=_SPEED_MPS,
        )
    )
    apart = steps > 10 * max(typical, nearest)
    seconds = np.zeros(len(lon))
    seconds[known] = np.where(apart, _PAUSE_S, np.maximum(steps / _SPEED_MPS, 1e-3))
    return Clock(np.cumsum(seconds), dated=False, assumed=True), None


def _no_order(
    table: RecordTable, count: int, typical: float, nearest: float, back: float
) -> InputError:
    what = tr(
        "its {count:,} records have no times: no column of times was found among ", count=count
    )
    what += f"{table.listing}."
    if typical:
        what += tr(
            " Nor are they in the order of a drive: {back:.0%} of the steps from one to "
            "the next turn back, and they are mostly {typical:,.1f} m, where the nearest "
            "point is {nearest:.1f} m off; and they do not lie in lines, as points along "
            "passes do.",
            back=back,
            typical=typical,
            nearest=nearest,
        )
    return table.error(
        "",
        what,
        tr(
            "Export the log again with its times (a column of date and time), or in the "
            "order it was driven; if a column is the time after all, name it with --column "
            "time=COLUMN."
        ),
    )


def _along_lines(xy: FloatArray, step_m: float) -> FloatArray | None:
    """Find for each point the part of its pass that is nearer to it than to the points beside it.

    Each looks among its nearest neighbours for the two that lie most nearly, and nearest, on
    either side of it. At the end of a line there is one; the line then ends half a step beyond.

    Returns
    -------
    (n, 3, 2) float or None
        Where it begins, the point, and where it ends; NaN for points that lie on no line. None
        where the points do not lie in lines.
    """
    places, own = np.unique(xy, axis=0, return_inverse=True)
    far, near = _tree(places).query(places, k=min(_NEIGHBOURS + 1, len(places)))
    far, way = far[:, 1:], places[near[:, 1:]] - places[:, None]
    toward = way / far[..., None]
    sides = far[:, :, None], far[:, None, :]
    both = sides[0] + sides[1]
    opposite = np.einsum("nik,njk->nij", toward, toward) < -_STRAIGHT
    longest = _LONGEST_LINK * step_m
    # One of the two is about the nearest: at the end of a line the next passes lie on both sides.
    beyond, within = np.maximum(*sides), np.minimum(*sides)
    usable = opposite & (beyond <= longest) & (within <= _ABOUT_AS_NEAR * far[:, :1, None])
    both = np.where(usable, both, np.inf).reshape(len(places), -1)
    row = np.arange(len(places))
    ahead, behind = np.divmod(both.argmin(axis=1), far.shape[1])
    paired = np.isfinite(both.min(axis=1))
    ahead[~paired] = 0  # the nearest
    on = toward[row, ahead]
    beside = np.abs(np.einsum("nik,nk->ni", toward, on)) < _BESIDE
    close = (beside & (far < _ABOUT_AS_NEAR * far[row, ahead][:, None])).any(axis=1)
    if (paired & ~close).mean() < _IN_LINES:
        return None
    after = way[row, ahead]
    before = np.where(paired[:, None], way[row, behind], -on * step_m)
    corners = np.stack([places + before / 2, places, places + after / 2], axis=1)
    corners[~paired & (far[:, 0] > longest)] = np.nan
    return np.asarray(corners[own.reshape(-1)])


def _shape(xy: FloatArray) -> tuple[float, float, float]:
    """Median step and median distance to the nearest place (m), and the share of steps back."""
    steps = np.diff(xy, axis=0)
    places = np.unique(xy, axis=0)
    if len(places) < _FEWEST:
        return 0.0, 0.0, 0.0
    looked_at = places[:: len(places) // _LOOKED_AT + 1]
    nearest = _tree(places).query(looked_at, k=2)[0][:, 1]
    back = (steps[1:] * steps[:-1]).sum(axis=1) < 0
    return float(np.median(np.hypot(*steps.T))), float(np.median(nearest)), float(back.mean())


def _tree(places: FloatArray) -> KDTree:
    from scipy.spatial import KDTree  # slow to load, and logs in order of time need none

    return KDTree(places)
