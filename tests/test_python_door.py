"""What a Python program calls: frames in, frames out, and the files of the command line."""

from __future__ import annotations

import doctest
import inspect
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from small_farm import GAP_M, LENGTH_M, PASSES, WIDTH_M, write_small_farm
from typer.testing import CliRunner

import evenacre as ev
from evenacre.cli.main import app

GUIDE = Path(__file__).parent.parent / "docs" / "python.md"
FUNCTIONS = [name for name in ev.__all__ if inspect.isfunction(getattr(ev, name))]
CLASSES = [name for name in ev.__all__ if inspect.isclass(getattr(ev, name))]
RATE_KG_PER_M2 = 150 * 0.45359237 / 4046.8564224
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
ARGUMENTS: dict[str, Any] = {
    "width": "20 ft",
    "rows": 32,
    "products": {"18-46-0": "150 lb/ac"},
}


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("farm")
    write_small_farm(folder)
    return folder


@pytest.fixture(autouse=True)
def _at_the_farm(farm: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.chdir(farm)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    return


@pytest.fixture(scope="module")
def field(farm: Path) -> gpd.GeoDataFrame:
    return gpd.read_file(farm / "field.geojson")


@pytest.fixture(scope="module")
def log(farm: Path) -> gpd.GeoDataFrame:
    return gpd.read_file(farm / "log.geojson").rename(columns={"rate": "rate [lb/ac]"})


@pytest.fixture(scope="module")
def audited(log: gpd.GeoDataFrame, field: gpd.GeoDataFrame) -> ev.Audit:
    return ev.audit(log, boundary=field.to_crs(32615), **ARGUMENTS)


def value(result: Any, name: str, subject: str = "") -> float:
    f = result.figures
    return float(f.loc[(f["name"] == name) & (f["subject"] == subject), "value"].item())


# Documentation


def examples(text: str, name: str) -> None:
    globs = {"ev": ev, "gpd": gpd, "Path": Path}
    case = doctest.DocTestParser().get_doctest(text, globs, name, name, 0)
    said: list[str] = []
    failed = doctest.DocTestRunner(optionflags=FLAGS).run(case, out=said.append).failed
    assert not failed, "".join(said)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_functions_say_what_they_take_give_and_raise(name: str) -> None:
    function = getattr(ev, name)
    text = inspect.getdoc(function) or ""
    missing = [s for s in ("Parameters", "Returns", "Raises", "Examples") if not _has(text, s)]
    assert not missing
    told = re.search(r"Parameters\n-+\n(.*?)\n\n[A-Z]\w+\n---", text, re.DOTALL)
    assert told is not None
    for parameter in inspect.signature(function).parameters:
        assert re.search(rf"^(.*, )?(\*\*)?{parameter}\b", told[1], re.MULTILINE), parameter


@pytest.mark.parametrize("name", CLASSES)
def test_classes_show_how_they_are_made(name: str) -> None:
    assert _has(inspect.getdoc(getattr(ev, name)) or "", "Examples")


@pytest.mark.parametrize("name", [*FUNCTIONS, *CLASSES])
def test_examples_of_docstrings(name: str) -> None:
    examples(inspect.getdoc(getattr(ev, name)) or "", name)


def test_examples_of_the_guide() -> None:
    examples(GUIDE.read_text(encoding="utf-8"), "python.md")


def _has(text: str, section: str) -> bool:
    return f"\n{section}\n{'-' * len(section)}\n" in text


# Frames in


def test_frames_give_what_the_ground_says(audited: ev.Audit) -> None:
    # Passes of a known width and length with one known gap between them.
    missed = GAP_M * LENGTH_M
    assert value(audited, "skip_area") == pytest.approx(missed, abs=0.1)
    covered = PASSES * WIDTH_M * LENGTH_M
    assert value(audited, "covered_area") == pytest.approx(covered, rel=1e-4)
    applied = value(audited, "applied_in_field", "product 18-46-0")
    assert applied == pytest.approx(covered * RATE_KG_PER_M2, rel=1e-3)
    phosphate = value(audited, "applied", "product 18-46-0, nutrient P2O5")
    assert phosphate == pytest.approx(0.46 * applied)


def test_numbers_are_si(log: gpd.GeoDataFrame, field: gpd.GeoDataFrame, audited: ev.Audit) -> None:
    same = ev.audit(
        log, boundary=field, width=WIDTH_M, rows=32, products={"18-46-0": RATE_KG_PER_M2}
    )
    for name in ("covered_area", "skip_area"):
        assert value(same, name) == pytest.approx(value(audited, name), abs=1e-3)
    target = value(same, "target_rate", "product 18-46-0")
    assert target == pytest.approx(RATE_KG_PER_M2)


@pytest.mark.parametrize("kind", ["geometry", "projected geometry", "series", "file"])
def test_a_boundary_of_any_kind(kind: str, field: gpd.GeoDataFrame, audited: ev.Audit) -> None:
    options: dict[str, Any] = {}
    drawn: Any = field.geometry.iloc[0]
    if kind == "projected geometry":
        drawn, options["boundary_crs"] = field.to_crs(32615).geometry.iloc[0], 32615
    elif kind == "series":
        drawn = field.geometry
    elif kind == "file":
        drawn = "field.geojson"
    result = ev.audit("log.csv", boundary=drawn, **ARGUMENTS, **options)
    assert value(result, "boundary_area") == pytest.approx(
        value(audited, "boundary_area"), rel=1e-6
    )
    assert result.warnings == ()


def test_zones_and_what_is_known_of_drill_and_product(
    log: gpd.GeoDataFrame, field: gpd.GeoDataFrame
) -> None:
    west, south, east, north = field.total_bounds
    middle = (south + north) / 2
    halves = [shapely.box(west, south, east, middle), shapely.box(west, middle, east, north)]
    result = ev.audit(
        log.set_index("time"),
        boundary=field,
        zones=gpd.GeoDataFrame({"zone": ["low", "high"]}, geometry=halves, crs=4326),
        implement=ev.Implement(WIDTH_M, rows=32, rows_known=True),
        products=[ev.Product("18-46-0", price_per_kg=2.0)],
    )
    whole = result.zones["applied_kg_18-46-0"]
    assert whole.iloc[0] == pytest.approx(whole.iloc[1], rel=0.01)
    product = result.operations[0].products[0]
    assert product.overlap_cost == pytest.approx(2.0 * product.overlap_kg)


def test_tracks_come_back_from_a_frame(farm: Path) -> None:
    (track,) = ev.read_tracks(farm / "log.csv")
    (again,) = ev.tracks_from_geodataframe(ev.tracks_to_geodataframe(track))
    assert np.array_equal(again.time_s, track.time_s)
    assert np.allclose([again.lon, again.lat], [track.lon, track.lat], atol=1e-12)
    assert np.array_equal(again.working, track.working)
    assert np.allclose(again.rates[""], track.rates[""])


def test_a_product_knows_its_analysis() -> None:
    assert ev.Product("18-46-0").analysis == {"N": 18.0, "P2O5": 46.0, "K2O": 0.0}
    assert ev.Product("18-46-0", {}).analysis == {}
    assert ev.Product("rye").analysis == {}


# Frames and files out


def test_layers_are_frames_of_geopandas(audited: ev.Audit) -> None:
    for name in ("skips", "passes", "cover", "zones", "tracks"):
        layer = getattr(audited, name)
        assert isinstance(layer, gpd.GeoDataFrame)
        assert layer.crs.to_epsg() == 4326
        assert list(layer.columns[:2]) == ["field", "operation"]
    there = audited.skips.to_crs(audited.skips.estimate_utm_crs())
    assert there.area.sum() == pytest.approx(GAP_M * LENGTH_M, rel=2e-3)
    assert len(audited.passes) == PASSES


def test_figures_are_tidy(audited: ev.Audit) -> None:
    f = audited.figures
    assert f[["field", "operation", "subject", "name", "unit"]].notna().all().all()
    covered = f[f["name"] == "covered_area"].iloc[0]
    assert covered["low_90"] < covered["expected"] < covered["high_90"]
    assert f["value"].dtype == f["uncertainty"].dtype == float
    sure = f[f["uncertainty"].notna() & ~f["subject"].str.startswith("measured")]
    assert set(sure["name"]) == {"covered_area", "overlap_area", "skip_area"}
    assert not f.duplicated(["field", "operation", "subject", "name"]).any()


def test_a_map_of_the_skips(audited: ev.Audit) -> None:
    pytest.importorskip("mapclassify")
    assert "between passes" in audited.skips.explore().get_root().render()


def test_the_folder_is_that_of_the_command_line(farm: Path) -> None:
    arguments = ["--boundary", "field.geojson", "--tracks", "log.csv", "--width", "20 ft"]
    arguments += ["--rows", "32", "--product", "18-46-0", "--rate", "150 lb/ac"]
    told = CliRunner().invoke(app, ["audit", *arguments, "--out", "typed"])
    assert told.exit_code == 0, told.output
    result = ev.audit("log.csv", boundary="field.geojson", **ARGUMENTS)
    result.write(farm / "called")
    called, typed = _files(farm / "called"), _files(farm / "typed")
    # How it was made names the command, and the account that page's sum.
    assert b"evenacre audit --boundary" in typed.pop("method.html")
    assert b"evenacre audit --boundary" not in called.pop("method.html")
    sums = [json.loads(files.pop("summary.json")) for files in (called, typed)]
    assert [account["sha256"].pop("method.html") for account in sums]
    assert [account.pop("account_sha256") for account in sums]
    assert sums[0] == sums[1]
    assert called == typed
    assert told.output.splitlines()[:-1] == list(result.lines)


def test_what_was_at_hand_is_called_that(audited: ev.Audit) -> None:
    names = [entry["path"] for entry in audited.summary["inputs"]]
    assert names == [
        "boundary (a GeoDataFrame given in Python)",
        "tracks (a GeoDataFrame given in Python)",
    ]


def test_other_jobs_give_frames_too(farm: Path, field: gpd.GeoDataFrame) -> None:
    passes = ev.plan_passes(field, width="20 ft")
    assert passes.passes.crs.to_epsg() == passes.turns.crs.to_epsg() == 4326
    assert value(passes, "workable", "") == pytest.approx(8142.7, rel=1e-3)
    bare = ev.plan_passes(ev.Field("f", field.geometry.iloc[0]), ev.Drive(WIDTH_M))
    assert bare.covered_m2 == pytest.approx(value(passes, "covered"))
    plan = ev.interseed("season.toml")
    assert plan.paddocks.crs.to_epsg() == 4326
    assert plan.write(farm / "plan").joinpath("plan.json").exists()
    assert passes.write(farm / "passes").joinpath("passes.json").exists()


def _files(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


# What is wrong


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: ev.audit("log.csv", width="20 lb"), 'width: "20 lb" is a mass, not a length.'),
        (lambda: ev.audit("log.csv"), "The working width is missing, and the log tells none."),
        (
            lambda: ev.audit("log.csv", wdth=6),
            'wdth: It takes no such argument. Did you mean "width',
        ),
        (lambda: ev.audit("log.csv", boundary=7, width=6), "boundary: It is no map: a int was"),
        (lambda: ev.audit("season.toml", width=6), "A season file does not go with width."),
        (lambda: ev.audit("nolog.csv", width=6), 'source: There is no file "nolog.csv".'),
        (
            lambda: ev.audit("log.csv", width=6, products={"0-0-60": "80 ft"}),
            'products: "80 ft" is a length',
        ),
        (
            lambda: ev.audit("log.csv", boundary=shapely.Point(0, 0), width=6),
            "boundary (a Point given in Python): It holds points, but a boundary has to be an area",
        ),
        (
            lambda: ev.audit("log.csv", boundary=shapely.box(5e5, 4e6, 6e5, 5e6), width=6),
            "boundary (a Polygon given in Python): It does not say which coordinate system",
        ),
        (lambda: ev.finish(area="3 ac"), 'left: Nobody said how much is left. Add left="1400 lb".'),
        (lambda: ev.finish(), "source: It needs one season file"),  # type: ignore[call-overload]
        (lambda: ev.finish("log.csv", done="3 ac"), "done: It does not go with a season file"),
        (
            lambda: ev.finish(done=9, left=3),  # type: ignore[call-overload]
            'started: What was put on so far is not known without it. Add started="1250 lb".',
        ),
        (lambda: ev.calibrate(catch="3 m", area="1 ac"), 'catch: "3 m" is a length, not a mass.'),
        (lambda: ev.plan_passes("field.geojson", width=6, prefer="x"), 'prefer: "x" is not known'),
        (
            lambda: ev.audit("log.csv", boundary="field.geojson", boundary_crs=1, width=6),
            '"EPSG:1" is not a coordinate system.',
        ),
        (
            lambda: ev.audit("season.toml").write("."),
            "Choose another folder, or move what is there.",
        ),
        (lambda: ev.tracks_to_geodataframe([]), "tracks: There is none."),
    ],
)
def test_complaints_name_the_argument(call: Any, said: str) -> None:
    with pytest.raises(ev.InputError, match=re.escape(said)) as raised:
        call()
    assert "--" not in str(raised.value)


def test_paddocks_are_shared_among_as_many_processes_as_are_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[int] = []

    def run(*_season: Any, jobs: int, **_more: Any) -> None:
        asked.append(jobs)

    monkeypatch.setattr("evenacre.api.calls.run_interseeding", run)
    ev.interseed("season.toml")
    ev.interseed("season.toml", jobs=3)
    assert asked == [1, 3]
