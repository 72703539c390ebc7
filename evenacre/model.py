"""The nouns: field, implement, product, track, operation, season.

Everything here is SI: metres, square metres, kilograms, seconds (since 1970-01-01 UTC),
radians. Positions are WGS 84 longitude and latitude in degrees; a geometry that crosses
the antimeridian has longitudes running past 180 rather than wrapping.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import numpy.typing as npt
from shapely.geometry.base import BaseGeometry

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

UNDATED_S = 30 * 86400.0
"""Times before this are of a clock that tells no date: no machine logged in January 1970."""


@dataclass(frozen=True)
class TowedUnit:
    """One unit of the tow chain.

    Attributes
    ----------
    hitch_to_axle_m : float
        From the pin this unit is pulled by to its axle.
    axle_to_pin_m : float
        From its axle back to the pin of the next unit (0: the next pin sits on the axle).
    """

    hitch_to_axle_m: float
    axle_to_pin_m: float = 0.0


@dataclass(frozen=True)
class Compartment:
    """One bin of the cart, and what it holds when level full (m3)."""

    name: str
    volume_m3: float


@dataclass(frozen=True)
class Implement:
    """A drill: its rows and where its tool line rides relative to the antenna.

    Rows are numbered 1..n from the left as seen from the seat; each owns one row spacing.
    With no antenna or tow figures the logged positions are taken for the centre of the
    tool line.

    Attributes
    ----------
    width_m : float
        Full working width.
    rows : int
        Number of rows across the width.
    rows_known : bool
        False when the rows are only a subdivision chosen for the arithmetic.
    rows_per_tower : int or None
        Rows fed by one distribution tower.
    section_rows : tuple of int
        Rows in each switched section from the left; empty when sections are equal.
    axle_to_antenna_m : float
        How far the antenna rides ahead of the puller's fixed (non-steering) axle.
    antenna_ahead_m, antenna_left_m : float
        Antenna ahead and left of the hitch pin.
    tow : tuple of TowedUnit
        The towed units from front to back; empty for a mounted tool.
    tool_behind_m : float
        Tool line behind the last axle (or behind the hitch pin of a mounted tool).
    delay_s : float
        From the meter to the opener.
    compartments : tuple of Compartment
        Bins of the cart from front to back.
    cost_per_s : float or None
        What its time costs, puller and driver included.
    """

    width_m: float
    rows: int = 1
    rows_known: bool = False
    rows_per_tower: int | None = None
    section_rows: tuple[int, ...] = ()
    axle_to_antenna_m: float = 0.0
    antenna_ahead_m: float = 0.0
    antenna_left_m: float = 0.0
    tow: tuple[TowedUnit, ...] = ()
    tool_behind_m: float = 0.0
    delay_s: float = 0.0
    compartments: tuple[Compartment, ...] = ()
    cost_per_s: float | None = None

    @property
    def row_spacing_m(self) -> float:
        """Width owned by one row."""
        return self.width_m / self.rows

    def tower_rows(self, tower: int) -> tuple[int, ...]:
        """Row numbers fed by a tower (both counted from 1 at the left)."""
        if not self.rows_per_tower:
            raise ValueError("the implement has no towers")
        first = (tower - 1) * self.rows_per_tower + 1
        return tuple(range(first, min(first + self.rows_per_tower, self.rows + 1)))


@dataclass(frozen=True)
class SeedLot:
    """What the tag of a seed lot says, as fractions of 1.

    Attributes
    ----------
    purity : float
        Pure seed by mass.
    germination, hard_seed : float
        Share of the pure seed that sprouted in the test, and that is alive but still hard.
    seeds_per_kg : float or None
        Pure seeds in a kilogram of pure seed.
    """

    purity: float
    germination: float
    hard_seed: float = 0.0
    seeds_per_kg: float | None = None

    @property
    def pls_fraction(self) -> float:
        """Pure live seed as a share of the bulk: purity x (germination + hard seed).

        Hard seed is alive: it counts, though it sprouts late. Source: Texas Department of
        Transportation, Pure live seed.
        """
        return self.purity * (self.germination + self.hard_seed)


@dataclass(frozen=True)
class Product:
    """Something the drill places.

    Attributes
    ----------
    name : str
    analysis : dict of str to float
        Label percentages by mass in label terms: ``{"N": 11, "P2O5": 52, "K2O": 0}``.
    price_per_kg : float or None
    kind : str
        ``"fertilizer"``, ``"seed"`` or ``"other"``.
    bulk_density_kg_per_m3 : float or None
    rate_min_kg_per_m2, rate_max_kg_per_m2 : float or None
        The rates that it can be, or may be, placed at.
    seed : SeedLot or None
        The tag of a seed lot; None for a blend, whose parts carry their own.
    parts : tuple of (str, float)
        A blend: the names of its products and their parts by mass.
    bought_kg, season_left_kg : float or None
        Bought for the season with what was carried over, and left at its end.
    """

    name: str
    analysis: dict[str, float] = dataclasses.field(default_factory=dict)
    price_per_kg: float | None = None
    kind: str = "fertilizer"
    bulk_density_kg_per_m3: float | None = None
    rate_min_kg_per_m2: float | None = None
    rate_max_kg_per_m2: float | None = None
    seed: SeedLot | None = None
    parts: tuple[tuple[str, float], ...] = ()
    bought_kg: float | None = None
    season_left_kg: float | None = None


@dataclass(frozen=True)
class Application:
    """A product and the rate wanted of it in one operation (kg per m2; None: unknown)."""

    product: Product
    target_kg_per_m2: float | None = None


@dataclass(frozen=True)
class PlannedRate:
    """The rate that a product is to be placed at on a field.

    Attributes
    ----------
    product : str
    kg_per_m2 : float or None
        Wherever no zone has a rate of its own; None: not planned there.
    by_zone : dict of str to float
        kg per m2 of zones with a rate of their own.
    nutrient : str
        The one whose need the rates meet; empty when they are given as such.
    """

    product: str
    kg_per_m2: float | None = None
    by_zone: dict[str, float] = dataclasses.field(default_factory=dict)
    nutrient: str = ""


@dataclass(frozen=True)
class Field:
    """A field: where it may be worked and how it is divided.

    Attributes
    ----------
    name : str
    boundary : shapely geometry or None
        Polygon or multipolygon; None when no boundary was given.
    unworkable : shapely geometry or None
        Ground inside the boundary that is not to be worked.
    zones : GeoDataFrame or None
        Columns ``zone`` (str) and geometry, EPSG:4326.
    setbacks : GeoDataFrame or None
        Columns ``name`` (str), ``distance_m`` (float) and geometry, EPSG:4326.
    """

    name: str
    boundary: BaseGeometry | None = None
    unworkable: BaseGeometry | None = None
    zones: gpd.GeoDataFrame | None = None
    setbacks: gpd.GeoDataFrame | None = None


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


@dataclass(frozen=True)
class Need:
    """What a plan or soil test asks for on a field, or on one of its zones.

    Attributes
    ----------
    field : str
    zone : str or None
        None: wherever the field's zones ask for nothing else.
    nutrient : str
        In label terms (``"P2O5"``), or an element (``"P"``).
    kg_per_m2 : float
    """

    field: str
    zone: str | None
    nutrient: str
    kg_per_m2: float


@dataclass(frozen=True)
class PastSetting:
    """A line of the farm's settings book: how a product was metered, and what came of it.

    Attributes
    ----------
    product, date : str
    rate_kg_per_m2 : float or None
        As found by the test.
    bulk_density_kg_per_m3 : float or None
    roller, setting, fan, down_pressure : str
        As the drill has them: "fine", "42", "4,200 rpm", "12 psi".
    speed_mps : float or None
        Ground speed.
    target_kg_per_m2 : float or None
    scatter : float or None
        Standard deviation of one catch over the mean.
    catches : int or None
    result, trouble : str
        How the test stood to its target, and what went wrong.
    place : str
        File and line, shown to people.
    """

    product: str
    date: str = ""
    rate_kg_per_m2: float | None = None
    bulk_density_kg_per_m3: float | None = None
    roller: str = ""
    setting: str = ""
    fan: str = ""
    down_pressure: str = ""
    speed_mps: float | None = None
    target_kg_per_m2: float | None = None
    scatter: float | None = None
    catches: int | None = None
    result: str = ""
    trouble: str = ""
    place: str = ""


@dataclass(frozen=True)
class WithSeed:
    """What has to be known where fertilizer is placed with the seed.

    Attributes
    ----------
    crop : str
    spread_m : float
        How wide the opener spreads seed and fertilizer.
    row_spacing_m : float
    tolerated_loss_percent : float
        Of the stand.
    soil_factor : float
        For texture and moisture, as local advice has it.
    slopes : tuple of (str, float)
        Product and percent of stand lost for each lb/ac of it, where the user knows it.
    """

    crop: str
    spread_m: float
    row_spacing_m: float
    tolerated_loss_percent: float
    soil_factor: float = 1.0
    slopes: tuple[tuple[str, float], ...] = ()


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
    for all of them.
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
    settings: Settings = Settings()
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


@dataclass(frozen=True)
class Season:
    """A farm's season: every operation to audit.

    Attributes
    ----------
    needs : tuple of Need
    products : tuple of Product
        All that are defined, so that the parts of a blend can be looked up.
    """

    farm: str
    operations: tuple[OperationPlan, ...]
    inputs: tuple[InputFile, ...] = ()
    warnings: tuple[str, ...] = ()
    currency: str = "USD"
    units: str = "us"
    needs: tuple[Need, ...] = ()
    products: tuple[Product, ...] = ()
