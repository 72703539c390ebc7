"""The shape of a season file's pasture tables: paddocks, herd, moves, seeding behind the herd."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from evenacre.io.season.pasture.schema_types import (
    Clock,
    Days,
    Feed,
    Forage,
    Growth,
    Hours,
    LiveWeight,
    Load,
    Pause,
    PerHeight,
    Share,
    Standing,
    TurnRadius,
    Window,
)
from evenacre.io.season.schema import SourceTable, Table, as_source
from evenacre.io.season.schema_types import Date, Name, Rate, Speed, Stock

Source = Annotated[SourceTable, BeforeValidator(as_source)]
Value = Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)]


class StandTable(Table):
    """What grows on a paddock, or on every one that does not say."""

    forage: Forage | None = None
    growth: Growth | None = None
    utilization: Share | None = None
    forage_most: Forage | None = None


class PaddocksTable(SourceTable):
    """A map whose every feature is a paddock."""

    name_column: str | None = None


class PaddockTable(StandTable):
    """One paddock."""

    name: Name
    boundary: Source | None = None
    unworkable: Source | None = None
    value: Value = 1.0
    seed: bool = True
    window: Window | None = None


class HerdTable(Table):
    """Animals of one kind."""

    kind: Name = Field("herd", alias="class")
    head: Annotated[int, Field(ge=1, le=1_000_000)]
    weight: LiveWeight
    intake: Feed


class GrazingTable(StandTable):
    """The round of the herd."""

    start: Date | None = None
    end: Date | None = None
    order: list[Name] | None = None
    rest: Days | None = None


class MoveTable(Table):
    """A stay that is decided already."""

    paddock: Name
    enter: Date
    leave: Date


class BookedTable(Table):
    """Days that the drill is wanted elsewhere."""

    first: Date = Field(alias="from")
    last: Date | None = Field(None, alias="to")
    what: Name = Field("other work", alias="for")
    hours: Hours | None = None


class DriveTable(Table):
    """How the drill is driven."""

    speed: Speed | None = None
    turn_speed: Speed | None = None
    turn_radius: TurnRadius | None = None
    rounds: Annotated[int, Field(ge=0, le=20)] | None = None
    prefer: Literal["turns", "overlap"] | None = None


class SeedingTable(DriveTable):
    """How grazed paddocks are interseeded."""

    product: Name | None = None
    implement: Name | None = None
    rate: Rate | None = None
    pls_rate: Rate | None = None
    rate_min: Rate | None = None
    rate_max: Rate | None = None
    on_hand: Stock | None = None
    opens_after: Days | None = None
    closes_after: Days | None = None
    residual: Standing | None = None
    regrowth_limit: Standing | None = None
    mass_per_height: PerHeight | None = None
    first_day: Date | None = None
    last_day: Date | None = None
    day_from: Clock | None = Field(None, alias="from")
    day_to: Clock | None = Field(None, alias="to")
    hours: Hours | None = None
    lost_days: list[Date] = Field(default_factory=list)
    lost_chance: Share | None = None
    booked: list[BookedTable] = Field(default_factory=list)
    setup: Pause | None = None
    refill: Pause | None = None
    load: Load | None = None
    rest: Days | None = None
    withholding: Days | None = None
    treated: bool | None = None
    runs: Annotated[int, Field(ge=1, le=100_000)] | None = None
    random_seed: Annotated[int, Field(ge=0, le=2**63 - 1)] | None = None
