"""A season gathered from a stick: told apart, matched, doubles left out, edits kept."""

from __future__ import annotations

import errno
import json
import os
import shutil
import tomllib
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from small_farm import block, drive, write_small_farm
from sticks import files_of, write_stick
from typer.testing import CliRunner

import evenacre as ev
from evenacre.cli.main import app
from evenacre.coverage.audit import audit_operation
from evenacre.geo.geodesy import geodesic_area_m2
from evenacre.io.season.load import load_season
from evenacre.io.season.load_operation import load_operation
from evenacre.model import Field, OperationPlan, Season

FIGURES = ("covered_area_m2", "excess_area_m2", "skip_area_m2", "workable_area_m2")
FIGURES += ("outside_area_m2", "overlap_area_m2", "swept_area_m2", "worked_distance_m")


def run(*words: object) -> tuple[int, str]:
    done = CliRunner().invoke(app, [str(word) for word in words])
    return done.exit_code, done.output


def by_job(season: Season) -> dict[tuple[str, str], OperationPlan]:
    return {(plan.field.name, plan.date): plan for plan in season.operations}


def same_ground(a: Field, b: Field) -> None:
    for key in ("boundary", "unworkable"):
        one, other = getattr(a, key), getattr(b, key)
        assert (one is None) == (other is None), key
        if one is not None:
            inside = [shapely.intersection(shape, a.boundary) for shape in (one, other)]
            assert geodesic_area_m2(shapely.symmetric_difference(*inside)) < 0.5
    assert (a.zones is None) == (b.zones is None)
    if a.zones is not None and b.zones is not None:
        assert sorted(a.zones["zone"]) == sorted(b.zones["zone"])


def test_sixty_scattered_files_become_the_season_that_was_written(
    sample_farm: Path, tmp_path: Path
) -> None:
    plan, stick = tmp_path / "plan.zip", tmp_path / "stick"
    assert run("export", sample_farm / "season.toml", "--out", plan, "--one-rate")[0] == 0
    write_stick(sample_farm, plan, stick)
    assert len(files_of(stick)) >= 60
    code, said = run("gather", stick)
    assert code == 0, said
    written, gathered = load_season(sample_farm / "season.toml"), load_season(stick / "season.toml")
    ours, theirs = by_job(written), by_job(gathered)
    assert sorted(ours) == sorted(theirs), said
    for job, mine in ours.items():
        its = theirs[job]
        same_ground(mine.field, its.field)
        assert its.implement == mine.implement
        assert its.name == mine.name
        rates = [{a.product.name: a.target_kg_per_m2 for a in p.applications} for p in (mine, its)]
        assert rates[1] == pytest.approx(rates[0], rel=1e-3)
        one, other = load_operation(mine), load_operation(its)
        assert other.blockages == one.blockages
        assert len(other.tickets) == len(one.tickets)
        same_drive(one.tracks, other.tracks)
    # All seven take a quarter of a minute; their inputs were compared above.
    every = os.environ.get("EVERY_JOB") == "1"
    for job in ours if every else [("Long Pasture paddock 4", "2026-08-28")]:
        mine, its = (audit_operation(load_operation(season[job])) for season in (ours, theirs))
        for figure in FIGURES:
            assert getattr(its, figure) == pytest.approx(getattr(mine, figure), abs=0.01), job
        assert its.layers["skips"]["kind"].tolist() == mine.layers["skips"]["kind"].tolist()
        amounts = [[(p.product, p.applied_in_field_kg) for p in r.products] for r in (mine, its)]
        assert dict(amounts[1]) == pytest.approx(dict(amounts[0]), rel=1e-4)
    code, told = run("gather", stick, "--json")
    assert code == 0
    assert json.loads(told)["added"] == []


