"""What the columns of logs were taken for, and what somebody says they are."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from evenacre.desk import forms
from evenacre.io.logs.columns.column_roles import DIMENSIONS
from evenacre.io.logs.columns.columns_read import ColumnsRead
from evenacre.io.tables.headers import read_header
from evenacre.units.parsing import Dimension, unit_factor

NOT_USED = ""
_ROLES = {
    "time": "time",
    "date": "date",
    "start": "time it begins",
    "end": "time it ends",
    "lon": "longitude",
    "lat": "latitude",
    "x": "east (x)",
    "y": "north (y)",
    "speed": "speed",
    "heading": "heading",
    "work": "at work or not",
    "width": "width at work",
    "distance": "distance from the last record",
    "interval": "time from the last record",
    "machine": "which machine",
    "quality": "kind of fix",
    "hdop": "HDOP",
    "accuracy": "how far the place may be off",
    "rate": "rate",
    "flow": "flow",
    "mass": "mass since the last record",
    "sections": "states of all sections",
    "rows": "states of all rows",
    "section_number": "number of the section",
    "row_number": "number of the row",
}
# Told by the log itself; nobody says so in the season.
_FOUND = {
    "target": "target rate",
    "field": "name of the field",
    "product": "name of the product",
    "crop": "crop",
    "implement": "name of the drill",
}
_AMOUNTS = ("rate", "flow", "mass")
_STATES = ("section", "row", "sections", "rows")
_UNITS = {
    Dimension.MASS_PER_AREA: ("lb/ac", "kg/ha", "oz/ac", "ton/ac", "tonne/ha", "g/m2"),
    Dimension.MASS_PER_TIME: ("lb/s", "lb/min", "lb/h", "kg/s", "kg/min", "kg/h", "g/s"),
    Dimension.MASS: ("lb", "kg", "oz", "g"),
    Dimension.LENGTH: ("ft", "in", "m", "cm", "mm"),
    Dimension.SPEED: ("mph", "km/h", "m/s", "kn", "ft/s"),
    Dimension.TIME: ("s", "ms", "min", "h"),
}
_NEED_A_UNIT = (*_AMOUNTS, "width")
_FEWEST_NUMBERED = 8
_MOST_SHOWN = 300
# What is said of a job as a whole, and cannot be shared among its logs.
_OF_THE_WHOLE_JOB = ("tracks", "blockages", "blockage", "loads")


@dataclass(frozen=True)
class Choice:
    """Something a column may be said to be."""

    value: str
    words: str

    @property
    def counts(self) -> str:
        """What its numbers count, as `unit_choices` has it; empty where they have no unit."""
        return str(DIMENSIONS.get(self.value.partition(":")[0], ""))


def as_kept(read: ColumnsRead) -> dict[str, Any]:
    """What is kept of a file's columns until its page is asked for: of very many, those in use."""
    shown = sorted(range(len(read.columns)), key=lambda n: not read.columns[n].roles)
    return {
        "file": read.file,
        "places": list(read.places),
        "names": [one.name for one in read.columns],
        "columns": [_column(read, number) for number in sorted(shown[:_MOST_SHOWN])],
    }


def _column(read: ColumnsRead, number: int) -> dict[str, Any]:
    one = read.columns[number]
    return {
        "name": one.name,
        "called": _called(read, number),
        "roles": list(one.roles),
        "unit": _unit_of(one.dimension, one.unit_si),
        "asked": one.asked,
        "cells": list(one.cells),
    }


def _called(read: ColumnsRead, number: int) -> str:
    """A column by its name, or by its number where that would not be found again."""
    name = read.columns[number].name
    same = [one for one in read.columns if one.name.strip().lower() == name.strip().lower()]
    return name if name == name.strip() != "" and len(same) == 1 else str(number + 1)


def _unit_of(dimension: Dimension | None, unit_si: float | None) -> str:
    """How a unit is written in the list of those to choose from."""
    if dimension is None or unit_si is None:
        return ""
    fitting = (u for u in _UNITS[dimension] if _same(unit_factor(u, dimension), unit_si))
    return next(fitting, "another")


def _same(one: float | None, other: float | None) -> bool:
    return one is not None and other is not None and abs(one / other - 1) < 1e-9


def role_of(column: Mapping[str, Any]) -> str:
    """The first thing that a column was taken for."""
    return str(column["roles"][0]) if column["roles"] else NOT_USED


