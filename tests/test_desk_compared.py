"""Two audits side by side: the differences told, and the maps that move together."""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Callable
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from pages import Page, rest
from small_farm import write_small_farm
from test_desk import client_of, result_in
from test_desk_whole import fits, open_desk

from evenacre.desk import asked, drawing, work
from evenacre.desk.farm import open_farm
from evenacre.desk.results import results_of
from evenacre.reports.quantities import Display
from evenacre.reports.tables.compared import compared_tables
from evenacre.units.display import METRIC, US
from evenacre.workflows import compare

ACRE_M2, POUND_KG = 4046.8564224, 0.45359237  # NIST SP 811, appendix B.8


def rows(one: dict[str, Any], other: dict[str, Any], units: Any = US) -> dict[str, list[str]]:
    tables = compared_tables(one, other, ("left", "right"), Display(units))
    return {name: cells for table in tables for name, *cells in table.rows}


def test_a_difference_is_of_the_right_against_the_left_in_the_readers_units() -> None:
    one = {"covered_area_m2": 30 * ACRE_M2, "passes": 40, "field_efficiency": 0.8}
    other = {"covered_area_m2": 32.5 * ACRE_M2, "passes": 38, "field_efficiency": 0.8}
    told = rows(one, other)
    assert told["Covered"][2] == "2.50 ac more"
    assert told["Passes"] == ["40", "38", "2 less"]
    assert told["Field efficiency"] == ["80.0 %", "80.0 %", "none"]
    assert rows(other, one)["Covered"][2] == "2.50 ac less"
    assert "1.01 ha" in rows(one, other, METRIC)["Covered"][2]


def test_within_the_doubt_of_both_nothing_is_told_for_sure() -> None:
    def one(area: float, half: float) -> dict[str, Any]:
        ends = [area - half, area + half]
        return {"skip_area_m2": area, "interval_90": {"skip_area_m2": ends}}

    # The doubts of two audits add up as squares: 3 and 4 make 5.
    assert rows(one(1000, 30), one(1049, 40))["Missed"][2].endswith("more ?")
    assert rows(one(1000, 30), one(1051, 40))["Missed"][2].endswith("more")
    assert rows(one(1000, 30), {"skip_area_m2": 2000})["Missed"][2].endswith("more")


def test_products_are_held_against_one_another_by_their_names() -> None:
    def placed(name: str, kg: float) -> dict[str, Any]:
        product = {"product": name, "applied_in_field_kg": kg, "logged_kg": kg}
        return {"products": [product]}

    told = rows(placed("18-46-0", 100 * POUND_KG), placed("18-46-0", 90 * POUND_KG))
    assert told["18-46-0: on the field"][2] == "10.0 lb less"
    told = rows(placed("18-46-0", 100 * POUND_KG), placed("rye", 90 * POUND_KG))
    assert told["18-46-0: on the field"] == ["100 lb", "", ""]
    assert told["rye: on the field"] == ["", "90.0 lb", ""]
    assert "rye: logged" not in told


