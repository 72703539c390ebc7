"""Write guidance lines of fields as ISO 11783-10 task data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement

import numpy as np

from evenacre.geo.geodesy import WGS84_GEOD, wrapped
from evenacre.io.taskdata.write import elements
from evenacre.io.taskdata.write.write_taskdata import write_tree
from evenacre.model.outputs import GuidancePattern, GuidedField

# Kinds of guidance pattern, of line and of point; how a pattern is repeated and lengthened.
_AB, _CURVE = "1", "3"
_GUIDANCE_LINE = "5"
_POINT_A, _POINT_B, _POINT = "6", "7", "9"
_TO_BOTH_SIDES, _NOT_REPEATED = "1", "4"
_BOTH_ENDS, _NOT_LENGTHENED = "1", "4"


def write_guidance(target: Path, fields: Sequence[GuidedField], *, farm: str = "") -> None:
    """Write fields and their guidance lines as a zip with task data version 4.

    Raises
    ------
    InputError
        When there is no room to write.
    ValueError
        When a field has no boundary.
    """
    root = elements.root_element()
    if farm:
        SubElement(root, "FRM", A=elements.FARM, B=elements.name(farm))
    numbers = _Numbers()
    for number, guided in enumerate(fields, start=1):
        if guided.field.boundary is None:
            raise ValueError("guidance lines need a boundary around them")
        plot = elements.add_field(root, f"PFD{number}", guided.field, guided.field.boundary)
        for name, patterns in guided.groups:
            group = SubElement(plot, "GGP", A=numbers.next("GGP"), B=elements.name(name))
            for pattern in patterns:
                _add_pattern(group, numbers.next("GPN"), pattern, guided.width_m)
    write_tree(target, root, {})


class _Numbers:
    """Identities that are unique in the file."""

    def __init__(self) -> None:
        self._given: dict[str, int] = {}

    def next(self, kind: str) -> str:
        self._given[kind] = self._given.get(kind, 0) + 1
        return f"{kind}{self._given[kind]}"


def _add_pattern(group: Element, identity: str, pattern: GuidancePattern, width_m: float) -> None:
    lonlat = np.array(pattern.line.coords)
    straight = len(lonlat) == 2
    element = SubElement(
        group,
        "GPN",
        A=identity,
        B=elements.name(pattern.name),
        C=_AB if straight else _CURVE,
        E=_TO_BOTH_SIDES if pattern.repeated else _NOT_REPEATED,
        F=_BOTH_ENDS if pattern.repeated else _NOT_LENGTHENED,
    )
    if straight:
        element.set("G", f"{_heading_deg(lonlat):.6f}")
    line = SubElement(element, "LSG", A=_GUIDANCE_LINE, C=f"{width_m * 1000:.0f}")
    for kind, (lon, lat) in zip(_point_kinds(len(lonlat)), lonlat, strict=True):
        elements.add_point(line, kind, float(wrapped(np.array(lon))), float(lat))


def _point_kinds(count: int) -> Iterator[str]:
    yield _POINT_A
    yield from [_POINT] * (count - 2)
    yield _POINT_B


def _heading_deg(lonlat: np.ndarray) -> float:
    """Heading at the first of two points, clockwise from north."""
    azimuth, _, _ = WGS84_GEOD.inv(*lonlat[0], *lonlat[1])
    return float(azimuth) % 360.0
