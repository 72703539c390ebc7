"""Maps to print, as PNG and SVG: the same every time, readable aloud, marks inside the frame."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring
from PIL import Image
from synthetic_result import make_result
from test_report_map import LARGEST, crowded

from evenacre.model.audit_result import AuditResult
from evenacre.reports.maps.printed import map_beside_figures, static_maps
from evenacre.reports.maps.sheet import SETBACK
from evenacre.reports.sentences.fix_list import stops
from evenacre.units.display import US

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def maps() -> dict[str, bytes]:
    return static_maps(crowded(), US)


def words(drawing: ElementTree.Element) -> list[str]:
    return ["".join(text.itertext()).strip() for text in drawing.iter(f"{SVG}text")]


def test_every_map_is_there_both_ways_and_the_same_every_time(maps: dict[str, bytes]) -> None:
    assert list(maps) == ["cover.png", "cover.svg", "rate_18-46-0.png", "rate_18-46-0.svg"]
    assert static_maps(crowded(), US) == maps
    for name, drawing in maps.items():
        if name.endswith(".png"):
            assert Image.open(io.BytesIO(drawing)).width > 1000


def test_svg_says_in_words_what_it_shows(maps: dict[str, bytes]) -> None:
    cover, rate = (fromstring(maps[name]) for name in ("cover.svg", "rate_18-46-0.svg"))
    for drawing in (cover, rate):
        assert drawing.get("role") == "img"
        assert [child.tag for child in drawing][:2] == [f"{SVG}title", f"{SVG}desc"]
    assert cover.findtext(f"{SVG}title") == "Creek Forty: Spring fertilizer"
    assert "19.51 ac covered" in str(cover.findtext(f"{SVG}desc"))
    assert "rate of 18-46-0" in str(rate.findtext(f"{SVG}desc"))
    # Letters are text, not outlines.
    listed = stops(crowded()).nlargest(3, "area_m2")
    marks = {
        f"{s.skip}?" if s.standing == "look first" else f"{s.skip}" for s in listed.itertuples()
    }
    assert {"covered once", "surely bare", *marks} <= set(words(cover))
    assert "135 to 165 (within 10 % of target)" in words(rate)
    assert not re.search(rb"https?://(?!www\.w3\.org|purl\.org|creativecommons)", maps["cover.svg"])


@pytest.mark.parametrize(
    "draw", [lambda r: static_maps(r, US)["cover.svg"], lambda r: map_beside_figures(r, US).svg]
)
def test_a_setback_is_drawn_inside_the_frame_and_told(draw: Callable[[AuditResult], bytes]) -> None:
    r = make_result()
    drawing = fromstring(draw(r))
    assert "setbacks" in words(drawing)
    left, top, wide, tall = map(float, str(drawing.get("viewBox")).split())
    # On the map and in the legend: the colour is its own.
    drawn = [path for path in drawing.iter(f"{SVG}path") if path.get("stroke") == SETBACK]
    assert len(drawn) == 2
    xy = np.array(re.findall(r"([\d.]+),([\d.]+)", str(drawn[0].get("d"))), dtype=float)
    assert len(xy) > 2
    assert (xy >= (left, top)).all()
    assert (xy <= (wide, tall)).all()
    bare = replace(r, layers={**r.layers, "setbacks": r.layers["setbacks"].iloc[:0]})
    assert "setbacks" not in words(fromstring(draw(bare)))


def test_names_are_text_in_svg() -> None:
    name = 'A & B <script>alert("$x^2$")</script>'
    drawing = fromstring(static_maps(make_result(field=name), US)["cover.svg"])
    assert drawing.findtext(f"{SVG}title") == f"{name}: Spring fertilizer"
    assert not list(drawing.iter(f"{SVG}script"))


@pytest.mark.parametrize("small", [False, True])
def test_marks_stay_in_the_frame_and_the_rest_is_counted(small: bool) -> None:
    drawn = map_beside_figures(crowded(), US) if small else None
    svg = drawn.svg if drawn else static_maps(crowded(), US)["cover.svg"]
    drawing = fromstring(svg)
    box = [float(value) for value in str(drawing.get("viewBox")).split()]
    ground = next(g for g in drawing.iter(f"{SVG}g") if g.get("id") == "map")
    numbers = []
    for text in ground.iter(f"{SVG}text"):
        written = "".join(text.itertext()).strip()
        x, y = float(str(text.get("x"))), float(str(text.get("y")))
        if re.fullmatch(r"\d+\??", written):
            numbers.append((written, x, y))
            assert box[0] < x < box[2], written
            assert box[1] < y < box[3], written
    shown = {written.rstrip("?") for written, *_ in numbers}
    assert {str(number) for number in LARGEST} <= shown
    (left_out,) = [text for text in words(drawing) if "not marked" in text]
    assert int(left_out.split()[0]) == 74 - len(numbers)
    places = np.array([(x, y) for _, x, y in numbers])
    gaps = np.linalg.norm(places[:, None] - places[None], axis=2)
    assert gaps[~np.eye(len(places), dtype=bool)].min() > (4 if small else 8)


def test_pictures_need_no_folder_to_stand_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = tmp_path / "gone"
    here.mkdir()
    monkeypatch.chdir(here)
    here.rmdir()
    drawn = map_beside_figures(crowded(), US)
    assert Image.open(io.BytesIO(drawn.png)).width == round(3.4 * 220)
