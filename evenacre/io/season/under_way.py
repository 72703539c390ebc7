"""What is told of a season of seeding that is under way: the day it is planned from, the cart."""

from __future__ import annotations

import datetime as dt

from evenacre.errors import InputError
from evenacre.io.common.time_zones import zone_of
from evenacre.io.common.years import check_day, read_day
from evenacre.language import tr
from evenacre.processes.generation_time import generation_time
from evenacre.units.parsing import Dimension, parse_quantity


def plan_begin(
    told: str | dt.date | None, time_zone: str | None, *, file: str = "from_day"
) -> dt.date:
    """The day a plan begins: as told, else today in the farm's time zone."""
    if told is None:
        zone = None if time_zone is None else zone_of(time_zone)
        return generation_time().astimezone(zone).date()
    try:
        if isinstance(told, str):
            return read_day(told)
        check_day(told)
    except ValueError as error:
        raise InputError.at(file, "", str(error), tr("Write it as 2026-08-20.")) from None
    return told


def amount_in_cart(told: str | float, *, file: str = "in_cart") -> float:
    """Seed in the cart, kg; a bare number is in kg."""
    kg = told if isinstance(told, float | int) else parse_quantity(told, Dimension.MASS, file=file)
    if not 0.0 <= kg < float("inf"):
        raise InputError.at(
            file,
            "",
            tr('"{told}" makes no sense here.', told=told),
            tr("Give what is in the cart."),
        )
    return float(kg)
