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
class Together:
    """What the log shows of tool and delay together: the one less travel during the other.

    Examples
    --------
    >>> together = Together(0.6, 0.2, 2.4)  # as a delay that is 0.25 s too long, or so
    """

    behind_m: float  # what is true is more than what is used by so much
    sigma_m: float  # standard uncertainty
    speed_mps: float  # at which the delay counts


@dataclass(frozen=True)
class SettingsError:
    """How far the figures of a drill may be off: what tape and stopwatch leave.

    The figures given here are common practice, without a source. Of what they leave open that is
    true which agrees with what the log shows.
    """

    behind_m: Doubt = Doubt(0.05)  # the tool line is so much farther behind the antenna
    left_m: Doubt = Doubt(0.02)  # the antenna is so much farther left of the tool's middle
    lag_s: Doubt = Doubt(0.25)  # product takes so much longer from the meter to the opener
    width_m: Doubt = Doubt(0.01)  # the tool is so much wider
    together: Together | None = None  # what pass ends show of tool and delay


MEASURED = SettingsError()
"""Figures as people measure them."""

EXACT = SettingsError(Doubt(), Doubt(), Doubt(), Doubt())
"""Figures that are right."""
