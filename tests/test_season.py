"""The season file: what it makes, and every complaint it can draw."""

from __future__ import annotations

import hashlib
import textwrap

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import Point, box

from evenacre.errors import InputError
from evenacre.io.season.from_options import season_from_options
from evenacre.io.season.load import load_season
from evenacre.io.season.load_operation import load_operation
from evenacre.io.season.products import analysis_in_name
from evenacre.model import Settings

SQUARE = box(-92.41, 40.10, -92.40, 40.11)
START = 1776157200.0  # 2026-04-14T09:00:00Z

SEASON = """
farm = "Three Larks Farm"
units = "us"
currency = "USD"
time_zone = "America/Chicago"
[settings]
skip_min_width = "4 in"
skip_min_area = "10 sq ft"
pass_to_pass = "1 in"
headland_rounds = 2
max_gap = "5 s"
max_speed = "25 mph"
[[product]]
name = "18-46-0"
analysis = { N = 18, P2O5 = 46, K2O = 0 }
price = "840 USD/ton"
[[implement]]
name = "drill"
width = "20 ft"
rows = 32
rows_per_tower = 8
sections = [8, 8, 8, 8]
axle_to_antenna = "2 ft"
antenna_ahead = "9 ft"
tow = [ { hitch_to_axle = "14 ft", axle_to_pin = "4 ft" }, { hitch_to_axle = "12 ft" } ]
tool_behind = "3 ft"
delay = "2.5 s"
[[field]]
name = "Creek Forty"
boundary = { file = "farm.gpkg", layer = "fields", where = { name = "Creek Forty" } }
zones = { file = "zones.geojson", name_column = "zone" }
setbacks = { file = "wells.geojson", distance = "100 ft" }
[[operation]]
name = "Spring fertilizer"
field = "Creek Forty"
date = 2026-04-14
implement = "drill"
tracks = ["logs/creek.csv"]
columns = { "rate:18-46-0" = "Rate [lb/ac]" }
products = [ { product = "18-46-0", rate = "150 lb/ac" } ]
smooth = false
skip_min_width = "6 in"
"""


def write_log(path, lon=-92.405, lat0=40.102, count=40, start="2026-04-14T09:00:00Z"):
    path.parent.mkdir(parents=True, exist_ok=True)
    stamps = np.datetime64(start.rstrip("Z")) + np.arange(count).astype("timedelta64[s]")
    zone = "Z" if start.endswith("Z") else ""
    rows = [f"{s}{zone},{lon:.7f},{lat0 + i * 2e-5:.7f},150" for i, s in enumerate(stamps)]
    path.write_text("time,longitude,latitude,Rate\n" + "\n".join(rows) + "\n")
    return path


@pytest.fixture
def farm(tmp_path):
    """A folder with every file of ``SEASON``."""
    fields = gpd.GeoDataFrame(
        {"name": ["Creek Forty", "Home"]}, geometry=[SQUARE, box(0, 0, 0.01, 0.01)], crs=4326
    )
    fields.to_file(tmp_path / "farm.gpkg", layer="fields")
    wells = gpd.GeoDataFrame({"name": ["well"]}, geometry=[Point(-92.405, 40.105)], crs=4326)
    wells.to_file(tmp_path / "farm.gpkg", layer="wells")
    wells.to_file(tmp_path / "wells.geojson")
    halves = [box(-92.41, 40.10, -92.405, 40.11), box(-92.405, 40.10, -92.40, 40.11)]
    zones = gpd.GeoDataFrame({"zone": ["west", "east"]}, geometry=halves, crs=4326)
    zones.to_file(tmp_path / "zones.geojson")
    write_log(tmp_path / "logs" / "creek.csv")
    return tmp_path


def season(farm, text=SEASON, **changes):
    """Write the season file with some lines changed; returns its path."""
    for old, new in changes.get("swap", {}).items():
        assert old in text
        text = text.replace(old, new)
    path = farm / "season.toml"
    path.write_text(text + changes.get("more", ""))
    return path


