"""How a product was metered before: a line of the farm's settings book."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PastSetting:
    """A line of the farm's settings book: how a product was metered, and what came of it."""

    product: str
    date: str = ""
    rate_kg_per_m2: float | None = None  # as found by the test
    bulk_density_kg_per_m3: float | None = None
    # As the drill has them: "fine", "42", "4,200 rpm", "12 psi"
    roller: str = ""
    setting: str = ""
    fan: str = ""
    down_pressure: str = ""
    speed_mps: float | None = None  # ground speed
    target_kg_per_m2: float | None = None
    scatter: float | None = None  # standard deviation of one catch over the mean
    catches: int | None = None
    # How the test stood to its target, and what went wrong
    result: str = ""
    trouble: str = ""
    place: str = ""  # file and line, shown to people
