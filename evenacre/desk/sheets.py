"""Tables that are files of their own, typed in row by row: which there are, and their columns."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenacre.desk import forms
from evenacre.errors import Problem
from evenacre.io.common.findings import Findings, counted
from evenacre.io.settings_book.book import BOOK_NAME
from evenacre.units.display import in_both

if TYPE_CHECKING:
    from evenacre.io.season.build import SeasonDraft
    from evenacre.model import OperationPlan

_INCH_M = 0.0254
_CELL_LEFT_OUT = re.compile(r".*, (line \d+), ([a-z ]+): (.*) Left out\.")


@dataclass(frozen=True)
class Column:
    """A column that somebody types.

    Attributes
    ----------
    name : str
        What it holds, as its reader calls it.
    head : str
        How it is called in a file that is begun here, ``{unit}`` for a unit.
    label : str
    help : str
    choices : tuple of str
        One of them is chosen.
    offered : str
        A key of `Offers` whose texts are offered.
    asked : bool
        False of one that is shown only where the file has it.
    example : str
        What might stand there.
    units : tuple of str
        What ``{unit}`` stands for, in US and in metric units.
    """

    name: str
    head: str
    label: str
    help: str
    choices: tuple[str, ...] = ()
    offered: str = ""
    asked: bool = True
    example: str = ""
    units: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A kind of table of rows.

    Attributes
    ----------
    key : str
        In the season, and in addresses.
    title : str
    about : str
    of : str
        The kind of table in the season that names its files.
    columns : tuple of Column
    found : callable
        Tells columns of a file by what they hold, from their names.
    read : callable
        Reads a file as an audit or a plan does, for one of those that name it; gives problems,
        what is to be looked at, and what it comes to.
    fixed : str
        The one file of them, beside the season, where no table of the season names any.
    """

    key: str
    title: str
    about: str
    of: str
    columns: tuple[Column, ...]
    found: Callable[[Sequence[str]], Mapping[str, Any]]
    read: Callable[[Path, SeasonDraft | None, Mapping[str, Any]], Reading]
    fixed: str = ""

    @property
    def kind(self) -> forms.Kind:
        """The kind of table that names its files."""
        return forms.KINDS[self.of]

    def heads(self, raw: Mapping[str, Any]) -> dict[str, str]:
        """How columns of a file that is begun here are called, by what they hold."""
        is_metric = raw.get("units") == "metric"
        return {
            one.name: one.head.format(unit=one.units[is_metric] if one.units else "")
            for one in self.columns
        }

    def columns_in(self, names: Sequence[str]) -> dict[str, str]:
        """Columns of a file by what they hold."""
        return {
            what: getattr(told, "name", told)
            for what, told in self.found(names).items()
            if what in {column.name for column in self.columns}
        }


@dataclass
class Reading:
    """What a reader said of a file."""

    problems: list[Problem] = field(default_factory=list)
    looks: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)


# What readers say


def _read_tickets(path: Path, draft: SeasonDraft | None, job: Mapping[str, Any]) -> Reading:
    from evenacre.io.tickets.load_tickets import read_tickets

    plan = plan_of(draft, job)
    if plan is None:
        return Reading()
    tickets, findings = read_tickets(path, plan)
    told = []
    for product in dict.fromkeys(ticket.product for ticket in tickets):
        mine = [one for one in tickets if one.product == product]
        filled = [one.mass_kg for one in mine if one.event == "filled"]
        out = [one.mass_kg for one in mine if one.event == "cleaned out"]
        said = f"{product}: {in_both('mass', sum(filled))} in {counted(len(filled), 'filling')}"
        told.append(said + (f", {in_both('mass', sum(out))} cleaned out." if out else "."))
    return Reading(looks=findings.warnings, told=told)


def _read_blockages(path: Path, draft: SeasonDraft | None, job: Mapping[str, Any]) -> Reading:
    from evenacre.io.logs.blockages import blockages_of, read_blockage_file

    plan = plan_of(draft, job)
    if plan is None:
        return Reading()
    notes, said = read_blockage_file(path)
    blockages_of(notes, plan.implement, date=plan.date, time_zone=plan.time_zone)
    return Reading(looks=said)


def _read_rain(path: Path, _draft: SeasonDraft | None, _table: Mapping[str, Any]) -> Reading:
    import numpy as np

    from evenacre.io.season.pasture.rain import read_rain

    findings = Findings()
    first, rain_m = read_rain(path, findings)
    fell_m = float(np.nansum(rain_m))
    fell = f"{fell_m / _INCH_M:.2f} in ({1000 * fell_m:.0f} mm)"
    told = f"{counted(len(rain_m), 'day')} from {first} on, {fell} in all."
    return Reading(looks=findings.warnings, told=[told])


def _read_book(path: Path, _draft: SeasonDraft | None, _table: Mapping[str, Any]) -> Reading:
    from evenacre.io.settings_book.book import read_book

    book = read_book(path)
    reading = Reading(told=[f"{counted(len(book.settings), 'test')} can be asked for."])
    for said in book.warnings:
        found = _CELL_LEFT_OUT.fullmatch(said)
        if found is None:
            reading.looks.append(said)
            continue
        line, column, what = found.groups()
        remedy = "Write a quantity, or leave it empty."
        reading.problems.append(Problem(path.name, line, what, remedy, (column,)))
    return reading