def complaints(call, *args, **kwargs) -> list[str]:
    with pytest.raises(InputError) as caught:
        call(*args, **kwargs)
    return [str(problem) for problem in caught.value.problems]


def swapped(farm, old, new) -> str:
    """Return the only complaint that a change draws."""
    (text,) = complaints(load_season, season(farm, swap={old: new}))
    return text


def test_a_whole_season(farm):
    loaded = load_season(season(farm))
    assert (loaded.farm, loaded.units, loaded.currency) == ("Three Larks Farm", "us", "USD")
    assert loaded.warnings == ()
    (plan,) = loaded.operations
    assert (plan.name, plan.date, plan.field.name) == (
        "Spring fertilizer",
        "2026-04-14",
        "Creek Forty",
    )
    assert plan.field.boundary.equals(SQUARE)
    assert list(plan.field.zones.zone) == ["west", "east"]
    assert plan.field.setbacks.distance_m.tolist() == [pytest.approx(30.48)]
    drill = plan.implement
    assert drill.width_m == pytest.approx(6.096)
    assert (drill.rows, drill.rows_known, drill.rows_per_tower) == (32, True, 8)
    assert drill.row_spacing_m == pytest.approx(0.1905)  # 7.5 in
    assert drill.section_rows == (8, 8, 8, 8)
    assert [u.hitch_to_axle_m for u in drill.tow] == pytest.approx([4.2672, 3.6576])
    assert drill.tow[0].axle_to_pin_m == pytest.approx(1.2192)
    assert (drill.tool_behind_m, drill.antenna_ahead_m) == pytest.approx((0.9144, 2.7432))
    assert drill.product_lag_s == 2.5
    (application,) = plan.applications
    assert application.target_kg_per_m2 == pytest.approx(150 * 0.45359237 / 4046.8564224)
    assert application.product.price_per_kg == pytest.approx(840 / 907.18474)
    assert application.product.analysis == {"N": 18, "P2O5": 46, "K2O": 0}
    assert plan.settings == Settings(
        skip_min_width_m=pytest.approx(0.1524),  # the operation's own, over the season's 4 in
        skip_min_area_m2=pytest.approx(0.9290304),
        headland_rounds=2,
        max_gap_s=5.0,
        max_speed_mps=pytest.approx(11.176),
        pass_to_pass_m=pytest.approx(0.0254),
        smooth=False,
    )
    assert plan.columns == {"rate:18-46-0": "Rate [lb/ac]"}
    assert plan.time_zone == "America/Chicago"
    assert plan.track_files == (farm / "logs" / "creek.csv",)


def test_every_file_is_fingerprinted_relative_to_the_season(farm):
    loaded = load_season(season(farm))
    assert [i.path for i in loaded.inputs] == [
        "farm.gpkg",
        "logs/creek.csv",
        "season.toml",
        "wells.geojson",
        "zones.geojson",
    ]
    for item in loaded.inputs:
        assert item.sha256 == hashlib.sha256((farm / item.path).read_bytes()).hexdigest()


def test_a_shapefile_is_fingerprinted_with_its_parts(farm):
    gpd.GeoDataFrame({"a": [1]}, geometry=[SQUARE], crs=4326).to_file(farm / "creek.shp")
    old = '{ file = "farm.gpkg", layer = "fields", where = { name = "Creek Forty" } }'
    loaded = load_season(season(farm, swap={old: '"creek.shp"'}))
    paths = [i.path for i in loaded.inputs]
    assert {"creek.shp", "creek.dbf", "creek.shx", "creek.prj"} <= set(paths)


