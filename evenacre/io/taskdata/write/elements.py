"""Task data version 4: its elements, as other readers expect them, and the zip they go into."""

from __future__ import annotations

import hashlib
import os
import zipfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, indent, tostring

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre import __version__
from evenacre.errors import InputError
from evenacre.geo.geodesy import geodesic_area_m2, wrapped
from evenacre.io.common.findings import Subject
from evenacre.io.result_folder.exchange import NEW, flush, flush_tree
from evenacre.io.result_folder.staging import parents_made
from evenacre.io.result_folder.workplace import workplace
from evenacre.io.taskdata.folder import open_sets
from evenacre.io.taskdata.tree import read_root
from evenacre.model import Field
from evenacre.processes.written import Written
from evenacre.shown_text import shown

_FIRST = (1980, 1, 1, 0, 0, 0)  # the oldest date a zip can hold, so that equal input is equal
TREATMENT_ZONE = "2"
_BOUNDARY, _OBSTACLE = "1", "6"
_OUTER, _INNER = "1", "2"
_OTHER_POINT = "2"
_NAME_LENGTH = 32
_FARM = "FRM1"
_SOFTWARE = "Evenacre"
_FROM_OFFICE = "1"  # no machine has worked with it yet


def root_element(farm: str) -> Element:
    """Begin a set of task data, with a farm unless its name is empty."""
    root = Element(
        "ISO11783_TaskData",
        VersionMajor="4",
        VersionMinor="3",
        ManagementSoftwareManufacturer=_SOFTWARE,
        ManagementSoftwareVersion=__version__,
        DataTransferOrigin=_FROM_OFFICE,
    )
    if farm:
        SubElement(root, "FRM", A=_FARM, B=name(farm))
    return root


def farm_reference(root: Element, attribute: str) -> dict[str, str]:
    """Return the attribute by which an element names the farm, if there is one."""
    return {} if root.find("FRM") is None else {attribute: _FARM}


def name(words: str) -> str:
    """Cut a name to what the format holds, without characters XML cannot."""
    return shown(" ".join(words.split()))[:_NAME_LENGTH].rstrip()


def ids(kind: str, names: Iterable[str]) -> dict[str, str]:
    """Give each name an identity of a kind of element."""
    return {name: f"{kind}{number}" for number, name in enumerate(dict.fromkeys(names), start=1)}


def add_polygons(above: Element, ground: BaseGeometry, kind: str) -> None:
    """Add an area: a PLN for each of its parts, holes as inner rings."""
    for part in shapely.get_parts(ground):
        polygon = SubElement(above, "PLN", A=kind)
        rings = [(part.exterior, _OUTER), *((hole, _INNER) for hole in part.interiors)]
        for ring, ring_kind in rings:
            line = SubElement(polygon, "LSG", A=ring_kind)
            for lon, lat in shapely.get_coordinates(ring):
                add_point(line, _OTHER_POINT, lon, lat)


def add_point(line: Element, kind: str, lon: float, lat: float) -> None:
    """Add a point; its longitude may run on past the antimeridian."""
    east = float(wrapped(np.array(lon)))
    SubElement(line, "PNT", A=kind, C=f"{lat:.9f}", D=f"{east:.9f}")


def add_field(root: Element, identity: str, field: Field, boundary: BaseGeometry) -> Element:
    """Add a field with its boundary and unworkable ground, and return its element."""
    area = f"{geodesic_area_m2(boundary):.0f}"
    facts = {"A": identity, "C": name(field.name), "D": area, **farm_reference(root, "F")}
    place = SubElement(root, "PFD", facts)
    add_polygons(place, boundary, _BOUNDARY)
    if field.unworkable is not None:
        add_polygons(place, field.unworkable, _OBSTACLE)
    return place


def write_tree(target: Path, root: Element) -> None:
    """Write a tree as a zip of task data, whole or, with an InputError, not at all."""
    target = Path(os.path.abspath(target))
    indent(root)
    main = b'<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, "utf-8") + b"\n"
    info = zipfile.ZipInfo("TASKDATA/TASKDATA.XML", _FIRST)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = 0o644 << 16
    try:
        with parents_made(target), workplace(target, Written()) as job:
            with zipfile.ZipFile(job / NEW, "w") as archive:
                archive.writestr(info, main)
                archive.comment = _seal({info.filename: main})
            flush_tree(job)
            (job / NEW).replace(target)
            flush([target.parent])
    except OSError as error:
        what = f"it cannot be written ({error.strerror})."
        raise InputError.at(target, "", what, "Write somewhere else.") from None


def check_replaceable_zip(target: Path, remedy: str) -> None:
    """Refuse, with a remedy, to write over anything but a plan of ours as it was written."""
    if not os.path.lexists(target):
        return
    try:
        (files,), _ = open_sets(target)
        root = read_root(files, Subject(""))
    except (InputError, ValueError):
        root = None
    if root is None or root.get("ManagementSoftwareManufacturer") != _SOFTWARE:
        why = "Evenacre did not write it"
    elif root.get("DataTransferOrigin") != _FROM_OFFICE or root.find("TSK/TLG") is not None:
        why = "a machine has added its work to it"
    elif not _is_unchanged(target):
        why = "was changed since Evenacre wrote it"
    else:
        return
    raise InputError.at(target, "", f"is there already, and {why}.", remedy)


def _seal(files: Mapping[str, bytes]) -> bytes:
    """What the comment of a zip says of its files, by which a change is known."""
    digest = hashlib.sha256()
    for name in sorted(files):
        digest.update(f"{name} {len(files[name])}\n".encode() + files[name])
    return f"sha256 {digest.hexdigest()}".encode()


def _is_unchanged(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as archive:
            if archive.comment:
                members = archive.infolist()
                return archive.comment == _seal({m.filename: archive.read(m) for m in members})
            # Versions that wrote no comment gave every file this date, which nothing else does.
            return all(member.date_time == _FIRST for member in archive.infolist())
    except (OSError, zipfile.BadZipFile):
        return False
