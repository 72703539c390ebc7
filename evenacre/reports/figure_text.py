"""Figures as people read them: rounded to what they deserve, with units and plain words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from evenacre.io.writers.file_names import RESULT_FOLDERS, unique_slugs
from evenacre.model import UNDATED_S
from evenacre.model.audit_result import AuditResult
from evenacre.units.display import DisplayUnit, UnitSystem

_COMPASS = ["north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest"]
_AXES = ("north to south", "northeast to southwest", "east to west", "southeast to northwest")
_MOST_DECIMALS = 2
_SIGNS = {"USD": "$", "EUR": "€", "GBP": "£"}


def plus_minus(value: float, sigma: float | None, unit: DisplayUnit) -> str:
    """Write a value and its standard uncertainty (SI): ``"38.20 ± 0.14 ac"``.

    Both to the digits the latter allows: it gets one, or two when it starts with a 1 (GUM, JCGM
    100:2008, 7.2.6, allows two at most). Without it the value gets three significant digits.
    """
    if sigma is None or not math.isfinite(sigma) or sigma <= 0 or not math.isfinite(value):
        return unit.text(value)
    shown = unit.of(sigma)
    decimals = -math.floor(math.log10(shown))
    if float(f"{shown:e}"[:3]) < 2:
        decimals += 1
    places = max(decimals, 0)
    number = round(unit.of(value), decimals) + 0.0
    return f"{number:,.{places}f} ± {round(shown, decimals):,.{places}f} {unit.label}"


def deserved(area_m2: float, sigma: float | None, units: UnitSystem) -> str:
    """Write an area to the decimals its standard uncertainty (SI) allows, two at most."""
    if units.area.of(area_m2) < 0.1:
        return units.small_area.text(area_m2, 2)
    decimals = 1
    if sigma and math.isfinite(sigma) and sigma > 0:
        decimals = min(max(-math.floor(math.log10(units.area.of(sigma))), 0), _MOST_DECIMALS)
    return f"{units.area.of(area_m2):,.{decimals}f} {units.area.label}"


def between(low_m2: float, high_m2: float, units: UnitSystem) -> str:
    """Write the ends of a 90 % interval of an area, to the decimals its width allows."""
    unit = units.area if units.area.of(high_m2) >= 0.1 else units.small_area
    return _between(low_m2, high_m2, unit)


def mass_between(low_kg: float, high_kg: float, units: UnitSystem) -> str:
    """Write those of a mass."""
    return _between(low_kg, high_kg, units.mass)


def _between(low: float, high: float, unit: DisplayUnit) -> str:
    wide = unit.of(high - low)
    if not wide > 0:
        return ""
    decimals = min(max(1 - math.floor(math.log10(wide)), 0), _MOST_DECIMALS)
    return f"{unit.of(low):,.{decimals}f} to {unit.of(high):,.{decimals}f} {unit.label}"


def size(area_m2: float, units: UnitSystem, digits: int = 2) -> str:
    """Area in the large unit, or in the small one below a tenth of it."""
    unit = units.area if units.area.of(area_m2) >= 0.1 else units.small_area
    return unit.text(area_m2, digits if unit is units.area else max(digits, 2))


def at_least(si: float, unit: DisplayUnit, digits: int = 3) -> str:
    """Write a positive SI value to so many significant digits, rounded up: it will be enough."""
    return _in_steps(si, unit, digits, lambda steps: math.ceil(steps * (1 - 1e-9)))


def at_most(si: float, unit: DisplayUnit, digits: int = 3) -> str:
    """Write a positive SI value to so many significant digits, rounded down."""
    return _in_steps(si, unit, digits, lambda steps: math.floor(steps * (1 + 1e-9)))


def _in_steps(si: float, unit: DisplayUnit, digits: int, whole: Callable[[float], int]) -> str:
    value = unit.of(si)
    step = 10.0 ** (math.floor(math.log10(value)) + 1 - digits)
    return unit.text(whole(value / step) * step / unit.per_si, digits)


def share(part: float, whole: float) -> str:
    """Percentage of a whole."""
    if not whole or not math.isfinite(part / whole):
        return "n/a"
    return f"{100 * part / whole:.1f} %"


def money(amount: float, currency: str) -> str:
    """Write money, whole units from ten up."""
    number = f"{amount:,.0f}" if abs(amount) >= 10 else f"{amount:,.2f}"
    sign = _SIGNS.get(currency)
    return f"{sign}{number}" if sign else f"{number} {currency}"


def distance(length_m: float, units: UnitSystem) -> str:
    """Distance to drive: to the nearest ten from a hundred up, else to the nearest one."""
    value = units.length.of(length_m)
    step = 10 if value >= 100 else 1
    return f"{round(value / step) * step:,} {units.length.label}"


def compass(dx_m: float, dy_m: float) -> str:
    """Name of the direction from the origin to a point (x east, y north)."""
    bearing = math.degrees(math.atan2(dx_m, dy_m)) % 360
    return _COMPASS[round(bearing / 45) % 8]


def axis_words(dx_m: float, dy_m: float) -> str:
    """How a line runs, without a sense of direction: ``"east to west"``."""
    angle = math.degrees(math.atan2(dx_m, dy_m)) % 180
    return _AXES[round(angle / 45) % 4]


def duration(seconds: float) -> str:
    """Time in hours and minutes, or minutes and seconds below an hour."""
    if not math.isfinite(seconds):
        return "n/a"
    whole = round(seconds)
    if whole >= 3600:
        minutes = round(seconds / 60)
        return f"{minutes // 60} h {minutes % 60:02d} min"
    return f"{whole // 60} min {whole % 60:02d} s"


def iso_time(seconds: float, zone: str | None = None) -> str:
    """Write a log's time as ISO 8601, to the second: with its offset in a zone, else as logged.

    A log that gives no date counts from its start or from midnight: then ``h:mm:ss``.
    """
    if not math.isfinite(seconds):
        return ""
    if abs(seconds) < UNDATED_S:
        whole = abs(round(seconds))
        sign = "-" if seconds < -0.5 else ""
        return f"{sign}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    if zone:
        return datetime.fromtimestamp(round(seconds), tz=ZoneInfo(zone)).isoformat()
    return datetime.fromtimestamp(round(seconds), tz=UTC).strftime("%Y-%m-%dT%H:%M:%S")


def clock(seconds: float, zone: str | None = None) -> str:
    """Time of day, in a zone or on the log's own clock."""
    return iso_time(seconds, zone).rpartition("T")[2][:8]


def day_and_clock(seconds: float, zone: str | None = None) -> str:
    """Date, if there is one, and time of day."""
    day, _, _ = iso_time(seconds, zone).rpartition("T")
    return f"{day} {clock(seconds, zone)}".strip()


def significant(value: float, digits: int = 7) -> float:
    """Round to significant digits, so that tables do not carry noise."""
    return float(f"{value:.{digits}g}") if math.isfinite(value) else math.nan


def operation_slugs(results: Iterable[AuditResult]) -> list[str]:
    """Folder names of operations, none of them that of a folder every result has."""
    return unique_slugs((f"{r.field} {r.operation}" for r in results), RESULT_FOLDERS)
