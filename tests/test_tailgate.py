"""At the tailgate: the rate so far, what a change is worth, and parts of a cart."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cli_jobs import evenacre
from hypothesis import given
from hypothesis import strategies as st

import evenacre as ev
from evenacre.model import (
    Application,
    Compartment,
    Field,
    Implement,
    OperationPlan,
    PastSetting,
    Product,
)
from evenacre.planning.finish.finish_job import full_cart_kg
from evenacre.planning.finish.rate_to_finish import ground_left
from evenacre.planning.finish.so_far import SoFar, change_setting, finish_so_far
from evenacre.planning.loads.loads import Amount

LB, ACRE = 0.45359237, 4046.8564224  # NIST SP 811, appendix B.8
LB_AC = LB / ACRE
Z90 = 1.6448536269514722  # standard normal quantile of 0.95
UNLIKE = 0.005  # of the ground to come, beside its own error
PLAIN = ("--started", "1250 lb", "--done", "25 ac", "--left", "625 lb", "--overlap", "0 %")


def so_far(
    started: float = 1250.0,
    left: float = 625.0,
    done: float = 25.0,
    sigmas: tuple[float, float, float] = (12.5, 6.25, 0.25),
    overlap: float = 0.0,
) -> SoFar:
    return SoFar(Amount(started, sigmas[0]), Amount(left, sigmas[1]), done, sigmas[2], overlap, 0.0)


def figures(*options: object, folder: Path | None = None) -> dict[str, Any]:
    ran = evenacre("finish", *options, "--json")
    assert ran.code == 0, ran.err
    account: dict[str, Any] = json.loads(ran.out)
    return account


def test_half_the_load_on_half_the_ground_is_left_alone() -> None:
    found = figures(*PLAIN, "--area", "25 ac")
    assert found["so_far"]["rate_kg_per_m2"] == pytest.approx(25 * LB_AC)
    assert found["change"]["factor"] == pytest.approx(1.0)
    assert not found["change"]["can_be_told"]
    assert found["verdict"] == "even"
    ran = evenacre("finish", *PLAIN, "--area", "25 ac")
    assert ran.out.startswith("Leave it alone")


@pytest.mark.parametrize("overlap", ["0 %", "8 %", None])
def test_a_setting_is_carried_over_in_proportion_whatever_is_driven_twice(
    overlap: str | None,
) -> None:
    lapped = () if overlap is None else ("--overlap", overlap)
    found = figures(*PLAIN[:-2], *lapped, "--area", "20 ac", "--setting", "42")
    assert found["change"]["factor"] == pytest.approx(25 / 20)
    assert found["change"]["setting"] == pytest.approx(42 * 25 / 20)
    assert found["change"]["can_be_told"]
    assert found["verdict"] == "left over"
    low, high = found["change"]["setting_interval_90"]
    assert low < 42 * 25 / 20 < high


def test_without_ground_to_come_the_rate_wanted_is_what_counts() -> None:
    found = figures(*PLAIN, "--rate", "30 lb/ac", "--setting", "40")
    assert found["change"]["setting"] == pytest.approx(48)
    assert "verdict" not in found
    assert not figures(*PLAIN, "--rate", "25.2 lb/ac")["change"]["can_be_told"]
    assert figures(*PLAIN)["change"] is None


def test_ends_of_the_interval_differ_by_just_what_the_errors_allow() -> None:
    done, ground = so_far(), ground_left(22.0, 0.3, overlap=0.0)
    _, within = finish_so_far(ground, done, Product("rye"))
    ratio = 22 / 25
    spread = ratio * math.hypot(0.3 / 22, 0.25 / 25, UNLIKE)
    for f in within:
        # f (started - left) ratio - left, by first derivatives.
        off = f * 625 * ratio - 625
        sigma = math.hypot(f * ratio * 12.5, (1 + f * ratio) * 6.25, f * 625 * spread)
        assert abs(off) == pytest.approx(Z90 * sigma, rel=1e-4)


def test_the_interval_of_the_change_holds_the_truth_nine_times_in_ten() -> None:
    rng = np.random.default_rng(8)
    held = told = 0
    for _ in range(1500):
        started, left, done, area = 1250.0, 500.0, 25.0, 18.0
        s, lft = rng.normal([started, left], [12.5, 8.0])
        d, a = rng.normal([done, area], [0.25, 0.18])
        seen = so_far(s, lft, d, (12.5, 8.0, 0.25))
        a_true = area * (1 + rng.normal(0, UNLIKE))
        finish, (low, high) = finish_so_far(ground_left(a, 0.18, overlap=0.0), seen, Product("rye"))
        truth = (left / a_true) / ((started - left) / done)
        held += low <= truth <= high
        told += finish.verdict == "even"
    assert held / 1500 == pytest.approx(0.9, abs=0.025)
    assert told / 1500 < 0.9  # 500 lb on 18 ac at 30 lb/ac: 8 % short is often told


@given(
    st.floats(1.0, 1e4), st.floats(0.01, 0.99), st.floats(0.5, 200), st.floats(0.5, 200),
    st.floats(0.0, 0.05),
)  # fmt: skip
def test_the_interval_holds_the_figure_and_the_verdict_goes_by_it(
    started: float, part: float, done: float, area: float, error: float
) -> None:
    left = part * started
    seen = so_far(started, left, done, (error * started, error * left, error * done))
    finish, (low, high) = finish_so_far(ground_left(area, error * area), seen, Product("rye"))
    factor = (left / area) / ((started - left) / done)
    assert low <= factor * (1 + 1e-9)
    assert factor <= high * (1 + 1e-9)
    assert finish.even_kg_per_m2 / seen.rate_kg_per_m2 * (1.03 / 1.0) == pytest.approx(factor)
    assert (finish.verdict == "even") == (low <= 1 <= high)
    assert finish.short_kg == pytest.approx((started - left) * area / done - left, abs=1e-6)


# The setting


RYE = [
    PastSetting("rye", "2026-03-01", 20 * LB_AC, setting="35", place="book.csv, line 2"),
    PastSetting("Rye ", "2026-03-02", 26 * LB_AC, setting="45", place="book.csv, line 3"),
    PastSetting("oats", "2026-03-03", 60 * LB_AC, setting="80", place="book.csv, line 4"),
    PastSetting("rye", "2026-03-04", 27 * LB_AC, setting="wide open", place="book.csv, line 5"),
]


def test_the_last_setting_of_the_product_in_the_book_is_the_one_driven_with() -> None:
    found = change_setting(1.2, (1.1, 1.3), product="rye", rate_kg_per_m2=30 * LB_AC, past=RYE)
    assert found.now == RYE[1]
    assert found.setting == pytest.approx(54)
    assert found.setting_between == pytest.approx((49.5, 58.5))
    assert found.book is not None
    assert (
        found.book.matches[0].past.place == "book.csv, line 5"
    )  # nearest by rate, though no number
    assert change_setting(1.2, (1.1, 1.3), product="barley", past=RYE).now is None


def test_a_change_that_the_scale_of_the_meter_does_not_show_is_none() -> None:
    assert not change_setting(1.01, (1.005, 1.015), setting="42").telling
    assert change_setting(1.01, (1.005, 1.015), setting="42.0").telling
    assert change_setting(1.02, (1.005, 1.035), setting="42").telling


@pytest.mark.parametrize(
    ("factor", "setting", "code"),
    [(2.5, "42", "tested_setting_too_far"), (1.2, "gate 3", "setting_not_above_zero")],
)
def test_no_setting_where_none_can_be_told(factor: float, setting: str, code: str) -> None:
    found = change_setting(factor, (factor - 0.1, factor + 0.1), setting=setting)
    assert found.setting is None
    assert found.refused is not None
    assert found.refused.code == code


def test_the_book_beside_is_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    test = ("--area", "1 ac", "--catch", "25 25.1 lb", "--product", "rye", "--setting", "42")
    assert evenacre("calibrate", *test).code == 0
    found = figures(*PLAIN, "--area", "20 ac", "--product", "rye")
    assert found["change"]["setting_now"] == "42"
    assert "settings-book.csv" in found["change"]["setting_now_from"]
    assert found["change"]["setting"] == pytest.approx(52.5)
    assert found["change"]["setting_by_the_book"] == pytest.approx(42 * 31.25 / 25.05)


@pytest.mark.parametrize("more", [{}, {"rate": "30 lb/ac"}, {"area": "20 ac"}, {"setting": "40"}])
def test_python_tells_what_the_command_line_does(
    more: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    book = tmp_path / "book.csv"
    test = ev.calibrate(product="rye", setting=42, catch="25 25.1 lb", area="1 ac")
    test.write(book)
    asked = {"started": "1250 lb", "done": "25 ac", "left": "625 lb", "overlap": "0 %"}
    asked |= {"product": "rye", **more}
    options = [part for name, text in asked.items() for part in (f"--{name}", text)]
    told = ev.finish(**asked, book=book)  # type: ignore[call-overload]
    assert told.summary == figures(*options, "--book", book)
    assert (told.change is None) == (more.keys() <= {"setting"})
    si = ev.finish(started=1250 * LB, done=25 * ACRE, left=625 * LB, overlap="0 %")
    assert si.so_far.rate_kg_per_m2 == pytest.approx(25 * LB_AC)


def test_python_reads_no_book_unasked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    test = ev.calibrate(product="rye", setting=42, catch="25 25.1 lb", area="1 ac")
    test.write("settings-book.csv")
    asked: dict[str, Any] = {"started": "1250 lb", "done": "25 ac", "left": "625 lb"}
    told = ev.finish(**asked, area="20 ac", product="rye")
    assert told.change is not None
    assert told.change.now is None


# Nothing left


def test_nothing_left_to_drive_is_said_and_no_rate_told() -> None:
    ran = evenacre("finish", "--area", "0.001 ac", "--left", "217 lb", "--rate", "25 lb/ac")
    assert ran.code == 0
    assert "put on" not in ran.out
    assert "217,000" not in ran.out
    assert "217 lb" in ran.out.splitlines()[0]
    assert figures("--area", "0.001 ac", "--left", "217 lb")["no_ground"]
    assert not figures("--area", "1 ac", "--left", "217 lb", "--rate", "30 lb/ac")["no_ground"]


# Parts of a cart


def test_a_part_of_what_it_began_with_or_of_a_full_cart() -> None:
    full = figures("--area", "18 ac", "--left", "50 %", "--full", "4000 lb")
    assert full["left_kg"] == pytest.approx(2000 * LB)
    assert full["left_sigma_kg"] == pytest.approx(0.05 * 4000 * LB)
    start = figures(*PLAIN[:4], "--left", "40 % of start", "--full", "9000 lb", "--area", "9 ac")
    assert start["left_kg"] == pytest.approx(0.4 * 1250 * LB)
    told = figures("--area", "18 ac", "--left", "50 %", "--full", "4000 lb", "--left-error", "9 lb")
    assert told["left_sigma_kg"] == pytest.approx(9 * LB)


def test_a_full_cart_is_what_the_compartments_of_the_product_hold() -> None:
    drill = Implement(6.0, compartments=(Compartment("front", 2.0), Compartment("rear", 3.0)))
    rye, oats = (
        Application(Product(name, bulk_density_kg_per_m3=700.0), 0.01) for name in ("rye", "oats")
    )
    plan = OperationPlan("Seeding", Field("Creek", None), drill, (), applications=(rye,))
    assert full_cart_kg(plan) == pytest.approx(3500)
    both = OperationPlan(
        "Seeding", Field("Creek", None), drill, (), applications=(rye, oats),
        compartment_of=(("rye", "rear"),),
    )  # fmt: skip
    assert full_cart_kg(both) is None
    assert full_cart_kg(both, "rye") == pytest.approx(2100)
    assert full_cart_kg(both, "oats") is None
    bare = OperationPlan(
        "S", Field("C", None), drill, (), applications=(Application(Product("x"), 1),)
    )
    assert full_cart_kg(bare) is None


@pytest.mark.parametrize(
    ("options", "place"),
    [
        (["--done", "25 ac", "--left", "625 lb"], "--started"),
        (["--started", "9 lb", "--left", "6 lb", "--area", "2 ac"], "--done"),
        (["--started", "600 lb", "--done", "25 ac", "--left", "625 lb"], "--left"),
        (["--started", "0 lb", "--done", "25 ac", "--left", "625 lb"], "--started"),
        (["--started", "900 lb", "--done", "0 ac", "--left", "625 lb"], "--done"),
        ([*PLAIN, "--area", "9 ac", "--rate", "9 lb/ac"], "--rate"),
        (["--area", "9 ac", "--left", "5 lb", "--setting", "42"], "--setting"),
        (["--area", "9 ac", "--left", "5 lb", "--full", "42 lb"], "--full"),
        (["--area", "9 ac", "--left", "50 %"], "--left"),
        (["--area", "9 ac", "--left", "50 % of it", "--full", "9 lb"], "--left"),
        (["--area", "9 ac", "--left", "150 %", "--full", "9 lb"], "--left"),
        ([*PLAIN[:4], "--left", "50 %", "--full", "9 lb", "--area", "9 ac"], "--left"),
        ([*PLAIN, "--tracks", "log.csv"], "--done"),
        ([*PLAIN, "--book", "none.csv"], "none.csv"),
    ],
)
def test_what_does_not_go_together_is_one_complaint(options: list[str], place: str) -> None:
    ran = evenacre("finish", *options)
    assert ran.code == 2
    (said,) = ran.errors()
    assert place in said