def same_drive(one: tuple, other: tuple) -> None:
    """The records that were kept are those of the raw logs, states and rates with them."""
    arrays = []
    for tracks in (one, other):
        order = np.argsort(np.concatenate([t.time_s for t in tracks]), kind="stable")
        values = [np.concatenate([getattr(t, k) for t in tracks]) for k in ("lon", "lat", "time_s")]
        values.append(np.concatenate([np.asarray(t.working, float) for t in tracks]))
        values += [np.concatenate([t.rates[name] for t in tracks]) for name in tracks[0].rates]
        values += [
            np.concatenate([t.sections.sum(axis=1) for t in tracks])
            for _ in tracks[:1]
            if tracks[0].sections is not None
        ]
        arrays.append([v[order] for v in values])
    assert len(arrays[0]) == len(arrays[1])
    for mine, its in zip(*arrays, strict=True):
        np.testing.assert_allclose(its, mine, atol=2e-3 if mine.max() > 1e9 else 1e-9)


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    """A log and its boundary, told by nothing but their content."""
    write_small_farm(tmp_path)
    for name in ("season.toml", "log.geojson", "paddocks.geojson"):
        (tmp_path / name).unlink()
    (tmp_path / "log.csv").rename(tmp_path / "A1.csv")
    return tmp_path


def on_another_day(stick: Path, day: str) -> str:
    """The field worked between the passes of another day, the other way round."""
    records = pd.read_csv(stick / "A1.csv")
    aside = np.random.default_rng(int(day[-2:])).normal(0, 1e-6, (2, len(records)))
    aside[0] += 3.0 / (111_195 * np.cos(np.radians(records["lat"].mean())))
    back = records[["lon", "lat"]].to_numpy()[::-1].T + aside
    again = records.assign(
        time=records["time"].str.replace("2026-04-14", day), lon=back[0], lat=back[1]
    )
    return again.to_csv(index=False, float_format="%.9f")


def wide(stick: Path) -> None:
    """Let the log tell its width and what was placed."""
    records = pd.read_csv(stick / "A1.csv").rename(columns={"rate [lb/ac]": "18-46-0 (lb/ac)"})
    records.assign(**{"width (ft)": 20.0}).to_csv(stick / "A1.csv", index=False)


def test_a_folder_is_audited_in_one_go(stick: Path) -> None:
    wide(stick)
    code, said = run("audit", stick)
    assert code == 0, said
    text = (stick / "season.toml").read_text()
    assert "as the log tells" in text
    (operation,) = json.loads((stick / "evenacre-out/summary.json").read_text())["operations"]
    # Eleven passes of 20 ft on 120 m, in the field by construction.
    assert operation["covered_area_m2"] == pytest.approx(11 * 6.096 * 120, rel=0.005)
    assert [p["product"] for p in operation["products"]] == ["18-46-0"]
    assert run("audit", stick)[0] == 0
    (stick / "new.csv").write_text(on_another_day(stick, "2026-04-15"))
    code, said = run("audit", stick)
    assert code == 0
    assert "knows nothing of new.csv" in said
    code, said = run("gather", stick)
    assert "evenacre-out: A result that Evenacre wrote." in said
    assert "new.csv, to" in said


def test_what_is_missing_is_asked_for_by_its_key(stick: Path) -> None:
    code, said = run("gather", stick)
    assert code == 0
    text = (stick / "season.toml").read_text()
    assert 'width = "20 ft"' in text.partition("(That is all")[0]
    plain = " ".join(text.replace("#", "").split())
    assert "its passes lie 20.0 ft (6.10 m) apart" in plain
    assert "What was placed" in plain
    code, said = run("audit", stick)
    assert code == 2
    assert "width" in said


