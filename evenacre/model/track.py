"""What was logged of a job: the drive, blockages and load tickets."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from evenacre.arrays import BoolArray, FloatArray

UNDATED_S = 30 * 86400.0
"""Times before this are of a clock that tells no date: no machine logged in January 1970."""


@dataclass(frozen=True)
class Unweighed:
    """Amounts logged by volume or by count: a product's density or seed size gives their mass."""

    product: str  # "" where the log names none
    by: str  # ``"volume"`` (m3) or ``"count"``
    per: str  # ``"area"`` (per m2) or ``"time"`` (per s)
    values: FloatArray  # (n,)


@dataclass(frozen=True)
class Track:
    """One logged drive, as read from one file. Arrays share length n; None: not logged.

    Examples
    --------
    >>> (track,) = ev.read_tracks("log.csv")
    >>> len(track) == len(track.lon)
    True
    """

    source: str  # file name, as shown to people
    # (n,) Seconds since 1970-01-01 UTC (or since local midnight 1970 when no zone is known)
    time_s: FloatArray
    # (n,) WGS 84 degrees; NaN where the receiver gave none
    lon: FloatArray
    lat: FloatArray
    working: BoolArray | None = None  # (n,) work state
    sections: BoolArray | None = None  # (n, s) on/off of each section (or each row) from the left
    sections_are_rows: bool = False  # True when ``sections`` holds one column per row
    width_m: FloatArray | None = None  # (n,) swath width of each record
    # (n,) As logged; heading clockwise from north
    speed_mps: FloatArray | None = None
    heading_rad: FloatArray | None = None
    # (n,) Ground covered since the last record by the machine's own sensor
    distance_m: FloatArray | None = None
    # (n,) Time each record says it covers, ending at its own time
    interval_s: FloatArray | None = None
    # Logged rate per product, kg per m2. The key "" is a rate whose product is not named.
    rates: dict[str, FloatArray] = dataclasses.field(default_factory=dict)
    # Logged mass flow per product, kg per s. Keys as in ``rates``.
    flows: dict[str, FloatArray] = dataclasses.field(default_factory=dict)
    # Rates of the sections where they differ, (n, s), kg per m2; ``rates`` has their mean
    section_rates: dict[str, FloatArray] = dataclasses.field(default_factory=dict)
    section_widths_m: tuple[float, ...] = ()  # widths of the sections from the left, where told
    # (n,) Standard uncertainty of each position, told by the receiver's kind of fix; NaN: not told
    sigma_m: FloatArray | None = None
    # Usual horizontal dilution of precision, where the file tells it and no kind of fix
    dilution: float | None = None
    unweighed: tuple[Unweighed, ...] = ()  # amounts that the product has to weigh
    # Names that the file gives: of its "field", "product", "crop" or "implement"
    named: dict[str, str] = dataclasses.field(default_factory=dict)
    target_kg_per_m2: float | None = None  # the rate that was wanted, where it is one throughout
    # Records of the file that its reader left out, by cause ("without a time")
    left_out: dict[str, int] = dataclasses.field(default_factory=dict)
    # Why a column that seems to hold it was not used, by role ("width")
    not_used: dict[str, str] = dataclasses.field(default_factory=dict)
    # How many records of the file these were, where several share a time; 0: as many as these
    in_file: int = 0
    # (n,) Polygons, or lines as wide as the tool, in degrees: each record's own ground, where the
    # log tells ground and not a drive; ``lon`` and ``lat`` are then a place in it
    ground: npt.NDArray[np.object_] | None = None
    # What the file says of its receiver: ``"phone"``, ``"corrected"``, or nothing
    receiver: str = ""
    machine: str = ""  # which machine's, where the log tells several apart
    at_tool: bool = False  # True when the positions are the tool's own, not an antenna's
    # False when the file tells no times: ``time_s`` then only keeps the records in order
    timed: bool = True
    notes: tuple[str, ...] = ()  # what was guessed from the file and why
    warnings: tuple[str, ...] = ()  # what looked suspicious but was used

    def __len__(self) -> int:
        return len(self.time_s)

    def part(self, keep: BoolArray) -> Track:
        """Return some of the records, ``keep`` being (n,)."""

        def kept(value: Any) -> Any:
            if isinstance(value, dict):
                return {key: kept(inner) for key, inner in value.items()}
            return value[keep] if isinstance(value, np.ndarray) else value

        fields = dataclasses.fields(self)
        return (
            self if keep.all() else Track(**{f.name: kept(getattr(self, f.name)) for f in fields})
        )


@dataclass(frozen=True)
class Blockage:
    """Rows that stopped flowing for a while.

    Examples
    --------
    >>> ev.Blockage(1776171300.0, 1776171360.0, rows=(9, 10), cause="rows 9-10").rows
    (9, 10)
    """

    # Seconds, on the clock of the tracks
    start_s: float
    end_s: float
    rows: tuple[int, ...]  # row numbers from 1 at the left
    cause: str  # shown to people: ``"tower 2"`` or ``"rows 9-16"``


@dataclass(frozen=True)
class LoadTicket:
    """One weighing of what is in a compartment."""

    # ``"filled"`` (mass put in), ``"remaining"`` (mass found in it) or ``"cleaned out"`` (mass
    # taken out, leaving it empty)
    event: str
    compartment: str
    product: str
    # Mass and its standard uncertainty
    mass_kg: float
    sigma_kg: float
    weighed_by: str  # scale, load cell, bags ..., as written
    time_s: float | None  # on the clock of the tracks
    place: str  # file and line of the ticket, shown to people
