"""The maps of a result that was written, on pages to print, each job with its chief figures."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from evenacre.io.result_folder.ownership import PASSES, SUMMARY
from evenacre.io.untrusted.files import read_whole
from evenacre.language import tr
from evenacre.reports.figure_text import operation_slugs
from evenacre.reports.quantities import Display
from evenacre.reports.tables.audit import GROUND
from evenacre.reports.tables.compared import stored_rows
from evenacre.reports.tables.passes import DRIVE_OF_FIELD
from evenacre.reports.writers.as_html import PageTable
from evenacre.reports.writers.typeset import (
    Lines,
    Paper,
    Part,
    Picture,
    Row,
    Section,
    paper_size,
    typeset,
)
from evenacre.units.display import UnitSystem


def maps_to_print(
    folder: Path, pictures: Mapping[str, Path], units: UnitSystem, made: datetime
) -> bytes:
    """Put the maps of a result on pages.

    Parameters
    ----------
    folder : Path
        Of the result.
    pictures : mapping of str to Path
        Its maps, by their names below the folder.
    units : UnitSystem
        Of the figures beside them; letter paper goes with US units, A4 with metric ones.
    made : datetime
        When the result was.

    Returns
    -------
    bytes
        PDF.
    """
    told = _account(folder)
    left = dict(sorted(pictures.items()))
    sections: list[Part] = []
    for job in _jobs(told, Display(units)):
        own = [name for name in left if name.startswith(job.home)]
        maps = [_picture(left.pop(name), f"{job.title}, {name}") for name in own]
        shown: list[Part] = [*maps[:1], *([Row(maps[1:])] if maps[1:] else [])]
        warnings = [str(text) for text in job.record.get("warnings") or []]
        doubts = [Lines("", warnings, marked=True)] if warnings else []
        figures = [PageTable("", ("", ""), job.rows)] if job.rows else []
        sections.append(Section(job.title, job.about, [*doubts, *figures, *shown], bool(sections)))
    sections += [
        Section(name, "", [_picture(path, name)], bool(sections)) for name, path in left.items()
    ]
    title, farm = tr("Maps to print"), str(told.get("farm") or "")
    paper = Paper(farm, title, "", sections, f"{farm or title}.")
    return typeset(paper, size=paper_size(units.name), made=made)


class _Job(NamedTuple):
    """A job of the account; the names of its maps begin with its ``home``."""

    title: str
    about: str
    rows: list[tuple[str, str]]
    record: Mapping[str, Any]
    home: str


class _Named(NamedTuple):
    field: str
    operation: str


def _picture(path: Path, name: str) -> Picture:
    return Picture(read_whole(path), tr("Map: {name}.", name=name))


def _account(folder: Path) -> Mapping[str, Any]:
    for name in (SUMMARY, PASSES):
        if (folder / name).is_file():
            try:
                found = json.loads(read_whole(folder / name))
            except (ValueError, RecursionError):
                continue
            return found if isinstance(found, Mapping) else {}
    return {}


def _jobs(told: Mapping[str, Any], display: Display) -> Iterator[_Job]:
    operations = [one for one in told.get("operations") or [] if isinstance(one, Mapping)]
    named = [_Named(str(one.get("field")), str(one.get("operation"))) for one in operations]
    for record, names, slug in zip(operations, named, operation_slugs(named), strict=True):
        home = "maps/" if len(operations) == 1 else f"{slug}/"
        about = " ".join(str(word) for word in (names.operation, record.get("date")) if word)
        rows = stored_rows(GROUND, record, display)
        yield _Job(names.field, about, rows, record, home)
    for record in told.get("fields") or []:
        if isinstance(record, Mapping) and isinstance(record.get("map"), str):
            rows = stored_rows(DRIVE_OF_FIELD, record, display)
            about = tr("Planned passes")
            yield _Job(str(record.get("field")), about, rows, record, record["map"])
