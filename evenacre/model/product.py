"""What the drill places, how much of it is wanted, and how it was metered before."""

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
    """What the tag of a seed lot says, as fractions of 1.

    Attributes
    ----------
    purity : float
        Pure seed by mass.
    germination, hard_seed : float
        Share of the pure seed that sprouted in the test, and that is alive but still hard.
    seeds_per_kg : float or None
        Pure seeds in a kilogram of pure seed.
    """

    purity: float
    germination: float
    hard_seed: float = 0.0
    seeds_per_kg: float | None = None

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

    Attributes
    ----------
    name : str
    analysis : dict of str to float
        Label percentages by mass in label terms: ``{"N": 11, "P2O5": 52, "K2O": 0}``; that of
        the name where none is given.
    price_per_kg : float or None
    kind : str
        ``"fertilizer"``, ``"seed"`` or ``"other"``.
    bulk_density_kg_per_m3 : float or None
    rate_min_kg_per_m2, rate_max_kg_per_m2 : float or None
        The rates that it can be, or may be, placed at.
    seed : SeedLot or None
        The tag of a seed lot; None for a blend, whose parts carry their own.
    parts : tuple of (str, float)
        A blend: the names of its products and their parts by mass.
    bought_kg, season_left_kg : float or None
        Bought for the season with what was carried over, and left at its end.

    Examples
    --------
    >>> ev.Product("18-46-0").analysis
    {'N': 18.0, 'P2O5': 46.0, 'K2O': 0.0}
    """

    name: str
    analysis: dict[str, float] = dataclasses.field(default_factory=_NotSaid)
    price_per_kg: float | None = None
    kind: str = "fertilizer"
    bulk_density_kg_per_m3: float | None = None
    rate_min_kg_per_m2: float | None = None
    rate_max_kg_per_m2: float | None = None
    seed: SeedLot | None = None
    parts: tuple[tuple[str, float], ...] = ()
    bought_kg: float | None = None
    season_left_kg: float | None = None

    def __post_init__(self) -> None:
        if isinstance(self.analysis, _NotSaid):
            object.__setattr__(self, "analysis", analysis_in_name(self.name))


@dataclass(frozen=True)
class Application:
    """A product and the rate wanted of it in one operation.

    Attributes
    ----------
    product : Product
    target_kg_per_m2 : float or None
        None: unknown.

    Examples
    --------
    >>> ev.Application(ev.Product("18-46-0"), 0.0168).product.name
    '18-46-0'
    """

    product: Product
    target_kg_per_m2: float | None = None


@dataclass(frozen=True)
class PlannedRate:
    """The rate that a product is to be placed at on a field.

    Attributes
    ----------
    product : str
    kg_per_m2 : float or None
        Wherever no zone has a rate of its own; None: not planned there.
    by_zone : dict of str to float
        kg per m2 of zones with a rate of their own.
    nutrient : str
        The one whose need the rates meet; empty when they are given as such.
    """

    product: str
    kg_per_m2: float | None = None
    by_zone: dict[str, float] = dataclasses.field(default_factory=dict)
    nutrient: str = ""


@dataclass(frozen=True)
class Need:
    """What a plan or soil test asks for on a field, or on one of its zones.

    Attributes
    ----------
    field : str
    zone : str or None
        None: wherever the field's zones ask for nothing else.
    nutrient : str
        In label terms (``"P2O5"``), or an element (``"P"``).
    kg_per_m2 : float
    """

    field: str
    zone: str | None
    nutrient: str
    kg_per_m2: float


@dataclass(frozen=True)
class WithSeed:
    """What has to be known where fertilizer is placed with the seed.

    Attributes
    ----------
    crop : str
    spread_m : float
        How wide the opener spreads seed and fertilizer.
    row_spacing_m : float
    tolerated_loss_percent : float
        Of the stand.
    soil_factor : float
        For texture and moisture, as local advice has it.
    slopes : tuple of (str, float)
        Product and percent of stand lost for each lb/ac of it, where the user knows it.
    """

    crop: str
    spread_m: float
    row_spacing_m: float
    tolerated_loss_percent: float
    soil_factor: float = 1.0
    slopes: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class PastSetting:
    """A line of the farm's settings book: how a product was metered, and what came of it.

    Attributes
    ----------
    product, date : str
    rate_kg_per_m2 : float or None
        As found by the test.
    bulk_density_kg_per_m3 : float or None
    roller, setting, fan, down_pressure : str
        As the drill has them: "fine", "42", "4,200 rpm", "12 psi".
    speed_mps : float or None
        Ground speed.
    target_kg_per_m2 : float or None
    scatter : float or None
        Standard deviation of one catch over the mean.
    catches : int or None
    result, trouble : str
        How the test stood to its target, and what went wrong.
    place : str
        File and line, shown to people.
    """

    product: str
    date: str = ""
    rate_kg_per_m2: float | None = None
    bulk_density_kg_per_m3: float | None = None
    roller: str = ""
    setting: str = ""
    fan: str = ""
    down_pressure: str = ""
    speed_mps: float | None = None
    target_kg_per_m2: float | None = None
    scatter: float | None = None
    catches: int | None = None
    result: str = ""
    trouble: str = ""
    place: str = ""
