"""Jobs: the drives of one field, one machine and one product within adjacent days."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from evenacre.io.logs.blockages import BlockageNote
from evenacre.io.logs.columns.clock import dates_of
from evenacre.io.stick.drives import Drive, Piece
from evenacre.io.stick.files import StickFile
from evenacre.io.stick.ground import Plot
from evenacre.io.tables.time_texts import seconds_of
from evenacre.io.taskdata.read import Task, TaskData
from evenacre.io.tickets.rows import TicketRow
from evenacre.model import Implement

_SAME_WIDTH = 0.02
_SAME_ROUND_DAYS = 21
_MADE_UP = ("after what was placed", "after the crop that the log names", "nothing names it")
_TICKETS_BEFORE_S, _TICKETS_AFTER_S = 12 * 3600.0, 12 * 3600.0


@dataclass(frozen=True)
class Machine:
    """What is told of the implement of a drive; zeros and None where nothing is."""

    width_m: float | None = None
    rows: int = 0
    sections: int = 0
    described: Implement | None = None  # by the device itself
    source: str = ""  # what tells it
    name: str = ""  # in the log

    def agrees(self, other: Machine) -> bool:
        """Tell whether both may be one machine."""
        if self.name and other.name and self.name != other.name:
            return False
        if self.width_m and other.width_m:
            return abs(self.width_m / other.width_m - 1) < _SAME_WIDTH
        return not (self.rows and other.rows and self.rows != other.rows)

    def joined(self, other: Machine) -> Machine:
        """Put together what two drives tell of one machine."""
        wide = self if self.width_m or not other.width_m else other
        return Machine(
            wide.width_m,
            max(self.rows, other.rows),
            max(self.sections, other.sections),
            self.described or other.described,
            wide.source or other.source,
            self.name or other.name,
        )


@dataclass
class Job:
    """An operation as it is to be written, or added to."""

    plot: Plot
    pieces: list[Piece]
    machine: Machine
    products: dict[str, float | None] = field(default_factory=dict)  # target, kg per m2
    crop: str = ""  # as the logs call it
    name: str = ""
    known: int | None = None  # number of the operation in the season that is there
    remarks: dict[str, str] = field(default_factory=dict)  # why, by key
    blockages: list[StickFile] = field(default_factory=list)
    stopped: set[str] = field(default_factory=set)  # what they name: "towers", "rows"
    loads: StickFile | None = None

    @property
    def days(self) -> list[str]:
        """Dates of its work, on the logs' own clock."""
        times = [p.drive.time_s[p.drive.working] for p in self.pieces if p.drive.dated]
        return dates_of(np.concatenate(times), None) if times else []

    @property
    def span(self) -> tuple[float, float] | None:
        """First and last second of its dated logs."""
        times = [p.drive.time_s for p in self.pieces if p.drive.dated]
        return (min(t.min() for t in times), max(t.max() for t in times)) if times else None

    def first_day(self, zone: str | None) -> str:
        """Date it began, in the farm's zone where it is known."""
        times = [p.drive.time_s[p.drive.working] for p in self.pieces if p.drive.dated]
        return dates_of(np.concatenate(times), zone)[0] if times else ""


def machine_of(drive: Drive) -> Machine:
    """What a drive tells of its implement."""
    described = drive.task.implement if drive.task else None
    width = described.width_m if described else drive.width_m
    return Machine(width, drive.rows, drive.sections, described, drive.name, drive.implement)


def placed_by(drive: Drive) -> dict[str, float | None]:
    """Products a drive names, with the target where its task tells it."""
    named: dict[str, float | None] = {name: None for name in drive.products if name}
    if drive.task is not None:
        named |= drive.task.products
    return named


def jobs_of(plot: Plot) -> list[Job]:
    """Group the pieces on a field: one machine, one product, adjacent days; a night parts none.

    What goes over the same ground again is another job.
    """
    jobs: list[Job] = []
    for piece in sorted(plot.pieces, key=lambda p: (not p.drive.dated, _start(p))):
        machine, products = machine_of(piece.drive), placed_by(piece.drive)
        for job in jobs:
            told = bool(products) and bool(job.products)
            if (
                job.machine.agrees(machine)
                and (not told or set(products) == set(job.products))
                and ("" in (piece.drive.crop, job.crop) or piece.drive.crop == job.crop)
                and _task_name(piece) in ("", *(_task_name(p) for p in job.pieces))
                and _adjacent(job, piece)
                and not any(_goes_again(piece, before) for before in job.pieces)
            ):
                job.pieces.append(piece)
                job.machine = job.machine.joined(machine)
                job.products = {**products, **job.products}
                job.crop = job.crop or piece.drive.crop
                break
        else:
            jobs.append(Job(plot, [piece], machine, products, piece.drive.crop))
    return jobs


def _start(piece: Piece) -> float:
    return float(piece.drive.time_s.min()) if len(piece.drive.time_s) else 0.0


def _task_name(piece: Piece) -> str:
    return piece.drive.task.name if piece.drive.task else ""


def _goes_again(piece: Piece, before: Piece) -> bool:
    """Whether a piece goes where an earlier one had been to its end."""
    ended = float(before.drive.time_s.max()) if len(before.drive.time_s) else np.inf
    return ended < _start(piece) and piece.retraces(before)


def _adjacent(job: Job, piece: Piece) -> bool:
    if not piece.drive.dated or not job.days:
        return False
    days = dates_of(piece.drive.time_s, None)
    last, first = date.fromisoformat(job.days[-1]), date.fromisoformat(days[0])
    return (first - last).days <= 1


@dataclass(frozen=True)
class PlannedTask:
    """A task of a plan: what is to be placed, and where."""

    task: Task
    field: str
    file: str


