"""The page of an interseeding plan: whole, without a network, harmless, readable without colour."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from pages import HOSTILE, Page
from plans import NAMES, empty_plan, make_plan

from evenacre.model import InputFile, Product
from evenacre.model.finding import reader_findings
from evenacre.planning.interseeding.plan_types import InterseedPlan
from evenacre.reports.maps.paddock_states import STATES
from evenacre.reports.pages.interseeding import interseed_page
from evenacre.units.display import METRIC, US, UnitSystem


def page(plan: InterseedPlan, units: UnitSystem = US, farm: str = "Three Larks Farm") -> str:
    return interseed_page(
        plan,
        units,
        farm=farm,
        inputs=[InputFile("season.toml", "ab" * 32)],
        warnings=["The map file was mended."],
        time_zone="America/Chicago",
    )


@pytest.fixture(scope="module")
def plain() -> str:
    return page(make_plan())


@pytest.fixture(scope="module")
def hostile() -> str:
    names = [f"{HOSTILE}{n}" for n in range(6)]
    seed = Product(HOSTILE, kind="seed", parts=((HOSTILE + "a", 3.0), (HOSTILE + "b", 2.0)))
    plan = make_plan(names=names, product=seed)
    days = tuple(replace(d, booked_for=(HOSTILE,)) if d.booked_s else d for d in plan.days)
    return page(replace(plan, days=days, findings=tuple(reader_findings([HOSTILE]))), farm=HOSTILE)


def test_nothing_is_loaded_from_anywhere(plain: str) -> None:
    loading = {"src", "srcset", "data", "poster", "action", "background", "xlink:href"}
    for tag, attrs in Page(plain).elements:
        assert not loading & attrs.keys(), (tag, attrs)
        assert tag not in {"link", "iframe", "object", "embed", "base"}
        if tag == "a":
            assert str(attrs["href"]).startswith("#"), attrs
    remaining = set(re.findall(r"https?://[^\s\"'<>)]+", plain))
    assert remaining <= {"http://www.w3.org/2000/svg", "https://leafletjs.com"}
    assert "default-src 'none'" in plain


def test_the_page_is_the_same_every_time(plain: str) -> None:
    assert page(make_plan()) == plain


def test_the_answer_comes_first(plain: str) -> None:
    text = Page(plain).text
    order = [
        "27.82 ac of 39.27 ac can be seeded, by Wed May 6, 2026",
        "20.6 lb of 375 lb is left over.",
        "Not seeded: Creek 3 (too much is left standing).",
        "What would let every paddock be seeded whole",
        "600 lb more seed",
        "Look at this first The map file was mended.",
        "What to do, day by day",
        "Sat Apr 11: Creek 1 , all of it, pass 1, 8.18 ac, 104 lb of seed; 08:00 to 10:30.",
        "Fill load 1 (132 lb) before the first pass.",
        "Over time",
        "Map by date",
        "What the herd is short of",
        "Paddock by paddock",
        "Loads",
        "The herd's moves",
        "Why windows open and close",
        "The drive",
        "Days the drill does not have",
        "How it was worked out",
        "2,000 simulated seasons",
        "Times are of America/Chicago",
        "Take care",
        "is not feed",
        "season.toml",
    ]
    text = text.replace("\N{NO-BREAK SPACE}", " ")
    places = [text.find(words) for words in order]
    assert -1 not in places, order[places.index(-1)]
    assert places == sorted(places)


def test_metric_pages_speak_metric() -> None:
    text = Page(page(make_plan(), METRIC)).text
    assert "kg/ha" in text
    assert " lb" not in text


def test_a_plan_in_which_nothing_can_be_seeded_still_makes_a_page() -> None:
    text = Page(page(empty_plan())).text
    assert "None of 8.18 ac can be seeded" in text
    assert "No day of seeding is planned." in text
    assert "Take care" not in text


def test_the_timeline_has_every_stay_window_visit_and_lost_day(plain: str) -> None:
    picture = re.search(r'<svg class="timeline-picture" role="img".*?</svg>', plain, re.DOTALL)
    assert picture is not None
    drawn = re.findall(r'<rect class="(\w+)" x="([\d.]+)%" width="([\d.]+)%" y="(\d+)"', picture[0])
    kinds = [kind for kind, *_ in drawn]
    plan = make_plan()
    assert kinds.count("herd") == len(plan.herd.stays)
    assert kinds.count("window") == 4
    assert kinds.count("lost") == 2
    assert kinds.count("booked") == 1
    # Five in the drill's row; in the paddocks' rows three of them are of a part.
    assert kinds.count("visit") == 5 + 2
    assert kinds.count("part") == 3
    assert picture[0].count('<text class="short"') == len(plan.herd.shortages)
    assert re.findall(r'<text class="number"[^>]*>(\d)<', picture[0]) == list("12345")
    for _, x, width, _ in drawn:
        assert 0 <= float(x) < float(x) + float(width) <= 100.001
    # Six weeks from the first day of the herd to the last of a window.
    herd = next(float(width) for kind, _, width, _ in drawn if kind == "herd")
    assert herd == pytest.approx(100 * 4 / 42, abs=0.01)


def test_colour_is_not_the_only_carrier(plain: str) -> None:
    style = "".join(re.findall(r"<style>(.*?)</style>", plain, re.DOTALL))

    def look(selector: str) -> str:
        found = re.findall(rf"{re.escape(selector)}\s*{{([^}}]*)}}", style)
        assert found, selector
        return "; ".join(found)

    # What differs in the picture differs in pattern, in dashes or in a number too.
    signs = [look(f".timeline-picture .{kind}") for kind in ("herd", "rest", "lost", "booked")]
    patterns = [re.search(r"url\(#([\w-]+)\)", sign) for sign in signs]
    assert len({p[1] for p in patterns if p}) == 4
    assert "dasharray" in look(".timeline-picture .window")
    assert "dasharray" in look(".timeline-picture .part")
    # Every sign of the timeline and every state of the map is named in a legend.
    text = Page(plain).text
    for words in ("herd grazing", "seeding window", "lost to weather", "drill wanted elsewhere"):
        assert words in text
    days = Page(plain).script("plan-days")
    assert {state for day in days for state in day["s"]} <= set(STATES)
    for day in days[1:]:
        for state, label in zip(day["s"], day["l"], strict=True):
            assert bool(label) == (state != "shut")


def test_names_from_files_cannot_break_out(hostile: str, plain: str) -> None:
    made, safe = Page(hostile), Page(plain)
    assert HOSTILE in "".join(made.words)
    count = [tag for tag, _ in made.elements].count
    assert count("script") == len(safe.scripts)
    assert count("img") == 0
    assert made.script("plan-names")[0] == HOSTILE + "0"


@pytest.fixture
def visit(open_page: Any) -> Any:
    """Open a page offline and wait for its map."""

    def go(text: str, width: int = 1280, height: int = 900, scheme: str = "light") -> Any:
        tab = open_page(text, width, height, scheme)
        tab.locator("#plan .map").scroll_into_view_if_needed()
        tab.locator("#plan .leaflet-control-scale").wait_for()
        return tab

    return go


def states(tab: Any) -> list[str]:
    return [tab.locator(f"path.paddock.p{place}").get_attribute("data-state") for place in range(6)]


@pytest.mark.browser
@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (1280, "light"), (1280, "dark")])
def test_the_page_fits_the_screen(visit: Any, plain: str, width: int, scheme: str) -> None:
    tab = visit(plain, width, 844, scheme)
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    frame = tab.locator("#plan .map").bounding_box()
    for place in range(6):
        box = tab.locator(f"path.paddock.p{place}").bounding_box()
        assert frame["x"] <= box["x"]
        assert box["x"] + box["width"] <= frame["x"] + frame["width"]
    # The timeline scrolls by itself where it is wider than the screen.
    rows = [tab.locator(".timeline-names li").nth(n).bounding_box() for n in range(7)]
    bars = tab.locator(".timeline-scroll rect.herd")
    first = bars.first.bounding_box()
    assert rows[1]["y"] < first["y"]
    assert first["y"] + first["height"] < rows[1]["y"] + rows[1]["height"]


@pytest.mark.browser
def test_the_map_steps_by_date(visit: Any, plain: str) -> None:
    tab = visit(plain)
    assert states(tab) == ["whole", "whole", "none", "never", "part", "whole"]
    label = tab.locator(".label-paddock.p1")
    assert label.inner_text().splitlines() == ["Bottom", "2: Apr 15, 3: Apr 16"]
    tab.locator(".visits button").nth(1).click()
    assert states(tab) == ["resting", "seeding", "herd", "shut", "shut", "shut"]
    assert label.inner_text().splitlines() == ["Bottom", "seeding"]
    assert "Wed Apr 15, 2026" in tab.locator(".today").inner_text()
    tab.locator(".stepper [data-move='1']").click()
    assert "Thu Apr 16, 2026" in tab.locator(".today").inner_text()
    tab.locator(".stepper input").fill("1")
    assert "Mon Apr 6, 2026" in tab.locator(".today").inner_text()
    assert states(tab)[0] == "herd"
    shown = tab.locator("li[data-sign]:visible").all_inner_texts()
    assert [s.strip() for s in shown] == ["herd in it", "not open for seeding"]
    # A layer that is switched off and on again still shows that day.
    box = tab.locator('input[data-layer="paddock"]')
    box.uncheck()
    box.check()
    assert states(tab)[0] == "herd"
    tab.locator(".stepper [data-step='0']").click()
    assert states(tab)[0] == "whole"


@pytest.mark.browser
def test_tapping_a_paddock_tells_about_it(visit: Any, plain: str) -> None:
    tab = visit(plain)
    tab.locator(".label-paddock.p4").click()
    told = tab.locator(".details").inner_text()
    assert "Draw" in told
    assert "Fri May 1, 2026 (no. 4)" in told
    assert "90 %" in told
    assert "1 round, then 19 passes east to west" in told


@pytest.mark.browser
def test_on_paper_the_whole_plan_is_shown(visit: Any, plain: str) -> None:
    tab = visit(plain, 800, 1000)
    tab.locator(".visits button").nth(1).click()
    tab.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    tab.emulate_media(media="print")
    assert states(tab)[0] == "whole"
    assert tab.locator("details:not([open])").count() == 0
    picture = tab.locator("svg.timeline-picture[role=img]").bounding_box()
    frame = tab.locator(".timeline").bounding_box()
    assert picture["x"] + picture["width"] <= frame["x"] + frame["width"] + 1
    tab.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert states(tab)[1] == "seeding"


@pytest.mark.browser
def test_hostile_names_do_nothing_in_a_browser(visit: Any, hostile: str) -> None:
    tab = visit(hostile)
    tab.locator(".visits button").nth(0).click()
    assert "onerror" in tab.locator(".label-paddock.p0").text_content()
    tab.locator("path.paddock.p0").click(position={"x": 5, "y": 5}, force=True)
    assert "</script>" in tab.locator(".details h4").inner_text()
    assert tab.evaluate("window.hacked") is None


@pytest.mark.browser
def test_an_empty_plan_opens_without_complaint(visit: Any) -> None:
    tab = visit(page(empty_plan()))
    assert tab.locator("path.paddock").get_attribute("data-state") == "none"
    assert tab.locator(".label-paddock").inner_text().splitlines() == ["Creek 3", "not seeded"]


@pytest.mark.parametrize("lon", [180.0, -180.0])
def test_the_map_is_continuous_over_the_antimeridian(lon: float) -> None:
    data = Page(page(make_plan(lon=lon, lat=-17.0))).script("plan-data")
    (south, west), (north, east) = data["bounds"]
    assert 0 < east - west < 0.02
    assert south < north
    paddocks = next(a for a in data["layers"] if a["key"] == "paddock")["items"]
    assert [item["t"] for item in paddocks] == list(NAMES)
    for item in paddocks:
        assert west <= item["at"][1] <= east
