"""A season from ISO 11783-10 task data alone: every task with a log becomes an operation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from evenacre.errors import InputError, Problem
from evenacre.io.logs.columns.clock import dates_of
from evenacre.io.season.from_options import DRILL, is_given, season_from_options
from evenacre.io.taskdata.read import Task, TaskData, each_task
from evenacre.model import Application, Field, Implement, InputFile, OperationPlan, Season

_DESCRIBED = ("axle_to_antenna_m", "antenna_ahead_m", "antenna_left_m", "tow", "tool_behind_m")


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
    given = {key: value for key, value in overrides.items() if is_given(value)}
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
            left_out = f'{data.source}: the task "{task.name}" has no log and was left out.'
            warnings.update(dict.fromkeys([*(task.warnings if task.logs else ()), left_out]))
            continue
        try:
            season = _one(path, data, task, given)
        except InputError as error:
            problems += error.problems
            continue
        last = season
        inputs.update((file.path, file) for file in season.inputs)
        operations += season.operations
    problems += [
        Problem(source, "", f'there is no task "{name}".', "Name one that is there.")
        for name in tasks
        if name not in seen
    ]
    if problems:
        raise InputError(dict.fromkeys(problems))
    if last is None:
        why = f" ({next(iter(warnings)).removesuffix('.')})" if warnings else ""
        what = f"there is no task with a time log in it{why}."
        remedy = "Export the task data after the work is done, with its logs."
        raise InputError.at(source, "", what, remedy)
    # Operations of one field and name are told apart by the id of their task.
    names = [(plan.field.name, plan.name) for plan in operations]
    apart = [
        replace(plan, name=f"{plan.name} ({plan.layer})") if names.count(name) > 1 else plan
        for plan, name in zip(operations, names, strict=True)
    ]
    return replace(
        last,
        farm=farm,
        operations=tuple(apart),
        inputs=tuple(inputs[name] for name in sorted(inputs)),
        warnings=tuple(warnings),
    )


def _one(path: Path, data: TaskData, task: Task, given: dict[str, Any]) -> Season:
    """Make the season of one task, checked as the options of the command line are."""
    field = data.fields[task.field_id] if task.field_id else Field(task.name)
    if task.prescription is not None:
        field = replace(field, zones=task.prescription.zones)
    options = dict(given)
    options.setdefault("field_name", field.name)
    options.setdefault("operation_name", task.name)
    options.setdefault("product", list(task.products))
    days = dates_of(np.concatenate([t.time_s for t in task.tracks]), given.get("time_zone"))
    options.setdefault("date", days[0] if days else None)
    measured = not {"width", "rows", "row_spacing"} & options.keys()
    if task.implement is not None and not {"width", "row_spacing"} & options.keys():
        options["width"] = f"{task.implement.width_m:.6f} m"
    _check(data, task, field, options)
    season = season_from_options(**{**options, "tracks": [path]})
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


def _check(data: TaskData, task: Task, field: Field, options: dict[str, Any]) -> None:
    """Ask by name for what is missing."""
    problems = []
    place = f'task "{task.name}"'
    if field.boundary is None and "boundary" not in options:
        where = (
            f'its field "{field.name}" has no boundary' if task.field_id else "it names no field"
        )
        remedy = "Give the field's outline with --boundary."
        problems.append(Problem(data.source, place, f"{where}.", remedy))
    if not {"width", "row_spacing"} & options.keys():
        what = "no working width is told by the machine or the log."
        problems.append(Problem(data.source, place, what, 'Give it with --width "20 ft".'))
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
    if DRILL & given.keys():
        return built
    hitch: dict[str, Any] = {name: getattr(described, name) for name in _DESCRIBED}
    return replace(built, **hitch)


def _with_target(application: Application, task: Task) -> Application:
    if application.target_kg_per_m2 is not None:
        return application
    return replace(application, target_kg_per_m2=task.products.get(application.product.name))