def planned_tasks(plans: Iterable[tuple[StickFile, TaskData]]) -> list[PlannedTask]:
    """Tasks without a log, which say what was to be done."""
    return [
        PlannedTask(task, data.fields[task.field_id].name, file.name)
        for file, data in plans
        for task in data.tasks
        if not task.tracks and task.field_id
    ]


def take_plans(jobs: Sequence[Job], plans: Sequence[PlannedTask]) -> None:
    """Take names and target rates from the plan of the same field and products."""
    for job in jobs:
        for plan in plans:
            same = plan.field == job.plot.name and set(plan.task.products)
            if not same or (job.products and set(job.products) != same):
                continue
            job.name = job.name or plan.task.name
            job.remarks.setdefault("name", f"planned so in {plan.file}")
            if not job.products:
                job.products = dict.fromkeys(plan.task.products)
                job.remarks["products"] = f"the log names none; these were planned in {plan.file}"
            for product, rate in plan.task.products.items():
                if rate is not None and job.products.get(product) is None:
                    job.products[product] = rate
                    job.remarks[f"rate {product}"] = f"planned in {plan.file}"
            break


def take_targets(jobs: Sequence[Job], targets: Mapping[str, float | None]) -> None:
    """Take the products that somebody says were placed, where no log or plan names one."""
    for job in jobs:
        if targets and not job.products:
            job.products = dict(targets)
            job.remarks["products"] = "the log names none; the options do"
        for product, rate in targets.items():
            if rate is not None and product in job.products and job.products[product] is None:
                job.products[product] = rate
                job.remarks[f"rate {product}"] = "as the options say"


def take_tickets(
    jobs: Sequence[Job],
    tables: Mapping[StickFile, Sequence[TicketRow]],
    zone: str | None,
) -> list[tuple[StickFile, str]]:
    """Give tables of tickets to the jobs they are of; what was not given, and why."""
    left = []
    for file, rows in tables.items():
        times = seconds_of([row.time for row in rows], "", zone)
        given = False
        for job in jobs:
            own = [
                row
                for row, time in zip(rows, times, strict=True)
                if _is_of(row, float(time), job, one_of=sum(j.span is not None for j in jobs))
            ]
            if not own:
                continue
            # The table is read line by line: those of others have to say that they are.
            if not all(row.field for row in rows) and len(own) < len(rows):
                continue
            given = True
            job.loads = file
            job.remarks["loads"] = "its tickets name the field" if own[0].field else "by their time"
            called = {row.operation for row in own if row.operation}
            if len(called) == 1 and not job.name:
                job.name = called.pop()
                job.remarks["name"] = f"{file.name} calls it so"
            if not job.products:
                job.products = dict.fromkeys(row.product for row in own if row.product)
                job.remarks["products"] = f"the log names none; {file.name} does"
        if not given:
            left.append((file, "None of its tickets is of the place and time of a log here."))
    return left


def _is_of(row: TicketRow, time_s: float, job: Job, *, one_of: int) -> bool:
    if row.field and row.field.casefold() != job.plot.name.casefold():
        return False
    if job.products and row.product and row.product not in job.products:
        return False
    if np.isnan(time_s) or job.span is None:
        return bool(row.field) or one_of == 1
    first, last = job.span
    return first - _TICKETS_BEFORE_S <= time_s <= last + _TICKETS_AFTER_S


def take_blockages(
    jobs: Sequence[Job], tables: Mapping[StickFile, Sequence[BlockageNote]], zone: str | None
) -> list[tuple[StickFile, str]]:
    """Give tables of blockages to the jobs within whose time they lie; the others, and why."""
    left = []
    for file, notes in tables.items():
        times = seconds_of([note.start for note in notes], "", zone)
        if not np.isfinite(times).all():
            left.append((file, "Its times name no date; name it in an operation: blockages = ..."))
            continue
        fitting = [
            job
            for job in jobs
            if job.span and ((job.span[0] <= times) & (times <= job.span[1])).all()
        ]
        if len(fitting) != 1:
            which = "several jobs" if fitting else "no job"
            left.append((file, f"Its times lie within {which} found here."))
        else:
            fitting[0].blockages.append(file)
            fitting[0].stopped |= {"towers" if note.tower else "rows" for note in notes}
            fitting[0].remarks["blockages"] = "its times lie within the drive"
    return left


def _named_alike(job: Job, jobs: Sequence[Job]) -> Job | None:
    """A job that has a name and placed the same within a few weeks."""
    for other in jobs:
        told = other.name and other.remarks.get("name") not in _MADE_UP
        alike = bool(job.products) and set(other.products) == set(job.products)
        if told and alike and job.days and other.days:
            apart = date.fromisoformat(job.days[0]) - date.fromisoformat(other.days[0])
            if abs(apart.days) <= _SAME_ROUND_DAYS:
                return other
    return None


def name_jobs(jobs: Sequence[Job], taken: Iterable[tuple[str, str]]) -> None:
    """Give every new job a name that no other on its field has."""
    used = set(taken)
    for job in jobs:
        if job.known is not None:
            continue
        own = [_task_name(piece) for piece in job.pieces if _task_name(piece)]
        if own:
            job.name, job.remarks["name"] = own[0], "the task's name"
        elif not job.name and (like := _named_alike(job, jobs)) is not None:
            job.name = like.name
            job.remarks["name"] = f"as the same products on {like.plot.name}"
        elif not job.name:
            job.name = " and ".join(job.products) or job.crop or "drive"
            job.remarks["name"] = _MADE_UP[0 if job.products else 1 if job.crop else 2]
        bare, number = job.name, 1
        while (job.plot.name, job.name) in used:
            days = job.days
            job.name = f"{bare}, {days[0]}" if days and number == 1 else f"{bare} {number + 1}"
            number += 1
        used.add((job.plot.name, job.name))
