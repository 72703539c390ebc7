"""The season file: every table, its keys, what each may hold and what it says.

The command line's options (:mod:`evenacre.io.season.from_options`) and the reference of the
file (``docs/reference/season_file.md``) are derived from these tables.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from evenacre.io.season import values as v
from evenacre.language import Tag, tr


def key(text: str, default: Any = None, **checks: Any) -> Any:
    """Declare a key: what it says, what holds without it (``...``: it is needed), its checks."""
    return Field(default, description=text, **checks)


def as_source(value: object) -> object:
    """Let a bare file name stand for the table."""
    return {"file": value} if isinstance(value, str) else value


def as_gate(value: object) -> Any:
    """Let a bare place, or the name of a map, stand for the table."""
    if isinstance(value, list):
        how = tr('Write it in quotes, latitude first: "40.10231, -92.59870".')
        raise v.refusal(tr("A list does not tell which is the latitude."), how)
    return {"place": value} if v.is_like_place(value) else as_source(value)


def _as_use(value: object) -> object:
    return {"product": value} if isinstance(value, str) else value


def each(as_table: Callable[[object], object]) -> BeforeValidator:
    """Let one stand for a list of it, and a bare name for a table."""

    def read(value: object) -> object:
        return [as_table(one) for one in (value if isinstance(value, list) else [value])]

    return BeforeValidator(read)


def _as_crop(value: object) -> object:
    return " ".join(value.lower().split()) if isinstance(value, str) else value


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


_UNITS = ("", "_m", "_m2", "_s", "_mps", "_days", "_kg", "_kg_per_m2", "_kg_per_m3", "_per_s")


class KeyTable(BaseModel):
    """A table of the season file; unknown keys are refused."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, str_strip_whitespace=True, defer_build=True
    )

    def given(self, model: type[Any]) -> dict[str, Any]:
        """Return what is given by the names of a model: those of the keys, with the SI unit."""
        names = {f.name for f in dataclasses.fields(model)}
        found = [(key + unit, value) for key, value in self for unit in _UNITS]
        return {name: value for name, value in found if name in names and value is not None}


class SettingsTable(KeyTable):
    """What may be tuned, for the season or for one operation."""

    skip_min_width: v.Length | None = key("Narrowest skip listed.")
    skip_min_area: v.Area | None = key("Smallest skip listed.")
    pass_to_pass: v.Error | None = key("Receiver error between passes.")
    within_pass: v.Error | None = key("Receiver error in a pass.")
    headland_rounds: int | None = key("Rounds along the boundary.", ge=0, le=50)
    max_gap: v.Gap | None = key("Silence that cuts the path.")
    max_speed: v.Speed | None = key("Faster than this a fix is an error.")
    smooth: bool | None = key("Smooth receiver jitter.")


class ProductTable(KeyTable):
    """A fertilizer, a seed lot as on its tag, or a blend of other products."""

    name: v.Name = key("Product; 11-52-0 gives its own analysis.", ...)
    kind: Literal["fertilizer", "seed", "other"] | None = key("Follows from the other keys.")
    analysis: dict[str, v.Percent] | None = key("Percent by mass, as on the label: { N = 46 }.")
    price: v.Price | None = key('Price: "840 USD/ton".')
    bulk_density: v.BulkDensity | None = key('"60 lb/bu".')
    rate_min: v.Rate | None = key("Least rate allowed.")
    rate_max: v.Rate | None = key("Highest rate allowed.")
    purity: v.Percent | None = key("Percent of pure seed.")
    germination: v.Percent | None = key("Percent of it that sprouts.")
    hard_seed: v.Percent | None = key("Percent of it that is alive but hard.")
    seeds_per: v.SeedCount | None = key('"270000 /lb".')
    parts: dict[str, v.Part] = key("A blend: products and their parts by mass.", {})
    bag: v.Load | None = key("A bag of it holds; the cart is filled with whole ones.")
    bought: v.Stock | None = key("Bought for the season with what was carried over.")
    left: v.Stock | None = key("Left at its end.")


class TowTable(KeyTable):
    """A towed unit."""

    hitch_to_axle: v.Hitch = key("Pin to axle of each towed unit, front to back.", ...)
    axle_to_pin: v.Offset = key("From its axle back to the pin of the next unit.", 0.0)


class CompartmentTable(KeyTable):
    """A bin of the cart."""

    name: v.Name = key("What it is called.", ...)
    volume: v.Volume = key("What it holds, level full.", ...)


Count = Annotated[int, Field(ge=1)]


