"""A farm's season, as its file tells it."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path

from evenacre.model.field import Field
from evenacre.model.grazing import Grazing, Seeding
from evenacre.model.implement import Implement
from evenacre.model.operation import Settings
from evenacre.model.product import Application, Need, Product, WithSeed
from evenacre.model.track import Blockage, LoadTicket, Track


@dataclass(frozen=True)
class InputFile:
    """A file that was read, with the SHA-256 of its bytes."""

    path: str
    sha256: str


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
    blockage_file: Path | None = None
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
    compartment_of: tuple[tuple[str, str], ...] = ()
    with_seed: WithSeed | None = None
    tracks: tuple[Track, ...] = ()


@dataclass(frozen=True)
class Season:
    """A farm's season: every operation to audit.

    Attributes
    ----------
    needs : tuple of Need
    products : tuple of Product
        All that are defined, so that the parts of a blend can be looked up.
    time_zone : str or None
        The zone people read times in.
    grazing : Grazing or None
        Paddocks and herd.
    seeding : Seeding or None
        How grazed paddocks are to be interseeded.
    fields : tuple of Field
        All that are defined, and paddocks; each name once.
    implements : dict of str to Implement
        All that are defined.

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
    needs: tuple[Need, ...] = ()
    products: tuple[Product, ...] = ()
    time_zone: str | None = None
    grazing: Grazing | None = None
    seeding: Seeding | None = None
    fields: tuple[Field, ...] = ()
    implements: dict[str, Implement] = dataclasses.field(default_factory=dict)
