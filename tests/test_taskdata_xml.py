"""Fields, machines and prescriptions of task data written by the isoxml package."""

from __future__ import annotations

import math
import shutil
import zipfile
from decimal import Decimal
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import shapely
import tasklogs as by_hand
from isoxml.converter.shapely_geom import ShapelyConverterV3, ShapelyConverterV4
from isoxml.models.ddi_entities import DDEntity
from tasklogs import record, template, v3, v4

from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.read import read_taskdata

BOTH = pytest.mark.parametrize("iso", [v3, v4])
HOLE = [(0.001, 0.001), (0.002, 0.001), (0.002, 0.002)]
LOG = {"TLG00001": (template([(141, "DET-2")]), record(0, 0.001, 0.001) + record(1, 0.002, 0.001))}


def shape(corners: list[tuple[float, float]], *holes: list[tuple[float, float]]) -> Any:
    def ring(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
        return [(round(by_hand.LON0 + x, 9), round(by_hand.LAT0 + y, 9)) for x, y in points]

    return shapely.Polygon(ring(corners), [ring(hole) for hole in holes])


def plot(iso: ModuleType, **parts: Any) -> Any:
    parts.setdefault("polygons", [by_hand.polygon(iso, by_hand.FIELD, [HOLE])])
    return iso.Partfield(id="PFD1", designator="Creek Forty", area=1, **parts)


def task(iso: ModuleType, **parts: Any) -> Any:
    return iso.Task(
        id="TSK1",
        designator="Spring",
        partfield_id_ref="PFD1",
        status=iso.TaskStatus("1"),
        **parts,
    )


def logged(iso: ModuleType, **parts: Any) -> Any:
    return task(iso, time_logs=[iso.TimeLog(filename="TLG00001", type=1)], **parts)


def zone(iso: ModuleType, code: int, name: str, mg_m2: int | None, **parts: Any) -> Any:
    values = []
    if mg_m2 is not None:
        values = [
            iso.ProcessDataVariable(
                process_data_ddi=by_hand.ddi(6), process_data_value=mg_m2, product_id_ref="PDT1"
            )
        ]
    return iso.TreatmentZone(code=code, designator=name, process_data_variables=values, **parts)


@pytest.mark.parametrize("key", sorted(ddis.USED | ddis.QUANTITIES.keys()))
def test_resolutions_are_those_of_the_data_dictionary(key: int) -> None:
    """Against the list of the public dictionary that ships in isoxml."""
    entity = DDEntity.from_id(key)
    si = {"mm³/m²": 1e-9, "mm³/s": 1e-9, "/m²": 1.0, "/s": 1.0}
    si |= {"mg/m²": 1e-6, "mg/s": 1e-6, "mm": 1e-3, "mm/s": 1e-3, "kg": 1.0, "g": 1e-3, "m²": 1.0}
    ours = ddis.QUANTITIES.get(key)
    if ours is not None:
        assert ours.step == pytest.approx(si[entity.unit] * entity.bit_resolution)
    words = {
        67: "Actual Working Width",
        68: "Default Working Width",
        70: "Maximum Working Width",
        134: "Device Element Offset X",
        135: "Device Element Offset Y",
        397: "Actual Speed",
        141: "Actual Work State",
        80: "Application Total Volume as [L]",
        81: "Application Total Mass in [kg]",
        82: "Application Total Count",
        351: "Application Total Volume in [ml]",
        116: "Total Area",
        117: "Effective Total Distance",
        352: "Application Total Mass in gram [g]",
        6: "Setpoint Mass Per Area Application Rate",
        42: "Actual Mass Per Time Application Rate",
        7: "Actual Mass Per Area Application Rate",
        41: "Setpoint Mass Per Time Application Rate",
    }
    if key in ddis.CONDENSED_STATES:
        first = 16 * (key - 161) + 1
        assert entity.name == f"Actual Condensed Work State ({first}-{first + 15})"
    elif key in (*ddis.UNWEIGHED, *ddis.UNWEIGHED_SETPOINTS):
        assert ours is not None
        kind = "Actual" if key in ddis.UNWEIGHED else "Setpoint"
        assert entity.name.startswith(f"{kind} {ours.of.title()} Per {ours.per.title()}")
    else:
        assert entity.name == words[key]


@BOTH
@pytest.mark.parametrize("form", ["zip", "zip without folder", "folder", "inner folder", "file"])
@pytest.mark.parametrize("lower", [False, True])
def test_all_forms_and_cases_give_the_same(
    tmp_path: Path, iso: ModuleType, form: str, lower: bool
) -> None:
    data = by_hand.root(iso, partfields=[plot(iso)], tasks=[logged(iso)])
    flat = by_hand.write(tmp_path / "flat", data, LOG)
    if lower:
        for file in list(flat.iterdir()):
            file.rename(flat / file.name.lower())
    path = flat
    if form.startswith("zip"):
        path = tmp_path / "farm.zip"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for file in sorted(flat.iterdir()):
                prefix = "" if "without" in form else "taskdata/" if lower else "TASKDATA/"
                archive.write(file, f"{prefix}{file.name}")
    elif form == "inner folder":
        path = tmp_path / "export"
        shutil.copytree(flat, path / ("taskdata" if lower else "TASKDATA"))
    elif form == "file":
        path = next(file for file in flat.iterdir() if file.name.lower() == "taskdata.xml")
    read = read_taskdata(path)
    assert read.fields["PFD1"].boundary.equals(shape(by_hand.FIELD, HOLE))
    assert [len(t) for t in read_tracks(path)] == [2]


@BOTH
def test_a_boundary_is_what_the_other_library_makes_of_it(tmp_path: Path, iso: ModuleType) -> None:
    drawn = by_hand.polygon(
        iso, by_hand.FIELD, [HOLE, [(0.003, 0.003), (0.004, 0.003), (0.004, 0.0035)]]
    )
    converter = ShapelyConverterV3() if iso is v3 else ShapelyConverterV4()
    data = by_hand.root(iso, partfields=[plot(iso, polygons=[drawn])])
    field = read_taskdata(by_hand.write(tmp_path / "f.zip", data)).fields["PFD1"]
    assert field.name == "Creek Forty"
    assert field.boundary.equals(converter.to_shapely_polygon(drawn))


def test_several_outlines_in_one_polygon_each_keep_their_holes(tmp_path: Path) -> None:
    """Version 3 allows several outer rings in a polygon."""
    other = [(0.006, 0.0), (0.009, 0.0), (0.009, 0.003), (0.006, 0.003)]
    hole = [(0.007, 0.001), (0.008, 0.001), (0.008, 0.002)]
    drawn = by_hand.polygon(v3, by_hand.FIELD, [HOLE, hole])
    drawn.line_strings.append(by_hand.line(v3, other, v3.LineStringType.PolygonExterior))
    data = by_hand.root(v3, partfields=[plot(v3, polygons=[drawn])])
    field = read_taskdata(by_hand.write(tmp_path / "f.zip", data)).fields["PFD1"]
    both = shapely.union(shape(by_hand.FIELD, HOLE), shape(other, hole))
    assert shapely.symmetric_difference(field.boundary, both).area < 1e-15


@BOTH
def test_obstacles_are_unworkable(tmp_path: Path, iso: ModuleType) -> None:
    rocks = [(0.003, 0.001), (0.004, 0.001), (0.004, 0.002), (0.003, 0.002)]
    polygons = [
        by_hand.polygon(iso, rocks, kind=iso.PolygonType.Obstacle),
        by_hand.polygon(iso, by_hand.FIELD),
    ]
    data = by_hand.root(iso, partfields=[plot(iso, polygons=polygons)])
    field = read_taskdata(by_hand.write(tmp_path / "f.zip", data)).fields["PFD1"]
    assert field.boundary.equals(shape(by_hand.FIELD))
    assert field.unworkable.equals(shape(rocks))


def test_external_files_take_their_places(tmp_path: Path) -> None:
    reference = v4.ExternalFileReference(
        filename="PFD00001", filetype=v4.ExternalFileReferenceType.XML
    )
    data = by_hand.root(v4, external_file_references=[reference], tasks=[logged(v4)])
    part = v4.ExternalFileContents(partfields=[plot(v4)])
    path = by_hand.write(tmp_path / "f.zip", data, LOG, {"PFD00001": part})
    read = read_taskdata(path)
    assert list(read.fields) == ["PFD1"]
    assert read.tasks[0].field_id == "PFD1"


def test_a_towed_drill_and_its_tractor_make_an_implement(tmp_path: Path) -> None:
    data = by_hand.root(
        v4,
        devices=[by_hand.drill(v4, [3000, 3000]), by_hand.tractor(v4)],
        partfields=[plot(v4)],
        tasks=[logged(v4)],
    )
    log = {"TLG00001": (template([(141, "DET-2")]), record(0, 0.001, 0.001, [(0, 1)]))}
    (read,) = read_taskdata(by_hand.write(tmp_path / "f.zip", data, log)).tasks
    drill = read.implement
    assert drill is not None
    assert drill.width_m == 6.0
    # Antenna 2 m before the tractor's axle, pin 1 m behind it; pin 4 m before the drill's axle,
    # tool line 1 m behind that.
    assert (drill.axle_to_antenna_m, drill.antenna_ahead_m) == (2.0, 3.0)
    assert drill.antenna_left_m == pytest.approx(-0.1)
    assert [unit.hitch_to_axle_m for unit in drill.tow] == [4.0]
    assert drill.tool_behind_m == 1.0


@pytest.mark.parametrize(
    ("name", "said"), [("RTK rover", "corrected"), ("phone", "phone"), ("part 2", "")]
)
def test_the_name_of_a_navigation_reference_tells_of_the_receiver(
    tmp_path: Path, name: str, said: str
) -> None:
    tractor = by_hand.tractor(v4)
    tractor.elements[1].designator = name
    # Names of other parts do not.
    tractor.elements[2].designator = "mobile"
    data = by_hand.root(
        v4,
        devices=[by_hand.drill(v4, [3000, 3000]), tractor],
        partfields=[plot(v4)],
        tasks=[logged(v4)],
    )
    log = {"TLG00001": (template([(141, "DET-2")]), record(0, 0.001, 0.001, [(0, 1)]))}
    (read,) = read_taskdata(by_hand.write(tmp_path / "f.zip", data, log)).tasks
    assert [track.receiver for track in read.tracks] == [said]
    assert any(f'says "{name}"' in note for note in read.tracks[0].notes) == bool(said)


def test_sections_of_different_width_get_rows_to_match(tmp_path: Path) -> None:
    data = by_hand.root(v4, devices=[by_hand.drill(v4, [2000, 3000, 1000])], tasks=[logged(v4)])
    log = {"TLG00001": (template([(161, "DET-2")]), record(0, 0.001, 0.001, [(0, 0b010101)]))}
    drill = read_taskdata(by_hand.write(tmp_path / "f.zip", data, log)).tasks[0].implement
    assert drill is not None
    assert drill.width_m == 6.0
    widths = [rows * drill.row_spacing_m for rows in drill.section_rows]
    assert widths == pytest.approx([2.0, 3.0, 1.0])


def test_a_logged_width_stands_in_for_one_the_machine_does_not_tell(tmp_path: Path) -> None:
    data = by_hand.root(v4, tasks=[logged(v4)])
    records = record(0, 0.001, 0.001, [(0, 6000)]) + record(1, 0.002, 0.001, [(0, 3000)])
    log = {"TLG00001": (template([(67, "DET-2")]), records)}
    drill = read_taskdata(by_hand.write(tmp_path / "f.zip", data, log)).tasks[0].implement
    assert drill is not None
    assert drill.width_m == 6.0


@BOTH
def test_drawn_zones_carry_their_rates(tmp_path: Path, iso: ModuleType) -> None:
    west = [(0.0, 0.0), (0.0025, 0.0), (0.0025, 0.004), (0.0, 0.004)]
    east = [(0.0025, 0.0), (0.005, 0.0), (0.005, 0.004), (0.0025, 0.004)]
    zones = [
        zone(iso, 0, "outside", 0),
        zone(iso, 1, "low", 10_000, polygons=[by_hand.polygon(iso, west)]),
        zone(iso, 2, "high", 20_000, polygons=[by_hand.polygon(iso, east)]),
    ]
    data = by_hand.root(
        iso,
        partfields=[plot(iso)],
        products=[iso.Product(id="PDT1", designator="18-46-0")],
        tasks=[task(iso, treatment_zones=zones)],
    )
    plan = read_taskdata(by_hand.write(tmp_path / "f.zip", data)).tasks[0].prescription
    assert plan is not None
    assert plan.zones["zone"].tolist() == ["low", "high"]
    assert plan.zones.geometry[0].equals(shape(west))
    assert plan.zones.geometry[1].equals(shape(east))
    assert plan.rates == {
        "low": {"18-46-0": pytest.approx(0.01)},
        "high": {"18-46-0": pytest.approx(0.02)},
    }


def grid(iso: ModuleType, kind: str, rows: int, columns: int) -> Any:
    return iso.Grid(
        minimum_north_position=Decimal(str(by_hand.LAT0)),
        minimum_east_position=Decimal(str(by_hand.LON0)),
        cell_north_size=0.001,
        cell_east_size=0.0005,
        maximum_column=columns,
        maximum_row=rows,
        filename="GRD00001",
        type=iso.GridType(kind),
        treatment_zone_code=1 if kind == "2" else None,
    )


@BOTH
def test_a_grid_of_codes_makes_zones_of_its_cells(tmp_path: Path, iso: ModuleType) -> None:
    codes = np.array([[1, 1, 2], [1, 2, 2]], dtype=np.uint8)  # rows from the south
    data = by_hand.root(
        iso,
        products=[iso.Product(id="PDT1", designator="18-46-0")],
        tasks=[
            task(
                iso,
                treatment_zones=[zone(iso, 1, "low", 10_000), zone(iso, 2, "high", 20_000)],
                grids=[grid(iso, "1", 2, 3)],
            )
        ],
    )
    path = by_hand.write(tmp_path / "f.zip", data, files={"GRD00001": codes.tobytes()})
    plan = read_taskdata(path).tasks[0].prescription
    assert plan is not None
    zones = dict(zip(plan.zones["zone"], plan.zones.geometry, strict=True))
    assert set(zones) == {"low", "high"}
    for row in range(2):
        for column in range(3):
            middle = shapely.Point(
                by_hand.LON0 + 0.0005 * (column + 0.5), by_hand.LAT0 + 0.001 * (row + 0.5)
            )
            here = {1: "low", 2: "high"}[int(codes[row, column])]
            assert zones[here].contains(middle)
    assert zones["low"].area == pytest.approx(3 * 0.001 * 0.0005, rel=1e-6)
    assert plan.rates["high"]["18-46-0"] == pytest.approx(0.02)


@BOTH
def test_a_grid_of_rates_makes_zones_of_its_rates(tmp_path: Path, iso: ModuleType) -> None:
    steps = np.array([[10_000, 10_000], [25_000, 10_000]], dtype=np.int32)
    data = by_hand.root(
        iso,
        products=[iso.Product(id="PDT1", designator="18-46-0")],
        tasks=[task(iso, treatment_zones=[zone(iso, 1, "", 0)], grids=[grid(iso, "2", 2, 2)])],
    )
    path = by_hand.write(tmp_path / "f.zip", data, files={"GRD00001": steps.tobytes()})
    plan = read_taskdata(path).tasks[0].prescription
    assert plan is not None
    assert plan.rates == {
        "100 kg/ha": {"18-46-0": pytest.approx(0.01)},
        "250 kg/ha": {"18-46-0": pytest.approx(0.025)},
    }
    second = plan.zones.geometry[plan.zones["zone"].tolist().index("250 kg/ha")]
    assert second.bounds == pytest.approx(
        (by_hand.LON0, by_hand.LAT0 + 0.001, by_hand.LON0 + 0.0005, by_hand.LAT0 + 0.002)
    )


def test_a_grid_of_many_rates_is_put_into_steps(tmp_path: Path) -> None:
    steps = np.arange(100, dtype=np.int32).reshape(10, 10) * 100 + 5000
    data = by_hand.root(
        v4, tasks=[task(v4, treatment_zones=[zone(v4, 1, "", 0)], grids=[grid(v4, "2", 10, 10)])]
    )
    path = by_hand.write(tmp_path / "f.zip", data, files={"GRD00001": steps.tobytes()})
    plan = read_taskdata(path).tasks[0].prescription
    assert plan is not None
    assert 5 <= len(plan.zones) <= 12
    cells = shapely.area(plan.zones.geometry.array) / (0.001 * 0.0005)
    assert cells.sum() == pytest.approx(100, rel=1e-6)
    means = np.array([plan.rates[name][""] for name in plan.zones["zone"]])
    assert (cells * means).sum() == pytest.approx(steps.sum() * 1e-6, rel=1e-6)


def test_several_tasks_are_kept_apart_and_chosen_by_id_or_name(tmp_path: Path) -> None:
    first, second = logged(v4), logged(v4)
    second.id, second.designator, second.time_logs[0].filename = "TSK2", "Autumn", "TLG00002"
    data = by_hand.root(v4, partfields=[plot(v4)], tasks=[first, second])
    logs = LOG | {"TLG00002": (LOG["TLG00001"][0], record(0, 0.003, 0.003))}
    path = by_hand.write(tmp_path / "f.zip", data, logs)
    assert [len(track) for track in read_tracks(path)] == [2, 1]
    assert any("2 tasks" in note for note in read_tracks(path)[0].notes)
    assert [len(track) for track in read_tracks(path, layer="TSK2")] == [1]
    assert [len(track) for track in read_tracks(path, layer="Spring")] == [2]


def test_offsets_are_put_in_order_from_the_left(tmp_path: Path) -> None:
    """The drill stores its sections from the right; y grows to the right."""
    device = by_hand.drill(v4, [1000, 2000, 3000])
    data = by_hand.root(v4, devices=[device], tasks=[logged(v4)])
    log = {"TLG00001": (template([(161, "DET-2")]), record(0, 0.001, 0.001, [(0, 0b010101)]))}
    drill = read_taskdata(by_hand.write(tmp_path / "f.zip", data, log)).tasks[0].implement
    assert drill is not None
    ratio = np.array(drill.section_rows) / drill.section_rows[0]
    assert ratio == pytest.approx([1, 2, 3])
    assert math.isclose(drill.width_m, 6.0)
