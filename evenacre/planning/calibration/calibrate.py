"""All that one run of a calibration answers, put together."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from evenacre.model import PastSetting
from evenacre.planning.calibration.compartments import Split, split_to_empty_together
from evenacre.planning.calibration.meter_test import (
    Evenness,
    MeterTest,
    Verdict,
    judge,
    opener_evenness,
)
from evenacre.planning.calibration.next_setting import (
    LookUp,
    NextSetting,
    by_a_line,
    in_proportion,
    look_up,
    setting_number,
)
from evenacre.planning.calibration.towers import Towers, compare_towers


@dataclass(frozen=True)
class CalibrationJob:
    """What is known and what is asked."""

    about: PastSetting  # product, setting, fan, speed, target ...: all but the result
    test: MeterTest | None = None  # None: nothing was caught
    # Catches of each opener from the left, for each repeat; empty when not parted
    opener_catches_kg: tuple[tuple[float, ...], ...] = ()
    rows_per_tower: int | None = None  # openers that each tower feeds; None: not known
    tolerance: float = 0.05  # fraction of the target, and of an opener's share, that may be missed
    # Other settings tested before, and their rates (kg/m2)
    tested: tuple[tuple[float, float], ...] = ()
    fills_kg: Mapping[str, float] = field(default_factory=dict)  # fills whose reach is asked
    # What is in the compartments that are to end together
    compartments_kg: Mapping[str, float] = field(default_factory=dict)
    allow_far: bool = False  # give guesses far from what was tested


@dataclass(frozen=True)
class Calibration:
    """The answers; None where nothing was asked or known."""

    job: CalibrationJob
    noted: PastSetting  # the line for the settings book
    verdict: Verdict | None = None
    evenness: Evenness | None = None
    towers: Towers | None = None
    next_setting: NextSetting | None = None
    # Rate that fills are reckoned at: the target, else the rate found
    rate_kg_per_m2: float | None = None
    fill_areas_m2: Mapping[str, float] = field(default_factory=dict)
    split: Split | None = None
    found: LookUp | None = None  # what the settings book says


def calibrate(job: CalibrationJob, past: Sequence[PastSetting] | None = None) -> Calibration:
    """Work out everything a job asks; ``past`` are lines of the settings book to look through."""
    test, about, target = job.test, job.about, job.about.target_kg_per_m2
    verdict = judge(test, target, job.tolerance) if test and target else None
    rate = target or (test.rate_kg_per_m2 if test else None)
    parted, cart_kg = job.opener_catches_kg, job.compartments_kg
    found = None
    if past is not None and target is not None:
        kind = (about.bulk_density_kg_per_m3, about.product, about.roller)
        found = look_up(past, target, *kind, allow_far=job.allow_far)
    return Calibration(
        job=job,
        noted=_noted(job, verdict),
        verdict=verdict,
        evenness=opener_evenness(parted, job.tolerance) if parted and len(parted[0]) > 1 else None,
        towers=_towers(job),
        next_setting=_next_setting(job),
        rate_kg_per_m2=rate,
        fill_areas_m2={name: kg / rate for name, kg in job.fills_kg.items()} if rate else {},
        split=split_to_empty_together(cart_kg, rate) if rate and cart_kg else None,
        found=found,
    )


def _towers(job: CalibrationJob) -> Towers | None:
    if not job.opener_catches_kg or job.rows_per_tower is None:
        return None
    tests = zip(*job.opener_catches_kg, strict=True)
    openers_kg = [math.fsum(opener) / len(job.opener_catches_kg) for opener in tests]
    return compare_towers(openers_kg, job.rows_per_tower)


def _next_setting(job: CalibrationJob) -> NextSetting | None:
    target, now = job.about.target_kg_per_m2, setting_number(job.about.setting)
    if job.test is None or target is None or now is None:
        return None
    settings = [now] * len(job.test.catches_kg) + [setting for setting, _ in job.tested]
    rates = [*job.test.rates_kg_per_m2, *(rate for _, rate in job.tested)]
    if len(set(settings)) > 1:
        return by_a_line(settings, rates, target, allow_far=job.allow_far)
    return in_proportion(now, job.test, target, allow_far=job.allow_far)


def _noted(job: CalibrationJob, verdict: Verdict | None) -> PastSetting:
    if job.test is None:
        return job.about
    result = ""
    if verdict is not None:
        side = "over" if verdict.off_by > 0 else "under"
        result = f"{verdict.standing.value}: {abs(100 * verdict.off_by):.1f} % {side} target"
    sd = job.test.sd_kg
    return replace(
        job.about,
        rate_kg_per_m2=job.test.rate_kg_per_m2,
        scatter=None if sd is None else sd / job.test.mean_kg,
        catches=len(job.test.catches_kg),
        result=result,
    )
