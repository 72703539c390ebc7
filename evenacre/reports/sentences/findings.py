"""Every finding of an audit or a plan in plain words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from string import Formatter
from typing import Any, get_args

from evenacre.errors import InputError
from evenacre.model.finding import Finding, FindingError, Severity
from evenacre.units.display import Shown, in_both

_INCH_M = 0.0254

SENTENCES: dict[str, str | Callable[..., str]] = {
    # Of readers of files.
    "said_by_reader": "{text}",
    # Of positions.
    "away_from_field": (
        "{records:,} of {read:,} records lie more than {limit_m:length} from the field and were "
        "left out: another field or the road, or a boundary that is too small."
    ),
    "repeated_records": (
        "{records:,} of {read:,} records repeat another one exactly and were counted once: the "
        "log may have been exported twice."
    ),
    "coarse_clock": (
        "The log's clock is coarser than its records; records that share a time were "
        "spread evenly over it."
    ),
    "distance_disagrees": (
        "The logged distance is {ratio:.3f} times the distance between positions; positions "
        "were used. Check the distance sensor's setting or the unit of its column."
    ),
    "not_smoothed": "Positions were not smoothed, as asked.",
    "no_jitter": "No receiver jitter worth smoothing was found.",
    "jitter_smoothed": "Receiver jitter of about {jitter_m:small} was smoothed along the path.",
    # Of the state of work and of rows.
    "work_from_width": "Work was taken from the logged width: on where it is above zero.",
    "work_from_amount": "Work was inferred: on where a logged rate or flow is above zero.",
    "work_from_speed": (
        "Work was inferred: the log has no work state, width, rate or flow that is ever "
        "off, so every record at a steady speed counts as work, but not turns "
        "so tight that the inner openers would run backward."
    ),
    "partial_width": (
        "{source}: {records} records have less than the full width; the log does not say which "
        "side was off, so the width was taken about the middle of the tool."
    ),
    "width_over_tool": (
        "{source}: logged widths reach {widest_m:length} but the tool is {tool_m:length} wide; "
        "the tool's width was used. Check the width that was given."
    ),
    # Of amounts.
    "no_amount": "{product}: no rate is logged and none was given, so no amount is known.",
    "blank_amount": (
        "{product}: the log gives no amount for {share:.1%} of the time in work, and nothing "
        "was counted there."
    ),
    "unplaced_amount": (
        "{product}: {unplaced_kg:mass} were logged while no row was working or moving forward; "
        "they are not on the map and not in the totals."
    ),
    # Of the ground.
    "coarse_cells": (
        "The worked ground lies scattered so far apart that the rasters have cells of "
        "{cell_m:length}; what is counted by cells, such as the area within a tenth of the "
        "target, is rough."
    ),
    "boundary_drawn": (
        "No boundary was given: one was drawn around the worked ground, so skips at the edge "
        "of the field cannot be judged."
    ),
}
"""By code: the sentence, its values in braces, or what makes it of them.

After the colon stands a quantity of `UnitSystem`, shown in both systems, ``small`` for lengths
of centimetres, or a format of Python's.
"""

REFUSALS: dict[str, tuple[str, str]] = {
    "no_position": (
        "it holds no usable position, and one drive needs at least two.",
        "Check that the export is complete and that the position columns are right.",
    ),
    "single_position": (
        "it holds a single usable position, and one drive needs at least two.",
        "Check that the export is complete and that the position columns are right.",
    ),
    "jumping_positions": (
        "the positions jump to and fro from record to record, as if two machines had been in "
        "different places at the same time.",
        "Give each machine's log alone, and check that the column of times is the right one.",
    ),
    "path_all_gaps": (
        "the path is cut between all of its records: they lie too far apart in time.",
        "Check the column of times, or allow a longer silence (max_gap, on the command line "
        "--max-gap).",
    ),
    "no_work": (
        "no record shows work: the work state, width, sections or rate is off throughout.",
        "Check which column holds the work state, or map another one "
        "(--column work=NAME or columns in the season file).",
    ),
}
"""By code of what stops the work: what is wrong, and what to do."""


def sentence(finding: Finding) -> str:
    """Put a finding into words."""
    words = SENTENCES[finding.code]
    return _fill(words, finding.values) if isinstance(words, str) else words(**finding.values)


def sentences(findings: Iterable[Finding], severity: Severity) -> list[str]:
    """Put the findings of one severity into words, in their order."""
    return [sentence(finding) for finding in findings if finding.severity == severity]


@contextmanager
def refusals_in_words() -> Iterator[None]:
    """Say in words what stops the work inside.

    Raises
    ------
    InputError
        In place of a `FindingError`.
    """
    try:
        yield
    except FindingError as error:
        what, remedy = (_fill(words, error.values) for words in REFUSALS[error.code])
        raise InputError.at(error.file, error.place, what, remedy) from None


class _Filler(Formatter):
    def format_field(self, value: Any, format_spec: str) -> str:
        if format_spec == "small":
            return f"{value * 100:.1f} cm ({value / _INCH_M:.1f} in)"
        if format_spec in get_args(Shown):
            return in_both(format_spec, value)  # type: ignore[arg-type]
        return format(value, format_spec)


def _fill(words: str, values: Any) -> str:
    return _Filler().vformat(words, (), values)
