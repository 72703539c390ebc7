"""One job on one field, and what may be tuned about its audit."""

from __future__ import annotations

from dataclasses import dataclass

from evenacre.model.field import Field
from evenacre.model.implement import Implement
from evenacre.model.product import Application, WithSeed
from evenacre.model.track import Blockage, LoadTicket, Track


@dataclass(frozen=True)
class Settings:
    """What a person may tune about an audit.

    Examples
    --------
    >>> ev.Settings(skip_min_area_m2=20.0).smooth
    True
    """

    # Narrower skips are counted in the area but not listed. None: half a row where the rows are
    # known (a narrower gap is no missing row), at least 0.1 m.
    skip_min_width_m: float | None = None
    skip_min_area_m2: float = 5.0  # smaller skips are counted in the area but not listed
    headland_rounds: int | None = None  # rounds along the boundary; None: found from the passes
    # A longer silence in the log cuts the path; None: 2.5 logging intervals, at least 2 s, and up
    # to 5 intervals or 6 s where the drive before it leads to the drive after it
    max_gap_s: float | None = None
    max_speed_mps: float = 12.0  # a faster apparent move is a jump of the receiver
    # Standard uncertainty of position between passes; None: from the log's fix quality, or what its
    # passes show, or 3 cm where it tells neither and holds more than positions
    pass_to_pass_m: float | None = None
    # The same within one pass; None: likewise, or 2 cm
    within_pass_m: float | None = None
    smooth: bool = True  # smooth receiver jitter when some is found


@dataclass(frozen=True)
class Operation:
    """One job on one field, with everything needed to audit it.

    Examples
    --------
    >>> field = ev.load_season(Path("season.toml")).fields[0]
    >>> tracks = tuple(ev.read_tracks("log.csv"))
    >>> ev.Operation("spring", field, ev.Implement(6.096, rows=32), tracks).field.name
    'Home Field'
    """

    name: str
    field: Field
    implement: Implement
    tracks: tuple[Track, ...]
    applications: tuple[Application, ...] = ()
    date: str = ""
    blockages: tuple[Blockage, ...] = ()
    settings: Settings = Settings()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    tickets: tuple[LoadTicket, ...] = ()
    method: str = ""  # How the products are placed: ``"with the seed"``, ``"broadcast"`` ..
    quote_per_m2: float | None = None  # what a hired driver would ask
    bare_loss_per_m2: float | None = None  # what ground that stays bare loses; None: not told
    # Product and the compartment it rides in; a product in two compartments comes twice
    compartment_of: tuple[tuple[str, str], ...] = ()
    with_seed: WithSeed | None = None  # given where fertilizer is placed with the seed
    # The zone people read times in; None: times are shown on the log's own clock
    time_zone: str | None = None