class ImplementTable(KeyTable):
    """A drill; width and rows follow from any two of width, rows and row_spacing."""

    name: v.Name = key("What operations call it.", ...)
    width: v.Width | None = key('Working width: "20 ft"; else as logged.')
    transport_width: v.Width | None = key('Folded, as it goes through a gate: "12 ft".')
    rows: int | None = key("Rows across the width.", ge=1, le=2000)
    row_spacing: v.Spacing | None = key('Instead of rows: "7.5 in".')
    rows_per_tower: Count | None = key("Rows fed by one tower.")
    sections: Count | list[Count] | None = key("Equal ones, or the rows of each from the left.")
    axle_to_antenna: v.Offset = key(
        "Antenna ahead of the tractor's fixed (non-steering) axle.", 0.0
    )
    antenna_ahead: v.Offset = key("Antenna ahead of the hitch pin (or of a mounted tool).", 0.0)
    antenna_left: v.Offset = key("Antenna left of the middle.", 0.0)
    tow: list[TowTable] = key("Towed units, front to back.", [])
    tool_behind: v.Offset = key("Openers behind the last axle (or behind the pin).", 0.0)
    behind: list[TowTable] = key("Units towed behind the drill, front to back: a cart, say.", [])
    tool_to_pin: v.Offset = key("From the drill's last axle back to their pin.", 0.0)
    delay: v.Delay = key('From meter to opener: "2.5 s".', 0.0)
    compartments: list[CompartmentTable] = key("Bins of the cart.", [])
    cost: v.HourCost | None = key('Of an hour at work: "140 USD/h".')


class SourceTable(KeyTable):
    """A map, or its file's name alone."""

    file: v.Name = key("Its name, relative to the season file.", ...)
    layer: str | None = key("Which layer of it.")
    where: dict[str, Any] = key('Pick features: { name = "Creek Forty" }.', {})
    crs: str | None = key('Of a file that does not say its own: "EPSG:26915".')


class ZonesTable(SourceTable):
    """A map whose features are zones."""

    name_column: str | None = key("Column with the zones' names.")


class SetbacksTable(SourceTable):
    """A map of features to keep away from, and how far."""

    distance: v.Length = key('How far: "100 ft".', ...)
    name_column: str | None = key("Column with the features' names.")


class GateTable(KeyTable):
    """A place, or a map of gates: the one in the fence is taken."""

    file: v.Name | None = key("A map with the gate as a point, relative to the season file.")
    layer: str | None = key("Which layer of it.")
    where: dict[str, Any] = key('Pick features: { name = "Creek Forty" }.', {})
    crs: str | None = key('Of a file that does not say its own: "EPSG:26915".')
    place: v.Place | None = key('Instead: "40.10231, -92.59870", latitude first.')
    width: v.Width | None = key('How wide it is, from post to post: "16 ft".')


Source = Annotated[SourceTable, BeforeValidator(as_source)]


class CrossTable(SourceTable):
    """A map of ground that is not worked, but crossed with the drill lifted."""

    width: v.Length | None = key('How wide what is drawn as a line is: "30 ft".')


Cross = Annotated[CrossTable, BeforeValidator(as_source)]


class DrivenTable(KeyTable):
    """What a drive over a field has to keep to."""

    fence: bool | None = key(
        "Whether nothing of tractor, drill and cart may leave it; true where a herd grazes."
    )
    gate: Annotated[GateTable, BeforeValidator(as_gate)] | None = key(
        'Way in and out: "40.10231, -92.59870", latitude first, or a map with a point.'
    )
    line: Source | None = key("Passes run parallel to it: a slope, rows; a map with a line.")


class FieldTable(DrivenTable):
    """A field."""

    name: v.Name = key("Name of the field.", ...)
    boundary: Source | None = key("Field boundary; any map file.")
    unworkable: Source | None = key("Waterways, rock piles ...")
    cross: Cross | None = key("Grassed waterways ...: not worked, but crossed, the drill lifted.")
    zones: Annotated[ZonesTable, BeforeValidator(as_source)] | None = key(
        "Zones to report amounts for."
    )
    setbacks: Annotated[SetbacksTable, BeforeValidator(as_source)] | None = key(
        "Wells, ditches ... to keep off."
    )
    landlord: v.Name | None = key("Whose ground it is, where that is not you: they get a sheet.")


class TrackTable(KeyTable):
    """A log, or its file's name alone."""

    file: v.Name = key("Its name, relative to the season file.", ...)
    layer: str | None = key("Which layer of it.")
    crs: str | None = key('System of x and y: "EPSG:32615".')


