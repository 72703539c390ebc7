"""The data dictionary identifiers (ISO 11783-11) that are used, with their resolutions.

Units and resolutions are those of the public data dictionary at isobus.net.
"""

from __future__ import annotations

from dataclasses import dataclass

SETPOINT_RATE, ACTUAL_RATE = 6, 7
SETPOINT_FLOW, ACTUAL_FLOW = 41, 42
ACTUAL_WIDTH, DEFAULT_WIDTH, MAXIMUM_WIDTH = 67, 68, 70
OFFSET_X, OFFSET_Y = 134, 135
WORK_STATE = 141
CONNECTOR_TYPE = 157
CONDENSED_STATES = range(161, 177)
SPEED = 397

STATES_PER_VALUE = 16
MM = 1e-3
KG_PER_M2 = 1e-6
"""A step of 1 mg/m2."""
KG_PER_S = 1e-6
"""A step of 1 mg/s."""


@dataclass(frozen=True)
class ByVolumeOrCount:
    """An actual amount that is no mass: what it counts, per what, and the SI size of its step."""

    by: str
    per: str
    step: float


UNWEIGHED = {
    2: ByVolumeOrCount("volume", "area", 1e-11),
    12: ByVolumeOrCount("count", "area", 1e-3),
    37: ByVolumeOrCount("volume", "time", 1e-9),
    47: ByVolumeOrCount("count", "time", 1e-3),
}
"""Actual amounts by volume (0.01 mm3/m2, mm3/s) and by count (0.001/m2, 0.001/s)."""

NOT_WEIGHED = {
    1: "the volume wanted",
    11: "the count wanted",
    36: "the volume flow wanted",
    46: "the count flow wanted",
}
"""Setpoints that say nothing of mass, per area and per time."""


@dataclass(frozen=True)
class Total:
    """A counter: what it counts and the SI size of its step."""

    what: str
    step: float


TOTALS = {
    81: Total("mass", 1.0),
    352: Total("mass", 1e-3),
    116: Total("area", 1.0),
    117: Total("distance", MM),
}
"""Totals that the log can be held against."""

USED = {
    *(SETPOINT_RATE, ACTUAL_RATE, SETPOINT_FLOW, ACTUAL_FLOW),
    *(ACTUAL_WIDTH, WORK_STATE, SPEED),
    *CONDENSED_STATES,
    *UNWEIGHED,
    *TOTALS,
}
"""What is taken from time logs."""
