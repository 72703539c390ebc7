"""How well a weight is known: the standard uncertainty of each way of weighing."""

from __future__ import annotations

import math
import re

from evenacre.errors import InputError
from evenacre.units.display import POUND_KG
from evenacre.units.parsing import Dimension, parse_quantity

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

    Returns
    -------
    way : str
        ``"scale"``, ``"load cell"``, ``"count"``, ``"estimate"``; empty when not known.
    figure : str
        A division with its unit or a percentage; empty when none is given.
    """
    found = _FIGURE.search(text)
    figure = found[1] if found else ""
    words = f" {re.sub(r'[^a-z]+', ' ', text.lower())} "
    for way, spoken in _WORDS:
        if any(f" {word} " in words for word in spoken):
            return way, figure
    return "", figure


def weight_sigma_kg(
    way: str, mass_kg: float, figure: str, *, readings: int, file: str = "", place: str = ""
) -> float:
    """Standard uncertainty of one weight.

    A scale that reads in steps of d errs evenly within d / 2 either way, d / sqrt(12)
    (JCGM 100:2008, 4.3.7), each time it is read. A percentage is a standard uncertainty.

    Parameters
    ----------
    way : str
        From `way_of_weighing`; a way that is not known counts as an estimate.
    mass_kg : float
    figure : str
        A division (``"20 lb"``), a percentage (``"1 %"``), or nothing for the usual one.
    readings : int
        2 when the weight is the difference of two readings.

    Raises
    ------
    InputError
        When the figure is neither.
    """
    if figure.endswith("%"):
        return _percent(figure, file, place) * mass_kg
    if figure:
        division = abs(parse_quantity(figure, Dimension.MASS, file=file, place=place))
    elif way == "scale":
        division = _TRUCK_DIVISION_KG
    else:
        return _SHARES.get(way, _SHARES["estimate"]) * mass_kg
    stepped = division / math.sqrt(12.0) * math.sqrt(readings)
    return stepped if way in ("scale", "count") else math.hypot(stepped, _share(way) * mass_kg)


def usual_error(way: str) -> str:
    """Say what is assumed of a way of weighing that comes with no figure."""
    if way == "scale":
        return "a scale that reads in steps of 20 lb (9 kg)"
    return f"a standard uncertainty of {100 * _share(way):g} %"


def _share(way: str) -> float:
    return _SHARES.get(way, _SHARES["estimate"])


def _percent(figure: str, file: str, place: str) -> float:
    try:
        share = float(figure[:-1].strip().replace(",", ".")) / 100.0
    except ValueError:
        share = -1.0
    if not 0 <= share < 1:
        raise InputError.at(
            file, place, f'"{figure}" is not a percentage of error.', 'Write it as "1 %".'
        )
    return share
