"""The values a season file may hold: quantities with their units, dates, names, shares.

The docstring of a validator is what the reference of the season file says of its values.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import Annotated

from pydantic import BeforeValidator, Field, PlainValidator
from pydantic_core import PydanticCustomError

from evenacre.errors import InputError
from evenacre.language import mark, tr
from evenacre.units.parsing import Dimension as Kind
from evenacre.units.parsing import parse_quantity

DAY_S = 86400.0
_ROUNDING = 1e-6
_MOST_DAYS = 3650
_LONGEST_SPELL = 366
SUNRISE_S = -float("inf")
"""Clock time that stands for sunrise."""
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?\s*(am|pm)?", re.IGNORECASE)

_PLACE = re.compile(
    r"([+-]?\d+(?:\.\d+)?)\s*°?\s*([NS]?)\s*[,;\s]\s*([+-]?\d+(?:\.\d+)?)\s*°?\s*([EW]?)",
    re.IGNORECASE,
)
_LIKE_A_PLACE = re.compile(r"[-+\d.,;°\sNSEW]*\d[-+\d.,;°\sNSEW]*", re.IGNORECASE)

_WHOLE_DAYS = mark('Write whole days with their unit, in quotes: "35 days".')
_A_CLOCK_TIME = mark('Write it in quotes: "07:30".')
_A_SPELL = mark('Write how many days in a row weather takes, on average: "3 days", from 1 to 366.')
_A_SHARE = mark('Give percent from 0 to 100, such as 50 or "50 %".')
_AN_INTAKE = mark(
    'Write percent of live weight, such as 2.6, or the feed of one in a day: "31.5 lb".'
)
_A_STAND = mark('Write a mass per area, such as "1200 lb/ac", or a height, such as "4 in".')
_PER_HEIGHT = mark('Write what stands on an area for each bit of height: "250 lb/ac/in".')
_A_WINDOW = mark("Write its first and its last day: [2026-08-20, 2026-09-05].")
_A_PLACE = mark('Write degrees, latitude first: "40.10231, -92.59870".')
_A_HEADING = mark("Give degrees clockwise from north, from 0 to 360: 90 is east to west.")
_NOT_NEGATIVE = mark("It cannot be negative.")
_TOO_DEAR = mark("Check the number and its unit.")
_AT_MOST_A_DAY = mark("at most 24 hours")
_PRODUCT_LAG = mark(
    "The delay is how long product travels from the meter to the opener: 0 to 60 s."
)
_A_GROWTH = mark("dry matter, from 0 to 1,780 lb/ac/day (2,000 kg/ha/day)")
_A_WEIGHT = mark("the live weight of one animal, between 1 lb and 11,000 lb (0.5 to 5,000 kg)")
_A_DENSITY = mark(
    "what a bushel or a litre of it weighs: between 0.8 and 388 lb/bu (10 and 5000 kg/m3)"
)
_A_COUNT = mark("the seeds in a pound or a kilogram: between 45 and 450 million in a pound")


def refusal(what: str, remedy: str) -> PydanticCustomError:
    """Say what is wrong with a value, with the remedy, through pydantic."""
    return PydanticCustomError("told", "{what}", {"what": what, "remedy": tr(remedy)})


def quantity(
    dimension: Kind,
    least: float = 0.0,
    most: float = float("inf"),
    sense: str = _NOT_NEGATIVE,
    remedy: str = "",
) -> BeforeValidator:
    """Read a quantity into SI and hold it to a range, in SI.

    ``sense`` is the remedy for a value outside the range: a sentence, or what to give; ``remedy``
    that for one that cannot be read; empty: an example in units of the dimension.
    """

    def read(value: object) -> float:
        si = _measured(value, dimension, remedy)
        if not least <= si <= most:
            remedy_here = tr("Give {sense}.", sense=tr(sense))
            if sense.endswith("."):
                remedy_here = tr(sense)
            raise refusal(tr('"{value}" makes no sense here.', value=value), remedy_here)
        return si

    read.__doc__ = f"{'An' if dimension is Kind.AREA else 'A'} {dimension}."
    return BeforeValidator(read)


def _measured(value: object, dimension: Kind, remedy: str = "") -> float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        how = tr('Write a number with its unit, in quotes: "20 ft".')
        raise refusal(tr("{value} is not a quantity.", value=repr(value)), how)
    try:
        return parse_quantity(str(value), dimension)  # a bare number is found to lack its unit
    except InputError as error:
        raise refusal(error.problems[0].what, remedy or error.problems[0].remedy) from None


def _as_date(value: object) -> object:
    """A date."""
    from evenacre.io.common.years import check_day, read_day

    if isinstance(value, dt.datetime):
        value = value.date()
    try:
        if isinstance(value, str):
            return read_day(value)
        if isinstance(value, dt.date):
            check_day(value)
    except ValueError as error:
        raise refusal(str(error), tr("Write it as 2026-04-14.")) from None
    return value  # what is no date is left to pydantic


def _as_text(value: object) -> object:
    """A time, such as 2026-04-14T09:12:00."""
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return value.isoformat()
    return str(value) if isinstance(value, int | float) else value


def _days(value: object) -> int:
    """Whole days."""
    days = _measured(value, Kind.TIME, _WHOLE_DAYS) / DAY_S
    if abs(days - round(days)) > _ROUNDING:
        raise refusal(tr('"{value}" is not a whole number of days.', value=value), _WHOLE_DAYS)
    if not 0 <= days <= _MOST_DAYS:
        raise refusal(
            tr('"{value}" makes no sense here.', value=value), tr("Give from 0 days to ten years.")
        )
    return round(days)


def _clock_s(value: object) -> float:
    """A clock time."""
    if isinstance(value, dt.time):
        return value.hour * 3600.0 + value.minute * 60.0 + value.second
    found = _CLOCK.fullmatch(value.strip()) if isinstance(value, str) else None
    if found is None:
        raise refusal(tr("{shown} is not a clock time.", shown=_shown(value)), _A_CLOCK_TIME)
    hour, minute, second, half = int(found[1]), int(found[2]), int(found[3] or 0), found[4]
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half.lower() == "pm" else 0)
    elif half:
        hour = 25  # 13 pm
    seconds = hour * 3600.0 + minute * 60.0 + second
    if seconds > DAY_S or minute > 59 or second > 59:
        raise refusal(tr("{shown} is not a clock time.", shown=_shown(value)), _A_CLOCK_TIME)
    return seconds


def _work_from(value: object) -> float:
    """A clock time, or "sunrise"."""
    if isinstance(value, str) and value.strip().lower() == "sunrise":
        return SUNRISE_S
    return _clock_s(value)


def _spell(value: object) -> float:
    """Days, one or more."""
    days = _measured(value, Kind.TIME, _A_SPELL) / DAY_S
    if not 1.0 - _ROUNDING <= days <= _LONGEST_SPELL:
        raise refusal(tr('"{value}" makes no sense here.', value=value), _A_SPELL)
    return max(days, 1.0)


def _share(value: object) -> float:
    """A percentage."""
    percent = _percent(value)
    if percent is None:
        raise refusal(tr("{shown} is not a percentage.", shown=_shown(value)), _A_SHARE)
    if not 0.0 <= percent <= 100.0:
        raise refusal(tr("{shown} is not between 0 and 100 %.", shown=_shown(value)), _A_SHARE)
    return percent / 100.0


@dataclass(frozen=True)
class Intake:
    """What one animal eats in a day: a share of its live weight, or kg."""

    amount: float
    of_weight: bool

    def kg_per_day(self, weight_kg: float) -> float:
        """Dry matter that an animal of this weight eats in a day."""
        return self.amount * weight_kg if self.of_weight else self.amount


def _intake(value: object) -> Intake:
    """Percent of live weight, or a mass."""
    percent = _percent(value)
    if percent is not None:
        if not 0.0 < percent <= 20.0:
            raise refusal(
                tr("{shown} % of live weight makes no sense.", shown=_shown(value)), _AN_INTAKE
            )
        return Intake(percent / 100.0, of_weight=True)
    try:
        kg = _measured(value, Kind.MASS_PER_TIME, _AN_INTAKE) * DAY_S
    except ValueError:
        kg = _measured(value, Kind.MASS, _AN_INTAKE)
    if not 0.0 < kg <= 200.0:
        raise refusal(tr("{shown} a day makes no sense.", shown=_shown(value)), _AN_INTAKE)
    return Intake(kg, of_weight=False)


@dataclass(frozen=True)
class Height:
    """How high a stand is, in metres."""

    height_m: float


def _standing(value: object) -> float | Height:
    """A mass per area, or a height."""
    try:
        amount, is_height = parse_quantity(str(value), Kind.LENGTH), True
    except InputError:
        amount, is_height = _measured(value, Kind.MASS_PER_AREA, _A_STAND), False
    if not 0.0 <= amount <= 5.0:
        raise refusal(tr('"{value}" makes no sense here.', value=value), _A_STAND)
    return Height(amount) if is_height else amount


def _heading(value: object) -> float:
    """Degrees clockwise from north."""
    text = str(value).strip().removesuffix("°").removesuffix("deg").strip()
    try:
        degrees = float(text)
    except ValueError:
        raise refusal(
            tr('"{value}" is not a number of degrees.', value=value), _A_HEADING
        ) from None
    if not 0.0 <= degrees <= 360.0:
        raise refusal(tr('"{value}" is not between 0 and 360.', value=value), _A_HEADING)
    return degrees


def is_like_place(value: object) -> bool:
    """Whether a text means a place in numbers, and not a file's name."""
    return isinstance(value, str) and bool(_LIKE_A_PLACE.fullmatch(value))


