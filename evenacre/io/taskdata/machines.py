"""Machines (DVC), how their elements are laid out, and the implement they make.

Offsets are those of ISO 11783-10: x ahead, y to the right, in millimetres from the machine's
reference point, which for a towed implement lies on its axle and for a tractor on its rear one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any
from xml.etree.ElementTree import Element

import numpy as np

from evenacre.io.common.findings import Subject
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.time_log import Log
from evenacre.io.taskdata.tree import by_id, ddi, integer, named, text
from evenacre.language import tr
from evenacre.model import Implement, TowedUnit

DEVICE, FUNCTION, BIN, SECTION, UNIT, CONNECTOR, NAVIGATION = "1234567"
MAX_WIDTH_M = 200.0
# A machine is a few elements deep; a longer chain is a circle or damage.
_MAX_DEPTH = 16
_ALIKE = 0.01
_MATCH = 0.02
_LEAST_ROW_M, _ROW_M = 0.05, 0.25
# Three-point hitches carry or half carry; every other kind of connector tows.
_TOLD = ("behind", "left")
_MOUNTED = (2, 3)
_UNKNOWN = (None, 0)

Link = tuple[str, str]
"""Two connected elements."""


@dataclass(frozen=True)
class Part:
    """An element of a machine (DET)."""

    id: str  # As time logs name it
    device: str  # Id of the machine
    kind: str  # Its type: `FUNCTION`, `SECTION` and so on
    name: str
    number: int  # Among elements of its type
    above: str  # Id of the element it belongs to; empty at the top
    # From the machine's reference point; None when it does not say
    ahead_m: float | None = None
    right_m: float | None = None
    width_m: float | None = None  # Working width: as it is, else by default, else at most
    connector: int | None = None  # Type of connector


@dataclass(frozen=True)
class Machines:
    """The elements of all machines, by id."""

    parts: dict[str, Part] = field(default_factory=dict)

    @cached_property
    def _children(self) -> dict[str, list[str]]:
        children: dict[str, list[str]] = {}
        for part in self.parts.values():
            children.setdefault(part.above, []).append(part.id)
        return children

    def path(self, part: str) -> list[str]:
        """Return an element and those it belongs to, up to the top."""
        found: list[str] = []
        while part in self.parts and len(found) < _MAX_DEPTH:
            found.append(part)
            part = self.parts[part].above
        return list(dict.fromkeys(found))

    def kind(self, part: str) -> str:
        """Return the type of an element; empty where there is no such element."""
        return self.parts[part].kind if part in self.parts else ""

    def sections(self, boom: str) -> list[Part]:
        """Return the sections of a boom from the left; its units when it has no sections."""
        return self._below(boom, SECTION) or self._below(boom, UNIT)

    def _below(self, part: str, kind: str) -> list[Part]:
        """Elements of a type that belong to one; without lateral offsets in order of number."""
        level, under = [part], dict[str, None]()
        for _ in range(_MAX_DEPTH):
            level = [id for above in level for id in self._children.get(above, ())]
            level = [id for id in level if id not in under and id != part]
            under.update(dict.fromkeys(level))
        found = [self.parts[id] for id in under if self.parts[id].kind == kind]
        if all(p.right_m is not None for p in found):
            return sorted(found, key=lambda p: (p.right_m or 0.0, p.number))
        return sorted(found, key=lambda p: p.number)

    def tools(self, among: Sequence[str]) -> list[str]:
        """Return the widest tool of each machine, of some machines or of all."""
        booms: dict[str, tuple[float, str]] = {}
        for part in self.parts.values():
            known = _section_widths(self.sections(part.id))
            width = sum(known) if known else part.width_m
            if width and part.kind in (DEVICE, FUNCTION) and (not among or part.device in among):
                booms[part.device] = max(booms.get(part.device, (0.0, "")), (width, part.id))
        return [part for _, part in booms.values()]

    def completed(self, log: Log) -> Machines:
        """Add the widths and lateral places that a log tells and the description does not."""
        told: dict[str, dict[str, Any]] = {}
        for key in (ddis.OFFSET_Y, ddis.MAXIMUM_WIDTH, ddis.DEFAULT_WIDTH, ddis.ACTUAL_WIDTH):
            for id, index in log.index_by_part(key).items():
                values = log.values(index) * ddis.QUANTITIES[key].step
                values = values[np.isfinite(values) & (np.abs(values) <= MAX_WIDTH_M)]
                if key == ddis.OFFSET_Y and len(values):
                    told.setdefault(id, {})["right_m"] = float(values[-1])
                elif (values > 0).any():
                    told.setdefault(id, {})["width_m"] = float(values.max())
        made = self
        # A tool that logs how much of it is on is as wide as its sections.
        for small in (True, False):
            parts = dict(made.parts)
            for id, values_of in told.items():
                part = made.parts.get(id)
                if part is None or (part.kind in (SECTION, UNIT)) is not small:
                    continue
                if not small and _section_widths(made.sections(id)):
                    values_of.pop("width_m", None)
                missing = {k: v for k, v in values_of.items() if getattr(part, k) is None}
                parts[id] = replace(part, **missing)
            made = replace(made, parts=parts)
        return made


def read_machines(root: Element, about: Subject) -> Machines:
    """Read every machine of a set of task data."""
    parts: dict[str, Part] = {}
    for identity, device in by_id(root, "DVC"):
        machine = about.part(f'machine "{named(device, identity)}"')
        parts.update((part.id, part) for part in _parts(identity, device, machine))
    return Machines(parts)


def _parts(identity: str, device: Element, about: Subject) -> Iterator[Part]:
    values = {
        text(prop, "A"): (ddi(prop, "B"), integer(prop, "C")) for prop in device.findall("DPT")
    }
    elements = [e for e in device.findall("DET") if text(e, "A")]
    ids = {text(e, "B"): text(e, "A") for e in elements}
    for element in elements:
        own = {
            key: value
            for reference in element.findall("DOR")
            for key, value in [values.get(text(reference, "A"), (None, None))]
            if key is not None and value is not None
        }
        above = ids.get(text(element, "F"), "") if text(element, "F") != text(element, "B") else ""
        yield Part(
            id=text(element, "A"),
            device=identity,
            kind=text(element, "C"),
            name=named(element, text(element, "A"), "D"),
            number=integer(element, "E") or 0,
            above=above,
            ahead_m=_metres(own, ddis.OFFSET_X),
            right_m=_metres(own, ddis.OFFSET_Y),
            width_m=_width(own, about),
            connector=own.get(ddis.CONNECTOR_TYPE),
        )


def _metres(own: dict[int, int], key: int) -> float | None:
    return own[key] * ddis.QUANTITIES[key].step if key in own else None


def _width(own: dict[int, int], about: Subject) -> float | None:
    for key in (ddis.ACTUAL_WIDTH, ddis.DEFAULT_WIDTH, ddis.MAXIMUM_WIDTH):
        width = _metres(own, key)
        if not width:
            continue
        if 0 < width <= MAX_WIDTH_M:
            return width
        about.warn(tr("a working width of {width:g} m cannot be; it was not used.", width=width))
    return None


def width_of(boom: str, machines: Machines, about: Subject) -> float | None:
    """Return the full working width of a boom in metres; None when nothing tells it."""
    stated = [machines.parts[part].width_m for part in machines.path(boom)]
    own = next((width for width in stated if width is not None), None)
    known = _section_widths(machines.sections(boom))
    if not known:
        return own
    total = sum(known)
    if own is not None and abs(total - own) > _MATCH * own:
        about.warn(
            tr(
                "the machine is said to be {own:.2f} m wide, but its sections add up to "
                "{total:.2f} m; the sections were taken.",
                own=own,
                total=total,
            )
        )
    return total


def _section_widths(sections: Sequence[Part]) -> list[float]:
    """Widths of all sections, those not told like the rest; none unless these are alike."""
    known = [part.width_m for part in sections if part.width_m is not None]
    if len(known) < len(sections) and len(set(known)) == 1:
        return known[:1] * len(sections)
    return known if len(known) == len(sections) else []


def implement_of(
    boom: str, width_m: float, machines: Machines, links: Sequence[Link], about: Subject
) -> Implement:
    """Build the implement of a boom, with its sections and what is known of the hitch."""
    implement = Implement(width_m)
    widths = _section_widths(machines.sections(boom))
    if len(widths) > 1 and max(widths) - min(widths) > _ALIKE * max(widths):
        common = max(math.gcd(*(round(1000 * width) for width in widths)) / 1000, _LEAST_ROW_M)
        row = common / math.ceil(common / _ROW_M)
        rows = tuple(max(1, round(width / row)) for width in widths)
        about.note(
            tr(
                "the sections are of different width, {min:.2f} to {max:.2f} m.",
                min=min(widths),
                max=max(widths),
            )
        )
        implement = replace(implement, rows=sum(rows), section_rows=rows)
    return _with_hitch(implement, boom, machines, links, about)


def _with_hitch(
    implement: Implement, boom: str, machines: Machines, links: Sequence[Link], about: Subject
) -> Implement:
    """Add where the antenna and the tool line are, when both machines say all that is needed."""
    if boom not in machines.parts:
        return implement
    device = machines.parts[boom].device
    tool = _ahead(boom, machines)
    antennas = _placed(machines.parts.values(), NAVIGATION)
    if tool is None or not antennas:
        return implement
    own = [antenna for antenna in antennas if antenna.device == device]
    if own:
        antenna = own[0]
        about.note(tr("the antenna rides on the implement itself, as the machine says."))
        return replace(
            implement,
            antenna_ahead_m=(antenna.ahead_m or 0.0) - tool,
            antenna_left_m=-(antenna.right_m or 0.0),
            told=_TOLD,
        )
    pins = _pins(device, {a.device for a in antennas}, machines, links)
    if pins is None:
        return implement
    front, rear = pins
    antenna = next(a for a in antennas if a.device == front.device)
    ahead, pin, pull = antenna.ahead_m or 0.0, front.ahead_m or 0.0, rear.ahead_m or 0.0
    implement = replace(
        implement,
        axle_to_antenna_m=ahead,
        antenna_ahead_m=ahead - pin,
        antenna_left_m=(front.right_m or 0.0) - (antenna.right_m or 0.0),
        told=_TOLD,
    )
    kinds = [part.connector for part in (rear, front) if part.connector not in _UNKNOWN]
    if (kinds and kinds[0] in _MOUNTED) or pull <= 0:
        how, implement = "mounted", replace(implement, tool_behind_m=pull - tool)
    else:
        how = f"towed on an axle {pull:.2f} m behind the pin"
        implement = replace(implement, tow=(TowedUnit(pull),), tool_behind_m=-tool)
    about.note(
        tr(
            "as the machines say, the antenna is {ahead:.2f} m ahead of the pin, and the "
            "implement is {how}, its tool line {tool_behind:.2f} m behind that.",
            ahead=ahead - pin,
            how=how,
            tool_behind=implement.tool_behind_m,
        )
    )
    return implement


def _placed(parts: Iterable[Part], kind: str) -> list[Part]:
    """Elements of a type that say where they are."""
    return [p for p in parts if p.kind == kind and p.ahead_m is not None]


def _ahead(boom: str, machines: Machines) -> float | None:
    """Return how far ahead of its reference point the tool line of a boom is."""
    sections = [p.ahead_m for p in machines.sections(boom) if p.ahead_m is not None]
    if sections:
        return sum(sections) / len(sections)
    return machines.parts[boom].ahead_m


def _pins(
    device: str, pullers: set[str], machines: Machines, links: Sequence[Link]
) -> tuple[Part, Part] | None:
    """Return the connectors of puller and implement that are joined, if that is clear."""
    for pair in links:
        ends = [machines.parts[id] for id in pair if id in machines.parts]
        placed = [p for p in ends if p.ahead_m is not None]
        front = [p for p in placed if p.device in pullers]
        rear = [p for p in placed if p.device == device]
        if front and rear:
            return front[0], rear[0]
    connectors = _placed(machines.parts.values(), CONNECTOR)
    fronts = [p for p in connectors if p.device in pullers]
    rears = [p for p in connectors if p.device == device]
    # Without a stated connection only one way of joining them is no guess.
    return (fronts[0], rears[0]) if len(fronts) == len(rears) == 1 else None