class UseTable(KeyTable):
    """A product in an operation, or its name alone."""

    product: v.Name = key("Name of a [[product]].", ...)
    rate: v.Rate | None = key('Target rate: "150 lb/ac".')
    pls_rate: v.Rate | None = key("Instead: of pure live seed.")
    compartment: Annotated[list[v.Name], BeforeValidator(_as_list)] = key("Where it rides.", [])


class BlockageTable(KeyTable):
    """Rows that stopped flowing for a while."""

    start: v.Instant = key("When they stopped.", ...)
    end: v.Instant = key("When they flowed again.", ...)
    tower: int | None = key("Which tower, counted from the left.")
    rows: int | str | list[int] | None = key('Instead: which rows, "3-6".')
    cause: str | None = key("What blocked them.")


class WithSeedTable(KeyTable):
    """Fertilizer in the furrow with the seed."""

    crop: Annotated[v.Name, BeforeValidator(_as_crop)] = key("What is sown.", ...)
    spread: v.Spacing = key("Width of the band that one opener leaves.", ...)
    tolerated_loss: v.Factor = key("Percent of the stand.", ...)
    soil_factor: v.Factor = key("For texture and moisture.", 1.0)
    slopes: dict[str, Annotated[float, Field(gt=0, allow_inf_nan=False)]] = key(
        "Percent of stand lost for each lb/ac of a product, where known.", {}
    )


class OperationTable(SettingsTable):
    """A job on a field; it may have settings of its own."""

    name: v.Name = key("Name of the job.", ...)
    field: v.Name = key("Name of a [[field]].", ...)
    implement: v.Name = key("Name of an [[implement]].", ...)
    date: v.Date | None = key("Date of the job, 2026-04-14.")
    tracks: Annotated[list[TrackTable], each(as_source)] = key("Log of the drive; any number.", ...)
    columns: dict[str, str] = key('What a column of the log is: { rate = "Rate [lb/ac]" }.', {})
    products: Annotated[list[UseTable], each(_as_use)] = key("What was placed.", [])
    blockages: Annotated[list[str], BeforeValidator(_as_list)] = key(
        "CSV of blockages: start, end and tower or rows; any number.", []
    )
    blockage: list[BlockageTable] = key("The same as tables.", [])
    loads: str | None = key("CSV of load tickets.")
    method: str = key("Of placement.", "")
    quote: v.Quote | None = key('Of a hired job: "20 USD/ac".')
    bare_loss: v.Quote | None = key(
        'What ground that stays bare loses: "300 USD/ac". Three times what working it cost without.'
    )
    with_seed: WithSeedTable | None = key("Where fertilizer goes in with the seed.")
    practice: v.Name | None = key("Conservation practice it was done for, which gets a sheet.")
    practice_code: v.Name | None = key('Number of its standard: "340". The same for all its jobs.')


class NeedTable(KeyTable):
    """What a field or a zone of it asks for; P and K are elements, the rest label terms."""

    field: v.Name = key("Name of a [[field]].", ...)
    zone: v.Name | None = key("One of its zones; without it, the rest of the field.")
    N: v.NeededRate | None = key('"60 lb/ac".')
    P2O5: v.NeededRate | None = None
    K2O: v.NeededRate | None = None
    P: v.NeededRate | None = None
    K: v.NeededRate | None = None
    Ca: v.NeededRate | None = None
    Mg: v.NeededRate | None = None
    S: v.NeededRate | None = None
    B: v.NeededRate | None = None
    Cl: v.NeededRate | None = None
    Cu: v.NeededRate | None = None
    Fe: v.NeededRate | None = None
    Mn: v.NeededRate | None = None
    Mo: v.NeededRate | None = None
    Zn: v.NeededRate | None = None


class SeasonTable(KeyTable):
    """The whole file; its lists of tables are checked entry by entry."""

    farm: str = key("Name of the farm.", "", max_length=1000)
    units: Literal["us", "metric"] = key("Units of the report.", "us")
    language: Tag = key("Language of the report; a country sets how numbers are written.", "en")
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] = key("Of all prices.", "USD")
    time_zone: str | None = key("Zone of local times: America/Chicago.")
    paper: Literal["letter", "a4"] | None = key(
        "Of PDFs; without it, letter with US units and where it is in use."
    )
    contact: v.Name | None = key("Whom questions about sheets go to: name and telephone.")
    landlord_costs: bool = key("Whether sheets for landlords tell costs.", False)
    settings: SettingsTable = key("What may be tuned.", SettingsTable())
    gathered: dict[str, str] = key(
        "Files that `evenacre gather` has taken in or left out, with their fingerprints.", {}
    )
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
