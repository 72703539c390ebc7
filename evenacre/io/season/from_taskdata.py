"""A season from ISO 11783-10 task data alone: every task with a log becomes an operation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError, Problem
from evenacre.geo.geodesy import near
from evenacre.io.common.suggestions import listed
from evenacre.io.logs.columns.clock import dates_of
from evenacre.io.season.from_options import DRILL, is_given, season_from_options
from evenacre.io.taskdata.read import Task, TaskData, each_task
from evenacre.io.taskdata.tracks import worked
from evenacre.language import tr
from evenacre.model import Application, Field, Implement, InputFile, OperationPlan, Season

# Less than this was no work but a switch.
_LEAST_WORK_M = 1.0
# A field that holds hardly any of the work is not where it was done, one that holds most is.
_HARDLY, _MOST_OF_IT = 0.05, 0.5
_EXPORT = "Export the task data after the work is done, with its logs."
_ELSE = "Leave --boundary out, or give that of its field."
_DESCRIBED = (
    *("axle_to_antenna_m", "antenna_ahead_m", "antenna_left_m", "tow", "tool_behind_m"),
    "told",
)


def season_from_taskdata(path: Path, *, tasks: Sequence[str] = (), **overrides: Any) -> Season:
    """Make a season of task data: boundary, zones, logs, products and widths come from it.

    Each task with a log is an operation whose plan names the file and, as the layer, the
    id of the task. A task that lacks what an audit needs is left out with a warning as long as
    there are others.

    Parameters
    ----------
    path : Path
        A zip, a folder, or the TASKDATA.XML in it.
    tasks : sequence of str
        Ids, names or layers of the tasks to take; all with a log when empty.
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
    left_out: dict[Problem, list[str]] = {}  # Names of tasks by what they lack
    inputs: dict[str, InputFile] = {}
    farms: dict[str, None] = {}
    unread: dict[str, None] = {}
    elsewhere: list[Season] = []
    last: Season | None = None
    for data, task in each_task(path, tasks, time_zone=given.get("time_zone")):
        unread.update(dict.fromkeys(data.unread))
        try:
            _check(data, task, given)
            season = _one(path, data, task, given)
            if "boundary" in given and not _inside(task, season.operations[0].field.boundary):
                elsewhere.append(season)
                raise InputError.at(data.source, "", tr("no work lies inside the boundary."), _ELSE)
        except InputError as error:
            for problem in error.problems:
                left_out.setdefault(problem, []).append(task.name)
            continue
        last = season
        farms[data.farm] = None
        inputs.update((file.path, file) for file in season.inputs)
        operations += season.operations
    if last is None and elsewhere:
        return elsewhere[0]  # Laying its log on its boundary will tell how far apart they are
    about = [replace(problem, place=_tasks(names)) for problem, names in left_out.items()]
    if last is None:
        what = tr("there is no task with a time log in it.")
        raise InputError(about or Problem(path.name, "", what, _EXPORT))
    warnings = [
        tr("{one} {word} left out.", one=one, word="They were" if len(n) > 1 else "It was")
        for one, n in zip(about, left_out.values(), strict=True)
    ]
    # Operations of one field and name are told apart by the id of their task.
    names = [(plan.field.name, plan.name) for plan in operations]
    apart = [
        replace(plan, name=f"{plan.name} ({plan.layer})") if names.count(name) > 1 else plan
        for plan, name in zip(operations, names, strict=True)
    ]
    return replace(
        last,
        farm=next(iter(farms)) if len(farms) == 1 else "",
        operations=tuple(apart),
        inputs=tuple(inputs[name] for name in sorted(inputs)),
        warnings=(*unread, *warnings),
        in_parts=True,
    )


def _one(path: Path, data: TaskData, task: Task, given: dict[str, Any]) -> Season:
    """Make the season of one task, checked as the options of the command line are."""
    field, said = _field(data, task, given)
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
        layer=task.layer,
        track_layers=(),
        warnings=(*plan.warnings, *said),
        implement=_implement(plan.implement, task.implement, measured, given),
        applications=tuple(_with_target(a, task) for a in plan.applications),
    )
    return replace(season, operations=(plan,))


def _check(data: TaskData, task: Task, given: dict[str, Any]) -> None:
    """Refuse a task that lacks what an audit needs, in the same words as any other."""
    if not task.logs:
        raise InputError.at(data.source, "", tr("there is no log of the work."), _EXPORT)
    if not task.tracks:
        said = " ".join(task.warnings)
        because = f" ({said[:-1]})" if said else ""
        what = tr("there is no time log with positions{because}.", because=because)
        raise InputError.at(data.source, "", what, _EXPORT)
    if task.worked_m < _LEAST_WORK_M:
        what = tr("the logs show no work: off throughout, or no way driven while on.")
        raise InputError.at(data.source, "", what, tr("Check that all logs were exported."))
    if task.implement is None and not {"width", "row_spacing"} & given.keys():
        what = tr("no working width is told by the machine or the log.")
        raise InputError.at(data.source, "", what, tr('Give it with --width "20 ft".'))


def _inside(task: Task, boundary: BaseGeometry | None) -> float:
    """Share of the records of work that lie inside a boundary."""
    on = [worked(track) for track in task.tracks]
    lon = np.concatenate([t.lon[some] for t, some in zip(task.tracks, on, strict=True)])
    lat = np.concatenate([t.lat[some] for t, some in zip(task.tracks, on, strict=True)])
    if boundary is None or not len(lon):
        return 0.0
    shapely.prepare(boundary)
    return float(shapely.contains_xy(boundary, near(lon, boundary.centroid.x), lat).mean())


def _tasks(names: list[str]) -> str:
    return f"{len(names):,} tasks ({listed(names)})" if len(names) > 1 else f'task "{names[0]}"'


def _field(data: TaskData, task: Task, given: dict[str, Any]) -> tuple[Field, list[str]]:
    """Return the field of a task, and what to say where it is not the one that is named."""
    own = data.fields.get(task.field_id, Field(task.name))
    if "boundary" in given:
        return own, []

    def share(field: Field) -> float:
        return _inside(task, field.boundary)

    if share(own) > _HARDLY:
        return own, []
    other = max(data.fields.values(), key=share, default=own)
    about = f'{data.source}, task "{task.name}"'
    if not task.field_id:
        why = tr("it names no field")
    elif own.boundary is None:
        why = tr('its field "{name}" has no boundary', name=own.name)
    else:
        why = tr('hardly any of its work lies inside its field "{name}"', name=own.name)
    if share(own) > 0 and share(other) <= _MOST_OF_IT:
        return own, []
    if share(other) > _MOST_OF_IT:
        return other, [
            tr(
                '{about}: {why}; the work lies in "{name}", which was taken.',
                about=about,
                why=why,
                name=other.name,
            )
        ]
    return Field(own.name), [
        tr(
            "{about}: {why}; a boundary is drawn around the worked ground (or give --boundary).",
            about=about,
            why=why,
        )
    ]


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
