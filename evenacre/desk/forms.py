"""Forms of the season file's tables, as `evenacre.io.season.schema` declares them."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from evenacre.io.common.problem_collector import ProblemCollector, fields_of, model_in
from evenacre.io.season import schema
from evenacre.io.season.edit import inline
from evenacre.io.season.pasture import schema as pasture
from evenacre.language import date_text
from evenacre.model.product import NUTRIENTS

Given = Mapping[str, str]
"""What stands in the boxes of a form, by name."""
_MOST_ROWS = 500
_NUMBER = re.compile(r"[-+]?\d{1,15}(\.\d{1,15})?")
_NAMED_ELSEWHERE = ("field", "implement", "product", "paddock")
_FILES = ("file", "blockages", "loads", "rain")
# Keys whose table may be the name of a file alone, and lists of such names.
_BARE = ("boundary", "unworkable", "zones", "setbacks", "paddocks", "tracks")
_LISTS = ("tracks", "blockages")
_CALLED = {
    **{nutrient.lower(): nutrient for nutrient in NUTRIENTS if len(nutrient) > 1},
    "crs": "Coordinate system",
    "pls_rate": "Rate of pure live seed",
}
"""Boxes that are called otherwise than their keys."""


@dataclass(frozen=True)
class Kind:
    """A kind of table that a season may hold.

    Attributes
    ----------
    key : str
        In the season file; empty of what stands at its top.
    title : str
    model : type
    many : bool
        Whether there may be several.
    hidden : frozenset of str
        Keys that have tables, or makers, of their own.
    """

    key: str
    title: str
    model: type[schema.KeyTable]
    many: bool = False
    hidden: frozenset[str] = frozenset()


_OF_ITS_OWN = frozenset({*schema.ENTRIES, *schema.SINGLES, "settings", "gathered"})
KINDS = {
    (kind.key or "farm"): kind
    for kind in (
        Kind("", "Farm", schema.SeasonTable, hidden=_OF_ITS_OWN),
        Kind("field", "Field", schema.FieldTable, many=True),
        Kind("implement", "Drill", schema.ImplementTable, many=True),
        Kind("product", "Product", schema.ProductTable, many=True),
        Kind("operation", "Job", schema.OperationTable, many=True),
        Kind("need", "Need", schema.NeedTable, many=True),
        Kind("paddocks", "Map of paddocks", pasture.PaddocksTable),
        Kind("paddock", "Paddock", pasture.PaddockTable, many=True),
        Kind("herd", "Animals", pasture.HerdTable, many=True),
        Kind("grazing", "Grazing", pasture.GrazingTable),
        Kind("move", "Stay", pasture.MoveTable, many=True),
        Kind("seeding", "Seeding behind the herd", pasture.SeedingTable),
        Kind("settings", "What may be tuned", schema.SettingsTable),
    )
}
"""By the name in addresses."""


@dataclass(frozen=True)
class Box:
    """A box of a form, or several that belong together.

    Attributes
    ----------
    name : str
        Keys and numbers from the table to it, joined by dots.
    form : str
        ``"text"``, ``"lines"``, ``"choice"``, ``"table"`` or ``"rows"``.
    text : str
        What stands in it.
    choices : tuple of str
        To choose from, or (of text) offered.
    inner : tuple of Box
        Of a table, or row by row.
    """

    name: str
    label: str
    help: str
    form: Literal["text", "lines", "choice", "table", "rows", "row"]
    text: str = ""
    needed: bool = False
    choices: tuple[str, ...] = ()
    inner: tuple[Box, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Tell whether nothing stands in it."""
        return not self.text and all(box.is_empty for box in self.inner)


def tables_of(raw: Mapping[str, Any], kind: Kind) -> list[Mapping[str, Any]]:
    """Tables of a kind; of a single one none or one."""
    if not kind.key:
        return [raw]
    held = raw.get(kind.key)
    found = held if isinstance(held, list) else [] if held is None else [held]
    return [table if isinstance(table, Mapping) else {} for table in found]


def name_of(table: Mapping[str, Any], kind: Kind, number: int) -> str:
    """What a table is called in lists."""
    keys = ("name", "class", "field", "zone", "paddock", "date", "enter")
    told = [table.get(key) for key in (keys if kind.key else ("farm",))]
    words = [
        date_text(word) if isinstance(word, dt.date) else word
        for word in told
        if isinstance(word, str | dt.date)
    ]
    return ", ".join(words) or (f"{kind.title} {number + 1}" if kind.many else kind.title)


