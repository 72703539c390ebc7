"""Ground to plan passes on and the tool to drive, from a season file or from options."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator

from evenacre.errors import InputError, Problem
from evenacre.io.common.problem_collector import ProblemCollector
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.season.build import SeasonDraft
from evenacre.io.season.load import draft_season, season_from_options
from evenacre.io.season.pasture.schema import DriveTable
from evenacre.io.season.schema_types import Width, refusal
from evenacre.model import Field, InputFile, Season, Seeding

_HEADING = "Give degrees clockwise from north, from 0 to 360: 90 is east to west."


@dataclass(frozen=True)
class Ground:
    """Fields to plan passes on, and what is known of what drives over them.

    Attributes
    ----------
    farm : str
    units : str
        Name of the unit system of reports.
    fields : tuple of Field
        Each with a boundary, and with a name of its own.
    width_m : float
        Of the tool.
    seeding : Seeding or None
        Tells how the tool is driven, where the season says so.
    inputs : tuple of InputFile
    warnings : tuple of str
    """

    farm: str
    units: str
    fields: tuple[Field, ...]
    width_m: float
    seeding: Seeding | None = None
    inputs: tuple[InputFile, ...] = ()
    warnings: tuple[str, ...] = ()


def _degrees(value: object) -> float:
    text = str(value).strip().removesuffix("°").removesuffix("deg").strip()
    try:
        degrees = float(text)
    except ValueError:
        raise refusal(f'"{value}" is not a number of degrees.', _HEADING) from None
    if not 0.0 <= degrees <= 360.0:
        raise refusal(f'"{value}" is not between 0 and 360.', _HEADING)
    return degrees


class DriveOptions(DriveTable):
    """How to drive, as the command line says it; None where it does not.

    ``heading`` is in degrees clockwise from north, ``width`` in metres.
    """

    heading: Annotated[float, BeforeValidator(_degrees)] | None = None
    width: Width | None = None


def read_drive_options(written: Mapping[str, Any]) -> DriveOptions:
    """Check how to drive.

    Parameters
    ----------
    written : mapping
        Texts and numbers by the names of `DriveOptions`; None: not given.

    Raises
    ------
    InputError
        With every complaint at once, each about its option.
    """
    complaints = ProblemCollector(
        lambda path: (f"--{'-'.join(map(str, path)).replace('_', '-')}", "")
    )
    given = {key: value for key, value in written.items() if value is not None}
    options = complaints.check(DriveOptions, given)
    if complaints.problems or options is None:
        raise InputError(complaints.problems)
    return options


def ground_of_season(
    path: Path,
    *,
    fields: Sequence[str] = (),
    implement: str | None = None,
    width_m: float | None = None,
) -> Ground:
    """Read the fields and paddocks of a season file, and the drill.

    Parameters
    ----------
    path : Path
    fields : sequence of str
        Names of fields or paddocks; all that have a boundary when empty.
    implement : str, optional
        Without it, the only one, or the one that seeds the paddocks.
    width_m : float, optional
        In the place of an implement's.

    Raises
    ------
    InputError
        With every complaint at once.
    """
    draft = draft_season(path, logs=False, must_hold="fields")
    problems: list[Problem] = list(draft.problems)
    # What a fault of the season leaves out is not complained of once more.
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
    return Ground(
        farm=draft.season.farm,
        units=draft.season.units,
        fields=tuple(chosen),
        width_m=width_m,
        seeding=seeding,
        inputs=draft.season.inputs,
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _chosen(
    draft: SeasonDraft, file: str, names: Sequence[str], problems: list[Problem], whole: bool
) -> tuple[list[Field], list[str]]:
    """Fields of the names, and what was found where they are drawn."""
    known = {field.name: field for field in draft.season.fields}
    if not names:
        drawn = [field for field in known.values() if field.boundary is not None]
        bare = [name for name, field in known.items() if field.boundary is None]
        if known and not drawn:
            problems.append(
                Problem(
                    file,
                    "field",
                    "No field has a boundary.",
                    'Add boundary = "field.geojson" under [[field]].',
                )
            )
        warnings = [f"Without a boundary, and left out: {listed(bare)}."] if bare else []
    else:
        drawn, warnings = [], []
        for name in dict.fromkeys(names):
            if name not in known:
                if whole:
                    what = f'There is no field or paddock "{name}" in {file}.'
                    problems.append(Problem("--field", "", what, choice(name, known)))
            elif known[name].boundary is None:
                remedy = 'Add boundary = "field.geojson" to it.'
                problems.append(Problem(file, f'field "{name}"', "It has no boundary.", remedy))
            else:
                drawn.append(known[name])
    said = [text for field in drawn for text in draft.said.get(("field", field.name), [])]
    return drawn, [*warnings, *said]


def _tool(
    season: Season, file: str, name: str | None, problems: list[Problem], whole: bool
) -> str | None:
    """Name of the implement to drive."""
    known = season.implements
    if name is not None:
        if name in known:
            return name
        if whole:
            what = f'There is no implement "{name}" in {file}.'
            remedy = choice(name, known, "Define it under [[implement]], or give --width.")
            problems.append(Problem("--implement", "", what, remedy))
        return None
    if len(known) == 1:
        return next(iter(known))
    if season.seeding is not None:
        return next(key for key, tool in known.items() if tool == season.seeding.implement)
    if whole:
        what = f"It has {len(known) or 'no'} implements."
        remedy = f"Name one with --implement: {listed(known)}." if known else "Give --width."
        problems.append(Problem(file, "", what, remedy))
    return None


def ground_of_options(**options: Any) -> Ground:
    """Read one field from its boundary file.

    Parameters
    ----------
    **options
        What `season_from_options` takes, with ``boundary``.

    Raises
    ------
    InputError
        With every complaint at once.
    """
    season = season_from_options(**options, logs=False)
    (job,) = season.operations
    return Ground(
        farm=season.farm,
        units=season.units,
        fields=(job.field,),
        width_m=job.implement.width_m,
        inputs=season.inputs,
        warnings=job.warnings,
    )
