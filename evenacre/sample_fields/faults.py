"""What went wrong in the field, on purpose. Passes are counted from 0 at the low edge."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Offset:
    """Guidance held one pass this far to the high side: a gap below it, a lap above it."""

    on_pass: int
    offset_m: float
    cause: str


@dataclass(frozen=True)
class ShortEnd:
    """The drill was down only this far in from the headland at one end of a pass."""

    on_pass: int
    high_end: bool
    missed_m: float
    cause: str


@dataclass(frozen=True)
class Patch:
    """The drill was carried over a stretch of neighbouring passes."""

    passes: tuple[int, ...]
    from_m: float
    to_m: float
    cause: str


@dataclass(frozen=True)
class Drift:
    """The first round ran this far inside the boundary for a stretch."""

    from_m: float
    length_m: float
    inward_m: float
    cause: str


@dataclass(frozen=True)
class Blocked:
    """One tower stopped flowing for a while, part of the way along a pass."""

    on_pass: int
    tower: int
    after_m: float
    seconds: float


@dataclass(frozen=True)
class LostLog:
    """The receiver wrote nothing for a while, part of the way along a pass."""

    on_pass: int
    after_m: float
    seconds: float = 60.0


@dataclass(frozen=True)
class Restart:
    """The receiver began a new file on a pass and wrote its last records again."""

    on_pass: int
    after_m: float
    repeated: int = 4


@dataclass(frozen=True)
class Refill:
    """The machine stood still after a pass."""

    after_pass: int
    seconds: float


Fault = Offset | ShortEnd | Patch | Drift | Blocked | LostLog | Restart | Refill
