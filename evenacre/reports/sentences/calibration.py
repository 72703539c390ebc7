"""A calibration, and what the settings book answers, in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from evenacre.planning.calibration.calibrate import Calibration
from evenacre.planning.calibration.compartments import BUSHEL_M3
from evenacre.planning.calibration.meter_test import MeterStanding, MeterTest, Verdict
from evenacre.planning.calibration.next_setting import LINE, LookUp, Match, NextSetting
from evenacre.reports.sentences.findings import reason
from evenacre.units.display import ACRE_M2, POUND_KG, DisplayUnit, UnitSystem

_OF_TEN = "nine times in ten"
_MOST_OPENERS = 8
_HEAVY_KG_PER_M2 = 200 * POUND_KG / ACRE_M2
_LIGHT_KG_PER_M2 = 20 * POUND_KG / ACRE_M2
_FLUFFY_KG_PER_M3 = 20 * POUND_KG / BUSHEL_M3
_SLOW_MPS = 5 * 0.44704
_HOW = ("roller", "fan", "down_pressure")


def calibration_lines(result: Calibration, told: Mapping[str, Any], units: UnitSystem) -> list[str]:
    """Say what a calibration found, the answer first; ``told`` are its figures as text, by key."""
    return [
        *_test_lines(result, told["test"], units),
        *_tower_lines(result),
        *_opener_lines(result, told["openers"]),
        *_setting_lines(result),
        *_fill_lines(result, told, units),
    ]


def percent(fraction: float) -> str:
    """A share in percent, to a tenth below ten."""
    value = abs(100 * fraction)
    return f"{value:.1f} %" if value < 9.95 else f"{value:,.0f} %"


def number(value: float) -> str:
    """A setting, to three digits."""
    return f"{float(f'{value:.3g}'):,.10g}"


def _between(low: float, high: float, unit: DisplayUnit) -> str:
    """Two values with one label."""
    return f"{unit.text(low).removesuffix(f' {unit.label}')} to {unit.text(high)}"


def _test_lines(result: Calibration, told: Mapping[str, Any], units: UnitSystem) -> Iterator[str]:
    test, verdict, about = result.job.test, result.verdict, result.job.about
    if test is None:
        return
    at = f" at setting {about.setting}" if about.setting else ""
    if verdict is not None and _leaves_alone(test, verdict):
        close = verdict.standing is MeterStanding.ON_TARGET
        why = "it is on its target" if close else "no catch so far tells that it is off its target"
        yield f"Leave the setting alone: {why}."
    found = f"{about.product or 'The meter'}{at}: {told['rate_kg_per_m2']}"
    if verdict is not None:
        side = "over" if verdict.off_by > 0 else "under"
        target = units.rate.text(verdict.target_kg_per_m2)
        found += f", {percent(verdict.off_by)} {side} the target of {target}"
    yield f"{found}."
    yield _scatter(test, units)
    if verdict is not None:
        yield _standing(verdict)
    if test.kg_per_turn is not None:
        yield f"One turn puts out {told['kg_per_turn']}."


def _leaves_alone(test: MeterTest, verdict: Verdict) -> bool:
    """Whether a change of the setting would be less than can be told."""
    low, high = test.interval_kg_per_m2 or (math.inf, -math.inf)
    return verdict.standing is MeterStanding.ON_TARGET or low <= verdict.target_kg_per_m2 <= high


def _scatter(test: MeterTest, units: UnitSystem) -> str:
    interval = test.interval_kg_per_m2
    if interval is None or test.sd_kg is None or test.se_kg is None:
        return "One catch shows no scatter: catch twice more before you trust it."
    return (
        f"{len(test.catches_kg)} catches scatter by {percent(test.sd_kg / test.mean_kg)} "
        "(standard deviation). The rate is good to "
        f"± {units.rate.text(test.se_kg / test.area_m2, 2)} (standard error): "
        f"{_between(max(interval[0], 0.0), interval[1], units.rate)}, {_OF_TEN}."
    )


def _standing(verdict: Verdict) -> str:
    limit = f"{100 * verdict.tolerance:g} %"
    if verdict.standing is MeterStanding.ON_TARGET:
        return f"That is within {limit} of the target, scatter and all."
    if verdict.standing is MeterStanding.OFF_TARGET:
        return f"That is more than {limit} off, scatter and all: change the setting."
    if verdict.standing is MeterStanding.ONE_CATCH:
        return f"By that one catch it is {'within' if verdict.within else 'outside'} {limit}."
    if verdict.scatter_allows:
        return f"That is too near the limit of {limit} to call: move the setting and catch again."
    if verdict.catches_needed is None:
        return (
            f"With this scatter not even thirty catches would tell whether it is within {limit}: "
            "look for a bridge, a slipping drive or a coarse scale, or turn longer."
        )
    return (
        f"With this scatter it cannot be told whether it is within {limit}: "
        f"catch {verdict.catches_needed} times, or turn longer."
    )


def _tower_lines(result: Calibration) -> Iterator[str]:
    towers, limit = result.towers, result.job.tolerance
    if towers is None:
        return
    for odd in towers.odd:
        side = "less" if odd.off_by < 0 else "more"
        low, high = sorted(abs(end) for end in odd.interval_90)
        others = "the others" if towers.count > 2 else "the other"
        small = "" if abs(odd.off_by) > limit else f", within {100 * limit:g} %"
        yield (
            f"Tower {odd.number} (openers {odd.openers[0]} to {odd.openers[1]}) gives "
            f"{percent(odd.off_by)} {side} than {others} ({percent(low)} to {percent(high)}, "
            f"{_OF_TEN}){small}."
        )
    if any(abs(odd.off_by) > limit for odd in towers.odd):
        yield (
            "Scatter among openers does not explain that: look at what the whole tower shares, "
            "its hose, its head, its section of the meter."
        )
    elif not towers.odd:
        yield (
            f"The {towers.count} towers agree: they differ no more than the openers of each "
            f"scatter ({percent(towers.scatter)})."
        )
    for one in towers.odd_openers[:_MOST_OPENERS]:
        side = "less" if one.off_by < 0 else "more"
        far = percent(one.off_by) if math.isfinite(one.off_by) else "all"
        yield f"Opener {one.number} gives {far} {side} than the others of tower {one.tower}."
    if (more := len(towers.odd_openers) - _MOST_OPENERS) > 0:
        yield f"So do {more} more."


def _opener_lines(result: Calibration, told: Mapping[str, Any]) -> Iterator[str]:
    even, limit = result.evenness, f"{100 * result.job.tolerance:g} %"
    if even is None:
        return
    band = f"({told['low_kg']} to {told['high_kg']})"
    if not even.outside:
        yield f"All {len(even.ratios)} openers are within {limit} of their mean {band}."
        return
    shown = even.outside[:_MOST_OPENERS]
    named = ", ".join(f"{n} ({100 * even.ratios[n - 1]:.1f} % of it)" for n in shown)
    more = len(even.outside) - len(shown)
    yield (
        f"{len(even.outside)} of {len(even.ratios)} openers are more than {limit} off their mean "
        f"{band}, counted from the left: {named}{f' and {more} more' if more else ''}. Look for a "
        "kinked or plugged hose and a worn roller there."
    )


def _setting_lines(result: Calibration) -> Iterator[str]:
    following, test, verdict = result.next_setting, result.job.test, result.verdict
    if following is None or (test and verdict and _leaves_alone(test, verdict)):
        return
    if following.refused is not None or following.setting is None:
        low, high = (number(setting) for setting in following.tested)
        tested = f"setting {low}" if low == high else f"settings {low} to {high}"
        yield (
            f"No next setting: {reason(following.refused)}. Tested: {tested}. Test another setting "
            "nearer to the target, or add --beyond to have the guess."
        )
        return
    band = ""
    if following.low is not None and following.high is not None:
        low, high = number(max(following.low, 0.0)), number(following.high)
        band = f" ({low} to {high}, {_OF_TEN})"
    yield f"Next setting: {number(following.setting)}{band}, {_how(following)}"
    if following.bend is not None and following.bend > result.job.tolerance:
        yield (
            f"The settings bend away from a line by {percent(following.bend)}: "
            "test one nearer to the target."
        )


def _how(following: NextSetting) -> str:
    low, high = (number(setting) for setting in following.tested)
    guess = "It is a guess until you have caught there again."
    if following.method != LINE:
        return f"in proportion to the one setting tested, {low}. {guess}"
    if following.beyond:
        beyond = f"carried {number(following.beyond)} beyond the settings tested, {low} to {high}"
        return f"by a line {beyond}. {guess}"
    return f"by a line through the settings tested, {low} to {high}."


def _fill_lines(result: Calibration, told: Mapping[str, Any], units: UnitSystem) -> Iterator[str]:
    if result.rate_kg_per_m2 is None:
        return
    rate = units.rate.text(result.rate_kg_per_m2)
    for fill in told["fills"]:
        name = f"{fill['name'][:1].upper()}{fill['name'][1:]}"
        yield f"{name} of {fill['mass_kg']} covers {fill['area_m2']} at {rate}."
    if split := told["split"]:
        parts = [f"{p['name']} {p['rate_kg_per_m2']} ({p['share']})" for p in split["compartments"]]
        yield f"To empty together after {split['area_m2']}: {', '.join(parts)}."


def look_up_lines(found: LookUp, told: Mapping[str, Any], units: UnitSystem) -> list[str]:
    """Say what was done before, how far it lies from the job, and where to start.

    ``told`` are its figures as text, by key.
    """
    if not found.matches:
        return [f"No setting to start at: {reason(found.refused)}. Make a test to begin with."]
    lines = list(map(_match, found.matches, told["matches"]))
    if found.outside and found.rates_kg_per_m2 is not None:
        low, high = found.rates_kg_per_m2
        noted = _between(low, high, units.rate) if high > low else units.rate.text(low)
        lines.append(f"The rate lies outside of all that was noted ({noted}).")
    if found.start is None:
        far = found.refused is not None and found.refused.code == "noted_setting_too_far"
        hint = " Test nearer, or add --beyond to have the guess." if far else ""
        return [f"No setting to start at: {reason(found.refused)}.{hint}", *lines]
    nearest = found.matches[0].past
    first = (
        f"Start the test at setting {number(found.start)}: carried over from {nearest.place}, in "
        "proportion to rate and bulk density."
    )
    if nearest.trouble:
        first += f" There was trouble then: {nearest.trouble}."
    return [first, *lines]


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
    rate = _step(match.rate_factor, "rate", "higher", "lower")
    density = "bulk density not known in both"
    if match.density_factor is not None:
        density = _step(match.density_factor, "bulk density", "heavier", "lighter")
    return f"{'; '.join(part for part in parts if part)}. This job: {rate}, {density}."


def _step(factor: float, what: str, more: str, less: str) -> str:
    if abs(factor - 1) < 0.0005:
        return f"same {what}"
    return f"{what} {percent(factor - 1)} {more if factor > 1 else less}"


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
