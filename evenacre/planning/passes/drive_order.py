"""The order in which passes are driven, and their directions."""

from __future__ import annotations

import numpy as np

from evenacre.model import FloatArray
from evenacre.planning.passes.pass_types import PlannedPass


def driven_in_order(passes: list[PlannedPass], start: FloatArray) -> list[PlannedPass]:
    """Put passes in order: from where one ends to the nearest end of one still to be driven.

    Parameters
    ----------
    passes : list of PlannedPass
        May be driven either way.
    start : (2,) float
        Where the machine is.
    """
    if not passes:
        return []
    ends = np.array([[p.line.coords[0], p.line.coords[-1]] for p in passes])
    left = np.ones(len(passes), dtype=bool)
    here, out = start, []
    for _ in passes:
        away = np.hypot(*np.moveaxis(ends - here, 2, 0))
        away[~left] = np.inf
        which, end = divmod(int(np.argmin(away)), 2)
        left[which] = False
        chosen = passes[which]
        line = chosen.line.reverse() if end else chosen.line
        out.append(PlannedPass(chosen.kind, chosen.number, line))
        here = ends[which, 1 - end]
    return out


def poses(passes: list[PlannedPass]) -> tuple[FloatArray, FloatArray]:
    """Where each pass begins and ends, and the headings there, shape (n, 3) each."""
    begin, finish = [], []
    for planned in passes:
        xy = np.array(planned.line.coords)
        begin.append([*xy[0], np.arctan2(*(xy[1] - xy[0])[::-1])])
        finish.append([*xy[-1], np.arctan2(*(xy[-1] - xy[-2])[::-1])])
    return np.array(begin).reshape(-1, 3), np.array(finish).reshape(-1, 3)
