"""A season of one operation, from the options of the command line."""

from __future__ import annotations

import typing
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pydantic import BeforeValidator

from evenacre.errors import InputError
from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.season.pasture.schema import DriveOptions
from evenacre.io.season.schema import (
    FieldTable,
    ImplementTable,
    KeyTable,
    OperationTable,
    ProductTable,
    SeasonTable,
    SettingsTable,
    as_gate,
)
from evenacre.language import tr

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from evenacre.model import Implement, Season

_TABLES: dict[str, type[KeyTable]] = {
    "field": FieldTable,
    "implement": ImplementTable,
    "operation": OperationTable,
    "product": ProductTable,
    "settings": SettingsTable,
    "passes": DriveOptions,
}
_AT_THE_TOP = ("time_zone", "units", "language", "currency")
_SOURCES = {
    "boundary": "boundary",
    "zones": "zones",
    "unworkable": "unworkable",
    "cross": "cross",
    "setbacks": "setbacks",
    "line": "along",
    "gate": "gate",
}


@dataclass(frozen=True)
class Option:
    """A key of the season file that the command line has an option for."""

    path: tuple[str, ...]  # of the key, without the numbers of entries
    text: str  # what it says
    kind: Any  # type of one value as it is typed
    repeats: bool  # it may be given several times


def _option(path: str, text: str = "", *, repeats: bool = False) -> Option:
    """Derive an option from the key it stands for, unless it has a text of its own."""
    words = tuple(path.split("."))
    inside: list[Any] = [_TABLES.get(words[0], SeasonTable)]
    said = ""
    for word in words[1:] or words:
        table = next(
            part for part in inside if isinstance(part, type) and issubclass(part, KeyTable)
        )
        declared = table.model_fields[word]
        inside = list(_parts(declared.annotation))
        said = said if word == "file" else declared.description or ""
    kind: Any = str
    if words[-1] in ("file", "blockages"):
        kind = Path
    elif not any(isinstance(part, BeforeValidator) for part in inside):
        kind = next((p for p in inside if p in (int, bool) or _is_choice(p)), str)
    return Option(words, text or said, kind, repeats)


def _parts(annotation: Any) -> Iterator[Any]:
    """Every type in an annotation; a choice of words is one."""
    yield annotation if _is_choice(annotation) else typing.get_origin(annotation) or annotation
    for inner in typing.get_args(annotation):
        yield from _parts(inner)


def _is_choice(annotation: Any) -> bool:
    return typing.get_origin(annotation) is Literal


def _same_name(table: str, keys: str) -> dict[str, Option]:
    return {key: _option(f"{table}.{key}") for key in keys.split()}


OPTIONS: dict[str, Option] = {
    "boundary": _option("field.boundary.file"),
    "boundary_layer": _option("field.boundary.layer", "Layer of the boundary."),
    "boundary_where": _option("field.boundary.where", "Pick features: NAME=VALUE.", repeats=True),
    "boundary_crs": _option("field.boundary.crs", "System of the boundary."),
    "zones": _option("field.zones.file"),
    "zones_layer": _option("field.zones.layer", "Layer of the zones."),
    "zones_name_column": _option("field.zones.name_column"),
    "unworkable": _option("field.unworkable.file"),
    "unworkable_layer": _option("field.unworkable.layer", "Layer of the unworkable ground."),
    "cross": _option("field.cross.file"),
    "cross_layer": _option("field.cross.layer", "Layer of the ground to cross."),
    "cross_width": _option("field.cross.width"),
    "setbacks": _option("field.setbacks.file"),
    "setbacks_layer": _option("field.setbacks.layer", "Layer of the setbacks."),
    "setback_distance": _option("field.setbacks.distance"),
    "field_name": _option("field.name"),
    "gate": _option("field.gate"),
    "gate_width": _option("field.gate.width"),
    "along": _option("field.line.file", "Passes run parallel to this line: a map with a line."),
    "along_layer": _option("field.line.layer", "Layer of the line."),
    "operation_name": _option("operation.name"),
    "date": _option("operation.date"),
    "blockages": _option("operation.blockages", repeats=True),
    "tracks": _option("operation.tracks.file", repeats=True),
    "tracks_layer": _option("operation.tracks.layer", "Layer of the log."),
    "tracks_crs": _option("operation.tracks.crs", "System of x and y: EPSG:32615."),
    "column": _option(
        "operation.columns",
        'What a column of the log is: "flow=mass [lb/s]". Repeat as needed.',
        repeats=True,
    ),
    "product": _option("product.name", repeats=True),
    "rate": _option("operation.products.rate", repeats=True),
    "price": _option("product.price", repeats=True),
    **_same_name(
        "implement",
        "width rows row_spacing rows_per_tower axle_to_antenna antenna_ahead antenna_left "
        "tool_behind delay transport_width",
    ),
    "hitch_to_axle": _option("implement.tow.hitch_to_axle", repeats=True),
    **_same_name(
        "settings",
        "skip_min_width skip_min_area headland_rounds pass_to_pass within_pass max_gap smooth",
    ),
    **_same_name(
        "passes",
        "heading speed turn_speed turn_radius rounds headland prefer blocks fence tractor_length "
        "tractor_width",
    ),
    "time_zone": _option("time_zone"),
    "units": _option("units"),
    "language": _option("language"),
    "currency": _option("currency"),
}
"""What the command line has options for; how each is called, with dashes, is its name here."""

