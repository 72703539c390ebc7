"""The command line itself: options, exit codes, what goes to which stream, and Ctrl-C."""

from __future__ import annotations

import json
import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from cli_jobs import (
    Files,
    command,
    evenacre,
    run_command,
    small_job,
    summary_of,
    write_boundary,
    write_files,
    write_log,
)
from processes import LISTED, Forked, alive, children, wait_for
from put_down import MISSOURI, on_earth

from evenacre import __version__

HEAVY = {"geopandas", "pandas", "numpy", "shapely", "rasterio", "matplotlib", "pyarrow"}
SEASON = """
[[implement]]
name = "drill"
width = "6.096 m"
[[field]]
name = "Creek Forty"
boundary = "field.geojson"
"""
OPERATION = """
[[operation]]
name = "{name}"
field = "Creek Forty"
implement = "drill"
tracks = ["log.csv"]
"""


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return write_files(tmp_path)


def write_season(files: Files, *operations: str, top: str = "") -> Path:
    path = files.folder / "season.toml"
    names = operations or ("Spring",)
    path.write_text(top + SEASON + "".join(OPERATION.format(name=n) for n in names))
    return path


# --- start-up --------------------------------------------------------------------------------


def processor_s() -> float:
    """Seconds of processor time of all commands that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def test_help_answers_at_once() -> None:
    # The least of three, and processor time: how long it waits for its turn is the machine's.
    times = []
    for _ in range(3):
        start = processor_s()
        ran = run_command("--help")
        times.append(processor_s() - start)
        assert ran.code == 0
    assert 0.0 < min(times) < 0.5
    for name in ("audit", "check", "demo"):
        assert name in ran.out


def test_help_imports_nothing_heavy() -> None:
    script = (
        "import sys, evenacre.cli.main\n"
        "try: evenacre.cli.main.app(['audit', '--help'])\n"
        "except SystemExit: pass\n"
        "print(*{m.partition('.')[0] for m in sys.modules}, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert "--boundary" in done.stdout
    loaded = set(done.stderr.split())
    assert "evenacre" in loaded
    assert not loaded & HEAVY


def test_version() -> None:
    ran = evenacre("--version")
    assert (ran.code, ran.out) == (0, f"evenacre {__version__}\n")


@pytest.mark.parametrize(
    "args",
    [("audit", "--bogus"), ("audit", "--units", "furlongs"), ("audit", "--jobs", "-1"), ("plow",)],
)
def test_options_that_are_not_known(args: tuple[str, ...]) -> None:
    ran = evenacre(*args)
    assert ran.code == 2
    assert args[-1].lstrip("-") in ran.err or args[-2] in ran.err
    assert "Traceback" not in ran.err


# --- streams ---------------------------------------------------------------------------------


def test_words_on_standard_output_and_nothing_on_the_other(files: Files) -> None:
    ran = evenacre("audit", *files.options(field_name="Creek", operation_name="Spring"))
    assert ran.code == 0
    assert ran.err == ""
    assert ran.out.startswith("Creek, Spring: ")
    assert str(files.out / "report.html") in ran.out


def test_json_alone_on_standard_output(files: Files) -> None:
    files.records.loc[50, "latitude"] = "nan"  # so that there is a warning to keep off it
    write_log(files.log, files.records)
    ran = evenacre("audit", *files.options(), "--json")
    assert ran.code == 0
    assert ran.err == ""
    assert json.loads(ran.out) == summary_of(files.out)


def test_quiet(files: Files) -> None:
    ran = evenacre("audit", *files.options(), "--quiet")
    assert (ran.code, ran.out, ran.err) == (0, "", "")
    assert (files.out / "summary.json").is_file()
    ran = evenacre("audit", *files.options(width="20"), "--quiet")
    assert ran.code == 2
    assert len(ran.errors()) == 1


def test_json_of_a_failure_prints_no_json(files: Files) -> None:
    ran = evenacre("audit", *files.options(width="20"), "--json")
    assert (ran.code, ran.out) == (2, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_standard_output(files: Files) -> None:
    with open("/dev/full", "w") as full:
        run = Forked("audit", *files.options(), stdout=full.fileno())
    _, err = run.communicate()
    assert run.returncode == 2
    assert err.startswith("error: standard output: ")
    assert len(err.splitlines()) == 1
    assert (files.out / "summary.json").is_file()


def test_a_reader_who_has_left(files: Files) -> None:
    read, write = os.pipe()
    os.close(read)
    run = Forked("audit", *files.options(), "--json", stdout=write)
    os.close(write)
    _, err = run.communicate()
    assert (run.returncode, err) == (0, "")


def test_a_terminal_that_knows_no_accents(files: Files) -> None:
    season = write_season(files)
    text = season.read_text().replace("Creek Forty", "Ñandú ☃")
    season.write_text(text, encoding="utf-8")
    done = subprocess.run(
        command("audit", season, "--out", files.out),
        env={**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"},
        capture_output=True,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert summary_of(files.out)["operations"][0]["field"] == "Ñandú ☃"


# --- where results go, units, findings -------------------------------------------------------


def test_the_result_of_a_season_goes_beside_it(files: Files) -> None:
    ran = evenacre("audit", write_season(files))
    assert ran.code == 0, ran
    assert (files.folder / "evenacre-out" / "summary.json").is_file()


def test_the_result_of_options_goes_into_the_working_folder(
    files: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = files.folder / "here"
    place.mkdir()
    monkeypatch.chdir(place)
    assert evenacre("audit", *files.options(out=None)).code == 0
    assert (place / "evenacre-out" / "summary.json").is_file()


def test_further_logs_after_tracks(files: Files) -> None:
    first, second = files.folder / "a.csv", files.folder / "b.csv"
    write_log(first, files.records[:300])
    write_log(second, files.records[300:])
    assert evenacre("audit", *files.options()).code == 0
    whole = summary_of(files.out)["operations"][0]
    ran = evenacre("audit", *files.options(tracks=None), "--tracks", first, second)
    assert ran.code == 0, ran
    parts = summary_of(files.out)["operations"][0]
    # Splitting a log at any record changes nothing.
    for key in ("covered_area_m2", "overlap_area_m2", "skip_area_m2", "worked_distance_m"):
        assert parts[key] == pytest.approx(whole[key], rel=1e-9)


def test_options_that_do_not_go_with_a_season(files: Files) -> None:
    ran = evenacre("audit", write_season(files), "--width", "20 ft")
    assert ran.code == 2
    assert "does not go with --width" in ran.errors()[0]


def test_every_map_file_may_have_layers(files: Files) -> None:
    farm = files.folder / "farm.gpkg"
    for name, ground in {"fields": (0, 0, 60, 20), "wet": (20, 5, 30, 10)}.items():
        shape = on_earth(shapely.box(*ground), MISSOURI, 0.0, (0, 0))
        layer = gpd.GeoDataFrame({"name": [name]}, geometry=[shape], crs="EPSG:4326")
        layer.to_file(farm, layer=name, engine="pyogrio")
    given = {"boundary": farm, "boundary_layer": "fields", "unworkable": farm, "setbacks": farm}
    ran = evenacre("audit", *files.options(**given, setback_distance="2 m"))
    assert ran.code == 2
    assert "--unworkable-layer" in ran.err
    given |= {"unworkable_layer": "wet", "setbacks_layer": "wet"}
    ran = evenacre("audit", *files.options(**given, setback_distance="2 m"))
    assert ran.code == 0, ran
    (operation,) = summary_of(files.out)["operations"]
    assert operation["workable_area_m2"] == pytest.approx(60 * 20 - 10 * 5, rel=1e-6)


def test_a_gap_shorter_than_the_log_records(files: Files) -> None:
    ran = evenacre("audit", *files.options(max_gap="0.01 s"))
    assert ran.code == 2
    assert "cut between all of its records" in ran.err
    assert "--max-gap" in ran.err


def test_lines_without_times_tell_no_speed(files: Files) -> None:
    ways = [shapely.LineString([(0, y), (60, y)]) for y in (3.0, 9.0, 15.0)]
    shapes = [on_earth(way, MISSOURI, 0.0, (0, 0)) for way in ways]
    drive = files.folder / "drive.geojson"
    gpd.GeoDataFrame(geometry=shapes, crs="EPSG:4326").to_file(drive, engine="pyogrio")
    ran = evenacre("audit", *files.options(tracks=drive, width="6 m"))
    assert ran.code == 0, ran
    (operation,) = summary_of(files.out)["operations"]
    assert operation["worked_distance_m"] == pytest.approx(180, rel=1e-3)
    for key in ("worked_time_s", "field_time_s", "mean_speed_mps", "field_efficiency", "start_s"):
        assert operation[key] is None, key
    page = (files.out / "report.html").read_text()
    assert "Times and speeds" in page
    assert "Field capacity" not in page


UNITS = {"us": r"\d (ac|sq ft|lb|lb/ac|mph)\b", "metric": r"\d (ha|m²|m2|kg|kg/ha|km/h)\b"}


@pytest.mark.parametrize(("asked", "other"), [("us", "metric"), ("metric", "us")])
@pytest.mark.parametrize("where", ["option", "season"])
def test_units(files: Files, asked: str, other: str, where: str) -> None:
    season = write_season(files, top=f'units = "{asked if where == "season" else other}"\n')
    ran = evenacre("audit", season, *(["--units", asked] if where == "option" else []))
    assert ran.code == 0, ran
    out = files.folder / "evenacre-out"
    page = re.sub(r"<(style|script).*?</\1>", "", (out / "report.html").read_text(), flags=re.S)
    for text in (ran.out, page):
        assert re.search(UNITS[asked], text)
        assert not re.search(UNITS[other], text)
    header = (out / "tables" / "operations.csv").read_text(encoding="utf-8-sig").splitlines()[0]
    assert ("[ha]" if asked == "metric" else "[ac]") in header
    # The summary is in SI whatever the report speaks.
    assert summary_of(out)["operations"][0]["boundary_area_m2"] == pytest.approx(1103.28, rel=1e-6)


def outcome(files: Files, finding: str, **changes: object) -> int:
    ran = evenacre("audit", *files.options(fail_on=finding, **changes))
    assert "error" not in ran.err
    assert (files.out / "summary.json").is_file()
    return ran.code


def test_fail_on_skip(tmp_path: Path) -> None:
    assert outcome(write_files(tmp_path / "gap"), "skip") == 1
    assert outcome(write_files(tmp_path / "none", small_job(gaps=(-0.3, -0.3))), "skip") == 0


def test_fail_on_outside(files: Files) -> None:
    swept = on_earth(shapely.box(-1, -1, 61, 30), MISSOURI, 0.0, (0, 0))
    write_boundary(files.boundary, swept)
    assert outcome(files, "outside") == 0
    write_boundary(files.boundary, on_earth(shapely.box(0, 0, 60, 9), MISSOURI, 0.0, (0, 0)))
    assert outcome(files, "outside") == 1


def test_fail_on_warning(files: Files) -> None:
    assert outcome(files, "warning") == 0
    files.records.loc[50, "latitude"] = "nan"
    write_log(files.log, files.records)
    assert outcome(files, "warning") == 1


def test_fail_on_setback(files: Files) -> None:
    def well(x: float) -> Path:
        spot = on_earth(shapely.Point(x, 9.0), MISSOURI, 0.0, (0, 0))
        return write_boundary(files.folder / "well.geojson", spot)

    given = {"product": "18-46-0", "rate": "150 lb/ac", "setback_distance": "10 m"}
    assert outcome(files, "setback", setbacks=well(-30.0), **given) == 0
    assert outcome(files, "setback", setbacks=well(30.0), **given) == 1


# --- check -----------------------------------------------------------------------------------


def test_check_of_a_sound_season(files: Files) -> None:
    ran = evenacre("check", write_season(files))
    assert ran.code == 0
    assert ran.out.splitlines()[-1] == "Nothing to mend."
    assert not (files.folder / "evenacre-out").exists()


def test_check_lists_everything(files: Files) -> None:
    season = write_season(files)
    season.write_text(season.read_text().replace("log.csv", "lost.csv") + 'dat = "x"\n')
    ran = evenacre("check", season)
    assert ran.code == 2
    assert 'no file "lost.csv"' in ran.out
    assert '"dat" is not a key' in ran.out
    assert "2 to mend." in ran.out
    quiet = evenacre("check", season, "--quiet")
    assert quiet.code == 2
    assert [line.split()[0] for line in quiet.out.splitlines()] == ["error:", "error:"]


# --- the demo's folder -----------------------------------------------------------------------


def test_the_demo_does_not_write_over_a_season(files: Files) -> None:
    season = write_season(files)
    before = season.read_bytes()
    ran = evenacre("demo", files.folder)
    assert ran.code == 2
    assert "holds no sample farm" in ran.errors()[0]
    assert season.read_bytes() == before


@pytest.mark.parametrize("place", ["log.csv", "/sys/kernel/farm", "/proc/farm"])
def test_the_demo_where_nothing_can_be_written(files: Files, place: str) -> None:
    ran = evenacre("demo", files.folder / place)
    assert ran.code == 2
    assert place in ran.errors()[0]
    assert "evenacre demo FOLDER" in ran.errors()[0]
    assert "Traceback" not in ran.err


# --- faults of the program and interrupts ----------------------------------------------------


@pytest.mark.parametrize(
    "target",
    ["evenacre.workflows.operations.audit_operation", "evenacre.io.writers.results.write_geojson"],
)
def test_a_fault_of_the_program(files: Files, monkeypatch: pytest.MonkeyPatch, target: str) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a gear is missing")

    monkeypatch.setattr(target, broken)
    ran = evenacre("audit", *files.options())
    assert ran.code == 3
    assert ran.out == ""
    assert "Traceback (most recent call last)" in ran.err
    assert 'raise ZeroDivisionError("a gear is missing")' in ran.err
    assert ran.err.splitlines()[-1].startswith("internal error: ZeroDivisionError")
    assert sorted(p.name for p in files.folder.iterdir()) == ["field.geojson", "log.csv"]


@pytest.fixture(scope="module")
def long_season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Work for some seconds."""
    files = write_files(tmp_path_factory.mktemp("long"), small_job(1200.0, (0.1,) * 8))
    return write_season(files, "Spring", "Summer", "Fall")


