"""Read what fields and zones ask for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import choice
from evenacre.io.season.schema import NeedTable
from evenacre.model import Field, Need

_SAME = {"P": "P2O5", "K": "K2O"}


def needs_of(
    entries: Sequence[Any], fields: Mapping[str, Field | None], complaints: ProblemCollector
) -> tuple[Need, ...]:
    """Check every need against the fields and zones there are."""
    needs: list[Need] = []
    seen: set[tuple[str, str | None, str]] = set()
    for index, entry in enumerate(entries):
        path: KeyPath = ("need", index)
        table = complaints.check(NeedTable, entry, path, ("field", "zone"))
        if table is None or not _placed(table, fields, path, complaints):
            continue
        asked = table.asked()
        if not asked and not set(entry) - {"field", "zone"}:
            complaints.add(path, "It asks for nothing.", 'Add a nutrient, such as N = "120 lb/ac".')
        for nutrient, rate in asked.items():
            key = (table.field, table.zone, _SAME.get(nutrient, nutrient))
            if key in seen:
                where = f"{table.field}, {table.zone}" if table.zone else table.field
                what = f"{key[2]} is asked for twice on {where}."
                complaints.add((*path, nutrient), what, "Keep one of them.")
            seen.add(key)
            needs.append(Need(table.field, table.zone, nutrient, rate))
    return tuple(needs)


def _placed(
    table: NeedTable,
    fields: Mapping[str, Field | None],
    path: KeyPath,
    complaints: ProblemCollector,
) -> bool:
    """Whether the field and the zone exist; a field that could not be read is let through."""
    if table.field not in fields:
        remedy = choice(table.field, fields, "Define it under [[field]].")
        complaints.add((*path, "field"), f'There is no field "{table.field}".', remedy)
        return False
    field = fields[table.field]
    if table.zone is None or field is None:
        return True
    zones = [] if field.zones is None else [str(zone) for zone in field.zones["zone"]]
    if table.zone not in zones:
        complaints.add(
            (*path, "zone"),
            f'"{table.field}" has no zone "{table.zone}".',
            choice(table.zone, zones, "Give the field its zones, or leave zone out."),
        )
        return False
    return True