def test_a_second_run_adds_and_keeps_what_was_changed(stick: Path) -> None:
    assert run("gather", stick)[0] == 0
    season = stick / "season.toml"
    mine = (
        season.read_text()
        .replace('name = "drill"\n', 'name = "drill"\nwidth = "20 ft"  # measured\n')
        .replace('name = "drive"  # nothing names it', 'name = "Spring"  # mine')
    )
    need = '[[need]]\nfield = "Home Field"\nN = "60 lb/ac"\n'
    season.write_text(f"{mine}\n# The last word.\n{need}")
    before = season.read_text()
    next_day = on_another_day(stick, "2026-04-15")
    with zipfile.ZipFile(stick / "more.zip", "w") as archive:
        archive.writestr("day 2/b.csv", next_day)
        archive.writestr("autumn/c.csv", on_another_day(stick, "2026-09-20"))
    code, said = run("gather", stick)
    assert code == 0, said
    raw = tomllib.loads(season.read_text())
    assert [o["name"] for o in raw["operation"]] == ["Spring", "drive"]
    assert raw["operation"][0]["tracks"] == ["A1.csv", "gathered/more/day 2/b.csv"]
    assert raw["operation"][1]["tracks"] == ["gathered/more/autumn/c.csv"]
    assert (stick / "gathered/more/day 2/b.csv").read_text() == next_day
    for kept in ('width = "20 ft"  # measured', '"Spring"  # mine', "# The last word.", "[[need]]"):
        assert kept in season.read_text()
    assert "How wide" not in season.read_text()
    assert (stick / "season.toml.before").read_text() == before
    # Nothing new: not a byte changes, and what was taken out does not come back.
    text = season.read_text()
    assert run("gather", stick)[0] == 0
    assert season.read_text() == text
    head, _, rest = text.partition("[[operation]]\n# more.zip/autumn")
    season.write_text(head + "# What" + rest.partition("\n# What")[2])
    assert run("gather", stick)[0] == 0
    assert [o["name"] for o in tomllib.loads(season.read_text())["operation"]] == ["Spring"]


def test_a_log_that_goes_on_longer_takes_the_place_of_its_part(stick: Path) -> None:
    lines = (stick / "A1.csv").read_text().splitlines()
    (stick / "A1.csv").write_text("\n".join(lines[:400]) + "\n")
    assert run("gather", stick)[0] == 0
    (stick / "B.csv").write_text("\n".join(lines) + "\n")
    code, said = run("gather", stick)
    assert code == 0, said
    (operation,) = tomllib.loads((stick / "season.toml").read_text())["operation"]
    assert operation["tracks"] == ["B.csv"], said


def test_a_log_that_was_moved_is_found_again(stick: Path) -> None:
    assert run("gather", stick)[0] == 0
    (stick / "logs").mkdir()
    (stick / "A1.csv").rename(stick / "logs" / "spring.csv")
    code, said = run("gather", stick)
    assert code == 0, said
    (operation,) = tomllib.loads((stick / "season.toml").read_text())["operation"]
    assert operation["tracks"] == ["logs/spring.csv"]


def test_a_boundary_that_comes_later_is_given_to_its_field(stick: Path) -> None:
    field = stick / "field.geojson"
    shutil.move(field, stick.parent / "later.geojson")
    assert run("gather", stick)[0] == 0
    raw = tomllib.loads((stick / "season.toml").read_text())
    assert "boundary" not in raw["field"][0]
    assert "drawn round the work" in (stick / "season.toml").read_text()
    shutil.move(stick.parent / "later.geojson", field)
    assert run("gather", stick)[0] == 0
    raw = tomllib.loads((stick / "season.toml").read_text())
    assert [f["boundary"]["file"] for f in raw["field"]] == ["field.geojson"]
    assert len(raw["operation"]) == 1


