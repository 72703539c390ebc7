"""Openers compared by towers: what is named, how often wrongly, and how far off it is."""

from __future__ import annotations

import json

import numpy as np
import pytest
from cli_jobs import evenacre
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from evenacre.planning.calibration.towers import compare_towers


def catches(rng: np.random.Generator, factors: list[float], scatter: float = 0.03) -> np.ndarray:
    """Eight openers of each tower about one mean."""
    return np.repeat(factors, 8) * rng.normal(1.0, scatter, 8 * len(factors))


def test_a_low_tower_is_named_and_how_far_it_is_off() -> None:
    rng = np.random.default_rng(1)
    named = held = 0
    for _ in range(200):
        found = compare_towers(catches(rng, [1, 1, 0.85, 1]), 8)
        assert found is not None
        odd = {one.number: one for one in found.odd}
        if 3 in odd:
            named += 1
            low, high = odd[3].interval_90
            held += low <= -0.15 <= high
            assert odd[3].openers == (17, 24)
    assert named >= 198
    assert held / named == pytest.approx(0.9, abs=0.06)


def test_scatter_alone_is_named_once_in_twenty_at_most() -> None:
    rng = np.random.default_rng(2)
    towers = openers = 0
    for _ in range(600):
        found = compare_towers(catches(rng, [1, 1, 1, 1], 0.05), 8)
        assert found is not None
        towers += bool(found.odd)
        openers += bool(found.odd_openers)
    # Four standard errors above 1 in 20 of as many.
    assert max(towers, openers) / 600 < 0.05 + 4 * (0.05 * 0.95 / 600) ** 0.5
    assert min(towers, openers) > 6  # and it is no idle rule


def test_a_low_tower_makes_no_other_look_high() -> None:
    rng = np.random.default_rng(3)
    wrong = 0
    for _ in range(200):
        found = compare_towers(catches(rng, [1, 0.7, 1, 1], 0.02), 8)
        assert found is not None
        wrong += {one.number for one in found.odd} != {2}
    assert wrong / 200 < 0.05 + 4 * (0.05 * 0.95 / 200) ** 0.5


def test_a_plugged_opener_is_named_and_spoils_no_tower() -> None:
    rng = np.random.default_rng(4)
    for _ in range(40):
        kg = catches(rng, [1, 1, 1, 1], 0.03)
        kg[18] = 0.0
        kg[5] *= 1.5
        found = compare_towers(kg, 8)
        assert found is not None
        odd = {one.number: one for one in found.odd_openers}
        assert {6, 19} <= set(odd)
        assert odd[19].off_by == pytest.approx(-1.0)
        assert (odd[19].tower, odd[6].tower) == (3, 1)
        assert 3 not in {one.number for one in found.odd if abs(one.off_by) > 0.05}


@given(st.integers(0, 10_000))
def test_two_towers_are_held_together_as_an_analysis_of_variance_does(seed: int) -> None:
    rng = np.random.default_rng(seed)
    kg = catches(rng, [1, 1 + rng.normal(0, 0.03)], 0.03)
    found = compare_towers(kg, 8)
    assert found is not None
    if not found.odd_openers:
        assert bool(found.odd) == (stats.f_oneway(kg[:8], kg[8:]).pvalue < 0.05)
        if found.odd:
            assert found.odd[0].off_by < 0


@given(st.integers(0, 10_000))
def test_openers_are_judged_by_the_layout_without_them(seed: int) -> None:
    """The least p of all, by a regression on towers and on the opener itself."""
    rng = np.random.default_rng(seed)
    kg = catches(rng, [1, 1.1, 0.9], 0.04)
    kg[int(rng.integers(24))] *= 1 + rng.normal(0, 0.12)
    layout = np.repeat(np.eye(3), 8, axis=0)
    chances = []
    for i in range(24):
        own = np.column_stack([layout, np.arange(24) == i])
        fit, left, *_ = np.linalg.lstsq(own, kg, rcond=None)
        error = np.sqrt(left[0] / 20 * np.linalg.inv(own.T @ own)[3, 3])
        chances.append(2 * stats.t.sf(abs(fit[3]) / error, 20))
    found = compare_towers(kg, 8)
    assert found is not None
    named = [one.number - 1 for one in found.odd_openers]
    assert bool(named) == (min(chances) * 24 < 0.05)
    if named:
        assert int(np.argmin(chances)) in named


@given(st.integers(0, 1000), st.floats(1e-3, 1e3))
def test_units_do_not_matter(seed: int, unit: float) -> None:
    kg = catches(np.random.default_rng(seed), [1, 0.9, 1], 0.05)
    one, other = compare_towers(kg, 8), compare_towers(kg * unit, 8)
    assert one is not None
    assert other is not None
    assert [t.number for t in one.odd] == [t.number for t in other.odd]
    assert one.scatter == pytest.approx(other.scatter)


@pytest.mark.parametrize(("openers", "each"), [(8, 8), (8, 1), (3, 2)])
def test_too_few_to_compare(openers: int, each: int) -> None:
    assert compare_towers(np.linspace(1, 1.1, openers).tolist(), each) is None


def test_openers_that_give_all_the_same() -> None:
    found = compare_towers([0.02] * 16, 8)
    assert found is not None
    assert (found.odd, found.odd_openers, found.scatter) == ((), (), 0.0)
    found = compare_towers([0.02] * 8 + [0.018] * 8 + [0.02] * 8, 8)
    assert found is not None
    assert [(one.number, one.interval_90) for one in found.odd] == [
        (2, pytest.approx((-0.1, -0.1)))
    ]


TEST = ("calibrate", "--no-book", "--area", "0.01 ac", "--product", "rye")


def test_the_command_names_the_tower() -> None:
    rng = np.random.default_rng(5)
    grams = " ".join(f"{200 * kg:.1f}" for kg in catches(rng, [1, 1, 0.85, 1], 0.01))
    ran = evenacre(*TEST, "--opener-catch", f"{grams} g", "--rows-per-tower", "8", "--json")
    assert ran.code == 0, ran.err
    towers = json.loads(ran.out)["towers"]
    assert [one["number"] for one in towers["odd"]] == [3]
    assert towers["odd"][0]["off_by"] == pytest.approx(-0.15, abs=0.02)
    said = evenacre(*TEST, "--opener-catch", f"{grams} g", "--rows-per-tower", "8").out
    assert "Tower 3 (openers 17 to 24)" in said
    assert (
        json.loads(evenacre(*TEST, "--opener-catch", f"{grams} g", "--json").out)["towers"] is None
    )


@pytest.mark.parametrize(
    "options",
    [
        ("--catch", "4 lb", "--rows-per-tower", "8"),
        ("--opener-catch", "20 21 20 22 g", "--rows-per-tower", "1"),
        ("--opener-catch", "20 21 20 22 g", "--rows-per-tower", "4"),
    ],
)
def test_towers_that_make_no_sense(options: tuple[str, ...]) -> None:
    ran = evenacre(*TEST, *options)
    assert ran.code == 2
    (said,) = ran.errors()
    assert "--rows-per-tower" in said
