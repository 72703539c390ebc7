"""What a set of task data holds, in the terms of the model."""

from __future__ import annotations

from dataclasses import dataclass, field

import geopandas as gpd

from evenacre.model import Field, Implement, Track


@dataclass(frozen=True)
class Prescription:
    """Zones of a task and what each should get."""

    zones: gpd.GeoDataFrame  # Columns ``zone`` and geometry, EPSG:4326
    # Planned kg per m2 by zone and product name (``""``: no product is named)
    rates: dict[str, dict[str, float]]


@dataclass(frozen=True)
class Task:
    """One job (TSK)."""

    id: str
    name: str
    field_id: str = ""  # Of its field; empty when it names none
    # By name the one rate planned, kg per m2; None: none, or several
    products: dict[str, float | None] = field(default_factory=dict)
    prescription: Prescription | None = None  # From treatment zones or a grid
    tracks: tuple[Track, ...] = ()  # One for each time log with positions
    # Width, sections and offsets as far as the device tells; None without a width
    implement: Implement | None = None
    logs: int = 0  # Time logs the task names, whether or not they were read
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class TaskData:
    """A set of task data."""

    source: str  # File name, as shown to people
    farm: str = ""  # Empty unless exactly one is named
    # In file order; fields by id
    fields: dict[str, Field] = field(default_factory=dict)
    tasks: tuple[Task, ...] = ()
    warnings: tuple[str, ...] = ()