def test_all_complaints_at_once_each_with_its_place(farm):
    text = """
    farm = "F"
    unit = "us"
    currency = "dollars"
    [[product]]
    name = "mix"
    analysis = { N = 60, P2O5 = 50 }
    [[implement]]
    name = "drill"
    width = "20"
    delay = "-2 s"
    [[field]]
    name = "Creek"
    boundry = "farm.gpkg"
    [[operation]]
    name = "Spring"
    field = "Creak"
    implement = "drill"
    tracks = ["nowhere.csv", "logs/creak.csv"]
    products = [ { product = "mxi", rate = "150" } ]
    """
    said = complaints(load_season, season(farm, textwrap.dedent(text)))
    expected = [
        ("unit", 'Did you mean "units"?'),
        ("currency", '"dollars"'),
        ('product "mix", analysis', "110 %"),
        ('implement "drill", width', "has no unit"),
        ('implement "drill", delay', '"-2 s"'),
        ('field "Creek", boundry', 'Did you mean "boundary"?'),
        ('operation "Spring", products 1, rate', "has no unit"),
        ('operation "Spring", products 1, product', 'Did you mean "mix"?'),
        ('operation "Spring", field', 'Did you mean "Creek"?'),
        ('operation "Spring", tracks 1', '"nowhere.csv"'),
        ('operation "Spring", tracks 2', 'Did you mean "creek.csv"?'),
    ]
    assert len(said) == len(expected)
    for place, words in expected:
        assert any(f"season.toml, {place}:" in s and words in s for s in said), (place, said)