def _place(value: object) -> tuple[float, float]:
    """Latitude and longitude in degrees."""
    found = _PLACE.fullmatch(value.strip()) if isinstance(value, str) else None
    if found is None:
        raise refusal(
            tr("{shown} is not a latitude and a longitude.", shown=_shown(value)), _A_PLACE
        )
    north, south, east, west = found.groups()
    lat = float(north) * (-1 if south.upper() == "S" else 1)
    lon = float(east) * (-1 if west.upper() == "W" else 1)
    if abs(lat) > 90 or abs(lon) > 180:
        raise refusal(tr('"{value}" is no place on earth.', value=value), _A_PLACE)
    return lat, lon


def _window(value: object) -> tuple[dt.date, dt.date]:
    """Two dates."""
    if not isinstance(value, Sequence) or isinstance(value, str) or len(value) != 2:
        raise refusal(tr("A window is two dates."), _A_WINDOW)
    first, last = days = [_as_date(day) for day in value]
    if not isinstance(first, dt.date) or not isinstance(last, dt.date):
        wrong = next(day for day in days if not isinstance(day, dt.date))
        raise refusal(tr("{shown} is not a date.", shown=_shown(wrong)), _A_WINDOW)
    if last < first:
        raise refusal(
            tr("The window ends on {last}, before it begins on {first}.", last=last, first=first),
            _A_WINDOW,
        )
    return first, last


