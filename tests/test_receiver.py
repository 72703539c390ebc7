"""Receivers judged: simulated ones of every family, logs that tell of themselves, real files."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from jobs import DRILL, Floats
from put_down import MISSOURI, lonlat_of
from simulated_jobs import Driver, Receiver, Simulated, simulate

from evenacre.coverage.audit import audit_operation
from evenacre.coverage.field_plane import plane_for
from evenacre.coverage.legs import follow
from evenacre.coverage.receiver.behaviour import Behaviour
from evenacre.coverage.receiver.judgement import doubtful_m, least_widths_m, tells_gaps
from evenacre.io.common.receiver_words import receiver_said
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.model import Field, Operation, Settings, Track
from evenacre.model.receiver import Receiver as Judged
from evenacre.reports.sentences.audit import card
from evenacre.units.display import unit_system

SHARED = Path(__file__).resolve().parents[2] / "shared" / "data"
STEERED = Driver(steered=True)
FAMILIES = {
    "2 cm": Receiver(white_m=0.02),
    "3 cm": Receiver(drift_m=0.03, within_m=0.01),
    "30 cm": Receiver(drift_m=0.3, within_m=0.05),
    "1.5 m": Receiver(wander_m=1.5, memory_s=180.0, white_m=0.03),
}


def judged(operation: Operation) -> Judged:
    """The judgement alone, without the audit."""
    plane = plane_for(operation.field, operation.tracks)
    return follow(operation, operation.implement, (), plane, None).receiver


def bare(operation: Operation) -> Operation:
    """The same log, of which nothing but positions is left."""
    tracks = tuple(replace(t, working=None, rates={}) for t in operation.tracks)
    return replace(operation, tracks=tracks)


def told(operation: Operation, sigma_m: float) -> Operation:
    """The same log with the quality of its fixes."""
    tracks = tuple(replace(t, sigma_m=np.full(len(t), sigma_m)) for t in operation.tracks)
    return replace(operation, tracks=tracks)


def driven(family: str, seed: int = 1, driver: Driver | None = None) -> Simulated:
    return simulate(seed, FAMILIES[family], driver, length_m=200.0, passes=16)


def steered_passes(job: Simulated) -> tuple[str, dict[str, object]]:
    """What is said of who steered."""
    found = audit_operation(job.operation).findings
    ((code, values),) = ((f.code, dict(f.values)) for f in found if f.code.startswith("steered"))
    return code, values


def test_rounds_driven_by_hand_are_told_from_passes_that_the_machine_steered() -> None:
    by_hand = replace(STEERED, rounds_by_hand_m=0.3)
    for seed in (1, 2, 3):
        for rounds in (1, 2):
            some = {"passes": 14, "rounds": rounds, "length_m": 160.0}
            job = simulate(seed, FAMILIES["30 cm"], by_hand, **some)
            assert judged(job.operation).steered
            told = {"steered": 14, "passes": 14 + 4 * rounds}
            assert steered_passes(job) == ("steered_in_part", told)
            every = simulate(seed, FAMILIES["30 cm"], STEERED, **some)
            assert steered_passes(every) == ("steered", {})


def test_an_antenna_told_to_be_aside_does_not_make_passes_uneven() -> None:
    """Up and down, so few that they are not compared among themselves."""
    drill = replace(DRILL, antenna_left_m=0.3)
    job = simulate(1, FAMILIES["30 cm"], STEERED, drill, passes=8, rounds=1)
    found = judged(job.operation)
    assert found.steered
    assert found.spacing_m < 0.05


@pytest.mark.parametrize(
    ("family", "grade", "least_m", "most_m"),
    [
        ("2 cm", "centimetre", 0.03, 0.09),
        ("3 cm", "centimetre", 0.03, 0.09),
        # Of 15 pairs a standard deviation is known to about a fifth: three times that.
        ("30 cm", "decimetre", 0.12, 0.48),
        ("1.5 m", "metre", 0.6, 3.0),
    ],
)
def test_the_spacing_of_passes_driven_by_hand_tells_the_receiver(
    family: str, grade: str, least_m: float, most_m: float
) -> None:
    for seed in (1, 2, 3):
        operation = driven(family, seed).operation
        for log in (operation, bare(operation)):
            found = judged(log)
            assert found.grade == grade, seed
            assert least_m <= found.pass_m <= most_m, seed
            assert not found.steered
            assert found.looks_like_phone == (grade == "metre")


@pytest.mark.parametrize("family", FAMILIES)
def test_a_machine_that_follows_its_receiver_shows_no_drift_but_is_known(family: str) -> None:
    found = judged(driven(family, driver=STEERED).operation)
    assert found.steered
    assert (found.told_by, found.pass_m) == ("usual", 0.03)
    by_its_fixes = judged(told(driven(family, driver=STEERED).operation, 0.6))
    assert (by_its_fixes.told_by, by_its_fixes.pass_m) == ("quality", 0.6)


def test_what_the_season_states_holds() -> None:
    operation = driven("1.5 m").operation
    stated = replace(operation, settings=Settings(pass_to_pass_m=0.04, within_pass_m=0.01))
    found = judged(told(stated, 2.0))
    assert (found.told_by, found.pass_m, found.within_m) == ("stated", 0.04, 0.01)


def test_nobody_drives_evener_than_the_receiver_tells() -> None:
    operation = driven("3 cm").operation
    found = judged(told(operation, 2.0))
    assert found.told_by == "quality and spacing"
    assert 0.03 <= found.pass_m < 0.15
    # Uneven driving proves nothing against good fixes.
    assert judged(told(driven("30 cm").operation, 0.02)).pass_m == 0.02


def along(x: Floats, y: Floats, step_s: float = 1.0, **more: object) -> Operation:
    """A log of places in the plane."""
    lon, lat = lonlat_of(x, y, MISSOURI)
    track = Track("log.gpx", 1.776e9 + step_s * np.arange(len(x)), lon, lat, **more)  # type: ignore[arg-type]
    return Operation("job", Field("field"), DRILL, (track,))


def test_positions_alone_that_show_nothing_are_a_phones() -> None:
    x = np.arange(0.0, 60.0, 2.0)
    operation = along(x, np.zeros(len(x)))
    found = judged(operation)
    assert (found.told_by, found.grade, found.looks_like_phone) == ("kind of log", "metre", True)
    machine = replace(operation, tracks=(replace(operation.tracks[0], working=x > 5.0),))
    assert (judged(machine).told_by, judged(machine).pass_m) == ("usual", 0.03)


def test_a_log_that_says_what_wrote_it_is_taken_at_its_word_until_shown_better() -> None:
    x = np.arange(0.0, 60.0, 2.0)
    machine = along(x, np.zeros(len(x)), working=x > 5.0)

    def says(operation: Operation, receiver: str) -> Operation:
        return replace(operation, tracks=(replace(operation.tracks[0], receiver=receiver),))

    phone = judged(says(machine, "phone"))
    assert (phone.told_by, phone.pass_m) == ("device", 2.0)
    alone = says(along(x, np.zeros(len(x))), "corrected")
    assert (judged(alone).told_by, judged(alone).pass_m) == ("usual", 0.03)
    # Long straights, and passes side by side, show better.
    assert judged(says(along(np.arange(0.0, 600.0, 2.0), np.zeros(300)), "phone")).pass_m == 0.03
    job = driven("3 cm").operation
    tracks = tuple(replace(t, receiver="phone") for t in job.tracks)
    assert judged(replace(job, tracks=tracks)) == judged(job)
    assert (
        judged(replace(says(machine, "phone"), settings=Settings(pass_to_pass_m=0.1))).pass_m == 0.1
    )


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Field phone track 2.1", "phone"),
        ("MOBILE-GNSS", "phone"),
        ("RTK rover", "corrected"),
        ("phone with RTK", ""),
        ("test", ""),
    ],
)
def test_words_of_receivers(text: str, kind: str) -> None:
    assert receiver_said(text) == kind


def test_files_that_say_what_wrote_them(tmp_path: Path) -> None:
    points = "".join(
        f'<trkpt lat="{40 + i * 1e-5}" lon="-93.5"><time>2026-04-14T12:00:{i:02}Z</time></trkpt>'
        for i in range(20)
    )
    head = '<gpx version="1.1" creator="A phone app" xmlns="http://www.topografix.com/GPX/1/1">'
    log = tmp_path / "log.gpx"
    log.write_text(f"{head}<trk><trkseg>{points}</trkseg></trk></gpx>")
    (track,) = read_tracks(log)
    assert track.receiver == "phone"
    assert any("A phone app" in note for note in track.notes)
    for column, words, kind in (
        ("provider", ("network", "fused"), "phone"),
        ("receiver", ("RTK", "rtk base"), "corrected"),
        ("receiver", ("RTK", "phone"), ""),
        ("remark", ("phone", "phone"), ""),
    ):
        table = tmp_path / "log.csv"
        lines = (
            f"2026-04-14T12:00:{i:02}Z,-93.5,{40 + i * 1e-5},{words[i % 2]}" for i in range(20)
        )
        table.write_text(f"time,lon,lat,{column}\n" + "\n".join(lines) + "\n")
        (track,) = read_tracks(table)
        assert track.receiver == kind
        unused = any(f'"{column}"' in note and "not used" in note for note in track.notes)
        assert unused is not bool(kind)


def test_a_long_straight_way_is_no_phones() -> None:
    x = np.arange(0.0, 600.0, 2.0)
    y = np.random.default_rng(1).normal(0.0, 0.05, len(x)).cumsum() * 0.1
    assert judged(along(x, y)).grade == "centimetre"


def test_creeping_while_the_machine_stands_gives_a_receiver_away() -> None:
    rng = np.random.default_rng(7)
    keep = np.exp(-1 / 90.0)
    drift = np.zeros((2, 600))
    for k in range(1, 600):
        drift[:, k] = keep * drift[:, k - 1] + rng.normal(0, 0.8 * np.sqrt(1 - keep**2), 2)
    stood = np.concatenate([np.zeros(500), np.arange(100) * 1.2])
    crept = judged(along(stood + drift[0], drift[1], working=stood > 0))
    assert crept.told_by == "rest"
    assert 0.3 < crept.creep_m < 1.5
    held = judged(along(stood, np.zeros(600), working=stood > 0))
    assert held.creep_m == pytest.approx(0.0, abs=1e-6)
    assert held.told_by == "usual"


def test_the_memory_of_a_drift_in_closed_form() -> None:
    for memory_s in (90.0, 300.0, 800.0):
        drift_m, spread_m = (
            1.5 * np.sqrt(2 * (1 - np.exp(-lag / memory_s))) for lag in (30.0, 140.0)
        )
        seen = Behaviour(1.0, np.nan, drift_m=drift_m, spread_m=spread_m, apart_s=140.0)
        assert seen.memory_s == pytest.approx(memory_s, rel=0.06)


def test_an_antenna_beside_the_middle_is_not_taken_for_drift() -> None:
    beside = replace(DRILL, antenna_left_m=0.4)
    made = simulate(3, FAMILIES["3 cm"], None, beside, DRILL, length_m=200.0, passes=16)
    assert judged(made.operation).pass_m < 0.1


def test_widths_from_which_skips_are_told() -> None:
    good = judged(driven("2 cm", driver=STEERED).operation)
    assert least_widths_m(good, 6.0, 0.1) == dict.fromkeys(least_widths_m(good, 6.0, 0.1), 0.1)
    last = 0.0
    for pass_m in (0.03, 0.1, 0.3, 0.5, 0.6, 3.0):
        receiver = replace(good, pass_m=pass_m)
        widths = least_widths_m(receiver, 6.0, 0.1)
        assert widths["between passes"] >= max(last, 0.1)
        # Two passes that just meet, each off by so much, leave a gap as wide once in 100 times.
        assert doubtful_m(receiver) > 2.3 * np.sqrt(2) * pass_m
        assert np.isinf(widths["between passes"]) == (not tells_gaps(receiver, 6.0))
        last = widths["between passes"]
    assert widths["unworked"] > 6.0 + 2.3 * np.sqrt(2) * 3.0


def test_a_phones_log_lists_no_place_and_knows_the_ground_driven() -> None:
    made = simulate(5, FAMILIES["1.5 m"], length_m=150.0, passes=12)
    result = audit_operation(made.operation)
    assert not result.tells_places
    assert result.layers["skips"].empty
    codes = [f.code for f in result.findings]
    assert {"phone_by_spacing", "places_not_told"} <= {*codes}
    true_m2 = shapely.area(made.passes).sum()
    assert result.swept_area_m2 == pytest.approx(true_m2, rel=0.01)
    assert result.driven_90_m2 is not None
    low_m2, high_m2 = result.driven_90_m2
    assert low_m2 < true_m2 < high_m2 < 1.02 * low_m2
    for key in ("covered_area_m2", "overlap_area_m2", "excess_area_m2"):
        low_m2, high_m2 = result.interval_90[key]
        assert low_m2 <= getattr(made, key.replace("_area", "")) <= high_m2, key
    low_m2, high_m2 = result.interval_90["skip_area_m2"]
    assert low_m2 <= made.missed_m2 <= high_m2
    # Of positions alone nothing tells whether turns were work.
    by_speed = audit_operation(bare(made.operation)).driven_90_m2
    assert by_speed is not None
    assert by_speed[0] < true_m2 < by_speed[1] < 1.3 * by_speed[0]


@pytest.mark.parametrize("family", ["2 cm", "1.5 m"])
def test_turns_that_nothing_tells_from_work_are_in_every_interval(family: str) -> None:
    made = simulate(5, FAMILIES[family], length_m=150.0, passes=12)
    result = audit_operation(bare(made.operation))
    drawn = audit_operation(made.operation)
    truth = made.areas_m2 | {"swept_area_m2": shapely.area(made.passes).sum()}
    assert result.swept_area_m2 > 1.03 * truth["swept_area_m2"]  # turns count as work
    for key, true_m2 in truth.items():
        low_m2, high_m2 = result.interval_90[key]
        assert low_m2 <= true_m2 <= high_m2, key
    (put,) = result.products
    logged = drawn.products[0].logged_kg
    for key, kg in (("logged_kg", logged), ("applied_in_field_kg", made.applied_in_field_kg)):
        low_kg, high_kg = put.interval_90[key]
        assert low_kg <= kg <= high_kg, key
    said = card(result, unit_system("metric"))
    assert "Turns with the tool up may be among it" in " ".join(text for _, text in said.lines[:4])
    key = "covered_area_m2" if result.tells_places else "swept_area_m2"
    low, high = map(float, re.match(r"([\d.]+) to ([\d.]+) ha", said.headline).groups())  # type: ignore[union-attr]
    assert low - 0.01 < truth[key] / 1e4 < high + 0.01


def test_ground_far_wider_than_the_tool_is_told_by_a_phone() -> None:
    made = simulate(5, FAMILIES["1.5 m"], length_m=150.0, passes=12)
    box = made.operation.field.boundary
    assert box is not None
    west, south, east, north = box.bounds
    wider = shapely.box(west, south, east, north + 0.5 * (north - south))
    field = replace(made.operation.field, boundary=wider)
    skips = audit_operation(replace(made.operation, field=field)).layers["skips"]
    assert skips["kind"].tolist() == ["unworked"]
    (bare_m2,) = skips["area_m2"]
    assert bare_m2 == pytest.approx(shapely.area(made.field) / 2, rel=0.1)


# --- logs that tell how good their fixes are ---------------------------------------------------

N = 12


def table(**columns: object) -> pd.DataFrame:
    when = pd.date_range("2026-04-14T12:00:00Z", periods=N, freq="s").strftime("%Y-%m-%dT%H:%M:%SZ")
    frame = pd.DataFrame({"time": when, "lon": -93.5, "lat": 40 + np.arange(N) * 2e-5})
    return frame.assign(**columns)


@pytest.mark.parametrize(
    ("columns", "sigma_m"),
    [
        ({"fix_quality": 4}, 0.02),
        ({"GPS Quality": 2, "HDOP": 1.5}, 0.6 * 1.5),
        ({"fix quality": 4, "hdop": 0.7}, 0.02),
        ({"Fix Type": "RTK Fixed"}, 0.02),
        ({"fix": "rtk float"}, 0.2),
        ({"gps_status": "DGPS"}, 0.6),
        ({"fix type": "Autonomous"}, 2.0),
        # Rayleigh: 68 % of the errors lie within 1.51 standard deviations of one axis.
        ({"accuracy (m)": 3.0}, 3.0 / 1.5096),
        ({"horizontal accuracy (ft)": 10.0}, 3.048 / 1.5096),
    ],
)
def test_columns_of_quality_dilution_and_accuracy(
    tmp_path: Path, columns: dict[str, object], sigma_m: float
) -> None:
    frame = table(**columns)
    frame.to_csv(tmp_path / "log.csv", index=False)
    geometry = gpd.points_from_xy(frame["lon"], frame["lat"])
    layer = gpd.GeoDataFrame(frame.drop(columns=["lon", "lat"]), geometry=geometry, crs=4326)
    layer.to_file(tmp_path / "log.gpkg", engine="pyogrio")
    for name in ("log.csv", "log.gpkg"):
        (track,) = read_tracks(tmp_path / name)
        assert track.sigma_m == pytest.approx(np.full(N, sigma_m), rel=1e-4), name


@pytest.mark.parametrize(
    "columns",
    [
        {"fix type": 3},  # of a receiver's own numbering
        {"fix": "3d"},  # with corrections or without
        {"accuracy": "high"},
        {"quality": "good"},
        {"hdop": 0.8},
    ],
)
def test_columns_that_do_not_tell_are_left(tmp_path: Path, columns: dict[str, object]) -> None:
    table(**columns).to_csv(tmp_path / "log.csv", index=False)
    (track,) = read_tracks(tmp_path / "log.csv")
    assert track.sigma_m is None


@pytest.mark.parametrize(("hdop", "times"), [(0.8, 1.0), (2.5, 2.5)])
def test_dilution_alone_makes_what_is_taken_for_usual_worse(
    tmp_path: Path, hdop: float, times: float
) -> None:
    table(hdop=hdop, working=1).to_csv(tmp_path / "log.csv", index=False)
    (track,) = read_tracks(tmp_path / "log.csv")
    assert (track.sigma_m, track.dilution) == (None, times)
    x = np.arange(0.0, 60.0, 2.0)
    machine = along(x, np.zeros(len(x)), working=x > 5.0, dilution=times)
    assert judged(machine).pass_m == pytest.approx(0.03 * times)
    stated = replace(machine, settings=Settings(pass_to_pass_m=0.02))
    assert judged(stated).pass_m == 0.02


def test_a_column_of_quality_may_be_named(tmp_path: Path) -> None:
    table(fq=5).to_csv(tmp_path / "log.csv", index=False)
    (track,) = read_tracks(tmp_path / "log.csv", columns={"quality": "fq"})
    assert track.sigma_m == pytest.approx(np.full(N, 0.2))


def test_the_fix_of_a_gpx_point(tmp_path: Path) -> None:
    points = "".join(
        f'<trkpt lat="{40 + i * 2e-5:.7f}" lon="-93.5"><time>2026-04-14T12:00:{i:02d}Z</time>'
        f"<fix>dgps</fix><hdop>2.0</hdop></trkpt>"
        for i in range(N)
    )
    path = tmp_path / "log.gpx"
    path.write_text(
        '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>"
    )
    (track,) = read_tracks(path)
    assert track.sigma_m == pytest.approx(np.full(N, 1.2))


# --- real receivers ------------------------------------------------------------------------------

needs_files = pytest.mark.skipif(not SHARED.exists(), reason="the real files are not here")


def of_file(path: Path, width_m: float) -> Judged:
    implement = replace(DRILL, width_m=width_m)
    return judged(Operation("job", Field("field"), implement, tuple(read_tracks(path))))


@needs_files
@pytest.mark.parametrize("number", range(1, 9))
def test_real_receivers_without_corrections_are_of_metres(number: int) -> None:
    found = of_file(SHARED / "real" / f"receiver_{number}.nmea", 6.0)
    assert found.grade == "metre"
    assert found.told_by in ("quality", "kind of log")


@needs_files
def test_a_real_harvester_repeats_its_rows_within_decimetres() -> None:
    # Rows of a planter are as even as that drove; the receiver is one of 2011, with corrections.
    found = of_file(SHARED / "real_harvest_log.csv", 9.144)
    assert found.pairs > 50
    assert 0.03 <= found.pass_m < 0.3
    assert not found.looks_like_phone
    assert found.written_m == pytest.approx(0.111, abs=0.001)


@needs_files
def test_a_real_steered_machine_is_told_by_its_lines() -> None:
    found = of_file(SHARED / "real" / "simplified.zip", 10.0)
    assert found.steered
    assert found.told_by == "quality"
