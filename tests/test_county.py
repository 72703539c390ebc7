"""Many farms at once give what each gives alone, whatever becomes of the workers."""

import json
import shutil
from collections.abc import Callable, Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

import duckdb
import fsspec
import geopandas as gpd
import psutil
import pytest
from small_farm import write_small_farm

import evenacre as ev
from evenacre.errors import InputError
from evenacre.io.farms.data_set import check_place
from evenacre.io.farms.places import FarmPlace, at_hand, farms_at
from evenacre.workflows.county import County, _audit, _count, audit_county

FARMS = 6


@pytest.fixture(scope="module")
def farms(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six farms, one that cannot be read, and files that nobody made a season of."""
    folder = tmp_path_factory.mktemp("county") / "farms"
    for number in range(FARMS):
        farm = folder / f"farm {number}"
        farm.mkdir(parents=True)
        write_small_farm(farm)
    broken, stick = folder / "broken", folder / "stick"
    broken.mkdir()
    (broken / "season.toml").write_text("farm = 3\n[[field]\n")
    stick.mkdir()
    for name in ("log.csv", "field.geojson"):
        shutil.copy(folder / "farm 0" / name, stick)
    return folder


@pytest.fixture(scope="module")
def out(farms: Path) -> Path:
    return farms.parent / "out"


@pytest.fixture(scope="module")
def county(farms: Path, out: Path) -> County:
    """Audited on two workers, of which one is killed when two jobs are done."""
    killed: list[int] = []

    def kill_one(stage: str, done: int, _whole: int) -> None:
        if stage == "auditing" and done == 2 and not killed:
            own = [p for p in psutil.Process().children() if "spawn_main" in " ".join(p.cmdline())]
            own[0].kill()
            killed.append(own[0].pid)

    found = audit_county(str(farms), str(out), workers=2, progress=kill_one)
    assert killed
    return found


def test_every_job_is_there_once_though_a_worker_was_lost(county: County, out: Path) -> None:
    done = [job for job in county.jobs if job.part]
    assert [job.place for job in done] == [f"farm {n}" for n in range(FARMS)]
    parts = sorted(str(path.relative_to(out)) for path in out.glob("jobs/**/*.parquet"))
    assert parts == sorted(job.part for job in done)


def test_what_fails_is_told_and_stands_in_nobodys_way(county: County) -> None:
    assert {job.place for job in county.failed} == {"broken", "stick"}
    told = {job.place: job.problem for job in county.failed}
    assert "season.toml, line 2" in told["broken"]
    assert "width" in told["stick"]


def test_all_bytes_are_those_of_each_farm_alone(
    county: County, farms: Path, out: Path, tmp_path: Path
) -> None:
    for number, place in enumerate(farms_at(str(farms))[1 : FARMS + 1]):
        (told,) = _audit(place, f"farm-{number}", 0, str(tmp_path), "alone")
        assert told.part
    alone = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*.parquet")}
    together = {
        path.relative_to(out): path.read_bytes()
        for path in out.rglob("*.parquet")
        if path.name != "index.parquet"
    }
    assert alone == together
    assert len(alone) >= 3 * FARMS


def test_figures_are_those_of_an_audit(county: County, farms: Path, out: Path) -> None:
    account = ev.audit(farms / "farm 3" / "season.toml").summary["operations"][0]
    (job,) = [job for job in county.jobs if job.place == "farm 3"]
    row = gpd.read_parquet(out / job.part).iloc[0]
    assert job.covered_area_m2 == account["covered_area_m2"]
    for key in ("covered_area_m2", "skip_area_m2", "overlap_area_m2", "worked_distance_m"):
        assert row[key] == account[key]
    assert [row["skip_area_m2_low_90"], row["skip_area_m2_high_90"]] == json.loads(
        json.dumps(account["interval_90"]["skip_area_m2"])
    )


def test_duckdb_reads_index_and_parts(county: County, out: Path) -> None:
    ((jobs, covered_m2, failed),) = duckdb.sql(
        f"select count(*), sum(covered_area_m2), count(problem) filter (problem <> '') "
        f"from '{out}/index.parquet'"
    ).fetchall()
    assert (jobs, failed) == (FARMS + 2, 2)
    assert covered_m2 == pytest.approx(sum(job.covered_area_m2 or 0.0 for job in county.jobs))
    by_farm = duckdb.sql(
        f"select farm, year, sum(applied_in_field_kg) from "
        f"read_parquet('{out}/products/**/*.parquet', hive_partitioning = true) group by all"
    ).fetchall()
    assert {(farm, int(year)) for farm, year, _ in by_farm} == {
        (f"farm-{n}", 2026) for n in range(FARMS)
    }


def test_a_place_that_holds_something_is_refused(county: County, farms: Path, out: Path) -> None:
    with pytest.raises(InputError, match="something in it already"):
        check_place(str(out))


@pytest.mark.parametrize("use", [check_place, farms_at])
def test_storage_that_is_not_known_is_told(use: Callable[[str], object]) -> None:
    with pytest.raises(InputError, match="cannot be used"):
        use("nowhere://county")


def test_farms_are_listed_by_path(farms: Path, tmp_path: Path) -> None:
    listed = tmp_path / "farms.txt"
    listed.write_text(f"# two of them\n{farms}/farm 1\n\n{farms / 'farm 2' / 'season.toml'}\n")
    assert [at_hand(place).path for place in farms_at(str(listed))] == [
        farms / "farm 1" / "season.toml",
        farms / "farm 2" / "season.toml",
    ]
    listed.write_text(f"{farms}/no such farm\n")
    with pytest.raises(InputError, match="line 1"):
        farms_at(str(listed))


def test_nothing_to_audit_is_told(tmp_path: Path) -> None:
    for where in (tmp_path, tmp_path / "none", tmp_path / "none.txt"):
        with pytest.raises(InputError):
            farms_at(str(where))


def test_farms_of_an_object_store_are_brought_here(farms: Path) -> None:
    store = fsspec.filesystem("memory")
    store.put(str(farms / "farm 0"), "/bucket/north/home", recursive=True)
    (place,) = farms_at("memory://bucket")
    assert (place.name, place.season) == ("north/home", "season.toml")
    here, alone = at_hand(place), at_hand(place, whole=False)
    assert [plan.name for plan in ev.load_season(here.path).operations]
    assert [path.name for path in alone.path.parent.iterdir()] == ["season.toml"]


@pytest.fixture(scope="module")
def web(farms: Path) -> Iterator[str]:
    """The farms, by http."""
    handler = partial(SimpleHTTPRequestHandler, directory=str(farms))
    with ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


def test_farms_of_the_web_give_what_they_give_here(farms: Path, web: str, tmp_path: Path) -> None:
    """Listed by URL, from a folder that is listed, into storage named by URL."""
    listed = tmp_path / "farms.txt"
    listed.write_text(f"{web}/farm%201/season.toml\n{web}/farm%202\n")
    found = {place.name: place for place in farms_at(web)}
    assert {f"farm%20{number}" for number in range(FARMS)} < found.keys()
    for number, place in enumerate([found["farm%200"], *farms_at(str(listed))]):
        here = FarmPlace(place.name, str(farms / f"farm {number}"), "season.toml")
        assert _count(place) == 1
        (far,) = _audit(place, f"f{number}", 0, f"file://{tmp_path}/far", "run")
        (near,) = _audit(here, f"f{number}", 0, str(tmp_path / "near"), "run")
        assert far.part
        assert far == near
    for path in (tmp_path / "near").rglob("*.parquet"):
        assert (
            path.read_bytes()
            == (tmp_path / "far" / path.relative_to(tmp_path / "near")).read_bytes()
        )
