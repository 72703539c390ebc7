"""Planned passes as words, figures and a map; and the ground that a season gives to plan on."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import geopandas as gpd
import numpy as np
import pytest
import shapely
from cli_jobs import evenacre, write_boundary
from defusedxml.ElementTree import fromstring
from put_down import MISSOURI, on_earth
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.io.season.pass_inputs import ground_of_season, read_drive_options
from evenacre.model import Field
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.planning.passes.plan import plan_passes
from evenacre.planning.passes.turns import turn_room
from evenacre.reports.maps import sheet
from evenacre.reports.maps.passes import pass_map
from evenacre.reports.sentences.passes import pass_lines
from evenacre.reports.tables.accounts import pass_account
from evenacre.units.display import METRIC, US
from evenacre.workflows.passes import drive_over

WIDTH = 6.096
BARN = shapely.box(0, 0, 300, 200) - shapely.box(100, 80, 150, 110)


def field(shape: BaseGeometry, name: str = "Creek $40") -> Field:
    return Field(name, on_earth(shape, MISSOURI, 0.2, (0, 0)))


def plan_of(shape: BaseGeometry, width: float = WIDTH, **drive: Any) -> PassPlan:
    return plan_passes(field(shape), Drive(width, **drive))


@pytest.mark.parametrize("radius", [3.5, 6.0, 9.0])
def test_a_bulb_turn_in_closed_form(radius: float) -> None:
    """Between passes nearer than two radii the middle circle's centre is 2 r sin(a) ahead.

    Three circles of one radius touch; the outer two lie a radius beside each pass, so
    cos(a) = (2 r + w) / (4 r), and the turn reaches r further than that centre.
    """
    plan = plan_of(shapely.box(0, 0, 300, 2 * WIDTH), turn_radius_m=radius, rounds=0)
    room = turn_room(plan)
    assert room.turns == len(plan.turns) == 1
    angle = math.acos((2 * radius + WIDTH) / (4 * radius))
    # Points of a turn lie a metre apart at most: half of it beside the apex.
    short = radius * (1 - math.cos(0.5 / radius))
    reach = radius + 2 * radius * math.sin(angle)
    assert reach - short - 1e-3 <= room.beyond_m <= reach + 1e-3


def test_a_turn_with_room_between_passes_reaches_one_radius() -> None:
    plan = plan_of(shapely.box(0, 0, 300, 200), 20.0, turn_radius_m=3.0, rounds=0)
    assert turn_room(plan).beyond_m == pytest.approx(3.0, abs=0.05)


def test_one_pass_needs_no_turn() -> None:
    plan = plan_of(shapely.box(0, 0, 300, WIDTH), rounds=0)
    assert len(plan.passes) == 1
    assert turn_room(plan).turns == 0
    said = "\n".join(pass_lines([plan], US))
    assert "caution" not in said
    assert "fences" not in said


def test_words_of_one_field() -> None:
    plan = plan_of(BARN)
    lines = pass_lines([plan], US)
    assert lines[0].startswith("Creek $40, 14.46 ac: 2 rounds, then ")
    rows = {line[2:20].strip(): line[20:] for line in lines if line.startswith("  ")}
    count = sum(p.kind == "pass" for p in plan.passes)
    assert rows["passes"].startswith(f"{count}, ")
    assert rows["turns"].startswith(f"{len(plan.turns)}, ")
    degrees = (90 - math.degrees(plan.drive.heading_rad or 0.0)) % 180
    assert rows["heading"] == (f"{degrees:.1f}° and back {degrees + 180:.1f}°, has fewest turns")
    assert rows["field efficiency"] == f"{100 * plan.field_efficiency:.1f} %"
    assert rows["overlap"].startswith(f"{100 * plan.overlap_m2 / plan.workable_m2:.1f} %, ")
    # The drive's own figures, in the units asked for.
    figures = re.findall(r"[\d.]*\d (?:ft|mph)", lines[-1])
    assert figures == ["20.0 ft", "5.0 mph", "3.4 mph", "19.7 ft"]
    metric = pass_lines([plan], METRIC)
    assert "8.0 km/h at work" in metric[-1]
    assert not any(" ft" in line or " ac" in line or " mi," in line for line in metric)


def test_due_north_is_0_not_180() -> None:
    # A hair west of north rounds to 180.0, which is north again.
    plan = plan_of(BARN, heading_rad=math.radians(90.01))
    (row,) = (line for line in pass_lines([plan], US, heading_given=True) if "heading" in line)
    assert "0.0° and back 180.0°, as given" in row
    assert "180.0° and back" not in row


def test_cautions_are_once_for_all_and_warnings_reach_the_reader() -> None:
    none = plan_of(shapely.box(0, 0, 4, 40))
    lines = pass_lines([plan_of(BARN), none, plan_of(BARN)], US, warnings=["fields.gpkg: odd"])
    # (2 x 58,500 + 160) m2 / 4,046.86
    assert lines[0].startswith("3 fields, 28.95 ac: ")
    assert sum("fences" in line for line in lines) == 1
    assert sum("caution:" in line for line in lines) == 2
    assert sum(line.startswith("Creek $40, 0.04 ac: ") for line in lines) == 1  # of 43,560 sq ft
    assert any(line.startswith("  warning: ") for line in lines)
    assert lines[-1] == "warning: fields.gpkg: odd"


def test_the_account_is_json_in_si() -> None:
    plan = plan_of(BARN)
    account = pass_account(
        [plan], farm="", generated="", inputs=(), maps=["maps/creek.png"], heading_given=False
    )
    (told,) = account["fields"]
    assert account["drive"]["width_m"] == WIDTH
    assert account["field_time_s"] == pytest.approx(told["work_s"] + told["turn_s"])
    assert told["turns_outside"] == turn_room(plan).turns
    for key in ("covered_m2", "overlap_m2", "missed_m2", "work_m", "turn_m"):
        assert told[key] == pytest.approx(getattr(plan, key), rel=1e-9)


SVG = "{http://www.w3.org/2000/svg}"


def drawn(monkeypatch: pytest.MonkeyPatch, plan: PassPlan, ground: Field) -> ElementTree.Element:
    """The drawing that would be printed."""
    monkeypatch.setattr(sheet, "raster", lambda svg, _dpi: svg)
    return fromstring(pass_map(ground, plan, US))


def words(drawing: ElementTree.Element) -> list[str]:
    return [str(text.text) for text in drawing.iter(f"{SVG}text")]


def test_rounds_passes_and_turns_differ_by_more_than_colour(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plan = plan_of(BARN)
    drawing = drawn(monkeypatch, plan, field(BARN))
    ground = next(g for g in drawing.iter(f"{SVG}g") if g.get("id") == "map")
    lines = [p for p in ground.iter(f"{SVG}path") if p.get("fill") == "none" and "Z" not in way(p)]
    styles = {str(p.get("stroke-dasharray")): way(p).count("M") for p in lines}
    kinds = [p.kind for p in plan.passes]
    turns = sum(turn.length > 0 for turn in plan.turns)
    assert sorted(styles.values()) == sorted([kinds.count("round"), kinds.count("pass"), turns])
    legend = [w for w in words(drawing) if not w.isdigit()][-6:]
    assert legend[:3] == ["headland round", "pass", "turn, tool lifted"]
    assert {"begin", "end", "order and way of driving"} <= set(legend)


def way(path: ElementTree.Element) -> str:
    return str(path.get("d"))


def test_numbers_on_the_map_do_not_lie_on_one_another(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = plan_of(shapely.box(0, 0, 900, 700))
    numbers: dict[int, Any] = {}
    label = sheet.Sheet.label

    def seen(made: sheet.Sheet, place: Any, off: Any, text: str, *rest: Any) -> None:
        numbers[int(text)] = (place, made.in_points(place[None])[0])
        label(made, place, off, text, *rest)

    monkeypatch.setattr(sheet.Sheet, "label", seen)
    drawing = drawn(monkeypatch, plan, field(shapely.box(0, 0, 900, 700)))
    assert [w for w in words(drawing) if w.isdigit()] == [*map(str, numbers)]
    assert len(numbers) > 10
    places = np.array([at for _, at in numbers.values()])
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    assert apart[~np.eye(len(places), dtype=bool)].min() >= 30 * 72 / 130  # pixels
    for number, (place, _) in numbers.items():
        assert plan.passes[number - 1].line.distance(shapely.Point(place)) < 1e-6


def test_unworkable_ground_is_hatched(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = shapely.box(0, 0, 300, 200)
    pond = on_earth(shapely.box(100, 80, 150, 110), MISSOURI, 0.2, (0, 0))
    ground = Field("Creek", field(whole).boundary, pond)
    drawing = drawn(monkeypatch, plan_passes(ground, Drive(WIDTH)), ground)
    (hatch,) = drawing.iter(f"{SVG}pattern")
    assert any(p.get("fill") == f"url(#{hatch.get('id')})" for p in drawing.iter(f"{SVG}path"))
    assert "not to be worked" in words(drawing)


def test_the_same_plan_gives_the_same_picture() -> None:
    plan = plan_of(BARN)
    assert pass_map(field(BARN), plan, US) == pass_map(field(BARN), plan, US)


def test_a_field_that_cannot_be_driven_has_a_map_too() -> None:
    sliver = shapely.box(0, 0, 4, 40)
    assert pass_map(field(sliver), plan_of(sliver), US)[:4] == b"\x89PNG"


SEASON = """
units = "metric"

