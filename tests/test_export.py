"""``evenacre export``: a season's plan as task data, opened by the isoxml package and read back."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path
from typing import Any

import pyproj
import pytest
import shapely
from cli_jobs import Ran, evenacre
from isoxml.converter.shapely_geom import ShapelyConverterV4
from isoxml.models.base import v4
from isoxml.util.isoxml_io import isoxml_from_path

from evenacre.io.taskdata.read import read_taskdata

LB_AC = 0.45359237 / 4046.8564224  # NIST SP 811, B.8
GEOD = pyproj.Geod(ellps="WGS84")
CREEK = shapely.box(-92.5, 40.1, -92.495, 40.104)
MILL = shapely.Polygon(
    [(-92.49, 40.1), (-92.486, 40.1), (-92.486, 40.103), (-92.49, 40.103)],
    [[(-92.489, 40.101), (-92.488, 40.101), (-92.488, 40.102)]],
)
ZONES = {
    "ridge": shapely.box(-92.5, 40.1, -92.498, 40.104),
    "bottom": shapely.box(-92.498, 40.1, -92.496, 40.104),
}
SEASON = """
farm = "Three Larks Farm"
[[product]]
name = "18-46-0"
[[product]]
name = "46-0-0"
rate_max = "125 lb/ac"
[[product]]
name = "rye"
kind = "seed"
[[implement]]
name = "drill"
width = "20 ft"
[[field]]
name = "Creek Forty"
boundary = "creek.geojson"
zones = { file = "zones.geojson", name_column = "zone" }
[[field]]
name = "Mill Piece"
boundary = "mill.geojson"
[[operation]]
name = "Spring"
field = "Creek Forty"
implement = "drill"
tracks = ["not-driven-yet.csv"]
products = [
  { product = "18-46-0", rate = "100 lb/ac" },
  { product = "46-0-0", rate = "80 lb/ac" },
]
[[operation]]
name = "Spring"
field = "Mill Piece"
implement = "drill"
products = [ { product = "18-46-0", rate = "90 lb/ac" } ]
[[operation]]
name = "Fall"
field = "Creek Forty"
implement = "drill"
products = [ { product = "rye", rate = "45 lb/ac" } ]
"""
NEEDS = """
[[need]]
field = "Creek Forty"
zone = "ridge"
P2O5 = "69 lb/ac"
N = "73 lb/ac"
[[need]]
field = "Creek Forty"
zone = "bottom"
P2O5 = "92 lb/ac"
N = "30 lb/ac"
"""


def shapes(path: Path, named: dict[str, Any]) -> None:
    features = [
        {
            "type": "Feature",
            "properties": {"zone": name},
            "geometry": json.loads(shapely.to_geojson(shape)),
        }
        for name, shape in named.items()
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """A season that is only planned: its log is not there, and two jobs name none."""
    shapes(tmp_path / "creek.geojson", {"": CREEK})
    shapes(tmp_path / "mill.geojson", {"": MILL})
    shapes(tmp_path / "zones.geojson", ZONES)
    path = tmp_path / "season.toml"
    path.write_text(SEASON)
    return path


def export(season: Path, *options: object) -> tuple[Ran, Path]:
    out = season.parent / "plan.zip"
    return evenacre("export", season, "--out", out, *options), out


def by_isoxml(path: Path) -> Any:
    with zipfile.ZipFile(path) as archive:
        archive.extractall(path.with_suffix(""))
    return isoxml_from_path(path.with_suffix("") / "TASKDATA")[0]


def area_m2(shape: Any) -> float:
    return abs(float(GEOD.geometry_area_perimeter(shapely.normalize(shape))[0]))


def test_another_reader_opens_fields_zones_and_one_rate(season: Path) -> None:
    ran, out = export(season)
    assert ran.code == 0, ran
    data = by_isoxml(out)
    assert [farm.designator for farm in data.farms] == ["Three Larks Farm"]
    converter = ShapelyConverterV4()
    for plot, (name, shape) in zip(
        data.partfields, {"Creek Forty": CREEK, "Mill Piece": MILL}.items(), strict=True
    ):
        assert plot.designator == name
        drawn = converter.to_shapely_polygon(plot.polygons[0])
        assert area_m2(drawn) == pytest.approx(area_m2(shape), rel=1e-9)
    plots = {plot.id: plot.designator for plot in data.partfields}
    products = {product.id: product.designator for product in data.products}
    assert sorted(products.values()) == ["18-46-0", "46-0-0", "rye"]
    planned = [
        ("Spring", "Creek Forty", {"18-46-0": 100, "46-0-0": 80}, {"ridge", "bottom"}),
        ("Spring", "Mill Piece", {"18-46-0": 90}, set()),
        ("Fall", "Creek Forty", {"rye": 45}, {"ridge", "bottom"}),
    ]
    for task, (name, plot, rates, zones) in zip(data.tasks, planned, strict=True):
        assert (task.designator, plots[task.partfield_id_ref]) == (name, plot)
        assert task.status is v4.TaskStatus.Planned
        outside = task.out_of_field_treatment_zone_code
        assert {z.designator for z in task.treatment_zones if z.polygons} == zones
        for zone in task.treatment_zones:
            for value in zone.process_data_variables:
                wanted = rates[products[value.product_id_ref]] if zone.code != outside else 0
                assert value.process_data_ddi == b"\0\6"
                assert value.process_data_value == round(wanted * LB_AC * 1e6)


def test_what_is_exported_reads_back(season: Path) -> None:
    _, out = export(season, "--quiet")
    data = read_taskdata(out)
    assert not data.warnings
    for field, shape in zip(data.fields.values(), (CREEK, MILL), strict=True):
        assert area_m2(field.boundary) == pytest.approx(area_m2(shape), rel=1e-9)
    spring, mill, fall = data.tasks
    assert spring.prescription is not None
    assert fall.prescription is not None
    assert list(spring.prescription.zones["zone"]) == list(ZONES)
    step = 1e-6 / 2  # half of 1 mg/m2
    targets = [task.products for task in data.tasks]
    assert targets[0] == pytest.approx({"18-46-0": 100 * LB_AC, "46-0-0": 80 * LB_AC}, abs=step)
    assert targets[1] == pytest.approx({"18-46-0": 90 * LB_AC}, abs=step)
    assert targets[2] == pytest.approx({"rye": 45 * LB_AC}, abs=step)
    assert mill.prescription is None


def test_needs_of_zones_tell_their_rates(season: Path) -> None:
    season.write_text(SEASON + NEEDS)
    ran, out = export(season)
    assert ran.code == 0, ran
    spring, _, fall = read_taskdata(out).tasks
    assert spring.prescription is not None
    # 0.46 x 150 = 69 and 0.18 x 150 = 27, so 73 - 27 = 46 is left of N: 100 lb/ac of 46-0-0.
    # 0.46 x 200 = 92, which brings 36 of N: more than the 30 asked for, so no 46-0-0.
    wanted = {"ridge": {"18-46-0": 150, "46-0-0": 100}, "bottom": {"18-46-0": 200, "46-0-0": 0}}
    for zone, rates in wanted.items():
        for product, rate in rates.items():
            assert spring.prescription.rates[zone][product] == pytest.approx(
                rate * LB_AC, abs=5.1e-7
            )
    assert [*fall.products.values()] == pytest.approx([45 * LB_AC], abs=5.1e-7)
    assert "18-46-0: ridge 150 lb/ac, bottom 200 lb/ac, elsewhere 100 lb/ac" in ran.out
    # Ground in no zone keeps the target.
    (task, *_) = by_isoxml(out).tasks
    codes = {zone.code: zone for zone in task.treatment_zones}
    rest = codes[task.default_treatment_zone_code].process_data_variables
    assert [v.process_data_value for v in rest] == [round(r * LB_AC * 1e6) for r in (100, 80)]


def test_one_rate_leaves_needs_aside(season: Path) -> None:
    season.write_text(SEASON + NEEDS)
    ran, out = export(season, "--one-rate")
    assert ran.code == 0, ran
    first = next(iter(read_taskdata(out).tasks[0].products.values()))
    assert first == pytest.approx(100 * LB_AC, abs=5.1e-7)


def test_a_rate_stays_within_what_the_product_allows(season: Path) -> None:
    season.write_text(SEASON + NEEDS.replace('N = "73 lb/ac"', 'N = "100 lb/ac"'))
    ran, out = export(season)
    assert ran.code == 0, ran
    plan = read_taskdata(out).tasks[0].prescription
    assert plan is not None
    assert plan.rates["ridge"]["46-0-0"] == pytest.approx(125 * LB_AC, abs=5.1e-7)
    assert "warning: Creek Forty, ridge: the needs ask for more 46-0-0 than its rate_max" in ran.err


def test_two_jobs_with_one_nutrient_keep_their_targets(season: Path) -> None:
    season.write_text(SEASON.replace('"rye", rate', '"18-46-0", rate') + NEEDS)
    ran, out = export(season, "--field", "Creek Forty")
    assert ran.code == 0, ran
    tasks = read_taskdata(out).tasks
    targets = [t.products["18-46-0"] for t in tasks if "18-46-0" in t.products]
    assert targets == pytest.approx([100 * LB_AC, 45 * LB_AC], abs=5.1e-7)
    assert "do not tell the rate of each" in ran.err


def test_typed_rates_of_zones(season: Path) -> None:
    job = ("--field", "Creek Forty", "--operation", "Fall")
    ran, out = export(season, *job, "--zone-rate", "ridge=60 lb/ac", "--quiet")
    assert (ran.code, ran.out, ran.err) == (0, "", "")
    (task,) = read_taskdata(out).tasks
    assert task.prescription is not None
    assert task.prescription.rates["ridge"]["rye"] == pytest.approx(60 * LB_AC, abs=5.1e-7)
    assert task.prescription.rates["bottom"]["rye"] == pytest.approx(45 * LB_AC, abs=5.1e-7)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--field", "Creek Fourty"], 'Did you mean "Creek Forty"?'),
        (["--operation", "Summer"], 'no operation "Summer"'),
        (["--operation", "Fall", "--field", "Mill Piece"], "no such operation"),
        (["--zone-rate", "ridge=60 lb/ac"], "Several jobs"),
        (["--operation", "Fall", "--zone-rate", "ridge=60"], "lb/ac"),
        (["--operation", "Fall", "--zone-rate", "ledge=60 lb/ac"], "no such zone"),
        (["--operation", "Fall", "--zone-rate", "ridge"], "no zone and rate"),
        (["--operation", "Fall", "--zone-rate", "ridge=1 lb/ac", "--product", "x"], '"x"'),
        (["--operation", "Fall", "--product", "rye"], "--zone-rate"),
    ],
)
def test_what_cannot_be_chosen_is_said(season: Path, options: list[str], words: str) -> None:
    ran, out = export(season, *options)
    assert ran.code == 2
    (error,) = ran.errors()
    assert words in error
    assert not out.exists()


def test_only_a_plan_of_ours_is_written_over(season: Path) -> None:
    out = season.parent / "plan.zip"
    out.write_bytes(b"mine")
    ran, _ = export(season)
    assert ran.code == 2
    assert "--replace" in ran.errors()[0]
    assert out.read_bytes() == b"mine"
    assert export(season, "--replace")[0].code == 0
    whole = out.read_bytes()
    assert export(season)[0].code == 0
    assert out.read_bytes() == whole
    # A machine took it along and added its log.
    with zipfile.ZipFile(out) as archive:
        xml = archive.read("TASKDATA/TASKDATA.XML")
    with zipfile.ZipFile(out, "w") as archive:
        log = xml.replace(b"</TSK>", b'<TLG A="TLG00001"/></TSK>', 1)
        archive.writestr("TASKDATA/TASKDATA.XML", log)
    ran, _ = export(season)
    assert ran.code == 2
    assert "a machine has added its work" in ran.errors()[0]


def test_nothing_is_left_when_it_fails(season: Path) -> None:
    before = sorted(season.parent.iterdir())
    season.write_text(SEASON.replace('boundary = "mill.geojson"\n', ""))
    ran, _ = export(season)
    assert ran.code == 2
    assert "Mill Piece: the field has no boundary" in ran.errors()[0]
    ran = evenacre("export", season, "--out", season.parent / "plan.xml")
    assert "does not end in .zip" in ran.errors()[0]
    assert sorted(season.parent.iterdir()) == before


def test_a_plan_that_was_changed_is_not_written_over(season: Path) -> None:
    out = season.parent / "plan.zip"
    assert export(season)[0].code == 0
    with zipfile.ZipFile(out) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
        comment = archive.comment
    main = "TASKDATA/TASKDATA.XML"
    changed = files | {
        main: files[main].replace(b"</ISO11783_TaskData>", b"\n</ISO11783_TaskData>")
    }
    assert changed != files
    # Once packed anew by a program that keeps the comment, once by one that does not.
    for kept in (comment, b""):
        with zipfile.ZipFile(out, "w") as archive:
            for name, content in changed.items():
                archive.writestr(name, content)
            archive.comment = kept
        before = out.read_bytes()
        ran, _ = export(season)
        assert ran.code == 2
        assert "was changed since Evenacre wrote it" in ran.errors()[0]
        assert "--replace" in ran.errors()[0]
        assert out.read_bytes() == before
    assert export(season, "--replace")[0].code == 0


def test_a_plan_of_before_the_checksum_is_written_over(season: Path) -> None:
    out = season.parent / "plan.zip"
    assert export(season)[0].code == 0
    with zipfile.ZipFile(out, "a") as archive:
        archive.comment = b""
        archive._didModify = True
    assert zipfile.ZipFile(out).comment == b""
    assert export(season)[0].code == 0