def test_references_and_files_are_all_checked(farm):
    said = complaints(
        load_season,
        season(
            farm,
            swap={
                'field = "Creek Forty"\ndate': 'field = "Creek Fourty"\ndate',
                'implement = "drill"\ntracks': 'implement = "dril"\ntracks',
                '"logs/creek.csv"': '"logs/crek.csv", "b.csv"',
                '{ product = "18-46-0",': '{ product = "18-46-00",',
            },
        ),
    )
    assert [s.split(":")[0] for s in said][:2] == [
        'season.toml, operation "Spring fertilizer", field',
        'season.toml, operation "Spring fertilizer", implement',
    ]
    text = "\n".join(said)
    assert 'Did you mean "Creek Forty"?' in text
    assert 'Did you mean "drill"?' in text
    assert 'tracks 1: There is no file "logs/crek.csv". Did you mean "creek.csv"?' in text
    assert 'tracks 2: There is no file "b.csv"' in text
    assert 'There is no product "18-46-00". Did you mean "18-46-0"?' in text


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('width = "20 ft"', 'width = "4 mm"', "between 0.1 m (4 in) and 60 m"),
        ('width = "20 ft"', 'width = "300 ft"', "between 0.1 m (4 in) and 60 m"),
        ('width = "20 ft"', "width = 20", '"20" has no unit'),
        ('width = "20 ft"', 'width = "20 lb"', "is a mass, not a length"),
        ('width = "20 ft"', "width = true", "is not a quantity"),
        ("rows = 32", "rows = 0", "at least 1"),
        ("rows = 32", "rows = 31.5", "not a whole number"),
        ("rows = 32", 'rows = 32\nrow_spacing = "10 in"', "32 rows 10 in"),
        ("sections = [8, 8, 8, 8]", "sections = [8, 8, 8]", "24 rows together"),
        ("sections = [8, 8, 8, 8]", "sections = 5", "do not divide into 5"),
        ("sections = [8, 8, 8, 8]", 'sections = "four"', "not a whole number"),
        ("rows_per_tower = 8", "rows_per_tower = 40", "cannot feed 40 of 32"),
        ('delay = "2.5 s"', 'delay = "-1 s"', "0 to 60 s"),
        ('delay = "2.5 s"', 'delay = "5 min"', "0 to 60 s"),
        ('hitch_to_axle = "12 ft"', 'hitch_to_axle = "0 ft"', "tow 2, hitch_to_axle"),
        ('hitch_to_axle = "12 ft"', 'axle_to_pin = "1 ft"', "hitch_to_axle is missing"),
        ("P2O5 = 46", "P2O5 = 146", "at most 100"),
        ("P2O5 = 46", "P2O5 = 96", "add up to 114 %"),
        ("P2O5 = 46", 'P2O5 = "much"', "not a number"),
        ("P2O5 = 46", "P = 20", "A label guarantees P2O5"),
        ("P2O5 = 46", "Qq = 20", "not a nutrient"),
        ('"840 USD/ton"', '"840 EUR/ton"', "not in USD, the currency of the season"),
        ('"840 USD/ton"', '"840/ton"', "does not say in which currency"),
        ('"150 lb/ac"', '"0 lb/ac"', "Give a rate above 0"),
        ('"150 lb/ac"', '"-5 lb/ac"', "Give a rate above 0"),
        ('"150 lb/ac"', '"nan lb/ac"', "does not start with a number"),
        ("date = 2026-04-14", 'date = "April 14"', "is not a date"),
        ("date = 2026-04-14", "date = 14", "is not a date"),
        ('tracks = ["logs/creek.csv"]', "tracks = []", "The list is empty"),
        ('tracks = ["logs/creek.csv"]\n', "", "tracks is missing"),
        ('tracks = ["logs/creek.csv"]', "tracks = [3]", "not a table"),
        (
            '"logs/creek.csv"]',
            '"logs/creek.csv", "logs/./creek.csv"]',
            "listed twice and would count twice",
        ),
        ('"logs/creek.csv"', '"logs"', '"logs" is a folder'),
        ('"logs/creek.csv"', '"a\\u0000b"', "There is no file"),
        ('pass_to_pass = "1 in"', 'pass_to_pass = "1 mile"', "Give a standard error"),
        ('"rate:18-46-0" =', '"rate:46-0-0" =', 'has no product "46-0-0"'),
        ('"rate:18-46-0" =', '"rat" =', 'Did you mean "rate"'),
        ('"America/Chicago"', '"America/Chicag"', 'Did you mean "America/Chicago"'),
        ('units = "us"', 'units = "imperial"', "Use 'us' or 'metric'"),
        ('currency = "USD"', 'currency = "usd"', "three capitals"),
        ("headland_rounds = 2", "headland_rounds = -1", "at least 0"),
        ("smooth = false", 'smooth = "no"', "neither true nor false"),
        ('max_speed = "25 mph"', 'max_speed = "0 mph"', "Give a speed"),
        ('distance = "100 ft"', 'distnace = "100 ft"', None),
        (', distance = "100 ft"', "", "distance is missing"),
        ('name_column = "zone"', 'name_column = "zones"', 'Did you mean "zone"'),
        ('layer = "fields"', 'layer = "field"', 'Did you mean "fields"'),
        ('{ name = "Creek Forty" } }', '{ name = "Creek" } }', 'No feature has name = "Creek"'),
        ("[[product]]", "[product]", "in two brackets"),
    ],
)
def test_each_fault_draws_its_complaint(farm, old, new, words):
    if words is None:  # a misspelt key is unknown, and the right one is missing
        said = complaints(load_season, season(farm, swap={old: new}))
        assert len(said) == 2
        assert any('Did you mean "distance"' in s for s in said)
        return
    said = swapped(farm, old, new)
    assert words in said
    assert "Traceback" not in said
    assert "pydantic" not in said


def test_names_defined_twice(farm):
    for more in (
        '\n[[product]]\nname = "18-46-0"\n',
        '\n[[implement]]\nname = "drill"\nwidth = "3 m"\n',
        '\n[[field]]\nname = "Creek Forty"\n',
    ):
        (said,) = complaints(load_season, season(farm, more=more))
        assert "is defined twice" in said


def another_operation(name):
    return (
        f'\n[[operation]]\nname = "{name}"\nfield = "Creek Forty"\nimplement = "drill"\n'
        'tracks = ["logs/creek.csv"]\n'
    )


def test_two_operations_on_one_field(farm):
    loaded = load_season(season(farm, more=another_operation("Cover crop")))
    assert [p.name for p in loaded.operations] == ["Spring fertilizer", "Cover crop"]
    (said,) = complaints(load_season, season(farm, more=another_operation("Spring fertilizer")))
    assert 'two operations called "Spring fertilizer"' in said