DRILL = frozenset(
    [
        "rows_per_tower",
        "axle_to_antenna",
        "antenna_ahead",
        "antenna_left",
        "tool_behind",
        "delay",
        "hitch_to_axle",
    ]
)
"""Options whose absence leaves the rest of the drill to what a machine tells of itself."""

_BY_PATH: dict[tuple[str, ...], str] = {
    ("product",): "product",
    ("operation", "products"): "product",
    ("implement", "tow"): "hitch_to_axle",
    **{option.path[:-1]: name for name, option in OPTIONS.items() if option.path[-1] == "file"},
    **{option.path: name for name, option in OPTIONS.items()},
}


def is_given(value: object) -> bool:
    """Whether an option was used."""
    return value not in (None, (), [], {})


def season_from_options(
    *,
    base: Path | None = None,
    held: Mapping[str, GeoDataFrame] | None = None,
    logs: bool = True,
    **options: Any,
) -> Season:
    """Make a season of one operation, checked as a season file is.

    Names are relative to ``base`` (None: the working folder); maps that are ``held`` go by the
    name that stands for their file. Work to come has no ``logs``. Options go by the names of
    `OPTIONS`: texts with units, numbers, paths; a list where an option may repeat. Of ``rate`` and
    ``price`` there is one for each ``product`` in the same order, or none at all.
    Each problem of an InputError names its option.
    """
    from evenacre.io.season.build import build_season
    from evenacre.io.season.files import SeasonFiles

    problems = ProblemCollector(_name_option)
    given = {name: value for name, value in options.items() if is_given(value)}
    nameless = not ("field_name" in given or "boundary_where" in given)
    raw = _raw(given, problems)
    draft = build_season(raw, SeasonFiles(base or Path(), problems, held or {}), logs=logs)
    if draft.problems:
        raise InputError(draft.problems)
    if nameless:
        plans = tuple(replace(p, field_is_nameless=True) for p in draft.season.operations)
        return replace(draft.season, operations=plans)
    return draft.season


def as_typed(given: Mapping[str, Any]) -> tuple[str, ...]:
    """Write options as a command line has them."""
    words: list[str] = []
    for name, value in given.items():
        if not is_given(value):
            continue
        pairs = isinstance(value, Mapping)
        every = [f"{k}={v}" for k, v in value.items()] if pairs else value
        for one in every if isinstance(every, list | tuple) else [every]:
            flag = f"--{name.replace('_', '-')}"
            words += [flag] if one is True else [flag, str(one)]
    return tuple(words)


@dataclass(frozen=True)
class ToldOfStick:
    """What options say of all the files of a stick.

    Attributes
    ----------
    tables : dict
        Drill, products and what stands at the top, as in a season file.
    implements : dict of str to Implement
    targets : dict of str to float or None
        Rate that was wanted of each product, kg per m2.
    """

    tables: dict[str, Any]
    implements: dict[str, Implement]
    targets: dict[str, float | None]


def goes_with_stick(name: str) -> bool:
    """Whether an option says something of many files: of the drill, products or the clock."""
    return name in (*_AT_THE_TOP, "rate") or OPTIONS[name].path[0] in ("implement", "product")


