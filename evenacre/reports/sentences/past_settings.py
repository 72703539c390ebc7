"""What the settings book answers, and what to mind at a calibration, in plain words."""

from __future__ import annotations

from typing import Any

from evenacre.planning.calibration.calibrate import Calibration
from evenacre.planning.calibration.compartments import BUSHEL_M3
from evenacre.planning.calibration.settings_lookup import LookUp, Match
from evenacre.reports.sentences.calibration import between, density_text, number, percent
from evenacre.reports.sentences.findings import reason
from evenacre.units.display import ACRE_M2, POUND_KG, UnitSystem

_HEAVY_KG_PER_M2 = 200 * POUND_KG / ACRE_M2
_LIGHT_KG_PER_M2 = 20 * POUND_KG / ACRE_M2
_FLUFFY_KG_PER_M3 = 20 * POUND_KG / BUSHEL_M3
_SLOW_MPS = 5 * 0.44704


def look_up_lines(found: LookUp, units: UnitSystem) -> list[str]:
    """Say what was done before, how far it lies from the job, and where to start."""
    if not found.matches:
        return [f"No setting to start at: {reason(found.refused)}. Make a test to begin with."]
    lines = [_match(match, units) for match in found.matches]
    if found.outside and found.rates_kg_per_m2 is not None:
        low, high = found.rates_kg_per_m2
        noted = between(low, high, units.rate) if high > low else units.rate.text(low)
        lines.append(f"The rate lies outside of all that was noted ({noted}).")
    if found.start is None:
        far = found.refused is not None and found.refused.code == "noted_setting_too_far"
        hint = " Test nearer, or add --beyond to have the guess." if far else ""
        return [f"No setting to start at: {reason(found.refused)}.{hint}", *lines]
    first = f"Start the test at setting {number(found.start)}: {_carried(found.matches[0])}"
    if found.matches[0].past.trouble:
        first += f" There was trouble then: {found.matches[0].past.trouble}."
    return [first, *lines]


def look_up_summary(found: LookUp) -> dict[str, Any]:
    """Give the look-up's figures in SI."""
    return {
        "start": found.start,
        "refused": reason(found.refused),
        "outside": found.outside,
        "rates_kg_per_m2": list(found.rates_kg_per_m2) if found.rates_kg_per_m2 else None,
        "matches": [
            {
                "place": match.past.place,
                "date": match.past.date,
                "product": match.past.product,
                "roller": match.past.roller,
                "setting": match.past.setting,
                "fan": match.past.fan,
                "speed_mps": match.past.speed_mps,
                "down_pressure": match.past.down_pressure,
                "rate_kg_per_m2": match.past.rate_kg_per_m2,
                "bulk_density_kg_per_m3": match.past.bulk_density_kg_per_m3,
                "result": match.past.result,
                "trouble": match.past.trouble,
                "rate_factor": match.rate_factor,
                "density_factor": match.density_factor,
                "reach": match.reach,
            }
            for match in found.matches
        ],
    }


def calibration_cautions(result: Calibration) -> list[str]:
    """Cautions that this job calls for; what is no law of nature is common practice."""
    about, rate = result.job.about, result.rate_kg_per_m2
    density = about.bulk_density_kg_per_m3
    out = [
        "Keep hands out of metering rolls and off chains while anyone cranks or turns the wheel. "
        "Unhook or clear a line only with the fan stopped and the pressure gone."
    ]
    if rate is not None and rate >= _HEAVY_KG_PER_M2:
        fast = about.speed_mps is not None and about.speed_mps > _SLOW_MPS
        out.append(
            "A rate this heavy wants a fast fan and slow travel, under 5 mph (8 km/h)"
            + ("; you noted more." if fast else ".")
        )
    if rate is not None and rate <= _LIGHT_KG_PER_M2:
        out.append(
            "Small seed wants about half the fan speed of heavy fertilizer, or it is blown out of "
            "the furrow."
        )
    if density is not None and density <= _FLUFFY_KG_PER_M3:
        out.append("Seed or fertilizer this light bridges over the meter: watch that it flows.")
    out.append(
        "A test at a stand knows no wheel slip: at half the area half the load should be gone. "
        "Treated seed is not feed. Follow the label and local code."
    )
    return out


def _match(match: Match, units: UnitSystem) -> str:
    past = match.past
    parts = [f"{past.place}: {past.product}"]
    if past.date:
        parts[0] += f", {past.date}"
    if past.rate_kg_per_m2 is not None:
        parts.append(f"{units.rate.text(past.rate_kg_per_m2)} at setting {past.setting or '?'}")
    if past.bulk_density_kg_per_m3 is not None:
        parts.append(density_text(past.bulk_density_kg_per_m3, units))
    said = (("roller", past.roller), ("fan", past.fan), ("down pressure", past.down_pressure))
    parts += [f"{what} {text}" for what, text in said if text]
    if past.speed_mps is not None:
        parts.append(units.speed.text(past.speed_mps, 2))
    parts += [past.result] if past.result else []
    parts += [f"trouble: {past.trouble}"] if past.trouble else []
    return "; ".join(parts) + f". {_far(match)}"


def _carried(match: Match) -> str:
    return f"carried over from {match.past.place}, in proportion to rate and bulk density."


def _far(match: Match) -> str:
    """How far the job lies from a past one."""
    if match.density_factor is None:
        density = "bulk density not known in both"
    else:
        density = _step(match.density_factor, "bulk density", "heavier", "lighter")
    return f"This job: {_step(match.rate_factor, 'rate', 'higher', 'lower')}, {density}."


def _step(factor: float, what: str, more: str, less: str) -> str:
    if abs(factor - 1) < 0.0005:
        return f"same {what}"
    return f"{what} {percent(factor - 1)} {more if factor > 1 else less}"
