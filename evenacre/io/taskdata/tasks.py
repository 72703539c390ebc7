"""Tasks (TSK): what was done or is to be done on one field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element

from evenacre.io.common.findings import Findings
from evenacre.io.taskdata.amounts import Allotment
from evenacre.io.taskdata.counters import compare_task
from evenacre.io.taskdata.devices import Machines
from evenacre.io.taskdata.element_types import Plan, PlotRecord, Task, TaskProduct
from evenacre.io.taskdata.folder import TaskFiles
from evenacre.io.taskdata.implements import Link, implement_of
from evenacre.io.taskdata.logs import Room, read_log
from evenacre.io.taskdata.prescriptions import planned, read_plan
from evenacre.io.taskdata.tracks import Driven, track_of
from evenacre.io.taskdata.tree import named, text
from evenacre.model import Implement


@dataclass(frozen=True)
class TaskReader:
    """Reads tasks one by one, with what they share at hand.

    Attributes
    ----------
    files, machines, plots, products, room
        What tasks share.
    taken : set of str
        Time logs that were read; a log belongs to one task.
    """

    files: TaskFiles
    machines: Machines
    plots: Mapping[str, PlotRecord]
    products: Mapping[str, str]
    room: Room
    taken: set[str] = field(default_factory=set)

    def read(self, element: Element, time_zone: str | None, *, logs: bool) -> Task:
        """Read a task; its time logs only when they are wanted.

        Raises
        ------
        InputError
            When a log is damaged beyond use or there is no room for it.
        """
        identity = text(element, "A")
        name = named(element, identity)
        about = f'{self.files.label}, task "{name}"'
        findings = Findings()
        allotments = [
            Allotment(self.products.get(text(pan, "A"), text(pan, "A")), text(pan, "E"))
            for pan in element.findall("PAN")
            if text(pan, "A")
        ]
        plan = read_plan(element, self.files, self.products, about, findings)
        driven = self._driven(element, allotments, time_zone, about, findings) if logs else []
        if driven:
            sums = [d.sums for d in driven]
            compare_task(element, self.machines, sums, about, findings)
        main = _main(driven)
        links = [(text(c, "B"), text(c, "D")) for c in element.findall("CNN")]
        implement, device = self._implement(main, links, about, findings)
        plot = text(element, "E")
        if plot and plot not in self.plots:
            findings.warn(f'{about}: it is of a field "{plot}" that is not described.')
        return Task(
            id=identity,
            name=name,
            plot=plot if plot in self.plots else "",
            products=_products(driven, allotments, plan, planned(element, self.products)),
            plan=plan,
            tracks=tuple(d.track for d in driven),
            implement=implement,
            implement_name=device,
            logs=len(element.findall("TLG")),
            notes=tuple(findings.notes),
            warnings=tuple(findings.warnings),
        )

    def _driven(
        self,
        element: Element,
        allotments: list[Allotment],
        time_zone: str | None,
        about: str,
        findings: Findings,
    ) -> list[Driven]:
        driven = []
        for log_element in element.findall("TLG"):
            name = text(log_element, "A")
            if name in self.taken:
                findings.warn(f"{about}: the time log {name} is named twice; it is read once.")
                continue
            self.taken.add(name)
            own = Findings()
            log = read_log(self.files, log_element, time_zone, self.room, own)
            made = log and track_of(log, allotments, self.machines, f"{about}, {name}", own)
            if made:
                driven.append(made)
            else:
                for warning in own.warnings:
                    findings.warn(warning)
        return driven

    def _implement(
        self, main: Driven | None, links: list[Link], about: str, findings: Findings
    ) -> tuple[Implement | None, str]:
        if main is None or main.boom not in self.machines.parts:
            width = main and main.width_m
            return (Implement(width) if width else None), ""
        part = self.machines.parts[main.boom]
        name = self.machines.names.get(part.device, "")
        if main.width_m is None:
            return None, name
        return (
            implement_of(main.boom, main.width_m, self.machines, links, about, findings),
            name,
        )


def _main(driven: list[Driven]) -> Driven | None:
    """Return the log that tells most of the implement: a width first, then the most records."""
    return max(driven, key=lambda d: (d.width_m or 0.0, len(d.track)), default=None)


def _products(
    driven: list[Driven], allotments: list[Allotment], plan: Plan | None, one: Mapping[str, float]
) -> tuple[TaskProduct, ...]:
    """Return the products given to a task, logged or planned, with the one rate planned if any."""
    names = [a.product for a in allotments]
    names += [p for d in driven for p in (*d.track.rates, *d.track.flows)]
    names += [*one, *(p for rates in (plan.rates.values() if plan else ()) for p in rates)]
    named = [name for name in dict.fromkeys(names) if name]
    targets = {p: t for d in driven for p, t in d.targets.items()} | dict(one)
    loose = targets.get("") if len(named) == 1 else None
    return tuple(TaskProduct(name, targets.get(name, loose)) for name in named)
