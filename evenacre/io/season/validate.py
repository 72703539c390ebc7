"""Check every file of a season without computing anything."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from evenacre.errors import InputError, Problem
from evenacre.io.season.build import SeasonDraft
from evenacre.io.season.load import draft_season
from evenacre.io.season.load_operation import read_operation
from evenacre.io.taskdata.folder import is_taskdata
from evenacre.model import Operation, Track


@dataclass(frozen=True)
class Checked:
    """One thing to know about a season's files.

    An ``"error"`` has to be mended before an audit; a ``"warning"`` will be used but looks
    wrong; a ``"note"`` says what was guessed.
    """

    level: Literal["error", "warning", "note"]
    text: str
    operation: str = ""  # "field, operation"; empty when it concerns the season
    problem: Problem | None = None  # the parts of an error


def check_season(path: Path) -> list[Checked]:
    """List every problem, doubt and guess of a season (a file, or task data) and its files.

    Errors of the season file come first, then operation by operation; none is said twice.
    """
    try:
        if is_taskdata(path):
            from evenacre.io.season.from_taskdata import season_from_taskdata  # brings options too

            season = season_from_taskdata(path)
            draft = SeasonDraft(season, (), (True,) * len(season.operations))
        else:
            draft = draft_season(path, must_hold="either")
    except InputError as error:
        return [_error(problem) for problem in error.problems]
    findings = [_error(problem) for problem in draft.problems]
    findings += [Checked("warning", text) for text in draft.season.warnings]
    for plan, equipped in zip(draft.season.operations, draft.equipped, strict=True):
        name = f"{plan.field.name}, {plan.name}"
        # Rows cannot be judged against the stand-in of an implement that has to be mended.
        operation, problems = read_operation(plan if equipped else replace(plan, blockage_files=()))
        findings += [_error(problem, name) for problem in problems]
        both: list[Operation | Track] = [operation, *operation.tracks]
        for said in both:
            findings += [Checked("warning", text, name) for text in said.warnings]
            findings += [Checked("note", text, name) for text in said.notes]
    seen: dict[tuple[str, str], Checked] = {}
    for finding in findings:
        seen.setdefault((finding.level, finding.text), finding)
    return list(seen.values())


def _error(problem: Problem, operation: str = "") -> Checked:
    return Checked("error", str(problem), operation, problem)