def plan_of(draft: SeasonDraft | None, job: Mapping[str, Any]) -> OperationPlan | None:
    """The job of a table; None of one that has to be mended first."""
    names = (str(job.get("field", "")).strip(), str(job.get("name", "")).strip())
    plans = draft.season.operations if draft else ()
    return next((plan for plan in plans if (plan.field.name, plan.name) == names), None)


def _ticket_columns(names: Sequence[str]) -> Mapping[str, Any]:
    from evenacre.io.tickets.rows import ticket_columns

    return ticket_columns(names)


def _blockage_columns(names: Sequence[str]) -> Mapping[str, Any]:
    from evenacre.io.logs.blockages import blockage_columns

    return blockage_columns(names)


def _rain_columns(names: Sequence[str]) -> Mapping[str, Any]:
    from evenacre.io.season.pasture.rain import rain_columns

    return rain_columns(names)


def _book_columns(names: Sequence[str]) -> Mapping[str, Any]:
    from evenacre.io.settings_book.lines import book_columns

    return book_columns(names)


def _of_book() -> tuple[Column, ...]:
    """Columns of a settings book; whether a line of it is whole is none that is typed."""
    from evenacre.io.settings_book.lines import COLUMNS, COMPLETE

    return tuple(
        Column(
            name,
            f"{name} [{{unit}}]" if column.units[0] else name,
            name.capitalize(),
            _BOOK_HELP.get(name, ""),
            offered="product" if name == "product" else "",
            units=column.units if column.units[0] else (),
        )
        for name, column in COLUMNS.items()
        if name != COMPLETE
    )


_BOOK_HELP = {
    "date": "Such as 2026-04-14.",
    "product": "What was metered.",
    "roller": "As the drill calls it.",
    "setting": "Of the meter, as the drill shows it.",
    "fan": "As the drill shows it.",
    "rate": "What the test came to.",
    "target": "What was wanted.",
    "scatter": "Of the catches, in percent of their mean.",
    "catches": "How many there were.",
    "trouble": "What went wrong.",
}
_TIME = "Such as 9:12, where the job has a day, or 2026-04-14 9:12."
SHEETS = {
    sheet.key: sheet
    for sheet in (
        Sheet(
            "loads",
            "Load tickets",
            "What went into the cart, what was left in it and what was cleaned out: whether the "
            "meter counts what the scale weighs, and where the rest went.",
            "operation",
            (
                Column("time", "time", "Time", _TIME, example="9:12"),
                Column(
                    "event",
                    "event",
                    "What was done",
                    "Filled into the cart, remaining in it, or cleaned out of it.",
                    ("filled", "remaining", "cleaned out"),
                ),
                Column(
                    "product",
                    "product",
                    "Product",
                    "It may be left out where the job places one.",
                    offered="product",
                ),
                Column(
                    "compartment",
                    "compartment",
                    "Compartment",
                    "Where it rides, where the cart has several.",
                    offered="compartment",
                ),
                Column(
                    "weight",
                    "weight ({unit})",
                    "Weight",
                    'What was weighed, with its unit: "2160 lb".',
                    example="2160 lb",
                    units=("lb", "kg"),
                ),
                Column(
                    "weighed_by",
                    "weighed by",
                    "Weighed by",
                    "Scale, load cell, bags or estimate, and the step it reads in: "
                    '"truck scale 20 lb".',
                    offered="weighed_by",
                    example="truck scale 20 lb",
                ),
                Column("resolution", "resolution", "Step of the scale", "", asked=False),
                Column(
                    "field", "field", "Field", "Whose load it is.", offered="field", asked=False
                ),
                Column(
                    "operation",
                    "operation",
                    "Job",
                    "Which job on it.",
                    offered="operation",
                    asked=False,
                ),
            ),
            _ticket_columns,
            _read_tickets,
        ),
        Sheet(
            "blockages",
            "Rows that stopped",
            "When a tower or rows were blocked, and until when: the report then shows where it "
            "left ground without seed or fertilizer.",
            "operation",
            (
                Column("start", "start", "From", _TIME, example="9:12"),
                Column("end", "end", "Until", _TIME, example="9:20"),
                Column("tower", "tower", "Tower", "From the left; or the rows.", example="2"),
                Column("rows", "rows", "Rows", "From the left; or the tower.", example="9-16"),
                Column("cause", "cause", "Cause", "What it was; it may be left out."),
            ),
            _blockage_columns,
            _read_blockages,
        ),
        Sheet(
            "rain",
            "Rain of past days",
            "Days and their rain: how often weather takes a day from seeding behind the herd.",
            "seeding",
            (
                Column("date", "date", "Day", "", example="2026-04-14"),
                Column(
                    "rain",
                    "rain ({unit})",
                    "Rain",
                    "What fell, with its unit; 0 on a dry day, T for a trace.",
                    example="0.4 in",
                    units=("in", "mm"),
                ),
            ),
            _rain_columns,
            _read_rain,
        ),
        Sheet(
            "book",
            "Settings book",
            "Every test of the meter that was noted: what was set, and what came of it. What was "
            "noted wrong is put right here.",
            "farm",
            _of_book(),
            _book_columns,
            _read_book,
            fixed=BOOK_NAME,
        ),
    )
}
"""By the last part of the address."""


def sheets_of(kind: forms.Kind) -> list[Sheet]:
    """Sheets whose files a kind of table names."""
    return [sheet for sheet in SHEETS.values() if sheet.kind is kind and not sheet.fixed]
