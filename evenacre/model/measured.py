"""What a log itself tells of the drill: figures with their uncertainty, or that it tells none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SettingName = Literal["behind", "left", "lag", "width"]


@dataclass(frozen=True)
class Measured:
    """One figure of the drill as the log tells it, SI.

    Examples
    --------
    >>> ev.Measured("behind", "m", 8.9, 0.2, how="pass_ends", places=28).value
    8.9
    """

    # ``"behind"`` (tool line behind the antenna on a straight line, m), ``"left"`` (antenna left of
    # the tool's middle, m), ``"lag"`` (from the logged switch to the ground, s) or ``"width"``
    # (spacing of adjacent passes, m)
    setting: SettingName
    unit: str  # ``"m"`` or ``"s"``
    value: float | None = None  # None: the log cannot tell
    sigma: float | None = None  # standard uncertainty of the value
    how: str = ""  # code of what told it
    places: int = 0  # pass ends, or seams between passes, that it comes from
    why_not: str = ""  # code of why the log cannot tell
    told: float | None = None  # what the season says; None: nothing
    disagrees: bool = False  # what is told lies further off than the errors of both explain
    used: bool = False  # the audit used the value, as the season says nothing
    # Where tool behind and delay show only as one sum: that at this speed, as metres behind
    together_m: float | None = None
    speed_mps: float | None = None
