"""What was logged of a job: the drive, blockages and load tickets."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from evenacre.model.arrays import BoolArray, FloatArray

UNDATED_S = 30 * 86400.0
"""Times before this are of a clock that tells no date: no machine logged in January 1970."""


@dataclass(frozen=True)
class Unweighed:
    """Amounts logged by volume or by count: a product's density or seed size gives their mass.

    Attributes
    ----------
    product : str
        "" where the log names none.
    by : str
        ``"volume"`` (m3) or ``"count"``.
    per : str
        ``"area"`` (per m2) or ``"time"`` (per s).
    values : (n,) float
    """

    product: str
    by: str
    per: str
    values: FloatArray


@dataclass(frozen=True)
class Track:
    """One logged drive, as read from one file. Arrays share length n; None: not logged.

    Attributes
    ----------
    source : str
        File name, as shown to people.
    time_s : (n,) float
        Seconds since 1970-01-01 UTC (or since local midnight 1970 when no zone is known).
    lon, lat : (n,) float
        WGS 84 degrees; NaN where the receiver gave none.
    working : (n,) bool or None
        Work state.
    sections : (n, s) bool or None
        On/off of each section (or each row) from the left.
    sections_are_rows : bool
        True when ``sections`` holds one column per row.
    width_m : (n,) float or None
        Swath width of each record.
    speed_mps, heading_rad : (n,) float or None
        As logged; heading clockwise from north.
    distance_m : (n,) float or None
        Ground covered since the last record by the machine's own sensor.
    interval_s : (n,) float or None
        Time each record says it covers, ending at its own time.
    rates : dict of str to (n,) float
        Logged rate per product, kg per m2. The key "" is a rate whose product is not named.
    flows : dict of str to (n,) float
        Logged mass flow per product, kg per s. Keys as in ``rates``.
    sigma_m : (n,) float or None
        Standard uncertainty of each position, told by the receiver's kind of fix; NaN: not told.
    timed : bool
        False when the file tells no times: ``time_s`` then only keeps the records in order.
    unweighed : tuple of Unweighed
        Amounts that the product has to weigh.
    notes : tuple of str
        What was guessed from the file and why.
    warnings : tuple of str
        What looked suspicious but was used.

    Examples
    --------
    >>> (track,) = ev.read_tracks("log.csv")
    >>> len(track) == len(track.lon)
    True
    """

    source: str
    time_s: FloatArray
    lon: FloatArray
    lat: FloatArray
    working: BoolArray | None = None
    sections: BoolArray | None = None
    sections_are_rows: bool = False
    width_m: FloatArray | None = None
    speed_mps: FloatArray | None = None
    heading_rad: FloatArray | None = None
    distance_m: FloatArray | None = None
    interval_s: FloatArray | None = None
    rates: dict[str, FloatArray] = dataclasses.field(default_factory=dict)
    flows: dict[str, FloatArray] = dataclasses.field(default_factory=dict)
    sigma_m: FloatArray | None = None
    unweighed: tuple[Unweighed, ...] = ()
    timed: bool = True
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True)
class Blockage:
    """Rows that stopped flowing for a while.

    Attributes
    ----------
    start_s, end_s : float
        Seconds, on the clock of the tracks.
    rows : tuple of int
        Row numbers from 1 at the left.
    cause : str
        Shown to people: ``"tower 2"`` or ``"rows 9-16"``.

    Examples
    --------
    >>> ev.Blockage(1776171300.0, 1776171360.0, rows=(9, 10), cause="rows 9-10").rows
    (9, 10)
    """

    start_s: float
    end_s: float
    rows: tuple[int, ...]
    cause: str


@dataclass(frozen=True)
class LoadTicket:
    """One weighing of what is in a compartment.

    Attributes
    ----------
    event : str
        ``"filled"`` (mass put in), ``"remaining"`` (mass found in it) or ``"cleaned out"``
        (mass taken out, leaving it empty).
    compartment, product : str
    mass_kg, sigma_kg : float
        Mass and its standard uncertainty.
    weighed_by : str
        Scale, load cell, bags ..., as written.
    time_s : float or None
        On the clock of the tracks.
    place : str
        File and line of the ticket, shown to people.
    """

    event: str
    compartment: str
    product: str
    mass_kg: float
    sigma_kg: float
    weighed_by: str
    time_s: float | None
    place: str
