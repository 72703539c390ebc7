"""Machines (DVC), their elements and how they are laid out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from xml.etree.ElementTree import Element

from evenacre.io.common.findings import Findings
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.tree import by_id, ddi, integer, named, text

DEVICE, FUNCTION, BIN, SECTION, UNIT, CONNECTOR, NAVIGATION = "1234567"
_MAX_WIDTH_M = 200.0
# A machine is a few elements deep; a longer chain is a circle or damage.
_MAX_DEPTH = 16


@dataclass(frozen=True)
class Part:
    """An element of a machine (DET).

    Attributes
    ----------
    id : str
        As time logs name it.
    device : str
        Id of the machine.
    kind : str
        Its type: `FUNCTION`, `SECTION` and so on.
    name : str
    number : int
        Among elements of its type.
    above : str
        Id of the element it belongs to; empty at the top.
    ahead_m, right_m : float or None
        From the machine's reference point; None when it does not say.
    width_m : float or None
        Working width: as it is, else by default, else at most.
    connector : int or None
        Type of connector.
    """

    id: str
    device: str
    kind: str
    name: str
    number: int
    above: str
    ahead_m: float | None = None
    right_m: float | None = None
    width_m: float | None = None
    connector: int | None = None


@dataclass(frozen=True)
class Machines:
    """The elements of all machines, by id."""

    parts: dict[str, Part] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)

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

    def below(self, part: str, kinds: str) -> list[Part]:
        """Return the elements of some types that belong to an element, from the left.

        Sections without a lateral offset are in order of their number.
        """
        level, under = [part], dict[str, None]()
        for _ in range(_MAX_DEPTH):
            level = [id for above in level for id in self._children.get(above, ())]
            level = [id for id in level if id not in under and id != part]
            under.update(dict.fromkeys(level))
        found = [self.parts[id] for id in under if self.parts[id].kind in kinds]
        if found and all(p.right_m is not None for p in found):
            return sorted(found, key=lambda p: (p.right_m or 0.0, p.number))
        return sorted(found, key=lambda p: p.number)

    def of(self, device: str, kind: str) -> list[Part]:
        """Return the elements of one type of a machine."""
        return [p for p in self.parts.values() if p.device == device and p.kind == kind]


def read_machines(root: Element, label: str, findings: Findings) -> Machines:
    """Read every machine of a set of task data."""
    parts: dict[str, Part] = {}
    names: dict[str, str] = {}
    for identity, device in by_id(root, "DVC"):
        names[identity] = named(device, identity)
        about = f'{label}, machine "{names[identity]}"'
        parts.update((part.id, part) for part in _parts(identity, device, about, findings))
    return Machines(parts, names)


def _parts(identity: str, device: Element, about: str, findings: Findings) -> Iterator[Part]:
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
            ahead_m=_metres(own.get(ddis.OFFSET_X)),
            right_m=_metres(own.get(ddis.OFFSET_Y)),
            width_m=_width(own, about, findings),
            connector=own.get(ddis.CONNECTOR_TYPE),
        )


def _metres(millimetres: int | None) -> float | None:
    return None if millimetres is None else millimetres * ddis.MM


def _width(own: dict[int, int], about: str, findings: Findings) -> float | None:
    for key in (ddis.ACTUAL_WIDTH, ddis.DEFAULT_WIDTH, ddis.MAXIMUM_WIDTH):
        width = _metres(own.get(key))
        if width is None or width == 0:
            continue
        if 0 < width <= _MAX_WIDTH_M:
            return width
        findings.warn(f"{about}: a working width of {width:g} m cannot be; it was not used.")
    return None
