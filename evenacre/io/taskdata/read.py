"""Read sets of ISO 11783-10 task data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from xml.etree.ElementTree import Element

from evenacre.errors import InputError, Problem
from evenacre.io.common.findings import Findings, Subject
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.taskdata.amounts import Allotment
from evenacre.io.taskdata.counters import compare_task, compare_times
from evenacre.io.taskdata.fields import read_fields
from evenacre.io.taskdata.folder import TaskFiles, open_sets
from evenacre.io.taskdata.joined import join_logs
from evenacre.io.taskdata.machines import Machines, implement_of, read_machines, width_of
from evenacre.io.taskdata.prescriptions import Prescription, read_prescription, single_rates
from evenacre.io.taskdata.time_log import Log, Room, read_log
from evenacre.io.taskdata.tracks import Driven, idle_beside_others, said_once, told_apart, track_of
from evenacre.io.taskdata.tree import MAX_TAGS, by_id, named, read_root, text
from evenacre.language import tr
from evenacre.model import Field, Implement, Track


@dataclass(frozen=True)
class Task:
    """One job (TSK)."""

    id: str
    name: str
    layer: str = ""  # What to call it by in its file: the id, after its set where there are several
    field_id: str = ""  # Of its field; empty when it names none
    # By name the one rate planned, kg per m2; None: none, or several
    products: dict[str, float | None] = field(default_factory=dict)
    prescription: Prescription | None = None  # From treatment zones or a grid
    tracks: tuple[Track, ...] = ()  # One for each time log with positions
    # Width, sections and offsets as far as the device tells; None without a width
    implement: Implement | None = None
    logs: int = 0  # Time logs the task names, whether or not they were read
    worked_m: float = 0.0  # Driven while anything was on
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
    unread: tuple[str, ...] = ()  # What is said of other sets beside it that were left out


def read_taskdata(path: Path, *, task: str | None = None, time_zone: str | None = None) -> TaskData:
    """Read the only set of task data in a file: fields, products, tasks and what was logged.

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
    opened = _open(Path(path), [] if task is None else [task])
    if len(opened) > 1:
        what = tr("it holds {count} sets of task data.", count=len(opened))
        raise InputError.at(Path(path).name, "", what, tr("Name the folder of one of them."))
    data, reader, elements = opened[0]
    return replace(data, tasks=tuple(reader.read(element, time_zone) for element in elements))


def each_task(
    path: Path, tasks: Sequence[str] = (), *, time_zone: str | None = None
) -> Iterator[tuple[TaskData, Task]]:
    """Read tasks one after another with their set, so that the logs of only one fill the memory.

    ``tasks`` are ids, names or layers of those to read; all when there are none.
    """
    for data, reader, elements in _open(Path(path), tasks, alike=True):
        for element in elements:
            yield data, replace(reader, room=Room(data.source)).read(element, time_zone)


def read_taskdata_tracks(
    path: Path, task: str | None = None, time_zone: str | None = None
) -> list[Track]:
    """Read the tracks of one task, or of all; InputError when there is no usable time log."""
    path, tracks, said = Path(path), list[Track](), dict[str, None]()
    opened = _open(path, [] if task is None else [task])
    count = sum(len(elements) for *_, elements in opened)
    for data, reader, elements in opened:
        about = (*data.unread, *data.warnings)
        for one in (reader.read(element, time_zone) for element in elements):
            notes = (*_which(data, one, count), *one.notes)
            warnings = (*about, *one.warnings)
            said.update(dict.fromkeys(warnings))
            for track in one.tracks:
                tracks.append(
                    replace(
                        track, notes=(*notes, *track.notes), warnings=(*warnings, *track.warnings)
                    )
                )
                about = notes = warnings = ()
    if not tracks:
        because = " ".join(said)
        what = tr(
            "there is no time log with positions in it{value}.",
            value=f" ({because[:-1]})" * bool(because),
        )
        remedy = tr("Export the task data after the work is done, with its logs.")
        raise InputError.at(path.name, "", what, remedy)
    return tracks


def _which(data: TaskData, task: Task, count: int) -> tuple[str, ...]:
    """Say which task and field a track is of, where there is a choice."""
    if count < 2:
        return ()
    field = data.fields[task.field_id].name if task.field_id else "no field"
    return (
        tr(
            '{source}: it holds {count:,} tasks; the logs from here on are of "{name}" '
            "({layer}) on {field}. Name a task as the layer to take it alone.",
            source=data.source,
            count=count,
            name=task.name,
            layer=task.layer,
            field=field,
        ),
    )


