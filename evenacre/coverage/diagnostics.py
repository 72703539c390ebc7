"""What an audit says beside its figures: how it was worked out, and what looked wrong."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from evenacre.coverage.clean import NEAR_FIELD_M, Fixes
from evenacre.coverage.drive import Drive
from evenacre.coverage.field_plane import PlaneField
from evenacre.coverage.grids import GridFrame
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


def collect_findings(
    operation: Operation,
    drive: Drive,
    land: PlaneField,
    frame: GridFrame,
    amounts: Iterable[Finding],
) -> tuple[Finding, ...]:
    """Gather what is worth telling, in the order of the work.

    ``amounts`` are those of reading the products.
    """
    tracks = operation.tracks
    said = (f for track in tracks for f in reader_findings(track.warnings, track.notes))
    return (
        *drive.findings,
        *reader_findings(operation.warnings, operation.notes),
        *(said if len(tracks) == 1 else dict.fromkeys(said)),
        *drive.fixes.findings,
        *drive.states,
        *_positions(operation, drive),
        *amounts,
        *_ground(land, frame),
    )


def _positions(operation: Operation, drive: Drive) -> Iterator[Finding]:
    fixes = drive.fixes
    read = fixes.counts["read"]
    if away := fixes.counts.get("away from the field", 0):
        yield Finding.warning("away_from_field", records=away, read=read, limit_m=NEAR_FIELD_M)
    repeats = fixes.counts.get("exact repeats", 0)
    if repeats > _REPEATS_SHARE * read:
        yield Finding.warning("repeated_records", records=repeats, read=read)
    ratio = _distance_ratio(drive)
    if abs(ratio - 1) > _DISTANCE_TOLERANCE:
        yield Finding.warning("distance_disagrees", ratio=ratio)
    if not operation.settings.smooth:
        yield Finding.note("not_smoothed")
    elif not drive.smoothed:
        yield Finding.note("no_jitter")
    else:
        yield Finding.note("jitter_smoothed", jitter_m=drive.jitter_m)


def _distance_ratio(drive: Drive) -> float:
    """The machine's own distance to that between the positions, over records that tell both.

    1 where there are none.
    """
    fixes = drive.fixes
    logged = fixes.take(drive.tracks, lambda t: t.distance_m)
    if logged is None:
        return 1.0
    moved = np.hypot(np.diff(fixes.x_m), np.diff(fixes.y_m))
    ok = (fixes.run[1:] == fixes.run[:-1]) & np.isfinite(logged[1:])
    if not moved[ok].sum():
        return 1.0
    return float(logged[1:][ok].sum() / moved[ok].sum())


def _ground(land: PlaneField, frame: GridFrame) -> Iterator[Finding]:
    if frame.coarse:
        yield Finding.warning("coarse_cells", cell_m=frame.cell_m)
    if not land.given:
        yield Finding.warning("boundary_drawn")
