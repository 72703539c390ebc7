"""A plan of interseeding held against what was done: days, windows, ground and seed."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import openpyxl
import pytest
import shapely
from cli_jobs import evenacre, small_job, summary_of, write_files
from hypothesis import given
from hypothesis import strategies as st
from plans import make_plan
from synthetic_result import make_result

from evenacre.errors import InputError
from evenacre.io.season.load import load_season
from evenacre.io.season.plan_json import read_plan
from evenacre.model import (
    InputFile,
    PlannedPaddock,
    PlannedSeeding,
    PlannedVisit,
    PlannedWindow,
)
from evenacre.model.audit_result import AuditResult, RunningTotals
from evenacre.model.finding import reader_findings
from evenacre.planning.interseeding.comparison import (
    PaddockCompared,
    PaddockStanding,
    PlannedDone,
    WindowVerdict,
    compare,
)
from evenacre.reports.pages.audit import document, render_planned_done
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.plan_against_done import (
    kept_words,
    planned_done_lines,
)
from evenacre.reports.tables.accounts import interseed_account
from evenacre.reports.tables.plan_against_done import (
    COMPARED,
    Strip,
    planned_done_frame,
    planned_done_page_table,
)
from evenacre.reports.writers.as_json import record
from evenacre.units.display import METRIC, US
from evenacre.workflows.audit import audit_season

ZONE = "America/Chicago"
OPENS, CLOSES = dt.date(2026, 8, 27), dt.date(2026, 9, 10)
DAY = dt.date(2026, 8, 28)
AREA, SEED = 32_000.0, 36.0
ACRE_M2, POUND_KG = 4046.8564224, 0.45359237  # NIST SP 811, appendix B.8
MEADOW, PARTS = "meadow mix", ("red clover", "orchardgrass")


# --- plans and results made by hand ----------------------------------------------------------


def paddock(
    name: str = "Creek 1",
    *days: dt.date,
    window: tuple[dt.date, dt.date] | None = (OPENS, CLOSES),
    back: dt.date | None = None,
) -> PlannedPaddock:
    """A paddock planned in equal shares on some days, grazed 45 days after the last."""
    return PlannedPaddock(
        name,
        workable_m2=AREA,
        window=PlannedWindow((window,), back) if window else None,
        visits=tuple(PlannedVisit(d, AREA / len(days), SEED / len(days)) for d in days),
        graze_from=days[-1] + dt.timedelta(45) if days else None,
    )


def seeding(*paddocks: PlannedPaddock, product: str = MEADOW) -> PlannedSeeding:
    parts = PARTS if product == MEADOW else (product,)
    return PlannedSeeding(product, parts, paddocks, InputFile("plan.json", "ab" * 32))


@cache
def bare() -> AuditResult:
    return make_result()


def seconds(day: dt.date, hour: float) -> float:
    return dt.datetime.combine(day, dt.time(), ZoneInfo(ZONE)).timestamp() + 3600 * hour


def audited(
    field: str = "Creek 1",
    *spans: tuple[float, float],
    products: Sequence[str] = (MEADOW,),
    kg: float | None = SEED,
    area: float = AREA,
    **changes: object,
) -> AuditResult:
    """A job driven at an even pace over some spans of time, everything put down evenly.

    No span: the log has no times. ``kg`` is of each product; None: not known.
    """
    plain = bare().products[0]
    known = kg or 0.0
    made = [
        replace(
            plain,
            product=name,
            source="target" if kg is None else "flow",
            target_kg_per_m2=None,
            applied_in_field_kg=known,
            logged_kg=known + 2.0,
            outside_kg=2.0,
        )
        for name in products
    ]
    totals = None
    if spans:
        time = np.array([t for span in spans for t in span])
        lengths = [b - a for a, b in spans]
        ends = np.cumsum(lengths)
        run = np.array([v for end, n in zip(ends, lengths, strict=True) for v in (end - n, end)])
        run = run / ends[-1]
        totals = RunningTotals(time, run * 1.1 * area, dict.fromkeys(products, run * 1.2 * known))
    return replace(
        bare(),
        field=field,
        operation=str(changes.pop("operation", "Interseeding")),
        date=str(changes.pop("date", "")),
        covered_area_m2=area,
        products=tuple(made),
        totals=totals,
        time_zone=ZONE,
        **changes,  # type: ignore[arg-type]
    )


def on(day: dt.date, hours: tuple[float, float] = (8, 10)) -> tuple[float, float]:
    return seconds(day, hours[0]), seconds(day, hours[1])


def only(compared: PlannedDone) -> PaddockCompared:
    (one,) = compared.paddocks
    return one


# --- windows ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "verdict", "early", "late"),
    [
        (OPENS - dt.timedelta(1), WindowVerdict.MISSED, 1, 0),
        (OPENS, WindowVerdict.KEPT, 0, 0),
        (CLOSES, WindowVerdict.KEPT, 0, 0),
        (CLOSES + dt.timedelta(3), WindowVerdict.MISSED, 0, 3),
    ],
)
def test_a_window_is_kept_from_its_first_day_to_its_last(
    day: dt.date, verdict: WindowVerdict, early: int, late: int
) -> None:
    done = only(compare(seeding(paddock("Creek 1", DAY)), [audited("Creek 1", on(day))]))
    assert done.standing is PaddockStanding.DONE
    assert (done.window, done.too_early_days, done.too_late_days) == (verdict, early, late)
    assert done.in_window_m2 == (AREA if verdict is WindowVerdict.KEPT else 0.0)
    assert done.began_late_days == done.ended_late_days == (day - DAY).days
    # 45 days of rest from the day it was done, not from the day planned
    assert done.graze_from == day + dt.timedelta(45)


def test_a_job_over_midnight_is_shared_by_what_was_driven_on_each_day() -> None:
    """One hour of four before midnight: a quarter of ground and seed inside the window."""
    result = audited("Creek 1", (seconds(CLOSES, 23), seconds(CLOSES, 27)))
    done = only(compare(seeding(paddock("Creek 1", CLOSES)), [result]))
    first, second = done.days
    assert (first.day, second.day) == (CLOSES, CLOSES + dt.timedelta(1))
    assert (first.area_m2, second.area_m2) == pytest.approx((AREA / 4, 3 * AREA / 4))
    assert (first.seed_kg, second.seed_kg) == pytest.approx((SEED / 4, 3 * SEED / 4))
    assert done.window is WindowVerdict.PART
    assert done.in_window_m2 == pytest.approx(AREA / 4)
    assert (done.began_late_days, done.ended_late_days) == (0, 1)
    assert (done.too_early_days, done.too_late_days) == (0, 1)


def test_days_are_those_of_the_farm_and_not_of_greenwich() -> None:
    evening = audited("Creek 1", on(CLOSES, (19.5, 21.5)))  # past midnight in UTC
    done = only(compare(seeding(paddock("Creek 1", CLOSES)), [evening]))
    assert [one.day for one in done.days] == [CLOSES]
    abroad = replace(evening, time_zone=None)  # then the log's own clock tells
    done = only(compare(seeding(paddock("Creek 1", CLOSES)), [abroad]))
    assert [one.day for one in done.days] == [CLOSES + dt.timedelta(1)]


def test_a_try_of_the_drill_is_no_day_of_seeding() -> None:
    """Fifty seconds ten days before, against two hours: 0.7 % of the ground."""
    early = OPENS - dt.timedelta(10)
    result = audited("Creek 1", (seconds(early, 8), seconds(early, 8) + 50.0), on(DAY))
    done = only(compare(seeding(paddock("Creek 1", DAY)), [result]))
    assert [one.day for one in done.days] == [DAY]
    assert done.days[0].area_m2 == pytest.approx(AREA)
    assert done.days[0].seed_kg == pytest.approx(SEED)
    assert done.window is WindowVerdict.KEPT


def test_between_two_spells_the_nearer_one_counts() -> None:
    window = PlannedWindow(
        (
            (dt.date(2026, 8, 1), dt.date(2026, 8, 5)),
            (dt.date(2026, 8, 20), dt.date(2026, 8, 25)),
        )
    )
    days = {3: 0, 5: 0, 7: 2, 18: -2, 20: 0, 31: 6}
    for day, outside in days.items():
        assert window.days_outside(dt.date(2026, 8, day)) == outside
    assert PlannedWindow(()).days_outside(DAY) is None
    shut = replace(paddock("Creek 1"), window=PlannedWindow(()))
    done = only(compare(seeding(shut), [audited("Creek 1", on(DAY))]))
    assert done.window is WindowVerdict.MISSED
    assert (done.too_early_days, done.too_late_days) == (0, 0)


@given(st.lists(st.integers(0, 200), min_size=2, max_size=8, unique=True), st.integers(-9, 220))
def test_days_outside_are_the_steps_to_the_nearest_open_day(edges: list[int], number: int) -> None:
    def day(of: int) -> dt.date:
        return dt.date(2026, 3, 1) + dt.timedelta(of)

    edges = sorted(edges)
    spells = list(zip(edges[::2], edges[1::2], strict=False))
    open_days = [n for first, last in spells for n in range(first, last + 1)]
    window = PlannedWindow(tuple((day(a), day(b)) for a, b in spells))
    outside = window.days_outside(day(number))
    assert outside is not None
    assert number - outside in open_days
    assert abs(outside) == min(abs(number - n) for n in open_days)


# --- which operations count ------------------------------------------------------------------


def test_not_logged_not_planned_and_left_out() -> None:
    planned = seeding(
        paddock("Creek 1", DAY),
        paddock("Creek 2", DAY, CLOSES),
        paddock("Creek 3"),
        paddock("Creek 4", window=None),
        paddock("Creek 5"),
    )
    results = [audited(name, on(DAY)) for name in ("Creek 1", "Creek 5", "Elsewhere")]
    compared = compare(planned, results)
    assert [(p.name, p.standing, p.window) for p in compared.paddocks] == [
        ("Creek 1", PaddockStanding.DONE, WindowVerdict.KEPT),
        ("Creek 2", PaddockStanding.NOT_LOGGED, None),
        ("Creek 3", PaddockStanding.LEFT, None),
        ("Creek 5", PaddockStanding.UNPLANNED, WindowVerdict.KEPT),
        ("Elsewhere", PaddockStanding.UNPLANNED, None),
    ]
    # Two paddocks planned, one of them done, and two done besides.
    sums, besides = compared.sums, compared.besides
    assert (sums.planned_m2, sums.done_m2) == pytest.approx((2 * AREA, AREA))
    assert (sums.planned_kg, sums.applied_kg) == pytest.approx((2 * SEED, SEED))
    assert (besides.planned_m2, besides.done_m2) == pytest.approx((0.0, 2 * AREA))
    assert (besides.planned_kg, besides.applied_kg) == pytest.approx((0.0, 2 * SEED))
    assert compared.findings == ()


def test_a_day_planned_without_a_window_is_planned_all_the_same() -> None:
    planned = seeding(paddock("Creek 1", DAY, window=None), paddock("Creek 2", DAY, window=None))
    done, missing = compare(planned, [audited("Creek 1", on(CLOSES))]).paddocks
    assert (done.standing, done.window, done.ended_late_days) == (PaddockStanding.DONE, None, 13)
    assert missing.standing is PaddockStanding.NOT_LOGGED
    assert [kept_words(p) for p in (done, missing)] == ["no window", "not logged"]


def test_a_blend_counts_by_its_name_or_by_all_its_parts() -> None:
    planned = seeding(paddock("Creek 1", DAY))

    def applied(*products: str) -> float | None:
        return only(compare(planned, [audited("Creek 1", on(DAY), products=products)])).applied_kg

    assert applied(MEADOW) == pytest.approx(SEED)
    assert applied(*PARTS) == pytest.approx(2 * SEED)
    assert applied(*PARTS, "18-46-0") == pytest.approx(2 * SEED)
    assert applied(MEADOW, "18-46-0") == pytest.approx(SEED)
    alone = seeding(paddock("Creek 1", DAY), product="oats")
    both = audited("Creek 1", on(DAY), products=("oats", MEADOW))
    assert only(compare(alone, [both])).applied_kg == pytest.approx(SEED)


@pytest.mark.parametrize("products", [("red clover",), ("18-46-0",), ()])
def test_another_product_does_not_count_and_is_told(products: tuple[str, ...]) -> None:
    compared = compare(
        seeding(paddock("Creek 1", DAY)), [audited("Creek 1", on(DAY), products=products)]
    )
    assert only(compared).standing is PaddockStanding.NOT_LOGGED
    (warning,) = sentences(compared.findings, "warning")
    assert warning.startswith("Creek 1: Interseeding is not counted")
    assert all(name in warning for name in (*products, MEADOW))


def test_fertilizer_beside_the_seeding_is_not_told() -> None:
    results = [
        audited("Creek 1", on(OPENS), products=("18-46-0",), operation="Lime"),
        audited("Creek 1", on(DAY)),
    ]
    compared = compare(seeding(paddock("Creek 1", DAY)), results)
    assert compared.findings == ()
    assert only(compared).operations == ("Interseeding",)


def test_a_plan_of_another_farm_is_told() -> None:
    compared = compare(seeding(paddock("Creek 1", DAY)), [audited("X", on(DAY))])
    warning, *_ = sentences(compared.findings, "warning")
    assert "No audited field has the name of a paddock of the plan" in warning


def test_two_jobs_of_a_paddock_add_up_and_ground_counts_once() -> None:
    """Squares of 100 m that share 40 m: 160 m x 100 m of ground, and the seed of both."""
    crs = bare().crs

    def job(x: float, day: dt.date) -> AuditResult:
        cover = gpd.GeoDataFrame({"cover": [1]}, geometry=[shapely.box(x, 0, x + 100, 100)])
        layers = {**bare().layers, "cover": cover.set_crs(crs)}
        return audited("Creek 1", on(day), area=10_000.0, kg=11.0, layers=layers)

    late = CLOSES + dt.timedelta(2)
    done = only(compare(seeding(paddock("Creek 1", DAY, CLOSES)), [job(60, late), job(0, DAY)]))
    assert done.done_m2 == pytest.approx(16_000.0, rel=1e-9)
    assert done.applied_kg == pytest.approx(22.0)
    assert [one.day for one in done.days] == [DAY, late]
    assert (done.began_late_days, done.ended_late_days) == (0, 2)
    assert done.window is WindowVerdict.PART
    assert done.in_window_m2 == pytest.approx(8_000.0)
    # On another plane the ground is the same.
    away = job(0, DAY)
    shifted = away.layers["cover"].to_crs(make_result(lon=-92.59).crs)
    away = replace(away, layers={**away.layers, "cover": shifted})
    again = only(compare(seeding(paddock("Creek 1", DAY, CLOSES)), [job(60, late), away]))
    assert again.done_m2 == pytest.approx(16_000.0, rel=1e-5)


def test_jobs_of_one_day_are_one_day() -> None:
    results = [audited("Creek 1", on(DAY, hours), area=16_000.0) for hours in ((8, 9), (14, 15))]
    (day,) = only(compare(seeding(paddock("Creek 1", DAY)), results)).days
    assert (day.day, day.area_m2, day.seed_kg) == (DAY, 32_000.0, 2 * SEED)


def test_without_times_the_operations_date_tells_and_without_that_nobody() -> None:
    planned = seeding(paddock("Creek 1", DAY))
    dated = only(compare(planned, [audited("Creek 1", date="2026-09-12")]))
    assert (dated.window, dated.too_late_days) == (WindowVerdict.MISSED, 2)
    clock = audited("Creek 1", (30_000.0, 40_000.0), date="2026-08-28")  # a clock without a date
    assert only(compare(planned, [clock])).window is WindowVerdict.KEPT
    compared = compare(planned, [audited("Creek 1")])
    done = only(compared)
    assert (done.window, done.in_window_m2) == (WindowVerdict.UNDATED, None)
    assert (done.ended_late_days, done.graze_from) == (None, None)
    assert done.done_m2 == AREA
    (warning,) = sentences(compared.findings, "warning")
    assert "Creek 1: neither the log nor the season file tells the day" in warning


def test_an_unknown_amount_is_not_none() -> None:
    planned = seeding(paddock("Creek 1", DAY), paddock("Creek 2", DAY))
    results = [audited("Creek 1", on(DAY), kg=None), audited("Creek 2", on(DAY))]
    compared = compare(planned, results)
    assert [p.applied_kg for p in compared.paddocks] == [None, pytest.approx(SEED)]
    assert compared.sums.applied_kg is None
    assert any("how much seed went in is not known" in s for s in planned_done_lines(compared, US))
    assert "not known of 79.4 lb" in planned_done_page_table(compared, Display(US)).rows[0]


def test_ground_that_was_never_covered_is_not_done() -> None:
    nothing = audited("Creek 1", on(DAY), area=0.0, kg=0.0)
    assert only(compare(seeding(paddock("Creek 1", DAY)), [nothing])).standing is (
        PaddockStanding.NOT_LOGGED
    )


def test_the_herd_must_not_come_back_too_soon() -> None:
    back = DAY + dt.timedelta(50)
    planned = seeding(paddock("Creek 1", DAY, back=back))
    assert compare(planned, [audited("Creek 1", on(DAY))]).findings == ()
    late = compare(planned, [audited("Creek 1", on(CLOSES))])
    (warning,) = sentences(late.findings, "warning")
    assert f"herd back on {back}" in warning
    assert f"not to be grazed before {CLOSES + dt.timedelta(45)}" in warning


# --- how it is told --------------------------------------------------------------------------


@pytest.fixture
def mixed() -> PlannedDone:
    """Kept, late, not logged, left out and unplanned."""
    planned = seeding(
        paddock("Creek 1", DAY),
        paddock("Creek 2", DAY),
        paddock("Creek 3", DAY),
        paddock("Creek 4"),
    )
    late = CLOSES + dt.timedelta(3)
    return compare(
        planned,
        [audited("Creek 1", on(DAY)), audited("Creek 2", on(late)), audited("Upper", on(DAY))],
    )


def test_the_words(mixed: PlannedDone) -> None:
    lines = list(planned_done_lines(mixed, US))
    area, seed = round(AREA / ACRE_M2, 2), SEED / POUND_KG  # ground adds up as printed
    assert lines == [
        "Planned against done: 1 of 3 planned paddocks seeded inside the window.",
        f"  Seeded {2 * area:.2f} ac of the {3 * area:.2f} ac planned, with {2 * seed:.0f} lb of "
        f"the {3 * seed:.0f} lb of meadow mix; and {area:.2f} ac besides, with {seed:.1f} lb.",
        "  Creek 2: window missed, 3 days too late; it was open Aug 27, 2026 to Sep 10, 2026, "
        "seeded Sep 13, 2026.",
        "  Creek 3: planned for Aug 28, 2026, but there is no log of it.",
        "  Creek 4: to be seeded, but not planned, and not done.",
        "  Upper: seeded on Aug 28, 2026, though not planned.",
    ]


def test_ground_and_seed_are_told_when_a_tenth_off() -> None:
    def said(area: float, kg: float) -> list[str]:
        result = audited("Creek 1", on(DAY), area=area, kg=kg)
        return list(planned_done_lines(compare(seeding(paddock("Creek 1", DAY)), [result]), METRIC))

    assert len(said(0.91 * AREA, 1.09 * SEED)) == 2
    _, _, ground, seed = said(0.5 * AREA, 1.25 * SEED)
    assert ground == "  Creek 1: 1.60 of 3.20 ha planned was seeded."
    assert seed == "  Creek 1: 45.0 of 36.0 kg of seed planned went in."


def test_the_table_and_the_account(mixed: PlannedDone) -> None:
    table = planned_done_frame(mixed, Display(US)).set_index("paddock")
    late = table.loc["Creek 2"]
    assert late["window"] == "2026-08-27 to 2026-09-10"
    assert (late["window kept"], late["too late [days]"]) == ("missed", 3)
    assert (late["planned for"], late["seeded on"]) == ("2026-08-28", "2026-09-13")
    assert late["ended late [days]"] == 16
    assert late["seeded [ac]"] * ACRE_M2 == pytest.approx(AREA, rel=1e-6)
    assert late["seed on the paddock [lb]"] * POUND_KG == pytest.approx(SEED, rel=1e-6)
    assert late["seeded inside the window [ac]"] == 0.0
    assert list(table["standing"]) == [p.standing.value for p in mixed.paddocks]
    account = record(COMPARED, mixed)
    assert account["planned_m2"] == sum(
        d["area_m2"] for p in account["paddocks"] if p["planned"] for d in p["planned"]["days"]
    )
    done = sum(p["done"]["area_m2"] for p in account["paddocks"] if p["done"])
    assert account["done_m2"] + account["besides_m2"] == pytest.approx(done)
    unplanned = account["paddocks"][-1]
    assert (unplanned["planned"], unplanned["window"]) == (None, None)


def test_the_page_has_a_card_and_a_section(mixed: PlannedDone) -> None:
    warned = replace(mixed, findings=tuple(reader_findings(["<b>Look</b> here."])))
    part = render_planned_done(warned, US)
    page = document([], farm="F", inputs=[], warnings=[], planned_done=part)
    assert page.index('href="#planned-done"') < page.index('id="planned-done"')
    assert "1 of 3 planned paddocks seeded inside the window" in page
    assert "missed, 3 days too late" in page
    assert "&lt;b&gt;Look&lt;/b&gt; here." in page
    rows = planned_done_page_table(mixed, Display(US)).rows
    assert [len(row) for row in rows] == [9] * 6
    assert rows[-1][0] == "All planned"


def test_strips_of_days_stand_to_scale() -> None:
    """Ten days from the 1st to the 10th: the window is half of them, marks sit at mid-day."""
    first = dt.date(2026, 9, 1)
    last = first + dt.timedelta(9)
    inside, outside = first + dt.timedelta(1), first + dt.timedelta(8)
    planned = seeding(
        paddock("Creek 1", inside, window=(first, first + dt.timedelta(4))),
        paddock("Creek 2", last, window=(last, last)),
    )
    compared = compare(planned, [audited("Creek 1", on(inside), on(outside))])
    strip = Strip.over(compared.paddocks)
    assert strip is not None
    assert strip.title == "Sep 1 to Sep 10"
    shapes = list(ElementTree.fromstring(strip.of(compared.paddocks[0])))
    kinds = [shape.attrib["class"] for shape in shapes]
    assert kinds == ["open", "planned", "done", "out"]
    (whole,) = (
        s for s in ElementTree.fromstring(strip.of(compared.paddocks[1])) if "width" in s.attrib
    )
    ten = 10 * float(whole.attrib["width"])  # a window of one day is a tenth
    left, width = (float(shapes[0].attrib[key]) for key in ("x", "width"))
    assert width == pytest.approx(ten / 2)
    assert float(whole.attrib["x"]) == pytest.approx(left + 0.9 * ten)
    assert float(shapes[2].attrib["cx"]) == pytest.approx(left + 0.15 * ten)
    x, y, *_ = map(float, re.findall(r"[\d.]+", shapes[3].attrib["d"]))
    assert x + 12.0 - y == pytest.approx(left + 0.85 * ten)  # the cross begins at its upper left
    assert Strip.over([PaddockCompared("Creek 1", None)]) is None


# --- plan.json -------------------------------------------------------------------------------


def written(path: Path, **changes: object) -> Path:
    """A plan for one paddock, as a file."""
    plan: dict[str, Any] = {
        "schema": "evenacre/plan/1",
        "farm": "Three Larks Farm",
        "seed": {
            "product": MEADOW,
            "parts": [{"product": name, "share": 0.5} for name in PARTS],
            "rate_kg_per_m2": SEED / AREA,
        },
        "paddocks": [
            {
                "paddock": "Creek 1",
                "area_m2": AREA,
                "workable_m2": AREA,
                "seeded_m2": AREA,
                "seed_kg": SEED,
                "window": {"opens": "2026-08-27", "closes": "2026-09-10"},
                "visits": [
                    {
                        "date": "2026-08-28",
                        "start_s": 30_000.0,
                        "end_s": 40_000.0,
                        "area_m2": AREA,
                        "seed_kg": SEED,
                        "share": 1,
                    }
                ],
                "graze_from": "2026-10-12",
            }
        ],
    }
    plan["paddocks"][0].update(changes.pop("first", {}))
    plan.update(changes)
    path.write_text(json.dumps(plan), encoding="utf-8")
    return path


def test_a_plan_is_read_as_it_was_written(tmp_path: Path) -> None:
    path = written(tmp_path / "plan.json")
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    assert read_plan(path) == replace(
        seeding(paddock("Creek 1", DAY)), file=InputFile("plan.json", digest, path.stat().st_size)
    )


def test_the_account_of_a_plan_comes_back(tmp_path: Path) -> None:
    plan = make_plan()
    account = interseed_account(plan, farm="F", generated="2026-03-01T12:00:00+00:00", inputs=[])
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(account), encoding="utf-8")
    back = read_plan(path)
    assert back.product == plan.seeding.product.name
    assert set(back.parts) == {name for name, _ in plan.seeding.product.parts}
    assert back.rest_days == plan.seeding.rest_days
    for one, told in zip(back.paddocks, plan.paddocks, strict=True):
        assert one.name == told.paddock.field.name
        assert [v.day for v in one.visits] == [v.day for v in told.visits]
        assert one.area_m2 == pytest.approx(told.seeded_m2, rel=1e-9)
        assert one.seed_kg == pytest.approx(told.seed_kg, rel=1e-9)
        assert one.graze_from == told.graze_from
        assert (one.window is None) == (told.window is None)
        if one.window is not None and told.window is not None:
            assert one.window.back == told.window.back
            shut = np.any(list(told.window.blocked.values()), axis=0)
            for work, closed in zip(plan.days, shut, strict=True):
                assert (one.window.days_outside(work.day) == 0) == (not closed)


BAD = {
    "not there": (None, "", "There is no such file", "Check the name"),
    "a folder": ("folder", "", "is a folder", "Name plan.json in it"),
    "no JSON": ('{"schema": "evenacre/plan/1",\n  oops', "line 2, column 3", "not JSON", ""),
    "half a file": ('{"schema": "evenacre/plan/1"', "line 1", "not JSON", ""),
    "no text": (b"\xff\xfe\x00", "", "not text", ""),
    "deep": ("[" * 100_000, "", "JSON", ""),
    "not a number": ('{"schema": NaN}', "", "NaN is not a number", ""),
    "a list": ("[]", "schema", "no plan of interseeding", ""),
    "an audit": ('{"schema": "evenacre/summary/1.1"}', "schema", '"evenacre/summary/1.1"', ""),
    "of the future": ('{"schema": "evenacre/plan/2"}', "schema", "does not know", "that wrote it"),
    "empty": ('{"schema": "evenacre/plan/1"}', "seed", "seed is missing", ""),
}


@pytest.mark.parametrize("name", BAD)
def test_a_file_that_is_no_plan(tmp_path: Path, name: str) -> None:
    content, place, what, remedy = BAD[name]
    path = tmp_path / "plan.json"
    if content == "folder":
        path.mkdir()
    elif isinstance(content, bytes):
        path.write_bytes(content)
    elif content is not None:
        path.write_text(content)
    with pytest.raises(InputError) as caught:
        read_plan(path)
    problem = caught.value.problems[0]
    assert problem.file == str(path)
    assert problem.place.startswith(place)
    assert what in problem.what
    assert remedy in problem.remedy
    assert problem.remedy


VISIT = {"date": "2026-08-28", "area_m2": 1.0, "seed_kg": 1.0}


@pytest.mark.parametrize(
    ("changes", "place", "what"),
    [
        ({"window": 5}, "paddocks 1 (Creek 1), window", "5 is not a table"),
        (
            {"window": {"opens": "2026-09-10", "closes": "2026-08-27"}},
            "paddocks 1 (Creek 1), window",
            "closes before it opens",
        ),
        (
            {"window": {"opens": "2026-09-10", "closes": None}},
            "paddocks 1 (Creek 1), window",
            "but not both",
        ),
        (
            {"visits": [VISIT, {**VISIT, "date": "28 August"}]},
            "paddocks 1 (Creek 1), visits 2, date",
            '"28 August" is not a date',
        ),
        (
            {"visits": [{**VISIT, "area_m2": -1.0}]},
            "paddocks 1 (Creek 1), visits 1, area_m2",
            "-1.0 is too small",
        ),
        (
            {"visits": [{"date": "2026-08-28", "area_m2": 1.0}]},
            "paddocks 1 (Creek 1), visits 1, seed_kg",
            "seed_kg is missing",
        ),
        ({"paddock": ""}, "paddocks 1, paddock", "It is empty"),
        ({"workable_m2": "8 ac"}, "paddocks 1 (Creek 1), workable_m2", "not a number"),
    ],
)
def test_a_plan_that_was_tampered_with(
    tmp_path: Path, changes: dict[str, object], place: str, what: str
) -> None:
    with pytest.raises(InputError) as caught:
        read_plan(written(tmp_path / "plan.json", first=changes))
    found = [p for p in caught.value.problems if what in p.what]
    assert [p.place.replace(" ()", "") for p in found] == [place]
    assert "plan again" in found[0].remedy


def test_every_fault_of_a_plan_is_told_at_once(tmp_path: Path) -> None:
    path = written(tmp_path / "plan.json", first={"workable_m2": None, "graze_from": "soon"})
    text = json.loads(path.read_text())
    text["paddocks"] *= 2
    path.write_text(json.dumps(text))
    with pytest.raises(InputError) as caught:
        read_plan(path)
    assert len(caught.value.problems) >= 4


# --- the command -----------------------------------------------------------------------------


def test_a_bad_plan_ends_the_audit_before_it_begins(tmp_path: Path) -> None:
    files = write_files(tmp_path)
    plan = tmp_path / "plan.json"
    plan.write_text("{")
    ran = evenacre("audit", *files.options(plan=plan))
    assert ran.code == 2
    (complaint,) = ran.errors()
    assert complaint.startswith(f"error: {plan}, line 1, column 2: ")
    assert not files.out.exists()


def test_without_a_plan_nothing_is_told(tmp_path: Path) -> None:
    files = write_files(tmp_path)
    ran = evenacre("audit", *files.options())
    assert ran.code == 0
    assert "planned_done" not in summary_of(files.out)
    assert not (files.out / "tables" / "planned_done.csv").exists()
    assert "planned-done" not in (files.out / "report.html").read_text(encoding="utf-8")


def test_the_command_tells_plan_and_audit_side_by_side(tmp_path: Path) -> None:
    """A job of 14 April (in its log) against a plan for the 12th and a window to the 13th."""
    files = write_files(tmp_path, small_job())
    opened = {"opens": "2026-04-01", "closes": "2026-04-13"}
    visit = {**VISIT, "date": "2026-04-12", "area_m2": 1000.0}
    plan = written(tmp_path / "plan.json", first={"window": opened, "visits": [visit]})
    options = files.options(
        plan=plan, field_name="Creek 1", product=MEADOW, rate="10 kg/ha", fail_on="window"
    )
    ran = evenacre("audit", *options, "--units", "metric")
    assert ran.code == 1, ran  # found what --fail-on asked for
    assert "Planned against done: 0 of 1 planned paddock seeded inside the window." in ran.out
    assert "Creek 1: window missed, 1 day too late" in ran.out
    account = summary_of(files.out)
    assert account["schema"] == "evenacre/summary/1.8"
    told = account["planned_done"]
    digest = hashlib.sha256(plan.read_bytes()).hexdigest()
    file = {"path": "plan.json", "sha256": digest, "size_bytes": plan.stat().st_size}
    assert told["plan"] == file
    assert file in account["inputs"]
    (operation,) = account["operations"]
    (one,) = told["paddocks"]
    assert one["done"]["area_m2"] == operation["covered_area_m2"]
    assert one["done"]["seed_kg"] == operation["products"][0]["applied_in_field_kg"]
    assert (one["window"], one["too_late_days"], one["ended_late_days"]) == ("missed", 1, 2)
    with (files.out / "tables" / "planned_done.csv").open(encoding="utf-8-sig") as file:
        (row,) = csv.DictReader(file)
    assert (row["paddock"], row["seeded on"]) == ("Creek 1", "2026-04-14")
    assert float(row["planned [ha]"]) == 0.1
    sheet = openpyxl.load_workbook(files.out / "tables.xlsx")["planned_done"]
    assert [cell.value for cell in sheet[2]][:3] == ["Creek 1", MEADOW, "done"]
    page = (files.out / "report.html").read_text(encoding="utf-8")
    assert 'id="planned-done"' in page
    kept = written(tmp_path / "plan.json", first={"window": {**opened, "closes": "2026-04-14"}})
    # Under a name that the plan does not know nothing is logged; under its own all is kept.
    assert evenacre("audit", *files.options(**{"plan": kept, "fail-on": "window"})).code == 1
    assert evenacre("audit", *options).code == 0


def test_the_sample_farms_interseeding(sample_farm: Path, tmp_path: Path) -> None:
    """Ground and seed of the plan are the truth that the farm plants; the audit finds them."""
    planted = json.loads((sample_farm / "truth.json").read_text())["operations"]
    (truth,) = (one for one in planted if one["operation"] == "Interseeding")
    (seed,) = truth["products"]
    visit = {
        "date": truth["date"],
        "area_m2": truth["covered_area_m2"],
        "seed_kg": seed["applied_in_field_kg"],
    }
    plan = written(
        tmp_path / "plan.json",
        seed={"product": seed["product"]},
        first={"paddock": truth["field"], "visits": [visit]},
    )
    season = load_season(sample_farm / "season.toml")
    only = tuple(one for one in season.operations if one.name == "Interseeding")
    outcome = audit_season(replace(season, operations=only), tmp_path / "out", plan_file=plan)
    (one,) = outcome.summary["planned_done"]["paddocks"]
    assert (one["standing"], one["window"], one["ended_late_days"]) == ("done", "kept", 0)
    # Well inside what receiver and half an interval allow.
    assert one["done"]["area_m2"] == pytest.approx(visit["area_m2"], rel=2e-3)
    assert one["done"]["seed_kg"] == pytest.approx(visit["seed_kg"], rel=5e-3)
    assert one["in_window_m2"] == one["done"]["area_m2"]
    assert any("1 of 1 planned paddock seeded inside the window" in s for s in outcome.lines)
