"""The values a season file may hold: quantities with their units, dates, names, shares."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from evenacre.errors import InputError
from evenacre.io.common.years import check_day, read_day
from evenacre.units.parsing import Dimension, parse_quantity


def refusal(what: str, remedy: str) -> PydanticCustomError:
    """Build a complaint that carries its remedy through pydantic."""
    return PydanticCustomError("told", "{what}", {"what": what, "remedy": remedy})


def quantity(
    dimension: Dimension,
    least: float = 0.0,
    most: float = float("inf"),
    sense: str = "It cannot be negative.",
    remedy: str = "",
) -> BeforeValidator:
    """Read a quantity into SI and hold it to a range.

    Parameters
    ----------
    dimension : Dimension
    least, most : float
        SI.
    sense : str
        The remedy for a value outside the range.
    remedy : str
        For one that cannot be read; empty: an example in units of the dimension.
    """

    def read(value: object) -> float:
        try:
            si = parse_quantity(text_of(value), dimension)
        except InputError as error:
            raise refusal(error.problems[0].what, remedy or error.problems[0].remedy) from None
        if not least <= si <= most:
            raise refusal(f'"{value}" makes no sense here.', sense)
        return si

    return BeforeValidator(read)


def text_of(value: object) -> str:
    """Return a quantity as text; a bare number will be found to lack its unit."""
    if isinstance(value, str) or (isinstance(value, int | float) and not isinstance(value, bool)):
        return str(value)
    raise refusal(
        f"{value!r} is not a quantity.", 'Write a number with its unit, in quotes: "20 ft".'
    )


_ABOUT_FORTY_M = "Give a length between -40 m and 40 m (130 ft)."
Offset = Annotated[float, quantity(Dimension.LENGTH, -40.0, 40.0, _ABOUT_FORTY_M)]
Hitch = Annotated[
    float,
    quantity(Dimension.LENGTH, 0.01, 40.0, "Give a length between 1 cm and 40 m (130 ft)."),
]
Width = Annotated[
    float,
    quantity(Dimension.LENGTH, 0.1, 60.0, "Give a width between 0.1 m (4 in) and 60 m (197 ft)."),
]
Spacing = Annotated[
    float,
    quantity(Dimension.LENGTH, 0.01, 60.0, "Give a spacing between 1 cm and 60 m (197 ft)."),
]
Length = Annotated[float, quantity(Dimension.LENGTH)]
Error = Annotated[
    float, quantity(Dimension.LENGTH, 0.0, 20.0, "Give a standard error from 0 to 20 m (66 ft).")
]
Area = Annotated[float, quantity(Dimension.AREA)]
Gap = Annotated[float, quantity(Dimension.TIME, 0.01, 86400.0, "Give a time longer than 0.01 s.")]
Speed = Annotated[
    float, quantity(Dimension.SPEED, 0.1, 100.0, "Give a speed between 0.1 and 100 m/s.")
]
Delay = Annotated[
    float,
    quantity(
        Dimension.TIME,
        0.0,
        60.0,
        "The delay is how long product travels from the meter to the opener: 0 to 60 s.",
    ),
]
_TOO_DEAR = "Check the number and its unit."
Price = Annotated[float, quantity(Dimension.PRICE_PER_MASS, 0.0, 1e9, _TOO_DEAR)]
Rate = Annotated[
    float,
    quantity(Dimension.MASS_PER_AREA, 1e-9, 50.0, "Give a rate above 0 and below 500,000 kg/ha."),
]
Stock = Annotated[
    float, quantity(Dimension.MASS, 0.0, 1e7, "Give a mass from 0 to 10,000 t (22 million lb).")
]
Quote = Annotated[float, quantity(Dimension.PRICE_PER_AREA, 0.0, 1e9, _TOO_DEAR)]
HourCost = Annotated[float, quantity(Dimension.PRICE_PER_TIME, 0.0, 1e9, _TOO_DEAR)]
NeededRate = Annotated[
    float,
    quantity(Dimension.MASS_PER_AREA, 0.0, 50.0, "Give a rate from 0 to 500,000 kg/ha."),
]
Volume = Annotated[
    float,
    quantity(Dimension.VOLUME, 1e-4, 200.0, "Give a volume between 0.1 L and 200 m3 (5,675 bu)."),
]
BulkDensity = Annotated[
    float,
    quantity(
        Dimension.MASS_PER_VOLUME,
        10.0,
        5000.0,
        "Give what a bushel or a litre of it weighs: between 0.8 and 388 lb/bu (10 and 5000 "
        "kg/m3).",
    ),
]
SeedCount = Annotated[
    float,
    quantity(
        Dimension.COUNT_PER_MASS,
        100.0,
        1e9,
        "Give the seeds in a pound or a kilogram: between 45 and 450 million in a pound.",
    ),
]


def as_date(value: object) -> object:
    """Read a date that was written in quotes, and leave what is none to pydantic."""
    if isinstance(value, dt.datetime):
        value = value.date()
    try:
        if isinstance(value, str):
            return read_day(value)
        if isinstance(value, dt.date):
            check_day(value)
    except ValueError as error:
        raise refusal(str(error), "Write it as 2026-04-14.") from None
    return value


def _as_text(value: object) -> object:
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return value.isoformat()
    return str(value) if isinstance(value, int | float) else value


Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Part = Annotated[float, Field(ge=0, allow_inf_nan=False)]
# Stripped as entries are told apart by name elsewhere: pydantic leaves some signs standing.
Name = Annotated[
    str,
    Field(min_length=1, max_length=1000),
    BeforeValidator(lambda value: value.strip() if isinstance(value, str) else value),
]
Instant = Annotated[str, BeforeValidator(_as_text)]
Date = Annotated[dt.date, BeforeValidator(as_date)]
