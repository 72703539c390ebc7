"""The data dictionary identifiers (ISO 11783-11) that are used, with their resolutions.

Units and resolutions are those of the public data dictionary at isobus.net.
"""

from __future__ import annotations

from typing import NamedTuple

SETPOINT_RATE, ACTUAL_RATE = 6, 7
SETPOINT_FLOW, ACTUAL_FLOW = 41, 42
ACTUAL_WIDTH, DEFAULT_WIDTH, MAXIMUM_WIDTH = 67, 68, 70
OFFSET_X, OFFSET_Y = 134, 135
WORK_STATE = 141
CONNECTOR_TYPE = 157
CONDENSED_STATES = range(161, 177)
SPEED = 397

STATES_PER_VALUE = 16


class Measure(NamedTuple):
    """What an identifier measures: a quantity, the SI size of its step, and per what."""

    of: str
    step: float
    per: str = ""


QUANTITIES = {
    **dict.fromkeys((1, 2), Measure("volume", 1e-11, "area")),
    **dict.fromkeys((SETPOINT_RATE, ACTUAL_RATE), Measure("mass", 1e-6, "area")),
    **dict.fromkeys((11, 12), Measure("count", 1e-3, "area")),
    **dict.fromkeys((36, 37), Measure("volume", 1e-9, "time")),
    **dict.fromkeys((SETPOINT_FLOW, ACTUAL_FLOW), Measure("mass", 1e-6, "time")),
    **dict.fromkeys((46, 47), Measure("count", 1e-3, "time")),
    **dict.fromkeys((ACTUAL_WIDTH, DEFAULT_WIDTH, MAXIMUM_WIDTH), Measure("length", 1e-3)),
    **dict.fromkeys((OFFSET_X, OFFSET_Y), Measure("length", 1e-3)),
    SPEED: Measure("speed", 1e-3),
    81: Measure("mass", 1.0),
    352: Measure("mass", 1e-3),
    116: Measure("area", 1.0),
    117: Measure("distance", 1e-3),
}
KG_PER_M2 = QUANTITIES[SETPOINT_RATE].step
RATES = (SETPOINT_RATE, ACTUAL_RATE)
UNWEIGHED = (2, 12, 37, 47)
"""Actual amounts by volume and by count."""
UNWEIGHED_SETPOINTS = (1, 11, 36, 46)
TOTALS = (81, 352, 116, 117)
"""Totals that the log can be held against."""
COUNTERS = (116, 117, 81, 352, 80, 351, 82)
"""What rises only while there is work: area, distance and amounts, the surest first."""
SHAPE = (DEFAULT_WIDTH, MAXIMUM_WIDTH, OFFSET_Y)
"""What a log may tell of a machine that its description does not."""
USED = {
    *(*RATES, SETPOINT_FLOW, ACTUAL_FLOW, ACTUAL_WIDTH, *SHAPE),
    *(WORK_STATE, SPEED, *CONDENSED_STATES, *UNWEIGHED, *COUNTERS),
}
"""What is taken from time logs."""
