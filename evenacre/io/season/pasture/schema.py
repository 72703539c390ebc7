"""The tables of grazed ground: paddocks, herd, moves, and seeding behind the herd."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from evenacre.io.season import values as v
from evenacre.io.season.schema import (
    Cross,
    DrivenTable,
    KeyTable,
    Source,
    SourceTable,
    as_source,
    each,
    key,
)


class StandTable(KeyTable):
    """What grows on a paddock, or on every one that does not say; masses are dry matter."""

    forage: v.Forage | None = key("Standing on the first day.")
    growth: v.Growth | None = key('"20 lb/ac/day".')
    utilization: v.Share | None = key("Percent of the forage that is to be eaten; 50 without it.")
    forage_most: v.Forage | None = key("It grows no further.")


class PaddocksTable(SourceTable):
    """A map whose every feature is a paddock."""

    name_column: str | None = key("Column with the paddocks' names.")


class WetTable(SourceTable):
    """A map of ground too wet for this seeding."""

    until: v.Date | None = key("The day from which it bears the drill; without it, not this time.")


class PaddockTable(StandTable, DrivenTable):
    """A paddock, or what is different about one of the map."""

    name: v.Name = key("Its name, or that of a feature or a [[field]].", ...)
    boundary: Source | None = key("Its outline; any map file.")
    unworkable: Source | None = key("Waterways, rock piles ...")
    cross: Cross | None = key("Grassed waterways ...: not worked, but crossed, the drill lifted.")
    value: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] = key(
        "What an acre seeded here is worth beside one elsewhere.", 1.0
    )
    seed: bool = key("Whether it is to be seeded.", True)
    window: v.Window | None = key("First and last day for seeding, where decided.")
    not_before: v.Date | None = key("Too wet to bear the drill before this day.")
    keep_out: Annotated[list[WetTable], each(as_source)] = key(
        "Ground too wet for this seeding, a map or several; it is grazed all the same.", []
    )


class HerdTable(KeyTable):
    """Animals of one kind."""

    kind: v.Name = key("What they are.", "herd", alias="class")
    head: int = key("How many.", ..., ge=1, le=1_000_000)
    weight: v.LiveWeight = key("Of one.", ...)
    intake: v.Feed = key('Of one in a day: 2.6, or "31.5 lb".', ...)


class GrazingTable(StandTable):
    """The round of the herd."""

    start: v.Date | None = key("The herd enters the first paddock.")
    end: v.Date | None = key("Round after round until then; without it once through.")
    order: list[v.Name] | None = key("Names of paddocks; without it the order of the file.")
    rest: v.Days | None = key("From leaving a paddock to entering it again; 30 days without it.")


class MoveTable(KeyTable):
    """A stay that is decided already."""

    paddock: v.Name = key("Where.", ...)
    enter: v.Date = key("First day.", ...)
    leave: v.Date = key("The day it goes.", ...)


class BookedTable(KeyTable):
    """Days that the drill is wanted elsewhere."""

    first: v.Date = key("First day.", ..., alias="from")
    last: v.Date | None = key("Last day; without it, one day.", alias="to")
    what: v.Name = key("What for.", "other work", alias="for")
    hours: v.Hours | None = key("Of each day; without it the whole day.")


class SeedBinTable(KeyTable):
    """A compartment of the cart that holds seed; all are filled at each stop."""

    name: v.Name = key("What it is called; as that of the implement, where load is not given.", ...)
    product: v.Name | None = key("The part of the blend in it; without it, all of the seed.")
    load: v.Load | None = key("Full; without it, by volume and bulk density.")
    least: v.Load | None = key("With less in it, it does not meter evenly.")


class DriveTable(KeyTable):
    """How the drill is driven."""

    speed: v.Speed | None = key('At work: "5 mph".')
    turn_speed: v.Speed | None = key('Between passes: "3 mph".')
    turn_radius: v.TurnRadius | None = key(
        'Tightest circle of the hitch pin: "20 ft"; from width and tow without it.'
    )
    rounds: int | None = key(
        "Headland rounds; without it 2, inside a fence as many as turns need.", ge=0, le=20
    )
    headland: Literal["first", "last"] | None = key(
        "When the rounds are driven; without it last where [seeding] is done, else first."
    )
    tractor_length: v.Hitch | None = key("From the hitch pin forward to its foremost point.")
    tractor_width: v.Hitch | None = key("Over its tyres.")
    prefer: Literal["turns", "overlap"] | None = key(
        "What the best heading has least of; turns without it."
    )
    blocks: bool | None = key(
        "Whether ground may be cut into blocks with headings of their own, where that takes less "
        "time and seed; true without it."
    )


class DriveOptions(DriveTable):
    """How to drive, as the command line says it; None where it does not."""

    heading: v.Heading | None = key(
        "Of the passes, degrees clockwise from north. The best without it."
    )
    width: v.Width | None = None
    fence: bool | None = key("Whether nothing of tractor, drill and cart may leave the boundary.")


class SeedingTable(DriveTable):
    """How grazed paddocks are interseeded."""

    product: v.Name | None = key("A seed lot or a blend.")
    implement: v.Name | None = key("Name of an [[implement]].")
    rate: v.Rate | None = key('"10 lb/ac".')
    pls_rate: v.Rate | None = key("Instead: of pure live seed.")
    rate_min: v.Rate | None = key("What the rate may be changed to at least; the product's.")
    rate_max: v.Rate | None = key("And at most, so that the seed comes out even.")
    on_hand: v.Stock | None = key("Seed there is; what was bought of the product, without it.")
    ready: list[v.Name] = key(
        "Paddocks that stand ready: open from first_day, or today, for closes_after.", []
    )
    opens_after: v.Days | None = key("After the herd left; 0 days without it.")
    closes_after: v.Days | None = key("After the herd left; 14 days without it.")
    residual: v.Standing | None = key("With more than this left standing it is not seeded.")
    regrowth_limit: v.Standing | None = key("A window closes when regrowth stands higher.")
    mass_per_height: v.PerHeight | None = key('What a height of it weighs: "250 lb/ac/in".')
    first_day: v.Date | None = key("Of seeding.")
    last_day: v.Date | None = key("Of seeding.")
    day_from: v.WorkFrom | None = key("Work begins; 07:30 without it.", alias="from")
    day_to: v.Clock | None = key("Work ends; sunset without it.", alias="to")
    hours: v.Hours | None = key("Of drilling in a day, at most.")
    lost_days: list[v.Date] = key("Known as lost to weather.", [])
    lost_chance: v.Share | None = key(
        "Percent of other days that weather takes; what rain tells, or none, without it."
    )
    lost_spell: v.Spell | None = key(
        "How many days weather takes in a row, on average; without it each is lost by itself."
    )
    rain: v.Name | None = key("CSV of past days: date and rain, whatever its unit.")
    rain_that_stops: v.Rain | None = key('So much in a day stops the drill: "0.2 in".')
    dry_after: v.Days | None = key("Until the drill can go again after it; 1 day without it.")
    booked: list[BookedTable] = key("Days that the drill is wanted elsewhere.", [])
    setup: v.Pause | None = key("To move to a paddock and begin; 15 min without it.")
    refill: v.Pause | None = key("To fill the cart; 20 min without it.")
    load: v.Load | None = key("A full cart; without it, by volume and bulk density.")
    least: v.Load | None = key("With less in the cart, it does not meter evenly.")
    compartments: list[SeedBinTable] = key("Of the cart, where each meters seed of its own.", [])
    sow_within: v.Days | None = key("A load is sown in so many days, that of the fill counted.")
    rest: v.Days | None = key("From seeding to grazing; 45 days without it.")
    withholding: v.Days | None = key("The label's, from seeding to grazing.")
    treated: bool | None = key("Whether the seed is treated.")
    runs: int | None = key("Simulated seasons; 2000 without it.", ge=1, le=100_000)
    random_seed: int | None = key("Of the simulation; 1 without it.", ge=0, le=2**63 - 1)
