"""What may be asked for from a page of its own, and its boxes: the options that are declared."""

from __future__ import annotations

import re
import typing
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields
from itertools import groupby
from pathlib import Path
from typing import Any, Literal

from evenacre.desk.forms import Given
from evenacre.desk.work import at_the_drill
from evenacre.errors import Problem
from evenacre.io.season.from_options import OPTIONS
from evenacre.units.parsing import plain_number
from evenacre.workflows.called import OF_THE_TERMINAL
from evenacre.workflows.typed.calibrate_options import BookedOptions
from evenacre.workflows.typed.export_options import ExportOptions
from evenacre.workflows.typed.finish_options import FinishOptions
from evenacre.workflows.typed.interseed_options import InterseedOptions
from evenacre.workflows.typed.passes_options import DRIVING, PassesOptions

_FLAG = re.compile(r'(?<![\w-])--([a-z]+(?:-[a-z]+)*)( (?="))?')
_WHOLE = re.compile(r"[-+]?\d{1,9}")
_MOST_LINES = 200
_NO_NUMBER = "It is no number. Write it as 12 or 12.5."
_DRIVING = "How to drive"


@dataclass(frozen=True)
class Ask:
    """A box, as an option declares it.

    Attributes
    ----------
    name : str
        The option's.
    heading : str
        It stands with others under this.
    text : str
        What is to be typed.
    kind : type, or words to choose from
    several : bool
        Whether it takes more than one, each on a line.
    usual : str
        What stands in it at first.
    flag : str
        On the command line, as complaints name it.
    label : str
        What it is called on the page.
    """

    name: str
    heading: str
    text: str
    kind: Any
    several: bool
    usual: str
    flag: str
    label: str

    @property
    def words(self) -> tuple[str, ...]:
        """What there is to choose from; nothing of most."""
        return typing.get_args(self.kind) if typing.get_origin(self.kind) is Literal else ()

    @property
    def is_tick(self) -> bool:
        """Whether it is said or left out."""
        return self.kind is bool


@dataclass(frozen=True)
class Task:
    """What may be asked for.

    Attributes
    ----------
    key : str
        Its page is ``/work/KEY``.
    title : str
    about : str
        What it answers, in a sentence or two.
    button : str
    options : type
        The dataclass of what is typed.
    first : tuple of str
        Boxes in sight; the others are folded away.
    labels : mapping of str to str
        What boxes are called whose names say too little.
    hidden : tuple of str
        Options that a page does not ask for.
    keys : str
        Options that are keys of the season file.
    names : mapping of str to str
        Boxes for a name in the season, each with the kind of table that has it.
    season : bool
        Whether it needs one.
    one_job : bool
        Whether it is about one job of the season, which is asked for where several fit.
    """

    key: str
    title: str
    about: str
    button: str
    options: type
    first: tuple[str, ...]
    names: Mapping[str, str]
    labels: Mapping[str, str] = field(default_factory=dict)
    hidden: tuple[str, ...] = ()
    keys: str = ""
    season: bool = True
    one_job: bool = False

    @property
    def asks(self) -> tuple[Ask, ...]:
        """Every box."""
        return tuple(ask for ask in _declared(self) if ask.name not in self.hidden)

    @property
    def groups(self) -> list[tuple[str, list[Ask]]]:
        """Boxes that are folded away at first, by their headings."""
        rest = (ask for ask in self.asks if ask.name not in self.first)
        return [(heading, list(those)) for heading, those in groupby(rest, lambda a: a.heading)]

    @property
    def in_sight(self) -> list[Ask]:
        """Boxes to be seen at once, in their order."""
        named = {ask.name: ask for ask in self.asks}
        return [named[name] for name in self.first]


TASKS = {
    task.key: task
    for task in (
        Task(
            "seeding",
            "Seeding behind the herd",
            "Which grazed paddock to seed on which day: moves, windows, loads and passes. It needs "
            "paddocks, animals, grazing and seeding in the season.",
            "Plan the seeding",
            InterseedOptions,
            ("from_today", "from_day", "in_cart"),
            {},
            {"from_day": "From another day", "in_cart": "Seed in the cart"},
        ),
        Task(
            "passes",
            "Passes",
            "How to drive a field or paddock: heading, rounds, passes and turns, with maps, lines "
            "for guidance, and the drive for a phone.",
            "Lay out the passes",
            PassesOptions,
            ("field", "implement", "rounds", "heading", "fence"),
            {"field": "place", "implement": "implement"},
            keys=DRIVING,
        ),
        Task(
            "finish",
            "Come out even",
            "The rate that ends the load with the field, and where it runs out at this one. With "
            "the ground still to do typed in it is told at once; without, from the log of a job.",
            "Work it out",
            FinishOptions,
            ("left", "area", "rate", "started", "done", "operation", "field"),
            {"operation": "operation", "field": "field", "product": "product"},
            {
                "left": "Left in the cart",
                "area": "Ground still to do",
                "rate": "Rate now",
                "started": "In the cart when it began",
                "done": "Ground done since",
                "operation": "Job",
            },
            hidden=("loads",),
            season=False,
            one_job=True,
        ),
        Task(
            "calibrate",
            "Calibrate the meter",
            "What a test of the meter came to, whether it can be trusted, and the next setting. It "
            "is noted in the settings book, settings-book.csv.",
            "Work it out and note it",
            BookedOptions,
            (
                *("product", "catch", "opener_catch", "turns", "turns_per_area", "circumference"),
                *("area", "setting", "target"),
            ),
            {"product": "product"},
            {
                "opener_catch": "Catch, opener by opener",
                "setting": "Setting now",
                "target": "Rate wanted",
                "area": "Ground of a catch",
                "lookup": "Only ask the book",
                "no_book": "Do not note it",
            },
            season=False,
        ),
        Task(
            "export",
            "Task data for the machine",
            "Boundaries, zones and planned rates as ISO 11783-10 task data, to be carried to the "
            "machine.",
            "Write the task data",
            ExportOptions,
            ("field", "operation", "one_rate"),
            {"field": "field", "operation": "operation", "product": "product"},
            {"operation": "Job"},
        ),
    )
}
"""By the last part of the address."""


