"""Fertilizer with the seed: how much a crop bears before salt costs stand.

Source of the formula and its slopes: South Dakota State University Extension, seed-placed
fertilizer decision aid. It is a screening figure and takes the aid's own units.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from evenacre.model import WithSeed
from evenacre.planning.season.nutrients import Job
from evenacre.units.display import ACRE_M2, FOOT_M, POUND_KG

SOURCE = "South Dakota State University Extension, seed-placed fertilizer decision aid"
CAUTION = (
    "Fertilizer with the seed: this is a screening figure. Soil, moisture and weather move it a "
    "lot; local advice comes before it."
)

_CROPS = ("corn", "soybean", "hard red spring wheat", "durum", "alfalfa", "barley", "canola")
SLOPES: Mapping[str, Mapping[str, float]] = {
    "urea": dict(zip(_CROPS, (0.965, 3.330, 1.436, 1.468, 6.373, 1.207, 4.457), strict=True)),
    "urea-ammonium nitrate 28-0-0": dict(
        zip(_CROPS, (0.236, 1.703, 0.258, 0.396, 2.821, 0.281, 1.873), strict=True)
    ),
}
"""Stand lost, percent for each pound of material on an acre, by material and crop."""

_ANALYSES = {"urea": {"N": 46.0}, "urea-ammonium nitrate 28-0-0": {"N": 28.0}}
_WITH_SEED = "with the seed"
_INCH_M = FOOT_M / 12
_LB_PER_AC = POUND_KG / ACRE_M2


@dataclass(frozen=True)
class SaltScreen:
    """The formula for one product of one operation, with everything put into it.

    Attributes
    ----------
    material : str
        Whose slope it is: a name in ``SLOPES``, or ``"given"``.
    slope_percent_per_lb_ac : float
        C.
    spread_m, row_spacing_m : float
        S, how wide the opener spreads seed and fertilizer, and R.
    tolerated_loss_percent : float
        T.
    soil_factor : float
        M, for texture and moisture.
    limit_kg_per_m2 : float
        F: of the material.
    placed_kg_per_m2 : float
        Mean rate that was placed.
    """

    field: str
    operation: str
    product: str
    crop: str
    material: str
    slope_percent_per_lb_ac: float
    spread_m: float
    row_spacing_m: float
    tolerated_loss_percent: float
    soil_factor: float
    limit_kg_per_m2: float
    placed_kg_per_m2: float

    @property
    def over(self) -> bool:
        """Whether more was placed than the formula allows."""
        return self.placed_kg_per_m2 > self.limit_kg_per_m2

    @property
    def loss_percent(self) -> float:
        """Stand loss that the formula gives for the rate placed, at most all of it."""
        share = self.placed_kg_per_m2 / self.limit_kg_per_m2
        return min(self.tolerated_loss_percent * share, 100.0)


def limit_kg_per_m2(
    *,
    slope_percent_per_lb_ac: float,
    spread_m: float,
    row_spacing_m: float,
    tolerated_loss_percent: float,
    soil_factor: float = 1.0,
) -> float:
    """Most material with the seed: F = 30 S T / (|C| R M), S and R in inches, F in lb/ac.

    Raises
    ------
    ValueError
        When the slope, the row spacing or the soil factor is zero.
    """
    below = abs(slope_percent_per_lb_ac) * row_spacing_m / _INCH_M * soil_factor
    if below <= 0:
        raise ValueError("slope, row spacing and soil factor must be above zero")
    return 30.0 * (spread_m / _INCH_M) * tolerated_loss_percent / below * _LB_PER_AC


def salt_screens(job: Job) -> tuple[list[SaltScreen], list[str]]:
    """Hold the fertilizers of an operation that were placed with the seed against the formula.

    Returns
    -------
    list of SaltScreen
        Empty when the operation says nothing of fertilizer with the seed.
    list of str
        Warnings: fertilizers over the limit, and those that cannot be held against it.
    """
    asked = job.plan.with_seed
    carriers = [p for p in job.result.products if any(job.product(p.product).analysis.values())]
    if asked is None:
        named = _WITH_SEED in job.plan.method.lower()
        return [], [
            f"{p.product} was placed with the seed, but crop and opener are not given (with_seed), "
            "so it was not held against what the seed bears."
            for p in carriers
            if named
        ]
    screens, warnings = [], []
    for p in carriers:
        material, slope = slope_of(job.product(p.product).analysis, p.product, asked)
        if slope is None:
            warnings.append(
                f"{p.product} on {asked.crop}: how much the seed bears is not known. Slopes are "
                f"known for {' and '.join(SLOPES)} on {', '.join(_CROPS)}; ask locally, or give "
                "it under slopes."
            )
            continue
        screen = SaltScreen(
            field=job.result.field,
            operation=job.result.operation,
            product=p.product,
            crop=asked.crop,
            material=material,
            slope_percent_per_lb_ac=slope,
            spread_m=asked.spread_m,
            row_spacing_m=asked.row_spacing_m,
            tolerated_loss_percent=asked.tolerated_loss_percent,
            soil_factor=asked.soil_factor,
            limit_kg_per_m2=limit_kg_per_m2(
                slope_percent_per_lb_ac=slope,
                spread_m=asked.spread_m,
                row_spacing_m=asked.row_spacing_m,
                tolerated_loss_percent=asked.tolerated_loss_percent,
                soil_factor=asked.soil_factor,
            ),
            placed_kg_per_m2=p.mean_rate_kg_per_m2,
        )
        screens.append(screen)
        if screen.over:
            warnings.append(
                f"{p.product}: more was placed with the seed than the screening formula allows "
                f"for {asked.crop}."
            )
    loss = sum(screen.loss_percent for screen in screens)
    if loss > asked.tolerated_loss_percent and not any(screen.over for screen in screens):
        warnings.append(
            f"{' and '.join(s.product for s in screens)}: each is within the screening formula for "
            f"{asked.crop}, but together they cost {loss:.0f} % of the stand by it."
        )
    return screens, warnings


def slope_of(
    analysis: Mapping[str, float], product: str, asked: WithSeed
) -> tuple[str, float | None]:
    """Return the material and slope of a product: the one given, or that of its analysis."""
    given = dict(asked.slopes)
    if product in given:
        return "given", given[product]
    carried = {nutrient: percent for nutrient, percent in analysis.items() if percent > 0}
    for material, label in _ANALYSES.items():
        if carried == label:
            return material, SLOPES[material].get(asked.crop)
    return "", None
