"""The words of an interseeding plan: the answer first, then why and what to allow."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import numpy as np
import pytest
from plans import empty_plan, make_plan

from evenacre.planning.interseeding.plan_types import (
    BEYOND,
    WEATHER,
    Relaxation,
    Rule,
    WeatherTold,
)
from evenacre.reports.maps.paddock_states import STATES, steps
from evenacre.reports.pages.interseeding import interseed_lines
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.interseeding import interseed_answer, relaxation_words
from evenacre.reports.sentences.interseeding_words import (
    chance_of,
    chance_text,
    clock,
    short_names,
    shut_words,
    shutting,
    span,
    spells,
)
from evenacre.reports.tables.interseeding_paddocks import paddocks_page
from evenacre.units.display import METRIC, US, UnitSystem


def test_the_answer_comes_first_and_then_its_reasons() -> None:
    lines = interseed_lines(make_plan(), US, warnings=["The map file was mended."])
    # Paddocks of 255 m x 130 m and one with slanted ends, 0.999 of each covered; a whole one,
    # one on two days, 60 % of one and the slanted one are planned.
    assert told(lines[0]) == ["27.82 ac", "39.27 ac", "May 6, 2026"]
    text = "\n".join(lines)
    order = [
        # What it takes, how sure it is, and what is left out.
        *("354 lb", "meadow mix", "12.9 lb/ac", "13.38 lb/ac", "3 loads", "20.6 lb", "375 lb"),
        *("74 %", "Oak Flat", "83 %", "Draw", "60 %", "4.91 ac", "8.18 ac", "Creek 3"),
        # What the herd lacks.
        *("Creek 3", "1.2 days", "Apr 19, 2026", "1,500 lb", "Creek 1", "5 days", "May 10, 2026"),
        *("Paddock by paddock:", "Day by day:", "Loads:"),
        # What would have to give, and what to beware of.
        *("600 lb", "1.5 h", "oats on the bench", "The map file was mended.", "treated"),
    ]
    place = 0
    for words in order:
        place = text.find(words, place)
        assert place >= 0, words


def told(text: str) -> list[str]:
    """Figures with their units, and days."""
    return re.findall(r"[A-Z][a-z]{2} \d+, \d{4}|[\d.,]*\d (?:ac|%)", text)


def test_every_row_of_a_table_is_as_wide_as_its_head() -> None:
    lines = interseed_lines(make_plan(), US)
    start = lines.index("Day by day:")
    table = lines[start + 1 : lines.index("", start)]
    assert len(table) == 6
    ends = {len(line) for line in table}
    assert len(ends) == 1
    assert not any("\N{NO-BREAK SPACE}" in line for line in lines)


@pytest.mark.parametrize("units", [US, METRIC])
def test_all_paddocks_together_are_the_sum_of_what_is_printed_of_each(units: UnitSystem) -> None:
    table = paddocks_page(make_plan(), Display(units))
    ground = table.head.index("Ground")
    *each, whole = (float(row[ground].split()[0]) for row in table.rows if row[ground])
    assert len(each) > 1
    assert whole == pytest.approx(sum(each), abs=1e-9)


def test_metric_words_speak_metric() -> None:
    text = "\n".join(interseed_lines(make_plan(), METRIC))
    assert "161 kg of meadow mix at 14.5 kg/ha" in text
    assert " lb" not in text
    assert " ac" not in text.replace(" access", "")


def test_a_plan_that_seeds_all_says_so() -> None:
    plan = make_plan()
    seeded = tuple(p for p in plan.paddocks if p.paddock.field.name in ("Creek 1", "Bottom"))
    answer = interseed_answer(replace(plan, paddocks=seeded), US)
    assert told(answer.headline) == ["16.36 ac", "May 6, 2026"]
    assert not [text for kind, text in answer.lines if kind == "missed"]


def test_a_plan_in_which_nothing_can_be_seeded_says_why() -> None:
    lines = interseed_lines(empty_plan(), US)
    assert told(lines[0]) == ["8.18 ac"]
    assert "Creek 3" in lines[1]
    assert "Take care:" not in lines


def test_an_unproven_schedule_says_how_far_it_may_be_off() -> None:
    plan = make_plan()
    rough = replace(plan, schedule=replace(plan.schedule, proven=False, gap=0.021))
    (cost,) = (text for kind, text in interseed_answer(rough, US).lines if kind == "cost")
    assert told(cost) == ["2.1 %"]
    assert not [k for k, _ in interseed_answer(plan, US).lines if k == "cost"]


@pytest.mark.parametrize(
    ("relaxation", "figures"),
    [
        (Relaxation("seed", None, 272.155, "on_hand_kg", 300.0), ["600 lb", "661.4 lb"]),
        (Relaxation(Rule.CLOSE, "Creek 3", 2.0, "closes_after_days", 16), ["2 days", "16 days"]),
        (Relaxation(Rule.WAIT, "Creek 3", 1.0, "opens_after_days", 2), ["1 day ", "2 days"]),
        (
            Relaxation(Rule.RESIDUAL, "Creek 3", 0.01121, "residual_most_kg_per_m2", 0.1009),
            ["101 lb/ac", "901 lb/ac"],
        ),
        (
            Relaxation(Rule.REGROWTH, "Creek 3", 0.01121, "regrowth_most_kg_per_m2", 0.1009),
            ["101 lb/ac", "901 lb/ac"],
        ),
        (
            Relaxation(Rule.REGRAZE, "Creek 3", 5.0, "moves", dt.date(2026, 6, 1)),
            ["5 days", "Mon Jun 1, 2026"],
        ),
        (
            Relaxation(Rule.GIVEN, "Creek 3", 1.0, "window_last", dt.date(2026, 6, 1)),
            ["1 day:", "until Mon Jun 1, 2026"],
        ),
        (
            Relaxation(Rule.SEASON, None, 3.0, "first_day", dt.date(2026, 4, 1)),
            ["3 days", "from Wed Apr 1, 2026"],
        ),
        (Relaxation("hours", None, 5500.0, "hours_most_s", 8.91 * 3600), ["1.6 h", "9 h"]),
        (Relaxation("hours", None, 1450.0, "day_to_s", 20.5 * 3600), ["25 min", "20:30"]),
        (Relaxation(WEATHER, None, 7200.0, "lost_chance", 0.185), ["2 h", "18.5 %"]),
        (
            Relaxation(
                "booked: oats", None, 7300.0, "bookings", None, ((dt.date(2026, 6, 1), 7300.0),)
            ),
            ["2.1 h back", "oats (2.1 h on Mon Jun 1, 2026)"],
        ),
        (Relaxation(BEYOND, "Draw", 0.4), ["40 %", "Draw"]),
        (Relaxation(BEYOND, "Draw", 1.0), ["all of Draw"]),
    ],
)
def test_what_to_relax_is_told_rounded_up_and_with_what_it_comes_to(
    relaxation: Relaxation, figures: list[str]
) -> None:
    words = relaxation_words(relaxation, US)
    assert [figure for figure in figures if figure not in words] == [], words
    assert relaxation.paddock is None or relaxation.paddock in words


def test_every_rule_that_can_be_moved_has_words_whatever_it_comes_to() -> None:
    for rule in Rule:
        if rule not in (Rule.HERD, Rule.UNTOLD):
            words = relaxation_words(Relaxation(rule, "Creek 3", 3.0), US)
            assert "3 days" in words or "lb/ac" in words


def test_only_rules_that_it_takes_are_named_for_a_window_that_never_opens() -> None:
    plan = make_plan()
    window = plan.paddocks[0].window
    assert window is not None
    n = len(plan.days)
    early, late = np.arange(n) < 12, np.arange(n) >= 10
    shut = {
        Rule.HERD: np.arange(n) < 3,
        Rule.WAIT: early,
        Rule.REGROWTH: late & (np.arange(n) < 20),
        Rule.CLOSE: late,
    }
    never = replace(window, opens=None, closes=None, blocked=shut)
    assert shutting(never) == [Rule.WAIT, Rule.CLOSE]
    assert "every day is less than" in shut_words(never, plan)
    alone = replace(never, blocked={**shut, Rule.GIVEN: np.arange(n) >= 3})
    assert shutting(alone) == [Rule.GIVEN]
    herd = replace(never, blocked={**shut, Rule.HERD: np.ones(n, dtype=bool)})
    assert shutting(herd) == [Rule.HERD]


def test_spells_are_the_runs_of_open_days() -> None:
    plan = make_plan()
    window = plan.paddocks[0].window
    assert window is not None
    gap = window.blocked[Rule.HERD].copy()
    gap[8:10] = True
    parted = replace(window, blocked={**window.blocked, Rule.HERD: gap})
    day = dt.date.fromisoformat
    assert spells(parted, plan.days) == [
        (day("2026-04-10"), day("2026-04-13")),
        (day("2026-04-16"), day("2026-04-23")),
    ]
    shut = replace(window, blocked={Rule.SEASON: np.ones(len(plan.days), dtype=bool)})
    assert spells(shut, plan.days) == []
    assert shutting(shut) == [Rule.SEASON]


@pytest.mark.parametrize(
    ("chance", "words"),
    [(1.0, "over 99 %"), (0.9999, "over 99 %"), (0.834, "83 %"), (0.001, "under 1 %")],
)
def test_what_is_not_sure_is_not_called_so(chance: float, words: str) -> None:
    assert chance_text(chance) == words


def test_clock_times_past_midnight_say_so() -> None:
    assert clock(8.5 * 3600) == "08:30"
    assert clock(25 * 3600) == "01:00 next day"


def test_the_map_steps_through_every_day_and_says_what_each_paddock_is() -> None:
    plan = make_plan()
    made, of_visit = steps(plan, US)
    first, last = span(plan)
    assert len(made) == 1 + (last - first).days + 1
    assert all(state in STATES for step in made for state in step.states)
    for number, visit in enumerate(plan.visits, 1):
        step = made[of_visit[number]]
        assert step.title.endswith(f"{visit.day:%b} {visit.day.day}, {visit.day.year}")
        place = [p.paddock.field.name for p in plan.paddocks].index(visit.paddock)
        assert step.states[place] == "seeding"
        assert step.labels[place] == "seeding"
        assert f"Seed {visit.paddock} ({number})" in step.text
    # The herd is in one paddock on every day of its round, and in none between rounds.
    for n, step in enumerate(made[1:]):
        assert step.states.count("herd") == (1 if n < 29 or 34 <= n < 39 else 0)
    assert made[0].states == ("whole", "whole", "none", "never", "part", "whole")


@pytest.mark.parametrize(
    ("names", "short"),
    [
        (["Long Pasture paddock 1", "Long Pasture paddock 2"], ["paddock 1", "paddock 2"]),
        (["Creek", "Hill"], ["Creek", "Hill"]),
        (["Creek north", "Creek"], ["Creek north", "Creek"]),
        (["The only paddock"], ["The only paddock"]),
        (["Creek north", "Creek south", "Hill"], ["Creek north", "Creek south", "Hill"]),
        ([], []),
    ],
)
def test_short_names_keep_what_tells_paddocks_apart(names: list[str], short: list[str]) -> None:
    assert short_names(names) == short


def test_past_years_are_counted_and_no_chance_of_them_is_called_sure() -> None:
    drawn = make_plan()
    years = WeatherTold(0.3, 2.0, tuple(range(2012, 2026)))
    past = replace(drawn, weather=years, chance_all=1.0, chance_all_within=(0.87, 0.9999))
    assert chance_of(drawn, 1.0) == "over 99 %"
    assert chance_of(past, 1.0) == "14 in 14 years"
    assert chance_of(past, 0.5) == "7 in 14 years"
    assert chance_of(past, None) == ""
    said = " ".join(text for _, text in interseed_answer(past, US).lines)
    assert "87" in said
    assert "over 99 %" not in said
