"""How far the figures of a drill may be off."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Doubt:
    """What a true value may be more than the one used.

    Normal about 0 with a standard uncertainty, and beside it anywhere between two bounds: a
    setting that nothing tells has bounds that reach from its least to its greatest.

    Examples
    --------
    >>> measured, unknown = Doubt(0.05), Doubt(low=0.0, high=12.0)
    """

    sigma: float = 0.0
    low: float = 0.0
    high: float = 0.0


@dataclass(frozen=True)
class SettingsError:
    """How far the figures of a drill may be off: what tape and stopwatch leave.

    The figures given here are common practice, without a source.
    """

    behind_m: Doubt = Doubt(0.05)  # the tool line is so much farther behind the antenna
    left_m: Doubt = Doubt(0.02)  # the antenna is so much farther left of the tool's middle
    lag_s: Doubt = Doubt(0.25)  # product takes so much longer from the meter to the opener
    width_m: Doubt = Doubt(0.01)  # the tool is so much wider


MEASURED = SettingsError()
"""Figures as people measure them."""

EXACT = SettingsError(Doubt(), Doubt(), Doubt(), Doubt())
"""Figures that are right."""
