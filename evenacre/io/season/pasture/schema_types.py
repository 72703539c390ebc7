"""The values that pasture tables hold: days, clock times, shares, feed, what stands."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from pydantic import BeforeValidator, PlainValidator

from evenacre.errors import InputError
from evenacre.io.season.schema_types import as_date, quantity, refusal, text_of
from evenacre.units.parsing import Dimension, parse_quantity

_DAY_S = 86400.0
_ROUNDING = 1e-6
_MOST_DAYS = 3650
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?\s*(am|pm)?", re.IGNORECASE)

_WHOLE_DAYS = 'Write whole days with their unit, in quotes: "35 days".'
_A_CLOCK_TIME = 'Write it in quotes: "07:30".'
_A_SHARE = 'Give percent from 0 to 100, such as 50 or "50 %".'
_AN_INTAKE = 'Write percent of live weight, such as 2.6, or the feed of one in a day: "31.5 lb".'
_A_STAND = 'Write a mass per area, such as "1200 lb/ac", or a height, such as "4 in".'
_PER_HEIGHT = 'Write what stands on an area for each bit of height: "250 lb/ac/in".'


@dataclass(frozen=True)
class Intake:
    """What one animal eats in a day: a share of its live weight, or kg."""

    amount: float
    of_weight: bool

    def kg_per_day(self, weight_kg: float) -> float:
        """Dry matter that an animal of this weight eats in a day."""
        return self.amount * weight_kg if self.of_weight else self.amount


@dataclass(frozen=True)
class Height:
    """How high a stand is, in metres."""

    height_m: float


def _days(value: object) -> int:
    days = _measured(value, Dimension.TIME, _WHOLE_DAYS) / _DAY_S
    if abs(days - round(days)) > _ROUNDING:
        raise refusal(f'"{value}" is not a whole number of days.', _WHOLE_DAYS)
    if not 0 <= days <= _MOST_DAYS:
        raise refusal(f'"{value}" makes no sense here.', "Give from 0 days to ten years.")
    return round(days)


def _clock_s(value: object) -> float:
    if isinstance(value, dt.time):
        return value.hour * 3600.0 + value.minute * 60.0 + value.second
    found = _CLOCK.fullmatch(value.strip()) if isinstance(value, str) else None
    if found is None:
        raise refusal(f"{_shown(value)} is not a clock time.", _A_CLOCK_TIME)
    hour, minute, second, half = int(found[1]), int(found[2]), int(found[3] or 0), found[4]
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half.lower() == "pm" else 0)
    elif half:
        hour = 25  # 13 pm
    seconds = hour * 3600.0 + minute * 60.0 + second
    if seconds > _DAY_S or minute > 59 or second > 59:
        raise refusal(f"{_shown(value)} is not a clock time.", _A_CLOCK_TIME)
    return seconds


def _share(value: object) -> float:
    percent = _percent(value)
    if percent is None:
        raise refusal(f"{_shown(value)} is not a percentage.", _A_SHARE)
    if not 0.0 <= percent <= 100.0:
        raise refusal(f"{_shown(value)} is not between 0 and 100 %.", _A_SHARE)
    return percent / 100.0


def _intake(value: object) -> Intake:
    percent = _percent(value)
    if percent is not None:
        if not 0.0 < percent <= 20.0:
            raise refusal(f"{_shown(value)} % of live weight makes no sense.", _AN_INTAKE)
        return Intake(percent / 100.0, of_weight=True)
    try:
        kg = _measured(value, Dimension.MASS_PER_TIME, _AN_INTAKE) * _DAY_S
    except ValueError:
        kg = _measured(value, Dimension.MASS, _AN_INTAKE)
    if not 0.0 < kg <= 200.0:
        raise refusal(f"{_shown(value)} a day makes no sense.", _AN_INTAKE)
    return Intake(kg, of_weight=False)


def _standing(value: object) -> float | Height:
    try:
        height: float | None = parse_quantity(text_of(value), Dimension.LENGTH)
    except InputError:
        height = None
    if height is not None:
        if not 0.0 <= height <= 5.0:
            raise refusal(f'"{value}" makes no sense here.', _A_STAND)
        return Height(height)
    mass = _measured(value, Dimension.MASS_PER_AREA, _A_STAND)
    if not 0.0 <= mass <= 5.0:
        raise refusal(f'"{value}" makes no sense here.', _A_STAND)
    return mass


def _window(value: object) -> tuple[dt.date, dt.date]:
    remedy = "Write its first and its last day: [2026-08-20, 2026-09-05]."
    if not isinstance(value, Sequence) or isinstance(value, str) or len(value) != 2:
        raise refusal("A window is two dates.", remedy)
    days = [as_date(day) for day in value]
    first, last = days
    if not isinstance(first, dt.date) or not isinstance(last, dt.date):
        wrong = next(day for day in days if not isinstance(day, dt.date))
        raise refusal(f"{_shown(wrong)} is not a date.", remedy)
    if last < first:
        raise refusal(f"The window ends on {last}, before it begins on {first}.", remedy)
    return first, last


def _measured(value: object, dimension: Dimension, remedy: str) -> float:
    try:
        return parse_quantity(text_of(value), dimension)
    except InputError as error:
        raise refusal(error.problems[0].what, remedy) from None


def _percent(value: object) -> float | None:
    """Return a number that is bare or written with a percent sign; None for any other value."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if isinstance(value, str) and value.strip().endswith("%"):
        try:
            return float(value.strip().removesuffix("%"))
        except ValueError:
            return None
    return None


def _shown(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


Days = Annotated[int, BeforeValidator(_days)]
Clock = Annotated[float, BeforeValidator(_clock_s)]
Share = Annotated[float, BeforeValidator(_share)]
Feed = Annotated[Intake, PlainValidator(_intake)]
Standing = Annotated[float | Height, PlainValidator(_standing)]
Window = Annotated[tuple[dt.date, dt.date], PlainValidator(_window)]
Hours = Annotated[
    float,
    quantity(Dimension.TIME, 1.0, _DAY_S, "Give at most 24 hours.", 'Write hours of a day: "8 h".'),
]
Pause = Annotated[
    float,
    quantity(Dimension.TIME, 0.0, _DAY_S, "Give at most 24 hours.", 'Write it as "20 min".'),
]
LiveWeight = Annotated[
    float,
    quantity(
        Dimension.MASS,
        0.5,
        5000.0,
        "Give the live weight of one animal, between 1 lb and 11,000 lb (0.5 to 5,000 kg).",
    ),
]
Forage = Annotated[
    float,
    quantity(
        Dimension.MASS_PER_AREA, 0.0, 5.0, "Give dry matter, from 0 to 44,000 lb/ac (50 t/ha)."
    ),
]
Growth = Annotated[
    float,
    quantity(
        Dimension.GROWTH,
        0.0,
        0.2 / _DAY_S,
        "Give dry matter, from 0 to 1,780 lb/ac/day (2,000 kg/ha/day).",
    ),
]
PerHeight = Annotated[
    float,
    quantity(Dimension.MASS_PER_VOLUME, 0.05, 50.0, _PER_HEIGHT, _PER_HEIGHT),
]
TurnRadius = Annotated[
    float,
    quantity(
        Dimension.LENGTH, 0.1, 100.0, "Give a radius between 0.1 m (4 in) and 100 m (330 ft)."
    ),
]
Load = Annotated[
    float, quantity(Dimension.MASS, 0.1, 1e5, "Give a mass from 0.1 kg to 100 t (220,000 lb).")
]
