"""What an audit says beside its figures: how it was worked out, and what looked wrong."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.clean import NEAR_FIELD_M, Fixes
from evenacre.coverage.field_plane import PlaneField
from evenacre.coverage.grids import GridFrame
from evenacre.coverage.smooth import SmoothPath
from evenacre.coverage.steps import Steps
from evenacre.model import Operation
from evenacre.model.finding import Finding, FindingError, reader_findings

# The distance sensor and the positions should agree about this well.
_DISTANCE_TOLERANCE = 0.03
# A receiver repeats a record now and then; more than this comes of the export.
_REPEATS_SHARE = 0.01
# No drive is left where more of the steps than this are jumps.
_JUMPS_SHARE = 0.5


def require_work(operation: Operation, fixes: Fixes, steps: Steps) -> None:
    """Refuse logs that hold nothing to audit.

    Raises
    ------
    FindingError
        When fewer than two positions or no working step are left.
    """
    if len(fixes.time_s) < 2:
        code = "single_position" if len(fixes.time_s) else "no_position"
    elif steps.working.any():
        return
    elif fixes.counts.get("cuts at jumps", 0) > _JUMPS_SHARE * len(fixes.time_s):
        code = "jumping_positions"
    elif not steps.whole.any():
        code = "path_all_gaps"
    else:
        code = "no_work"
    raise FindingError(code, ", ".join(t.source for t in operation.tracks))


def require_ground(operation: Operation, covered: BaseGeometry) -> None:
    """Refuse a drive that covers no ground.

    Raises
    ------
    FindingError
        When the machine stood still while it worked.
    """
    if not covered.area:
        raise FindingError("no_ground", ", ".join(t.source for t in operation.tracks))


def collect_findings(
    operation: Operation, work: Iterable[Finding], land: PlaneField, frame: GridFrame
) -> tuple[Finding, ...]:
    """Gather what is worth telling, in the order of the work; ``work`` is of the work itself."""
    tracks = operation.tracks
    return (
        *reader_findings(operation.warnings, operation.notes),
        *(finding for track in tracks for finding in reader_findings(track.warnings, track.notes)),
        *work,
        *_ground(land, frame),
    )


def away_finding(counts: Mapping[str, int]) -> Iterator[Finding]:
    """Tell how many records lie away from the field, if some do."""
    if away := counts.get("away from the field", 0):
        read = counts["read"]
        yield Finding.warning("away_from_field", records=away, read=read, limit_m=NEAR_FIELD_M)


def position_findings(operation: Operation, fixes: Fixes, path: SmoothPath) -> Iterator[Finding]:
    """Tell what positions were dropped, doubted and smoothed."""
    read = fixes.counts["read"]
    yield from away_finding(fixes.counts)
    repeats = fixes.counts.get("exact repeats", 0)
    if repeats > _REPEATS_SHARE * read:
        yield Finding.warning("repeated_records", records=repeats, read=read)
    ratio = _distance_ratio(operation, fixes)
    if abs(ratio - 1) > _DISTANCE_TOLERANCE:
        yield Finding.warning("distance_disagrees", ratio=ratio)
    if not operation.settings.smooth:
        yield Finding.note("not_smoothed")
    elif path.x_m is fixes.x_m:
        yield Finding.note("no_jitter")
    else:
        yield Finding.note("jitter_smoothed", jitter_m=path.jitter_m)


def _distance_ratio(operation: Operation, fixes: Fixes) -> float:
    """The machine's own distance to that between the positions, over records that tell both.

    1 where there are none.
    """
    logged = fixes.take(operation.tracks, lambda t: t.distance_m)
    if logged is None:
        return 1.0
    moved = np.hypot(np.diff(fixes.x_m), np.diff(fixes.y_m))
    ok = (fixes.run[1:] == fixes.run[:-1]) & np.isfinite(logged[1:])
    if not moved[ok].sum():
        return 1.0
    return float(logged[1:][ok].sum() / moved[ok].sum())


def _ground(land: PlaneField, frame: GridFrame) -> Iterator[Finding]:
    if frame.cropped:
        yield Finding.note("cropped_cells", cell_m=frame.cell_m)
    if frame.coarse:
        yield Finding.warning("coarse_cells", cell_m=frame.cell_m)
    elif frame.grown:
        yield Finding.note("grown_cells", cell_m=frame.cell_m)
    if not land.given:
        yield Finding.warning("boundary_drawn")
