"""Task data written here, opened by the isoxml package and by our own reader."""

from __future__ import annotations

import dataclasses
import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import geopandas as gpd
import pytest
import shapely
from isoxml.converter.shapely_geom import ShapelyConverterV4
from isoxml.models.base import v4
from isoxml.models.ddi_entities import DDEntity
from isoxml.util.isoxml_io import isoxml_from_path
from shapely.geometry.base import BaseGeometry
from xsdata.formats.dataclass.parsers import XmlParser
from xsdata.formats.dataclass.parsers.config import ParserConfig

from evenacre.errors import InputError
from evenacre.io.taskdata.read import read_taskdata
from evenacre.io.taskdata.write.prescriptions import PlannedTask, write_tasks
from evenacre.model import Field, PlannedRate

SHAPES = ShapelyConverterV4()
HOLE = [(-92.499, 40.101), (-92.498, 40.101), (-92.498, 40.102)]
BOUNDARY = shapely.Polygon(
    [(-92.5, 40.1), (-92.495, 40.1), (-92.495, 40.104), (-92.5, 40.104)], [HOLE]
)
ROCKS = shapely.box(-92.497, 40.103, -92.496, 40.1035)
ZONES = gpd.GeoDataFrame(
    {"zone": ["low & slow", "high"]},
    geometry=[
        shapely.box(-92.5, 40.1, -92.4975, 40.104),
        shapely.MultiPolygon(
            [
                shapely.box(-92.4975, 40.1, -92.496, 40.104),
                shapely.box(-92.4958, 40.1, -92.495, 40.104),
            ]
        ),
    ],
    crs="EPSG:4326",
)
FIELD = Field("Creek Forty", BOUNDARY, ROCKS, ZONES)


def written(
    path: Path,
    field: Field,
    *,
    product: str,
    rate_kg_per_m2: float | None = None,
    zone_rates: dict[str, float] | None = None,
    farm: str = "",
) -> Path:
    """Write one task of one product."""
    rate = PlannedRate(product, rate_kg_per_m2, zone_rates or {})
    write_tasks(path, [PlannedTask(product, field, (rate,))], farm=farm)
    return path


def opened(where: Path) -> tuple[Any, dict[str, Any]]:
    """Open with the other library, which is told to refuse what the standard does not know."""
    folder = where.with_suffix("") / "TASKDATA"
    with zipfile.ZipFile(where) as archive:
        archive.extractall(folder.parent)
    strict = XmlParser(
        ParserConfig(fail_on_unknown_attributes=True, fail_on_unknown_properties=True)
    )
    strict.from_path(folder / "TASKDATA.XML", v4.Iso11783TaskData)
    return isoxml_from_path(folder)


def same(one: BaseGeometry, other: BaseGeometry) -> bool:
    return bool(shapely.symmetric_difference(one, other).area < 1e-16)


def test_another_reader_opens_the_field_and_a_uniform_rate(tmp_path: Path) -> None:
    path = written(
        tmp_path / "farm.zip", FIELD, product="18-46-0", rate_kg_per_m2=0.0168, farm="Three Larks"
    )
    data, _ = opened(path)
    (plot,) = data.partfields
    assert plot.designator == "Creek Forty"
    # 0.005 by 0.004 degrees less the hole, by the geodesic area of the geographiclib rule.
    assert plot.area == pytest.approx(187_300, rel=0.02)
    assert same(SHAPES.to_shapely_polygon(plot.polygons[0]), BOUNDARY)
    assert plot.polygons[0].type is v4.PolygonType.PartfieldBoundary
    assert same(SHAPES.to_shapely_polygon(plot.polygons[1]), ROCKS)
    assert plot.polygons[1].type is v4.PolygonType.Obstacle
    (task,) = data.tasks
    assert (task.partfield_id_ref, task.status) == (plot.id, v4.TaskStatus.Planned)
    by_code = {zone.code: zone for zone in task.treatment_zones}
    (value,) = by_code[task.default_treatment_zone_code].process_data_variables
    assert value.process_data_ddi == bytes(DDEntity.from_id(6))
    assert value.process_data_value == 16_800
    assert value.product_id_ref == data.products[0].id
    assert data.products[0].designator == "18-46-0"
    outside = by_code[task.out_of_field_treatment_zone_code].process_data_variables[0]
    assert outside.process_data_value == 0
    assert data.farms[0].designator == "Three Larks"