def _percent(value: object) -> float | None:
    """Return a number that is bare or written with a percent sign; None for any other value."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    with suppress(ValueError):
        if isinstance(value, str) and value.strip().endswith("%"):
            return float(value.strip().removesuffix("%"))
    return None


def _shown(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def _stripped(value: object) -> object:
    """Text."""
    return value.strip() if isinstance(value, str) else value


# Stripped as entries are told apart by name elsewhere: pydantic leaves some signs standing.
Name = Annotated[str, Field(min_length=1, max_length=1000), BeforeValidator(_stripped)]
Instant = Annotated[str, BeforeValidator(_as_text)]
Date = Annotated[dt.date, BeforeValidator(_as_date)]
Days = Annotated[int, BeforeValidator(_days)]
Clock = Annotated[float, BeforeValidator(_clock_s)]
WorkFrom = Annotated[float, BeforeValidator(_work_from)]
Spell = Annotated[float, BeforeValidator(_spell)]
Heading = Annotated[float, BeforeValidator(_heading)]
Place = Annotated[tuple[float, float], PlainValidator(_place)]
Window = Annotated[tuple[dt.date, dt.date], PlainValidator(_window)]
Share = Annotated[float, BeforeValidator(_share)]
Feed = Annotated[Intake, PlainValidator(_intake)]
Standing = Annotated[float | Height, PlainValidator(_standing)]
Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Part = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Factor = Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)]

_length = partial(quantity, Kind.LENGTH)
_time = partial(quantity, Kind.TIME)
_rate = partial(quantity, Kind.MASS_PER_AREA)
_mass = partial(quantity, Kind.MASS)

Length = Annotated[float, _length()]
Area = Annotated[float, quantity(Kind.AREA)]
Offset = Annotated[float, _length(-40.0, 40.0, mark("a length between -40 m and 40 m (130 ft)"))]
Hitch = Annotated[float, _length(0.01, 40.0, mark("a length between 1 cm and 40 m (130 ft)"))]
Width = Annotated[float, _length(0.1, 60.0, mark("a width between 0.1 m (4 in) and 60 m (197 ft)"))]
Spacing = Annotated[float, _length(0.01, 60.0, mark("a spacing between 1 cm and 60 m (197 ft)"))]
Error = Annotated[float, _length(0.0, 20.0, mark("a standard error from 0 to 20 m (66 ft)"))]
TurnRadius = Annotated[
    float, _length(0.1, 100.0, mark("a radius between 0.1 m (4 in) and 100 m (330 ft)"))
]
Speed = Annotated[float, quantity(Kind.SPEED, 0.1, 100.0, mark("a speed between 0.1 and 100 m/s"))]
Gap = Annotated[float, _time(0.01, DAY_S, mark("a time longer than 0.01 s"))]
Hours = Annotated[float, _time(1.0, DAY_S, _AT_MOST_A_DAY, mark('Write hours of a day: "8 h".'))]
Pause = Annotated[float, _time(0.0, DAY_S, _AT_MOST_A_DAY, mark('Write it as "20 min".'))]
Delay = Annotated[float, _time(0.0, 60.0, _PRODUCT_LAG)]
Price = Annotated[float, quantity(Kind.PRICE_PER_MASS, 0.0, 1e9, _TOO_DEAR)]
Quote = Annotated[float, quantity(Kind.PRICE_PER_AREA, 0.0, 1e9, _TOO_DEAR)]
HourCost = Annotated[float, quantity(Kind.PRICE_PER_TIME, 0.0, 1e9, _TOO_DEAR)]
Rain = Annotated[
    float, _length(1e-5, 2.0, mark("what falls in a day: from 0.01 mm to 2 m (79 in)"))
]
Rate = Annotated[float, _rate(1e-9, 50.0, mark("a rate above 0 and below 500,000 kg/ha"))]
NeededRate = Annotated[float, _rate(0.0, 50.0, mark("a rate from 0 to 500,000 kg/ha"))]
Forage = Annotated[float, _rate(0.0, 5.0, mark("dry matter, from 0 to 44,000 lb/ac (50 t/ha)"))]
Growth = Annotated[float, quantity(Kind.GROWTH, 0.0, 0.2 / DAY_S, _A_GROWTH)]
Stock = Annotated[float, _mass(0.0, 1e7, mark("a mass from 0 to 10,000 t (22 million lb)"))]
Load = Annotated[float, _mass(0.1, 1e5, mark("a mass from 0.1 kg to 100 t (220,000 lb)"))]
LiveWeight = Annotated[float, _mass(0.5, 5000.0, _A_WEIGHT)]
Volume = Annotated[
    float, quantity(Kind.VOLUME, 1e-4, 200.0, mark("a volume between 0.1 L and 200 m3 (5,675 bu)"))
]
BulkDensity = Annotated[float, quantity(Kind.MASS_PER_VOLUME, 10.0, 5000.0, _A_DENSITY)]
PerHeight = Annotated[float, quantity(Kind.MASS_PER_VOLUME, 0.05, 50.0, _PER_HEIGHT, _PER_HEIGHT)]
SeedCount = Annotated[float, quantity(Kind.COUNT_PER_MASS, 100.0, 1e9, _A_COUNT)]
