"""The units figures are shown in."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from evenacre.errors import InputError
from evenacre.language import mark, number, tr

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
    decimals: int | None = None  # at whatever size, fewer from a hundred on
    finest: int | None = None  # no more decimals than these, else as digits ask

    @property
    def word(self) -> str:
        """The label in the reader's language."""
        return tr(self.label)

    def of(self, si: float) -> float:
        """Convert an SI value."""
        return si * self.per_si

    def text(self, si: float, digits: int = 3) -> str:
        """Write an SI value to so many significant digits, with separators and the label."""
        value = self.of(si)
        if not math.isfinite(value):
            return tr("n/a")
        if abs(value) < _NOTHING:
            return f"0 {self.word}"
        decimals = self.places(value, digits)
        least = 10.0**-decimals
        if abs(value) < least / 2:
            return tr("under {amount}", amount=" ".join((number(least, "g"), self.word)))
        return self._to(value, decimals)

    def in_all(self, parts: Iterable[float], digits: int = 3) -> str:
        """Write the sum of SI values, so that it is the sum of those that are printed."""
        every = list(parts)
        values = [value for value in map(self.of, every) if abs(value) >= _NOTHING]
        if not all(map(math.isfinite, values)):
            return self.text(math.nan)
        decimals = [self.places(value, digits) for value in values]
        finest = max((0, *decimals))
        added = round(sum(map(round, values, decimals)), finest)
        # Of parts that are all too small to print nothing is there to be added up.
        return self._to(added, finest) if added * sum(every) > 0 else self.text(sum(every), digits)

    def places(self, value: float, digits: int = 3) -> int:
        """How many decimals a value of it that is not 0 gets; below zero it takes digits off."""
        if self.decimals is not None:
            fewer = max(math.floor(math.log10(abs(value))) - 1, 0)
            return max(self.decimals - fewer, 0)
        exponent = math.floor(math.log10(abs(float(f"{value:.{digits - 1}e}"))))
        decimals = digits - 1 - exponent
        return decimals if self.finest is None else min(decimals, self.finest)

    def _to(self, value: float, decimals: int) -> str:
        return f"{number(round(value, decimals), f',.{max(decimals, 0)}f')} {self.word}"

    @property
    def unbounded(self) -> DisplayUnit:
        """The unit for what is measured closer than ground and loads are."""
        return DisplayUnit(self.label, self.per_si)


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
    area=DisplayUnit(mark("ac"), 1 / ACRE_M2, decimals=2),
    small_area=DisplayUnit(mark("sq ft"), 1 / FOOT_M**2),
    mass=DisplayUnit(mark("lb"), 1 / POUND_KG, finest=1),
    rate=DisplayUnit(mark("lb/ac"), ACRE_M2 / POUND_KG),
    length=DisplayUnit(mark("ft"), 1 / FOOT_M, finest=2),
    distance=DisplayUnit(mark("mi"), 1 / MILE_M),
    speed=DisplayUnit(mark("mph"), 3600 / MILE_M),
    capacity=DisplayUnit(mark("ac/h"), 3600 / ACRE_M2),
)
METRIC = UnitSystem(
    name="metric",
    area=DisplayUnit(mark("ha"), 1 / HECTARE_M2, decimals=2),
    small_area=DisplayUnit("m²", 1.0),
    mass=DisplayUnit(mark("kg"), 1.0, finest=1),
    rate=DisplayUnit(mark("kg/ha"), HECTARE_M2),
    length=DisplayUnit(mark("m"), 1.0, finest=2),
    distance=DisplayUnit(mark("km"), 0.001),
    speed=DisplayUnit(mark("km/h"), 3.6),
    capacity=DisplayUnit(mark("ha/h"), 3600 / HECTARE_M2),
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
    raise InputError.at(
        "units", "", tr('"{name}" is not a unit system.', name=name), tr('Use "us" or "metric".')
    )
