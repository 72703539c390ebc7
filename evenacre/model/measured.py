"""What a log itself tells of the drill: figures with their uncertainty, or that it tells none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Setting = Literal["behind", "left", "lag", "width"]


@dataclass(frozen=True)
class Measured:
    """One figure of the drill as the log tells it, SI.

    Examples
    --------
    >>> ev.Measured("behind", "m", 8.9, 0.2, places=28, how="pass_ends").value
    8.9
    """

    # ``"behind"`` (tool line behind the antenna on a straight line, m), ``"left"`` (antenna left of
    # the tool's middle, m), ``"lag"`` (from the logged switch to the ground, s) or ``"width"``
    # (of adjacent passes, m)
    setting: Setting
    unit: str  # ``"m"`` or ``"s"``
    value: float | None  # None: the log cannot tell
    sigma: float | None  # standard uncertainty of the value
    places: int = 0  # pass ends, or seams between passes, that it comes from
    how: str = ""  # code of what told it
    why_not: str = ""  # code of why the log cannot tell; empty where it can
    told: float | None = None  # what the season says; None: nothing
    told_sigma: float = 0.0  # standard uncertainty that is left to what is told
    used: bool = False  # the audit used the value, as the season says nothing
    # What would come of it where the log cannot tell: for a switch that is late or early, or a
    # tool behind: metres of travel from the logged switch to where the ground says it was
    together_m: float | None = None
    speed_mps: float | None = None  # of travel at the switches

    @property
    def disagrees(self) -> bool:
        """Whether it is further from what is told than both errors explain."""
        if self.value is None or self.told is None or self.sigma is None:
            return False
        return abs(self.value - self.told) > _FAR * (self.sigma**2 + self.told_sigma**2) ** 0.5


_FAR = 3.0
