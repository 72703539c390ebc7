"""The XML of task data: parsed warily, external files merged, attributes read."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import fromstring

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.taskdata.folder import MAIN, TaskFiles

_MAX_XML_BYTES = 64 * 1024**2
_MAX_TAGS, _MAX_ATTRIBUTES = 1_200_000, 5_000_000
# More than the largest farm has, and few enough to be worked through.
_MOST = {
    **dict.fromkeys(("PFD", "TSK", "PLN", "TZN", "TLG", "PDT", "GPN"), 20_000),
    **dict.fromkeys(("LSG", "DET", "PAN", "TIM"), 50_000),
    **dict.fromkeys(("DVC", "CNN", "XFR"), 2_000),
    "GRD": 500,
}
_ROOT, _EXTERNAL = "ISO11783_TaskData", "XFC"
_VERSIONS = ("2", "3", "4")


def read_root(files: TaskFiles, findings: Findings) -> Element:
    """Parse TASKDATA.XML and put the contents of its external files in their places.

    Raises
    ------
    InputError
        When a file is missing, damaged, dangerous or no task data.
    """
    root = parse_xml(files, MAIN.upper(), _MAX_XML_BYTES)
    if root.tag != _ROOT:
        raise InputError.at(
            files.label,
            MAIN.upper(),
            f"it is not ISO 11783-10 task data (it begins with <{root.tag[:40]}>).",
            "Name the folder or zip of the export.",
        )
    _merge(root, files, findings)
    _check_counts(root, files.label)
    version = version_of(root)
    if version.partition(".")[0] not in _VERSIONS:
        findings.warn(
            f"{files.label}: it says it is task data of version {version}; versions 3 and 4 are "
            "known, and it was read as one of them."
        )
    return root


def _merge(root: Element, files: TaskFiles, findings: Findings) -> None:
    """Put the contents of external files in their places; each file once."""
    room = _MAX_XML_BYTES
    for name in dict.fromkeys(text(reference, "A") for reference in root.findall("XFR")):
        if not files.has(f"{name}.XML") and name.replace("_", "").isalnum():
            findings.warn(
                f"{files.label}: the file {name}.XML is missing; its contents are left out."
            )
            continue
        data = files.read(f"{name}.XML", max(room, 0))
        room -= len(data)
        part = _parsed(data, files.label, f"{name}.XML")
        if part.tag == _EXTERNAL:
            root.extend(list(part))
        else:
            findings.warn(f"{files.label}: {name}.XML is not a part of task data; left out.")


def _check_counts(root: Element, label: str) -> None:
    counts = Counter(element.tag for element in root.iter())
    for tag, most in _MOST.items():
        if counts[tag] > most:
            raise InputError.at(
                label,
                "",
                f"it has {counts[tag]:,} elements <{tag}>, more than are read at once ({most:,}).",
                "Export fewer fields and tasks.",
            )
    if counts.total() > _MAX_TAGS:
        raise _too_many(label, "")


def _too_many(label: str, place: str) -> InputError:
    return InputError.at(
        label, place, "it has too many elements.", "Export fewer fields and tasks."
    )


def version_of(root: Element) -> str:
    """Return the format's version: ``"4.3"``."""
    return f"{root.get('VersionMajor', '?')[:8]}.{root.get('VersionMinor', '0')[:8]}"


def parse_xml(files: TaskFiles, name: str, limit: int) -> Element:
    """Parse one XML file.

    Raises
    ------
    InputError
        When it is missing, damaged, dangerous or larger than ``limit``.
    """
    return _parsed(files.read(name, limit), files.label, name)


def _parsed(data: bytes, label: str, name: str) -> Element:
    if data.count(b"<") > 2 * _MAX_TAGS or data.count(b"=") > _MAX_ATTRIBUTES:
        raise _too_many(label, name)
    try:
        return fromstring(data)
    except ParseError as error:
        raise InputError.at(
            label,
            f"{name}, line {error.position[0]:,}",
            "the file is damaged or breaks off.",
            "Export it again.",
        ) from None
    except DefusedXmlException:
        raise InputError.at(
            label,
            name,
            "the file defines entities, which no task data needs and which can do harm.",
            "Export it again with another program.",
        ) from None
    except (ValueError, LookupError):  # an encoding that is none
        raise InputError.at(
            label, name, "its text encoding is not known.", "Export it again as UTF-8."
        ) from None


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