def test_no_operation_and_unused_field(farm):
    loaded = load_season(season(farm, more='\n[[field]]\nname = "Spare"\n'))
    assert loaded.warnings == ('The field "Spare" has no operation.',)
    (said,) = complaints(load_season, season(farm, 'farm = "F"\n'))
    assert "There is no operation" in said


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b'farm = "F"\nunits = us\n', "line 2, column 9"),
        (b'farm = "F"\nfarm = "G"\n', "line 2"),
        (b'farm = "F', "not TOML"),
        (b'farm = "\xff"', "line 1: The text is not UTF-8"),
        (b"", "The season file is empty"),
    ],
)
def test_a_file_that_is_no_season(tmp_path, data, words):
    path = tmp_path / "season.toml"
    path.write_bytes(data)
    (said,) = complaints(load_season, path)
    assert words in said


def test_a_missing_season_and_one_with_a_byte_order_mark(farm):
    (said,) = complaints(load_season, farm / "none.toml")
    assert "There is no such file" in said
    path = season(farm)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert load_season(path).farm == "Three Larks Farm"


def test_width_and_rows_from_whichever_are_given(farm):
    def drill(lines):
        old = 'width = "20 ft"\nrows = 32\nrows_per_tower = 8\nsections = [8, 8, 8, 8]\n'
        return load_season(season(farm, swap={old: lines})).operations[0].implement

    # 48 openers at 7.5 in span 30 ft (common practice, no source).
    made = drill('rows = 48\nrow_spacing = "7.5 in"\n')
    assert made.width_m == pytest.approx(30 * 0.3048)
    made = drill('width = "30 ft"\nrow_spacing = "7.5 in"\n')
    assert (made.rows, made.rows_known) == (48, True)
    made = drill('width = "30 ft"\nsections = 3\n')
    assert not made.rows_known
    assert made.rows % 3 == 0
    assert made.section_rows == (made.rows // 3,) * 3
    made = drill('width = "30 ft"\nsections = [10, 16, 10]\n')
    assert (made.rows, made.rows_known, made.section_rows) == (36, True, (10, 16, 10))
    made = drill('width = "20 ft"\nrows = 32\nsections = [32]\n')
    assert made.section_rows == (32,)


@pytest.mark.parametrize(
    ("name", "analysis"),
    [
        ("11-52-0", {"N": 11, "P2O5": 52, "K2O": 0}),
        ("MAP 11-52-0", {"N": 11, "P2O5": 52, "K2O": 0}),
        ("13-33-0-13S", {"N": 13, "P2O5": 33, "K2O": 0, "S": 13}),
        ("12-40-0-10S-1Zn", {"N": 12, "P2O5": 40, "K2O": 0, "S": 10, "Zn": 1}),
        ("8.5-20-0", {"N": 8.5, "P2O5": 20, "K2O": 0}),
        ("rye", {}),
        ("2026-04-14-a", {}),
        ("5-5", {}),
        ("1-2-3-4Xx", {}),
    ],
)
def test_analysis_in_a_name(name, analysis):
    assert analysis_in_name(name) == analysis


def test_a_label_name_gives_the_analysis_and_says_so(farm):
    line = "analysis = { N = 18, P2O5 = 46, K2O = 0 }\n"
    (plan,) = load_season(season(farm, swap={line: ""})).operations
    assert plan.applications[0].product.analysis == {"N": 18, "P2O5": 46, "K2O": 0}
    assert any("that of its name: 18 % N, 46 % P2O5, 0 % K2O" in n for n in plan.notes)
    (plan,) = load_season(season(farm, swap={"N = 18": "N = 20"})).operations
    assert any("differs from its name in N" in w for w in plan.warnings)
    (said,) = complaints(load_season, season(farm, more='\n[[product]]\nname = "50-40-30"\n'))
    assert "add up to 120 %" in said


def test_blockages_inline_and_in_a_file(farm):
    inline = (
        "\n[[operation.blockage]]\nstart = 2026-04-14T09:00:05Z\nend = 2026-04-14T09:00:15Z\n"
        'tower = 2\n[[operation.blockage]]\nstart = "04:00:20"\nend = "4:00:25 AM"\n'
        'rows = "1-3, 7"\n'
    )
    (farm / "blocked.csv").write_text(
        "start,end,tower,rows\n2026-04-14 04:00:30,2026-04-14 04:00:31,,9-16\n"
    )
    path = season(
        farm,
        swap={"smooth = false": 'smooth = false\nblockages = "blocked.csv"'},
        more=inline,
    )
    (plan,) = load_season(path).operations
    operation = load_operation(plan)
    tower, rows, filed = operation.blockages
    # 04:00 in Chicago in April is 09:00 UTC.
    assert (tower.start_s, tower.end_s) == (START + 5, START + 15)
    assert (tower.rows, tower.cause) == (tuple(range(9, 17)), "tower 2")
    assert (rows.start_s, rows.end_s) == (START + 20, START + 25)
    assert (rows.rows, rows.cause) == ((1, 2, 3, 7), "rows 1-3, 7")
    assert (filed.start_s, filed.rows) == (START + 30, tuple(range(9, 17)))
    assert not any("blockage" in w for w in operation.warnings)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ('start = "9:00"\nend = "9:10"\ntower = 5', '"5" is not one of its 4 towers'),
        ('start = "9:00"\nend = "9:10"\nrows = "30-40"', "not rows between 1 and 32"),
        ('start = "9:00"\nend = "9:10"\nrows = "few"', "not rows between 1 and 32"),
        ('start = "9:00"\nend = "9:10"', "needs either a tower or rows"),
        ('start = "9:10"\nend = "9:00"\ntower = 1', "before it starts"),
        ('start = "noon"\nend = "9:00"\ntower = 1', '"noon" is not a time'),
        ('end = "9:00"\ntower = 1', "start is missing"),
    ],
)
def test_blockages_that_cannot_be(farm, keys, words):
    said = complaints(load_season, season(farm, more=f"\n[[operation.blockage]]\n{keys}\n"))
    assert any(words in s for s in said)
    assert all('operation "Spring fertilizer", blockage 1' in s for s in said)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("begin,end,tower\n9:00,9:10,2\n", 'no column "start"'),
        ("start,end\n9:00,9:10\n", 'no column "tower"'),
        ("start,end,tower\n9:00,9:10,2\n9:20,9:30,8\n", 'line 3: "8" is not one of its 4 towers'),
        ("start,end,tower\n", "no records"),
        ("", "empty"),
    ],
)
def test_a_blockage_file_that_cannot_be_used(farm, table, words):
    (farm / "blocked.csv").write_text(table)
    swap = {"smooth = false": 'smooth = false\nblockages = "blocked.csv"'}
    (plan,) = load_season(season(farm, swap=swap)).operations
    assert any(words in s for s in complaints(load_operation, plan))


