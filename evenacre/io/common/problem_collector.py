"""Collect every problem of a season before raising any."""

from __future__ import annotations

import copy
import re
import typing
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from evenacre.errors import InputError, Problem
from evenacre.io.common.suggestions import choice
from evenacre.language import tr

KeyPath = tuple[str | int, ...]
_MEMBER = re.compile(r"^(constrained-)?(int|str|float)$|\]$")
Model = TypeVar("Model", bound=BaseModel)

_EXAMPLES = {
    "name": 'name = "Creek Forty"',
    "file": 'file = "fields.gpkg"',
    "field": 'field = "Creek Forty"',
    "implement": 'implement = "drill"',
    "product": 'product = "18-46-0"',
    "tracks": 'tracks = ["logs/creek.csv"]',
    "distance": 'distance = "100 ft"',
    "hitch_to_axle": 'hitch_to_axle = "14 ft"',
    "head": "head = 40",
    "weight": 'weight = "1200 lb"',
    "intake": "intake = 2.6",
    "paddock": 'paddock = "North 1"',
    "enter": "enter = 2026-08-10",
    "leave": "leave = 2026-08-15",
    "from": "from = 2026-09-01",
    "start": "start = 2026-04-14T09:12:00",
    "end": "end = 2026-04-14T09:20:00",
}

# What pydantic's own checks mean, by its name of the error: what is wrong, and the remedy.
_PLAIN = {
    "string_type": ("{value} is not text.", "Write it in quotes."),
    "string_too_short": ("It is empty.", "Fill it in."),
    "string_unicode": ("Its name is not written in UTF-8.", "Give it another name."),
    "string_too_long": ("It is longer than {max_length:,} characters.", "Shorten it."),
    "string_pattern_mismatch": ("{value} is not right.", 'Write three capitals, such as "USD".'),
    "int_type": ("{value} is not a whole number.", "Write a whole number, without quotes."),
    "bool_type": ("{value} is neither true nor false.", "Write true or false, without quotes."),
    "float_type": ("{value} is not a number.", "Write a number, without quotes."),
    "finite_number": ("{value} is not a number.", "Write a number, without quotes."),
    "float_parsing": ("{value} is not a number.", "Write a number, without quotes."),
    "date_type": ("{value} is not a date.", "Write it as 2026-04-14, without quotes."),
    "list_type": ("{value} is not a list.", "Write it in square brackets: [ ... ]."),
    "too_short": ("The list is empty.", "Name at least one."),
    "dict_type": ("{value} is not a table.", "Write it in braces: {{ ... }}."),
    "model_type": ("{value} is not a table.", "Write it in braces: {{ ... }}."),
    "literal_error": ("{value} is not known here.", "Use {expected}."),
    "greater_than_equal": ("{value} is too small.", "Give at least {ge:g}."),
    "greater_than": ("{value} is too small.", "Give more than {gt:g}."),
    "less_than_equal": ("{value} is too large.", "Give at most {le:g}."),
}


class ProblemCollector:
    """A list of problems, each named by the key it is about.

    Parameters
    ----------
    name : callable
        Turns the path of a key into the file (or option) and the place to show.
    """

    def __init__(self, name: Callable[[KeyPath], tuple[str, str]]) -> None:
        self._name = name
        self.problems: list[Problem] = []

    def add(self, path: KeyPath, what: str, remedy: str) -> None:
        """Add what is wrong with a key."""
        self.problems.append(Problem(*self._name(path), what, remedy, path))

    def take(self, error: InputError) -> None:
        """Add the problems of a reader, which name their own file."""
        self.problems += [p for p in error.problems if p not in self.problems]

    def check(
        self, model: type[Model], data: object, path: KeyPath = (), needed: Iterable[str] = ()
    ) -> Model | None:
        """Validate a table and add every problem of it.

        Parameters
        ----------
        data : object
            The table as read.
        path : tuple
            Where it stands.
        needed : iterable of str
            Keys without which the rest makes no sense.

        Returns
        -------
        model or None
            Faulty keys are left out, so that the rest can still be checked; None when the
            table cannot do without them.
        """
        try:
            return model.model_validate(data)
        except ValidationError as error:
            faults = _faults(error)
        for loc, one in faults.items():
            self.add(path + loc, *_explain(model, loc, one))
        if any(not loc or str(loc[0]) in set(needed) for loc in faults):
            return None
        pruned = copy.deepcopy(data)
        for loc in faults:
            _prune(pruned, loc)
        try:
            return model.model_validate(pruned)
        except ValidationError:
            return None


def _faults(error: ValidationError) -> dict[KeyPath, Any]:
    """Return one error for each place, by its path of keys.

    Every member of a union complains about the same value, under its own name; the one that
    came furthest says most.
    """
    best: dict[KeyPath, tuple[tuple[bool, int], KeyPath, Any]] = {}
    for one in error.errors(include_url=False):
        named = [i for i, part in enumerate(one["loc"]) if _MEMBER.search(str(part))]
        loc = tuple(part for i, part in enumerate(one["loc"]) if i not in named)
        group = loc[: named[0]] if named else loc
        merit = (not one["type"].endswith("_type"), len(loc))
        if group not in best or merit > best[group][0]:
            best[group] = (merit, loc, one)
    return {loc: one for _, loc, one in best.values()}


def _prune(data: Any, loc: KeyPath) -> None:
    """Take a key out of nested tables; what is no key stays."""
    for part in loc[:-1]:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):  # a bare value that stands for a list
            return
    if isinstance(data, dict):
        data.pop(loc[-1], None)


def _explain(model: type[BaseModel], loc: KeyPath, error: Mapping[str, Any]) -> tuple[str, str]:
    kind, context = error["type"], error.get("ctx", {})
    if kind == "told":
        return context["what"], context["remedy"]
    key = str(loc[-1]) if loc else ""
    if kind == "missing":
        return tr("{key} is missing.", key=key), tr("Add {get}.", get=_EXAMPLES.get(key, key))
    if kind == "extra_forbidden":
        return tr('"{key}" is not a key that is known here.', key=key), choice(
            key, _keys_at(model, loc[:-1])
        )
    value = error["input"]
    shown = f'"{value}"' if isinstance(value, str) else str(value).replace("True", "true")
    if kind in _PLAIN:
        what, remedy = _PLAIN[kind]
        return what.format(value=shown, **context), remedy.format(value=shown, **context)
    return tr("{shown} cannot be used: {msg}.", shown=shown, msg=error["msg"]), tr("Correct it.")


def _keys_at(model: type[BaseModel], loc: KeyPath) -> list[str]:
    """Return the keys of the table at a place below a model."""
    for part in loc:
        if isinstance(part, str):
            model = model_in(fields_of(model)[part].annotation) or model
    return list(fields_of(model))


def fields_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Return the fields of a table by the keys they are written under."""
    return {field.alias or name: field for name, field in model.model_fields.items()}


def model_in(annotation: Any) -> type[BaseModel] | None:
    """The table that a key, or each of its list, holds; None where it holds none."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    found = (model_in(inner) for inner in typing.get_args(annotation))
    return next((model for model in found if model is not None), None)
