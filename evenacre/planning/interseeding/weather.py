"""The chance that what is planned gets done, over many simulated seasons or past ones."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import betaincinv

from evenacre.model import BoolArray, FloatArray, PastWeather, Seeding
from evenacre.model.finding import Finding, FindingError
from evenacre.planning.interseeding.fills import loads_of, sown_in
from evenacre.planning.interseeding.loads import LOAD_TOLERANCE
from evenacre.planning.interseeding.plan_types import (
    ScheduleProblem,
    SeedingSchedule,
    WeatherTold,
)

_DONE = 2e-6
"""Part of a paddock, or of a load, that is not missed."""

_GRACE_S = 2e-3  # the solver keeps the hours of a day no closer

_APART_DAYS = 7
"""A past season might as well have come so much earlier or later (common practice, no source)."""
_ENOUGH_YEARS = 10
_UNKNOWN = 0.05  # share of a season's days that may be unknown
_UNLIKE = 0.1  # an allowance and what was lost that differ by more are worth a word
_OUTSIDE = 0.05  # of a chance, on either side of its 90 % interval


@dataclass(frozen=True)
class Chances:
    """How likely the plan is to be done in time."""

    # (m,); that all planned for a paddock is done inside its window; 1 where nothing is planned
    each: FloatArray
    all: float  # that all of it is done
    # 90 % interval of that, where so few years tell it; None: it is good to what runs allow
    all_within: tuple[float, float] | None = None


@dataclass(frozen=True)
class SeasonsLost:
    """Which days weather takes, in many seasons side by side."""

    lost: BoolArray  # (n, r); of past years each has equally many
    told: WeatherTold
    findings: tuple[Finding, ...] = ()


def lost_in_spells(
    lost_chance: float,
    spell_days: float | None,
    known: BoolArray,
    *,
    runs: int,
    random_seed: int,
) -> BoolArray:
    """Draw which days are lost, shape (n, runs), in spells of a mean length.

    A chain of two states: a day is lost with one chance after a lost day and with another after a
    good one, such that ``lost_chance`` of all days are lost, in runs of ``spell_days`` on average
    (K. R. Gabriel and J. Neumann 1962, A Markov chain model for daily rainfall occurrence at Tel
    Aviv, Quarterly Journal of the Royal Meteorological Society 88, 90-95). None: each day by
    itself, whose runs are 1 / (1 - ``lost_chance``) long. Days that are known as lost (n,) are so
    in every season, and those about them lost as often as the chain has it then.
    """
    n = len(known)
    draws = np.random.default_rng(random_seed).random((n, runs))
    again = lost_chance if spell_days is None else 1.0 - 1.0 / spell_days
    if lost_chance in (0.0, 1.0):
        again = lost_chance
    begins = lost_chance if again == lost_chance else (1 - again) * lost_chance / (1 - lost_chance)
    if begins > 1.0 + 1e-9:
        raise ValueError("spells this short cannot take so many days")
    # How well a day lost, and a good one, agree with what is known of the days after it.
    fits = np.ones((n, 2))
    for day in reversed(range(n - 1)):
        if_lost, if_good = fits[day + 1, 0], 0.0 if known[day + 1] else fits[day + 1, 1]
        fits[day] = [p * if_lost + (1 - p) * if_good for p in (again, begins)]
        fits[day] /= max(fits[day].max(), 1e-300)
    lost = np.zeros((n, runs), dtype=bool)
    for day in range(n):
        before = np.where(lost[day - 1], again, begins) if day else np.array([lost_chance])
        agree = before * fits[day, 0]
        other = (1.0 - before) * (0.0 if known[day] else fits[day, 1])
        lost[day] = known[day] | (draws[day] * (agree + other) < agree)
    return lost


def lost_days(past: PastWeather) -> FloatArray:
    """Tell which past days were lost, shape (k,): 1, or 0, or NaN where that is not known.

    A day is lost when so much rain as stops the drill fell on it, or on one of the days before it
    that it takes to dry.
    """
    wet = np.where(np.isnan(past.rain_m), np.nan, past.rain_m >= past.stops_m * (1 - 1e-9))
    before = np.full(past.dry_after_days, np.nan)
    near = np.lib.stride_tricks.sliding_window_view(
        np.concatenate([before, wet]), past.dry_after_days + 1
    )
    # One wet day settles it; else every one has to be known.
    return np.where((near == 1).any(axis=1), 1.0, near.sum(axis=1))


def past_seasons(past: PastWeather, days: Sequence[dt.date], known: BoolArray) -> SeasonsLost:
    """Take past years, each whole, for the season to come.

    The same days of each year are taken as they followed one another, and again so many days
    earlier and later: weather keeps no calendar. Years of which the table lacks more than a
    twentieth of these days are left out; single days that it lacks count as lost. Days known as
    lost (n,) are so in every season.

    Raises
    ------
    FindingError
        When no year is whole.
    """
    lost, n = lost_days(past), len(days)
    shifts = np.arange(-_APART_DAYS, _APART_DAYS + 1)
    years, seasons, unknown, broken = [], [], 0, []
    for year in range(past.first.year - 1, past.first.year + len(lost) // 365 + 2):
        begin = (_same_day(days[0], year) - past.first).days
        at = begin + shifts[:, None] + np.arange(n)
        there = (at >= 0) & (at < len(lost))
        taken = np.where(there, lost[np.clip(at, 0, len(lost) - 1)], np.nan)
        lacking = np.isnan(taken)
        if lacking.mean(axis=1).max() <= _UNKNOWN:
            years.append(year)
            seasons.append(np.where(lacking, 1.0, taken).T > 0)
            unknown += int(lacking[_APART_DAYS].sum())
        elif there.all():
            broken.append(year)
    if not years:
        first, last = (f"{day:%B} {day.day}" for day in (days[0], days[-1]))
        raise FindingError("no_past_season", past.source, first=first, last=last)
    found = []
    if len(years) < _ENOUGH_YEARS:
        found.append(Finding.warning("few_past_years", years=len(years)).at(past.source))
    if unknown:
        found.append(Finding.warning("past_days_unknown", days=unknown).at(past.source))
    if broken:
        names = tuple(str(year) for year in broken)
        found.append(Finding.warning("past_years_left_out", years=names).at(past.source))
    drawn = np.hstack(seasons)
    told = WeatherTold(*_share_and_spell(drawn), tuple(years))
    return SeasonsLost(drawn | known[:, None], told, tuple(found))


def _share_and_spell(lost: BoolArray) -> tuple[float, float]:
    """Share of days (n, r) that are lost, and the mean length of their runs.

    A run ends as often as a good day follows a lost one; the first and last of a season are cut.
    """
    before, after = lost[:-1], lost[1:]
    return float(lost.mean()), float(before.sum() / max((before & ~after).sum(), 1))


def _same_day(day: dt.date, year: int) -> dt.date:
    """The day of another year; of 29 February the first of March."""
    try:
        return day.replace(year=year)
    except ValueError:
        return dt.date(year, 3, 1)


def seasons_of(seeding: Seeding, days: Sequence[dt.date]) -> tuple[Seeding, SeasonsLost | None]:
    """Draw the weather of a season, or take it from past years; None where no day may be lost.

    Where past years tell, and nobody besides, how much of the days to leave to weather, the
    seeding that is returned has their share.
    """
    known = np.array([day in seeding.lost_days for day in days], dtype=bool)
    past = seeding.past_weather
    if past is not None:
        taken = past_seasons(past, days, known)
        share = taken.told.share
        if not past.allowance_told:
            return replace(seeding, lost_chance=share), taken
        if abs(share - seeding.lost_chance) > _UNLIKE:
            unlike = Finding.warning(
                "allowance_unlike_past", told=seeding.lost_chance, share=share, source=past.source
            )
            taken = replace(taken, findings=(*taken.findings, unlike))
        return seeding, taken
    if not seeding.lost_chance:
        return seeding, None
    chance, spell = seeding.lost_chance, seeding.lost_spell_days
    runs, random_seed = seeding.runs, seeding.random_seed
    lost = lost_in_spells(chance, spell, known, runs=runs, random_seed=random_seed)
    found = []
    if spell is not None and spell > len(days):
        found.append(Finding.warning("spell_beyond_season", spell_days=spell, days=len(days)))
    # Alone, lost days still follow one another now and then; where all are lost they have no end.
    alone = 1.0 / (1.0 - chance) if chance < 1.0 else float(len(days))
    told = WeatherTold(chance, alone if spell is None else spell, None)
    return seeding, SeasonsLost(lost, told, tuple(found))


def simulate(
    problem: ScheduleProblem,
    schedule: SeedingSchedule,
    full_s: FloatArray,
    weather: SeasonsLost,
) -> Chances:
    """Play the plan through many seasons in which days are lost.

    A day is lost or good as a whole. A good day has all its time, ``full_s`` (n,): first goes what
    is planned up to that day and not done yet, that first which closes first; then the drill goes
    on with what is planned for later, where it is open already. Work slides only to days that no
    rule forbids. Loads are those of the plan, in their order; a drill that has time left in the
    evening puts the next into an empty cart.

    Chances of drawn seasons have a standard error of sqrt(chance (1 - chance) / runs). Those of
    past years have the interval of Jeffreys, each year counted once (L. D. Brown, T. T. Cai and A.
    DasGupta 2001, Interval estimation for a binomial proportion, Statistical Science 16, 101-133).
    """
    n, runs = weather.lost.shape
    season = _Season(problem, schedule, runs)
    for day in range(n):
        season.play(day, np.where(weather.lost[day], 0.0, full_s[day]))
    done = season.left <= season.slack_kg[:, None]
    chance, within = float(done.all(axis=0).mean()), None
    if weather.told.years is not None:
        count = len(weather.told.years)
        a, b = count * chance + 0.5, count * (1 - chance) + 0.5
        within = float(betaincinv(a, b, _OUTSIDE)), float(betaincinv(a, b, 1 - _OUTSIDE))
    return Chances(each=done.mean(axis=1), all=chance, all_within=within)


class _Season:
    """All runs of a season, side by side: what is left of each paddock, and in the cart."""

    def __init__(self, problem: ScheduleProblem, schedule: SeedingSchedule, runs: int) -> None:
        self.setup_s, self.refill_s = problem.setup_s, problem.refill_s
        # Seed sown when each load is at an end; a cart that is never filled never runs empty.
        self.ends_kg, filled, load_kg = np.array([0.0, np.inf]), 1, 0.0
        if problem.load_kg is not None and problem.counts_fills and schedule.fills.any():
            load_kg, filled = problem.load_kg, 0
            plain, _ = loads_of(schedule.fills, schedule.sown_kg(problem), load_kg)
            self.ends_kg = plain if schedule.ends_kg is None else schedule.ends_kg
        full_kg = problem.seed_kg(schedule.rate_kg_per_m2)
        self.kg_per_s = np.divide(
            full_kg, problem.work_s, out=np.full(len(full_kg), 1e300), where=problem.work_s > 0
        )
        self.planned_kg = full_kg[:, None] * schedule.share
        self.due_kg = np.cumsum(self.planned_kg, axis=1)
        total = self.due_kg[:, -1] if self.due_kg.shape[1] else np.zeros(len(full_kg))
        self.total_kg = total
        self.left = np.repeat(total[:, None], runs, axis=1)
        self.slack_kg = _DONE * np.maximum(full_kg, load_kg)
        self.empty_kg = LOAD_TOLERANCE * load_kg
        self.sown_kg, self.filled = np.zeros(runs), np.full(runs, filled)
        self.open = problem.open_days
        days = np.arange(self.open.shape[1])
        self.last = np.where(self.open, days, -1).max(axis=1, initial=-1)
        self.first = np.where(self.planned_kg > 0, days, len(days)).min(axis=1, initial=len(days))

    def play(self, day: int, time: FloatArray) -> None:
        """Let one day pass; ``time`` is what each run has of it."""
        if not time.any():
            return
        here = [int(p) for p in np.nonzero(self.open[:, day] & (self.total_kg > 0))[0]]
        worked = {p: np.zeros(len(time), dtype=bool) for p in here}
        begun = [p for p in here if self.due_kg[p, day] > 0]
        for p in sorted(begun, key=lambda p: (self.last[p], p)):
            behind = self.left[p] - (self.total_kg[p] - self.due_kg[p, day])
            time, worked[p] = self._work(p, np.maximum(behind, 0.0), time, worked[p])
        for p in sorted(here, key=lambda p: (self.first[p], self.last[p])):
            time, worked[p] = self._work(p, self.left[p], time, worked[p])
        more = self.filled < len(self.ends_kg) - 1
        empty = self.ends_kg[self.filled] - self.sown_kg <= self.empty_kg
        self.filled += more & empty & (time + _GRACE_S >= self.refill_s)

    def _work(
        self, paddock: int, wanted_kg: FloatArray, time: FloatArray, here: BoolArray
    ) -> tuple[FloatArray, BoolArray]:
        """Sow up to ``wanted_kg`` in a paddock; set-up is paid once a day."""
        setup = np.where(here, 0.0, self.setup_s)
        work = (wanted_kg > self.slack_kg[paddock]) & (time + _GRACE_S > setup)
        if not work.any():
            return time, here
        sown, self.filled, spent = sown_in(
            np.where(work, wanted_kg, 0.0),
            self.sown_kg,
            self.filled,
            np.where(work, np.maximum(time - setup, 0.0) + _GRACE_S, 0.0),
            self.kg_per_s[paddock],
            self.ends_kg,
            self.refill_s,
        )
        self.left[paddock] -= sown
        self.sown_kg += sown
        work &= sown > 0
        time = np.maximum(time - np.where(work, spent + setup, 0.0), 0.0)
        return time, here | work
