"""The shape of a season file: its tables, their keys, and what each may hold."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from evenacre.errors import InputError
from evenacre.units import Dimension, parse_quantity


def refusal(what: str, remedy: str) -> PydanticCustomError:
    """Build a complaint that carries its remedy through pydantic."""
    return PydanticCustomError("told", "{what}", {"what": what, "remedy": remedy})


def _quantity(
    dimension: Dimension,
    least: float = 0.0,
    most: float = float("inf"),
    sense: str = "It cannot be negative.",
) -> BeforeValidator:
    def read(value: object) -> float:
        try:
            si = parse_quantity(_text(value), dimension)
        except InputError as error:
            raise refusal(error.problems[0].what, error.problems[0].remedy) from None
        if not least <= si <= most:
            raise refusal(f'"{value}" makes no sense here.', sense)
        return si

    return BeforeValidator(read)


def _text(value: object) -> str:
    if isinstance(value, str) or (isinstance(value, int | float) and not isinstance(value, bool)):
        return str(value)
    raise refusal(
        f"{value!r} is not a quantity.", 'Write a number with its unit, in quotes: "20 ft".'
    )


_ABOUT_FORTY_M = "Give a length between -40 m and 40 m (130 ft)."
Offset = Annotated[float, _quantity(Dimension.LENGTH, -40.0, 40.0, _ABOUT_FORTY_M)]
Hitch = Annotated[
    float,
    _quantity(Dimension.LENGTH, 0.01, 40.0, "Give a length between 1 cm and 40 m (130 ft)."),
]
Width = Annotated[
    float,
    _quantity(Dimension.LENGTH, 0.1, 60.0, "Give a width between 0.1 m (4 in) and 60 m (197 ft)."),
]
Spacing = Annotated[
    float,
    _quantity(Dimension.LENGTH, 0.01, 60.0, "Give a spacing between 1 cm and 60 m (197 ft)."),
]
Length = Annotated[float, _quantity(Dimension.LENGTH)]
Error = Annotated[
    float, _quantity(Dimension.LENGTH, 0.0, 20.0, "Give a standard error from 0 to 20 m (66 ft).")
]
Area = Annotated[float, _quantity(Dimension.AREA)]
Gap = Annotated[float, _quantity(Dimension.TIME, 0.01, 86400.0, "Give a time longer than 0.01 s.")]
Speed = Annotated[
    float, _quantity(Dimension.SPEED, 0.1, 100.0, "Give a speed between 0.1 and 100 m/s.")
]
Delay = Annotated[
    float,
    _quantity(
        Dimension.TIME,
        0.0,
        60.0,
        "The delay is how long product travels from the meter to the opener: 0 to 60 s.",
    ),
]
Price = Annotated[float, _quantity(Dimension.PRICE_PER_MASS)]
Rate = Annotated[
    float,
    _quantity(Dimension.MASS_PER_AREA, 1e-9, 50.0, "Give a rate above 0 and below 500,000 kg/ha."),
]
Stock = Annotated[
    float, _quantity(Dimension.MASS, 0.0, 1e7, "Give a mass from 0 to 10,000 t (22 million lb).")
]
Quote = Annotated[float, _quantity(Dimension.PRICE_PER_AREA)]
HourCost = Annotated[float, _quantity(Dimension.PRICE_PER_TIME)]
NeededRate = Annotated[
    float,
    _quantity(Dimension.MASS_PER_AREA, 0.0, 50.0, "Give a rate from 0 to 500,000 kg/ha."),
]
Volume = Annotated[
    float,
    _quantity(Dimension.VOLUME, 1e-4, 200.0, "Give a volume between 0.1 L and 200 m3 (5,675 bu)."),
]
BulkDensity = Annotated[
    float,
    _quantity(
        Dimension.MASS_PER_VOLUME,
        10.0,
        5000.0,
        "Give what a bushel or a litre of it weighs: between 0.8 and 388 lb/bu (10 and 5000 "
        "kg/m3).",
    ),
]
SeedCount = Annotated[
    float,
    _quantity(
        Dimension.COUNT_PER_MASS,
        100.0,
        1e9,
        "Give the seeds in a pound or a kilogram: between 45 and 450 million in a pound.",
    ),
]


def _as_source(value: object) -> object:
    return {"file": value} if isinstance(value, str) else value


def _as_date(value: object) -> object:
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, str):
        try:
            return dt.date.fromisoformat(value.strip())
        except ValueError:
            raise refusal(f'"{value}" is not a date.', "Write it as 2026-04-14.") from None
    return value


def _as_text(value: object) -> object:
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return value.isoformat()
    return str(value) if isinstance(value, int | float) else value


Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Part = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Name = Annotated[str, Field(min_length=1)]
Instant = Annotated[str, BeforeValidator(_as_text)]


class Table(BaseModel):
    """A table of the season file; unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, str_strip_whitespace=True)


class SettingsTable(Table):
    """What may be tuned, for the season or for one operation."""

    skip_min_width: Length | None = None
    skip_min_area: Area | None = None
    pass_to_pass: Error | None = None
    within_pass: Error | None = None
    headland_rounds: Annotated[int, Field(ge=0, le=50)] | None = None
    max_gap: Gap | None = None
    max_speed: Speed | None = None
    smooth: bool | None = None


