"""A calibration, and what the settings book answers, in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from evenacre.language import filled, mark, tr
from evenacre.language import number as written
from evenacre.planning.calibration.calibrate import Calibration
from evenacre.planning.calibration.compartments import BUSHEL_M3
from evenacre.planning.calibration.meter_test import MeterStanding, MeterTest, Verdict
from evenacre.planning.calibration.next_setting import LINE, LookUp, Match, NextSetting
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.findings import reason
from evenacre.units.display import ACRE_M2, POUND_KG, DisplayUnit, UnitSystem

_OF_TEN = mark("nine times in ten")
_MOST_OPENERS = 8
_HEAVY_KG_PER_M2 = 200 * POUND_KG / ACRE_M2
_LIGHT_KG_PER_M2 = 20 * POUND_KG / ACRE_M2
_FLUFFY_KG_PER_M3 = 20 * POUND_KG / BUSHEL_M3
_SLOW_MPS = 5 * 0.44704
_HOW = {
    "roller": mark("roller"),
    "fan": mark("fan"),
    "down_pressure": mark("down pressure"),
}


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
    return f"{written(value, '.1f' if value < 9.95 else ',.0f')} %"


def number(value: float) -> str:
    """A setting, to three digits."""
    return written(float(f"{value:.3g}"), ",.10g")


def _between(low: float, high: float, unit: DisplayUnit) -> str:
    """Two values with one label."""
    return figures.span(unit.text(low).removesuffix(f" {unit.word}"), unit.text(high))


def _test_lines(result: Calibration, told: Mapping[str, Any], units: UnitSystem) -> Iterator[str]:
    test, verdict, about = result.job.test, result.verdict, result.job.about
    if test is None:
        return
    at = tr(" at setting {setting}", setting=about.setting) if about.setting else ""
    if verdict is not None and _leaves_alone(test, verdict):
        close = verdict.standing is MeterStanding.ON_TARGET
        why = (
            tr("it is on its target")
            if close
            else tr("no catch so far tells that it is off its target")
        )
        yield tr("Leave the setting alone: {why}.", why=why)
    found = f"{about.product or tr('The meter')}{at}: {told['rate_kg_per_m2']}"
    if verdict is not None:
        off = {"percent": percent(verdict.off_by)}
        off["target"] = units.rate.text(verdict.target_kg_per_m2)
        if verdict.off_by > 0:
            found += tr(", {percent} over the target of {target}", **off)
        else:
            found += tr(", {percent} under the target of {target}", **off)
    yield f"{found}."
    yield _scatter(test, units)
    if verdict is not None:
        yield _standing(verdict)
    if test.kg_per_turn is not None:
        yield tr("One turn puts out {kg_per_turn}.", kg_per_turn=told["kg_per_turn"])


def _leaves_alone(test: MeterTest, verdict: Verdict) -> bool:
    """Whether a change of the setting would be less than can be told."""
    low, high = test.interval_kg_per_m2 or (math.inf, -math.inf)
    return verdict.standing is MeterStanding.ON_TARGET or low <= verdict.target_kg_per_m2 <= high


def _scatter(test: MeterTest, units: UnitSystem) -> str:
    interval = test.interval_kg_per_m2
    if interval is None or test.sd_kg is None or test.se_kg is None:
        return tr("One catch shows no scatter: catch twice more before you trust it.")
    return tr(
        "{count} catches scatter by {percent} (standard deviation). The rate is good to "
        "± {rate} (standard error): {between}, {of_ten}.",
        count=len(test.catches_kg),
        percent=percent(test.sd_kg / test.mean_kg),
        rate=units.rate.text(test.se_kg / test.area_m2, 2),
        between=_between(max(interval[0], 0.0), interval[1], units.rate),
        of_ten=tr(_OF_TEN),
    )


def _standing(verdict: Verdict) -> str:
    limit = f"{written(100 * verdict.tolerance, 'g')} %"
    if verdict.standing is MeterStanding.ON_TARGET:
        return tr("That is within {limit} of the target, scatter and all.", limit=limit)
    if verdict.standing is MeterStanding.OFF_TARGET:
        return tr(
            "That is more than {limit} off, scatter and all: change the setting.", limit=limit
        )
    if verdict.standing is MeterStanding.ONE_CATCH:
        if verdict.within:
            return tr("By that one catch it is within {limit}.", limit=limit)
        return tr("By that one catch it is outside {limit}.", limit=limit)
    if verdict.scatter_allows:
        return tr(
            "That is too near the limit of {limit} to call: move the setting and catch again.",
            limit=limit,
        )
    if verdict.catches_needed is None:
        return tr(
            "With this scatter not even thirty catches would tell whether it is within "
            "{limit}: look for a bridge, a slipping drive or a coarse scale, or turn "
            "longer.",
            limit=limit,
        )
    return tr(
        "With this scatter it cannot be told whether it is within {limit}: catch "
        "{catches_needed} times, or turn longer.",
        limit=limit,
        catches_needed=verdict.catches_needed,
    )


def _tower_lines(result: Calibration) -> Iterator[str]:
    towers, limit = result.towers, result.job.tolerance
    if towers is None:
        return
    for odd in towers.odd:
        side = tr("less") if odd.off_by < 0 else tr("more")
        low, high = sorted(abs(end) for end in odd.interval_90)
        others = tr("the others") if towers.count > 2 else tr("the other")
        small = "" if abs(odd.off_by) > limit else tr(", within {limit:g} %", limit=100 * limit)
        yield tr(
            "Tower {number} (openers {first} to {last}) gives {percent} {side} than {others} "
            "({low} to {high}, {of_ten}){small}.",
            number=odd.number,
            first=odd.openers[0],
            last=odd.openers[1],
            percent=percent(odd.off_by),
            side=side,
            others=others,
            low=percent(low),
            high=percent(high),
            of_ten=tr(_OF_TEN),
            small=small,
        )
    if any(abs(odd.off_by) > limit for odd in towers.odd):
        yield tr(
            "Scatter among openers does not explain that: look at what the whole tower "
            "shares, its hose, its head, its section of the meter."
        )
    elif not towers.odd:
        yield tr(
            "The {count} towers agree: they differ no more than the openers of each "
            "scatter ({percent}).",
            count=towers.count,
            percent=percent(towers.scatter),
        )
    for one in towers.odd_openers[:_MOST_OPENERS]:
        side = tr("less") if one.off_by < 0 else tr("more")
        far = percent(one.off_by) if math.isfinite(one.off_by) else tr("all")
        yield tr(
            "Opener {number} gives {far} {side} than the others of tower {tower}.",
            number=one.number,
            far=far,
            side=side,
            tower=one.tower,
        )
    if (more := len(towers.odd_openers) - _MOST_OPENERS) > 0:
        yield tr("So do {more} more.", more=more)


def _opener_lines(result: Calibration, told: Mapping[str, Any]) -> Iterator[str]:
    even, limit = result.evenness, f"{written(100 * result.job.tolerance, 'g')} %"
    if even is None:
        return
    band = tr("({low} to {high})", low=told["low_kg"], high=told["high_kg"])
    if not even.outside:
        yield tr(
            "All {count} openers are within {limit} of their mean {band}.",
            count=len(even.ratios),
            limit=limit,
            band=band,
        )
        return
    shown = even.outside[:_MOST_OPENERS]
    named = ", ".join(
        tr("{opener} ({ratio:.1f} % of it)", opener=n, ratio=100 * even.ratios[n - 1])
        for n in shown
    )
    if more := len(even.outside) - len(shown):
        named = tr("{named} and {more} more", named=named, more=more)
    yield tr(
        "{count} of {openers} openers are more than {limit} off their mean {band}, "
        "counted from the left: {named}. Look for a kinked or plugged hose and a "
        "worn roller there.",
        count=len(even.outside),
        openers=len(even.ratios),
        limit=limit,
        band=band,
        named=named,
    )


def _setting_lines(result: Calibration) -> Iterator[str]:
    following, test, verdict = result.next_setting, result.job.test, result.verdict
    if following is None or (test and verdict and _leaves_alone(test, verdict)):
        return
    if following.refused is not None or following.setting is None:
        low, high = (number(setting) for setting in following.tested)
        tested = (
            tr("setting {low}", low=low)
            if low == high
            else tr("settings {low} to {high}", low=low, high=high)
        )
        yield tr(
            "No next setting: {reason}. Tested: {tested}. Test another setting nearer to "
            "the target, or add --beyond to have the guess.",
            reason=reason(following.refused),
            tested=tested,
        )
        return
    band = ""
    if following.low is not None and following.high is not None:
        low, high = number(max(following.low, 0.0)), number(following.high)
        band = tr(" ({low} to {high}, {of_ten})", low=low, high=high, of_ten=tr(_OF_TEN))
    yield tr(
        "Next setting: {setting}{band}, {how}",
        setting=number(following.setting),
        band=band,
        how=_how(following),
    )
    if following.bend is not None and following.bend > result.job.tolerance:
        yield tr(
            "The settings bend away from a line by {percent}: test one nearer to the target.",
            percent=percent(following.bend),
        )


def _how(following: NextSetting) -> str:
    low, high = (number(setting) for setting in following.tested)
    guess = tr("It is a guess until you have caught there again.")
    if following.method != LINE:
        return tr("in proportion to the one setting tested, {low}. {guess}", low=low, guess=guess)
    if following.beyond:
        beyond = tr(
            "carried {far} beyond the settings tested, {low} to {high}",
            far=number(following.beyond),
            low=low,
            high=high,
        )
        return tr("by a line {beyond}. {guess}", beyond=beyond, guess=guess)
    return tr("by a line through the settings tested, {low} to {high}.", low=low, high=high)


def _fill_lines(result: Calibration, told: Mapping[str, Any], units: UnitSystem) -> Iterator[str]:
    if result.rate_kg_per_m2 is None:
        return
    rate = units.rate.text(result.rate_kg_per_m2)
    for fill in told["fills"]:
        name = f"{fill['name'][:1].upper()}{fill['name'][1:]}"
        yield tr(
            "{name} of {mass} covers {area} at {rate}.",
            name=name,
            mass=fill["mass_kg"],
            area=fill["area_m2"],
            rate=rate,
        )
    if split := told["split"]:
        parts = [f"{p['name']} {p['rate_kg_per_m2']} ({p['share']})" for p in split["compartments"]]
        yield tr(
            "To empty together after {area}: {names}.",
            area=split["area_m2"],
            names=", ".join(parts),
        )


def look_up_lines(found: LookUp, told: Mapping[str, Any], units: UnitSystem) -> list[str]:
    """Say what was done before, how far it lies from the job, and where to start.

    ``told`` are its figures as text, by key.
    """
    if not found.matches:
        return [
            tr(
                "No setting to start at: {reason}. Make a test to begin with.",
                reason=reason(found.refused),
            )
        ]
    lines = list(map(_match, found.matches, told["matches"]))
    if found.outside and found.rates_kg_per_m2 is not None:
        low, high = found.rates_kg_per_m2
        noted = _between(low, high, units.rate) if high > low else units.rate.text(low)
        lines.append(tr("The rate lies outside of all that was noted ({noted}).", noted=noted))
    if found.start is None:
        far = found.refused is not None and found.refused.code == "noted_setting_too_far"
        hint = tr(" Test nearer, or add --beyond to have the guess.") if far else ""
        return [
            tr("No setting to start at: {reason}.{hint}", reason=reason(found.refused), hint=hint),
            *lines,
        ]
    nearest = found.matches[0].past
    first = tr(
        "Start the test at setting {setting}: carried over from {place}, in proportion to "
        "rate and bulk density.",
        setting=number(found.start),
        place=nearest.place,
    )
    if nearest.trouble:
        first += tr(" There was trouble then: {trouble}.", trouble=nearest.trouble)
    return [first, *lines]


def _match(match: Match, told: Mapping[str, str]) -> str:
    past = match.past
    parts = [f"{past.place}: {past.product}" + (f", {figures.day(past.date)}" if past.date else "")]
    if past.rate_kg_per_m2 is not None:
        parts.append(
            tr(
                "{rate} at setting {setting}",
                rate=told["rate_kg_per_m2"],
                setting=past.setting or "?",
            )
        )
    parts += [
        told["bulk_density_kg_per_m3"],
        *(f"{tr(name)} {told[key]}" for key, name in _HOW.items() if told[key]),
        told["speed_mps"],
        told["result"],
        tr("trouble: {trouble}", trouble=past.trouble) if past.trouble else "",
    ]
    rate = _step(
        match.rate_factor, tr("same rate"), tr("rate {percent} higher"), tr("rate {percent} lower")
    )
    density = tr("bulk density not known in both")
    if match.density_factor is not None:
        density = _step(
            match.density_factor,
            tr("same bulk density"),
            tr("bulk density {percent} heavier"),
            tr("bulk density {percent} lighter"),
        )
    return tr(
        "{names}. This job: {rate}, {density}.",
        names="; ".join(part for part in parts if part),
        rate=rate,
        density=density,
    )


def _step(factor: float, same: str, more: str, less: str) -> str:
    if abs(factor - 1) < 0.0005:
        return same
    return filled(more if factor > 1 else less, {"percent": percent(factor - 1)})


def calibration_cautions(result: Calibration) -> list[str]:
    """Cautions that this job calls for; what is no law of nature is common practice."""
    about, rate = result.job.about, result.rate_kg_per_m2
    density = about.bulk_density_kg_per_m3
    out = [
        tr(
            "Keep hands out of metering rolls and off chains while anyone cranks or turns "
            "the wheel. Unhook or clear a line only with the fan stopped and the pressure "
            "gone."
        )
    ]
    if rate is not None and rate >= _HEAVY_KG_PER_M2:
        fast = about.speed_mps is not None and about.speed_mps > _SLOW_MPS
        out.append(
            tr("A rate this heavy wants a fast fan and slow travel, under 5 mph (8 km/h)")
            + (tr("; you noted more.") if fast else ".")
        )
    if rate is not None and rate <= _LIGHT_KG_PER_M2:
        out.append(
            tr(
                "Small seed wants about half the fan speed of heavy fertilizer, or it is "
                "blown out of the furrow."
            )
        )
    if density is not None and density <= _FLUFFY_KG_PER_M3:
        out.append(tr("Seed or fertilizer this light bridges over the meter: watch that it flows."))
    out.append(
        tr(
            "A test at a stand knows no wheel slip: at half the area half the load should be "
            "gone. Treated seed is not feed. Follow the label and local code."
        )
    )
    return out