def told_of_stick(**options: Any) -> ToldOfStick:
    """Read the options that go with many files: those of drill, products and clock.

    Raises
    ------
    InputError
        For any other one, by name, and as `season_from_options`.
    """
    given = {name: value for name, value in options.items() if is_given(value)}
    top = {name: given[name] for name in _AT_THE_TOP if name in given}
    for name in given:
        if not goes_with_stick(name):
            what = tr("It is about one log, and this holds several.")
            remedy = tr(
                "Name the log itself, or write it into the season that `evenacre gather` makes."
            )
            raise InputError.at(f"--{name.replace('_', '-')}", "", what, remedy)
    of_drill = any(OPTIONS[name].path[0] == "implement" for name in given)
    checked = given if of_drill else {**given, "width": "1 m"}
    season = season_from_options(logs=False, **checked)
    raw = _raw(dict(checked), ProblemCollector(_name_option))
    kept = ("implement", "product") if of_drill else ("product",)
    return ToldOfStick(
        {key: raw[key] for key in kept} | top,
        season.implements if of_drill else {},
        {a.product.name: a.target_kg_per_m2 for a in season.operations[0].applications},
    )


def _raw(given: dict[str, Any], problems: ProblemCollector) -> dict[str, Any]:
    """Write options where a season file has them."""
    products = given.get("product", [])
    for name in ("rate", "price"):
        count = len(given.get(name, ()))
        if count and count != len(products):
            times = f"{count} time{'' if count == 1 else 's'}"
            what = tr(
                "It is given {times} for {count} product", times=times, count=len(products) or "no"
            )
            what += "." if len(products) == 1 else "s."
            remedy = tr("Give one --{name} for each --product, in the same order.", name=name)
            problems.add(OPTIONS[name].path, what, remedy)
    for key, source in _SOURCES.items():
        # Only more of it was said, such as how to read its file.
        place = ("field", key)
        details = [n for n, o in OPTIONS.items() if o.path[:2] == place and n in given]
        if details and source not in given:
            what = tr("Other options say how to read this file, but it is not given.")
            problems.add(
                place, what, tr("Give --{source} FILE, or leave those options out.", source=source)
            )
            for name in details:
                del given[name]
    if "gate_width" in given:
        given["gate"] = {**as_gate(str(given["gate"])), "width": given.pop("gate_width")}
    for name in ("boundary_where", "column"):
        if name in given and not isinstance(given[name], Mapping):
            given[name] = _pairs(given[name], OPTIONS[name].path, problems)
    picked = list(given.get("boundary_where", {}).values())
    file = given.get("boundary") or next(iter(given.get("tracks", ())), "field")
    named = str(picked[0]) if len(picked) == 1 and picked[0] else Path(file).stem
    given["field_name"] = given.get("field_name") or named
    given["operation_name"] = given.get("operation_name") or " and ".join(products) or "drive"
    raw: dict[str, Any] = {
        "product": [{} for _ in products],
        "implement": [{"name": "drill", "tow": [{} for _ in given.get("hitch_to_axle", ())]}],
        "field": [{}],
        "operation": [
            {
                "field": given["field_name"],
                "implement": "drill",
                "tracks": [{} for _ in given.get("tracks", ())],
                "products": [{"product": product} for product in products],
            }
        ],
    }
    # One key holds them all, unlike those of which each entry has one.
    raw["operation"][0]["blockages"] = [str(file) for file in given.pop("blockages", ())]
    for name, value in given.items():
        _put(raw, OPTIONS[name].path, value)
    return raw


def _put(raw: dict[str, Any], path: tuple[str, ...], value: Any) -> None:
    """Write a value where a season file has it; a list, one to each of the entries there."""
    tables = [raw]
    for word in path[:-1]:
        inner = [table.setdefault(word, {}) for table in tables]
        tables = [t for one in inner for t in (one if isinstance(one, list) else [one])]
    values = value if isinstance(value, list | tuple) else [value] * len(tables)
    for table, one in zip(tables, values, strict=False):
        table[path[-1]] = str(one) if isinstance(one, Path) else one


def _pairs(given: Iterable[str], path: KeyPath, problems: ProblemCollector) -> dict[str, str]:
    pairs: dict[str, str] = {}
    for text in given:
        name, sign, value = text.partition("=")
        if not sign or not name.strip():
            problems.add(
                path, tr('"{said}" has no = sign.', said=text), tr('Write it as "NAME=VALUE".')
            )
        elif name.strip() in pairs:
            problems.add(
                path, tr('"{name}" is given twice.', name=name.strip()), tr("Keep one of them.")
            )
        pairs.setdefault(name.strip(), value.strip())
    return pairs


def _name_option(path: KeyPath) -> tuple[str, str]:
    """Name the option that a key of the season came from."""
    words = tuple(part for part in path if isinstance(part, str))
    place = words[2] if words[:2] == OPTIONS["column"].path and len(words) > 2 else ""
    for length in range(len(words), 0, -1):
        if name := _BY_PATH.get(words[:length]):
            return f"--{name.replace('_', '-')}", place
    return f"--{words[-1].replace('_', '-')}" if words else "options", ""
