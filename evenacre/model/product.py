"""What the drill places, and how much of it is wanted."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass

NUTRIENTS = ("N", "P2O5", "K2O", "Ca", "Mg", "S", "B", "Cl", "Cu", "Fe", "Mn", "Mo", "Zn")
"""What a label guarantees, in the label's own terms."""

_LABEL = re.compile(
    r"(?<![\d.])(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)((?:-\d+(?:\.\d+)?[A-Za-z]{1,2})*)"
    r"(?![\w.-])"
)


def analysis_in_name(name: str) -> dict[str, float]:
    """Return the label percentages of a name such as ``"11-52-0"`` or ``"12-40-0-10S-1Zn"``."""
    found = _LABEL.search(name)
    if not found:
        return {}
    analysis = dict(zip(NUTRIENTS[:3], map(float, found.groups()[:3]), strict=True))
    symbols = {nutrient.lower(): nutrient for nutrient in NUTRIENTS}
    for percent, symbol in re.findall(r"(\d+(?:\.\d+)?)([A-Za-z]{1,2})", found[4]):
        if symbol.lower() not in symbols:
            return {}
        analysis[symbols[symbol.lower()]] = float(percent)
    return analysis


class _NotSaid(dict[str, float]):
    """An analysis that nobody gave."""


@dataclass(frozen=True)
class SeedLot:
    """What the tag of a seed lot says, as fractions of 1."""

    purity: float  # pure seed by mass
    # Share of the pure seed that sprouted in the test, and that is alive but still hard
    germination: float
    hard_seed: float = 0.0
    seeds_per_kg: float | None = None  # pure seeds in a kilogram of pure seed

    @property
    def pls_fraction(self) -> float:
        """Pure live seed as a share of the bulk: purity x (germination + hard seed).

        Hard seed is alive: it counts, though it sprouts late. Source: Texas Department of
        Transportation, Pure live seed.
        """
        return self.purity * (self.germination + self.hard_seed)


@dataclass(frozen=True)
class Product:
    """Something the drill places.

    Examples
    --------
    >>> ev.Product("18-46-0").analysis
    {'N': 18.0, 'P2O5': 46.0, 'K2O': 0.0}
    """

    name: str
    # Label percentages by mass in label terms: ``{"N": 11, "P2O5": 52, "K2O": 0}``; that of the
    # name where none is given
    analysis: dict[str, float] = dataclasses.field(default_factory=_NotSaid)
    price_per_kg: float | None = None
    kind: str = "fertilizer"  # ``"fertilizer"``, ``"seed"`` or ``"other"``
    bulk_density_kg_per_m3: float | None = None
    # The rates that it can be, or may be, placed at
    rate_min_kg_per_m2: float | None = None
    rate_max_kg_per_m2: float | None = None
    # The tag of a seed lot; None for a blend, whose parts carry their own
    seed: SeedLot | None = None
    # A blend: the names of its products and their parts by mass
    parts: tuple[tuple[str, float], ...] = ()
    bag_kg: float | None = None  # it comes in bags of so much
    # Bought for the season with what was carried over, and left at its end
    bought_kg: float | None = None
    season_left_kg: float | None = None

    def __post_init__(self) -> None:
        if isinstance(self.analysis, _NotSaid):
            object.__setattr__(self, "analysis", analysis_in_name(self.name))

    @property
    def shares(self) -> dict[str, float]:
        """Share of each lot in the bulk mass; a product that is no blend is its own lot."""
        if not self.parts:
            return {self.name: 1.0}
        total = sum(part for _, part in self.parts)
        return {name: part / total for name, part in self.parts if part > 0}


@dataclass(frozen=True)
class Application:
    """A product and the rate wanted of it in one operation (kg per m2; None: unknown).

    Examples
    --------
    >>> ev.Application(ev.Product("18-46-0"), 0.0168).product.name
    '18-46-0'
    """

    product: Product
    target_kg_per_m2: float | None = None


@dataclass(frozen=True)
class PlannedRate:
    """The rate that a product is to be placed at on a field."""

    product: str
    # Wherever no zone has a rate of its own; None: not planned there
    kg_per_m2: float | None = None
    # kg per m2 of zones with a rate of their own
    by_zone: dict[str, float] = dataclasses.field(default_factory=dict)
    nutrient: str = ""  # the one whose need the rates meet; empty when they are given as such


@dataclass(frozen=True)
class Need:
    """What a plan or soil test asks for on a field, or on one of its zones."""

    field: str
    zone: str | None  # None: wherever the field's zones ask for nothing else
    nutrient: str  # in label terms (``"P2O5"``), or an element (``"P"``)
    kg_per_m2: float


@dataclass(frozen=True)
class WithSeed:
    """What has to be known where fertilizer is placed with the seed."""

    crop: str
    spread_m: float  # how wide the opener spreads seed and fertilizer
    row_spacing_m: float
    tolerated_loss_percent: float  # of the stand
    soil_factor: float = 1.0  # for texture and moisture, as local advice has it
    # Product and percent of stand lost for each lb/ac of it, where the user knows it
    slopes: tuple[tuple[str, float], ...] = ()


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