def test_a_blockage_at_another_time_than_the_log_is_reported(farm):
    more = '\n[[operation.blockage]]\nstart = "9:00"\nend = "9:10"\ntower = 1\n'
    (plan,) = load_season(season(farm, more=more)).operations
    assert any("blocks nothing" in w for w in load_operation(plan).warnings)


def test_blockages_fit_a_log_that_tells_the_time_of_day_only(farm):
    rows = [f"04:00:{i:02d},-92.405,{40.102 + i * 2e-5:.7f},150" for i in range(40)]
    (farm / "logs" / "creek.csv").write_text(
        "time,longitude,latitude,Rate\n" + "\n".join(rows) + "\n"
    )
    more = '\n[[operation.blockage]]\nstart = "4:00:05"\nend = "4:00:15"\ntower = 1\n'
    (plan,) = load_season(season(farm, more=more)).operations
    operation = load_operation(plan)
    (blockage,) = operation.blockages
    assert (blockage.start_s, blockage.end_s) == (4 * 3600 + 5, 4 * 3600 + 15)
    assert operation.tracks[0].time_s[0] == 4 * 3600
    assert not any("blocks nothing" in w for w in operation.warnings)


def test_a_blockage_needs_rows_or_towers_on_the_implement(farm):
    more = '\n[[operation.blockage]]\nstart = "9:00"\nend = "9:10"\ntower = 1\n'
    lines = "rows = 32\nrows_per_tower = 8\nsections = [8, 8, 8, 8]\n"
    (said,) = complaints(load_season, season(farm, swap={lines: ""}, more=more))
    assert "rows are not known" in said
    (said,) = complaints(load_season, season(farm, swap={"rows_per_tower = 8\n": ""}, more=more))
    assert "how many rows a tower feeds" in said
    assert "--rows-per-tower" in said


