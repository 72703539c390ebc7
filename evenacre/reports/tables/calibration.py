"""A calibration as figures in SI, for other programs."""

from __future__ import annotations

from typing import Any

from evenacre import __version__
from evenacre.planning.calibration.calibrate import Calibration
from evenacre.reports.sentences.findings import reason

SCHEMA = "evenacre/calibrate/1"


def calibration_summary(result: Calibration) -> dict[str, Any]:
    """Give every figure in SI, in a stable order."""
    job, test, verdict, even = result.job, result.job.test, result.verdict, result.evenness
    following, split = result.next_setting, result.split
    return {
        "schema": SCHEMA,
        "version": __version__,
        "product": job.about.product,
        "setting": job.about.setting,
        "bulk_density_kg_per_m3": job.about.bulk_density_kg_per_m3,
        "target_kg_per_m2": job.about.target_kg_per_m2,
        "tolerance": job.tolerance,
        "test": None
        if test is None
        else {
            "catches_kg": list(test.catches_kg),
            "area_m2": test.area_m2,
            "rate_kg_per_m2": test.rate_kg_per_m2,
            "rate_interval_90_kg_per_m2": _listed(test.interval_kg_per_m2),
            "catch_sd_kg": test.sd_kg,
            "mean_se_kg": test.se_kg,
            "kg_per_turn": test.kg_per_turn,
        },
        "verdict": None
        if verdict is None
        else {
            "standing": verdict.standing.value,
            "off_by": verdict.off_by,
            "within_tolerance": verdict.within,
            "scatter_allows": verdict.scatter_allows,
            "catches_needed": verdict.catches_needed,
        },
        "openers": None
        if even is None
        else {
            "mean_kg": even.mean_kg,
            "low_kg": even.low_kg,
            "high_kg": even.high_kg,
            "ratios": list(even.ratios),
            "outside": list(even.outside),
            "variation": even.variation,
        },
        "next_setting": None
        if following is None
        else {
            "setting": following.setting,
            "interval_90": _listed((following.low, following.high)),
            "method": following.method,
            "tested": list(following.tested),
            "beyond": following.beyond,
            "bend": following.bend,
            "refused": reason(following.refused),
        },
        "fills": [
            {"name": name, "mass_kg": job.fills_kg[name], "area_m2": area}
            for name, area in result.fill_areas_m2.items()
        ],
        "split": None
        if split is None
        else {
            "area_m2": split.area_m2,
            "compartments": [
                {
                    "name": share.name,
                    "mass_kg": share.mass_kg,
                    "share": share.share,
                    "rate_kg_per_m2": share.rate_kg_per_m2,
                }
                for share in split.shares
            ],
        },
    }


def _listed(pair: tuple[float | None, float | None] | None) -> list[float] | None:
    if pair is None or pair[0] is None or pair[1] is None:
        return None
    return [pair[0], pair[1]]