def in_boxes(text: str, task: Task) -> str:
    """Let a sentence name boxes where it names options."""
    labels = {ask.flag: ask.label for ask in task.asks}

    def box(flag: re.Match[str]) -> str:
        words = labels.get(f"--{flag[1]}", flag[1].replace("-", " ").capitalize())
        return f"\N{LEFT DOUBLE QUOTATION MARK}{words}\N{RIGHT DOUBLE QUOTATION MARK}" + (
            ": " if flag[2] else ""
        )

    return _FLAG.sub(box, OF_THE_TERMINAL.sub("", text))


def troubles_of(problems: Iterable[Problem], task: Task) -> tuple[dict[str, str], list[str]]:
    """What is wrong by the box that it concerns, and what concerns none."""
    named = {ask.flag: ask.name for ask in task.asks} | {ask.name: ask.name for ask in task.asks}
    beside: dict[str, str] = {}
    others: list[str] = []
    for problem in map(at_the_drill, problems):
        what = in_boxes(f"{problem.what} {problem.remedy}", task)
        name = named.get(problem.place) or named.get(problem.file)
        if name is None:
            # What mends it is told by the box it is to be typed into.
            asked = (named.get(f"--{flag}") for flag, _ in _FLAG.findall(f"{problem.remedy} "))
            name = next(filter(None, asked), None)
        if name is not None:
            where = f"{problem.place}: " if problem.file in named and problem.place else ""
            beside.setdefault(name, f"{where}{what}")
        elif problem.file.startswith("--") or (problem.file == task.key and not problem.place):
            others.append(what)
        else:
            others.append(in_boxes(str(problem), task))
    return beside, others


def values_of(task: Task, given: Given) -> tuple[dict[str, Any], dict[str, str]]:
    """What stands in the boxes, as the options take it, and what is wrong by box."""
    values: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for ask in task.asks:
        text = given.get(ask.name, "").strip()
        if ask.several:
            ticked = (value for name, value in given.items() if name.startswith(f"{ask.name}."))
            lines = (line.strip() for line in (*ticked, *text.splitlines()))
            if found := list(dict.fromkeys(filter(None, lines)))[:_MOST_LINES]:
                values[ask.name] = found
        elif text:
            try:
                values[ask.name] = _value(ask, text)
            except ValueError as error:
                wrong[ask.name] = str(error)
    return values, wrong


def of_options(task: Task, values: Mapping[str, Any]) -> Any:
    """The dataclass of the values that it has fields for."""
    known = {one.name for one in fields(task.options)}
    return task.options(**{name: value for name, value in values.items() if name in known})


def of_keys(task: Task, values: Mapping[str, Any]) -> dict[str, Any]:
    """The values for keys of the season file."""
    return {
        name: values[name] == "yes" if OPTIONS[name].kind is bool else values[name]
        for name in task.keys.split()
        if name in values
    }


def _value(ask: Ask, text: str) -> Any:
    if ask.kind is bool:
        return text in ("yes", "on")
    if ask.kind is int:
        if not _WHOLE.fullmatch(text):
            raise ValueError("It is no whole number. Write it as 2.")
        return int(text)
    if ask.kind is float:
        number = plain_number(text)
        if number is None:
            raise ValueError(_NO_NUMBER)
        return number
    if ask.words and text not in ask.words:
        raise ValueError(f"Choose one: {', '.join(ask.words)}.")
    return text


def _declared(task: Task) -> Iterator[Ask]:
    hints = typing.get_type_hints(task.options, include_extras=True)
    for one_of in fields(task.options):
        name, hint = one_of.name, hints[one_of.name]
        kind, declared = hint.__origin__, hint.__metadata__[0]
        inside = {kind, *_parts(kind)}
        one = next((t for t in (bool, int, float, Path) if t in inside), str)
        usual = "" if one_of.default in (None, "", False) else f"{one_of.default:g}"
        flag, text, several = declared.flag or _flag(name), declared.text, list in inside
        yield Ask(name, declared.heading, text, one, several, usual, flag, _label(task, name))
    for name in task.keys.split():
        known = OPTIONS[name]
        kind = Literal["yes", "no"] if known.kind is bool else known.kind
        told = (name, _DRIVING, known.text, kind, known.repeats, "")
        yield Ask(*told, _flag(name), _label(task, name))


def _label(task: Task, name: str) -> str:
    return task.labels.get(name) or name.replace("_", " ").capitalize()


def _parts(kind: Any) -> Iterator[Any]:
    for inner in typing.get_args(kind):
        yield typing.get_origin(inner) or inner
        yield from _parts(inner)


def _flag(name: str) -> str:
    return f"--{name.replace('_', '-')}"
