"""Zones of a task and what each should get: treatment zones (TZN) and grids (GRD)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple
from xml.etree.ElementTree import Element

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import in_degrees, union
from evenacre.io.common.findings import Subject
from evenacre.io.maps.field_layers import without_overlap
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.fields import areas
from evenacre.io.taskdata.folder import TaskFiles
from evenacre.io.taskdata.tree import ddi, integer, named, number, text
from evenacre.language import tr
from evenacre.units.display import METRIC

_MOST_RATES = 24
_CLASSES = 9
_CODE_GRID, _VALUE_GRID = "1", "2"  # cells of treatment zone codes, or of values
_MOST_CELLS = 4_000_000
# Each change from cell to cell is a stretch of outline; noise has as many as cells.
_MOST_CHANGES = 50_000


@dataclass(frozen=True)
class Prescription:
    """Zones of a task and what each should get."""

    zones: gpd.GeoDataFrame  # Columns ``zone`` and geometry, EPSG:4326
    # Planned kg per m2 by zone and product name (``""``: no product is named)
    rates: dict[str, dict[str, float]]


class _Zone(NamedTuple):
    """A treatment zone: its name, ground if drawn, planned kg per m2 by product."""

    name: str
    shape: BaseGeometry | None
    rates: dict[str, float]


def read_prescription(
    task: Element, files: TaskFiles, products: Mapping[str, str], about: Subject
) -> Prescription | None:
    """Read the zones of a task from its grid, or from drawn treatment zones; None without any."""
    elements = {text(zone, "A"): zone for zone in task.findall("TZN")}
    drawn: dict[str, _Zone] = {}
    for code, zone in elements.items():
        name = named(zone, f"zone {code}")
        shape = areas(zone.findall("PLN"), about.part(f'zone "{name}"'), "zone")
        drawn[code] = _Zone(name, shape, _rates(zone, products))
    kinds = {ddi(value, "A") for zone in elements.values() for value in zone.findall("PDV")}
    if kinds & {*ddis.UNWEIGHED_SETPOINTS}:
        about.note(tr("rates planned by volume or count are not used."))
    made = _Draft(drawn, products, about)
    for element in task.findall("GRD"):
        template = elements.get(text(element, "J"))
        values = [] if template is None else template.findall("PDV")
        cells = _read_grid(element, max(len(values), 1), files, about)
        if cells is not None and cells.coded:
            made.add_codes(cells)
        elif cells is not None:
            made.add_rates(cells, values)
    if not made.shapes:
        for one in drawn.values():
            if one.shape is not None:
                made.add(one.name, one.shape, one.rates)
    if not made.shapes:
        return None
    zones, overlaps = without_overlap(made.shapes)
    if overlaps:
        about.warn(tr("zones overlap; the first listed keeps the ground."))
    table = gpd.GeoDataFrame({"zone": list(zones)}, geometry=list(zones.values()), crs="EPSG:4326")
    return Prescription(table, made.rates)


@dataclass
class _Draft:
    """Zones of a task while they are put together: ground and planned rates by name."""

    zones: Mapping[str, _Zone]
    products: Mapping[str, str]
    about: Subject
    shapes: dict[str, BaseGeometry] = field(default_factory=dict)
    rates: dict[str, dict[str, float]] = field(default_factory=dict)

    def add(self, name: str, shape: BaseGeometry, rates: dict[str, float]) -> None:
        """Add ground to a zone; ground of one name is one zone."""
        if name in self.shapes:
            shape = in_degrees(union, np.array([self.shapes[name], shape]))
        self.shapes[name] = shape
        self.rates[name] = rates

    def add_codes(self, cells: _Cells) -> None:
        """Add the cells of each treatment zone."""
        for code, shape in _grid_areas(cells, cells.values[:, :, 0], self.about).items():
            zone = self.zones.get(str(code), _Zone(f"zone {code}", None, {}))
            self.add(zone.name, shape, zone.rates)

    def add_rates(self, cells: _Cells, values: Sequence[Element]) -> None:
        """Add the cells of each rate, of the first product planned by weight."""
        weighed = [i for i, value in enumerate(values) if ddi(value, "A") in ddis.RATES]
        if not weighed:
            self.about.warn(tr("its grid plans no rate by weight; it was not used."))
            return
        if len(weighed) > 1:
            self.about.warn(tr("its grid plans several products; zones are those of the first."))
        layer = cells.values[:, :, weighed[0]]
        if (layer < 0).any():
            self.about.warn(tr("its grid has rates below zero, taken as zero."))
            layer = np.maximum(layer, 0)
        product = self.products.get(text(values[weighed[0]], "C"), "")
        groups, names, means = _classes(layer)
        for group, shape in _grid_areas(cells, groups, self.about).items():
            self.add(names[group], shape, {product: means[group] * ddis.KG_PER_M2})


def single_rates(task: Element, products: Mapping[str, str]) -> dict[str, float]:
    """Return the one rate planned of each product, of those with one rate in all zones."""
    if task.find("GRD") is not None:
        return {}
    codes = {text(task, attribute) for attribute in "HIJ"} - {""}
    zones = task.findall("TZN")
    working = [z for z in zones if z.find("PLN") is not None or text(z, "A") == text(task, "H")]
    found: dict[str, set[float]] = {}
    # What is applied outside the field or without a position is no plan for the field.
    for zone in working or [z for z in zones if text(z, "A") not in codes]:
        for product, rate in _rates(zone, products).items():
            found.setdefault(product, set()).add(rate)
    return {p: rate for p, rates in found.items() if len(rates) == 1 for rate in rates if rate > 0}


def _rates(zone: Element, products: Mapping[str, str]) -> dict[str, float]:
    """Planned kg per m2 by product."""
    rates: dict[str, float] = {}
    for value in zone.findall("PDV"):
        amount = number(value, "B")
        if ddi(value, "A") in ddis.RATES and amount >= 0:
            product = products.get(text(value, "C"), "")
            rates[product] = rates.get(product, 0.0) + amount * ddis.KG_PER_M2
    return rates


def _classes(layer: np.ndarray) -> tuple[np.ndarray, list[str], list[float]]:
    """Group cells by rate, many rates into steps of equal size: groups, their names and means."""
    distinct, group = np.unique(layer, return_inverse=True)
    step_of = np.arange(len(distinct))
    if len(distinct) > _MOST_RATES:
        edges = np.linspace(float(distinct[0]), float(distinct[-1]), _CLASSES + 1)
        step_of = np.clip(np.searchsorted(edges, distinct, side="right") - 1, 0, _CLASSES - 1)
        _, step_of = np.unique(step_of, return_inverse=True)
    groups = step_of[group].reshape(layer.shape).astype(np.int32)
    spans = [distinct[step_of == step] for step in range(step_of[-1] + 1)]
    means = [float(layer[groups == step].mean()) for step in range(len(spans))]
    return groups, [_rate_text(int(s[0]), int(s[-1])) for s in spans], means


def _rate_text(low: int, high: int) -> str:
    texts = [METRIC.rate.text(value * ddis.KG_PER_M2) for value in (low, high)]
    return texts[0] if texts[0] == texts[1] else f"{texts[0]} to {texts[1]}"


@dataclass(frozen=True)
class _Cells:
    """The cells of a grid."""

    values: np.ndarray  # (rows, columns, layers) Rows from the south, columns from the west
    coded: bool  # True when the values are codes of treatment zones
    to_degrees: Affine  # From columns and rows to longitude and latitude


def _read_grid(element: Element, layers: int, files: TaskFiles, about: Subject) -> _Cells | None:
    """Read a grid, of so many values in each cell; None (and a warning) when it cannot be used."""
    south, west, north_deg, east_deg = (number(element, key) for key in "ABCD")
    columns, rows = integer(element, "E") or 0, integer(element, "F") or 0
    coded = text(element, "I") == _CODE_GRID
    lat, lon = (south, south + rows * north_deg), (west, west + columns * east_deg)
    why = ""
    if text(element, "I") not in (_CODE_GRID, _VALUE_GRID):
        why = tr('is of type "{said}", which is not known', said=text(element, "I")[:8])
    elif not (np.isfinite([south, west]).all() and north_deg > 0 and east_deg > 0):
        why = tr("does not say where its cells lie")
    elif rows <= 0 or columns <= 0:
        why = tr("has no cells")
    elif rows * columns > _MOST_CELLS:
        why = tr("has {rows:,} cells, more than any plan needs", rows=rows * columns)
    elif np.abs(lat).max() > 90 or np.abs(lon).max() > 360:
        why = tr("reaches beyond the poles or around the earth")
    elif not files.has(name := f"{text(element, 'G')}.BIN"):
        why = tr("has no file ({name} is missing)", name=name)
    else:
        shape = (rows, columns, 1 if coded else layers)
        dtype = np.dtype("u1" if coded else "<i4")
        data, needed = files.read(name), int(np.prod(shape)) * dtype.itemsize
        if len(data) >= needed:
            values = np.frombuffer(data[:needed], dtype).reshape(shape)
            return _Cells(values, coded, Affine(east_deg, 0.0, west, 0.0, north_deg, south))
        why = tr("breaks off: it has {count:,} of {needed:,} bytes", count=len(data), needed=needed)
    about.warn(tr("its grid {why}; it was left out.", why=why))
    return None


def _grid_areas(cells: _Cells, groups: np.ndarray, about: Subject) -> dict[int, BaseGeometry]:
    """Join neighbouring cells of one group, (rows, columns) int, into areas in degrees."""
    from rasterio.features import shapes

    changes = int((np.diff(groups, axis=0) != 0).sum() + (np.diff(groups, axis=1) != 0).sum())
    if changes > _MOST_CHANGES:
        about.warn(
            tr(
                "its grid changes from cell to cell {changes:,} times, too often for zones; "
                "it was left out.",
                changes=changes,
            )
        )
        return {}
    parts: dict[int, list[BaseGeometry]] = {}
    for outline, group in shapes(groups.astype(np.int32), transform=cells.to_degrees):
        rings = [np.asarray(ring) for ring in outline["coordinates"]]
        parts.setdefault(int(group), []).append(shapely.Polygon(rings[0], rings[1:]))
    return {group: in_degrees(union, np.array(parts[group])) for group in sorted(parts)}