def boxes(
    kind: Kind, table: Mapping[str, Any], raw: Mapping[str, Any], files: Sequence[str]
) -> tuple[Box, ...]:
    """The form of a table, filled in with what it says.

    Parameters
    ----------
    raw : mapping
        The whole season, whose names are offered.
    files : sequence of str
        Offered where a file is asked for.
    """
    return tuple(_boxes(kind.model, table, "", _Offered(raw, files), kind.hidden))


def table_of(kind: Kind, given: Given, before: Mapping[str, Any]) -> dict[str, Any]:
    """The table that the boxes of a form say, with what of it the form does not know."""
    return _read(kind.model, _nested(given), before, kind.hidden)


def troubles_of(
    kind: Kind, table: Mapping[str, Any], before: Mapping[str, Any], allowed: Callable[[str], bool]
) -> dict[str, str]:
    """What is wrong with a table, by the name of the box that it concerns.

    Parameters
    ----------
    allowed : callable
        Whether a file of a name may be read.
    """
    collector = ProblemCollector(lambda path: ("", ".".join(map(str, path))))
    known = {key: value for key, value in table.items() if key not in kind.hidden}
    collector.check(kind.model, known)
    found: dict[str, str] = {}
    for problem in collector.problems:
        found.setdefault(problem.place, f"{problem.what} {problem.remedy}")
    old = set(_files_in(before))
    for place, name in _files_in(table):
        if (place, name) not in old and not allowed(name):
            found.setdefault(place, "It lies in no folder of the farm. Bring it first.")
    return found


def put_table(
    kind: Kind,
    table: Mapping[str, Any],
    document: Any,
    number: int | None,
    at: int | None = None,
) -> None:
    """Write a table into a document, a new one where there is no number; no other is touched.

    A new one comes last, or ``at`` a place among those of its kind.
    """
    if not kind.key:
        _put(document, table, {key for key in fields_of(kind.model) if key not in kind.hidden})
        return
    if kind.many and number is None:
        _append(document, kind.key, table, at)
    elif kind.many:
        _put(_held(document, kind.key)[number], table, set(fields_of(kind.model)))
    elif kind.key in document:
        _put(document[kind.key], table, set(fields_of(kind.model)))
    else:
        document[kind.key] = dict(table)


def drop_table(kind: Kind, document: Any, number: int) -> None:
    """Take a table out of a document."""
    if kind.many and isinstance(document[kind.key], list):
        del document[kind.key][number]
    else:
        del document[kind.key]


# From a table to boxes


@dataclass(frozen=True)
class _Offered:
    raw: Mapping[str, Any]
    files: Sequence[str]

    def names(self, key: str) -> tuple[str, ...]:
        kinds = ("paddock", "field") if key == "paddock" else (key,)
        tables = [table for kind in kinds for table in tables_of(self.raw, KINDS[kind])]
        return tuple(dict.fromkeys(str(t["name"]) for t in tables if t.get("name")))


def _boxes(
    model: type[BaseModel],
    table: Mapping[str, Any],
    path: str,
    offered: _Offered,
    hidden: frozenset[str] = frozenset(),
) -> Iterator[Box]:
    for key, declared in _own_first(model):
        if key in hidden:
            continue
        name, held = f"{path}{key}", table.get(key)
        about = (name, _label(key), _in_plain_words(declared.description or ""))
        inner, origins = model_in(declared.annotation), _origins(declared.annotation)
        if inner is not None and list in origins:
            rows = [
                _as_table(one, inner)
                for one in (held if isinstance(held, list) else [held] if held else [])
            ]
            shown = [*rows, {}]
            filled = tuple(
                Box(
                    f"{name}.{n}",
                    str(n + 1),
                    "",
                    "row",
                    inner=tuple(_boxes(inner, row, f"{name}.{n}.", offered)),
                )
                for n, row in enumerate(shown)
            )
            yield Box(*about, "rows", needed=declared.is_required(), inner=filled)
        elif inner is not None:
            within = tuple(_boxes(inner, _as_table(held, inner), f"{name}.", offered))
            yield Box(*about, "table", needed=declared.is_required(), inner=within)
        elif dict in origins:
            pairs = [*(held.items() if isinstance(held, Mapping) else ()), ("", "")]
            rows_of = tuple(
                Box(
                    f"{name}.{n}",
                    str(n + 1),
                    "",
                    "row",
                    inner=(
                        Box(f"{name}.{n}.key", "Name", "", "text", str(of)),
                        Box(f"{name}.{n}.value", "Value", "", "text", _text(value)),
                    ),
                )
                for n, (of, value) in enumerate(pairs)
            )
            yield Box(*about, "rows", inner=rows_of)
        else:
            yield _leaf(about, key, declared, held, offered)