def _open(
    path: Path, tasks: Sequence[str], *, alike: bool = False
) -> list[tuple[TaskData, _TaskReader, list[Element]]]:
    """Open every set that can be; a set that cannot is told of with the first of the others.

    A name that several tasks share is refused unless tasks ``alike`` are all wanted.
    """
    sets, warnings = open_sets(path)
    opened: list[tuple[TaskData, _TaskReader, list[Element]]] = []
    failures: list[Problem] = []
    tags = 0
    for files in sets:
        about = Subject(files.label)
        try:
            root = read_root(files, about)
        except InputError as error:
            failures += error.problems
            continue
        tags += sum(1 for _ in root.iter())
        if tags > MAX_TAGS:
            what, remedy = (
                tr("its sets have too many elements."),
                tr("Name the folder or zip of one."),
            )
            raise InputError.at(path.name, "", what, remedy)
        products = {identity: named(product, identity) for identity, product in by_id(root, "PDT")}
        machines = read_machines(root, about)
        fields = read_fields(root, about)
        farms = root.findall("FRM")
        farm = named(farms[0], "") if len(farms) == 1 else ""
        data = TaskData(files.label, farm, fields, warnings=tuple(about.findings.warnings))
        reader = _TaskReader(files, machines, set(fields), products, Room(files.label))
        opened.append((data, reader, [element for _, element in by_id(root, "TSK")]))
    if not opened:
        raise InputError(failures)
    if tasks:
        return _chosen(opened, tasks, path.name, alike=alike)
    unread = (
        *warnings,
        *(tr("{problem} It was left out.", problem=problem) for problem in failures),
    )
    data, reader, elements = opened[0]
    opened[0] = replace(data, unread=unread), reader, elements
    return opened


def _chosen(
    opened: list[tuple[TaskData, _TaskReader, list[Element]]],
    tasks: Sequence[str],
    label: str,
    *,
    alike: bool,
) -> list[tuple[TaskData, _TaskReader, list[Element]]]:
    """Keep the tasks of certain ids, names or layers."""
    known: list[str] = []
    kept: set[str] = set()
    called = [
        (reader.layer(text(element, "A")), text(element, "A"), text(element, "B"))
        for _, reader, elements in opened
        for element in elements
    ]
    for task in tasks:
        for way in range(3):
            found = [names[0] for names in called if names[way] == task]
            if len(found) > 1 and not alike:
                what = tr('{count} tasks are called "{task}".', count=len(found), task=task)
                remedy = tr("Name one by its id: {listed}.", listed=listed(found))
                raise InputError.at(label, "", what, remedy)
            if found:
                kept.update(found)
                break
        else:
            known = known or [word for names in called for word in dict.fromkeys(names) if word]
            remedy = choice(task, known, "It holds no tasks.")
            raise InputError.at(label, "", tr('there is no task "{task}".', task=task), remedy)
    return [
        (data, reader, chosen)
        for data, reader, elements in opened
        if (chosen := [e for e in elements if reader.layer(text(e, "A")) in kept])
    ]


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

    def layer(self, identity: str) -> str:
        """What to call a task by: its id, after its set where there are several."""
        return f"{self.files.place}/{identity}" if self.files.place else identity

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
            compare_task(element, self.machines, [(d.sums, d.spans) for d in driven], about)
            compare_times(element, [d.track for d in driven], about)
        implement = self._implement(driven, element, about)
        place = text(element, "E")
        if place and place not in self.fields:
            about.warn(tr('it is of a field "{place}" that is not described.', place=place))
        single = single_rates(element, self.products)
        return Task(
            id=identity,
            name=name,
            layer=self.layer(identity),
            field_id=place if place in self.fields else "",
            products=_products(driven, allotments, prescription, single),
            prescription=prescription,
            tracks=tuple(d.track for d in driven),
            implement=implement,
            logs=len(element.findall("TLG")),
            worked_m=sum(d.sums.distance for d in driven),
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
        logs: list[tuple[str, Log, Findings]] = []
        for name in (text(log, "A") for log in task.findall("TLG")):
            if name in self.taken:
                about.warn(tr("the time log {name} is named twice; it is read once.", name=name))
                continue
            self.taken.add(name)
            own = Findings()
            # While it is read a log goes by its file, as a track by its task too.
            try:
                read = Subject(f"{self.files.label}, {name}", own)
                log = read_log(self.files, name, time_zone, self.room, read)
            except InputError as error:
                log = None
                own.warnings += [
                    tr("{problem} The log was left out.", problem=problem)
                    for problem in error.problems
                ]
            if log is not None:
                logs.append((name, log, own))
            else:
                about.findings.warnings += own.warnings
        driven = []
        for name, log, own in join_logs(logs, about):
            track = Subject(f"{about.name}, {name}", own)
            made = track_of(log, allotments, self.machines, track)
            if made:
                driven.append(made)
            else:
                about.findings.warnings += own.warnings
        return told_apart(said_once(idle_beside_others(driven, about), about))

    def _implement(self, driven: list[Driven], task: Element, about: Subject) -> Implement | None:
        # The log that tells most of the implement: a width first, then the most records.
        main = max(driven, key=lambda d: (d.width_m or 0.0, len(d.track)), default=None)
        if main is None:
            return None
        boom, width, machines = main.boom, main.width_m, main.machines
        if not width:
            tools = machines.tools([text(link, "C") for link in task.findall("DAN")])
            tools = tools or machines.tools([])
            width = width_of(tools[0], machines, about) if len(tools) == 1 else None
            if not width:
                return None
            boom = tools[0]
            name = machines.parts[boom].name
            about.note(
                tr('its logs name no tool; the width is that of "{name}", the only one.', name=name)
            )
        if boom not in machines.parts:
            return Implement(width)
        links = [(text(link, "B"), text(link, "D")) for link in task.findall("CNN")]
        return implement_of(boom, width, machines, links, about)


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
