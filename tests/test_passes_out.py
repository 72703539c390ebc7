"""Planned passes as files: read back by GDAL, by the isoxml package and by our own readers."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pyogrio
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from isoxml.models.base import v4
from isoxml.util.isoxml_io import isoxml_from_path
from jobs import Floats
from put_down import MISSOURI, PLACES, TAVEUNI, on_earth
from shapely.geometry.base import BaseGeometry

from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.taskdata.read import read_taskdata
from evenacre.io.writers.results import write_passes
from evenacre.model import Field
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.planning.passes.plan import plan_passes
from evenacre.reports.maps.pass_layers import pass_files

WIDTH = 6.096
NAME = "Bärental & Söhne <Nord>, das lange Stück am Bach"
GPX = "{http://www.topografix.com/GPX/1/1}"
RECTANGLE = shapely.box(0, 0, 300, 199)
BARN = shapely.box(0, 0, 300, 300) - shapely.box(100, 100, 150, 130)
CIRCLE = shapely.Point(0, 0).buffer(120, quad_segs=60)


def plan_of(
    shape: BaseGeometry, name: str, place: tuple[float, float] = MISSOURI, **drive: Any
) -> PassPlan:
    return plan_passes(Field(name, on_earth(shape, place, 0.3, (0, 0))), Drive(WIDTH, **drive))


@dataclass(frozen=True)
class Written:
    folder: Path
    plans: tuple[PassPlan, ...]

    @property
    def guidance(self) -> Any:
        """As the isoxml package reads it."""
        return by_isoxml(self.folder / "guidance.zip")


def by_isoxml(path: Path) -> Any:
    with zipfile.ZipFile(path) as archive:
        archive.extractall(path.with_suffix(""))
    return isoxml_from_path(path.with_suffix("") / "TASKDATA")[0]


def write(folder: Path, *plans: PassPlan) -> Written:
    folder.mkdir(parents=True, exist_ok=True)
    write_passes(folder, pass_files(plans), farm="Three Larks Farm")
    return Written(folder, plans)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    plans = (plan_of(BARN, NAME), plan_of(CIRCLE, "Round Hill"))
    return write(tmp_path_factory.mktemp("passes"), *plans)


def apart_m(lonlat: Floats, plan: PassPlan, line: shapely.LineString) -> float:
    """Farthest a point of a file lies from the point of the plan it stands for."""
    xy = np.column_stack(plan.plane.xy(*np.asarray(lonlat, dtype=float).T[:2]))
    planned = shapely.get_coordinates(line)
    assert xy.shape == planned.shape
    return float(np.hypot(*(xy - planned).T).max())


def test_every_pass_is_a_feature_in_the_order_it_is_driven(written: Written) -> None:
    frame = pyogrio.read_dataframe(written.folder / "passes.gpkg", layer="passes")
    assert frame.crs.to_epsg() == 4326
    for plan in written.plans:
        rows = frame[frame["field"] == plan.field].sort_values("order")
        assert list(rows["order"]) == list(range(1, len(plan.passes) + 1))
        assert list(rows["kind"]) == [p.kind for p in plan.passes]
        assert list(rows["number"]) == [p.number for p in plan.passes]
        assert set(rows["kind"]) == {"round", "pass"}
        for shape, planned in zip(rows.geometry, plan.passes, strict=True):
            assert apart_m(shapely.get_coordinates(shape), plan, planned.line) < 1e-3
        np.testing.assert_allclose(
            rows["length_m"], [p.line.length for p in plan.passes], atol=0.005
        )


def test_headings_of_passes_are_those_of_the_globe(written: Written) -> None:
    frame = pyogrio.read_dataframe(written.folder / "passes.gpkg", layer="passes")
    for shape, heading in zip(frame.geometry, frame["heading_deg"], strict=True):
        (lon0, lat0), (lon1, lat1) = shapely.get_coordinates(shape)[:2]
        true = Geodesic.WGS84.Inverse(lat0, lon0, lat1, lon1)["azi1"] % 360
        assert 0 <= heading < 360
        assert abs((heading - true + 180) % 360 - 180) < 0.02


def test_turns_and_workable_ground_are_layers_too(written: Written) -> None:
    path = written.folder / "passes.gpkg"
    assert [name for name, _ in pyogrio.list_layers(path)][:3] == ["passes", "turns", "workable"]
    turns = pyogrio.read_dataframe(path, layer="turns")
    ground = pyogrio.read_dataframe(path, layer="workable")
    for plan in written.plans:
        drawn = turns[turns["field"] == plan.field]
        assert len(drawn) == sum(turn.length > 0 for turn in plan.turns)
        for order, shape in zip(drawn["order"], drawn.geometry, strict=True):
            turn = plan.turns[order - 1]
            assert apart_m(shapely.get_coordinates(shape), plan, turn) < 1e-3
        (area,) = (abs(geodesic_area(g)) for g in ground[ground["field"] == plan.field].geometry)
        assert area == pytest.approx(plan.workable_m2, rel=1e-7)


def geodesic_area(shape: BaseGeometry) -> float:
    total = 0.0
    for part in shapely.get_parts(shape):
        for sign, ring in [(1, part.exterior), *((-1, hole) for hole in part.interiors)]:
            outline = Geodesic.WGS84.Polygon()
            for lon, lat in ring.coords[:-1]:
                outline.AddPoint(lat, lon)
            total += sign * abs(outline.Compute()[2])
    return total


def gpx_tracks(path: Path) -> dict[str, list[Floats]]:
    """Segments of each track, straight from the XML."""
    tracks = {}
    for track in ET.parse(path).getroot().findall(f"{GPX}trk"):
        segments = [
            np.array([(float(p.get("lon", "")), float(p.get("lat", ""))) for p in segment])
            for segment in track.findall(f"{GPX}trkseg")
        ]
        tracks[track.findtext(f"{GPX}name", "")] = segments
    return tracks


def test_gpx_has_a_track_a_field_and_a_segment_a_pass(written: Written) -> None:
    tracks = gpx_tracks(written.folder / "passes.gpx")
    assert list(tracks) == [plan.field for plan in written.plans]
    for plan in written.plans:
        for segment, planned in zip(tracks[plan.field], plan.passes, strict=True):
            assert apart_m(segment, plan, planned.line) < 0.01


def test_gpx_keeps_to_its_schema(written: Written) -> None:
    """GPX 1.1: version and creator, names before segments, points with lat and lon alone."""
    root = ET.parse(written.folder / "passes.gpx").getroot()
    assert root.tag == f"{GPX}gpx"
    assert root.get("version") == "1.1"
    assert root.get("creator")
    assert {child.tag for child in root} == {f"{GPX}trk"}
    for track in root:
        tags = [child.tag for child in track]
        assert tags[0] == f"{GPX}name"
        assert set(tags[1:]) == {f"{GPX}trkseg"}
    for point in root.iter(f"{GPX}trkpt"):
        assert set(point.attrib) == {"lat", "lon"}
        assert -180 <= float(point.get("lon", "")) < 180
        assert len(point) == 0


def test_gdal_reads_the_gpx(written: Written) -> None:
    frame = pyogrio.read_dataframe(written.folder / "passes.gpx", layer="tracks")
    assert list(frame["name"]) == [plan.field for plan in written.plans]
    for plan, shape in zip(written.plans, frame.geometry, strict=True):
        for part, planned in zip(shapely.get_parts(shape), plan.passes, strict=True):
            assert apart_m(shapely.get_coordinates(part), plan, planned.line) < 0.01


def test_our_own_reader_takes_the_gpx(written: Written) -> None:
    tracks = read_tracks(written.folder / "passes.gpx")
    points = sum(len(p.line.coords) for plan in written.plans for p in plan.passes)
    assert sum(map(len, tracks)) == points


def patterns(plot: Any) -> Iterator[Any]:
    for group in plot.guidance_groups:
        yield from group.guidance_patterns


def lonlat(pattern: Any) -> Floats:
    (line,) = pattern.line_strings
    return np.array([(float(p.east), float(p.north)) for p in line.points])


def test_another_reader_opens_the_guidance_lines(written: Written) -> None:
    data = written.guidance
    (farm,) = data.farms
    assert farm.designator == "Three Larks Farm"
    assert [plot.designator for plot in data.partfields] == [NAME[:32], "Round Hill"]
    for plot, plan in zip(data.partfields, written.plans, strict=True):
        assert plot.farm_id_ref == farm.id
        assert plot.area == pytest.approx(plan.workable_m2, abs=1)
        first, *others = plot.guidance_groups
        assert first.designator == "Passes"
        rounds = [p for p in plan.passes if p.kind == "round"]
        numbers = dict.fromkeys(p.number for p in rounds)
        assert [g.designator for g in others] == [f"Round {n}" for n in numbers]
        legs = [pattern for group in others for pattern in group.guidance_patterns]
        for pattern, leg in zip(legs, rounds, strict=True):
            assert apart_m(lonlat(pattern), plan, leg.line) < 0.001
            straight = len(leg.line.coords) == 2
            assert pattern.type is v4.GuidancePatternType("1" if straight else "3")
            assert pattern.propagation_direction.name == "NoPropagation"
            assert pattern.extension.name == "NoExtensions"


def test_identities_are_unique_and_of_the_formats_form(written: Written) -> None:
    data = written.guidance
    found = [(plot.id, "PFD") for plot in data.partfields]
    found += [(g.id, "GGP") for plot in data.partfields for g in plot.guidance_groups]
    found += [(p.id, "GPN") for plot in data.partfields for p in patterns(plot)]
    assert len({identity for identity, _ in found}) == len(found)
    assert all(re.fullmatch(rf"{kind}\d+", identity) for identity, kind in found)
    names = [plot.designator for plot in data.partfields]
    names += [p.designator for plot in data.partfields for p in patterns(plot)]
    assert all(0 < len(name) <= 32 for name in names)


def test_the_ab_line_repeated_by_its_width_makes_every_pass(written: Written) -> None:
    """From A, B and the width alone, on the globe: each pass lies whole widths to one side."""
    for plot, plan in zip(written.guidance.partfields, written.plans, strict=True):
        (group,) = (g for g in plot.guidance_groups if g.designator == "Passes")
        lines = []
        for pattern in group.guidance_patterns:
            assert pattern.type is v4.GuidancePatternType.AB
            assert pattern.propagation_direction.name == "BothDirections"
            assert pattern.extension.name == "FromBothFirstAndLastPoint"
            (line,) = pattern.line_strings
            assert line.type is v4.LineStringType.GuidancePattern
            assert line.width == 6096
            assert [p.type.name for p in line.points] == [
                "GuidanceReferenceA",
                "GuidanceReferenceB",
            ]
            (lon0, lat0), (lon1, lat1) = lonlat(pattern)
            between = Geodesic.WGS84.Inverse(lat0, lon0, lat1, lon1)
            assert float(pattern.heading) == pytest.approx(between["azi1"] % 360, abs=1e-4)
            lines.append((lon0, lat0, between["azi1"]))
        for planned in (p for p in plan.passes if p.kind == "pass"):
            lon, lat = plan.plane.lonlat(*np.array(planned.line.coords).T)
            sides = np.array(
                [[beside_m(line, x, y) for x, y in zip(lon, lat, strict=True)] for line in lines]
            )
            off = np.abs(sides - np.round(sides / 6.096) * 6.096).max(axis=1)
            assert off.min() < 0.02


def beside_m(line: tuple[float, float, float], lon: float, lat: float) -> float:
    """How far to the right of a heading from a point another point lies."""
    lon0, lat0, heading = line
    to = Geodesic.WGS84.Inverse(lat0, lon0, lat, lon)
    return float(to["s12"] * np.sin(np.radians(to["azi1"] - heading)))


def test_bent_rounds_are_curves_from_a_to_b(written: Written) -> None:
    circle = written.guidance.partfields[1]
    curves = [p for p in patterns(circle) if p.type is v4.GuidancePatternType.Curve]
    assert curves
    for curve in curves:
        kinds = [p.type.name for p in curve.line_strings[0].points]
        assert (kinds[0], kinds[-1]) == ("GuidanceReferenceA", "GuidanceReferenceB")
        assert set(kinds[1:-1]) == {"GuidancePoint"}
        assert curve.heading is None


def test_our_own_reader_finds_the_same_fields(written: Written) -> None:
    data = read_taskdata(written.folder / "guidance.zip")
    assert not data.warnings
    for field, plan in zip(data.fields.values(), written.plans, strict=True):
        assert abs(geodesic_area(field.boundary)) == pytest.approx(plan.workable_m2)


@pytest.mark.parametrize("place", PLACES)
def test_anywhere_on_the_globe(tmp_path: Path, place: str) -> None:
    """Longitudes of files never run past 180, whatever those of the field do."""
    plan = plan_of(RECTANGLE, "field", PLACES[place], rounds=1)
    made = write(tmp_path, plan)
    (segments,) = gpx_tracks(tmp_path / "passes.gpx").values()
    for segment, planned in zip(segments, plan.passes, strict=True):
        assert np.abs(segment[:, 0]).max() <= 180
        assert apart_m(segment, plan, planned.line) < 0.01
    for pattern in patterns(made.guidance.partfields[0]):
        assert np.abs(lonlat(pattern)[:, 0]).max() <= 180
    if PLACES[place] == TAVEUNI:
        east = np.concatenate(segments)[:, 0]
        assert east.min() < -179.9
        assert east.max() > 179.9


def test_the_same_plan_gives_the_same_bytes(tmp_path: Path) -> None:
    plan = plan_of(RECTANGLE, "field")
    first, second = write(tmp_path / "1", plan).folder, write(tmp_path / "2", plan).folder
    for name in ("passes.gpkg", "passes.gpx", "guidance.zip"):
        assert (first / name).read_bytes() == (second / name).read_bytes()


def test_a_field_that_cannot_be_driven_leaves_whole_files(tmp_path: Path) -> None:
    none = plan_of(shapely.box(0, 0, 2, 40), "Strip")
    assert none.passes == ()
    alone = write(tmp_path / "alone", none)
    assert gpx_tracks(alone.folder / "passes.gpx") == {}
    assert alone.guidance.partfields == []
    assert len(pyogrio.read_dataframe(alone.folder / "passes.gpkg", layer="passes")) == 0
    beside = write(tmp_path / "beside", none, plan_of(RECTANGLE, "field"))
    assert list(gpx_tracks(beside.folder / "passes.gpx")) == ["field"]
