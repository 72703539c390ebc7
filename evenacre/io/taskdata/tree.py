"""The XML of task data: parsed warily, external files merged, attributes read."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import fromstring

from evenacre.errors import InputError
from evenacre.io.common.findings import Subject
from evenacre.io.taskdata.folder import MAIN, TaskFiles
from evenacre.language import tr

_MAX_XML_BYTES = 64 * 1024**2
MAX_TAGS, _MAX_ATTRIBUTES = 1_200_000, 5_000_000
"""Most elements of all sets that are read at once."""
# More than the largest farm has, and few enough to be worked through.
_MOST = {
    **dict.fromkeys(("PFD", "TSK", "PLN", "TZN", "TLG", "PDT", "GPN"), 20_000),
    **dict.fromkeys(("LSG", "DET", "PAN", "TIM"), 50_000),
    **dict.fromkeys(("DVC", "CNN", "XFR"), 2_000),
    "GRD": 500,
}
_ROOT, _EXTERNAL = "ISO11783_TaskData", "XFC"
# What is read is written alike in all of them; a version that is missing or 0 tells nothing.
_VERSIONS = ("2", "3", "4")
_FEWER = "Export fewer fields and tasks."


def read_root(files: TaskFiles, about: Subject) -> Element:
    """Parse TASKDATA.XML and put the contents of its external files in their places.

    Raises
    ------
    InputError
        When a file is missing, damaged, dangerous or no task data.
    """
    root = parse_xml(files, MAIN.upper(), _MAX_XML_BYTES)
    if root.tag != _ROOT:
        what = tr("it is not ISO 11783-10 task data (it begins with <{tag}>).", tag=root.tag[:40])
        remedy = tr("Name the folder or zip of the export.")
        raise InputError.at(files.label, MAIN.upper(), what, remedy)
    _merge(root, files, about)
    counts = Counter(element.tag for element in root.iter())
    for tag, most in _MOST.items():
        if counts[tag] > most:
            what = tr(
                "it has {counts:,} elements <{tag}>, more than are read at once ({most:,}).",
                counts=counts[tag],
                tag=tag,
                most=most,
            )
            raise InputError.at(files.label, "", what, _FEWER)
    if counts.total() > MAX_TAGS:
        raise InputError.at(files.label, "", tr("it has too many elements."), _FEWER)
    said = text(root, "VersionMajor")[:8]
    if said.strip("0") and said not in _VERSIONS:
        about.warn(
            tr(
                "it says it is task data of version {said}; versions 3 and 4 are known, and "
                "it was read as one of them.",
                said=said,
            )
        )
    return root


def _merge(root: Element, files: TaskFiles, about: Subject) -> None:
    """Put the contents of external files in their places; each file once."""
    room = _MAX_XML_BYTES
    for name in dict.fromkeys(text(reference, "A") for reference in root.findall("XFR")):
        if not files.has(f"{name}.XML") and name.replace("_", "").isalnum():
            about.warn(tr("the file {name}.XML is missing; its contents are left out.", name=name))
            continue
        data = files.read(f"{name}.XML", max(room, 0))
        room -= len(data)
        part = _parsed(data, files.label, f"{name}.XML")
        if part.tag == _EXTERNAL:
            root.extend(list(part))
        else:
            about.warn(tr("{name}.XML is not a part of task data; left out.", name=name))


def parse_xml(files: TaskFiles, name: str, limit: int) -> Element:
    """Parse one XML file; InputError when it is missing, damaged, dangerous or too large."""
    return _parsed(files.read(name, limit), files.label, name)


def _parsed(data: bytes, label: str, name: str) -> Element:
    if data.count(b"<") > 2 * MAX_TAGS or data.count(b"=") > _MAX_ATTRIBUTES:
        raise InputError.at(label, name, tr("it has too many elements."), _FEWER)
    try:
        root = fromstring(data)
    except ParseError as error:
        name = f"{name}, line {error.position[0]:,}"
        what, remedy = tr("the file is damaged or breaks off."), "Export it again."
    except DefusedXmlException:
        what = tr("the file defines entities, which no task data needs and which can do harm.")
        remedy = tr("Export it again with another program.")
    except (ValueError, LookupError):  # an encoding that is none
        what, remedy = tr("its text encoding is not known."), tr("Export it again as UTF-8.")
    else:
        # Some exporters give all elements a namespace, which the standard does not.
        for element in root.iter():
            element.tag = element.tag.rpartition("}")[2]
        return root
    raise InputError.at(label, name, what, remedy)


def text(element: Element, attribute: str) -> str:
    """Return an attribute without surrounding blanks; empty when it is missing."""
    return element.get(attribute, "").strip()


def number(element: Element, attribute: str) -> float:
    """Return an attribute as a number; NaN when it is missing or none."""
    try:
        value = float(text(element, attribute))
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def integer(element: Element, attribute: str) -> int | None:
    """Return an attribute as a 32-bit whole number; None when it is missing or none."""
    try:
        value = int(text(element, attribute)[:20])
    except ValueError:
        return None
    return value if -(2**31) <= value < 2**32 else None


def ddi(element: Element, attribute: str) -> int | None:
    """Return a data dictionary identifier, written as four hexadecimal digits."""
    try:
        value = int(text(element, attribute)[:8], 16)
    except ValueError:
        return None
    return value if 0 <= value <= 0xFFFF else None


def named(element: Element, fallback: str, attribute: str = "B") -> str:
    """Return the designator of an element, or what to call it without one."""
    return text(element, attribute) or fallback


def by_id(root: Element, tag: str) -> Iterator[tuple[str, Element]]:
    """Yield id and element of every top-level element of a tag that has an id."""
    for element in root.findall(tag):
        identity = text(element, "A")
        if identity:
            yield identity, element
