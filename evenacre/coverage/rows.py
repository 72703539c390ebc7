"""Which rows were placing at each record, logged or inferred."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenacre.coverage.clean import Fixes
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.model import BoolArray, FloatArray, Implement, Track
from evenacre.model.finding import Finding

# Rows no wider than this when the implement's rows are not known (about 10 in).
_ROW_M = 0.25
# Sections that differ by more than this in width get rows in proportion: a few each, as many as
# put every edge within this of a row.
_UNEVEN, _WHOLE_ROW = 0.05, 0.02
_ROWS_A_SECTION = np.arange(1, 13)
# Widths that differ by more than this are not the same.
_SAME_WIDTH = 0.02
# A record this close to full width has every row on.
_FULL_WIDTH = 0.98


@dataclass(frozen=True)
class RowStates:
    """Rows on at each fix, and how that was told.

    ``by_speed``: of some fixes nothing but the speed tells it.
    """

    on: RowPatterns
    by_speed: bool
    findings: tuple[Finding, ...]


def with_rows(implement: Implement, tracks: Sequence[Track]) -> Implement:
    """Choose rows for the arithmetic when the implement does not state them.

    Rows then divide every logged section evenly, unless sections of different width are stated.
    """
    if implement.section_rows:
        return implement
    sections = max((t.sections.shape[1] for t in tracks if t.sections is not None), default=1)
    per_section = max(1, round(implement.width_m / sections / _ROW_M))
    edges = _section_edges(tracks)
    if edges is not None:
        counts = np.array([implement.rows]) if implement.rows_known else _ROWS_A_SECTION * sections
        off = np.array([np.abs(edges * n - np.rint(edges * n)).max() for n in counts])
        rows = int(counts[int(np.argmax(off <= max(off.min(), _WHOLE_ROW)))])
        bounds = np.rint(edges * rows).astype(int)
        return replace(implement, rows=rows, section_rows=tuple(np.diff(bounds).tolist()))
    if implement.rows_known:
        return implement
    return replace(implement, rows=sections * per_section)


def _section_edges(tracks: Sequence[Track]) -> FloatArray | None:
    """Edges of sections of different widths, as shares of the tool's width from the left."""
    for track in tracks:
        width = np.array(track.section_widths_m)
        if len(width) and np.ptp(width) > _UNEVEN * width.mean():
            return np.concatenate([[0.0], np.cumsum(width)]) / width.sum()
    return None


def section_bounds(implement: Implement, sections: int) -> list[int]:
    """First row (from 0) of each section, and the row count at the end."""
    if len(implement.section_rows) == sections:
        return [0, *np.cumsum(implement.section_rows).tolist()]
    return np.rint(np.linspace(0, implement.rows, sections + 1)).astype(int).tolist()


def row_states(
    fixes: Fixes,
    tracks: Sequence[Track],
    implement: Implement,
    speed_mps: FloatArray,
    turn_radius_m: FloatArray,
) -> RowStates:
    """Read the rows that were on from whatever the log tells, and say how.

    In order of trust: section or row states, the work state, the width of each record, a rate
    or flow above zero, and last a steady speed without turning on the spot.

    Parameters
    ----------
    implement : Implement
        With rows chosen (`with_rows`).
    speed_mps, turn_radius_m : (n,) float
        From the positions.
    """
    # All rows off, then those of each track; and which of these moments each fix is.
    parts = [RowPatterns.of(np.zeros((1, implement.rows), dtype=bool))]
    place, taken = np.zeros(len(fixes.time_s), dtype=np.int64), 1
    by_speed = False
    findings: list[Finding] = []
    for i, track in enumerate(tracks):
        mine = np.flatnonzero(fixes.track == i)
        if not len(mine):
            continue
        record = fixes.record[mine]
        on = np.ones(len(mine), dtype=bool)
        rows = RowPatterns.of(np.ones((1, implement.rows), dtype=bool)).at(np.zeros(len(mine), int))
        told = False
        if track.sections is not None:
            bounds = section_bounds(implement, track.sections.shape[1])
            sections = RowPatterns.of(track.sections[record])
            rows = RowPatterns.numbered(
                sections.number, np.repeat(sections.pattern, np.diff(bounds), axis=1)
            )
            told = True
        if track.working is not None:
            on &= track.working[record]
            told = True
        if track.width_m is not None:
            # An empty width says nothing against a work or section state that says on.
            width = np.nan_to_num(track.width_m[record], nan=implement.width_m if told else 0.0)
            if track.sections is None:
                rows = _rows_of_width(width, implement)
                part = (width > 0) & (width < _FULL_WIDTH * implement.width_m)
                if part.any() and not track.at_tool:
                    findings.append(
                        Finding.warning(
                            "partial_width", source=track.source, records=int(part.sum())
                        )
                    )
            else:
                on &= width > 0
            points_m = sum(track.section_widths_m)
            if points_m and abs(points_m / implement.width_m - 1) > _SAME_WIDTH:
                findings.append(
                    Finding.warning(
                        "width_unlike_points",
                        source=track.source,
                        points_m=points_m,
                        tool_m=implement.width_m,
                    )
                )
            elif width.max(initial=0) > (1 + _SAME_WIDTH) * implement.width_m:
                findings.append(
                    Finding.warning(
                        "width_over_tool",
                        source=track.source,
                        widest_m=float(width.max()),
                        tool_m=implement.width_m,
                    )
                )
            if not told:
                findings.append(Finding.note("work_from_width"))
            told = told or bool((width <= 0).any())
        flowing = _flowing(track, record)
        if not told and flowing is not None:
            on &= flowing
            findings.append(Finding.note("work_from_amount"))
            told = True
        if not told:
            on &= _steady(speed_mps[mine], turn_radius_m[mine], implement.width_m)
            by_speed = True
            findings.append(Finding.note("work_from_speed"))
        parts.append(rows.where(on))
        place[mine] = taken + np.arange(len(mine))
        taken += len(mine)
    rows = RowPatterns.joined(parts).at(place)
    return RowStates(rows, by_speed, tuple(dict.fromkeys(findings)))


def _rows_of_width(width_m: FloatArray, implement: Implement) -> RowPatterns:
    """The given width laid about the middle of the tool, in whole rows."""
    full = width_m >= _FULL_WIDTH * implement.width_m
    count = np.where(full, implement.rows, np.rint(width_m / implement.row_spacing_m))
    count, number = np.unique(np.clip(count, 0, implement.rows), return_inverse=True)
    first = np.floor((implement.rows - count) / 2)
    row = np.arange(implement.rows)
    pattern = (row >= first[:, None]) & (row < (first + count)[:, None])
    return RowPatterns.numbered(number, pattern)


def _flowing(track: Track, record: np.ndarray) -> BoolArray | None:
    """True where any logged rate or flow is above zero; None if none is ever off."""
    logged = [*track.rates.values(), *track.flows.values()]
    if not logged:
        return None
    on = np.zeros(len(record), dtype=bool)
    for values in logged:
        on |= np.nan_to_num(values[record]) > 0
    return on if on.any() and not on.all() else None


def _steady(speed_mps: FloatArray, turn_radius_m: FloatArray, width_m: float) -> BoolArray:
    """From 0.5 to 1.6 times the median speed, and no pivot inside the tool line."""
    moving = speed_mps[speed_mps > 0.2]
    usual = float(np.median(moving)) if len(moving) else 0.0
    steady = (speed_mps >= 0.5 * usual) & (speed_mps <= 1.6 * usual)
    return steady & (turn_radius_m > width_m / 2)
