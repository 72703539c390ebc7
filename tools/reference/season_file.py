"""Every key of the season file, from the tables that check it."""

from __future__ import annotations

import typing
from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, PlainValidator
from pydantic_core import PydanticUndefined

from evenacre.io.season import schema
from evenacre.io.season.pasture import schema as pasture

TABLES: dict[str, tuple[type[schema.KeyTable], ...]] = {
    "": (schema.SeasonTable,),
    "[settings]": (schema.SettingsTable,),
    "[[product]]": (schema.ProductTable,),
    "[[implement]]": (schema.ImplementTable, schema.TowTable, schema.CompartmentTable),
    "[[field]]": (
        schema.FieldTable,
        schema.SourceTable,
        schema.CrossTable,
        schema.GateTable,
        schema.ZonesTable,
        schema.SetbacksTable,
    ),
    "[[operation]]": (
        schema.OperationTable,
        schema.TrackTable,
        schema.UseTable,
        schema.BlockageTable,
        schema.WithSeedTable,
    ),
    "[[need]]": (schema.NeedTable,),
    "[paddocks]": (pasture.PaddocksTable,),
    "[[paddock]]": (pasture.PaddockTable, pasture.WetTable),
    "[[herd]]": (pasture.HerdTable,),
    "[grazing]": (pasture.GrazingTable,),
    "[[move]]": (pasture.MoveTable,),
    "[seeding]": (pasture.SeedingTable, pasture.BookedTable, pasture.SeedBinTable),
}
_LOOSE = {*schema.ENTRIES, *schema.SINGLES, "settings"}
_PLAIN = {str: "text", int: "a whole number", float: "a number", bool: "true or false"}


def parts(annotation: Any) -> Iterator[Any]:
    yield annotation
    for inner in () if get_origin(annotation) is Literal else get_args(annotation):
        yield from parts(inner)


def kind_of(annotation: Any, metadata: list[Any]) -> str:
    """What a key may hold, in words."""
    found = [*parts(annotation), *metadata]
    origins = [get_origin(part) or part for part in found]
    many = "a list" if list in origins else ""
    for part in found:
        if isinstance(part, type) and issubclass(part, BaseModel):
            name = part.__name__.removesuffix("Table").lower()
            return f"a list of tables ({name})" if many else f"a table ({name})"
        if get_origin(part) is Literal:
            return " or ".join(f'"{word}"' for word in get_args(part))
    if dict in origins:
        return "a table of names"
    told = [
        part.func.__doc__
        for part in found
        if isinstance(part, BeforeValidator | PlainValidator) and part.func.__doc__
    ]
    plain = [_PLAIN[part] for part in found if isinstance(part, typing.Hashable) and part in _PLAIN]
    words = [said.rstrip(".")[0].lower() + said.rstrip(".")[1:] for said in told] or plain
    return ", or ".join([*([many] if many else []), *dict.fromkeys(words)]) or "anything"


def default_of(value: Any) -> str:
    if value is PydanticUndefined:
        return "needed"
    if value is None or value == [] or value == {} or value == "" or isinstance(value, BaseModel):
        return ""
    return (
        str(value).lower()
        if isinstance(value, bool)
        else f"{value:g}"
        if isinstance(value, float)
        else str(value)
    )


def rows(table: type[schema.KeyTable]) -> Iterator[str]:
    for name, field in table.model_fields.items():
        if table is schema.SeasonTable and name in _LOOSE:
            continue
        kind = kind_of(field.annotation, field.metadata)
        default = default_of(field.get_default())
        yield f"| `{field.alias or name}` | {kind} | {default} | {field.description or ''} |"


def season_file() -> str:
    """Every table of the season file and its keys."""
    lines: list[str] = []
    for heading, tables in TABLES.items():
        for at, table in enumerate(tables):
            name = table.__name__.removesuffix("Table").lower()
            first = f"## `{heading}`" if heading else "## At the top"
            lines += ["", f"### {name}" if at else first, "", (table.__doc__ or "").strip(), ""]
            lines += [
                "| key | holds | without it | what it is |",
                "|---|---|---|---|",
                *rows(table),
            ]
    return "\n".join(lines) + "\n"
