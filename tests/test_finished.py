"""Operations that an earlier run finished: taken, told, and never taken wrongly."""

from __future__ import annotations

import dataclasses
import itertools
import json
import os
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from cli_jobs import Ran, evenacre, small_job, write_files
from processes import Forked

import evenacre as package
from evenacre.io.cache import fingerprint
from evenacre.io.cache.entries import KeptEntries
from evenacre.model import (
    Application,
    Blockage,
    Field,
    Implement,
    LoadTicket,
    OperationPlan,
    Product,
    Settings,
    Track,
    WithSeed,
)
from evenacre.workflows import operations as pipeline
from evenacre.workflows.finished import FinishedWork

SEASON = """
farm = "Test Farm"
[[product]]
name = "18-46-0"
price = "840 USD/ton"
[[implement]]
name = "drill"
width = "6.096 m"
rows = 32
[[field]]
name = "Home"
boundary = "field.geojson"
"""
OPERATION = """
[[operation]]
name = "Job {number}"
field = "Home"
implement = "drill"
tracks = ["log{number}.csv"]
products = [ {{ product = "18-46-0", rate = "{rate} kg/ha" }} ]
"""
LINE = "were taken from an earlier run; --fresh computes all."
needs_forks = pytest.mark.skipif(not hasattr(os, "fork"), reason="runs are forked off")
needs_owners = pytest.mark.skipif(not hasattr(os, "geteuid"), reason="files have no owners here")


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder for what is kept, and the clock of results stopped."""
    folder = tmp_path / "kept"
    monkeypatch.setenv("EVENACRE_CACHE", str(folder))
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1776150000")
    return folder


@pytest.fixture
def audits(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the operations that this process audits."""
    seen: list[str] = []
    whole = pipeline.audit_operation

    def audit(operation: Any, *rest: Any) -> Any:
        seen.append(operation.name)
        return whole(operation, *rest)

    monkeypatch.setattr(pipeline, "audit_operation", audit)
    return seen


def season(home: Path, count: int = 3, rate: int = 168) -> Path:
    """A season of small jobs on one field."""
    home.mkdir(parents=True, exist_ok=True)
    for number in range(1, count + 1):
        files = write_files(home, small_job(12.0 + 3.0 * number, (0.2,)))
        files.log.rename(home / f"log{number}.csv")
    text = "".join(OPERATION.format(number=i, rate=rate) for i in range(1, count + 1))
    (home / "season.toml").write_text(SEASON + text)
    return home / "season.toml"


def audit(file: Path, out: str = "out", *options: object) -> Ran:
    ran = evenacre("audit", file, "--out", file.parent / out, "--jobs", 1, *options)
    assert ran.code == 0, ran
    return ran


