"""Past settings: the nearest in rate and bulk density, and how far a job lies from them."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from evenacre.model import PastSetting
from evenacre.model.finding import Finding
from evenacre.planning.calibration.next_setting import look_up, setting_number

amounts = st.floats(1.0, 1000.0)


def past(rate: float, density: float | None, setting: str = "40", **rest: str) -> PastSetting:
    return PastSetting(
        product=rest.pop("product", "seed"),
        rate_kg_per_m2=rate,
        bulk_density_kg_per_m3=density,
        setting=setting,
        **rest,
    )


def test_the_nearest_is_nearest_in_logarithms() -> None:
    # Half as much is as far as twice as much: 10 lies nearer to 15 than to 6.
    book = [past(6, 700, "six"), past(15, 700, "fifteen"), past(10, 1400, "dense")]
    order = [m.past.setting for m in look_up(book, 10, 700).matches]
    assert order == ["fifteen", "six", "dense"]
    assert look_up(book, 10, 700).matches[0].distance == pytest.approx(math.log(1.5))


@given(st.lists(st.tuples(amounts, amounts), min_size=1, max_size=6), amounts, amounts)
def test_the_nearest_against_trying_all(
    lines: list[tuple[float, float]], rate: float, density: float
) -> None:
    found = look_up([past(r, d) for r, d in lines], rate, density)
    best = min(math.hypot(math.log(rate / r), math.log(density / d)) for r, d in lines)
    assert found.matches[0].distance == pytest.approx(best, abs=1e-8)


@given(amounts, amounts, st.floats(0.01, 1.2), st.floats(0.67, 1.49), st.floats(0.67, 1.49))
def test_a_carried_setting_is_right_where_the_roller_carries_volume(
    density: float, setting: float, volume: float, rate_step: float, density_step: float
) -> None:
    # The roller puts out `volume` for each step of the setting, whatever fills it.
    then = setting * volume * density
    found = look_up([past(then, density, repr(setting))], then * rate_step, density * density_step)
    assert found.start is not None
    assert found.start * volume * density * density_step == pytest.approx(then * rate_step)


@given(amounts, amounts, st.floats(0.01, 100), st.floats(0.01, 100))
def test_units_do_not_matter(rate: float, density: float, a: float, b: float) -> None:
    book, scaled = [past(20, 600), past(50, 300)], [past(20 * a, 600 * b), past(50 * a, 300 * b)]
    plain, other = look_up(book, rate, density), look_up(scaled, rate * a, density * b)
    assume(abs(plain.matches[0].distance - plain.matches[1].distance) > 1e-6)
    assume(abs(plain.matches[0].reach - 1.5) > 1e-6)
    assert (plain.start is None) == (other.start is None)
    if plain.start is not None:
        assert other.start == pytest.approx(plain.start)


def test_far_settings_are_not_carried_over_unasked() -> None:
    book = [past(10, 700)]
    assert look_up(book, 14.9, 700).start == pytest.approx(40 * 1.49)
    for rate, density in [(15.2, 700), (6.5, 700), (10, 1100), (10, 450)]:
        refused = look_up(book, rate, density)
        assert refused.start is None
        assert refused.refused == Finding.note("noted_setting_too_far")
        assert refused.matches[0].reach > 1.5
        assert look_up(book, rate, density, allow_far=True).start is not None


def test_a_rate_outside_of_the_book_is_told() -> None:
    book = [past(10, 700), past(20, 700)]
    assert [look_up(book, rate, 700).outside for rate in (9.5, 10, 15, 20, 21)] == [
        True,
        False,
        False,
        False,
        True,
    ]


def test_what_can_be_compared() -> None:
    book = [
        past(10, None, "1", product="Red  Clover"),
        past(10, None, "2", product="oats"),
        past(10, 700, "3", product="oats", roller="coarse"),
        PastSetting(product="red clover", setting="4"),
    ]
    assert [m.past.setting for m in look_up(book, 10, None, "red clover").matches] == ["1"]
    assert [m.past.setting for m in look_up(book, 10, 700, "red clover").matches] == ["1", "3"]
    assert [m.past.setting for m in look_up(book, 10, 700, "rye", "Coarse").matches] == ["3"]
    nothing = look_up(book, 10, None, "rye")
    assert (nothing.matches, nothing.start) == ((), None)
    assert nothing.refused


def test_of_equals_the_latest_counts() -> None:
    book = [past(10, 700, "40", date="2025"), past(10, 700, "41", date="2026")]
    assert look_up(book, 10, 700).start == pytest.approx(41)


def test_settings_in_words_are_shown_but_not_carried_over() -> None:
    found = look_up([past(10, 700, "gear 3")], 10, 700)
    assert found.start is None
    assert found.matches[0].past.setting == "gear 3"


def test_settings_as_numbers() -> None:
    assert [setting_number(t) for t in ("42", " 42,5 ", "0", "-3", "inf", "nan", "gear", "")] == [
        42.0,
        42.5,
        *[None] * 6,
    ]