def test_one_log_over_two_fields_serves_both(tmp_path: Path) -> None:
    records = drive()
    shapes = [block(0, 0, 30, 120), block(36.6, 0, 32, 120)]
    names = gpd.GeoDataFrame({"name": ["West", "East"]}, geometry=shapes, crs=4326)
    names.to_file(tmp_path / "x.gpkg", layer="borders")
    records["time"] = records["time"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    records.to_csv(tmp_path / "y.csv", index=False, float_format="%.9f")
    assert run("gather", tmp_path)[0] == 0
    raw = tomllib.loads((tmp_path / "season.toml").read_text())
    assert sorted((o["field"], *o["tracks"]) for o in raw["operation"]) == [
        ("East", "y.csv"),
        ("West", "y.csv"),
    ]
    season = tmp_path / "season.toml"
    text = season.read_text()
    assert run("gather", tmp_path)[0] == 0
    assert season.read_text() == text
    # One of them is taken out: it stays out.
    first, second = text.index("[[operation]]"), text.rindex("[[operation]]")
    season.write_text(text[:first] + text[second:])
    assert run("gather", tmp_path)[0] == 0
    (left,) = tomllib.loads(season.read_text())["operation"]
    assert left["tracks"] == ["y.csv"]


def test_parts_that_passes_cross_are_zones_and_parts_that_they_keep_to_are_fields(
    tmp_path: Path,
) -> None:
    write_small_farm(tmp_path)
    for name in ("season.toml", "log.geojson", "paddocks.geojson"):
        (tmp_path / name).unlink()
    wide_m = 11 * 6.096 + 0.8
    halves = [block(0, 0, wide_m, 50), block(0, 50, wide_m, 70)]
    parts = gpd.GeoDataFrame({"name": ["low", "high"]}, geometry=halves, crs=4326)
    parts.to_file(tmp_path / "p.geojson")
    assert run("gather", tmp_path)[0] == 0
    raw = tomllib.loads((tmp_path / "season.toml").read_text())
    assert [f["name"] for f in raw["field"]] == ["Home Field"]
    assert raw["field"][0]["zones"] == {"file": "p.geojson", "name_column": "name"}


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda f: None, "Nothing was found"),
        (lambda f: (f / "season.toml").write_text("field = ["), "It is not TOML"),
        (lambda f: shutil.rmtree(f), "no such folder"),
    ],
)
def test_what_cannot_be_gathered_is_refused_and_nothing_written(
    tmp_path: Path, make: object, said: str
) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    make(folder)  # type: ignore[operator]
    before = sorted(tmp_path.rglob("*"))
    code, output = run("gather", folder)
    assert code == 2
    assert said in output
    assert sorted(tmp_path.rglob("*")) == before


