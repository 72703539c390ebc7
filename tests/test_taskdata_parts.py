"""Task data as machines leave it: in parts, in odd places, at odds with itself."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
import tasklogs as by_hand
from tasklogs import record, template, v4
from typer.testing import CliRunner

from evenacre.cli.main import app
from evenacre.coverage.audit import audit_operation
from evenacre.errors import InputError
from evenacre.io.cache.fingerprint import files_digest
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.season.from_taskdata import season_from_taskdata
from evenacre.io.season.load_operation import load_operation
from evenacre.io.taskdata.folder import is_taskdata
from evenacre.model import OperationPlan
from evenacre.model.audit_result import AuditResult

REAL = Path(__file__).parents[2] / "shared" / "data" / "real"
M_PER_DEG_LAT = 111_036.6  # on the WGS 84 meridian at 40.1 degrees north
STEPS, STEP_M, WIDTH_M = 400, 0.48, 6.0
WORKED_M2 = (STEPS - 0.5) * STEP_M * WIDTH_M
"""Ground of a pass: on until the last record, so until half a step before it."""
ON = {0: [(0, 1)], STEPS: [(0, 0)]}

Values = dict[int, list[tuple[int, int]]]
Log = tuple[bytes, bytes]


def leg(
    values: Values,
    *,
    first_s: float = 0.0,
    x: float = 0.001,
    y: float = 0.0005,
    each: int = 1,
    steps: range = range(STEPS + 1),
    status: int = 4,
) -> bytes:
    """A pass to the north at 2.4 m/s and 5 Hz, or each so many of its records."""
    return b"".join(
        record(first_s + k / 5, x, y + k * STEP_M / M_PER_DEG_LAT, values.get(k, ()), status=status)
        for k in steps
        if k % each == 0 or k in values
    )


def task(number: int, logs: Sequence[str], field: str | None = "PFD1", name: str = "") -> object:
    return v4.Task(
        id=f"TSK{number}",
        designator=name or f"Job {number}",
        partfield_id_ref=field,
        status=v4.TaskStatus("4"),
        time_logs=[v4.TimeLog(filename=log, type=1) for log in logs],
    )


def field(number: int, x: float = 0.0, *, bare: bool = False) -> object:
    corners = [(x + east, north) for east, north in by_hand.FIELD]
    return v4.Partfield(
        id=f"PFD{number}",
        designator=f"Field {number}",
        area=1,
        polygons=[] if bare else [by_hand.polygon(v4, corners)],
    )


def farm(
    path: Path,
    logs: dict[str, Log],
    *,
    tasks: Sequence[object] | None = None,
    fields: Sequence[object] | None = None,
    widths_mm: Sequence[int] = (3000, 3000),
    devices: Sequence[object] | None = None,
) -> Path:
    data = by_hand.root(
        v4,
        devices=[by_hand.drill(v4, widths_mm)] if devices is None else devices,
        partfields=[field(1)] if fields is None else fields,
        tasks=[task(1, list(logs))] if tasks is None else tasks,
    )
    return by_hand.write(path, data, logs)


def only(path: Path) -> tuple[OperationPlan, AuditResult]:
    (plan,) = season_from_taskdata(path).operations
    return plan, audit_operation(load_operation(plan))


def warned(plan: OperationPlan) -> str:
    operation = load_operation(plan)
    return "\n".join([*operation.warnings, *(w for t in operation.tracks for w in t.warnings)])


WORK = [(141, "DET-2")]
PLAIN: dict[str, Log] = {"TLG00001": (template(WORK), leg(ON))}


# --- where it lies -------------------------------------------------------------------------------


def deep_zip(path: Path, inner: dict[str, Path]) -> Path:
    """Put the members of zips into folders of one, and zips of them into it whole."""
    with zipfile.ZipFile(path, "w") as out:
        for place, source in inner.items():
            if place.endswith(".zip"):
                out.write(source, place)
                continue
            with zipfile.ZipFile(source) as archive:
                for name in archive.namelist():
                    out.writestr(f"{place}/{Path(name).name}", archive.read(name))
        out.writestr("notes/readme.txt", "beside it")
    return path


def test_task_data_is_found_however_deep_and_in_zips_within(tmp_path: Path) -> None:
    one = farm(tmp_path / "one.zip", PLAIN)
    other = farm(tmp_path / "other.zip", {"TLG00001": (template(WORK), leg(ON, x=0.003))})
    within = deep_zip(tmp_path / "within.zip", {"a b/_/c/d/e/TASKDATA": other})
    path = deep_zip(tmp_path / "stick.zip", {"w/x/y/z/TASKDATA": one, "old/within.zip": within})
    season = season_from_taskdata(path)
    assert [plan.layer for plan in season.operations] == [
        "w/x/y/z/TASKDATA/TSK1",
        "old/within.zip/a b/_/c/d/e/TASKDATA/TSK1",
    ]
    assert len({plan.name for plan in season.operations}) == 2
    for plan, east in zip(season.operations, (0.001, 0.003), strict=True):
        operation = load_operation(plan)
        assert operation.tracks[0].lon.mean() == pytest.approx(by_hand.LON0 + east, abs=1e-6)
        assert audit_operation(operation).covered_area_m2 == pytest.approx(WORKED_M2, rel=2e-3)
    folder = tmp_path / "stick"
    with zipfile.ZipFile(path) as archive:
        archive.extractall(folder)
    assert is_taskdata(folder)
    assert len(season_from_taskdata(folder).operations) == 2
    before = files_digest([folder])
    (folder / "w/x/y/z/TASKDATA/TLG00001.BIN").write_bytes(leg(ON, x=0.002))
    assert files_digest([folder]) != before


def test_a_set_that_is_there_twice_is_read_once(tmp_path: Path) -> None:
    one = farm(tmp_path / "one.zip", PLAIN)
    path = deep_zip(tmp_path / "twice.zip", {"TASKDATA": one, "copy/TASKDATA": one})
    season = season_from_taskdata(path)
    assert len(season.operations) == 1
    assert any("the same as" in warning for warning in season.warnings)


def test_a_damaged_set_is_named_and_the_others_are_read(tmp_path: Path) -> None:
    one = farm(tmp_path / "one.zip", PLAIN)
    path = deep_zip(tmp_path / "both.zip", {"TASKDATA": one})
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("broken/TASKDATA.XML", by_hand.unsafe_root()[:-9])
        archive.writestr("broken.zip", b"PK\x03\x04 and no more")
    season = season_from_taskdata(path)
    assert len(season.operations) == 1
    assert any("both.zip, broken" in w and "damaged" in w for w in season.warnings)
    assert any("broken.zip" in w and "left out" in w for w in season.warnings)


def test_zips_within_zips_keep_the_guards(tmp_path: Path) -> None:
    """What is hostile within is not unpacked; alone it is refused as if it were not within."""
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("TASKDATA/TASKDATA.XML", by_hand.unsafe_root())
        archive.writestr("TASKDATA/TLG00001.BIN", bytes(8 << 20))
    path = deep_zip(tmp_path / "outer.zip", {"inner.zip": bomb})
    with pytest.raises(InputError, match="bomb"):
        season_from_taskdata(path)


@pytest.mark.parametrize(
    "root",
    [
        '<ISO11783_TaskData VersionMajor="0" VersionMinor="0"',
        "<ISO11783_TaskData",
        '<ISO11783_TaskData xmlns="urn:anything" VersionMajor="4"',
    ],
)
def test_a_version_that_tells_nothing_is_no_matter(tmp_path: Path, root: str) -> None:
    plain = farm(tmp_path / "TASKDATA", PLAIN) / "TASKDATA.XML"
    text = plain.read_text()
    start, end = text.index("<ISO11783_TaskData"), text.index(">", text.index("<ISO11783_TaskData"))
    plain.write_text(f"{text[:start]}{root}{text[end:]}")
    season = season_from_taskdata(tmp_path / "TASKDATA")
    assert len(season.operations) == 1
    assert not any("version" in warning for warning in warned(season.operations[0]).splitlines())


# --- positions -----------------------------------------------------------------------------------


@pytest.mark.parametrize("status", [0, 14, 15])
def test_positions_that_move_are_used_whatever_is_said_of_them(tmp_path: Path, status: int) -> None:
    logs = {"TLG00001": (template(WORK), leg(ON, status=status))}
    plan, result = only(farm(tmp_path / "f.zip", logs))
    assert result.covered_area_m2 == pytest.approx(WORKED_M2, rel=2e-3)
    assert ("they move along" in warned(plan)) == (status != 15)


# --- tasks that lack something -------------------------------------------------------------------


def test_tasks_that_cannot_be_audited_are_named_and_the_others_are_audited(tmp_path: Path) -> None:
    logs = {
        **PLAIN,
        "TLG00002": (template(WORK), leg({0: [(0, 0)]})),
        "TLG00003": (b"<TIM", leg(ON)),
        "TLG00004": (template([(141, "DET-77")]), leg(ON)),
    }
    tasks = [task(n, [f"TLG0000{n}"]) for n in (1, 2, 3, 4)]
    # With two machines the one of a log that names none is not known.
    two = [by_hand.drill(v4, (3000, 3000)), by_hand.drill(v4, (4000, 4000))]
    two[1].id = "DVC-2"
    for element in two[1].elements:
        element.id = element.id.replace("DET-", "DET-5")
    path = farm(tmp_path / "f.zip", logs, tasks=[*tasks, task(5, []), task(6, [])], devices=two)
    season = season_from_taskdata(path)
    assert [plan.layer for plan in season.operations] == ["TSK1"]
    said = "\n".join(season.warnings)
    for name, why in [
        ('task "Job 2"', "show no work"),
        ('task "Job 3"', "damaged"),
        ('task "Job 4"', "--width"),
        ('2 tasks ("Job 5", "Job 6")', "no log"),
    ]:
        (line,) = (warning for warning in season.warnings if name in warning)
        assert why in line, said
    with pytest.raises(InputError) as caught:
        season_from_taskdata(path, tasks=["TSK2", "Job 3"])
    assert "show no work" in str(caught.value)
    assert "damaged" in str(caught.value)


def test_tasks_are_chosen_at_the_command_line(tmp_path: Path) -> None:
    logs = {f"TLG0000{n}": (template(WORK), leg(ON, x=0.001 * n)) for n in (1, 2, 3)}
    path = farm(tmp_path / "f.zip", logs, tasks=[task(n, [f"TLG0000{n}"]) for n in (1, 2, 3)])
    call = ["audit", str(path), "--json", "--jobs", "1"]
    run = CliRunner().invoke(app, [*call, "--task", "TSK1", "--task", "Job 3"])
    assert run.exit_code == 0, run.output
    assert [o["operation"] for o in json.loads(run.stdout)["operations"]] == ["Job 1", "Job 3"]
    run = CliRunner().invoke(app, [*call, "--task", "Job 7"])
    assert run.exit_code == 2
    assert "Job 7" in run.stderr


# --- fields --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("named", "bare", "fields", "taken"),
    [
        (None, False, (0.0,), "Field 1"),  # names none, and lies in one
        ("PFD1", False, (0.01, 0.0), "Field 2"),  # names one elsewhere, and lies in another
        ("PFD1", True, (0.0,), None),  # names one without a boundary
        ("PFD1", False, (0.01,), None),  # names one elsewhere
        (None, False, (), None),
    ],
)
def test_the_field_is_where_the_work_is(
    tmp_path: Path, named: str | None, bare: bool, fields: tuple[float, ...], taken: str | None
) -> None:
    path = farm(
        tmp_path / "f.zip",
        PLAIN,
        tasks=[task(1, ["TLG00001"], named)],
        fields=[field(n, x, bare=bare) for n, x in enumerate(fields, 1)],
    )
    plan, result = only(path)
    assert result.covered_area_m2 == pytest.approx(WORKED_M2, rel=2e-3)
    assert result.boundary_given == (taken is not None)
    if taken:
        assert result.field == taken
    assert ("boundary is drawn" in warned(plan)) == (taken is None)


# --- widths --------------------------------------------------------------------------------------


def without_widths(widths_mm: Sequence[int]) -> object:
    """A drill that describes its sections and leaves their widths to the log."""
    device = by_hand.drill(v4, widths_mm)
    device.properties = [p for p in device.properties if bytes(p.ddi) != by_hand.ddi(67)]
    return device


def test_widths_of_sections_are_taken_from_the_log(tmp_path: Path) -> None:
    columns = [*WORK, (67, "DET-10"), (67, "DET-11"), (135, "DET-10"), (135, "DET-11")]
    values = {**ON, 0: [(0, 1), (1, 2000), (2, 4000), (3, -2000), (4, 1000)]}
    logs = {"TLG00001": (template(columns), leg(values))}
    path = farm(tmp_path / "f.zip", logs, devices=[without_widths((2000, 4000))])
    plan, result = only(path)
    assert plan.implement.width_m == pytest.approx(6.0)
    assert plan.implement.section_rows[1] == 2 * plan.implement.section_rows[0]
    assert result.covered_area_m2 == pytest.approx(WORKED_M2, rel=2e-3)


def test_the_only_machine_with_a_width_is_the_one_that_worked(tmp_path: Path) -> None:
    logs = {"TLG00001": (template([(141, "DET-77")]), leg(ON))}
    plan, result = only(farm(tmp_path / "f.zip", logs))
    assert plan.implement.width_m == pytest.approx(6.0)
    assert result.covered_area_m2 == pytest.approx(WORKED_M2, rel=2e-3)


# --- states --------------------------------------------------------------------------------------


@pytest.mark.parametrize("told", [(0, 1), (0b0101, 0)])
def test_a_state_that_is_never_on_does_not_silence_one_that_is(
    tmp_path: Path, told: tuple[int, int]
) -> None:
    sections, work = told
    columns = [(161, "DET-2"), (141, "DET-2")]
    values = {0: [(0, sections), (1, work)], STEPS: [(0, 0), (1, 0)]}
    plan, result = only(farm(tmp_path / "f.zip", {"TLG00001": (template(columns), leg(values))}))
    assert result.covered_area_m2 == pytest.approx(WORKED_M2, rel=2e-3)
    assert "off" in warned(plan)


def test_a_width_of_nothing_does_not_silence_a_state_that_is_on(tmp_path: Path) -> None:
    columns = [*WORK, (67, "DET-2")]
    logs = {"TLG00001": (template(columns), leg({**ON, 0: [(0, 1), (1, 0)]}))}
    plan, result = only(farm(tmp_path / "f.zip", logs))
    assert result.covered_area_m2 == pytest.approx(WORKED_M2, rel=2e-3)
    assert "width is logged as none" in warned(plan)


def test_counters_that_rise_while_nothing_is_on_tell_of_the_work(tmp_path: Path) -> None:
    """A third of the way without work, then 2.88 m2 with each step of 0.48 m."""
    begin = STEPS // 3
    values: Values = {0: [(0, 0), (1, 500)]}
    for k in range(begin, STEPS + 1, 5):
        values[k] = [(1, 500 + round((k - begin) * STEP_M * WIDTH_M))]
    columns = [*WORK, (116, "DET-2")]
    plan, result = only(farm(tmp_path / "f.zip", {"TLG00001": (template(columns), leg(values))}))
    done = (STEPS - begin) * STEP_M * WIDTH_M
    assert result.covered_area_m2 == pytest.approx(done, rel=0.05)
    assert "its counters rise" in warned(plan)


def test_a_rate_that_comes_and_goes_while_nothing_is_on_tells_of_the_work(tmp_path: Path) -> None:
    values = {0: [(0, 0), (1, 0)], 100: [(1, 15_000)], 300: [(1, 0)]}
    columns = [*WORK, (7, "DET-3")]
    plan, result = only(farm(tmp_path / "f.zip", {"TLG00001": (template(columns), leg(values))}))
    assert result.covered_area_m2 == pytest.approx(200 * STEP_M * WIDTH_M, rel=0.006)
    assert "rates are above zero in 200 records" in warned(plan)


def test_what_a_counter_counted_that_no_log_tells_is_told(tmp_path: Path) -> None:
    path = farm(tmp_path / "TASKDATA", PLAIN)
    text = (path / "TASKDATA.XML").read_text()
    counter = '<TIM A="2026-04-14T13:00:00" D="4"><DLV A="0074" B="40000" C="DET-2"/></TIM><TLG '
    (path / "TASKDATA.XML").write_text(text.replace("<TLG ", counter, 1))
    (plan,) = season_from_taskdata(path).operations
    assert "counter of area" in warned(plan)


@pytest.mark.parametrize("minutes", [1, 20])
def test_work_of_which_no_log_is_there_is_told(tmp_path: Path, minutes: int) -> None:
    """What two stretches share is not added up."""
    path = farm(tmp_path / "TASKDATA", PLAIN)
    text = (path / "TASKDATA.XML").read_text()
    until = f"2026-04-14T13:{minutes:02d}:00"
    times = f'<TIM A="2026-04-14T13:00:00" B="{until}" D="4"/>' * 2
    (path / "TASKDATA.XML").write_text(text.replace("<TLG ", times + "<TLG ", 1))
    (plan,) = season_from_taskdata(path).operations
    said = f"at work for {minutes:.1f} min by its own account, but its logs last"
    assert (said in warned(plan)) == (minutes == 20)


# --- logs in parts -------------------------------------------------------------------------------

Parts = Callable[[], dict[str, Log]]


def interleaved() -> dict[str, Log]:
    """Positions in one log, states of the same drive in another, between its records."""
    states = b"".join(
        record(k / 5 + 0.1, 0.001, 0.0005 + (k + 0.5) * STEP_M / M_PER_DEG_LAT, values)
        for k, values in {0: [(0, 0)], 100: [(0, 1)], 300: [(0, 0)], STEPS - 1: []}.items()
    )
    return {"TLG00001": (template([(5, "")]), leg({})), "TLG00002": (template(WORK), states)}


def repeated() -> dict[str, Log]:
    """The same positions in both, two hours apart by their clocks."""
    values = {0: [(0, 0)], 100: [(0, 1)], 300: [(0, 0)]}
    states = leg(values, first_s=7200.0, each=4)
    return {"TLG00001": (template([(5, "")]), leg({})), "TLG00002": (template(WORK), states)}


def one_after_another() -> dict[str, Log]:
    """The second file begins a record after the first ends, and no state changes in it."""
    first = leg({0: [(0, 0)], 200: [(0, 1)]}, steps=range(300))
    return {
        "TLG00001": (template(WORK), first),
        "TLG00002": (template([(5, "")]), leg({}, steps=range(300, STEPS + 1))),
    }


@pytest.mark.parametrize("parts", [interleaved, repeated, one_after_another])
def test_logs_that_tell_of_one_drive_in_parts_are_one(tmp_path: Path, parts: Parts) -> None:
    plan, result = only(farm(tmp_path / "f.zip", parts()))
    (track,) = load_operation(plan).tracks
    assert len(track) == STEPS + 1
    assert np.diff(track.time_s) == pytest.approx(np.full(STEPS, 0.2), abs=1e-5)
    assert any("TLG00001 and TLG00002 tell of one drive" in note for note in track.notes)
    assert result.covered_area_m2 == pytest.approx(200 * STEP_M * WIDTH_M, rel=0.006)
    assert result.excess_area_m2 == pytest.approx(0.0, abs=1.0)


def test_states_without_positions_belong_to_the_positions_of_their_time(tmp_path: Path) -> None:
    nowhere = b"".join(
        record(k / 5, -by_hand.LON0, -by_hand.LAT0, values)  # at (0, 0), which is none
        for k, values in {0: [(0, 0)], 100: [(0, 1)], 300: [(0, 0)], STEPS: []}.items()
    )
    logs = {"TLG00001": (template([(5, "")]), leg({})), "TLG00002": (template(WORK), nowhere)}
    _, result = only(farm(tmp_path / "f.zip", logs))
    assert result.covered_area_m2 == pytest.approx(200 * STEP_M * WIDTH_M, rel=0.006)
    with pytest.raises(InputError, match="no time log with positions"):
        season_from_taskdata(
            farm(
                tmp_path / "g.zip", {n: (template(WORK), nowhere) for n in ("TLG00001", "TLG00002")}
            )
        )


def test_two_machines_at_work_at_one_time_stay_two(tmp_path: Path) -> None:
    logs = {f"TLG0000{n}": (template(WORK), leg(ON, x=0.001 * n)) for n in (1, 2)}
    plan, result = only(farm(tmp_path / "f.zip", logs))
    assert [track.machine for track in load_operation(plan).tracks] == [*logs]
    assert result.covered_area_m2 == pytest.approx(2 * WORKED_M2, rel=2e-3)


def test_a_log_without_a_word_of_work_among_others_is_driven_without(tmp_path: Path) -> None:
    logs = {
        **PLAIN,
        "TLG00002": (template([(5, "")]), leg({}, first_s=900.0, x=0.003)),
    }
    plan, result = only(farm(tmp_path / "f.zip", logs))
    assert result.covered_area_m2 == pytest.approx(WORKED_M2, rel=2e-3)
    assert "TLG00002 tells of no work" in warned(plan)


def test_what_several_logs_say_is_said_once(tmp_path: Path) -> None:
    columns = [*WORK, (1, "DET-3")]
    logs = {
        f"TLG0000{n}": (
            template(columns),
            leg({**ON, 0: [(0, 1), (1, 9)]}, first_s=300.0 * n, x=0.001 * n),
        )
        for n in (1, 2, 3)
    }
    (plan,) = season_from_taskdata(farm(tmp_path / "f.zip", logs)).operations
    (line,) = (line for line in warned(plan).splitlines() if "volume wanted" in line)
    assert "so in 3 of 3 logs" in line


def test_rates_of_all_sections_are_truer_than_the_rate_of_the_whole(tmp_path: Path) -> None:
    columns = [(161, "DET-2"), (7, "DET-2"), (7, "DET-10"), (7, "DET-11")]
    values = {0: [(0, 0b0101), (1, 22_000), (2, 10_000), (3, 20_000)], STEPS: [(0, 0)]}
    path = farm(tmp_path / "f.zip", {"TLG00001": (template(columns), leg(values))})
    (track,) = read_tracks(path)
    assert track.rates[""][0] == pytest.approx(0.015)


# --- real files ----------------------------------------------------------------------------------

real = pytest.mark.skipif(not REAL.is_dir(), reason="no real files here")
"""Areas beside them were worked out apart from Evenacre, record by record with struct: the way
driven while on by the width that was on, and the masses of the rates of the sections."""


@real
@pytest.mark.parametrize(
    ("name", "worked_m2"),
    [
        ("several_tasks.zip", {"TSK-3": 8104, "TSK-14": 1705, "TSK-22": 18_234}),
        ("simplified.zip", {"TSK1": 82_675, "TSK2": 65_135}),
    ],
)
def test_real_files_give_their_figures(name: str, worked_m2: dict[str, float]) -> None:
    season = season_from_taskdata(REAL / name)
    plans = {plan.layer: plan for plan in season.operations}
    for layer, worked in worked_m2.items():
        result = audit_operation(load_operation(plans[layer]))
        total = result.covered_area_m2 + result.excess_area_m2 + result.outside_area_m2
        # Turns with the outer sections on sweep more than the way of the middle says.
        assert total == pytest.approx(worked, rel=0.03), layer


@real
def test_real_masses_are_those_of_the_records_and_the_counter() -> None:
    season = season_from_taskdata(REAL / "several_tasks.zip", tasks=["TSK-3"])
    (product,) = audit_operation(load_operation(season.operations[0])).products
    assert product.logged_kg == pytest.approx(151.5, rel=0.01)
    assert product.logged_kg == pytest.approx(154.0, rel=0.02)


@real
def test_real_tasks_without_work_are_named(tmp_path: Path) -> None:
    season = season_from_taskdata(REAL / "several_tasks.zip")
    assert len(season.operations) == 4
    assert any("11 tasks" in w and "show no work" in w for w in season.warnings)
    assert any("12 tasks" in w and "no log" in w for w in season.warnings)
    with pytest.raises(InputError, match="show no work"):
        season_from_taskdata(REAL / "totals.zip")
    (plan,) = season_from_taskdata(REAL / "nested_folders.zip").operations
    # 160.7 m of way, of which that on, times the sections that were on of six.
    assert audit_operation(load_operation(plan)).covered_area_m2 == pytest.approx(277.0, rel=0.02)
