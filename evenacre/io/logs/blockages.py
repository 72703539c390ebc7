"""Read which rows stopped flowing, and when."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from evenacre.errors import InputError, Problem
from evenacre.io.common.findings import Findings
from evenacre.io.common.suggestions import did_you_mean, listed
from evenacre.io.tables.text_table import read_delimited
from evenacre.io.tables.time_texts import (
    not_read,
    on_undated_clock,
    seconds_of,
    time_of_day,
    time_span,
)
from evenacre.io.untrusted import budget
from evenacre.language import tr
from evenacre.model import Blockage, Implement, Track

_EITHER = "Write tower = 2, or rows such as 9-16."


@dataclass(frozen=True)
class BlockageNote:
    """A blockage as a person wrote it down."""

    file: str
    place: str
    start: str
    end: str
    # Which tower, or which rows (``"9-16"``); one of them is empty
    tower: str = ""
    rows: str = ""
    cause: str = ""


def read_blockage_file(path: Path) -> tuple[list[BlockageNote], list[str]]:
    """Read a table with columns ``start``, ``end`` and ``tower`` or ``rows``, and its warnings."""
    findings = Findings()
    if not path.exists():
        raise InputError.at(path.name, "", tr("There is no such file."), tr("Check the name."))
    table = read_delimited(path, findings, budget.NOTES)
    columns = blockage_columns(table.names)
    missing = [c for c in ("start", "end") if c not in columns]
    if not {"tower", "rows"} & columns.keys():
        missing.append("tower")
    if missing:
        raise InputError.at(
            path.name,
            "",
            tr(
                "There is no column {listed}; it has {listed_2}.",
                listed=listed(missing),
                listed_2=listed(table.names),
            ),
            tr("A blockage table has columns start, end, and tower or rows. ")
            + did_you_mean(missing[0], columns),
        )
    cells = (table.words(columns.get(c)) for c in ("start", "end", "tower", "rows", "cause"))
    places = (table.place(i) for i in range(len(table)))
    rows = zip(places, *cells, strict=True)
    return [BlockageNote(path.name, *row) for row in rows], findings.warnings


def blockage_columns(names: Sequence[str]) -> dict[str, str]:
    """Columns of a table of blockages by what they hold."""
    return {name.strip().lower(): name for name in names}


def blockages_of(
    notes: list[BlockageNote], implement: Implement, *, date: str = "", time_zone: str | None = None
) -> tuple[Blockage, ...]:
    """Turn notes into blockages on the clock that tracks use.

    Times with a zone go to UTC; those without are of ``time_zone`` when it is known, else
    they stay on the machine's own clock. A time of day alone is of ``date``.

    Raises
    ------
    InputError
        With every problem found.
    """
    problems: list[Problem] = []

    def report(note: BlockageNote, column: str, what: str, remedy: str) -> None:
        problems.append(Problem(note.file, note.place, what, remedy, (column,)))

    starts = seconds_of([note.start for note in notes], date, time_zone)
    ends = seconds_of([note.end for note in notes], date, time_zone)
    blockages = []
    for note, start, end in zip(notes, starts, ends, strict=True):
        for column, word, value in (("start", note.start, start), ("end", note.end, end)):
            if np.isnan(value):
                remedy = tr(
                    "Write it as 2026-04-14T09:12:00, or as 09:12:00 if the job has a date."
                )
                report(note, column, not_read(word) if word else "A time is missing.", remedy)
        if end < start:
            what = tr("It ends ({end}) before it starts ({start}).", end=note.end, start=note.start)
            report(note, "end", what, "Swap the times.")
        try:
            rows, cause = _rows_of(note, implement)
        except _DrillUntoldError as error:
            problems.append(Problem(note.file, note.place, *error.args))
            continue
        except ValueError as error:
            report(note, "rows" if note.rows else "tower", *error.args)
            continue
        blockages.append(Blockage(float(start), float(end), rows, note.cause or cause))
    if problems:
        raise InputError(problems)
    return tuple(blockages)


class _DrillUntoldError(ValueError):
    """What is missing is missing of the drill, not in the note."""


def _rows_of(note: BlockageNote, implement: Implement) -> tuple[tuple[int, ...], str]:
    """Return the rows a note means and how to say so; ValueError says what is wrong."""
    if bool(note.tower) == bool(note.rows):
        raise ValueError(tr("It needs either a tower or rows."), _EITHER)
    if not implement.rows_known:
        raise _DrillUntoldError(
            tr("The implement's rows are not known, so blocked rows cannot be placed."),
            tr("Give rows = 32 (on the command line --rows 32)."),
            ("implement", "rows"),
        )
    if note.tower:
        if not implement.rows_per_tower:
            raise _DrillUntoldError(
                tr("Nothing says how many rows a tower feeds."),
                tr(
                    "Give rows_per_tower = 8 (on the command line --rows-per-tower 8), or "
                    "the blocked rows."
                ),
                ("implement", "rows_per_tower"),
            )
        towers = -(-implement.rows // implement.rows_per_tower)
        number = re.fullmatch(r"\s*(?:tower\s*)?(\d{1,9})(?:\.0)?\s*", note.tower, re.IGNORECASE)
        if not number or not 1 <= int(number[1]) <= towers:
            raise ValueError(
                tr('"{tower}" is not one of its {towers} towers.', tower=note.tower, towers=towers),
                _EITHER,
            )
        return implement.tower_rows(int(number[1])), f"tower {int(number[1])}"
    rows: set[int] = set()
    for part in re.split(r"[,;\s]+", note.rows.strip()):
        span = re.fullmatch(r"(\d{1,9})(?:(?:-|\u2013|\.\.)(\d{1,9}))?", part)
        first, last = (int(span[1]), int(span[2] or span[1])) if span else (0, 0)
        if not 1 <= first <= last <= implement.rows:
            raise ValueError(
                tr('"{part}" are not rows between 1 and {rows}.', part=part, rows=implement.rows),
                _EITHER,
            )
        rows.update(range(first, last + 1))
    ordered = tuple(sorted(rows))
    name = "row" if len(ordered) == 1 else "rows"
    return ordered, f"{name} {note.rows.strip()}"


def match_clock(
    blockages: tuple[Blockage, ...], tracks: tuple[Track, ...], time_zone: str | None
) -> tuple[tuple[Blockage, ...], list[str]]:
    """Fit blockages to logs that tell the time of day only; warnings of those that miss."""
    span = time_span(tracks)
    if not blockages or span is None:
        return blockages, []
    first, last = span
    if on_undated_clock(span, [b.start_s for b in blockages]):
        blockages = tuple(_time_of_day(b, time_zone) for b in blockages)
    missed = [b for b in blockages if b.end_s < first or b.start_s > last]
    warnings = [
        tr(
            "The blockage of {cause} falls outside the time of the log and blocks nothing: "
            "check its times and the time zone.",
            cause=b.cause,
        )
        for b in missed
    ]
    return blockages, warnings


def _time_of_day(blockage: Blockage, time_zone: str | None) -> Blockage:
    start = time_of_day(blockage.start_s, time_zone)
    length = blockage.end_s - blockage.start_s
    return Blockage(start, start + length, blockage.rows, blockage.cause)
