"""Fertilizer with the seed: how much a crop bears before salt costs stand.

Source of the formula and its slopes: South Dakota State University Extension, seed-placed
fertilizer decision aid. It is a screening figure and takes the aid's own units.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from evenacre.model import WithSeed
from evenacre.model.finding import Finding
from evenacre.planning.season.nutrients import AuditedJob
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
    """The formula for one product of one operation, with everything put into it."""

    field: str
    operation: str
    product: str
    crop: str
    material: str  # whose slope it is: a name in ``SLOPES``, or ``"given"``
    slope_percent_per_lb_ac: float  # C
    # S, how wide the opener spreads seed and fertilizer, and R
    spread_m: float
    row_spacing_m: float
    tolerated_loss_percent: float  # T
    soil_factor: float  # m, for texture and moisture
    limit_kg_per_m2: float  # f: of the material
    placed_kg_per_m2: float  # mean rate that was placed

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
    """Most material with the seed: F = 30 S T / (|C| R M), S and R in inches, F in lb/ac."""
    below = abs(slope_percent_per_lb_ac) * row_spacing_m / _INCH_M * soil_factor
    if below <= 0:
        raise ValueError("slope, row spacing and soil factor must be above zero")
    return 30.0 * (spread_m / _INCH_M) * tolerated_loss_percent / below * _LB_PER_AC


def salt_screens(job: AuditedJob) -> tuple[list[SaltScreen], list[Finding]]:
    """Hold the fertilizers of an operation that were placed with the seed against the formula.

    There are none when the operation says nothing of fertilizer with the seed. Findings tell of
    those over the limit, and of those that cannot be held against it.
    """
    asked = job.plan.with_seed
    carriers = [p for p in job.result.products if any(job.product(p.product).analysis.values())]
    if asked is None:
        named = _WITH_SEED in job.plan.method.lower()
        unjudged = [Finding.warning("with_seed_unjudged", product=p.product) for p in carriers]
        return [], unjudged if named else []
    screens, findings = [], []
    for p in carriers:
        material, slope = slope_of(job.product(p.product).analysis, p.product, asked)
        if slope is None:
            findings.append(
                Finding.warning(
                    "seed_tolerance_unknown",
                    product=p.product,
                    crop=asked.crop,
                    materials=tuple(SLOPES),
                    crops=_CROPS,
                )
            )
            continue
        given = {
            "slope_percent_per_lb_ac": slope,
            "spread_m": asked.spread_m,
            "row_spacing_m": asked.row_spacing_m,
            "tolerated_loss_percent": asked.tolerated_loss_percent,
            "soil_factor": asked.soil_factor,
        }
        screen = SaltScreen(
            field=job.result.field,
            operation=job.result.operation,
            product=p.product,
            crop=asked.crop,
            material=material,
            limit_kg_per_m2=limit_kg_per_m2(**given),
            placed_kg_per_m2=p.mean_rate_kg_per_m2,
            **given,
        )
        screens.append(screen)
        if screen.over:
            found = Finding.warning("over_seed_tolerance", product=p.product, crop=asked.crop)
            findings.append(found)
    loss = sum(screen.loss_percent for screen in screens)
    if loss > asked.tolerated_loss_percent and not any(screen.over for screen in screens):
        findings.append(
            Finding.warning(
                "over_seed_tolerance_together",
                products=tuple(screen.product for screen in screens),
                crop=asked.crop,
                loss_percent=loss,
            )
        )
    return screens, findings


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
