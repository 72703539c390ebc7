"""Ground to plan passes on and the tool to drive, from a season file or from options."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenacre.errors import InputError, Problem
from evenacre.io.common.problem_collector import ProblemCollector
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.season.build import SeasonDraft
from evenacre.io.season.from_options import season_from_options
from evenacre.io.season.load import draft_season
from evenacre.io.season.pasture.schema import DriveOptions
from evenacre.language import tr
from evenacre.model import Field, Implement, InputFile, Season, Seeding


@dataclass(frozen=True)
class Ground:
    """Fields to plan passes on, and what is known of what drives over them.

    Each field has a boundary, and a name of its own. ``seeding`` tells how the tool is driven,
    where the season says so; ``units`` is the name of the reports' unit system, ``language``
    the tag of their language.
    """

    farm: str
    units: str
    fields: tuple[Field, ...]
    width_m: float
    seeding: Seeding | None = None
    implement: Implement | None = None  # None: only its width is known
    inputs: tuple[InputFile, ...] = ()
    warnings: tuple[str, ...] = ()
    language: str = "en"


def read_drive_options(written: Mapping[str, Any]) -> DriveOptions:
    """Check how to drive: texts and numbers by the names of `DriveOptions`, None: not given."""
    problems = ProblemCollector(
        lambda path: (f"--{'-'.join(map(str, path)).replace('_', '-')}", "")
    )
    given = {key: value for key, value in written.items() if value is not None}
    options = problems.check(DriveOptions, given)
    if problems.problems or options is None:
        raise InputError(problems.problems)
    return options


def ground_of_season(
    path: Path,
    *,
    fields: Sequence[str] = (),
    implement: str | None = None,
    width_m: float | None = None,
) -> Ground:
    """Read the fields and paddocks of a season file, and the drill.

    Without names of fields or paddocks all that have a boundary are taken; without an implement,
    the only one, or the one that seeds the paddocks. A width goes in the place of an implement's.
    """
    draft = draft_season(path, logs=False, must_hold="fields")
    problems: list[Problem] = list(draft.problems)
    # What a fault of the season leaves out is not told once more.
    whole = not problems
    chosen, warnings = _chosen(draft, path.name, fields, problems, whole)
    seeding = draft.season.seeding
    tool = None
    if width_m is None and (name := _tool(draft.season, path.name, implement, problems, whole)):
        tool = draft.season.implements[name]
        width_m = tool.width_m
        warnings += draft.said.get(("implement", name), [])
    if seeding is not None and tool != seeding.implement:
        seeding = None  # it tells of another tool
    if problems or width_m is None:
        raise InputError(problems)
    season, said = draft.season, tuple(dict.fromkeys(warnings))
    return Ground(
        *(season.farm, season.units, tuple(chosen), width_m, seeding, tool),
        inputs=season.inputs,
        warnings=said,
        language=season.language,
    )


def _chosen(
    draft: SeasonDraft, file: str, names: Sequence[str], problems: list[Problem], whole: bool
) -> tuple[list[Field], list[str]]:
    """Fields of the names, and what was found where they are drawn."""
    known = {field.name: field for field in draft.season.fields}
    asked = [known[name] for name in dict.fromkeys(names or known) if name in known]
    drawn = [field for field in asked if field.boundary is not None]
    bare = [field.name for field in asked if field.boundary is None]
    warnings = []
    for name in dict.fromkeys(names):
        if name not in known and whole:
            what = tr('There is no field or paddock "{name}" in {file}.', name=name, file=file)
            problems.append(Problem("--field", "", what, choice(name, known)))
        elif name in bare:
            remedy = tr('Add boundary = "field.geojson" to it.')
            problems.append(
                Problem(file, tr('field "{name}"', name=name), tr("It has no boundary."), remedy)
            )
    if bare and not names:
        warnings = [tr("Without a boundary, and left out: {listed}.", listed=listed(bare))]
        if not drawn:
            remedy = tr('Add boundary = "field.geojson" under [[field]].')
            problems.append(Problem(file, "field", tr("No field has a boundary."), remedy))
    said = [text for field in drawn for text in draft.said.get(("field", field.name), [])]
    return drawn, [*warnings, *said]


def _tool(
    season: Season, file: str, name: str | None, problems: list[Problem], whole: bool
) -> str | None:
    """Name of the implement to drive."""
    known = season.implements
    if name in known:
        return name
    if name is None and len(known) == 1:
        return next(iter(known))
    if name is None and season.seeding is not None:
        return next(key for key, tool in known.items() if tool == season.seeding.implement)
    if name is not None and whole:
        what = tr('There is no implement "{name}" in {file}.', name=name, file=file)
        remedy = choice(name, known, tr("Define it under [[implement]], or give --width."))
        problems.append(Problem("--implement", "", what, remedy))
    elif whole:
        what = tr("It has {count} implements.", count=len(known) or "no")
        remedy = (
            tr("Name one with --implement: {listed}.", listed=listed(known))
            if known
            else tr("Give --width.")
        )
        problems.append(Problem(file, "", what, remedy))
    return None


def ground_of_options(**options: Any) -> Ground:
    """Read one field from what `season_from_options` takes, with ``boundary``."""
    season = season_from_options(**options, logs=False)
    (job,) = season.operations
    width_m, inputs = job.implement.width_m, season.inputs
    return Ground(
        *(season.farm, season.units, (job.field,), width_m),
        implement=job.implement,
        inputs=inputs,
        warnings=job.warnings,
        language=season.language,
    )