def choices(file: Mapping[str, Any], products: Sequence[str]) -> list[Choice]:
    """What the columns of a file may be said to be, with what they were taken for."""
    taken = [role for one in file["columns"] for role in one["roles"]]
    found = [Choice(NOT_USED, "not used")]
    for role, words in _ROLES.items():
        found.append(Choice(role, words))
        if role in _AMOUNTS:
            found += [Choice(f"{role}:{name}", f"{words} of {name}") for name in products]
    for kind in ("section", "row"):
        numbers = [int(role.partition(":")[2]) for role in taken if role.startswith(f"{kind}:")]
        most = max((*numbers, _FEWEST_NUMBERED if kind == "section" else 0))
        found += [Choice(f"{kind}:{n}", f"{kind} {n} from the left") for n in range(1, most + 1)]
    listed = {one.value for one in found}
    more = (role for role in dict.fromkeys(taken) if role not in listed)
    return [*found, *(Choice(role, in_words(role)) for role in more)]


def in_words(role: str) -> str:
    """A role in plain words."""
    kind, _, key = role.partition(":")
    words = _ROLES.get(kind) or _FOUND.get(kind) or kind.replace("_", " ")
    return f"{words} of {key}" if key else words


def unit_choices() -> dict[str, tuple[str, ...]]:
    """Every unit that a column may be said to be in, by what it is a unit of."""
    return {str(dimension): units for dimension, units in _UNITS.items()}


@dataclass(frozen=True)
class Corrected:
    """What the season is to say of columns, and what is wrong with that.

    Attributes
    ----------
    columns : dict of str to str
        Role to column, as in the season file.
    troubles : dict of int to str
        By the number of the column.
    """

    columns: dict[str, str]
    troubles: dict[int, str]


def corrected(
    file: Mapping[str, Any],
    others: Sequence[Mapping[str, Any]],
    said: Sequence[tuple[str, str]],
    before: Mapping[str, str],
) -> Corrected:
    """Turn what somebody says of a file's columns into what the season says of its job.

    Whatever was changed is written whole, with all columns of its kind, for a kind that is named is
    guessed no more; the rest stays guessed.

    Parameters
    ----------
    file : mapping
        As `as_kept` has it.
    others : sequence of mapping
        The other files of the job, which the season says the same of.
    said : sequence of (str, str)
        Role and unit of each column.
    before : mapping of str to str
        What the season says.
    """
    columns = file["columns"]
    was = [(role_of(one), one["unit"]) for one in columns]
    moved = {n for n, (old, new) in enumerate(zip(was, said, strict=True)) if old != new}
    touched = {_kind(role) for n in moved for role in (was[n][0], said[n][0]) if _is_said(role)}
    found = {role: text for role, text in before.items() if _kind(role) not in touched}
    troubles: dict[int, str] = {}
    for number, (role, unit) in enumerate(said):
        column = columns[number]
        if number in moved and role and not _is_said(role):
            troubles[number] = "Only the log itself can tell that; say what else this column is."
        if not _is_said(role) or _kind(role) not in touched:
            continue
        lacking = [one["file"] for one in others if not _has(one, column["name"])]
        if role in found:
            troubles[number] = f"Another column is said to be the {in_words(role)} already."
        elif lacking:
            troubles[number] = (
                f"{lacking[0]}, of the same job, has no such column. Let it be a job of its own."
            )
        elif number not in moved:
            found[role] = before.get(role) or column["called"]
        elif wrong := _wrong_unit(column["name"], role, unit):
            troubles[number] = wrong
        else:
            found[role] = column["called"] + _unit_said(column["name"], role, unit)
    # A kind of which there is no column any more is not to be guessed again.
    for number in sorted(moved):
        role = was[number][0].partition(":")[0]
        if _is_said(role) and not any(name.partition(":")[0] == role for name in found):
            found[role] = ""
    return Corrected(found, troubles)


def _is_said(role: str) -> bool:
    """Whether the season can say so of a column."""
    return role.partition(":")[0] in (*_ROLES, "section", "row")


def _kind(role: str) -> str:
    """Roles of one kind are all guessed or all said."""
    base = role.partition(":")[0]
    return next((kinds[0] for kinds in (_AMOUNTS, _STATES) if base in kinds), base)


def _has(file: Mapping[str, Any], name: str) -> bool:
    return name.lower() in (one.lower() for one in file["names"])


