"""The units figures are shown in."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from evenacre.errors import InputError

FOOT_M = 0.3048
POUND_KG = 0.45359237
ACRE_M2 = 43560 * FOOT_M**2  # international foot: NIST SP 811, appendix B.8
HECTARE_M2 = 10_000.0
MILE_M = 5280 * FOOT_M


_NOTHING = 1e-12  # of any unit


@dataclass(frozen=True)
class DisplayUnit:
    """A unit shown to people."""

    label: str
    per_si: float  # how many of it make one SI unit

    def of(self, si: float) -> float:
        """Convert an SI value."""
        return si * self.per_si

    def text(self, si: float, digits: int = 3) -> str:
        """Write an SI value to so many significant digits, with separators and the label."""
        value = self.of(si)
        if not math.isfinite(value):
            return "n/a"
        if abs(value) < _NOTHING:
            return f"0 {self.label}"
        exponent = math.floor(math.log10(abs(float(f"{value:.{digits - 1}e}"))))
        decimals = digits - 1 - exponent
        return f"{round(value, decimals):,.{max(decimals, 0)}f} {self.label}"


@dataclass(frozen=True)
class UnitSystem:
    """The units of a report."""

    name: str
    area: DisplayUnit
    small_area: DisplayUnit
    mass: DisplayUnit
    rate: DisplayUnit
    length: DisplayUnit
    distance: DisplayUnit
    speed: DisplayUnit
    capacity: DisplayUnit


US = UnitSystem(
    name="us",
    area=DisplayUnit("ac", 1 / ACRE_M2),
    small_area=DisplayUnit("sq ft", 1 / FOOT_M**2),
    mass=DisplayUnit("lb", 1 / POUND_KG),
    rate=DisplayUnit("lb/ac", ACRE_M2 / POUND_KG),
    length=DisplayUnit("ft", 1 / FOOT_M),
    distance=DisplayUnit("mi", 1 / MILE_M),
    speed=DisplayUnit("mph", 3600 / MILE_M),
    capacity=DisplayUnit("ac/h", 3600 / ACRE_M2),
)
METRIC = UnitSystem(
    name="metric",
    area=DisplayUnit("ha", 1 / HECTARE_M2),
    small_area=DisplayUnit("m²", 1.0),
    mass=DisplayUnit("kg", 1.0),
    rate=DisplayUnit("kg/ha", HECTARE_M2),
    length=DisplayUnit("m", 1.0),
    distance=DisplayUnit("km", 0.001),
    speed=DisplayUnit("km/h", 3.6),
    capacity=DisplayUnit("ha/h", 3600 / HECTARE_M2),
)


Shown = Literal["area", "mass", "rate", "length", "distance", "speed"]


def in_both(what: Shown, si: float) -> str:
    """Write a quantity in either system, where nobody has said yet which one to use."""
    us, metric = (getattr(system, what).text(si) for system in (US, METRIC))
    return f"{us} ({metric})"


def unit_system(name: str) -> UnitSystem:
    """Return the unit system of a name, ``"us"`` or ``"metric"``."""
    for system in (US, METRIC):
        if name.strip().lower() == system.name:
            return system
    raise InputError.at("units", "", f'"{name}" is not a unit system.', 'Use "us" or "metric".')
