"""What a set of task data holds, in the terms of the model."""

from __future__ import annotations

from dataclasses import dataclass, field

import geopandas as gpd
from shapely.geometry.base import BaseGeometry

from evenacre.model import Field, Implement, Track


@dataclass(frozen=True)
class GuidanceLine:
    """A line to steer by.

    Attributes
    ----------
    name : str
    kind : str
        ``"straight"``, ``"curve"``, ``"pivot"``, ``"spiral"`` or ``"path"``.
    line : shapely geometry
        WGS 84 degrees.
    """

    name: str
    kind: str
    line: BaseGeometry


@dataclass(frozen=True)
class PlotRecord:
    """A field (PFD) and its guidance lines."""

    id: str
    field: Field
    guidance: tuple[GuidanceLine, ...] = ()


@dataclass(frozen=True)
class TaskProduct:
    """A product of a task and the one rate planned for it (kg per m2; None: none, or several)."""

    name: str
    target_kg_per_m2: float | None = None


@dataclass(frozen=True)
class Plan:
    """Zones of a task and what each should get.

    Attributes
    ----------
    zones : GeoDataFrame
        Columns ``zone`` and geometry, EPSG:4326.
    rates : dict of str to dict of str to float
        Planned kg per m2 by zone and product name (``""``: no product is named).
    """

    zones: gpd.GeoDataFrame
    rates: dict[str, dict[str, float]]


@dataclass(frozen=True)
class Task:
    """One job (TSK).

    Attributes
    ----------
    id, name : str
    plot : str
        Id of its field; empty when it names none.
    products : tuple of TaskProduct
    plan : Plan or None
        From treatment zones or a grid.
    tracks : tuple of Track
        One for each time log with positions.
    implement : Implement or None
        Width, sections and offsets as far as the device tells; None without a width.
    implement_name : str
    logs : int
        Time logs the task names, whether or not they were read.
    notes : tuple of str
    warnings : tuple of str
    """

    id: str
    name: str
    plot: str = ""
    products: tuple[TaskProduct, ...] = ()
    plan: Plan | None = None
    tracks: tuple[Track, ...] = ()
    implement: Implement | None = None
    implement_name: str = ""
    logs: int = 0
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class TaskData:
    """A set of task data.

    Attributes
    ----------
    source : str
        File name, as shown to people.
    version : str
        Of the format: ``"4.3"``.
    farm : str
        Empty unless exactly one is named.
    plots : dict of str to PlotRecord
        Fields by id, in file order.
    products : dict of str to str
        Product names by id.
    tasks : tuple of Task
        In file order.
    warnings : tuple of str
    """

    source: str
    version: str
    farm: str = ""
    plots: dict[str, PlotRecord] = field(default_factory=dict)
    products: dict[str, str] = field(default_factory=dict)
    tasks: tuple[Task, ...] = ()
    warnings: tuple[str, ...] = ()
