"""Read a set of ISO 11783-10 task data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from xml.etree.ElementTree import Element

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.taskdata.devices import read_machines
from evenacre.io.taskdata.element_types import Task, TaskData
from evenacre.io.taskdata.fields import read_plots
from evenacre.io.taskdata.folder import open_taskdata
from evenacre.io.taskdata.logs import Room
from evenacre.io.taskdata.tasks import TaskReader
from evenacre.io.taskdata.tree import by_id, named, read_root, text, version_of
from evenacre.model import Track


def read_taskdata(
    path: Path, *, task: str | None = None, time_zone: str | None = None, logs: bool = True
) -> TaskData:
    """Read a set of task data: fields, products, tasks and what was logged.

    Parameters
    ----------
    path : Path
        A zip, a folder, or the TASKDATA.XML in it.
    task : str, optional
        Id or name of one task; all when None.
    time_zone : str, optional
        Zone of a machine's clock where the receiver's time does not tell it.
    logs : bool
        False to leave the time logs unread.

    Returns
    -------
    TaskData

    Raises
    ------
    InputError
        When it is no task data, damaged beyond use, or made to do harm.
    """
    data, reader, elements = _open(Path(path), task)
    tasks = tuple(reader.read(element, time_zone, logs=logs) for element in elements)
    return replace(data, tasks=tasks)


def each_task(path: Path, *, time_zone: str | None = None) -> Iterator[tuple[TaskData, Task]]:
    """Read tasks one after another, so that the logs of only one fill the memory.

    Yields
    ------
    TaskData
        The set, without tasks.
    Task

    Raises
    ------
    InputError
        As `read_taskdata` does.
    """
    data, reader, elements = _open(Path(path), None)
    for element in elements:
        one = replace(reader, room=Room(data.source))
        yield data, one.read(element, time_zone, logs=True)


def read_taskdata_tracks(
    path: Path, task: str | None = None, time_zone: str | None = None
) -> list[Track]:
    """Read the tracks of one task, or of all of them.

    Raises
    ------
    InputError
        When there is no usable time log.
    """
    data = read_taskdata(path, task=task, time_zone=time_zone)
    tracks = [
        replace(
            track,
            notes=(*data_notes(data, one), *one.notes, *track.notes),
            warnings=(*data.warnings, *one.warnings, *track.warnings),
        )
        for one in data.tasks
        for track in one.tracks
    ]
    if not tracks:
        said = [warning.removesuffix(".") for one in data.tasks for warning in one.warnings]
        raise InputError.at(
            data.source,
            "",
            "there is no time log with positions in it" + (f" ({said[0]})" if said else "") + ".",
            "Export the task data after the work is done, with its logs.",
        )
    return tracks


def data_notes(data: TaskData, task: Task) -> tuple[str, ...]:
    """Say which task and field a track is of, where there is a choice."""
    if len(data.tasks) < 2:
        return ()
    field = data.plots[task.plot].field.name if task.plot else "no field"
    return (
        f'{data.source}: it holds {len(data.tasks)} tasks; this log is of "{task.name}" '
        f"({task.id}) on {field}. Name a task as the layer to take it alone.",
    )


def _open(path: Path, task: str | None) -> tuple[TaskData, TaskReader, list[Element]]:
    files = open_taskdata(path)
    findings = Findings()
    root = read_root(files, findings)
    products = {identity: named(product, identity) for identity, product in by_id(root, "PDT")}
    machines = read_machines(root, files.label, findings)
    plots = read_plots(root, files.label, findings)
    farms = root.findall("FRM")
    data = TaskData(
        source=files.label,
        version=version_of(root),
        farm=named(farms[0], "") if len(farms) == 1 else "",
        plots=plots,
        products=products,
        warnings=tuple(findings.warnings),
    )
    reader = TaskReader(files, machines, plots, products, Room(files.label))
    return data, reader, _chosen(root, task, files.label)


def _chosen(root: Element, task: str | None, label: str) -> list[Element]:
    elements = [element for _, element in by_id(root, "TSK")]
    if task is None:
        return elements
    for attribute in ("A", "B"):
        found = [element for element in elements if text(element, attribute) == task]
        if len(found) == 1:
            return found
        if found:
            raise InputError.at(
                label,
                "",
                f'{len(found)} tasks are called "{task}".',
                f"Name one by its id: {listed(text(e, 'A') for e in found)}.",
            )
    known = [word for e in elements for word in (text(e, "A"), text(e, "B")) if word]
    raise InputError.at(
        label, "", f'there is no task "{task}".', choice(task, known, "It holds no tasks.")
    )