def test_unworkable_ground_that_is_the_whole_field(farm):
    swap = {"zones = {": 'unworkable = { file = "farm.gpkg", layer = "fields" }\nzones = {'}
    (said,) = complaints(load_season, season(farm, swap=swap))
    assert "covers the whole field" in said


def test_towers_that_do_not_divide_and_a_tow_without_an_antenna_are_mentioned(farm):
    swap = {
        "rows_per_tower = 8": "rows_per_tower = 10",
        'antenna_ahead = "9 ft"': "",
        'axle_to_antenna = "2 ft"': "",
    }
    (plan,) = load_season(season(farm, swap=swap)).operations
    assert any("the last tower feeds 2" in w for w in plan.warnings)
    assert any("right under the antenna" in w for w in plan.warnings)


def test_faults_in_nested_and_bare_values_do_not_hide_others(farm):
    swap = {
        'tow = [ { hitch_to_axle = "14 ft", axle_to_pin = "4 ft" }': "tow = [ 4",
        'tracks = ["logs/creek.csv"]': 'tracks = { fil = "a.csv" }',
        "sections = [8, 8, 8, 8]": 'sections = [8, "8", 8, 8]',
    }
    text = "\n".join(complaints(load_season, season(farm, swap=swap)))
    assert "tow 1: 4 is not a table" in text
    assert 'tracks 1, fil: "fil" is not a key that is known here. Did you mean "file"?' in text
    assert 'sections 2: "8" is not a whole number' in text


def test_an_operation_with_its_logs(farm):
    (plan,) = load_season(season(farm)).operations
    operation = load_operation(plan)
    (track,) = operation.tracks
    assert len(track) == 40
    assert track.time_s[0] == START
    assert track.rates["18-46-0"][0] == pytest.approx(150 * 0.45359237 / 4046.8564224)
    assert operation.warnings == ()


def test_a_log_of_another_day_or_place(farm):
    write_log(farm / "logs" / "creek.csv", start="2026-04-20T09:00:00Z")
    (plan,) = load_season(season(farm)).operations
    (warning,) = load_operation(plan).warnings
    assert "the log is of 2026-04-20, the operation of 2026-04-14" in warning
    write_log(farm / "logs" / "creek.csv", lat0=41.0)
    (said,) = complaints(load_operation, plan)
    assert "north of it" in said
    assert "Creek Forty" in said


def test_problems_of_all_logs_are_raised_together(farm):
    (farm / "logs" / "a.csv").write_text("time,longitude\n")
    (farm / "logs" / "b.csv").write_text("")
    swap = {'"logs/creek.csv"': '"logs/a.csv", "logs/b.csv"'}
    (plan,) = load_season(season(farm, swap=swap)).operations
    said = "\n".join(complaints(load_operation, plan))
    assert "a.csv" in said
    assert "b.csv" in said


def options(farm, **changes):
    given = {
        "boundary": farm / "farm.gpkg",
        "boundary_where": ["name=Creek Forty"],
        "tracks": [farm / "logs" / "creek.csv"],
        "width": "20ft",
        "base": farm,
    }
    return season_from_options(**{**given, **changes})


