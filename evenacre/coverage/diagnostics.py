"""What an audit says beside its figures: how it was worked out, and what looked wrong."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from evenacre.coverage.clean import NEAR_FIELD_M, Fixes
from evenacre.coverage.field_plane import PlaneField
from evenacre.coverage.grids import GridFrame
from evenacre.coverage.smooth import SmoothPath
from evenacre.coverage.steps import Steps
from evenacre.errors import InputError
from evenacre.model import Operation
from evenacre.units.display import in_both

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
    InputError
        When fewer than two positions or no working step are left.
    """
    files = ", ".join(t.source for t in operation.tracks)
    if len(fixes.time_s) < 2:
        raise InputError.at(
            files,
            "",
            f"it holds {'a single' if len(fixes.time_s) else 'no'} usable position, and one drive "
            "needs at least two.",
            "Check that the export is complete and that the position columns are right.",
        )
    if steps.working.any():
        return
    if fixes.counts.get("cuts at jumps", 0) > _JUMPS_SHARE * len(fixes.time_s):
        raise InputError.at(
            files,
            "",
            "the positions jump to and fro from record to record, as if two machines had been in "
            "different places at the same time.",
            "Give each machine's log alone, and check that the column of times is the right one.",
        )
    if not steps.whole.any():
        raise InputError.at(
            files,
            "",
            "the path is cut between all of its records: they lie too far apart in time.",
            "Check the column of times, or allow a longer silence (max_gap, on the command line "
            "--max-gap).",
        )
    raise InputError.at(
        files,
        "",
        "no record shows work: the work state, width, sections or rate is off throughout.",
        "Check which column holds the work state, or map another one "
        "(--column work=NAME or columns in the season file).",
    )


def notes(
    operation: Operation, fixes: Fixes, path: SmoothPath, inferred: tuple[str, ...]
) -> tuple[str, ...]:
    """How the log was read, what was inferred and what was smoothed."""
    if not operation.settings.smooth:
        jitter = "Positions were not smoothed, as asked."
    elif path.x_m is fixes.x_m:
        jitter = "No receiver jitter worth smoothing was found."
    else:
        jitter = (
            f"Receiver jitter of about {path.jitter_m * 100:.1f} cm "
            f"({path.jitter_m / 0.0254:.1f} in) was smoothed along the path."
        )
    logged = (note for track in operation.tracks for note in track.notes)
    return (*operation.notes, *logged, *fixes.notes, *inferred, jitter)


def warnings(
    operation: Operation,
    fixes: Fixes,
    land: PlaneField,
    states: Sequence[str],
    amounts: Sequence[str],
) -> tuple[str, ...]:
    """Everything suspicious that was used all the same, in the order of the work.

    Parameters
    ----------
    operation : Operation
    fixes : Fixes
    land : PlaneField
    states, amounts : sequence of str
        What reading the rows and the products warned of.
    """
    return (
        *operation.warnings,
        *(warning for track in operation.tracks for warning in track.warnings),
        *states,
        *_away_warnings(fixes),
        *_repeat_warnings(fixes),
        *_distance_warnings(operation, fixes),
        *amounts,
        *_boundary_warnings(land),
    )


def coarse(frame: GridFrame) -> list[str]:
    """Warn of rasters whose cells are larger than they would be on any one field."""
    if not frame.coarse:
        return []
    return [
        "The worked ground lies scattered so far apart that the rasters have cells of "
        f"{in_both('length', frame.cell_m)}; what is counted by cells, such as the area within a "
        "tenth of the target, is rough."
    ]


def _away_warnings(fixes: Fixes) -> list[str]:
    away = fixes.counts.get("away from the field", 0)
    if not away:
        return []
    return [
        f"{away:,} of {fixes.counts['read']:,} records lie more than "
        f"{in_both('length', NEAR_FIELD_M)} from the field and were left out: another field or the "
        "road, or a boundary that is too small."
    ]


def _repeat_warnings(fixes: Fixes) -> list[str]:
    repeats, read = fixes.counts.get("exact repeats", 0), fixes.counts["read"]
    if repeats <= _REPEATS_SHARE * read:
        return []
    return [
        f"{repeats:,} of {read:,} records repeat another one exactly and were counted once: the "
        "log may have been exported twice."
    ]


def _distance_warnings(operation: Operation, fixes: Fixes) -> list[str]:
    """Compare the machine's own distance sensor with the positions, record by record."""
    logged = fixes.take(operation.tracks, lambda t: t.distance_m)
    if logged is None:
        return []
    same = fixes.run[1:] == fixes.run[:-1]
    moved = np.hypot(np.diff(fixes.x_m), np.diff(fixes.y_m))
    ok = same & np.isfinite(logged[1:])
    if not moved[ok].sum():
        return []
    ratio = float(logged[1:][ok].sum() / moved[ok].sum())
    if abs(ratio - 1) <= _DISTANCE_TOLERANCE:
        return []
    return [
        f"The logged distance is {ratio:.3f} times the distance between positions; positions "
        "were used. Check the distance sensor's setting or the unit of its column."
    ]


def _boundary_warnings(land: PlaneField) -> list[str]:
    if land.given:
        return []
    return [
        "No boundary was given: one was drawn around the worked ground, so skips at the edge "
        "of the field cannot be judged."
    ]
