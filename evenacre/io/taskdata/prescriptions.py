"""Zones of a task and what each should get: treatment zones (TZN) and grids (GRD)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import only_polygons
from evenacre.io.common.findings import Findings
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.element_types import Plan
from evenacre.io.taskdata.folder import TaskFiles
from evenacre.io.taskdata.grids import Cells, grid_areas, read_grid
from evenacre.io.taskdata.shapes import areas
from evenacre.io.taskdata.tree import ddi, named, number, text
from evenacre.units.display import METRIC

_MOST_RATES = 24
_CLASSES = 9
_RATES = (ddis.SETPOINT_RATE, ddis.ACTUAL_RATE)


@dataclass(frozen=True)
class Zone:
    """A treatment zone: its name, ground if drawn, planned kg per m2 by product."""

    name: str
    shape: BaseGeometry | None
    rates: dict[str, float]
    unweighed: bool = False


def read_plan(
    task: Element, files: TaskFiles, products: Mapping[str, str], about: str, findings: Findings
) -> Plan | None:
    """Read the zones of a task from its grid, or from drawn treatment zones; None without any.

    Parameters
    ----------
    products : mapping of str to str
        Product names by id.
    """
    zones_by_code = {text(zone, "A"): zone for zone in task.findall("TZN")}
    zones = {code: _zone(zone, products, about, findings) for code, zone in zones_by_code.items()}
    if any(zone.unweighed for zone in zones.values()):
        findings.note(f"{about}: rates planned by volume or count are not used.")
    made = _Draft(zones, products, about, findings)
    for element in task.findall("GRD"):
        template = zones_by_code.get(text(element, "J"))
        values = [] if template is None else template.findall("PDV")
        cells = read_grid(element, max(len(values), 1), files, about, findings)
        if cells is not None and cells.coded:
            made.add_codes(cells)
        elif cells is not None:
            made.add_rates(cells, values)
    if not made.shapes:
        for zone in zones.values():
            if zone.shape is not None:
                made.add(zone.name, zone.shape, zone.rates)
    if not made.shapes:
        return None
    apart = _apart(made.shapes, about, findings)
    table = gpd.GeoDataFrame({"zone": list(made.shapes)}, geometry=apart, crs="EPSG:4326")
    table = table[~table.geometry.is_empty].reset_index(drop=True)
    return Plan(table, made.rates)


@dataclass
class _Draft:
    """Zones of a task while they are put together: ground and planned rates by name."""

    zones: Mapping[str, Zone]
    products: Mapping[str, str]
    about: str
    findings: Findings
    shapes: dict[str, BaseGeometry] = field(default_factory=dict)
    rates: dict[str, dict[str, float]] = field(default_factory=dict)

    def add(self, name: str, shape: BaseGeometry, rates: dict[str, float]) -> None:
        """Add ground to a zone; ground of one name is one zone."""
        if name in self.shapes:
            shape = only_polygons(shapely.union_all([self.shapes[name], shape]))
        self.shapes[name] = shape
        self.rates[name] = rates

    def add_codes(self, cells: Cells) -> None:
        """Add the cells of each treatment zone."""
        areas = grid_areas(cells, cells.values[:, :, 0], self.about, self.findings)
        for code, shape in areas.items():
            zone = self.zones.get(str(code), Zone(f"zone {code}", None, {}))
            self.add(zone.name, shape, zone.rates)

    def add_rates(self, cells: Cells, values: Sequence[Element]) -> None:
        """Add the cells of each rate, of the first product planned by weight."""
        weighed = [i for i, value in enumerate(values) if ddi(value, "A") in _RATES]
        if not weighed:
            self.findings.warn(f"{self.about}: its grid plans no rate by weight; it was not used.")
            return
        if len(weighed) > 1:
            self.findings.warn(
                f"{self.about}: its grid plans several products; zones are those of the first."
            )
        layer = cells.values[:, :, weighed[0]]
        if (layer < 0).any():
            self.findings.warn(f"{self.about}: its grid has rates below zero, taken as zero.")
            layer = np.maximum(layer, 0)
        product = self.products.get(text(values[weighed[0]], "C"), "")
        groups, labels = _classes(layer)
        for group, shape in grid_areas(cells, groups, self.about, self.findings).items():
            low, high, mean = labels[group]
            self.add(_named_rate(low, high), shape, {product: mean * ddis.KG_PER_M2})


def planned(task: Element, products: Mapping[str, str]) -> dict[str, float]:
    """Return the one rate planned of each product, of those with one rate in all zones."""
    found: dict[str, set[float]] = {}
    codes = {text(task, attribute) for attribute in "HIJ"} - {""}
    zones = task.findall("TZN")
    working = [z for z in zones if z.find("PLN") is not None or text(z, "A") == text(task, "H")]
    # What is applied outside the field or without a position is no plan for the field.
    for zone in working or [z for z in zones if text(z, "A") not in codes]:
        for product, rate in _zone(zone, products, "", Findings(), drawn=False).rates.items():
            found.setdefault(product, set()).add(rate)
    if task.find("GRD") is not None:
        return {}
    return {p: rate for p, rates in found.items() if len(rates) == 1 for rate in rates if rate > 0}


def _zone(
    zone: Element, products: Mapping[str, str], about: str, findings: Findings, drawn: bool = True
) -> Zone:
    name = named(zone, f"zone {text(zone, 'A')}")
    place = f'{about}, zone "{name}"'
    rates: dict[str, float] = {}
    unweighed = False
    for value in zone.findall("PDV"):
        kind, amount = ddi(value, "A"), number(value, "B")
        unweighed |= kind in ddis.NOT_WEIGHED
        if kind in _RATES and amount >= 0:
            product = products.get(text(value, "C"), "")
            rates[product] = rates.get(product, 0.0) + amount * ddis.KG_PER_M2
    shape = areas(zone.findall("PLN"), place, "zone", findings) if drawn else None
    return Zone(name, shape, rates, unweighed)


def _apart(shapes: dict[str, BaseGeometry], about: str, findings: Findings) -> list[BaseGeometry]:
    """Let the first of overlapping zones keep the ground."""
    done: list[BaseGeometry] = []
    taken: BaseGeometry = shapely.Polygon()
    overlapping = False
    for shape in shapes.values():
        rest = shape
        if shapely.intersects(shape, taken):
            rest = only_polygons(shapely.difference(shape, taken))
            overlapping |= rest.area < (1 - 1e-6) * shape.area
        done.append(rest)
        taken = shapely.union(taken, shape)
    if overlapping:
        findings.warn(f"{about}: zones overlap; the first listed keeps the ground.")
    return done


def _classes(layer: np.ndarray) -> tuple[np.ndarray, list[tuple[int, int, float]]]:
    """Group cells by rate; a grid of many rates into steps of equal size."""
    distinct, group = np.unique(layer, return_inverse=True)
    group = group.reshape(layer.shape)
    if len(distinct) > _MOST_RATES:
        edges = np.linspace(float(distinct[0]), float(distinct[-1]), _CLASSES + 1)
        step_of = np.clip(np.searchsorted(edges, distinct, side="right") - 1, 0, _CLASSES - 1)
        used, compact = np.unique(step_of, return_inverse=True)
        group = compact[group]
        spans = [distinct[step_of == step] for step in used]
    else:
        spans = [distinct[i : i + 1] for i in range(len(distinct))]
    means = [float(layer[group == i].mean()) for i in range(len(spans))]
    return group.astype(np.int32), [
        (int(s[0]), int(s[-1]), mean) for s, mean in zip(spans, means, strict=True)
    ]


def _named_rate(low: int, high: int) -> str:
    texts = [METRIC.rate.text(value * ddis.KG_PER_M2) for value in (low, high)]
    if low == high or texts[0] == texts[1]:
        return texts[0]
    return f"{texts[0]} to {texts[1]}"
