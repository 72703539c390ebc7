"""A figure is written in one way wherever it stands, and what is printed adds up."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import replace
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from synthetic_result import make_result
from synthetic_season import DAP, MEADOW, job

from evenacre.model import Handover
from evenacre.planning.loads.stock_balance import OperationLoads
from evenacre.planning.season.season_totals import ledger
from evenacre.reports import figure_text as figures
from evenacre.reports.column import Table
from evenacre.reports.pages.audit import render_operation, render_season
from evenacre.reports.paper.account import PaperJob, SeasonAccount
from evenacre.reports.paper.all_sheets import sheets
from evenacre.reports.paper.report import report
from evenacre.reports.printed_ground import PrintedGround, adding_up, shared
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import card, job_line
from evenacre.reports.sentences.fix_list import advice
from evenacre.reports.sentences.season import season_card
from evenacre.reports.tables.audit import OPERATIONS
from evenacre.reports.tables.audit_products import PRODUCTS, SETBACKS, products
from evenacre.reports.tables.going_back import TRIPS, trips
from evenacre.reports.tables.season import COSTS, PLACEMENTS
from evenacre.reports.tables.season import SETBACKS as SEASON_SETBACKS
from evenacre.units.display import ACRE_M2, METRIC, POUND_KG, US, DisplayUnit, UnitSystem

AREA = st.floats(0, 3e6, allow_subnormal=False)


def printed(text: str) -> float:
    """Number in a text, 0 where it says that there is less than the least one told."""
    return 0.0 if text.startswith("under") else float(text.split()[0].replace(",", ""))


@given(st.lists(st.floats(0, 1e4), min_size=1, max_size=6), st.sampled_from([-1, 0, 1]))
def test_parts_make_up_their_rounded_total(parts: list[float], moved: int) -> None:
    total = round(sum(parts)) + moved
    if abs(total - sum(parts)) >= 1 or total < 0:
        return
    rounded = adding_up(parts, total)
    assert sum(rounded) == total
    for part, whole in zip(parts, rounded, strict=True):
        assert abs(whole - part) <= 1
        assert part or not whole


def test_the_largest_remainders_are_rounded_up() -> None:
    """Seats of Hamilton's method, as worked by hand: 3.6, 3.3 and 3.1 of 10."""
    assert adding_up([3.6, 3.3, 3.1], 10) == [4, 3, 3]
    assert adding_up([0.5, 0.25, 0.25], 1) == [1, 0, 0]


@given(AREA, AREA, AREA, AREA, st.floats(1, 1e4), st.sampled_from([US, METRIC]))
def test_ground_adds_up_as_printed(
    once: float, twice: float, more: float, skip: float, sigma: float, units: UnitSystem
) -> None:
    overlap = twice + more
    covered = once + overlap
    job = {
        "workable_area_m2": covered + skip,
        "covered_area_m2": covered,
        "covered_once_m2": once,
        "overlap_area_m2": overlap,
        "covered_twice_m2": twice,
        "covered_more_m2": more,
        "excess_area_m2": twice + 2 * more,
        "skip_area_m2": skip,
        "uncertainty": {"covered_area_m2": sigma},
    }
    ground = PrintedGround(job, units)
    told = {key: printed(ground.text(key)) for key in job if key.endswith("_m2")}
    assert told["covered_area_m2"] + told["skip_area_m2"] == pytest.approx(
        told["workable_area_m2"], abs=1e-6
    )
    assert told["covered_once_m2"] + told["covered_twice_m2"] + told[
        "covered_more_m2"
    ] == pytest.approx(told["covered_area_m2"], abs=1e-6)
    decimals = {len(text.split()[-2].partition(".")[2]) for text in map(ground.text, told)}
    step = 10.0 ** -max(decimals)
    for key, value in told.items():
        assert abs(value - units.area.of(job[key])) <= step * 1.001, key
        assert ground.with_error(key).startswith(ground.text(key).rpartition(" ")[0])
    go, look, rest, places = ground.missed(0.6 * skip, 0.1 * skip)
    assert sum(map(printed, (go, look, rest))) == pytest.approx(told["skip_area_m2"], abs=1e-6)
    assert printed(go) + printed(look) == pytest.approx(printed(places), abs=1e-6)


@given(st.lists(st.floats(0, 1e6), max_size=8))
def test_costs_add_up_as_printed(costs: list[float]) -> None:
    def whole(text: str) -> float:
        return 0.0 if text.startswith("under") else float(re.sub(r"[$,]", "", text))

    parts = [whole(figures.money(cost, "USD")) for cost in costs]
    # Of costs that are all under a dollar nothing is printed to be added up.
    expected = sum(parts) or whole(figures.money(sum(costs), "USD"))
    assert whole(figures.money_in_all(costs, "USD")) == expected


MASSES = st.lists(st.floats(0, 1e5, allow_subnormal=False), min_size=1, max_size=8)


