"""Figures as people read them: rounded to what they deserve, with units and plain words."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import UTC, date, datetime
from typing import Protocol
from zoneinfo import ZoneInfo

from evenacre.io.writers.file_names import RESULT_FOLDERS, unique_slugs
from evenacre.language import date_text, mark, number, tr
from evenacre.model import UNDATED_S
from evenacre.units.display import DisplayUnit, UnitSystem

_COMPASS = (
    *(mark("north"), mark("northeast"), mark("east"), mark("southeast")),
    *(mark("south"), mark("southwest"), mark("west"), mark("northwest")),
)
_AXES = (
    *(mark("north to south"), mark("northeast to southwest")),
    *(mark("east to west"), mark("southeast to northwest")),
)
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
    decimals = decimals_of(shown)
    places = max(decimals, 0)
    both = (round(unit.of(value), decimals) + 0.0, round(shown, decimals))
    return f"{' ± '.join(number(one, f',.{places}f') for one in both)} {unit.word}"


def as_known(value: float, sigma: float | None, unit: DisplayUnit) -> str:
    """Write a value to the digits of :func:`plus_minus`, without the uncertainty."""
    if sigma is None or not math.isfinite(sigma) or sigma <= 0:
        return unit.text(value)
    decimals = decimals_of(unit.of(sigma))
    rounded = round(unit.of(value), decimals) + 0.0
    return (
        f"{number(rounded, f',.{max(decimals, 0)}f')} {unit.word}" if rounded else unit.text(value)
    )


def decimals_of(sigma: float) -> int:
    """Decimals that an uncertainty allows; below zero it takes the digits before the point."""
    return -math.floor(math.log10(sigma)) + (float(f"{sigma:e}"[:3]) < 2)


def area_decimals(sigma: float | None, units: UnitSystem) -> int:
    """Decimals that the standard uncertainty (SI) of an area allows, two at most."""
    if not sigma or not math.isfinite(sigma):
        return _MOST_DECIMALS
    return min(max(decimals_of(units.area.of(sigma)), 0), _MOST_DECIMALS)


def deserved(area_m2: float, sigma: float | None, units: UnitSystem) -> str:
    """Write an area to the decimals its standard uncertainty (SI) allows, two at most."""
    decimals = area_decimals(sigma, units)
    return f"{number(units.area.of(area_m2), f',.{decimals}f')} {units.area.word}"


def span(first: str, last: str) -> str:
    """Write two ends: ``"3 to 5"``."""
    return tr("{first} to {last}", first=first, last=last)


def between(low_m2: float, high_m2: float, units: UnitSystem) -> str:
    """Write the ends of a 90 % interval of an area, to the decimals its width allows."""
    return _between(low_m2, high_m2, units.area)


def mass_between(low_kg: float, high_kg: float, units: UnitSystem) -> str:
    """Write those of a mass."""
    return _between(low_kg, high_kg, units.mass)


def _between(low: float, high: float, unit: DisplayUnit) -> str:
    wide = unit.of(high - low)
    if not wide > 0:
        return ""
    most = _MOST_DECIMALS if unit.finest is None else unit.finest
    decimals = min(max(1 - math.floor(math.log10(wide)), 0), most)
    if unit.of(high) < 0.5 * 10**-decimals:
        return under(10**-decimals, unit, decimals)
    ends = (number(unit.of(end), f",.{decimals}f") for end in (low, high))
    return f"{span(*ends)} {unit.word}"


def under(amount: float, unit: DisplayUnit, decimals: int = 0) -> str:
    """Write that there is less than the least amount told."""
    least = f"{number(amount, f'.{decimals}f')} {unit.word}"
    return tr("under {amount}", amount=least)


def size(area_m2: float, units: UnitSystem) -> str:
    """Size of a place: below a tenth of the large unit, two digits of the small one."""
    if units.area.of(area_m2) >= 0.1:
        return units.area.text(area_m2)
    if 0.0 < units.small_area.of(area_m2) < 1.0:  # nobody walks out for less
        return under(1, units.small_area)
    return units.small_area.text(area_m2, 2)


def told_rate(kg_per_m2: float, units: UnitSystem) -> str:
    """Write a rate that somebody set, as it was said, to four digits at most."""
    rate = float(f"{units.rate.of(kg_per_m2):.4g}")
    return f"{number(rate, ',.9g')} {units.rate.word}"


def at_least(si: float, unit: DisplayUnit, digits: int = 3) -> str:
    """Write a positive SI value to so many significant digits, rounded up: it will be enough."""
    return unit.unbounded.text(enough(si, unit, digits), digits)


def enough(si: float, unit: DisplayUnit, digits: int = 3) -> float:
    """Round a positive SI value up to so many significant digits of a unit."""
    value = unit.of(si)
    step = 10.0 ** (math.floor(math.log10(value)) + 1 - digits)
    return math.ceil(value / step * (1 - 1e-9)) * step / unit.per_si


def share(part: float, whole: float) -> str:
    """Percentage of a whole."""
    if not whole or not math.isfinite(part / whole):
        return tr("n/a")
    return f"{number(100 * part / whole, '.1f')} %"


def chance(share: float) -> str:
    """Chance in whole percent, which is never all or nothing; nothing where none is known."""
    return f"{min(max(round(100 * share), 1), 99)} %" if math.isfinite(share) else ""


def money(amount: float, currency: str) -> str:
    """Write a cost in whole units."""
    few = abs(amount) > 0 and not round(amount)
    whole = number(1 if few else abs(round(amount)), ",")
    sign = _SIGNS.get(currency)
    text = f"{sign}{whole}" if sign else f"{whole} {currency}"
    if few:
        return tr("under {amount}", amount=text)
    return f"\N{MINUS SIGN}{text}" if amount < 0 else text


def money_in_all(amounts: Iterable[float], currency: str) -> str:
    """Write a sum of costs, so that it is the sum of those printed."""
    every = list(amounts)
    return money(sum(map(round, every)) or sum(every), currency)


def distance(length_m: float, units: UnitSystem) -> str:
    """Distance to drive: to the nearest ten from a hundred up, else to the nearest one."""
    value = units.length.of(length_m)
    step = 10 if value >= 100 else 1
    return f"{number(round(value / step) * step, ',')} {units.length.word}"


def compass(dx_m: float, dy_m: float) -> str:
    """Name of the direction from the origin to a point (x east, y north)."""
    bearing = math.degrees(math.atan2(dx_m, dy_m)) % 360
    return tr(_COMPASS[round(bearing / 45) % 8])


def axis_words(dx_m: float, dy_m: float) -> str:
    """How a line runs, without a sense of direction: ``"east to west"``."""
    angle = math.degrees(math.atan2(dx_m, dy_m)) % 180
    return tr(_AXES[round(angle / 45) % 4])


def duration(seconds: float) -> str:
    """Time in hours and minutes; below an hour in minutes and seconds, below a minute in these."""
    if not math.isfinite(seconds):
        return tr("n/a")
    whole = round(seconds)
    if whole >= 3600:
        minutes = round(seconds / 60)
        return f"{minutes // 60} h {minutes % 60:02d} min"
    return f"{whole // 60} min {whole % 60:02d} s" if whole >= 60 else f"{whole} s"


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


def day(text: str) -> str:
    """Write a day of a job as the reader does; what is no day stays as it is."""
    try:
        return date_text(date.fromisoformat(text))
    except ValueError:
        return text


def clock(seconds: float, zone: str | None = None) -> str:
    """Time of day, in a zone or on the log's own clock."""
    return iso_time(seconds, zone).rpartition("T")[2][:8]


def day_and_clock(seconds: float, zone: str | None = None) -> str:
    """Date, if there is one, and time of day."""
    told, _, _ = iso_time(seconds, zone).rpartition("T")
    return f"{day(told)} {clock(seconds, zone)}".strip()


def significant(value: float, digits: int = 7) -> float:
    """Round to significant digits, so that tables do not carry noise."""
    return float(f"{value:.{digits}g}") if math.isfinite(value) else math.nan


class OfField(Protocol):
    """What has the names of a field and of an operation on it."""

    @property
    def field(self) -> str: ...  # noqa: D102

    @property
    def operation(self) -> str: ...  # noqa: D102


def operation_slugs(results: Iterable[OfField]) -> list[str]:
    """Folder names of operations, none of them that of a folder every result has."""
    return unique_slugs((f"{r.field} {r.operation}" for r in results), RESULT_FOLDERS)
