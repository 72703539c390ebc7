"""What the settings book answers, and what to mind at a calibration, in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from evenacre.planning.calibration.calibrate import Calibration
from evenacre.planning.calibration.compartments import BUSHEL_M3
from evenacre.planning.calibration.next_setting import LookUp, Match
from evenacre.reports.sentences.calibration import between, number, percent
from evenacre.reports.sentences.findings import reason
from evenacre.units.display import ACRE_M2, POUND_KG, UnitSystem

_HEAVY_KG_PER_M2 = 200 * POUND_KG / ACRE_M2
_LIGHT_KG_PER_M2 = 20 * POUND_KG / ACRE_M2
_FLUFFY_KG_PER_M3 = 20 * POUND_KG / BUSHEL_M3
_SLOW_MPS = 5 * 0.44704
_HOW = ("roller", "fan", "down_pressure")


def look_up_lines(found: LookUp, told: Mapping[str, Any], units: UnitSystem) -> list[str]:
    """Say what was done before, how far it lies from the job, and where to start.

    ``told`` are its figures as text, by key.
    """
    if not found.matches:
        return [f"No setting to start at: {reason(found.refused)}. Make a test to begin with."]
    lines = list(map(_match, found.matches, told["matches"]))
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


def _match(match: Match, told: Mapping[str, str]) -> str:
    past = match.past
    parts = [f"{past.place}: {past.product}" + (f", {past.date}" if past.date else "")]
    if past.rate_kg_per_m2 is not None:
        parts.append(f"{told['rate_kg_per_m2']} at setting {past.setting or '?'}")
    parts += [
        told["bulk_density_kg_per_m3"],
        *(f"{key.replace('_', ' ')} {told[key]}" for key in _HOW if told[key]),
        told["speed_mps"],
        told["result"],
        f"trouble: {past.trouble}" if past.trouble else "",
    ]
    return f"{'; '.join(part for part in parts if part)}. {_far(match)}"


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
