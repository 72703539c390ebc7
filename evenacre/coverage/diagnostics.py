"""What an audit says beside its figures: how it was worked out, and what looked wrong."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import chain

import numpy as np
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.clean import NEAR_FIELD_M, Fixes, left_out
from evenacre.coverage.field_plane import PlaneField
from evenacre.coverage.grids import GridFrame
from evenacre.coverage.legs import Legs
from evenacre.coverage.steps import Steps
from evenacre.model import Implement, Operation
from evenacre.model.finding import Finding, FindingError, reader_findings

# The distance sensor and the positions should agree about this well.
_DISTANCE_TOLERANCE = 0.03
# More than this of the records or of the way is worth a warning before all others, and so is
# ground that differs by more than the next from what width and distance of the records make.
_LOST_SHARE, _UNLIKE_SHARE = 0.05, 0.1
# What is left out without loss, or told by a finding of its own.
_NOT_LOST = ("read", "used", "exact repeats", "away from the field", "not worked")
# Where records lie further apart, a half turn or a headland passes between two of them.
_SPARSE_M = 20.0
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
    operation: Operation,
    first: Iterable[Finding],
    work: Iterable[Finding],
    land: PlaneField,
    frame: GridFrame,
) -> tuple[Finding, ...]:
    """Gather what is worth telling, in the order of the work.

    ``first`` and ``work`` are of the work itself: what throws doubt on all of it, and the rest.
    """
    tracks = operation.tracks
    said = [reader_findings(track.warnings, track.notes) for track in tracks]
    read = [*reader_findings(operation.warnings, operation.notes), *chain.from_iterable(said)]
    return (
        *first,
        # What holds for several logs is said once.
        *{(f.severity, f.values["text"]): f for f in read}.values(),
        *work,
        *_ground(land, frame),
    )


def loss_findings(fixes: Fixes) -> Iterator[Finding]:
    """Warn of much that did not come to be ground, with the cause of most of it."""
    if records := _much(left_out(fixes.counts), fixes.counts):
        cause, lost, read = records
        yield Finding.warning("records_lost", lost=int(lost), read=int(read), cause=cause)
    if way := _much(fixes.metres, fixes.metres):
        cause, lost_m, way_m = way
        yield Finding.warning("way_lost", lost_m=lost_m, way_m=way_m, cause=cause)


def _much(
    parts: Mapping[str, float], balance: Mapping[str, float]
) -> tuple[str, float, float] | None:
    """Chief cause, what was lost and what was there near the field; None where it is little."""
    lost = {c: some for c, some in parts.items() if c not in _NOT_LOST}
    whole = balance["read"] - balance.get("away from the field", 0)
    if sum(lost.values()) <= _LOST_SHARE * whole:
        return None
    return max(lost, key=lost.__getitem__), sum(lost.values()), whole


def unlike_findings(legs: Legs, implement: Implement) -> Iterator[Finding]:
    """Warn where the ground swept is not what width and distance of the records make."""
    steps = legs.steps
    width = legs.fixes.take(legs.tracks, lambda t: t.width_m)
    distance = legs.fixes.take(legs.tracks, lambda t: t.distance_m)
    if width is None or distance is None:
        return
    rows = steps.on.count
    swept_m2 = float(rows @ steps.distance_m) * implement.row_spacing_m
    told_m2 = float(np.nansum(width * distance))
    if abs(swept_m2 - told_m2) > _UNLIKE_SHARE * told_m2:
        yield Finding.warning("unlike_the_records", swept_m2=swept_m2, told_m2=told_m2)


def away_finding(counts: Mapping[str, int]) -> Iterator[Finding]:
    """Tell how many records lie away from the field, if some do."""
    if away := counts.get("away from the field", 0):
        read = counts["read"]
        yield Finding.warning("away_from_field", records=away, read=read, limit_m=NEAR_FIELD_M)


def position_findings(operation: Operation, legs: Legs) -> Iterator[Finding]:
    """Tell what positions were dropped, doubted and smoothed."""
    fixes = legs.fixes
    read = fixes.counts["read"]
    yield from away_finding(fixes.counts)
    repeats = fixes.counts.get("exact repeats", 0)
    if repeats > _REPEATS_SHARE * read:
        yield Finding.warning("repeated_records", records=repeats, read=read)
    step_m, step_s = np.hypot(np.diff(fixes.x_m), np.diff(fixes.y_m)), np.diff(fixes.time_s)
    timed = all(track.timed for track in legs.tracks)
    driven = (np.diff(fixes.run) == 0) & (step_m > 0)
    if timed and driven.any() and (apart_m := float(np.median(step_m[driven]))) > _SPARSE_M:
        interval_s = float(np.median(step_s[driven]))
        yield Finding.warning("sparse_records", interval_s=interval_s, apart_m=apart_m)
    ratio = _distance_ratio(legs)
    if abs(ratio - 1) > _DISTANCE_TOLERANCE:
        yield Finding.warning("distance_disagrees", ratio=ratio)
    if not operation.settings.smooth:
        yield Finding.note("not_smoothed")
    elif not legs.smoothed:
        yield Finding.note("no_jitter")
    else:
        yield Finding.note("jitter_smoothed", jitter_m=legs.jitter_m)


def _distance_ratio(legs: Legs) -> float:
    """The machine's own distance to that between the positions, over records that tell both.

    1 where there are none.
    """
    fixes = legs.fixes
    logged = fixes.take(legs.tracks, lambda t: t.distance_m)
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