def _label(key: str) -> str:
    """What is written beside the box of a key."""
    if key in _CALLED:
        return _CALLED[key]
    return key if key in ("N", "P", "K") else key.replace("_", " ").capitalize()


def _in_plain_words(help_of_key: str) -> str:
    """The help of a key for somebody who does not see the file: no brackets, and no keys."""
    without_tables = re.sub(r": \{[^{}]*\}|\[\[?(\w+)\]\]?", r"\1", help_of_key)
    return re.sub(r"\b[a-z]+(_[a-z]+)+\b", lambda key: f'"{_label(key[0])}"', without_tables)


def _own_first(model: type[BaseModel]) -> list[tuple[str, FieldInfo]]:
    """Keys of a table; those that it shares with others come after its own."""
    shared = {
        key for base in model.__bases__ if issubclass(base, BaseModel) for key in fields_of(base)
    }
    return sorted(fields_of(model).items(), key=lambda one: one[0] in shared)


def _leaf(
    about: tuple[str, str, str], key: str, declared: FieldInfo, held: Any, offered: _Offered
) -> Box:
    needed, text = declared.is_required(), _text(held)
    parts = list(_parts(declared.annotation))
    words = [word for part in parts if get_origin(part) is Literal for word in get_args(part)]
    if words or bool in parts:
        return Box(*about, "choice", text, needed, tuple(words) or ("yes", "no"))
    if list in _origins(declared.annotation):
        return Box(*about, "lines", text, needed)
    if key in _FILES:
        return Box(*about, "text", text, needed, tuple(offered.files))
    if key in _NAMED_ELSEWHERE:
        return Box(*about, "text", text, needed, offered.names(key))
    return Box(*about, "text", text, needed)


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "\n".join(map(_text, value))
    return value.isoformat() if isinstance(value, dt.date | dt.time) else str(value)


def _as_table(held: Any, model: type[BaseModel]) -> Mapping[str, Any]:
    """A table, for which its first key may stand alone."""
    if held is None or isinstance(held, Mapping):
        return held or {}
    return {next(iter(fields_of(model))): held}


# From boxes to a table


def _nested(given: Given) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, text in given.items():
        *path, last = name.split(".")
        inner: Any = found
        for part in path:
            inner = inner.setdefault(part, {})
            if not isinstance(inner, dict):
                break
        else:
            inner[last] = text.replace("\r\n", "\n").strip()
    return found


def _read(
    model: type[BaseModel],
    given: Mapping[str, Any],
    before: Mapping[str, Any],
    hidden: frozenset[str] = frozenset(),
) -> dict[str, Any]:
    table = dict(before)
    for key, declared in fields_of(model).items():
        told = given.get(key)
        if told is None or key in hidden:
            continue
        value = _value(declared, told, before.get(key))
        if value is None:
            table.pop(key, None)
        else:
            table[key] = value
    return table


def _value(declared: FieldInfo, told: Any, before: Any) -> Any:
    """What a key is to say; None where it is to go."""
    inner, origins = model_in(declared.annotation), _origins(declared.annotation)
    if isinstance(told, str):
        if told == _text(before):
            return before
        if not told:
            return None
        if list in origins:
            lines = [_fitting(declared, [line.strip()], line.strip()) for line in told.split("\n")]
            return [line for line in lines if line != ""]
        return _fitting(declared, None, told)
    if not isinstance(told, Mapping):
        return before
    if inner is None:
        return _pairs(told, before)
    if list not in origins:
        was = _as_table(before, inner)
        table = _read(inner, told, was)
        return before if table == was else (table or None)
    held = before if isinstance(before, list) else [] if before is None else [before]
    rows = []
    for number in sorted((n for n in told if re.fullmatch(r"\d{1,5}", n)), key=int)[:_MOST_ROWS]:
        one = held[int(number)] if int(number) < len(held) else None
        was = _as_table(one, inner)
        row = _read(inner, told[number], was) if isinstance(told[number], Mapping) else dict(was)
        if row:
            rows.append(one if one is not None and row == was else row)
    return before if rows == held else (rows or None)