def contents(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


def entries(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.kept"))


# --- taken, and the same to the byte ---------------------------------------------------------


def test_an_unchanged_season_is_taken_and_its_files_are_the_same_bytes(
    kept: Path, tmp_path: Path, audits: list[str]
) -> None:
    file = season(tmp_path / "farm", count=2)
    first = audit(file, "first")
    assert len(audits) == len(entries(kept)) == 2
    assert "earlier run" not in first.err
    second = audit(file, "second", "--geoparquet")
    assert len(audits) == 2
    assert second.err == f"2 of 2 operations {LINE}\n"
    assert "earlier run" not in second.out
    for entry in entries(kept):
        os.utime(entry, (1e9, 1e9))
    third = audit(file, "third", "--geoparquet", "--fresh")
    assert len(audits) == 4
    assert len(entries(kept)) == 2
    assert min(entry.stat().st_mtime for entry in entries(kept)) > 1e9  # replaced
    assert third.err == ""
    assert contents(file.parent / "second") == contents(file.parent / "third")
    plain = contents(file.parent / "first")
    assert plain.keys() >= {"summary.json", "report.html", "tables.xlsx", "layers.gpkg"}
    later = contents(file.parent / "second")
    # The page on how it was made names the command, which asked for more.
    assert {n for n in plain if plain[n] != later[n]} == {"summary.json", "method.html"}
    beside = {p.name for p in file.parent.iterdir()} - {"first", "second", "third"}
    assert beside == {"field.geojson", "log1.csv", "log2.csv", "season.toml"}
    assert b'"generated": "2026-04-14T07:00:00+00:00"' in plain["summary.json"]
    # A season that was moved is the same season.
    moved = Path(shutil.move(file.parent, tmp_path / "moved")) / "season.toml"
    assert audit(moved, "first", "--json").err == ""
    assert len(audits) == 4
    assert contents(moved.parent / "first") == plain


def test_a_result_that_stands_is_left_as_it_is(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("SOURCE_DATE_EPOCH")
    file = season(tmp_path / "farm", count=2)
    out = file.parent / "out"

    def written(*options: object) -> set[tuple[int, int]]:
        """Files by number and time: the number of one that is gone is given to another."""
        audit(file, "out", *options)
        files = [path.stat() for path in out.rglob("*.*")]
        return {(told.st_ino, told.st_ctime_ns) for told in files}

    nodes, before = written(), contents(out)
    first = audit(file, "out", "--json")
    assert f"2 of 2 operations {LINE}" in audit(file).err
    assert written() == nodes
    assert contents(out) == before
    assert json.loads(first.out) == json.loads(before["summary.json"])
    # Anything that is not as it was written has all of it written anew.
    (out / "report.html").write_text("mine")
    nodes, spoilt = written(), nodes
    assert nodes.isdisjoint(spoilt)
    assert contents(out)["report.html"] == before["report.html"]
    (out / "tables.xlsx").unlink()
    assert written().isdisjoint(nodes)
    assert contents(out).keys() == before.keys()
    # So has whatever else was asked for, or lies in the files.
    nodes = written()
    assert (geo := written("--geoparquet")).isdisjoint(nodes)
    assert written("--geoparquet", "--fresh").isdisjoint(geo)
    nodes = written()
    file.write_text(file.read_text().replace("168 kg/ha", "170 kg/ha"))
    assert written().isdisjoint(nodes)
    (out / "mine.txt").write_text("mine")
    refused = evenacre("audit", file, "--out", out)
    assert (refused.code, "mine.txt" in refused.err) == (2, True)


def test_whichever_operations_are_beside_it_one_that_is_unchanged_is_taken(
    kept: Path, tmp_path: Path, audits: list[str]
) -> None:
    file = season(tmp_path / "farm")
    audit(file)
    audits.clear()
    text = file.read_text()
    first = OPERATION.format(number=1, rate=168)
    assert first in text
    file.write_text(text.replace(first, ""))
    assert f"2 of 2 operations {LINE}" in audit(file, "two").err
    assert audits == []
    assert audit(file, "fresh", "--fresh").err == ""
    assert contents(file.parent / "two") == contents(file.parent / "fresh")


def test_complaints_are_not_kept_but_what_is_finished_is(
    kept: Path, tmp_path: Path, audits: list[str]
) -> None:
    file = season(tmp_path / "farm")
    log = file.parent / "log2.csv"
    good = log.read_bytes()
    log.write_text("nothing,of,use\n1,2,3\n")
    for _ in range(2):
        ran = evenacre("audit", file, "--jobs", 1)
        assert ran.code == 2
        assert len(ran.errors()) == 1
    assert audits == ["Job 1", "Job 3"]
    log.write_bytes(good)
    assert f"2 of 3 operations {LINE}" in audit(file).err


# --- cut off ---------------------------------------------------------------------------------


def killed_at(number: int) -> None:
    """Have this process killed when it comes to an operation."""
    whole, names = pipeline.audit_operation, []

    def audit(*args: Any) -> Any:
        names.append(args[0].name)
        if len(names) == number:
            os.kill(os.getpid(), signal.SIGKILL)
        return whole(*args)

    pipeline.audit_operation = audit  # type: ignore[assignment]


@needs_forks
def test_a_killed_run_goes_on_where_it_was(kept: Path, tmp_path: Path, audits: list[str]) -> None:
    file = season(tmp_path / "farm")
    options = ["audit", file, "--jobs", 1, "--out", tmp_path / "out"]
    assert Forked(*options, before=lambda: killed_at(3)).wait() == -signal.SIGKILL
    assert not (tmp_path / "out").exists()
    assert len(entries(kept)) == 2
    assert f"2 of 3 operations {LINE}" in audit(file).err
    assert audits == ["Job 3"]


@needs_forks
def test_what_killed_workers_had_finished_serves_two_runs_at_once(
    kept: Path, tmp_path: Path, audits: list[str]
) -> None:
    file = season(tmp_path / "farm")
    run = Forked("audit", file, "--jobs", 2)
    while not entries(kept) and run.poll() is None:
        time.sleep(0.005)
    os.killpg(run.pid, signal.SIGKILL)
    assert run.wait() == -signal.SIGKILL
    done = len(entries(kept))
    assert 1 <= done < 3
    other = Forked("audit", file, "--out", file.parent / "other", "--jobs", 1)
    assert f"{done} of 3 operations {LINE}" in audit(file).err
    assert len(audits) == 3 - done
    assert other.wait() == 0
    audit(file, "whole", "--fresh")
    whole = contents(file.parent / "whole")
    assert contents(file.parent / "out") == contents(file.parent / "other") == whole
    assert len(entries(kept)) == 3


# --- what counts -----------------------------------------------------------------------------


def box(size: float) -> shapely.Polygon:
    return shapely.box(-92.4, 40.1, -92.4 + size, 40.1 + size)


def zones(size: float) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"zone": ["ridge"]}, geometry=[box(size)], crs="EPSG:4326")


def setback(distance_m: float) -> gpd.GeoDataFrame:
    named = {"name": ["well"], "distance_m": [distance_m]}
    return gpd.GeoDataFrame(named, geometry=[shapely.Point(-92.4, 40.1)], crs="EPSG:4326")


@pytest.fixture
def plan(tmp_path: Path) -> OperationPlan:
    for name in ("log.csv", "blockages.csv", "loads.csv"):
        (tmp_path / name).write_text(f"of {name}")
    return OperationPlan(
        name="Spring",
        field=Field("Home", box(0.01), box(0.001), zones(0.005), setback(30.0)),
        implement=Implement(width_m=6.0, rows=32),
        track_files=(tmp_path / "log.csv",),
        blockage_files=(tmp_path / "blockages.csv",),
        ticket_file=tmp_path / "loads.csv",
        applications=(Application(Product("18-46-0", {"N": 18.0}), 0.0168),),
    )


def name_of(plan: OperationPlan, *asked: str) -> str:
    claim = FinishedWork(KeptEntries(Path("unused"))).claim(plan, *asked)
    assert claim is not None
    return claim.name


def test_everything_in_a_plan_counts(plan: OperationPlan, tmp_path: Path) -> None:
    field, other = plan.field, tmp_path / "other.csv"
    other.write_text("of another")
    ticket = LoadTicket("filled", "front", "18-46-0", 900.0, 9.0, "scale", None, "line 2")
    changes: dict[str, list[Any]] = {
        "name": ["Fall"],
        "field": [
            dataclasses.replace(field, **change)
            for change in (
                {"name": "Away"},
                {"boundary": box(0.010000001)},
                {"boundary": None},
                {"unworkable": None},
                {"zones": zones(0.006)},
                {"zones": zones(0.005).assign(zone=["draw"])},
                {"zones": zones(0.005).to_crs("EPSG:4269")},
                {"setbacks": setback(31.0)},
            )
        ],
        "implement": [Implement(width_m=6.0, rows=31), Implement(6.0, 32, product_lag_s=1.5)],
        "track_files": [(other,), (*plan.track_files, other), ()],
        "columns": [{"rate": "Rate"}],
        "layer": ["tracks"],
        "crs": ["EPSG:26915"],
        "time_zone": ["America/Chicago", "America/Denver"],
        "applications": [(), (Application(Product("18-46-0", {"N": 18.0}), 0.0169),)],
        "field_is_nameless": [True],
        "date": ["2026-04-14"],
        "blockage_files": [(), (other,)],
        "blockages": [(Blockage(0.0, 9.0, (1, 2), "tower 1"),)],
        "settings": [
            dataclasses.replace(Settings(), **{f.name: value})
            for f, value in zip(
                dataclasses.fields(Settings), (0.3, 6.0, 2, 4.0, 9.0, 0.1, 0.05, False), strict=True
            )
        ],
        "notes": [("a note",)],
        "warnings": [("a warning",)],
        "track_layers": [("tracks",)],
        "track_crs": [("EPSG:26915",)],
        "tickets": [(ticket,), (dataclasses.replace(ticket, mass_kg=901.0),)],
        "ticket_file": [None, other],
        "method": ["broadcast"],
        "quote_per_m2": [0.005],
        "bare_loss_per_m2": [0.07],
        "compartment_of": [(("18-46-0", "front"),)],
        "with_seed": [WithSeed("corn", 0.025, 0.76, 15.0)],
        "tracks": [(Track("log", *np.zeros((3, n))),) for n in (2, 3)],
    }
    assert changes.keys() == {f.name for f in dataclasses.fields(OperationPlan)}
    plans = [plan, *(dataclasses.replace(plan, **{k: v}) for k in changes for v in changes[k])]
    names = [name_of(p, "op1", "us", "USD") for p in plans]
    assert len(set(names)) == len(names)
    asked = list(itertools.product(("op1", "op2"), ("us", "metric"), ("USD", "EUR")))
    assert len({name_of(plan, *a) for a in asked}) == len(asked)


def test_every_byte_of_every_file_counts(plan: OperationPlan) -> None:
    assert plan.blockage_files
    assert plan.ticket_file
    before = name_of(plan)
    assert name_of(plan) == before
    for file in (*plan.track_files, *plan.blockage_files, plan.ticket_file):
        whole = file.read_bytes()
        file.write_bytes(whole[:-1] + b"!")
        assert name_of(plan) != before
        file.write_bytes(whole)
        assert name_of(plan) == before


@pytest.mark.parametrize(
    ("log", "parts"),
    [
        ("data", ["data/TASKDATA.XML", "data/TLG00001.BIN", "data/TLG00001.XML"]),
        ("data", ["data/TASKDATA/TASKDATA.XML", "data/TASKDATA/TLG00001.BIN"]),
        ("TASKDATA.XML", ["TASKDATA.XML", "TLG00001.BIN"]),
        ("way.shp", ["way.shp", "way.dbf", "way.SHX", "way.prj"]),
        ("way.gpkg", ["way.gpkg", "way.gpkg-wal"]),
        ("way.gdb", ["way.gdb/a00000001.gdbtable", "way.gdb/deep/gdb"]),
    ],
)
def test_every_part_of_an_input_counts(
    plan: OperationPlan, tmp_path: Path, log: str, parts: list[str]
) -> None:
    files = [tmp_path / part for part in parts]
    for file in files:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(file.name)
    plan = dataclasses.replace(plan, track_files=(tmp_path / log,))
    names = [name_of(plan)]
    for file in files:
        file.write_text("changed")
        names.append(name_of(plan))
    if not log.endswith(".gdb"):
        (tmp_path / "data" / "evenacre-out").mkdir(parents=True)
        (tmp_path / "data" / "evenacre-out" / "summary.json").write_text("a result")
        assert name_of(plan) == names[-1]
    # Of task data those files count that may be read, of other kinds whatever lies beside them.
    more = "TLG00002.BIN" if "TASKDATA.XML" in files[0].name else f"{files[-1].stem}.extra"
    extra = files[-1].parent / more
    extra.write_text("another part")
    names.append(name_of(plan))
    assert len(set(names)) == len(names)


def test_what_cannot_be_read_twice_is_left_alone(plan: OperationPlan, tmp_path: Path) -> None:
    """A pipe gives its bytes once, and a link may lead anywhere."""
    work = FinishedWork(KeptEntries(tmp_path))
    os.mkfifo(tmp_path / "pipe.csv")
    assert work.claim(dataclasses.replace(plan, track_files=(tmp_path / "pipe.csv",))) is None
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "TASKDATA").symlink_to(tmp_path)
    assert work.claim(dataclasses.replace(plan, track_files=(tmp_path / "data",))) is None
    assert work.claim(dataclasses.replace(plan, track_files=(tmp_path / "gone.csv",))) is None


