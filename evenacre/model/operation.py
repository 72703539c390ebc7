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

    Attributes
    ----------
    skip_min_width_m : float or None
        Narrower skips are counted in the area but not listed. None: half a row where the rows
        are known (a narrower gap is no missing row), at least 0.1 m.
    skip_min_area_m2 : float
        Smaller skips are counted in the area but not listed.
    headland_rounds : int or None
        Rounds along the boundary; None: found from the passes.
    max_gap_s : float
        A longer silence in the log cuts the path; None: two and a half logging intervals,
        at least 2 s.
    max_speed_mps : float
        A faster apparent move is a jump of the receiver.
    pass_to_pass_m : float or None
        Standard uncertainty of position between passes; None: from the log's fix quality, or
        3 cm where it tells none.
    within_pass_m : float
        The same within one pass.
    smooth : bool
        Smooth receiver jitter when some is found.

    Examples
    --------
    >>> ev.Settings(skip_min_area_m2=20.0).smooth
    True
    """

    skip_min_width_m: float | None = None
    skip_min_area_m2: float = 5.0
    headland_rounds: int | None = None
    max_gap_s: float | None = None
    max_speed_mps: float = 12.0
    pass_to_pass_m: float | None = None
    within_pass_m: float = 0.02
    smooth: bool = True


@dataclass(frozen=True)
class Operation:
    """One job on one field, with everything needed to audit it.

    Attributes
    ----------
    tickets : tuple of LoadTicket
    method : str
        How the products are placed: ``"with the seed"``, ``"broadcast"`` ...
    quote_per_m2 : float or None
        What a hired driver would ask.
    compartment_of : tuple of (str, str)
        Product and the compartment it rides in; a product in two compartments comes twice.
    with_seed : WithSeed or None
        Given where fertilizer is placed with the seed.
    time_zone : str or None
        The zone people read times in; None: times are shown on the log's own clock.

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
    method: str = ""
    quote_per_m2: float | None = None
    compartment_of: tuple[tuple[str, str], ...] = ()
    with_seed: WithSeed | None = None
    time_zone: str | None = None