def _pairs(told: Mapping[str, Any], before: Any) -> Any:
    was = before if isinstance(before, Mapping) else {}
    pairs: dict[str, Any] = {}
    for row in told.values():
        if isinstance(row, Mapping) and (key := str(row.get("key", ""))):
            text = str(row.get("value", ""))
            pairs[key] = was[key] if key in was and _text(was[key]) == text else _guessed(text)
    return before if pairs == was else (pairs or None)


def _guessed(text: str) -> Any:
    return (float(text) if "." in text else int(text)) if _NUMBER.fullmatch(text) else text


def _fitting(declared: FieldInfo, several: list[str] | None, text: str) -> Any:
    """The text as the first kind of value that the key takes; as text where it takes none."""
    candidates: list[Any] = []
    with suppress(ValueError):
        candidates.append(dt.date.fromisoformat(text))
    candidates.append(text)
    if _NUMBER.fullmatch(text):
        candidates.append(_guessed(text))
    if text in ("yes", "no"):
        candidates.append(text == "yes")
    kind: Any = declared.annotation
    for check in declared.metadata:
        kind = Annotated[kind, check]
    adapter: TypeAdapter[Any] = TypeAdapter(kind)
    for value in candidates:
        with suppress(ValidationError):
            adapter.validate_python([value] if several is not None else value, strict=True)
            return value
    return text


# From a table into a document


def _put(target: Any, table: Mapping[str, Any], keys: set[str]) -> None:
    for key in keys:
        old = target.get(key)
        if key not in table:
            if key in target:
                del target[key]
        elif old is None:
            target[key] = _item(table[key])
        elif _plain(old) != table[key]:
            _change(target, key, old, table[key])


def _change(target: Any, key: str, old: Any, new: Any) -> None:
    """Change a value where it stands, so that what is beside it stays."""
    if isinstance(new, Mapping) and isinstance(old, Mapping):
        _put(old, new, {*old, *new})
    elif isinstance(new, list) and isinstance(old, list):
        while len(old) > len(new):
            del old[len(old) - 1]
        for number, value in enumerate(new):
            if number >= len(old):
                old.append(dict(value) if hasattr(old, "body") else _item(value))
            elif _plain(old[number]) != value:
                if isinstance(old[number], Mapping) and isinstance(value, Mapping):
                    _put(old[number], value, {*old[number], *value})
                else:
                    old[number] = _item(value)
    else:
        target[key] = _item(new)


def _append(document: Any, key: str, table: Mapping[str, Any], at: int | None) -> None:
    import tomlkit
    from tomlkit.items import AoT, Table

    fresh = tomlkit.table()
    for name, value in table.items():
        fresh.add(name, _item(value))
    held = document.get(key)
    if isinstance(held, list) and not isinstance(held, AoT):  # a list on one line
        held.insert(len(held) if at is None else at, _item(table))
        return
    several = held if isinstance(held, AoT) else tomlkit.aot()
    if held is None:
        document.append(key, several)
    elif several is not held:  # a table where a list of them belongs
        several.append(held if isinstance(held, Table) else tomlkit.item(dict(held)))
        document[key] = several
    # Between tables there is an empty line, which belongs to the one before.
    if at is not None or (several and several[-1].as_string().endswith("\n\n")):
        fresh.add(tomlkit.nl())
    elif several or len(document) > 1:
        fresh.trivia.indent = "\n"
    several.insert(len(several) if at is None else at, fresh)


def _held(document: Any, key: str) -> Any:
    held = document[key]
    return held if isinstance(held, list) else [held]


def _item(value: Any) -> Any:
    if isinstance(value, Mapping):
        return inline({key: _item(inner) for key, inner in value.items()})
    return [_item(one) for one in value] if isinstance(value, list) else value


def _plain(value: Any) -> Any:
    return value.unwrap() if hasattr(value, "unwrap") else value


# What is declared


def _parts(annotation: Any) -> Iterator[Any]:
    yield annotation
    for inner in () if get_origin(annotation) is Literal else get_args(annotation):
        yield from _parts(inner)


def _origins(annotation: Any) -> list[Any]:
    return [get_origin(part) or part for part in _parts(annotation)]


def _files_in(table: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Every file that a table names, with its place."""
    pairs = table.items() if isinstance(table, Mapping) else enumerate(table)
    for key, value in pairs:
        place = f"{path}{key}"
        if isinstance(value, str):
            if key in (*_FILES, *_BARE) or (path and path.rstrip(".").split(".")[-1] in _LISTS):
                yield place, value
        elif isinstance(value, Mapping | list):
            yield from _files_in(value, f"{place}.")
