"""A farm's season, as its file tells it."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from evenacre.model.field import Field
from evenacre.model.grazing import Grazing
from evenacre.model.implement import Implement
from evenacre.model.operation import Settings
from evenacre.model.product import Application, Need, Product, WithSeed
from evenacre.model.seeding import Seeding
from evenacre.model.track import Blockage, LoadTicket, Track


@dataclass(frozen=True)
class InputFile:
    """A file that was read, with the SHA-256 of its bytes."""

    path: str
    sha256: str
    size_bytes: int | None = None  # None for what no file holds


@dataclass(frozen=True)
class OperationPlan:
    """An operation of the season file before its tracks are read.

    Logs stay paths so that a worker process reads its own files. ``track_layers`` and
    ``track_crs`` go with ``track_files`` one by one; when empty, ``layer`` and ``crs`` hold
    for all of them. ``tracks`` were read already and come after those of the files.
    """

    name: str
    field: Field
    implement: Implement
    track_files: tuple[Path, ...]
    columns: dict[str, str] = dataclasses.field(default_factory=dict)
    layer: str | None = None
    crs: str | None = None
    time_zone: str | None = None
    applications: tuple[Application, ...] = ()
    date: str = ""
    blockage_files: tuple[Path, ...] = ()
    blockages: tuple[Blockage, ...] = ()
    settings: Settings = dataclasses.field(default_factory=Settings)
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    track_layers: tuple[str | None, ...] = ()
    track_crs: tuple[str | None, ...] = ()
    tickets: tuple[LoadTicket, ...] = ()
    ticket_file: Path | None = None
    method: str = ""
    quote_per_m2: float | None = None
    bare_loss_per_m2: float | None = None
    compartment_of: tuple[tuple[str, str], ...] = ()
    with_seed: WithSeed | None = None
    tracks: tuple[Track, ...] = ()
    field_is_nameless: bool = False  # True when its name only stands in for that in the logs


@dataclass(frozen=True)
class Practice:
    """A conservation practice that work is done for."""

    name: str
    code: str = ""  # of its standard, as the person writes it


@dataclass(frozen=True)
class Handover:
    """What the sheets of a season that are handed to others go by.

    Attributes
    ----------
    paper : {"letter", "a4"} or None
        None: the usual one.
    contact : str
        Whom questions go to; may be empty.
    landlord_costs : bool
        Whether landlords' sheets tell costs.
    landlords : dict of str to str
        By field.
    practices : dict of (str, str) to Practice
        By field and operation.

    Examples
    --------
    >>> ev.load_season(Path("season.toml")).handover.landlords
    {}
    """

    paper: Literal["letter", "a4"] | None = None
    contact: str = ""
    landlord_costs: bool = False
    landlords: dict[str, str] = dataclasses.field(default_factory=dict)
    practices: dict[tuple[str, str], Practice] = dataclasses.field(default_factory=dict)


@dataclass(frozen=True)
class Season:
    """A farm's season: every operation to audit.

    Examples
    --------
    >>> season = ev.load_season(Path("season.toml"))
    >>> season.farm, len(season.operations)
    ('Small Farm', 1)
    """

    farm: str
    operations: tuple[OperationPlan, ...]
    inputs: tuple[InputFile, ...] = ()
    warnings: tuple[str, ...] = ()
    currency: str = "USD"
    units: str = "us"
    language: str = "en"
    needs: tuple[Need, ...] = ()
    # All that are defined, so that the parts of a blend can be looked up
    products: tuple[Product, ...] = ()
    time_zone: str | None = None  # the zone people read times in
    grazing: Grazing | None = None  # paddocks and herd
    seeding: Seeding | None = None  # how grazed paddocks are to be interseeded
    fields: tuple[Field, ...] = ()  # all that are defined, and paddocks; each name once
    # All that are defined
    implements: dict[str, Implement] = dataclasses.field(default_factory=dict)
    # What a command line says to have it read, beside its name; empty for one made by a program
    origin: tuple[str, ...] = ()
    # Whether an operation that cannot be audited is left out, as long as there are others
    in_parts: bool = False
    handover: Handover = Handover()
