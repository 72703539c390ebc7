"""A calibration in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from evenacre.planning.calibration.calibrate import Calibration
from evenacre.planning.calibration.meter_test import MeterStanding, MeterTest, Verdict
from evenacre.planning.calibration.next_setting import LINE, NextSetting
from evenacre.reports.sentences.findings import reason
from evenacre.units.display import DisplayUnit, UnitSystem

_OF_TEN = "nine times in ten"


def calibration_lines(result: Calibration, told: Mapping[str, Any], units: UnitSystem) -> list[str]:
    """Say what a calibration found, the answer first; ``told`` are its figures as text, by key."""
    return [
        *_test_lines(result, told["test"], units),
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


def between(low: float, high: float, unit: DisplayUnit) -> str:
    """Two values with one label."""
    bare = DisplayUnit("", unit.per_si).text(low).strip()
    return f"{bare} to {unit.text(high)}"


def _test_lines(result: Calibration, told: Mapping[str, Any], units: UnitSystem) -> list[str]:
    test, verdict, about = result.job.test, result.verdict, result.job.about
    if test is None:
        return []
    at = f" at setting {about.setting}" if about.setting else ""
    found = f"{about.product or 'The meter'}{at}: {told['rate_kg_per_m2']}"
    if verdict is not None:
        side = "over" if verdict.off_by > 0 else "under"
        target = units.rate.text(verdict.target_kg_per_m2)
        found += f", {percent(verdict.off_by)} {side} the target of {target}"
    lines = [f"{found}.", _scatter(test, units)]
    if verdict is not None:
        lines.append(_standing(verdict))
    if test.kg_per_turn is not None:
        lines.append(f"One turn puts out {told['kg_per_turn']}.")
    return lines


def _scatter(test: MeterTest, units: UnitSystem) -> str:
    interval = test.interval_kg_per_m2
    if interval is None or test.sd_kg is None or test.se_kg is None:
        return "One catch shows no scatter: catch twice more before you trust it."
    band = between(max(interval[0], 0.0), interval[1], units.rate)
    error = units.rate.text(test.se_kg / test.area_m2, 2)
    return (
        f"{len(test.catches_kg)} catches scatter by {percent(test.sd_kg / test.mean_kg)} "
        f"(standard deviation). The rate is good to ± {error} (standard error): "
        f"{band}, {_OF_TEN}."
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


def _opener_lines(result: Calibration, told: Mapping[str, Any]) -> list[str]:
    even = result.evenness
    if even is None:
        return []
    limit = f"{100 * result.job.tolerance:g} %"
    band = f"{told['low_kg']} to {told['high_kg']}"
    if not even.outside:
        return [f"All {len(even.ratios)} openers are within {limit} of their mean ({band})."]
    named = ", ".join(f"{n} ({100 * even.ratios[n - 1]:.1f} % of it)" for n in even.outside[:8])
    more = f" and {len(even.outside) - 8} more" if len(even.outside) > 8 else ""
    return [
        f"{len(even.outside)} of {len(even.ratios)} openers are more than {limit} off their mean "
        f"({band}), counted from the left: {named}{more}. Look for a kinked or plugged hose and a "
        "worn roller there."
    ]


def _setting_lines(result: Calibration) -> list[str]:
    following, verdict = result.next_setting, result.verdict
    if following is None or (verdict and verdict.standing is MeterStanding.ON_TARGET):
        return []
    low, high = (number(setting) for setting in following.tested)
    tested = f"setting {low}" if low == high else f"settings {low} to {high}"
    if following.refused is not None or following.setting is None:
        return [
            f"No next setting: {reason(following.refused)}. Tested: {tested}. Test another setting "
            "nearer to the target, or add --beyond to have the guess."
        ]
    lines = [f"Next setting: {number(following.setting)}{_range(following)}, {_how(following)}"]
    if following.bend is not None and following.bend > result.job.tolerance:
        lines.append(
            f"The settings bend away from a line by {percent(following.bend)}: "
            "test one nearer to the target."
        )
    return lines


def _range(following: NextSetting) -> str:
    if following.low is None or following.high is None:
        return ""
    return f" ({number(max(following.low, 0.0))} to {number(following.high)}, {_OF_TEN})"


def _how(following: NextSetting) -> str:
    low, high = (number(setting) for setting in following.tested)
    if following.method != LINE:
        return (
            f"in proportion to the one setting tested, {low}. It is a guess until you have "
            "caught there again."
        )
    if following.beyond:
        return (
            f"by a line carried {number(following.beyond)} beyond the settings tested, {low} to "
            f"{high}. It is a guess until you have caught there again."
        )
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
