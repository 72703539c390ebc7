"""Steps of a tool line laid through places by hand."""

import numpy as np
from jobs import Bools, Floats

from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.steps import Steps
from evenacre.model import Implement
from evenacre.model.audit_result import ToolPath

TOOL = Implement(width_m=8.0, rows=16, rows_known=True)


def steps_of(
    x: Floats,
    y: Floats,
    heading: Floats,
    active: Bools | None = None,
    *,
    off: tuple[int, ...] = (),
) -> Steps:
    """A tool line through given places, a second apart, some rows (from 0) off throughout."""
    count = len(x) - 1
    active = np.ones((count, TOOL.rows), dtype=bool) if active is None else active
    active[:, list(off)] = False
    return Steps(
        ToolPath(np.arange(count + 1.0), x, y, heading),
        np.ones(count, dtype=bool),
        RowPatterns.of(active.astype(np.int64)),
        np.arange(count),
        np.hypot(np.diff(x), np.diff(y)),
        np.ones(count),
    )