@given(MASSES, st.sampled_from([US.mass, METRIC.mass, US.area, US.rate]))
def test_a_sum_is_that_of_what_is_printed(parts: list[float], unit: DisplayUnit) -> None:
    texts = [unit.text(part) for part in parts]
    expected = sum(map(printed, texts)) or printed(unit.text(sum(parts)))
    assert printed(unit.in_all(parts)) == pytest.approx(expected, rel=1e-9)
    assert unit.in_all(parts[:1]) == unit.text(parts[0])


@pytest.mark.parametrize(
    ("parts", "text"),
    [
        ([3294.0, 2704.0, 3904.0], "9,890 lb"),  # 3,290, 2,700 and 3,900; 9,902 in all
        ([72.52] * 5 + [55.41], "417.9 lb"),
        ([420.0, -417.96], "2 lb"),  # 420 less 418
        ([], "0 lb"),
        ([0.02, 0.02], "under 0.1 lb"),
        ([1.0, math.inf], "n/a"),
    ],
)
def test_sums_of_masses(parts: list[float], text: str) -> None:
    assert US.mass.in_all([part / US.mass.per_si for part in parts]) == text


@given(MASSES)
def test_parts_of_a_load_make_it_up_as_printed(parts: list[float]) -> None:
    """Each is within a step of what it is, where the step is that of the load."""
    whole, step = sum(parts), 10.0 ** -US.mass.places(max(US.mass.of(sum(parts)), 1e-9))
    texts = shared(parts, US.mass)
    if US.mass.of(whole) < 0.05:
        return
    assert sum(map(printed, texts)) == pytest.approx(printed(US.mass.text(whole)), abs=step / 100)
    for part, text in zip(parts, texts, strict=True):
        assert abs(printed(text) - US.mass.of(part)) <= step * 1.001


def test_a_job_costs_the_same_wherever_it_is_told() -> None:
    """Of products $8.4 and $4.4 again, printed as 8 and 4, a job tells 12 in table and sentence."""
    one = job(DAP, 150.0, "Fertilizer")
    (first,) = one.result.products
    twice = (replace(first, overlap_kg=8.4 / 0.5, overlap_cost=8.4),
             replace(first, overlap_kg=4.4 / 0.5, overlap_cost=4.4))  # fmt: skip
    priced = replace(one.plan.applications[0].product, price_per_kg=0.5)
    applications = (replace(one.plan.applications[0], product=priced),)
    both = replace(
        one,
        plan=replace(one.plan, applications=applications),
        result=replace(one.result, products=twice),
    )
    book = ledger([both])
    (cost,) = book.money
    assert COSTS.by_key["overlap_product"].on_page(cost, Display(US)) == "$12"
    assert any("$12 of product" in text for _, text in card(both.result, US).lines)


@pytest.mark.parametrize(
    ("rate", "text"), [(112.5, "112.5 lb/ac"), (80.0, "80 lb/ac"), (4.125, "4.125 lb/ac")]
)
def test_a_rate_that_was_said_stands_as_it_was_said(rate: float, text: str) -> None:
    assert figures.told_rate(rate / US.rate.per_si, US) == text


def test_the_decimals_of_ground_are_those_its_error_allows() -> None:
    """JCGM 100:2008, 7.2.6: one digit of the uncertainty, or two where it begins with a 1."""
    for sigma_ac, text in ((0.004, "40.00 ac"), (0.14, "40.00 ac"), (0.3, "40.0 ac"), (4, "40 ac")):
        job = SimpleNamespace(
            workable_area_m2=40 * ACRE_M2,
            covered_area_m2=40 * ACRE_M2,
            skip_area_m2=0.0,
            covered_once_m2=40 * ACRE_M2,
            overlap_area_m2=0.0,
            covered_twice_m2=0.0,
            covered_more_m2=0.0,
            excess_area_m2=0.0,
            uncertainty={"covered_area_m2": sigma_ac * ACRE_M2},
        )
        ground = PrintedGround(job, US)
        assert ground.text("covered_area_m2") == text
        error = float(ground.with_error("covered_area_m2").split()[2])
        assert error >= sigma_ac or math.isclose(error, sigma_ac)


def test_what_a_trip_brings_is_told_alike_in_its_sentence_and_in_the_table() -> None:
    r = make_result()
    for units in (US, METRIC):
        text = " ".join(advice(r, units))
        rows = trips(r)
        assert rows
        for row in rows:
            told = TRIPS.texts(row, Display(units))
            assert f"gains {told['gained_m2']}, covers {told['doubled_m2']} again" in text
            assert f"chance {told['chance']} that it is bare" in text