class ProductTable(Table):
    """A product."""

    name: Name
    kind: Literal["fertilizer", "seed", "other"] | None = None
    analysis: dict[str, Percent] | None = None
    price: Price | None = None
    bulk_density: BulkDensity | None = None
    rate_min: Rate | None = None
    rate_max: Rate | None = None
    purity: Percent | None = None
    germination: Percent | None = None
    hard_seed: Percent | None = None
    seeds_per: SeedCount | None = None
    parts: dict[str, Part] = {}
    bought: Stock | None = None
    left: Stock | None = None


class TowTable(Table):
    """One towed unit."""

    hitch_to_axle: Hitch
    axle_to_pin: Offset = 0.0


class CompartmentTable(Table):
    """One bin of the cart."""

    name: Name
    volume: Volume


class ImplementTable(Table):
    """A drill."""

    name: Name
    width: Width | None = None
    rows: Annotated[int, Field(ge=1, le=2000)] | None = None
    row_spacing: Spacing | None = None
    rows_per_tower: Annotated[int, Field(ge=1)] | None = None
    sections: Annotated[int, Field(ge=1)] | list[Annotated[int, Field(ge=1)]] | None = None
    axle_to_antenna: Offset = 0.0
    antenna_ahead: Offset = 0.0
    antenna_left: Offset = 0.0
    tow: list[TowTable] = []
    tool_behind: Offset = 0.0
    delay: Delay = 0.0
    compartments: list[CompartmentTable] = []
    cost: HourCost | None = None


class SourceTable(Table):
    """Where a layer is read from; a bare file name stands for the table."""

    file: Name
    layer: str | None = None
    where: dict[str, Any] = {}
    crs: str | None = None


class ZonesTable(SourceTable):
    """Zones."""

    name_column: str | None = None


class SetbacksTable(SourceTable):
    """Features to keep away from, and how far."""

    distance: Length
    name_column: str | None = None


class FieldTable(Table):
    """A field."""

    name: Name
    boundary: Annotated[SourceTable, BeforeValidator(_as_source)] | None = None
    unworkable: Annotated[SourceTable, BeforeValidator(_as_source)] | None = None
    zones: Annotated[ZonesTable, BeforeValidator(_as_source)] | None = None
    setbacks: Annotated[SetbacksTable, BeforeValidator(_as_source)] | None = None


class TrackTable(Table):
    """A log; a bare file name stands for the table."""

    file: Name
    layer: str | None = None
    crs: str | None = None


def _as_crop(value: object) -> object:
    return " ".join(value.lower().split()) if isinstance(value, str) else value


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


class UseTable(Table):
    """A product in an operation; a bare name stands for the table."""

    product: Name
    rate: Rate | None = None
    compartment: Annotated[list[Name], BeforeValidator(_as_list)] = []


class BlockageTable(Table):
    """Rows that stopped flowing for a while."""

    start: Instant
    end: Instant
    tower: int | None = None
    rows: int | str | list[int] | None = None
    cause: str | None = None


class WithSeedTable(Table):
    """Fertilizer in the furrow with the seed."""

    crop: Annotated[Name, BeforeValidator(_as_crop)]
    spread: Spacing
    tolerated_loss: Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)]
    soil_factor: Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)] = 1.0
    slopes: dict[str, Annotated[float, Field(gt=0, allow_inf_nan=False)]] = {}


def _many(as_table: Callable[[object], object]) -> BeforeValidator:
    def read(value: object) -> object:
        return [as_table(v) for v in (value if isinstance(value, list) else [value])]

    return BeforeValidator(read)


def _as_use(value: object) -> object:
    return {"product": value} if isinstance(value, str) else value


class OperationTable(SettingsTable):
    """A job on a field."""

    name: Name
    field: Name
    implement: Name
    date: Annotated[dt.date, BeforeValidator(_as_date)] | None = None
    tracks: Annotated[list[TrackTable], _many(_as_source), Field(min_length=1)]
    columns: dict[str, str] = {}
    products: Annotated[list[UseTable], _many(_as_use)] = []
    blockages: str | None = None
    blockage: list[BlockageTable] = []
    loads: str | None = None
    method: str = ""
    quote: Quote | None = None
    with_seed: WithSeedTable | None = None


class NeedTable(Table):
    """What a field or a zone of it asks for, nutrient by nutrient."""

    field: Name
    zone: Name | None = None
    N: NeededRate | None = None
    P2O5: NeededRate | None = None
    K2O: NeededRate | None = None
    P: NeededRate | None = None
    K: NeededRate | None = None
    Ca: NeededRate | None = None
    Mg: NeededRate | None = None
    S: NeededRate | None = None
    B: NeededRate | None = None
    Cl: NeededRate | None = None
    Cu: NeededRate | None = None
    Fe: NeededRate | None = None
    Mn: NeededRate | None = None
    Mo: NeededRate | None = None
    Zn: NeededRate | None = None

    def asked(self) -> dict[str, float]:
        """Return the nutrients that are given, kg per m2."""
        places = {"field", "zone"}
        return {k: v for k, v in self if k not in places and v is not None}


class SeasonTable(Table):
    """The whole file; its lists of tables are checked entry by entry."""

    farm: str = ""
    units: Literal["us", "metric"] = "us"
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] = "USD"
    time_zone: str | None = None
    settings: SettingsTable = SettingsTable()
    product: list[Any] = []
    implement: list[Any] = []
    field: list[Any] = []
    operation: list[Any] = []
    need: list[Any] = []


ENTRIES: dict[str, type[Table]] = {
    "product": ProductTable,
    "implement": ImplementTable,
    "field": FieldTable,
    "operation": OperationTable,
    "need": NeedTable,
}
"""The lists of tables of a season file."""
