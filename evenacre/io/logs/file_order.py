"""Points without times: the order of the file is the drive, where it can be one."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.common.findings import Findings
from evenacre.io.logs.columns.clock import Clock
from evenacre.io.tables.record_table import RecordTable
from evenacre.model import FloatArray

_SPEED_MPS = 2.0
# From one point of a drive to the next it is hardly farther than to the nearest.
_MOST_TIMES_NEAREST = 5.0
_MOST_BACK = 0.2  # share of steps that lead back: a machine turns far less often
_PAUSE_S = 600.0  # for a way between two parts of a drive that no point tells of
_FEWEST = 20  # places that make a drive; fewer may be anything
_LOOKED_AT = 5_000


def file_order_clock(
    table: RecordTable, lon: FloatArray, lat: FloatArray, findings: Findings
) -> Clock:
    """Give n points times in the order of the file, at a speed that is nobody's.

    Parameters
    ----------
    lon, lat : (n,) float
        Degrees, NaN where there is no fix.

    Raises
    ------
    InputError
        When the points do not follow one another as those of a drive do.
    """
    known = np.isfinite(lon) & np.isfinite(lat)
    plane = WorkingPlane(float(np.median(lon[known])), float(np.median(lat[known])))
    xy = np.column_stack(plane.xy(lon[known], lat[known]))
    steps = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)
    typical, nearest, back = _shape(xy[np.append(True, steps[1:] > 0)])
    if not typical or typical > _MOST_TIMES_NEAREST * nearest or back > _MOST_BACK:
        what = f"its {known.sum():,} records have no times: no column of times was found among "
        what += f"{table.listing}."
        if typical:
            what += (
                f" Nor are they in the order of a drive: {back:.0%} of the steps from one to the "
                f"next turn back, and they are mostly {typical:,.1f} m, where the nearest point is "
                f"{nearest:.1f} m off."
            )
        raise table.error(
            "",
            what,
            "Export the log again with its times (a column of date and time), or in the order it "
            "was driven; if a column is the time after all, name it with --column time=COLUMN.",
        )
    findings.warn(
        f"{table.file}: it holds no times. The points follow one another like a drive, so the "
        f"order of the file and {_SPEED_MPS:g} m/s are assumed; times and speeds are not known."
    )
    apart = steps > 10 * max(typical, nearest)
    seconds = np.zeros(len(lon))
    seconds[known] = np.where(apart, _PAUSE_S, np.maximum(steps / _SPEED_MPS, 1e-3))
    return Clock(np.cumsum(seconds), dated=False, assumed=True)


def _shape(xy: FloatArray) -> tuple[float, float, float]:
    """Median step and median distance to the nearest place (m), and the share of steps back."""
    steps = np.diff(xy, axis=0)
    places = np.unique(xy, axis=0)
    if len(places) < _FEWEST:
        return 0.0, 0.0, 0.0
    looked_at = places[:: len(places) // _LOOKED_AT + 1]
    nearest = cKDTree(places).query(looked_at, k=2)[0][:, 1]
    back = (steps[1:] * steps[:-1]).sum(axis=1) < 0
    return float(np.median(np.hypot(*steps.T))), float(np.median(nearest)), float(back.mean())
