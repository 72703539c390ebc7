"""How far apart passes lie, by the positions of a drive alone."""

from __future__ import annotations

import numpy as np

from evenacre.arrays import FloatArray

_SAMPLE = 400
_THIN_M, _REACH_M, _PARALLEL, _LEAST_WIDTH_M = 2.0, 45.0, 0.98, 1.0
_LONGEST_M, _CROWD = 3e5, 5000  # a drive on one field; positions about one place


def pass_spacing_m(x_m: FloatArray, y_m: FloatArray) -> float | None:
    """How far apart neighbouring passes lie, for the most part; None where there are too few.

    Parameters
    ----------
    x_m, y_m : (n,) float
        Positions in the order of the drive, in the plane.
    """
    xy = np.column_stack([x_m, y_m])
    along = np.cumsum(np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T))
    if not len(along) or along[-1] > _LONGEST_M:
        return None
    at = np.unique(np.searchsorted(along, np.arange(0.0, along[-1], _THIN_M)))
    xy, along = xy[at], along[at]
    if len(xy) < _SAMPLE:
        return None
    move = np.gradient(xy, axis=0)
    ahead = move / np.maximum(np.hypot(*move.T), 1e-9)[:, None]
    some = np.unique(np.linspace(0, len(xy) - 1, _SAMPLE).astype(int))
    from scipy.spatial import KDTree  # slow to load, and few logs ask for it

    tree = KDTree(xy)
    some = some[tree.query_ball_point(xy[some], _REACH_M, return_length=True) < _CROWD]
    found = []
    for i, near in zip(some, tree.query_ball_point(xy[some], _REACH_M), strict=True):
        others = np.array(near)
        others = others[np.abs(along[others] - along[i]) > 2 * _REACH_M]
        off = xy[others] - xy[i]
        beside = np.abs(off[:, 0] * ahead[i, 1] - off[:, 1] * ahead[i, 0])
        alike = np.abs(ahead[others] @ ahead[i]) > _PARALLEL
        beside = beside[alike & (np.abs(off @ ahead[i]) < _THIN_M) & (beside > _LEAST_WIDTH_M)]
        if len(beside):
            found.append(float(beside.min()))
    return float(np.median(found)) if len(found) > _SAMPLE / 2 else None
