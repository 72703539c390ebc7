"""The report page: one file, no network, harmless names, a map that answers."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from typing import Any

import geopandas as gpd
import pytest
import shapely
from pages import HOSTILE, Page, rest
from synthetic_result import empty_result, make_result

from evenacre.model import InputFile
from evenacre.model.audit_result import AuditResult
from evenacre.model.finding import Finding, reader_findings
from evenacre.reports.geodata import encode
from evenacre.reports.maps.interactive import script_json
from evenacre.reports.pages.audit import document, render_operation
from evenacre.units.display import METRIC, US


def page(*results: AuditResult, farm: str = "Three Larks Farm") -> str:
    rendered = [render_operation(r, US, key=f"op{i}") for i, r in enumerate(results, 1)]
    inputs = [InputFile("logs/creek.csv", "ab" * 32)]
    return document(rendered, farm=farm, inputs=inputs, warnings=["The map file was mended."])


@pytest.fixture(scope="module")
def plain() -> str:
    return page(make_result())


@pytest.fixture(scope="module")
def hostile() -> str:
    result = make_result(field=HOSTILE, operation=HOSTILE)
    layers = dict(result.layers)
    layers["zones"] = layers["zones"].assign(zone=HOSTILE)
    layers["setbacks"] = layers["setbacks"].assign(name=HOSTILE)
    layers["skips"] = layers["skips"].assign(cause=HOSTILE)
    product = replace(result.products[0], product=HOSTILE)
    spoiled = replace(
        result,
        layers=layers,
        products=(product,),
        sources=(HOSTILE,),
        findings=tuple(reader_findings([HOSTILE], [HOSTILE])),
        cleaning={HOSTILE: 1},
    )
    return page(spoiled, farm=HOSTILE)


def test_nothing_is_loaded_from_anywhere(plain: str) -> None:
    loading = {"src", "srcset", "data", "poster", "action", "background", "xlink:href"}
    for tag, attrs in Page(plain).elements:
        for name in loading & attrs.keys():
            assert str(attrs[name]).startswith("data:"), (tag, attrs[name])
        assert tag not in {"link", "iframe", "object", "embed", "base"}
        if tag == "a":
            assert str(attrs["href"]).startswith(("#", "geo:", "method.html")), attrs
    styles = "".join(re.findall(r"<style>(.*?)</style>", plain, re.DOTALL))
    assert "@import" not in styles
    for url in re.findall(r"url\(([^)]*)\)", styles):
        assert url.startswith("#"), url
    # What addresses remain are a namespace and the map library's credit, a link in a corner.
    remaining = set(re.findall(r"https?://[^\s\"'<>)]+", plain))
    assert remaining <= {"http://www.w3.org/2000/svg", "https://leafletjs.com"}
    assert "default-src 'none'" in plain


def test_the_page_is_the_same_every_time(plain: str) -> None:
    assert page(make_result()) == plain


def test_the_answer_comes_first(plain: str) -> None:
    text = Page(plain).text
    order = [
        "19.51 ac of 19.68 ac covered",
        "0.17 ac missed; 0.07 ac in 2 places only when you are there",
        "covered twice or more = 59.5 lb of 18-46-0 put down again, $25 of product.",
        "What to do",
        "Look at this first The log has a gap of 17 s at 10:31.",
        "Show on the map",
        "The ground",
        "19.51 ± 0.04 ac",
        "Amounts by zone",
        "Passes (31)",
        "How it was worked out",
        "two times in three the true figure lies within it",
        "Take care",
        "logs/creek.csv",
    ]
    places = [text.find(words) for words in order]
    assert -1 not in places, order[places.index(-1)]
    assert places == sorted(places)


def test_without_a_boundary_the_page_says_first_what_cannot_be_judged() -> None:
    drawn = replace(
        make_result(boundary_given=False), findings=(Finding.warning("boundary_drawn"),)
    )
    text = Page(page(drawn)).text
    doubt = text.index("Skips at the edge of the field cannot be judged")
    assert text.index("19.51 ac covered") < doubt < text.index("missed")
    assert "of 19.68 ac" not in text
    assert "Worked outside the field" not in text


def test_a_result_with_nothing_to_fix_still_makes_a_page() -> None:
    text = Page(page(empty_result())).text
    assert "Nothing was missed that is worth going back for." in text
    assert "Take care" not in text


def test_names_from_files_cannot_break_out(hostile: str, plain: str) -> None:
    made, safe = Page(hostile), Page(plain)
    assert HOSTILE in "".join(made.words)
    count = [tag for tag, _ in made.elements].count
    assert count("script") == len(safe.scripts)
    assert not [a for tag, a in made.elements if tag == "img" and "onerror" in a]
    for layer in made.data("op1")["layers"]:
        if layer["key"] == "zone":
            assert layer["items"][0]["n"] == HOSTILE


def test_script_json_cannot_end_its_element() -> None:
    text = script_json({"name": "</script><!--\u2028&"})
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text) == {"name": "</script><!--\u2028&"}


def decode(chain: list[int], origin: tuple[float, float]) -> list[tuple[float, float]]:
    x = y = 0
    points = []
    for dx, dy in zip(chain[::2], chain[1::2], strict=True):
        x, y = x + dx, y + dy
        points.append((origin[0] + x / 1e7, origin[1] + y / 1e7))
    return points


def test_map_shapes_are_true_to_centimetres() -> None:
    result = make_result(lon=179.9999, lat=65.0)
    frame = result.layers["cover"]
    origin = (179.9999, 65.0)
    for shape, parts in zip(frame.geometry, encode(frame, *origin), strict=True):
        rings = [[decode(r, origin) for r in part] for part in parts]
        drawn = shapely.MultiPolygon([(p[0], p[1:]) for p in rings])
        back = gpd.GeoSeries([drawn], crs=4326).to_crs(result.crs).iloc[0]
        assert shapely.hausdorff_distance(back, shape) < 0.03


@pytest.mark.parametrize("lon", [180.0, -180.0, 179.999])
def test_map_is_continuous_over_the_antimeridian(lon: float) -> None:
    data = Page(page(make_result(lon=lon, lat=-17.0))).data("op1")
    (south, west), (north, east) = data["bounds"]
    assert 0 < east - west < 0.01
    assert south < north
    skips = next(a for a in data["layers"] if a["key"] == "skip")
    for item in skips["items"]:
        assert west - 1e-6 <= item["at"][1] <= east + 1e-6
        written = dict(item["r"])["Latitude, longitude"]
        assert abs(float(written.split(",")[1])) <= 180


def test_a_large_field_stays_small_on_the_page() -> None:
    # 25 ha in 20-ft passes, every boundary recorded at 5 Hz and 2.4 m/s with a centimetre
    # of wander left in it.
    result = make_result()
    side, width, step = 500.0, 6.096, 0.48
    xs = [i * step for i in range(int(side / step) + 1)]
    strips = []
    for k in range(int(side / width)):
        low = [(x, k * width + 0.008 * math.sin(1.7 * i + k)) for i, x in enumerate(xs)]
        high = [(x, y + width - 0.1) for x, y in low]
        strips.append(shapely.Polygon([*low, *reversed(high)]))
    whole = shapely.MultiPolygon(strips)
    cover = gpd.GeoDataFrame({"cover": [1], "area_m2": [whole.area]}, geometry=[whole])
    layers = {**result.layers, "cover": cover.set_crs(result.crs)}
    assert len(page(replace(result, layers=layers))) < 1_500_000


def test_metric_pages_speak_metric() -> None:
    text = Page(render_operation(make_result(), METRIC).section).text
    assert "kg/ha" in text
    assert " ac " not in text


# The page in a browser that cannot reach any network.


@pytest.fixture
def visit(open_page: Any) -> Any:
    """Open a page offline and wait for its first map."""

    def go(text: str, width: int = 1280, height: int = 900) -> Any:
        tab = open_page(text, width, height)
        tab.locator("a[href='#op1']").first.click()
        tab.locator("#op1 .map").scroll_into_view_if_needed()
        tab.locator("#op1 .leaflet-control-scale").wait_for()
        return tab

    return go


def flag(tab: Any, number: int) -> Any:
    """The mark of a place on the map."""
    writing = re.compile(rf"^{number}\??$")
    return tab.locator(".label-anchor", has=tab.locator("text", has_text=writing))


@pytest.mark.browser
def test_clicking_a_skip_tells_its_size_and_the_way(visit: Any, plain: str) -> None:
    tab = visit(plain)
    flag(tab, 3).locator("path").last.click()
    told = tab.locator(".details").inner_text()
    # 130 m x 1.524 m = 198.12 m2 = 2,132.5 sq ft.
    assert "Stop 3: blocked rows (tower 2)" in told
    assert "2,100 sq ft" in told
    assert "5.0 ft" in told
    assert "corner of the field go" in told
    assert tab.locator(".details a").get_attribute("href").startswith("geo:40.0996")


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1280])
def test_the_map_fits_the_field_and_the_page_fits_the_screen(
    visit: Any, plain: str, width: int
) -> None:
    tab = visit(plain, width, 844)
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    frame = tab.locator("#op1 .map").bounding_box()
    field = tab.locator("path.boundary:visible").first.bounding_box()
    assert field["x"] >= frame["x"]
    assert field["x"] + field["width"] <= frame["x"] + frame["width"]
    assert field["y"] >= frame["y"]
    assert field["y"] + field["height"] <= frame["y"] + frame["height"]
    assert field["width"] > 0.6 * frame["width"]


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1280])
def test_the_printed_map_shows_the_whole_field(visit: Any, plain: str, width: int) -> None:
    tab = visit(plain, width, 844)
    tab.locator('button[data-stop="2"]').click()
    open_folds = tab.locator("details[open]").count()

    def spot() -> tuple[float, float]:
        label = flag(tab, 2).locator("text").bounding_box()
        frame = tab.locator("#op1 .map-frame").bounding_box()
        return label["x"] - frame["x"], label["y"] - frame["y"]

    rest(tab)  # the map moves to make room for what it tells
    seen = spot()
    tab.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    tab.emulate_media(media="print")
    (left,) = tab.locator("details:not([open])").all()
    assert left.locator("tbody tr").count() == 31
    assert left.locator(".left-folded").is_visible()
    frame = tab.locator("#op1 .map-frame").bounding_box()
    field = tab.locator("path.boundary").first.bounding_box()
    # 96 pixels are an inch.
    assert frame["width"] == pytest.approx(12.5 / 2.54 * 96, abs=1)
    assert field["x"] >= frame["x"]
    assert field["x"] + field["width"] <= frame["x"] + frame["width"]
    assert field["y"] >= frame["y"]
    assert field["y"] + field["height"] <= frame["y"] + frame["height"]
    assert field["width"] > 0.6 * frame["width"]
    tab.emulate_media(media="screen")
    tab.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert tab.locator("details[open]").count() == open_folds
    assert spot() == pytest.approx(seen, abs=2)


@pytest.mark.browser
def test_layers_switch_and_the_list_leads_to_the_map(visit: Any, plain: str) -> None:
    tab = visit(plain)
    passes = tab.locator("path.pass.leaflet-interactive")
    assert passes.count() == 0
    tab.locator('#op1 input[data-layer="pass"]').check()
    assert passes.count() == 31
    tab.locator('#op1 input[data-layer="skip"]').uncheck()
    assert tab.locator(".label-anchor .flag").count() == 0
    tab.locator('button[data-stop="2"]').click()
    assert tab.locator(".label-anchor .flag").count() == 4
    assert "Stop 2: no log" in tab.locator(".details").inner_text()


@pytest.mark.browser
def test_the_map_answers_to_the_keyboard(visit: Any, plain: str) -> None:
    tab = visit(plain)
    tab.locator('.leaflet-marker-icon[title^="Stop 1"]').focus()
    tab.keyboard.press("Enter")
    assert "Stop 1" in tab.locator(".details").inner_text()
    tab.keyboard.press("Escape")
    assert "Tap a place" in tab.locator(".details").inner_text()


@pytest.mark.browser
def test_hostile_names_do_nothing_in_a_browser(visit: Any, hostile: str) -> None:
    tab = visit(hostile)
    tab.locator("summary", has_text="leave them").click()
    for stop in range(1, 5):
        tab.locator(f'button[data-stop="{stop}"]').click()
        assert "</script>" in tab.locator(".details").inner_text()
    tab.locator("#op1 button[data-whole]").click()
    tab.locator(".label-zone").last.click()
    assert "onerror" in tab.locator(".details h4").inner_text()
    assert tab.evaluate("window.hacked") is None


@pytest.mark.browser
def test_two_maps_on_one_page_keep_apart(visit: Any) -> None:
    tab = visit(page(make_result(), make_result(field="Far Field", lon=-93.0)))
    assert not tab.locator("#op2 button[data-stop='1']").is_visible()
    tab.locator("a[href='#op2']").first.click()
    tab.locator("#op2 button[data-stop='1']").click()
    assert "Stop 1" in tab.locator("#op2 .details").inner_text()
    assert "Stop 1" not in tab.locator("#op1 .details").inner_text()


def test_a_season_stands_on_one_screen_and_opens_job_by_job(visit: Any) -> None:
    disputed = make_result(field="Far Field", lon=-93.0, operation="Rye")
    many = [make_result(), disputed, *(make_result(field=f"Plot {n}") for n in range(5))]
    tab = visit(page(*many))
    rows = tab.locator("table.jobs tbody tr")
    assert rows.count() == len(many)
    first = rows.nth(0).inner_text()
    for figure in ("19.51 ac of 19.68 ac", "0.17 ac", "by meter"):
        assert figure in first
    assert rows.nth(0).locator("svg path.skip").count() == 1
    assert tab.locator("details.job[open]").count() == 1  # the one that was asked for
    for unit in tab.locator("table.jobs .unbroken").all():
        assert unit.evaluate("e => e.getClientRects().length") == 1
    assert tab.locator("table.jobs td[data-name='Covered'] .unbroken").count() == 2 * len(many)
    tab.evaluate("document.querySelectorAll('details.job').forEach(d => d.open = false)")
    assert tab.evaluate("document.documentElement.scrollHeight") < 3000
    fold = tab.locator("details.job > summary").nth(1)
    fold.focus()
    tab.keyboard.press("Enter")
    tab.locator("#op2 .map").scroll_into_view_if_needed()
    tab.locator("#op2 .leaflet-control-scale").wait_for()
    text = tab.locator("#op2").inner_text()
    assert "Far Field" in text
    assert "What to do" in text


def test_a_table_sorts_by_what_its_cells_are_worth(visit: Any, plain: str) -> None:
    tab = visit(plain)
    fold = tab.locator("#op1 details", has_text="Passes (31)")
    fold.locator("summary").click()
    table = fold.locator("table")
    head = table.locator("thead th", has_text="Length")
    at = head.evaluate("th => th.cellIndex")

    def lengths() -> list[float]:
        cells = f"rows => rows.map(row => Number(row.cells[{at}].dataset.by))"
        return table.locator("tbody tr").evaluate_all(cells)

    driven = lengths()
    assert len(set(driven)) > 2
    assert driven != sorted(driven)
    head.locator("button").focus()
    tab.keyboard.press("Enter")
    assert lengths() == sorted(driven)
    assert head.get_attribute("aria-sort") == "ascending"
    tab.keyboard.press("Enter")
    assert lengths() == sorted(driven, reverse=True)
