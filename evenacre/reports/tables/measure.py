"""What logs tell of a drill."""

from __future__ import annotations

from evenacre.model.measured import Measured
from evenacre.reports import quantities as q
from evenacre.reports.column import Column, json_only

SCHEMA = "evenacre/measured/1.1"


def _in(unit: str, name: str, quantity: q.Quantity, key: str = "") -> Column:
    """Declare a figure of the settings that are in this unit; null for the others."""

    def value(m: Measured) -> float | None:
        found: float | None = getattr(m, name) if m.unit == unit else None
        return found

    return Column(f"{key or name}_{unit}", value, quantity)


_UNITS = (("m", q.LENGTH), ("s", q.HOURS))

MEASURED = json_only(
    "measured",
    "setting",
    *(_in(unit, "value", quantity) for unit, quantity in _UNITS),
    *(_in(unit, "sigma", quantity, "value_sigma") for unit, quantity in _UNITS),
    *(_in(unit, "told", quantity) for unit, quantity in _UNITS),
    "how places why_not disagrees used together_m speed_mps",
    why="the findings and `evenacre measure` tell it in sentences",
    places=q.COUNT,
    disagrees=q.YES_NO,
    used=q.YES_NO,
)
