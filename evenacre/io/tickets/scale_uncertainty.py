"""How well a weight is known: the standard uncertainty of each way of weighing."""

from __future__ import annotations

import math
import re

from evenacre.errors import InputError
from evenacre.units.display import POUND_KG
from evenacre.units.parsing import Dimension, parse_quantity, plain_number

# All common practice, no source: the division of a truck scale, and what people say of the rest.
_TRUCK_DIVISION_KG = 20 * POUND_KG
_SHARES = {"load cell": 0.01, "count": 0.005, "estimate": 0.05}
_WORDS = (
    ("load cell", ("cell", "cells", "cart scale", "monitor")),
    ("scale", ("scale", "scales", "weighbridge", "elevator")),
    ("count", ("bag", "bags", "tote", "totes", "count", "tag", "tags", "label")),
    ("estimate", ("estimate", "estimated", "guess", "guessed", "sight", "volume", "eye")),
)
_FIGURE = re.compile(r"\(?\s*(?:\+/-|±)?\s*(\d[\d.,]*\s*(?:%|[A-Za-z]+))\s*\)?\s*$")


def way_of_weighing(text: str) -> tuple[str, str]:
    """Part ``"truck scale 20 lb"`` into a known way and the figure given with it.

    The way is ``"scale"``, ``"load cell"``, ``"count"`` or ``"estimate"``, the figure a division
    with its unit or a percentage; either is empty when not known.
    """
    found = _FIGURE.search(text)
    words = f" {re.sub(r'[^a-z]+', ' ', text.lower())} "
    ways = (way for way, spoken in _WORDS if any(f" {word} " in words for word in spoken))
    return next(ways, ""), found[1] if found else ""


def weight_sigma_kg(
    way: str, mass_kg: float, figure: str, *, readings: int, file: str = "", place: str = ""
) -> float:
    """Standard uncertainty of one weight.

    A scale that reads in steps of d errs evenly within d / 2 either way, d / sqrt(12)
    (JCGM 100:2008, 4.3.7), each time it is read: twice when the weight is the difference of two
    readings. A percentage is a standard uncertainty; other figures are refused. A way that is not
    known counts as an estimate, and the usual figure where none is given.
    """
    if figure.endswith("%"):
        percent = plain_number(figure[:-1])
        if percent is None or not 0 <= percent / 100.0 < 1:
            what = f'"{figure}" is not a percentage of error.'
            raise InputError.at(file, place, what, 'Write it as "1 %".')
        return percent / 100.0 * mass_kg
    exact = way == "scale" or (way == "count" and bool(figure))
    division = _TRUCK_DIVISION_KG if way == "scale" else 0.0
    if figure:
        division = abs(parse_quantity(figure, Dimension.MASS, file=file, place=place))
    each = division / math.sqrt(12.0) * math.sqrt(readings)
    return math.hypot(each, 0.0 if exact else _share(way) * mass_kg)


def usual_error(way: str) -> str:
    """Say what is assumed of a way of weighing that comes with no figure."""
    if way == "scale":
        return "a scale that reads in steps of 20 lb (9 kg)"
    return f"a standard uncertainty of {100 * _share(way):g} %"


def _share(way: str) -> float:
    return _SHARES.get(way, _SHARES["estimate"])