def test_pages_answer_before_maps_are_read_and_audits_compared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever page is asked for, it does not wait for what is slow; that comes when it is done."""
    may_go_on = Event()
    for where, name in (
        (drawing, "read_ground"),
        (drawing, "_remarks"),
        (compare, "compare_audits"),
    ):
        slow = getattr(where, name)

        def blocked(*args: Any, slow: Any = slow) -> Any:
            assert may_go_on.wait(60)
            return slow(*args)

        monkeypatch.setattr(where, name, blocked)
    monkeypatch.setattr(asked, "_PATIENCE_S", 0.01)
    with client_of(tmp_path / "farm") as desk:
        write_small_farm(tmp_path / "farm")
        result_in(tmp_path / "farm" / "evenacre-out")
        plot = {"kind": "field", "name": "Home Field"}
        both = {"one": "evenacre-out:0", "other": "evenacre-out:0"}
        waiting = {}
        for path, query, what in (
            ("/ground", {}, "Home Field"),
            ("/ground/plot", plot, "Outline"),
            ("/ground/draw", plot, "Keep it"),
            ("/results/compare/page", both, "evenacre-out"),  # it is no real one, and refused
        ):
            page = desk.get(path, params=query)
            assert page.status_code == 200
            assert what not in page.text
            (asks_for,) = re.findall('data-asks-for="([^"]*)"', page.text)
            waiting[path] = query, what, asks_for
        apart = {"/events", "/ground/shapes", *waiting}  # a stream, and the map itself
        pages = [r.path for r in desk.app.app.routes if "GET" in r.methods]  # type: ignore[attr-defined]
        for path in (one for one in pages if "{" not in one and one not in apart):
            assert desk.get(path).status_code < 500
        may_go_on.set()
        for path, (query, what, asks_for) in waiting.items():
            assert desk.get(asks_for).json() == {}
            assert desk.get(asks_for).status_code == 404  # it is told once
            page = desk.get(path, params=query)
            assert "data-asks-for" not in page.text
            assert what in page.text, path


@pytest.mark.parametrize("spoilt", [None, "x", True, [], {}, "1e3"])
def test_what_is_no_figure_is_passed_over(spoilt: Any) -> None:
    told = rows({"covered_area_m2": spoilt, "interval_90": spoilt, "products": spoilt}, {})
    assert told == {}


def test_only_audits_of_the_farm_can_be_chosen(tmp_path: Path) -> None:
    with client_of(tmp_path / "farm") as desk:
        assert "no audit yet" in desk.get("/results/compare").text
        result_in(tmp_path / "farm" / "evenacre-out")
        result_in(tmp_path / "elsewhere")
        assert "Home &lt;b&gt;Field" in desk.get("/results/compare").text
        for odd in ("../elsewhere:0", "evenacre-out", "evenacre-out:x", "", "nothing:0"):
            answer = desk.get("/results/compare/page", params={"one": odd, "other": odd})
            assert answer.status_code == 404
        # It has no maps that could be shown.
        both = {"one": "evenacre-out:0", "other": "evenacre-out:0"}
        answer = desk.get("/results/compare/page", params=both)
        assert answer.status_code == 400
        assert "layers.gpkg" in answer.text
        both["other"] = "evenacre-out:7"
        assert desk.get("/results/compare/page", params=both).status_code == 400


def test_what_is_asked_about_is_offered_with_the_one_before_it(tmp_path: Path) -> None:
    def chosen(address: str) -> list[str | None]:
        options = [attrs for tag, attrs in Page(desk.get(address).text).elements if tag == "option"]
        return [attrs["value"] for attrs in options if "selected" in attrs]

    with client_of(tmp_path / "farm") as desk:
        for day in ("2026-11-26", "2026-11-27", "2026-11-28"):
            result_in(tmp_path / "farm" / "results" / f"{day}-120000-audit")
        places = [f"results/2026-11-{day}-120000-audit:0" for day in (26, 27, 28)]
        assert chosen("/results/compare") == [places[1], places[2]]
        assert chosen(f"/results/compare?other={places[1]}") == [places[0], places[1]]
        assert chosen(f"/results/compare?other={places[0]}") == [places[2], places[0]]


def test_a_comparison_is_handed_over_with_what_it_was_made_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compare, "compare_audits", lambda *_: "<p>Compared</p>")
    with client_of(tmp_path / "farm") as desk:
        for name in ("spring", "fall"):
            result_in(tmp_path / "farm" / name, **{"report.html": f"<p>{name}</p>"})
        both = {"one": "spring:0", "other": "fall:0"}
        assert (
            "/results/compare/all.zip?one=spring%3A0"
            in desk.get("/results/compare", params=both).text
        )
        answer = desk.get("/results/compare/all.zip", params=both)
        assert answer.headers["content-type"] == "application/zip"
        with zipfile.ZipFile(io.BytesIO(answer.content)) as pack:
            held = {name: pack.read(name).decode() for name in pack.namelist()}
    assert held.pop("comparison/comparison.html") == "<p>Compared</p>"
    assert held["comparison/fall/report.html"] == "<p>fall</p>"
    assert set(held) == {
        f"comparison/{name}/{file}"
        for name in ("spring", "fall")
        for file in ("report.html", "summary.json")
    }


@pytest.mark.browser
def test_two_audits_side_by_side(tmp_path: Path, visit: Callable[..., Any]) -> None:
    write_small_farm(tmp_path)
    farm = open_farm(tmp_path)
    log = tmp_path / "log.csv"
    lines = log.read_text().splitlines(keepends=True)
    for part in (1.0, 0.6):
        log.write_text("".join(lines[: int(len(lines) * part)]))
        assert not work.audit(lambda _: None, farm, []).failed
    second, first = results_of(farm)
    areas = [
        json.loads((tmp_path / one.place / "summary.json").read_bytes())["operations"][0]
        for one in (first, second)
    ]
    with open_desk(tmp_path) as address:
        for width in (1280, 360):
            tab = visit(address, width)
            tab.get_by_role("link", name="Results").click()
            tab.get_by_role("link", name="Compare two audits").click()
            tab.get_by_label("On the left").select_option(f"{first.place}:0")
            tab.get_by_label("On the right").select_option(f"{second.place}:0")
            tab.get_by_role("button", name="Compare").click()
            shown = tab.frame_locator("iframe.report")
            for side in ("one", "other"):
                shown.locator(f"#{side} .leaflet-control-scale").scroll_into_view_if_needed()
            fits(tab)
            inside = next(frame for frame in tab.frames if "/compare/page" in frame.url)
            assert inside.evaluate("origin") == "null"
            assert inside.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
            page = Page(inside.content())
            less = (areas[0]["covered_area_m2"] - areas[1]["covered_area_m2"]) / ACRE_M2
            assert f"{less:.2f} ac less" in page.text

            # The outline lies at one place of both frames, wherever either is moved.
            where = """() => ['one', 'other'].map(side => {
                const frame = document.querySelector(`#${side} .map-frame`).getBoundingClientRect();
                const edge = document.querySelector(`#${side} path.boundary`);
                const box = edge.getBoundingClientRect();
                return [box.x - frame.x, box.y - frame.y, box.width].map(Math.round); })"""
            before = inside.evaluate(where)
            assert before[0] == pytest.approx(before[1], abs=1)
            inside.locator("#other .leaflet-container").focus()
            tab.keyboard.press("ArrowLeft")
            inside.wait_for_function(f"x => ({where})()[0][0] > x", arg=before[0][0] + 40)
            rest(inside)
            left, right = inside.evaluate(where)
            assert left == pytest.approx(right, abs=1)
            inside.locator("#one .leaflet-control-zoom-in").click()
            inside.wait_for_function(f"w => ({where})()[1][2] > w", arg=before[1][2] * 1.1)
            rest(inside)
            left, right = inside.evaluate(where)
            assert left == pytest.approx(right, abs=1)
            inside.locator("#one input[data-layer=once]").uncheck()
            assert not inside.locator("#other input[data-layer=once]").is_checked()
            tab.context.close()
