"""A season from ISO 11783-10 task data alone: every task with a log becomes an operation."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from evenacre.errors import InputError, Problem
from evenacre.io.logs.columns.clock import dates_of
from evenacre.io.season.from_options import season_from_options
from evenacre.io.taskdata.read import Task, TaskData, each_task
from evenacre.model import Application, Field, Implement, InputFile, OperationPlan, Season

_HITCH = (
    *("axle_to_antenna_m", "antenna_ahead_m", "antenna_left_m"),
    *("tow", "tool_behind_m"),
)


def season_from_taskdata(path: Path, *, tasks: Sequence[str] = (), **overrides: Any) -> Season:
    """Make a season of task data: boundary, zones, logs, products and widths come from it.

    Each task with a log is an operation whose plan names the file and, as the layer, the
    id of the task.

    Parameters
    ----------
    path : Path
        A zip, a folder, or the TASKDATA.XML in it.
    tasks : sequence of str
        Ids or names of the tasks to take; all with a log when empty.
    **overrides
        What `season_from_options` takes, except ``tracks``; over what the file says.

    Raises
    ------
    InputError
        When the file cannot be used; and for everything that neither the file nor an option
        tells, with the name of the option.
    """
    path = Path(path)
    given = {key: value for key, value in overrides.items() if value not in (None, (), [], {})}
    operations: list[OperationPlan] = []
    problems: list[Problem] = []
    inputs: dict[str, InputFile] = {}
    warnings: dict[str, None] = {}
    source, farm, seen = path.name, "", []
    last: Season | None = None
    for data, task in each_task(path, time_zone=given.get("time_zone")):
        source, farm = data.source, data.farm
        warnings.update(dict.fromkeys(data.warnings))
        seen += [task.id, task.name]
        if tasks and task.id not in tasks and task.name not in tasks:
            continue
        if not task.tracks:
            warnings.update(dict.fromkeys(_without_log(data, task)))
            continue
        try:
            season = _one(path, data, task, given)
        except InputError as error:
            problems += error.problems
            continue
        last = season
        inputs.update((file.path, file) for file in season.inputs)
        operations += season.operations
    problems += _unknown(source, tasks, seen)
    if problems:
        raise InputError(dict.fromkeys(problems))
    if last is None:
        raise InputError.at(
            source,
            "",
            "there is no task with a time log in it" + _because(warnings) + ".",
            "Export the task data after the work is done, with its logs.",
        )
    return replace(
        last,
        farm=farm,
        operations=tuple(_apart(operations)),
        inputs=tuple(inputs[name] for name in sorted(inputs)),
        warnings=tuple(warnings),
    )


def _without_log(data: TaskData, task: Task) -> Iterator[str]:
    if task.logs:
        yield from task.warnings
    yield f'{data.source}: the task "{task.name}" has no log and was left out.'


def _because(warnings: dict[str, None]) -> str:
    return f" ({next(iter(warnings)).removesuffix('.')})" if warnings else ""


def _unknown(source: str, tasks: Sequence[str], seen: list[str]) -> Iterator[Problem]:
    for name in tasks:
        if name not in seen:
            yield Problem(source, "", f'there is no task "{name}".', "Name one that is there.")


def _one(path: Path, data: TaskData, task: Task, given: dict[str, Any]) -> Season:
    """Make the season of one task, checked as the options of the command line are."""
    field = data.fields[task.field_id] if task.field_id else Field(task.name)
    if task.prescription is not None:
        field = replace(field, zones=task.prescription.zones)
    options = dict(given)
    options.setdefault("field_name", field.name)
    options.setdefault("operation_name", task.name)
    options.setdefault("products", list(task.products))
    options.setdefault("date", _date(task, given.get("time_zone")))
    measured = not {"width", "rows", "row_spacing"} & options.keys()
    if task.implement is not None and not {"width", "row_spacing"} & options.keys():
        options["width"] = f"{task.implement.width_m:.6f} m"
    _check(data, task, field, options)
    options = {key: value for key, value in options.items() if value is not None}
    season = season_from_options(tracks=[path], **options)
    plan = season.operations[0]
    drawn = replace(
        plan.field,
        **{
            key: getattr(field, key)
            for key in ("boundary", "unworkable", "zones")
            if key not in given
        },
    )
    plan = replace(
        plan,
        field=drawn,
        layer=task.id,
        track_layers=(),
        implement=_implement(plan.implement, task.implement, measured, given),
        applications=tuple(_with_target(a, task) for a in plan.applications),
    )
    return replace(season, operations=(plan,))


def _date(task: Task, time_zone: str | None) -> str | None:
    times = np.concatenate([track.time_s for track in task.tracks])
    days = dates_of(times, time_zone)
    return days[0] if days else None


def _check(data: TaskData, task: Task, field: Field, options: dict[str, Any]) -> None:
    """Ask by name for what is missing."""
    problems = []
    place = f'task "{task.name}"'
    if field.boundary is None and "boundary" not in options:
        where = (
            f'its field "{field.name}" has no boundary' if task.field_id else "it names no field"
        )
        problems.append(
            Problem(data.source, place, f"{where}.", "Give the field's outline with --boundary.")
        )
    if not {"width", "row_spacing"} & options.keys():
        problems.append(
            Problem(
                data.source,
                place,
                "no working width is told by the machine or the log.",
                'Give it with --width "20 ft".',
            )
        )
    if problems:
        raise InputError(problems)


def _implement(
    built: Implement, described: Implement | None, measured: bool, given: dict[str, Any]
) -> Implement:
    """Add what the machine tells of sections and hitch, unless options say otherwise."""
    if described is None:
        return built
    if measured and described.section_rows:
        built = replace(built, rows=described.rows, section_rows=described.section_rows)
    if given.get("implement"):
        return built
    hitch: dict[str, Any] = {name: getattr(described, name) for name in _HITCH}
    return replace(built, **hitch)


def _with_target(application: Application, task: Task) -> Application:
    if application.target_kg_per_m2 is not None:
        return application
    return replace(application, target_kg_per_m2=task.products.get(application.product.name))


def _apart(operations: list[OperationPlan]) -> Iterator[OperationPlan]:
    """Tell operations of one field and name apart by the id of their task."""
    names = [(plan.field.name, plan.name) for plan in operations]
    for plan, name in zip(operations, names, strict=True):
        yield replace(plan, name=f"{plan.name} ({plan.layer})") if names.count(name) > 1 else plan