def _wrong_unit(name: str, role: str, unit: str) -> str:
    base = role.partition(":")[0]
    dimension = DIMENSIONS.get(base)
    if dimension is None:
        return ""
    if unit and unit_factor(unit, dimension) is None:
        return f"Choose a unit of {dimension}."
    if not unit and base in _NEED_A_UNIT and read_header(name).unit(dimension) is None:
        return f"Say in which unit the {in_words(role)} is."
    return ""


def _unit_said(name: str, role: str, unit: str) -> str:
    """What has to be said of a unit that the name does not tell."""
    dimension = DIMENSIONS.get(role.partition(":")[0])
    if dimension is None or not unit:
        return ""
    is_told = _same(read_header(name).unit(dimension), unit_factor(unit, dimension))
    return "" if is_told else f" [{unit}]"


def moved_log(document: Any, job: int, log: int, field: str) -> None:
    """Let one log of a job belong to another field, with all that is said of the job.

    A field that is not there yet comes with it. The log joins the job of that name there, if there
    is one with the same drill and date.

    Parameters
    ----------
    document : tomlkit document
    job, log : int
        Number of the operation, and of the log among its tracks.
    field : str
    """
    kind = forms.KINDS["operation"]
    jobs = [_plain(table) for table in forms.tables_of(document, kind)]
    mine = jobs[job]
    tracks = _tracks(mine)
    _with_name(document, "field", field)
    twin = _twin(jobs, mine, field)
    if len(tracks) == 1 and twin is None:
        forms.put_table(kind, {**mine, "field": field}, document, job)
        return
    if twin is not None:
        joined = {**jobs[twin], "tracks": [*_tracks(jobs[twin]), tracks[log]]}
        forms.put_table(kind, joined, document, twin)
    else:
        own = {key: value for key, value in mine.items() if key not in _OF_THE_WHOLE_JOB}
        forms.put_table(kind, {**own, "field": field, "tracks": [tracks[log]]}, document, None)
    if len(tracks) == 1:
        forms.drop_table(kind, document, job)
    else:
        rest = [one for number, one in enumerate(tracks) if number != log]
        forms.put_table(kind, {**mine, "tracks": rest}, document, job)


def taken_log(document: Any, log: str, field: str, drill: str) -> None:
    """Add a job with a log that was not understood; a field or drill that is new comes with it."""
    _with_name(document, "field", field)
    _with_name(document, "implement", drill)
    kind = forms.KINDS["operation"]
    taken = [t.get("name") for t in forms.tables_of(document, kind) if t.get("field") == field]
    names = itertools.chain(["drive"], (f"drive {number}" for number in itertools.count(2)))
    name = next(one for one in names if one not in taken)
    job = {"name": name, "field": field, "implement": drill, "tracks": [log]}
    forms.put_table(kind, job, document, None)


def _with_name(document: Any, key: str, name: str) -> None:
    """Add a table of a name, unless there is one."""
    kind = forms.KINDS[key]
    if name not in [str(table.get("name")).strip() for table in forms.tables_of(document, kind)]:
        forms.put_table(kind, {"name": name}, document, None)


def own_field(log: str, taken: Sequence[str]) -> str:
    """A name for a field that nobody has named, after the log that was driven there."""
    stem = PurePosixPath(log).stem
    names = itertools.chain([stem], (f"{stem} {number}" for number in itertools.count(2)))
    return next(name for name in names if name not in taken)


def logs_of(job: Mapping[str, Any]) -> list[str]:
    """Files that are the logs of a job."""
    return [str(one.get("file") if isinstance(one, Mapping) else one) for one in _tracks(job)]


def log_names(job: Mapping[str, Any]) -> list[str]:
    """The same as people tell them apart, where several are layers of one file."""
    layers = [one.get("layer") if isinstance(one, Mapping) else None for one in _tracks(job)]
    names = zip(logs_of(job), layers, strict=True)
    return [f"{file}, {layer}" if layer else file for file, layer in names]


def _tracks(job: Mapping[str, Any]) -> list[Any]:
    tracks = job.get("tracks", [])
    return list(tracks) if isinstance(tracks, list) else [tracks]


def _twin(jobs: Sequence[Mapping[str, Any]], mine: Mapping[str, Any], field: str) -> int | None:
    """The job on another field that a log of mine would be of."""
    alike = ("name", "implement", "date")
    for number, other in enumerate(jobs):
        if other.get("field") == field and all(other.get(k) == mine.get(k) for k in alike):
            return number
    return None


def _plain(value: Any) -> Any:
    return value.unwrap() if hasattr(value, "unwrap") else value
