"""Write guidance lines of fields as ISO 11783-10 task data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement

import numpy as np

from evenacre.geo.geodesy import WGS84_GEOD
from evenacre.io.taskdata.write import elements
from evenacre.model.outputs import GuidancePattern, GuidedField

# Kinds of guidance pattern, of line and of point; how a pattern is repeated and lengthened.
_AB, _CURVE = "1", "3"
_GUIDANCE_LINE = "5"
_POINT_A, _POINT_B, _POINT = "6", "7", "9"
_TO_BOTH_SIDES, _NOT_REPEATED = "1", "4"
_BOTH_ENDS, _NOT_LENGTHENED = "1", "4"


def write_guidance(target: Path, fields: Sequence[GuidedField], *, farm: str = "") -> None:
    """Write fields with a boundary and their guidance lines as a zip with task data version 4."""
    root = elements.root_element(farm)
    given: Counter[str] = Counter()

    def identity(kind: str) -> str:
        given[kind] += 1
        return f"{kind}{given[kind]}"

    for guided in fields:
        if guided.field.boundary is None:
            raise ValueError("guidance lines need a boundary around them")
        place = elements.add_field(root, identity("PFD"), guided.field, guided.field.boundary)
        for name, patterns in guided.groups:
            group = SubElement(place, "GGP", A=identity("GGP"), B=elements.name(name))
            for pattern in patterns:
                _add_pattern(group, identity("GPN"), pattern, guided.width_m)
    elements.write_tree(target, root)


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
        azimuth, _, _ = WGS84_GEOD.inv(*lonlat[0], *lonlat[1])
        element.set("G", f"{azimuth % 360.0:.6f}")
    line = SubElement(element, "LSG", A=_GUIDANCE_LINE, C=f"{width_m * 1000:.0f}")
    kinds = [_POINT_A, *[_POINT] * (len(lonlat) - 2), _POINT_B]
    for kind, (lon, lat) in zip(kinds, lonlat, strict=True):
        elements.add_point(line, kind, lon, lat)
