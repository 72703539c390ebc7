"""Planned tasks as a tree of task data: fields, products, zones and what each should get."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement

import numpy as np
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.io.common.suggestions import listed
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.write import elements
from evenacre.io.taskdata.write.elements import OUTSIDE
from evenacre.model import Field, FloatArray, PlannedRate

_MOST_ZONES = 253
_MOST_KG_PER_M2 = 2000.0


@dataclass(frozen=True)
class RateGrid:
    """A planned rate in cells of equal size.

    Attributes
    ----------
    west, south : float
        Outer corner, degrees.
    east_deg, north_deg : float
        Size of a cell.
    kg_per_m2 : (rows, columns) float
        Rows from the south, columns from the west; NaN where nothing is planned.
    """

    west: float
    south: float
    east_deg: float
    north_deg: float
    kg_per_m2: FloatArray


@dataclass(frozen=True)
class PlannedTask:
    """A job to do on a field.

    Attributes
    ----------
    name : str
    field : Field
        With a boundary.
    rates : tuple of PlannedRate
        One for each product; without a rate its zones are written all the same.
    grid : RateGrid or None
        In the place of the rate of the only product.
    """

    name: str
    field: Field
    rates: tuple[PlannedRate, ...] = ()
    grid: RateGrid | None = None


def task_tree(tasks: Sequence[PlannedTask], farm: str) -> tuple[Element, dict[str, bytes]]:
    """Lay tasks out as the root element and the files beside it.

    Raises
    ------
    InputError
        When a field has no boundary or a rate cannot be.
    """
    root = elements.root_element()
    if farm:
        SubElement(root, "FRM", A=elements.FARM, B=elements.name(farm))
    plots = _ids("PFD", (task.field.name for task in tasks))
    fields = {task.field.name: task.field for task in reversed(tasks)}
    for name, identity in plots.items():
        boundary = fields[name].boundary
        if boundary is None:
            raise InputError.at(name, "", "the field has no boundary.", "Draw its outline.")
        elements.add_field(root, identity, fields[name], boundary)
    products = _ids("PDT", (rate.product for task in tasks for rate in task.rates))
    for name, identity in products.items():
        SubElement(root, "PDT", A=identity, B=elements.name(name))
    files: dict[str, bytes] = {}
    for number, task in enumerate(tasks, start=1):
        files.update(_add_task(root, number, task, plots[task.field.name], products))
    return root, files


def _ids(kind: str, names: Iterable[str]) -> dict[str, str]:
    distinct = dict.fromkeys(names)
    return {name: f"{kind}{number}" for number, name in enumerate(distinct, start=1)}


def _add_task(
    root: Element, number: int, task: PlannedTask, plot: str, products: Mapping[str, str]
) -> Iterator[tuple[str, bytes]]:
    zones = _zones(task.field)
    _check_rates(task, {name for name, _ in zones})
    everywhere = task.grid is not None or any(r.kg_per_m2 is not None for r in task.rates)
    default = len(zones) + 1 if everywhere else OUTSIDE
    job = elements.add_task(root, f"TSK{number}", task.name, plot, default)
    none = {products[rate.product]: 0.0 for rate in task.rates}
    elements.add_zone(job, OUTSIDE, "nothing planned", none)
    if task.grid is not None:
        elements.add_zone(job, default, "see the grid", none)
        corner = (task.grid.west, task.grid.south)
        cell = (task.grid.east_deg, task.grid.north_deg)
        steps = _steps(task.grid.kg_per_m2, task.field.name)
        yield from elements.add_grid(job, corner, cell, steps, default, f"GRD{number:05}")
        return
    for code, (zone, ground) in enumerate(zones, start=1):
        elements.add_zone(job, code, zone, _rates_on(task, zone, products), ground)
    if everywhere:
        name = "rest of the field" if zones else "whole field"
        rest = {products[r.product]: r.kg_per_m2 or 0.0 for r in task.rates if _is_planned(r)}
        elements.add_zone(job, default, name, rest)


def _is_planned(rate: PlannedRate) -> bool:
    return rate.kg_per_m2 is not None or bool(rate.by_zone)


def _rates_on(task: PlannedTask, zone: str, products: Mapping[str, str]) -> dict[str, float]:
    """Return the kg per m2 that a zone should get of each product, by id."""
    found: dict[str, float] = {}
    for rate in filter(_is_planned, task.rates):
        kg_per_m2 = rate.by_zone.get(zone, rate.kg_per_m2)
        if kg_per_m2 is None:
            raise InputError.at(
                task.field.name,
                f'zone "{zone}"',
                f"no rate of {rate.product} is planned for it.",
                "Plan one; 0 for nothing.",
            )
        found[products[rate.product]] = kg_per_m2
    return found


def _check_rates(task: PlannedTask, zones: set[str]) -> None:
    for rate in task.rates:
        given = [*rate.by_zone.values(), 0.0 if rate.kg_per_m2 is None else rate.kg_per_m2]
        _steps(np.array(given), task.field.name)
        for zone in rate.by_zone.keys() - zones:
            raise InputError.at(
                task.field.name,
                f'zone "{zone}"',
                "the field has no such zone.",
                f"Name one of its zones: {listed(sorted(zones))}."
                if zones
                else "Give the field its zones.",
            )


def _steps(kg_per_m2: FloatArray, field: str) -> np.ndarray:
    """Rates in the format's steps; where nothing is planned, none."""
    rates = np.nan_to_num(np.asarray(kg_per_m2, dtype=float), posinf=np.inf)
    if rates.size == 0 or rates.min() < 0 or rates.max() > _MOST_KG_PER_M2:
        raise InputError.at(
            field, "", "a planned rate is negative or far too high.", "Plan rates in kg per m2."
        )
    return np.rint(rates / ddis.KG_PER_M2).astype(np.int32)


def _zones(field: Field) -> list[tuple[str, BaseGeometry]]:
    if field.zones is None:
        return []
    if len(field.zones) > _MOST_ZONES:
        raise InputError.at(
            field.name,
            "",
            f"it has {len(field.zones)} zones; the format holds {_MOST_ZONES}.",
            "Join zones that get the same.",
        )
    return list(zip(field.zones["zone"].map(str), field.zones.geometry.array, strict=True))