@pytest.mark.skipif(not LISTED, reason="needs a list of processes")
@pytest.mark.parametrize(
    ("jobs", "workers", "wait_s", "to_all"),
    [(1, 0, 0.3, True), (2, 2, 0.0, True), (2, 2, 1.5, True), (2, 2, 1.5, False)],
)
def test_ctrl_c_midway(
    long_season: Path, jobs: int, workers: int, wait_s: float, to_all: bool
) -> None:
    """A terminal sends it to the whole group; a supervisor may send it to the parent only."""
    home = long_season.parent
    before = sorted(home.iterdir())
    process = Forked("audit", long_season, "--jobs", jobs)
    try:
        wait_for(lambda: bool(list(home.glob(".evenacre-*"))))
        wait_for(lambda: len(children(process.pid)) >= workers)
        time.sleep(wait_s)
        family = children(process.pid)
        assert process.poll() is None
        if to_all:
            os.killpg(process.pid, signal.SIGINT)
        else:
            process.send_signal(signal.SIGINT)
        out, err = process.communicate(20)
    finally:
        process.kill()
    # Python ends by the signal itself if it came while a class was being made; a shell shows
    # 130 either way.
    assert process.returncode in (130, -signal.SIGINT)
    assert out == ""
    assert err == "Stopped. Nothing was written.\n"
    wait_for(lambda: not any(map(alive, family)))
    assert sorted(home.iterdir()) == before


def test_ctrl_c_keeps_the_earlier_result(files: Files, monkeypatch: pytest.MonkeyPatch) -> None:
    assert evenacre("audit", *files.options()).code == 0
    before = (files.out / "summary.json").read_bytes()

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("evenacre.io.writers.results.write_cog", interrupted)
    ran = evenacre("audit", *files.options(width="20 ft"))
    assert ran.code == 130
    assert (files.out / "summary.json").read_bytes() == before
    assert sorted(p.name for p in files.folder.iterdir()) == ["field.geojson", "log.csv", "out"]


def test_it_runs_as_an_installed_command() -> None:
    program = shutil.which("evenacre", path=Path(sys.executable).parent)
    assert program
    done = subprocess.run([program, "--version"], capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (0, f"evenacre {__version__}\n")


def test_an_amount_that_nothing_tells_is_not_called_none(tmp_path: Path) -> None:
    ran = evenacre("audit", *write_files(tmp_path).options(product="rye"))
    assert ran.code == 0, ran.err
    assert "How much rye was put down is not known" in ran.out
    assert "lb of rye" not in ran.out