def test_another_reader_opens_zones_with_rates(tmp_path: Path) -> None:
    rates = {"low & slow": 0.0123456, "high": 0.02}
    path = written(tmp_path / "farm.zip", FIELD, product="18-46-0", zone_rates=rates)
    (task,) = opened(path)[0].tasks
    zones = {zone.designator: zone for zone in task.treatment_zones}
    for name, shape in zip(ZONES["zone"], ZONES.geometry, strict=True):
        parts = [SHAPES.to_shapely_polygon(polygon) for polygon in zones[name].polygons]
        assert same(shapely.union_all(parts), shape)
        (value,) = zones[name].process_data_variables
        assert value.process_data_value == round(rates[name] * 1e6)


def test_elements_are_in_the_order_of_the_other_library(tmp_path: Path) -> None:
    rates = {"low & slow": 0.01, "high": 0.02}
    path = written(tmp_path / "farm.zip", FIELD, product="Rye", zone_rates=rates, farm="Larks")
    classes = {
        kind.Meta.name: kind
        for kind in vars(v4).values()
        if dataclasses.is_dataclass(kind) and hasattr(kind, "Meta")
    }
    with zipfile.ZipFile(path) as archive:
        root = ElementTree.fromstring(archive.read("TASKDATA/TASKDATA.XML"))
    for element in root.iter():
        order = [f.metadata.get("name") for f in dataclasses.fields(classes[element.tag])]
        places = [order.index(child.tag) for child in element]
        assert places == sorted(places), element.tag


def test_what_is_written_reads_back(tmp_path: Path) -> None:
    rates = {"low & slow": 0.01, "high": 0.02}
    path = written(tmp_path / "farm.zip", FIELD, product="18-46-0", zone_rates=rates)
    data = read_taskdata(path)
    field, (task,) = data.fields["PFD1"], data.tasks
    assert same(field.boundary, BOUNDARY)
    assert same(field.unworkable, ROCKS)
    assert task.prescription is not None
    assert task.prescription.rates == {name: {"18-46-0": rate} for name, rate in rates.items()}
    assert list(task.products) == ["18-46-0"]
    assert not data.warnings
    assert not task.warnings


def test_a_uniform_rate_reads_back_as_the_target(tmp_path: Path) -> None:
    path = written(tmp_path / "farm.zip", FIELD, product="Rye", rate_kg_per_m2=0.0084)
    (task,) = read_taskdata(path).tasks
    assert task.products == {"Rye": 0.0084}


def test_a_field_across_the_antimeridian_reads_back(tmp_path: Path) -> None:
    field = Field("Dateline", shapely.box(179.998, -17.0, 180.002, -16.996))
    path = written(tmp_path / "farm.zip", field, product="Rye")
    assert same(read_taskdata(path).fields["PFD1"].boundary, field.boundary)


def test_equal_input_gives_equal_bytes(tmp_path: Path) -> None:
    paths = [written(tmp_path / n, FIELD, product="Rye") for n in ("a.zip", "b.zip")]
    assert paths[0].read_bytes() == paths[1].read_bytes()


@pytest.mark.parametrize(
    ("field", "options", "word"),
    [
        (Field("Bare"), {}, "no boundary"),
        (FIELD, {"rate_kg_per_m2": -1.0}, "negative"),
        (FIELD, {"rate_kg_per_m2": float("inf")}, "too high"),
        (FIELD, {"zone_rates": {"high": 0.01}}, "low & slow"),
    ],
)
def test_what_cannot_be_written_is_said(
    tmp_path: Path, field: Field, options: dict[str, Any], word: str
) -> None:
    with pytest.raises(InputError, match=word):
        written(tmp_path / "farm.zip", field, product="Rye", **options)
    assert not list(tmp_path.iterdir())
