"""The receiver of a log: how well it knows its place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Receiver:
    """How well the receiver of a log knows its place across the track, and how that was told.

    Lengths are standard uncertainties, NaN where the log cannot show them.

    Examples
    --------
    >>> (result,) = ev.audit("season.toml").operations
    >>> result.receiver.grade, result.receiver.told_by
    ('centimetre', 'usual')
    """

    grade: str  # ``"centimetre"``, ``"decimetre"`` or ``"metre"``: the size of ``pass_m``
    # ``"stated"`` by the season, ``"quality"`` of the fixes, ``"spacing"`` of the passes (or
    # ``"quality and spacing"``), ``"rest"`` of the machine, ``"device"`` (the file says a phone,
    # and nothing shows better), ``"kind of log"`` (nothing but positions: likewise), or
    # ``"usual"``: nothing tells it, and what is usual with corrections is taken
    told_by: str
    pass_m: float  # between passes
    within_m: float  # what wanders within a pass
    memory_s: float  # of the drift between passes; NaN: passes are taken as independent
    white_m: float  # from record to record, before smoothing
    # Passes keep to the guidance line: there the drift is in the ground and not in the log
    steered: bool
    looks_like_phone: bool
    # What the log itself shows
    interval_s: float  # between records
    written_m: float  # one unit of the last decimal of the coordinates
    spacing_m: float  # scatter of the spacing of passes side by side
    pairs: int  # of passes side by side
    line_m: float  # scatter about straight lines
    creep_m: float  # scatter while the machine stands
    way_excess: float  # the logged way over that between the ends of straights, less 1
