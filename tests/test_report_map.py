"""The map of the report in a browser: labels keep apart, details stand beside, all can use it."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import axe_playwright_python
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pages import rest
from synthetic_result import make_result

from evenacre.model.audit_result import AuditResult, DriveRecord, ToolPath
from evenacre.planning.going_back.judge import judge
from evenacre.reports.pages.audit import document, render_operation
from evenacre.reports.sentences.fix_list import stops
from evenacre.units.display import US

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text()
LABELS = """() => [...document.querySelectorAll('#op1 .label-anchor')]
    .filter(anchor => anchor.style.display !== 'none' && anchor.firstElementChild)
    .map(anchor => {
        const flag = anchor.querySelector('svg path:last-of-type');
        const box = (flag || anchor.firstElementChild).getBoundingClientRect();
        return [anchor.title, box.left, box.top, box.right, box.bottom]; })"""
pytestmark = pytest.mark.browser


@cache
def crowded() -> AuditResult:
    """Four places of which the third and fourth lie among seventy slivers."""
    result = make_result()
    skips = result.layers["skips"]
    rng = np.random.default_rng(4)
    centre = shapely.centroid(skips.geometry.iloc[2])
    xy = rng.normal((centre.x, centre.y), (12.0, 6.0), (70, 2))
    shapes = shapely.box(xy[:, 0], xy[:, 1], xy[:, 0] + 3.0, xy[:, 1] + 0.3)
    at = gpd.GeoSeries(shapely.centroid(shapes), crs=result.crs).to_crs(4326)
    slivers = gpd.GeoDataFrame(
        {
            "skip": np.arange(70) + 10,
            "kind": "between passes",
            "cause": "",
            "area_m2": 0.9,
            "mean_width_m": 0.3,
            "length_m": 3.0,
            "lon": at.x,
            "lat": at.y,
            "chance": rng.uniform(0.2, 1.0, 70),
        },
        geometry=shapes,
        crs=result.crs,
    )
    many = pd.concat([skips, slivers], ignore_index=True)
    whole = replace(result, layers={**result.layers, "skips": many})
    return replace(whole, going_back=judge(whole))


def largest() -> list[int]:
    """Numbers of the three largest places, however they are listed."""
    listed = stops(crowded())
    return [int(number) for number in listed.nlargest(3, "area_m2")["skip"]]


LARGEST = largest()
START_S = 1_800_000_000.0  # 2027-01-15, 08:00 UTC


def driven(result: AuditResult) -> AuditResult:
    """With three passes of 200 m: at 2, 2.5 and 1.25 m/s, the last with half of the rows."""
    speeds, time, x, y, down, number = (2.0, 2.5, 1.25), [0.0], [-100.0], [0.0], [], []
    for n, speed in enumerate(speeds):
        for _ in range(20):
            x.append(x[-1] + 10.0 * (-1) ** n)
            y.append(6.0 * n)
            time.append(time[-1] + 10.0 / speed)
            down.append(True)
            number.append(n + 1)
        if n < 2:
            x.append(x[-1])
            y.append(6.0 * (n + 1))
            time.append(time[-1] + 15.0)
            down.append(False)
            number.append(n + 1)
    on, p = np.array(down), result.products[0]
    half = np.array(number) == 3
    heading = np.array([0.0] * 21 + [math.pi] * 21 + [2 * math.pi] * 21)
    drive = DriveRecord(
        ToolPath(START_S + np.array(time), np.array(x), np.array(y), heading),
        np.ones(len(on), bool),
        np.array(number),
        np.where(on, np.where(half, 0.0, 3.0), 0.0),
        np.where(on, -3.0, 0.0),
        {p.product: np.where(on, np.where(half, 0.5, 1.0), 0.0) * p.middle_kg_per_m2},
    )
    return replace(result, drive=drive)


@pytest.fixture(scope="module")
def page() -> str:
    other = make_result(operation="Rye")
    jobs = (driven(crowded()), other, make_result(field="Far Field", lon=-93.0))
    rendered = [render_operation(r, US, key=f"op{i}") for i, r in enumerate(jobs, 1)]
    return document(rendered, farm="Three Larks Farm", inputs=[], warnings=[])


@pytest.mark.parametrize("width", [360, 1280])
def test_labels_keep_apart_and_the_large_places_stay(open_page: Any, page: str, width: int) -> None:
    tab = open_page(page, width, 844)
    tab.locator("a[href='#op1']").first.click()
    tab.locator("#op1 .map").scroll_into_view_if_needed()
    tab.locator("#op1 .leaflet-control-scale").wait_for()
    frame = tab.locator("#op1 .map-frame").bounding_box()
    told = tab.locator("#op1 .hidden-places")
    more = []
    for _ in range(6):
        labels = tab.evaluate(LABELS)
        names = [name for name, *_ in labels]
        for one, other in combinations(labels, 2):
            apart = one[3] <= other[1] or other[3] <= one[1] or one[4] <= other[2]
            assert apart or other[4] <= one[2], (one, other)
        for name, left, top, right, bottom in labels:
            assert left >= frame["x"] - 3, name
            assert right <= frame["x"] + frame["width"] + 3, name
            assert top >= frame["y"] - 3, name
            assert bottom <= frame["y"] + frame["height"] + 3, name
        for number in LARGEST:
            assert any(name.startswith(f"Stop {number}:") for name in names), (number, names)
        text = told.inner_text() if told.is_visible() else ""
        more.append(int(text.split()[-2]) if text else 0)
        assert more[-1] + len(names) <= 77
        tab.locator("#op1 .leaflet-control-zoom-out").click()
        rest(tab)
    assert more[0] > 20
    assert more[-1] >= more[0]
    # What is counted as hidden is what is in the frame and has no label.
    tab.locator('#op1 input[data-layer="skip"]').uncheck()
    assert not told.is_visible() or int(told.inner_text().split()[-2]) < 5


def test_zooming_in_brings_out_what_was_hidden(open_page: Any, page: str) -> None:
    tab = open_page(page)
    tab.locator("a[href='#op1']").first.click()
    tab.locator(f'#op1 button[data-stop="{LARGEST[2]}"]').evaluate("button => button.click()")
    shown = len(tab.evaluate(LABELS))
    hidden = int(tab.locator("#op1 .hidden-places").inner_text().split()[-2])
    for _ in range(3):
        tab.locator("#op1 .leaflet-control-zoom-in").click()
        rest(tab)
    told = tab.locator("#op1 .hidden-places")
    assert not told.is_visible() or int(told.inner_text().split()[-2]) < hidden
    assert shown > 3


@pytest.mark.parametrize("width", [360, 1280])
def test_what_is_told_of_a_place_never_lies_over_the_map(
    open_page: Any, page: str, width: int
) -> None:
    tab = open_page(page, width, 844)
    tab.locator("a[href='#op1']").first.click()
    tab.locator('#op1 button[data-stop="2"]').evaluate("button => button.click()")
    frame = tab.locator("#op1 .map-frame").bounding_box()
    told = tab.locator("#op1 .details")
    box = told.bounding_box()
    assert "Stop 2" in told.inner_text()
    below, beside = (
        box["y"] >= frame["y"] + frame["height"],
        box["x"] >= frame["x"] + frame["width"],
    )
    assert below if width < 800 else beside
    assert 0 <= told.locator("h4").bounding_box()["y"] < 844
    assert tab.locator("#op1 .label-anchor.chosen, #op1 .shape.chosen").count() == 1
    tab.locator("#op1 .map").focus()
    tab.keyboard.press("Escape")
    assert tab.locator("#op1 .chosen").count() == 0


@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (1280, "dark")])
def test_axe_finds_nothing(open_page: Any, page: str, width: int, scheme: str) -> None:
    tab = open_page(page, width, 844, scheme)
    tab.locator("#compare > summary").click()
    tab.locator("a[href='#op1']").first.click()
    tab.locator('#op1 button[data-stop="1"]').evaluate("button => button.click()")
    tab.locator("#op1 .replay [data-pass='1']").click()
    tab.evaluate(AXE)
    found = tab.evaluate(
        "async () => (await axe.run(document, {resultTypes: ['violations']}))"
        ".violations.map(v => [v.id, v.nodes.map(n => n.html.slice(0, 200))])"
    )
    assert found == []


def test_the_drive_is_shown_again_pass_by_pass(open_page: Any, page: str) -> None:
    tab = opened(open_page(page))
    now, slider = tab.locator("#op1 .now"), tab.locator("#op1 .replay input")
    slider.focus()
    tab.keyboard.press("PageUp")
    # 2 m/s are 4.5 mph; 200 m took 100 s, and it stands in the last 5 s of them.
    told = "Pass 1 of 3, 08:01:35, 4.5 mph, 18-46-0 150 lb/ac"
    assert slider.get_attribute("aria-valuetext") == told
    tab.keyboard.press("PageUp")
    assert "Pass 2 of 3" in now.inner_text()
    assert "5.6 mph" in now.inner_text()
    tab.keyboard.press("ArrowRight")
    tab.keyboard.press("ArrowRight")
    assert "tool lifted" in now.inner_text()
    assert "lb/ac" not in now.inner_text()
    tab.locator("#op1 .replay [data-pass='1']").click()
    assert "Pass 3 of 3" in now.inner_text()
    assert "75 lb/ac" in now.inner_text()
    assert "Pass 3 of 3" in slider.get_attribute("aria-valuetext")
    slider.focus()
    tab.keyboard.press("Home")
    tab.locator("#op1 .replay [data-pass='-1']").click()
    assert "Pass 1 of 3" in now.inner_text()
    assert tab.locator("#op2 .replay").count() == 0  # no drive, nothing to show again


def opened(tab: Any) -> Any:
    """The first job, unfolded, with its map drawn."""
    tab.locator("a[href='#op1']").first.click()
    tab.locator("#op1 .map").scroll_into_view_if_needed()
    tab.locator("#op1 .leaflet-control-scale").wait_for()
    return tab


def painted(tab: Any) -> float:
    """Pixels that the replay has painted."""
    return float(
        tab.evaluate(
            """() => {
    const canvas = document.querySelector('#op1 canvas');
    const {width, height} = canvas;
    const copy = Object.assign(document.createElement('canvas'), {width, height});
    const pen = copy.getContext('2d', {willReadFrequently: true});
    pen.drawImage(canvas, 0, 0);
    const data = pen.getImageData(0, 0, width, height).data;
    let full = 0;
    for (let i = 3; i < data.length; i += 4) full += data[i] / 255;
    return full; }"""
        )
    )


def test_the_replay_paints_the_ground_that_was_driven(open_page: Any, page: str) -> None:
    tab = opened(open_page(page))
    slider = tab.locator("#op1 .replay input")
    slider.focus()
    tab.keyboard.press("End")
    box = tab.locator("#op1 path.boundary").bounding_box()
    pixels_per_m2 = box["width"] * box["height"] / (400 * 200)
    # Two passes of 6 m, one of 3 m, each 200 m long, less the step it stands in.
    assert painted(tab) / pixels_per_m2 == pytest.approx(2 * 6 * 200 + 3 * 190, rel=0.03)
    tab.keyboard.press("Home")
    tab.keyboard.press("PageUp")
    first = painted(tab)
    assert first / pixels_per_m2 == pytest.approx(6 * 190, rel=0.03)
    tab.locator("#op1 .leaflet-control-zoom-in").click()
    assert painted(tab) == pytest.approx(4 * first, rel=0.03)


def test_where_nothing_may_move_play_goes_by_passes(open_page: Any, page: str) -> None:
    tab = opened(open_page(page))  # asks for reduced motion
    play, now = tab.locator("#op1 [data-play]"), tab.locator("#op1 .now")
    play.click()
    assert "Stop" in play.inner_text()
    now.filter(has_text="Pass 2").wait_for()
    play.click()
    told = now.inner_text()
    assert "Play" in play.inner_text()
    tab.wait_for_timeout(1000)
    assert now.inner_text() == told


@pytest.mark.parametrize("width", [360, 1280])
def test_two_jobs_of_a_field_move_together(open_page: Any, page: str, width: int) -> None:
    tab = open_page(page, width, 844)
    tab.locator("#compare > summary").click()
    choices = tab.locator("#compare select")
    # The other job of the field; that of another field is not on offer.
    assert choices.nth(1).input_value() == "op2"
    assert choices.nth(0).locator("option").count() == 2
    where = """() => ['one', 'other'].map(side => {
        const frame = document.querySelector(`#compare-${side} .map-frame`).getBoundingClientRect();
        const edge = document.querySelector(`#compare-${side} path.boundary`);
        const box = edge.getBoundingClientRect();
        return [box.x - frame.x, box.y - frame.y, box.width].map(Math.round); })"""
    first = tab.evaluate(where)
    assert first[0] == pytest.approx(first[1], abs=1)
    tab.locator("#compare-one .leaflet-control-zoom-in").click()
    one, other = tab.evaluate(where)
    assert one == pytest.approx(other, abs=1)
    assert one[2] > 1.2 * first[0][2]  # what reaches beyond the frame is cut
    tab.locator("#compare-one input[data-view=rate0]").check()
    assert tab.locator("#compare-other input[data-view=rate0]").is_checked()
    assert tab.locator("#compare-other path.rate_2").count() == 1
    assert tab.locator("#compare-other path.once").count() == 0
    assert tab.evaluate("document.documentElement.scrollWidth") <= width


def test_rates_are_shown_instead_of_the_cover(open_page: Any, page: str) -> None:
    tab = open_page(page)
    tab.locator("a[href='#op1']").first.click()
    tab.locator("#op1 .map").scroll_into_view_if_needed()
    assert tab.locator("#op1 .map path.once").count() == 1
    tab.locator("#op1 input[data-view=rate0]").check()
    assert tab.locator("#op1 .map path.once").count() == 0
    assert tab.locator("#op1 .map path[class*=rate_]").count() == 2
    rows = tab.locator("#op1 .legend > label:visible").all_inner_texts()
    assert any("135 to 165 (within 10 % of target)" in row for row in rows)
    assert not any("covered once" in row for row in rows)
    tab.locator("#op1 input[data-layer=rate0_4]").uncheck()
    assert tab.locator("#op1 .map path[class*=rate_]").count() == 1
