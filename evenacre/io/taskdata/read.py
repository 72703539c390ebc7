"""Read a set of ISO 11783-10 task data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from xml.etree.ElementTree import Element

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings, Subject
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.taskdata.amounts import Allotment
from evenacre.io.taskdata.counters import compare_task
from evenacre.io.taskdata.fields import read_fields
from evenacre.io.taskdata.folder import TaskFiles, open_taskdata
from evenacre.io.taskdata.machines import Machines, implement_of, read_machines
from evenacre.io.taskdata.prescriptions import Prescription, read_prescription, single_rates
from evenacre.io.taskdata.time_log import Room, read_log
from evenacre.io.taskdata.tracks import Driven, track_of
from evenacre.io.taskdata.tree import by_id, named, read_root, text
from evenacre.model import Field, Implement, Track


@dataclass(frozen=True)
class Task:
    """One job (TSK)."""

    id: str
    name: str
    field_id: str = ""  # Of its field; empty when it names none
    # By name the one rate planned, kg per m2; None: none, or several
    products: dict[str, float | None] = field(default_factory=dict)
    prescription: Prescription | None = None  # From treatment zones or a grid
    tracks: tuple[Track, ...] = ()  # One for each time log with positions
    # Width, sections and offsets as far as the device tells; None without a width
    implement: Implement | None = None
    logs: int = 0  # Time logs the task names, whether or not they were read
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class TaskData:
    """A set of task data."""

    source: str  # File name, as shown to people
    farm: str = ""  # Empty unless exactly one is named
    fields: dict[str, Field] = field(default_factory=dict)  # By id, in file order
    tasks: tuple[Task, ...] = ()
    warnings: tuple[str, ...] = ()


def read_taskdata(path: Path, *, task: str | None = None, time_zone: str | None = None) -> TaskData:
    """Read a set of task data: fields, products, tasks and what was logged.

    Parameters
    ----------
    path : Path
        A zip, a folder, or the TASKDATA.XML in it.
    task : str, optional
        Id or name of one task; all when None.
    time_zone : str, optional
        Zone of a machine's clock where the receiver's time does not tell it.

    Raises
    ------
    InputError
        When it is no task data, damaged beyond use, or made to do harm.
    """
    data, reader, elements = _open(Path(path), task)
    return replace(data, tasks=tuple(reader.read(element, time_zone) for element in elements))


def each_task(path: Path, *, time_zone: str | None = None) -> Iterator[tuple[TaskData, Task]]:
    """Read tasks one after another with their set, so that the logs of only one fill the memory."""
    data, reader, elements = _open(Path(path), None)
    for element in elements:
        yield data, replace(reader, room=Room(data.source)).read(element, time_zone)


def read_taskdata_tracks(
    path: Path, task: str | None = None, time_zone: str | None = None
) -> list[Track]:
    """Read the tracks of one task, or of all; InputError when there is no usable time log."""
    data = read_taskdata(path, task=task, time_zone=time_zone)
    tracks = [
        replace(
            track,
            notes=(*_choice_of_tasks(data, one), *one.notes, *track.notes),
            warnings=(*data.warnings, *one.warnings, *track.warnings),
        )
        for one in data.tasks
        for track in one.tracks
    ]
    if not tracks:
        said = [warning.removesuffix(".") for one in data.tasks for warning in one.warnings]
        because = f" ({said[0]})" if said else ""
        what = f"there is no time log with positions in it{because}."
        remedy = "Export the task data after the work is done, with its logs."
        raise InputError.at(data.source, "", what, remedy)
    return tracks


def _choice_of_tasks(data: TaskData, task: Task) -> tuple[str, ...]:
    """Say which task and field a track is of, where there is a choice."""
    if len(data.tasks) < 2:
        return ()
    field = data.fields[task.field_id].name if task.field_id else "no field"
    return (
        f'{data.source}: it holds {len(data.tasks)} tasks; this log is of "{task.name}" '
        f"({task.id}) on {field}. Name a task as the layer to take it alone.",
    )


def _open(path: Path, task: str | None) -> tuple[TaskData, _TaskReader, list[Element]]:
    files = open_taskdata(path)
    about = Subject(files.label)
    root = read_root(files, about)
    products = {identity: named(product, identity) for identity, product in by_id(root, "PDT")}
    machines = read_machines(root, about)
    fields = read_fields(root, about)
    farms = root.findall("FRM")
    farm = named(farms[0], "") if len(farms) == 1 else ""
    data = TaskData(files.label, farm, fields, warnings=tuple(about.findings.warnings))
    reader = _TaskReader(files, machines, set(fields), products, Room(files.label))
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
            what = f'{len(found)} tasks are called "{task}".'
            remedy = f"Name one by its id: {listed(text(e, 'A') for e in found)}."
            raise InputError.at(label, "", what, remedy)
    known = [word for e in elements for word in (text(e, "A"), text(e, "B")) if word]
    remedy = choice(task, known, "It holds no tasks.")
    raise InputError.at(label, "", f'there is no task "{task}".', remedy)


@dataclass(frozen=True)
class _TaskReader:
    """Reads tasks one by one, with what they share at hand."""

    files: TaskFiles
    machines: Machines
    fields: set[str]
    products: Mapping[str, str]
    room: Room
    # Time logs that were read; a log belongs to one task
    taken: set[str] = field(default_factory=set)

    def read(self, element: Element, time_zone: str | None) -> Task:
        """Read a task with its logs."""
        identity = text(element, "A")
        name = named(element, identity)
        about = Subject(f'{self.files.label}, task "{name}"')
        allotments = [
            Allotment(self.products.get(text(pan, "A"), text(pan, "A")), text(pan, "E"))
            for pan in element.findall("PAN")
            if text(pan, "A")
        ]
        prescription = read_prescription(element, self.files, self.products, about)
        driven = self._driven(element, allotments, time_zone, about)
        if driven:
            compare_task(element, self.machines, [d.sums for d in driven], about)
        implement = self._implement(driven, element, about)
        place = text(element, "E")
        if place and place not in self.fields:
            about.warn(f'it is of a field "{place}" that is not described.')
        single = single_rates(element, self.products)
        return Task(
            id=identity,
            name=name,
            field_id=place if place in self.fields else "",
            products=_products(driven, allotments, prescription, single),
            prescription=prescription,
            tracks=tuple(d.track for d in driven),
            implement=implement,
            logs=len(element.findall("TLG")),
            notes=tuple(about.findings.notes),
            warnings=tuple(about.findings.warnings),
        )

    def _driven(
        self,
        task: Element,
        allotments: list[Allotment],
        time_zone: str | None,
        about: Subject,
    ) -> list[Driven]:
        driven = []
        for name in (text(log, "A") for log in task.findall("TLG")):
            if name in self.taken:
                about.warn(f"the time log {name} is named twice; it is read once.")
                continue
            self.taken.add(name)
            own = Findings()
            # While it is read a log goes by its file, as a track by its task too.
            read = Subject(f"{self.files.label}, {name}", own)
            log = read_log(self.files, name, time_zone, self.room, read)
            track = Subject(f"{about.name}, {name}", own)
            made = log and track_of(log, allotments, self.machines, track)
            if made:
                driven.append(made)
            else:
                for warning in own.warnings:
                    about.findings.warn(warning)
        return driven

    def _implement(self, driven: list[Driven], task: Element, about: Subject) -> Implement | None:
        # The log that tells most of the implement: a width first, then the most records.
        main = max(driven, key=lambda d: (d.width_m or 0.0, len(d.track)), default=None)
        if main is None or not main.width_m:
            return None
        if main.boom not in self.machines.parts:
            return Implement(main.width_m)
        links = [(text(link, "B"), text(link, "D")) for link in task.findall("CNN")]
        return implement_of(main.boom, main.width_m, self.machines, links, about)


def _products(
    driven: Sequence[Driven],
    allotments: Sequence[Allotment],
    prescription: Prescription | None,
    single: Mapping[str, float],
) -> dict[str, float | None]:
    """Return the products given to a task, logged or planned, with the one rate planned if any."""
    names = [a.product for a in allotments]
    names += [p for d in driven for p in (*d.track.rates, *d.track.flows)]
    zones = prescription.rates.values() if prescription else ()
    names += [*single, *(p for rates in zones for p in rates)]
    named = [name for name in dict.fromkeys(names) if name]
    targets = {p: t for d in driven for p, t in d.targets_kg_per_m2.items()} | dict(single)
    loose = targets.get("") if len(named) == 1 else None
    return {name: targets.get(name, loose) for name in named}