def test_a_disk_that_fills_up_leaves_all_as_it_was(
    stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run("gather", stick)[0] == 0
    with zipfile.ZipFile(stick / "more.zip", "w") as archive:
        archive.writestr("b.csv", on_another_day(stick, "2026-04-15"))
    before = {path: path.read_bytes() for path in stick.rglob("*") if path.is_file()}

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", str(stick / "season.toml.before"))

    monkeypatch.setattr("evenacre.workflows.gather.shutil.copy2", full)
    code, said = run("gather", stick)
    assert code == 2
    assert "the disk is full" in said
    assert {path: path.read_bytes() for path in stick.rglob("*") if path.is_file()} == before
    assert not (stick / "gathered").exists()


def test_a_zip_of_several_logs_is_audited_as_a_folder_of_them_is(
    stick: Path, tmp_path: Path
) -> None:
    later = on_another_day(stick, "2026-09-15")
    path = tmp_path / "logs.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("spring.txt", (stick / "A1.csv").read_text())
        archive.writestr("fall.txt", later)
    words = ("--width", "20 ft", "--rows", 32, "--product", "18-46-0", "--rate", "150 lb/ac")
    code, said = run("audit", path, *words)
    assert code == 0, said
    raw = tomllib.loads((tmp_path / "logs/season.toml").read_text())
    assert [(i["width"], i["rows"]) for i in raw["implement"]] == [("20 ft", 32)]
    summary = json.loads((tmp_path / "logs/evenacre-out/summary.json").read_text())
    assert [o["date"] for o in summary["operations"]] == ["2026-04-14", "2026-09-15"]
    for operation in summary["operations"]:  # a metre over both ends, where no boundary cuts
        assert operation["covered_area_m2"] == pytest.approx(11 * 6.096 * 122, rel=0.005)
        assert [p["product"] for p in operation["products"]] == ["18-46-0"]
    for plan in load_season(tmp_path / "logs/season.toml").operations:
        (use,) = plan.applications
        assert use.target_kg_per_m2 == pytest.approx(150 * 0.45359237 / 4046.8564224)
    for more, why in (("--width", "already"), ("--boundary", "holds several")):
        place = path if more == "--width" else stick
        code, said = run("audit", place, more, "20 ft")
        assert code == 2
        assert why in said


def test_names_of_implement_and_crop_in_the_logs_are_used(stick: Path) -> None:
    for log, tool, crop, day in (
        ("A1.csv", "Long drill", "oats", "2026-04-14"),
        ("B1.csv", "Short drill", "rye", "2026-04-17"),
        ("C1.csv", "Long drill", "rye", "2026-04-20"),
    ):
        (stick / "new.csv").write_text(on_another_day(stick, day))
        records = pd.read_csv(stick / "new.csv").drop(columns="rate [lb/ac]")
        named = records.assign(**{"width (ft)": 20.0, "implement": tool, "crop": crop})
        (stick / "new.csv").unlink()
        named.to_csv(stick / f"{log}.new", index=False)
    for log in ("A1.csv", "B1.csv", "C1.csv"):
        (stick / f"{log}.new").rename(stick / log)
        assert run("gather", stick)[0] == 0
    raw = tomllib.loads((stick / "season.toml").read_text())
    assert [i["name"] for i in raw["implement"]] == ["Long drill", "Short drill"]
    assert [(o["name"], o["implement"]) for o in raw["operation"]] == [
        ("oats", "Long drill"),
        ("rye", "Short drill"),
        ("rye, 2026-04-20", "Long drill"),
    ]


def test_every_table_of_blockages_of_a_job_is_used(stick: Path) -> None:
    wide(stick)
    head, row = "start,end,rows", "2026-04-14T12:{0}:00Z,2026-04-14T12:{0}:40Z,{1}"
    (stick / "rows.csv").write_text(f"{head}\n{row.format(56, '1-8')}\n")
    assert run("gather", stick)[0] == 0
    (stick / "more.csv").write_text(f"{head}\n{row.format(57, '9-16')}\n")
    (stick / "last.csv").write_text(f"{head}\n{row.format(58, '17-24')}\n")
    code, said = run("gather", stick)
    assert code == 0, said
    season = stick / "season.toml"
    (operation,) = tomllib.loads(season.read_text())["operation"]
    assert operation["blockages"] == ["rows.csv", "last.csv", "more.csv"]
    season.write_text(season.read_text().replace('name = "drill"', 'name = "drill"\nrows = 32'))
    loaded = load_operation(load_season(season).operations[0])
    assert sorted(b.rows[0] for b in loaded.blockages) == [1, 9, 17]


def test_zones_that_only_task_data_has_are_drawn_beside_the_season(
    sample_farm: Path, tmp_path: Path
) -> None:
    plan = tmp_path / "stick/plan.zip"
    plan.parent.mkdir()
    assert run("export", sample_farm / "season.toml", "--out", plan)[0] == 0
    shutil.copyfile(sample_farm / "logs/kiln-fertilizer.csv", plan.parent / "k.csv")
    assert run("gather", plan.parent)[0] == 0
    (field,) = (f for f in load_season(plan.parent / "season.toml").fields if "Kiln" in f.name)
    (mine,) = (f for f in load_season(sample_farm / "season.toml").fields if f.name == field.name)
    assert field.zones is not None
    assert mine.zones is not None
    assert sorted(field.zones["zone"]) == sorted(mine.zones["zone"])
    one, other = (f.zones.dissolve("zone").geometry for f in (field, mine))
    for zone in other.index:
        off = shapely.symmetric_difference(one[zone], other[zone])
        assert geodesic_area_m2(off) < 0.5


def again(stick: Path, day: str, noise_m: float, **changed: object) -> None:
    """The same passes at the same time of another day, to the second."""
    records = pd.read_csv(stick / "A1.csv")
    aside = np.random.default_rng(5).normal(0, noise_m / 111_195, (2, len(records)))
    lon, lat = records["lon"] + aside[0], records["lat"] + aside[1]
    time = records["time"].str.replace("2026-04-14", day)
    records.assign(time=time, lon=lon, lat=lat, **changed).to_csv(stick / "B2.csv", index=False)


@pytest.mark.parametrize(
    ("noise_m", "rate", "jobs", "asked"),
    [
        (0.02, None, 2, ""),  # the same lines driven again
        (0.004, None, 2, ""),
        (0.0, None, 1, "B2.csv a job of its own"),
        (0.0, 90.0, 2, "are one drive on another clock"),
    ],
)
def test_the_same_passes_a_day_later_are_another_job_unless_they_are_a_copy(
    stick: Path, noise_m: float, rate: float | None, jobs: int, asked: str
) -> None:
    wide(stick)
    changed = {} if rate is None else {"18-46-0 (lb/ac)": rate}
    again(stick, "2026-04-15", noise_m, **changed)
    code, said = run("gather", stick)
    assert code == 0, said
    assert len(tomllib.loads((stick / "season.toml").read_text())["operation"]) == jobs
    assert asked in " ".join(said.split())


def test_standing_in_one_place_at_two_times_is_no_double(stick: Path) -> None:
    records = pd.read_csv(stick / "A1.csv").drop(columns=["rate [lb/ac]"])
    place = {"lon": records["lon"].median(), "lat": records["lat"].median()}
    still = records[:15].assign(**place, working=1)
    still.to_csv(stick / "still.csv", index=False)
    still.assign(time=still["time"].str.replace("2026-04-14", "2026-04-13")).to_csv(
        stick / "earlier.csv", index=False
    )
    code, said = run("gather", stick)
    assert code == 0, said
    raw = tomllib.loads((stick / "season.toml").read_text())
    tracks = str([operation["tracks"] for operation in raw["operation"]])
    assert "earlier.csv" in tracks
    assert "still.csv" in tracks
    assert "of a drive" not in " ".join(said.split())


def test_two_products_of_one_drive_are_both_used(stick: Path) -> None:
    records = pd.read_csv(stick / "A1.csv")
    for name, file in (("urea", "A1.csv"), ("potash", "B2.csv")):
        own = records.rename(columns={"rate [lb/ac]": f"{name} (lb/ac)"}).assign(seed=1.0)
        own.assign(product=name).to_csv(stick / file, index=False)
    code, said = run("gather", stick)
    assert code == 0, said
    raw = tomllib.loads((stick / "season.toml").read_text())
    assert sorted(o["products"][0]["product"] for o in raw["operation"]) == ["potash", "urea"]


def test_a_call_audits_a_folder_and_a_zip_and_writes_nothing_there(
    stick: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    wide(stick)
    (stick / "new.csv").write_text(on_another_day(stick, "2026-09-15"))
    zipped = tmp_path_factory.mktemp("zipped") / "logs.zip"
    with zipfile.ZipFile(zipped, "w") as archive:
        for path in stick.iterdir():
            archive.write(path, path.name)
    before = sorted(stick.iterdir())
    found = [ev.audit(source).operations for source in (stick, zipped)]
    assert sorted(stick.iterdir()) == before
    covered = [[o.covered_area_m2 for o in operations] for operations in found]
    assert covered[0] == pytest.approx(covered[1])
    assert covered[0][0] == pytest.approx(11 * 6.096 * 120, rel=0.005)
    with pytest.raises(ev.InputError, match="about one log"):
        ev.audit(stick, boundary=block(0, 0, 50, 50))
    assert run("gather", stick)[0] == 0
    assert len(ev.audit(stick).operations) == 2