def test_a_file_changed_during_the_run_spoils_nothing(plan: OperationPlan, tmp_path: Path) -> None:
    (log,) = plan.track_files
    for change in (log.touch, lambda: log.with_suffix(".prj").write_text(""), log.unlink):
        claim = FinishedWork(KeptEntries(tmp_path)).claim(plan)
        assert claim is not None
        assert claim.holds()
        change()
        claim.keep(Field("Home"))
        assert not claim.kept()
        assert not claim.holds()
    assert entries(tmp_path) == []


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Path]:
    """A small package in place of the program's own, and nothing remembered of it."""
    home = tmp_path / "source"
    (home / "io").mkdir(parents=True)
    for name in ("__init__.py", "io/page.html.j2"):
        (home / name).write_text(name)
    monkeypatch.setattr(package, "__file__", str(home / "__init__.py"))
    fingerprint.software_digest.cache_clear()
    yield home
    fingerprint.software_digest.cache_clear()


def test_source_versions_and_surroundings_count(
    plan: OperationPlan, counted: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    names: list[str] = []

    def note() -> None:
        fingerprint.software_digest.cache_clear()
        names.append(name_of(plan))

    note()
    (counted / "io" / "page.html.j2").write_text("another page")
    note()
    (counted / "new.py").write_text("")
    note()
    for owner, version in (
        (package, "__version__"),
        (fingerprint.shapely, "geos_version_string"),
        (fingerprint.pyproj, "proj_version_str"),
        (fingerprint.rasterio, "__gdal_version__"),
        (fingerprint.pyogrio, "__gdal_version_string__"),
        (sys, "version"),
    ):
        monkeypatch.setattr(owner, version, "99.9")
        note()
    for library in ("numpy", "pandas", "scipy", "matplotlib"):
        (tmp_path / "packages" / f"{library}-99.9.dist-info").mkdir(parents=True)
        monkeypatch.syspath_prepend(str(tmp_path / "packages"))
        note()
    for variable in ("PROJ_NETWORK", "GDAL_NUM_THREADS"):
        monkeypatch.setenv(variable, "ON")
        note()
    assert len(set(names)) == len(names)
    (counted / "__pycache__").mkdir()
    (counted / "__pycache__" / "new.pyc").write_text("compiled")
    note()
    assert names[-1] == names[-2]


# --- nothing is trusted or needed ------------------------------------------------------------


def test_a_damaged_entry_is_computed_again(kept: Path, tmp_path: Path, audits: list[str]) -> None:
    file = season(tmp_path / "farm", count=1)
    audit(file)
    whole = contents(file.parent / "out")
    (entry,) = entries(kept)
    entry.write_bytes(entry.read_bytes()[: entry.stat().st_size // 2])
    assert audit(file, "again").err == ""
    assert len(audits) == 2
    assert contents(file.parent / "again") == whole


def test_a_full_disk_does_not_end_a_run(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The system's own device that is always full takes the place of the file."""
    file = season(tmp_path / "farm", count=1)
    monkeypatch.setattr(
        tempfile, "mkstemp", lambda **_: (os.open("/dev/full", os.O_WRONLY), str(kept / "x.part"))
    )
    assert audit(file).err == f"1 of 1 could not be kept for later in {kept}.\n"
    assert list(kept.iterdir()) == []


@needs_owners
def test_a_folder_of_another_user_is_not_used_and_the_run_goes_on(
    kept: Path, tmp_path: Path
) -> None:
    if os.geteuid() != 0:
        pytest.skip("only the superuser can give a folder away")
    kept.mkdir(mode=0o700)
    os.chown(kept, 54321, -1)
    assert audit(season(tmp_path / "farm", count=1)).err == (
        f"warning: finished operations are not kept: {kept} belongs to another user; "
        "EVENACRE_CACHE names another folder.\n"
    )
    assert list(kept.iterdir()) == []


@needs_owners
def test_a_folder_that_others_could_write_to_is_not_used(kept: Path) -> None:
    assert FinishedWork.open().entries == KeptEntries(kept)
    entry = kept / f"{'0' * 64}.kept"
    entry.write_bytes(b"")
    for path, mode in ((kept, 0o770), (kept, 0o702), (entry, 0o620), (entry, 0o602)):
        before = path.stat().st_mode
        path.chmod(mode)
        work = FinishedWork.open()
        assert work.entries is None
        assert f"{path} can be changed by other users" in work.trouble
        path.chmod(before)
    entry.chmod(0o600)
    assert FinishedWork.open() == FinishedWork(KeptEntries(kept))
    shutil.rmtree(kept)
    kept.write_text("")
    assert f"{kept} cannot be used" in FinishedWork.open().trouble


def test_it_can_be_turned_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "own"))
    for said in ("", "off", "OFF"):
        monkeypatch.setenv("EVENACRE_CACHE", said)
        assert FinishedWork.open() == FinishedWork(None)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform != "linux", reason="other systems have other places")
def test_it_goes_where_the_system_keeps_such_things(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("EVENACRE_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "own"))
    assert FinishedWork.open() == FinishedWork(KeptEntries(tmp_path / "own" / "evenacre"))
    assert (tmp_path / "own" / "evenacre").stat().st_mode & 0o777 == 0o700


def test_a_time_of_generation_that_is_none(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = season(tmp_path / "farm", count=1)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    ran = evenacre("audit", file, "--jobs", 1)
    assert ran.code == 2
    assert ran.errors() == [
        'error: SOURCE_DATE_EPOCH: "yesterday" is no time. '
        "Give whole seconds since 1970, or unset it."
    ]
