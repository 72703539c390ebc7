"""Write planned tasks as task data: fields, products, zones and what each should get."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple
from xml.etree.ElementTree import Element, SubElement

from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.io.common.suggestions import listed
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.write import elements
from evenacre.model import Field, PlannedRate

_PLANNED = "1"
_OUTSIDE = 0  # code of the zone for ground where nothing is planned
_MOST_ZONES = 253
_MOST_KG_PER_M2 = 2000.0


class PlannedTask(NamedTuple):
    """A job to do on a field with a boundary."""

    name: str
    field: Field
    # One for each product; without a rate its zones are written all the same
    rates: tuple[PlannedRate, ...] = ()


def write_tasks(target: Path, tasks: Sequence[PlannedTask], *, farm: str = "") -> None:
    """Write planned tasks, their fields and products as a zip with task data version 4.

    Fields of one name are one field.

    Raises
    ------
    InputError
        When a field has no boundary, a rate cannot be, or there is no room to write.
    """
    root = elements.root_element(farm)
    places = elements.ids("PFD", (task.field.name for task in tasks))
    fields = {task.field.name: task.field for task in reversed(tasks)}
    for name, identity in places.items():
        boundary = fields[name].boundary
        if boundary is None:
            raise InputError.at(name, "", "the field has no boundary.", "Draw its outline.")
        elements.add_field(root, identity, fields[name], boundary)
    products = elements.ids("PDT", (rate.product for task in tasks for rate in task.rates))
    for name, identity in products.items():
        SubElement(root, "PDT", A=identity, B=elements.name(name))
    for number, task in enumerate(tasks, start=1):
        _add_task(root, f"TSK{number}", task, places[task.field.name], products)
    elements.write_tree(target, root)


def _add_task(
    root: Element, identity: str, task: PlannedTask, place: str, products: Mapping[str, str]
) -> None:
    """Add a planned task on a field; what lies outside of it gets nothing."""
    zones = _zones(task.field)
    _check_rates(task, {name for name, _ in zones})
    planned = [rate for rate in task.rates if rate.kg_per_m2 is not None or rate.by_zone]
    everywhere = any(rate.kg_per_m2 is not None for rate in planned)
    default = len(zones) + 1 if everywhere else _OUTSIDE
    facts = {"A": identity, "B": elements.name(task.name), **elements.farm_reference(root, "D")}
    codes = {"H": str(default), "I": str(_OUTSIDE), "J": str(_OUTSIDE)}
    job = SubElement(root, "TSK", {**facts, "E": place, "G": _PLANNED, **codes})
    none = {products[rate.product]: 0.0 for rate in task.rates}
    _add_zone(job, _OUTSIDE, "nothing planned", none)
    for code, (zone, ground) in enumerate(zones, start=1):
        rates: dict[str, float] = {}
        for rate in planned:
            kg_per_m2 = rate.by_zone.get(zone, rate.kg_per_m2)
            if kg_per_m2 is None:
                what = f"no rate of {rate.product} is planned for it."
                raise InputError.at(
                    task.field.name, f'zone "{zone}"', what, "Plan one; 0 for nothing."
                )
            rates[products[rate.product]] = kg_per_m2
        _add_zone(job, code, zone, rates, ground)
    if everywhere:
        name = "rest of the field" if zones else "whole field"
        _add_zone(job, default, name, {products[r.product]: r.kg_per_m2 or 0.0 for r in planned})


def _add_zone(
    task: Element,
    code: int,
    name: str,
    kg_per_m2: Mapping[str, float],
    ground: BaseGeometry | None = None,
) -> None:
    """Add a treatment zone and what it should get of each product, by id."""
    zone = SubElement(task, "TZN", A=str(code), B=elements.name(name))
    if ground is not None:
        elements.add_polygons(zone, ground, elements.TREATMENT_ZONE)
    for product, rate in kg_per_m2.items():
        steps = str(round(rate / ddis.KG_PER_M2))
        SubElement(zone, "PDV", A=f"{ddis.SETPOINT_RATE:04X}", B=steps, C=product)


def _check_rates(task: PlannedTask, zones: set[str]) -> None:
    for rate in task.rates:
        if not all(
            0 <= r <= _MOST_KG_PER_M2 for r in (*rate.by_zone.values(), rate.kg_per_m2 or 0)
        ):
            what = "a planned rate is negative or far too high."
            raise InputError.at(task.field.name, "", what, "Plan rates in kg per m2.")
        for zone in rate.by_zone.keys() - zones:
            named = f"Name one of its zones: {listed(sorted(zones))}."
            remedy = named if zones else "Give the field its zones."
            what = "the field has no such zone."
            raise InputError.at(task.field.name, f'zone "{zone}"', what, remedy)


def _zones(field: Field) -> list[tuple[str, BaseGeometry]]:
    if field.zones is None:
        return []
    if len(field.zones) > _MOST_ZONES:
        what = f"it has {len(field.zones)} zones; the format holds {_MOST_ZONES}."
        raise InputError.at(field.name, "", what, "Join zones that get the same.")
    return list(zip(field.zones["zone"].map(str), field.zones.geometry.array, strict=True))