def test_a_season_of_options(farm):
    loaded = options(
        farm,
        rows=32,
        product=["11-52-0", "rye"],
        rate=["150 lb/ac", "60 lb/ac"],
        price=["840 USD/ton", "0.40 USD/lb"],
        zones=farm / "zones.geojson",
        setbacks=farm / "wells.geojson",
        setback_distance="100 ft",
        column=["rate:rye=Rate [lb/ac]", "lon=longitude"],
        delay="2 s",
        rows_per_tower=8,
        skip_min_width="4 in",
        time_zone="America/Chicago",
    )
    (plan,) = loaded.operations
    assert plan.field.boundary.equals(SQUARE)
    assert (plan.implement.width_m, plan.implement.rows) == (pytest.approx(6.096), 32)
    assert plan.implement.product_lag_s == 2.0
    assert [a.product.name for a in plan.applications] == ["11-52-0", "rye"]
    assert plan.applications[0].product.analysis["P2O5"] == 52
    assert plan.columns == {"rate:rye": "Rate [lb/ac]", "lon": "longitude"}
    assert plan.settings.skip_min_width_m == pytest.approx(0.1016)
    assert (plan.field.name, plan.name) == ("Creek Forty", "11-52-0 and rye")
    assert len(load_operation(plan).tracks[0]) == 40
    assert len(loaded.inputs) == 4


def test_options_without_a_boundary(farm):
    (plan,) = options(farm, boundary=None, boundary_where=()).operations
    assert plan.field.boundary is None
    assert plan.field.name == "creek"
    assert load_operation(plan).warnings == ()


@pytest.mark.parametrize(
    ("changes", "option", "words"),
    [
        (
            {"width": None, "rows": None, "row_spacing": "7.5 in"},
            *("--width", "working width is missing"),
        ),
        ({"width": "20"}, "--width", "has no unit"),
        ({"width": "0 ft"}, "--width", "makes no sense"),
        ({"rows": 30, "row_spacing": "7.5 in"}, "--rows", "but the width is"),
        ({"product": ["rye"], "rate": ["1 lb"]}, "--rate", "is a mass, not a mass per area"),
        ({"product": ["rye"], "rate": ["1 lb/ac"] * 2}, "--rate", "one --rate for each"),
        ({"product": ["rye", "rye"]}, "--product", "defined twice"),
        ({"product": ["rye"], "price": ["4/lb"]}, "--price", "which currency"),
        ({"column": ["rate"]}, "--column", "has no = sign"),
        ({"column": ["rat=Rate"]}, "--column", 'Did you mean "rate"'),
        ({"rate": ["1 lb/ac"]}, "--rate", "1 time for no products"),
        ({"setbacks": "wells.geojson"}, "--setback-distance", "distance is missing"),
        ({"setback_distance": "100 ft"}, "--setbacks", "it is not given"),
        ({"zones_name_column": "soil"}, "--zones", "it is not given"),
        ({"unworkable_layer": "wet"}, "--unworkable", "it is not given"),
        ({"boundary": None}, "--boundary", "it is not given"),
        ({"zones": "zone.geojson"}, "--zones", 'Did you mean "zones.geojson"'),
        ({"boundary": "none.gpkg"}, "--boundary", "There is no file"),
        ({"tracks": ["none.csv"]}, "--tracks", "There is no file"),
        ({"tracks": []}, "--tracks", "The list is empty"),
        ({"date": "today"}, "--date", "is not a date"),
        ({"time_zone": "Chicago/"}, "--time-zone", "is not a time zone"),
        ({"units": "furlongs"}, "--units", "not known here"),
        ({"max_gap": "5"}, "--max-gap", "has no unit"),
        ({"delay": "-1 s"}, "--delay", "0 to 60 s"),
        ({"hitch_to_axle": ["9"]}, "--hitch-to-axle", "has no unit"),
    ],
)
def test_complaints_name_the_option(farm, changes, option, words):
    said = complaints(options, farm, **changes)
    assert any(s.startswith(option) and words in s for s in said), said