[[product]]
name = "rye"
kind = "seed"

[[implement]]
name = "drill"
width = "20 ft"

[[implement]]
name = "narrow drill"
width = "10 ft"

[[field]]
name = "Creek"
boundary = "field.geojson"

[[field]]
name = "Sketch"

[[paddock]]
name = "Creek"

[[move]]
paddock = "Creek"
enter = 2026-08-03
leave = 2026-08-08

[seeding]
product = "rye"
implement = "drill"
rate = "60 lb/ac"
load = "900 lb"
rounds = 3
speed = "4 mph"
turn_radius = "30 ft"
prefer = "overlap"
"""


@pytest.fixture
def season(tmp_path: Path) -> Path:
    write_boundary(tmp_path / "field.geojson", on_earth(BARN, MISSOURI, 0.2, (0, 0)))
    file = tmp_path / "season.toml"
    file.write_text(SEASON, encoding="utf-8")
    return file


def test_a_field_that_is_a_paddock_too_is_driven_once(season: Path) -> None:
    ground = ground_of_season(season)
    assert [f.name for f in ground.fields] == ["Creek"]
    assert ground.units == "metric"
    assert ground.warnings == ('Without a boundary, and left out: "Sketch".',)
    assert [i.path for i in ground.inputs] == ["field.geojson", "season.toml"]


def test_the_drill_that_seeds_is_driven_as_seeding_says(season: Path) -> None:
    ground = ground_of_season(season)
    drive = drive_over(ground, read_drive_options({"rounds": 1, "heading": "90°"}))
    assert drive == Drive(
        20 * 0.3048,
        speed_mps=pytest.approx(4 * 0.44704),
        turn_radius_m=pytest.approx(30 * 0.3048),
        rounds=1,
        heading_rad=pytest.approx(0.0),
        prefer="overlap",
        implement=ground.implement,
        headland="last",
        load_m2=drive.load_m2,
    )
    assert ground.implement is not None


@pytest.mark.parametrize("other", [{"implement": "narrow drill"}, {"width_m": 3.048}])
def test_another_tool_is_not(season: Path, other: dict[str, Any]) -> None:
    ground = ground_of_season(season, **other)
    assert drive_over(ground, read_drive_options({})) == Drive(
        pytest.approx(3.048), implement=ground.implement
    )


def test_a_field_without_a_boundary_cannot_be_chosen(season: Path) -> None:
    with pytest.raises(InputError, match=r"Sketch.*has no boundary"):
        ground_of_season(season, fields=["Sketch"])


def test_faults_of_the_season_are_told_and_no_other(season: Path) -> None:
    """A field that could not be made is not called unknown as well."""
    (season.parent / "field.geojson").unlink()
    with pytest.raises(InputError) as told:
        ground_of_season(season, fields=["Creek"])
    assert all("field.geojson" in p.what for p in told.value.problems)


def test_width_does_not_go_with_an_implement(season: Path) -> None:
    ran = evenacre("passes", season, "--width", "20 ft", "--implement", "drill")
    assert ran.code == 2
    assert ran.errors()[0].startswith("error: --width: ")


def test_a_bad_width_is_all_that_is_told(season: Path) -> None:
    """Not that there are two implements to choose from, since a width was given."""
    text = SEASON[: SEASON.index("[[paddock]]")]
    season.write_text(text, encoding="utf-8")
    ran = evenacre("passes", season, "--width", "0 ft")
    assert ran.code == 2
    (error,) = ran.errors()
    assert error.startswith("error: --width: ")
    assert not (season.parent / "evenacre-passes").exists()


def test_a_turn_radius_of_nothing_is_refused_in_the_season(season: Path) -> None:
    season.write_text(SEASON.replace('"30 ft"', '"0 ft"'), encoding="utf-8")
    ran = evenacre("passes", season)
    assert ran.code == 2
    assert "turn_radius" in ran.err


def test_every_wrong_name_is_told_at_once(season: Path) -> None:
    options = ("--field", "Crek", "--implement", "dril", "--heading", "361")
    ran = evenacre("passes", season, *options)
    assert ran.code == 2
    told = ["--heading: ", "--field: ", "--implement: "]
    assert [
        error.startswith(f"error: {flag}") for error, flag in zip(ran.errors(), told, strict=True)
    ] == [
        True,
        True,
        True,
    ]
    assert 'Did you mean "Creek"?' in ran.err


def test_rows_and_spacing_make_the_width(season: Path) -> None:
    boundary = season.parent / "field.geojson"
    ran = evenacre("passes", "--boundary", boundary, "--rows", 32, "--row-spacing", "7.5 in")
    assert ran.code == 0, ran.err
    assert "Tool 20.0 ft wide" in ran.out
    ran = evenacre("passes", season, "--rows", 32)
    assert ran.code == 2
    assert "--rows" in ran.errors()[0]


def test_unworkable_ground_may_be_a_layer_among_others(season: Path) -> None:
    gpkg = season.parent / "map.gpkg"
    pond = shapely.box(200, 80, 240, 110)
    for layer, shape in (("ponds", pond), ("other", shapely.box(0, 0, 300, 100))):
        ground = gpd.GeoDataFrame(geometry=[on_earth(shape, MISSOURI, 0.2, (0, 0))], crs=4326)
        ground.to_file(gpkg, layer=layer)
    given = ("--boundary", season.parent / "field.geojson", "--width", "20 ft", "--json")
    ran = evenacre("passes", *given, "--unworkable", gpkg, "--unworkable-layer", "ponds")
    assert ran.code == 0, ran.err
    (told,) = json.loads(ran.out)["fields"]
    assert told["workable_m2"] == pytest.approx(BARN.area - pond.area, rel=1e-4)
