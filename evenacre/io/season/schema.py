"""The shape of a season file: its tables, their keys, and what each may hold."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from evenacre.io.season.schema_types import (
    Area,
    BulkDensity,
    Date,
    Delay,
    Error,
    Gap,
    Hitch,
    HourCost,
    Instant,
    Length,
    Name,
    NeededRate,
    Offset,
    Part,
    Percent,
    Price,
    Quote,
    Rate,
    SeedCount,
    Spacing,
    Speed,
    Stock,
    Volume,
    Width,
)


def as_source(value: object) -> object:
    """Let a bare file name stand for the table."""
    return {"file": value} if isinstance(value, str) else value


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
    boundary: Annotated[SourceTable, BeforeValidator(as_source)] | None = None
    unworkable: Annotated[SourceTable, BeforeValidator(as_source)] | None = None
    zones: Annotated[ZonesTable, BeforeValidator(as_source)] | None = None
    setbacks: Annotated[SetbacksTable, BeforeValidator(as_source)] | None = None


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
    pls_rate: Rate | None = None
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
    date: Date | None = None
    tracks: Annotated[list[TrackTable], _many(as_source)]
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

    farm: Annotated[str, Field(max_length=1000)] = ""
    units: Literal["us", "metric"] = "us"
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] = "USD"
    time_zone: str | None = None
    settings: SettingsTable = SettingsTable()
    product: list[Any] = []
    implement: list[Any] = []
    field: list[Any] = []
    operation: list[Any] = []
    need: list[Any] = []
    paddocks: Any = None
    paddock: list[Any] = []
    herd: list[Any] = []
    grazing: Any = None
    move: list[Any] = []
    seeding: Any = None


ENTRIES = ("product", "implement", "field", "operation", "need", "paddock", "herd", "move")
"""The lists of tables of a season file."""

SINGLES = ("paddocks", "grazing", "seeding")
"""Its single tables that are checked on their own."""