def test_a_setback_is_as_large_on_the_page_of_the_season_as_on_that_of_the_job() -> None:
    row = SimpleNamespace(area_m2=983.0, name="well", lon=0.0, lat=0.0, interval_90={})
    for units, size in ((US, "0.24 ac"), (METRIC, "980 m²")):
        for table in (SETBACKS, SEASON_SETBACKS):
            assert table.by_key["area_m2"].on_page(row, Display(units)) == size


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [(3.488, 3.869, "3.5 to 3.9 lb"), (0.401, 0.422, "0.4 to 0.4 lb"), (3137, 3429, None)],
)
def test_ends_of_an_interval_of_a_mass_are_no_finer_than_a_mass(
    low: float, high: float, text: str | None
) -> None:
    told = figures.mass_between(low * POUND_KG, high * POUND_KG, US)
    assert told == (text or "3,137 to 3,429 lb")


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(9.2, "9 s"), (59.6, "1 min 00 s"), (149, "2 min 29 s"), (3600, "1 h 00 min")],
)
def test_times_begin_with_what_is_not_nothing(seconds: float, text: str) -> None:
    assert figures.duration(seconds) == text


class Written(dict[tuple[str, float], set[str]]):
    """Every figure that was written: by its kind and its value in SI, in how many ways."""

    def note(self, kind: str, value: float | None, text: str) -> str:
        if value and math.isfinite(value):
            self.setdefault((kind, float(value)), set()).add(text.partition(" ±")[0].split(" ")[0])
        return text

    @property
    def twice(self) -> dict[tuple[str, float], set[str]]:
        return {figure: texts for figure, texts in self.items() if len(texts) > 1}


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> Written:
    """What is written from now on, at the places where numbers become texts."""
    found = Written()
    plain, money = DisplayUnit.text, figures.money
    ground, with_error = PrintedGround.text, PrintedGround.with_error
    told_rate, plus_minus = figures.told_rate, figures.plus_minus

    def unit_text(self: DisplayUnit, si: float, digits: int = 3) -> str:
        return found.note(self.label, si, plain(self, si, digits))

    def ground_text(self: PrintedGround, key: str) -> str:
        return found.note(US.area.label, self._value(key), ground(self, key))

    def ground_with_error(self: PrintedGround, key: str) -> str:
        return found.note(US.area.label, self._value(key), with_error(self, key))

    monkeypatch.setattr(DisplayUnit, "text", unit_text)
    monkeypatch.setattr(PrintedGround, "text", ground_text)
    monkeypatch.setattr(PrintedGround, "with_error", ground_with_error)
    monkeypatch.setattr(figures, "money", lambda v, c: found.note(c, v, money(v, c)))
    monkeypatch.setattr(
        figures, "told_rate", lambda v, u: found.note(f"told {u.rate.label}", v, told_rate(v, u))
    )
    monkeypatch.setattr(
        figures, "plus_minus", lambda v, s, u: found.note(f"± {u.label}", v, plus_minus(v, s, u))
    )
    return found


def declared_of(*rows: tuple[Table, Iterable[object]]) -> dict[float, set[str]]:
    """Keys of the declared figures that have a value."""
    keys: dict[float, set[str]] = {}
    for table, every in rows:
        for column in table.columns:
            for row in every:
                value = column.value(row) if column.quantity.si else None
                if isinstance(value, float) and value:
                    keys.setdefault(value, set()).add(f"{table.name}.{column.key}")
    return keys


@pytest.mark.parametrize("sigma_ac", [0.05, 2.0])
def test_no_figure_is_written_in_two_ways(written: Written, sigma_ac: float) -> None:
    """Of report, sheets and console; a figure is known by its value, and named by its key."""
    errors = {"uncertainty": {"covered_area_m2": sigma_ac * ACRE_M2}}
    told = (job(DAP, 150.0, "Fertilizer"), job(MEADOW, 25.0, "Seeding"))
    jobs = [replace(one, result=replace(one.result, **errors)) for one in told]
    book, display = ledger(jobs), Display(US)
    papers = []
    for one in jobs:
        render_operation(one.result, US, currency="USD")
        said = card(one.result, US)
        line = job_line(one.result, said, US)
        loads = OperationLoads(one.result.field, one.result.operation, (), (), {})
        papers.append(PaperJob(one, loads, line, display))
    render_season(book, US)
    season_card(book, US)
    handover = Handover(landlord_costs=True, landlords={jobs[0].result.field: "Wilma Ekkert"})
    account = SeasonAccount("Creek Farm", papers, book, display, [], [], [], handover)
    report(account)
    dict(sheets(account))
    every = [one.result for one in jobs]
    named = declared_of(
        (OPERATIONS, every),
        (PRODUCTS, [p for one in every for p in products(one)]),
        (COSTS, book.money),
        (PLACEMENTS, book.placements),
    )
    assert len(written) > 100
    assert len([value for _, value in written if value in named]) > 30
    assert {str(named.get(v) or u): texts for (u, v), texts in written.twice.items()} == {}


def test_a_figure_in_two_ways_is_found(written: Written) -> None:
    US.mass.text(1234.5, 2)
    US.mass.text(1234.5, 4)
    assert list(written.twice) == [("lb", 1234.5)]
