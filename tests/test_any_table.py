"""Tables as cabs and offices write them: any names, times, encodings, with names or without."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest
from complaints import complaint

from evenacre.errors import InputError
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.tables.headers import read_header
from evenacre.model import Track

N = 90
TIMES = pd.date_range("2019-05-05T04:19:04", periods=N, freq="s")
SECONDS = 1557029944.0 + np.arange(N)
LON, LAT = np.linspace(-92.409, -92.407, N).round(7), np.linspace(40.105, 40.1051, N).round(7)
DAYS = (TIMES - pd.Timestamp("1899-12-30")) / pd.Timedelta(days=1)


def table(path: Path, columns: dict[str, object], **how: object) -> Path:
    pd.DataFrame(columns).to_csv(path, index=False, **how)
    return path


def read(path: Path, **how: object) -> Track:
    (track,) = read_tracks(path, **how)  # type: ignore[arg-type]
    assert np.allclose(track.lon, LON, atol=1e-8)
    assert np.allclose(track.lat, LAT, atol=1e-8)
    return track


PLACE = {"lon": LON, "lat": LAT}


@pytest.mark.parametrize(
    "names",
    [
        ("TIMESTAMPS", "LONGITUDES", "LATITUDES"),
        ("stamp", "lngtd", "lttd"),
        ("when", "LONGITUDES", "LATITUDES"),
        ("moment_x", "LONGITUDES", "LATITUDES"),  # neither x nor a name of times: by its values
        ("gps_tim", "lon", "lat"),
        ("OBSTIME", "Long", "Lat"),
        ("GPSTIMESTA", "LONGITUDE", "LATITUDE"),
        ("Zeitstempel", "Längengrad", "Breitengrad"),
        ("Horodatage", "Longitude", "Latitude"),
        ("Hora", "Longitud", "Latitud"),
    ],
)
def test_times_and_places_by_name(tmp_path: Path, names: tuple[str, str, str]) -> None:
    columns = dict(zip(names, (TIMES.strftime("%Y-%m-%dT%H:%M:%SZ"), LON, LAT), strict=True))
    assert read(table(tmp_path / "log.csv", columns)).time_s == pytest.approx(SECONDS)


@pytest.mark.parametrize(
    ("name", "full"),
    [
        *(("APPLIEDRATE", "applied_rate"), ("APPLIEDRAT", "applied_rate")),
        *(("rate_appld", "rate_applied"), ("TARGETRATE", "target_rate")),
        *(("swth_w_", "swath_w"), ("hdng_dg", "heading_dg"), ("SWATHWIDTH", "swath_width")),
        *(("flw_lbs", "flow_lbs"), ("utm_zon", "utm_zone"), ("MACHINEID", "machine_id")),
        *(("Geschwindigkeit", "speed"), ("vitesse", "speed"), ("Arbeitsbreite", "width")),
        *(("VEHICLSPEED", "vehicle_speed"), ("DISTANCETR", "distance_tr")),
        *(("Sollmenge", "target_rate"), ("dosis_aplicada", "rate_applied")),
        # Nothing is made of what may be several things, or is something else.
        *(("overlap", "overlap"), ("station_id", "station_id")),
        *(("sta", "sta"), ("mst", "mst"), ("elev", "elev"), ("moistur", "moistur")),
    ],
)
def test_what_names_mean(name: str, full: str) -> None:
    assert read_header(name).full == full


@pytest.mark.parametrize(
    "times",
    [
        {"gps_tim": DAYS},
        {"when": TIMES.strftime("%Y%m%d%H%M%S"), "timestamp": TIMES.strftime("%Y%m%d%H%M%S")},
        {"time": TIMES.strftime("%Y%m%dT%H%M%SZ")},
        {"time": (SECONDS * 1000).astype(np.int64)},
        {"DATE": TIMES.strftime("%Y%m%d"), "GPSTIME": TIMES.strftime("%H%M%S")},
        {"DATUM": TIMES.strftime("%d.%m.%Y"), "UHRZEIT": TIMES.strftime("%H:%M:%S")},
        {"date": np.floor(DAYS).astype(int), "time": DAYS % 1},
        {"date": np.floor(DAYS).astype(int), "time": TIMES.strftime("%H:%M:%S")},
        {
            "Year": TIMES.year,
            "Month": TIMES.month,
            "Day": TIMES.day,
            "Hour": TIMES.hour,
            "Minute": TIMES.minute,
            "Second": TIMES.second,
        },
        {
            "ANNEE": TIMES.year,
            "MOIS": TIMES.month,
            "JOUR": TIMES.day,
            "heure": TIMES.strftime("%H:%M:%S"),
        },
    ],
)
def test_times_however_they_are_kept(tmp_path: Path, times: dict[str, object]) -> None:
    track = read(table(tmp_path / "log.csv", times | PLACE))
    assert track.time_s == pytest.approx(SECONDS, abs=0.01)


def test_a_time_of_day_in_digits_and_a_count_of_seconds(tmp_path: Path) -> None:
    clock = pd.date_range("2019-05-05T14:19:04", periods=600, freq="s")
    place = {"lon": np.linspace(-92.41, -92.40, 600), "lat": [40.1] * 600}
    digits = table(tmp_path / "a.csv", {"utc": clock.strftime("%H%M%S")} | place)
    (track,) = read_tracks(digits)
    assert np.diff(track.time_s) == pytest.approx(1.0)
    count = table(tmp_path / "b.csv", {"time": np.arange(141904, 142504)} | place)
    (track,) = read_tracks(count)
    assert np.diff(track.time_s) == pytest.approx(1.0)


def test_days_of_a_spreadsheet_out_of_order(tmp_path: Path) -> None:
    order = np.random.default_rng(1).permutation(N)
    path = table(tmp_path / "log.csv", {"t": DAYS[order], "lon": LON[order], "lat": LAT[order]})
    (track,) = read_tracks(path, columns={"time": "t"})
    assert track.time_s == pytest.approx(SECONDS[order], abs=0.01)


def test_two_columns_that_may_be_the_time_are_asked_about(tmp_path: Path) -> None:
    path = table(tmp_path / "log.csv", {"obstime": SECONDS, "logtimes": SECONDS + 18} | PLACE)
    said = complaint(path)
    assert '"obstime", "logtimes" may each be the time' in said
    assert "--column 'time=obstime'" in said
    assert read(path, columns={"time": "logtimes"}).time_s == pytest.approx(SECONDS + 18)


def test_coordinates_in_a_zone_that_a_column_tells(tmp_path: Path) -> None:
    to_utm = pyproj.Transformer.from_crs(4326, 32615, always_xy=True)
    x, y = to_utm.transform(LON, LAT)
    path = table(tmp_path / "log.csv", {"stamp": SECONDS, "utm_x": x, "utm_y": y, "utm_zon": 15})
    assert any("zone 15 north" in text for text in read(path).warnings)
    path = table(tmp_path / "log.csv", {"stamp": SECONDS, "utm_x": x, "utm_y": y, "zone": "15S"})
    assert "coordinate system" in complaint(path)


@pytest.mark.parametrize(
    ("names", "values", "metres"),
    [
        (("swth_w_", "dist_in"), 480, 12.192),
        (("swth_w_", "dist_in"), 120, 3.048),  # as the distances are in inches
        (("swath", "note"), 360, 9.144),
        (("swath", "v_kmh"), 360, 3.60),  # all else is metric
        (("swath", "note"), 9000, 9.0),  # millimetres
        (("width", "distance_m"), 12, 12.0),
        (("width", "dist_ft"), 40, 12.192),
        (("width", "note"), 40, None),  # feet, or metres of a boom
    ],
)
def test_the_unit_of_a_width(
    tmp_path: Path, names: tuple[str, str], values: float, metres: float | None
) -> None:
    columns = {"time": SECONDS, names[0]: values, names[1]: 1.0} | PLACE
    columns[names[0]] = np.where(np.arange(N) < 3, 0, values)
    track = read(table(tmp_path / "log.csv", columns))
    if metres is None:
        assert track.width_m is None
        assert any(f"--column 'width={names[0]} [ft]'" in text for text in track.warnings)
    else:
        assert track.width_m is not None
        assert track.width_m.max() == pytest.approx(metres)
        assert track.width_m.min() == 0
        # Where only the other column parts feet from metres, or inches from less, it is a warning.
        told = track.warnings if names[0] == "width" or metres == 3.60 else track.notes
        assert any("has no unit" in text for text in told)


@pytest.mark.parametrize(
    ("name", "si"),
    [("flw_lbs", 0.45359237), ("flow_kgs", 1.0), ("GrainFlow_lb_s", 0.45359237)],
)
def test_a_flow_whose_unit_lost_its_stroke(tmp_path: Path, name: str, si: float) -> None:
    track = read(table(tmp_path / "log.csv", {"time": SECONDS, name: 2.0} | PLACE))
    assert track.flows[""] == pytest.approx(2.0 * si)


@pytest.mark.parametrize("name", ["fuel_rate", "ControlRate", "Sollmenge", "total_yield"])
def test_what_is_no_rate_of_a_product_is_not_asked_for(tmp_path: Path, name: str) -> None:
    track = read(table(tmp_path / "log.csv", {"time": SECONDS, name: 150.0} | PLACE))
    assert track.warnings == ()


@pytest.mark.parametrize("name", ["APPLIEDRATE", "APPLIED_RA", "rate_appld", "Aufwandmenge"])
def test_a_rate_without_a_unit_is_asked_for(tmp_path: Path, name: str) -> None:
    track = read(table(tmp_path / "log.csv", {"time": SECONDS, name: 150.0} | PLACE))
    assert any(f"--column 'rate={name} [lb/ac]'" in text for text in track.warnings)


def test_names_that_stand_in_every_record(tmp_path: Path) -> None:
    columns = {
        "time": SECONDS,
        "field": "Creek",
        "crop": "corn",
        "product": ["a"] * 45 + ["b"] * 45,
    }
    track = read(table(tmp_path / "log.csv", columns | PLACE))
    assert track.named == {"field": "Creek", "crop": "corn"}
    assert any('names the field "Creek", crop "corn"' in text for text in track.notes)


BARE = {"t": TIMES.strftime("%Y-%m-%dT%H:%M:%SZ"), "x": LON, "y": LAT, "on": "on", "v": 5.125}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_a_table_without_names_whose_values_tell(tmp_path: Path, encoding: str) -> None:
    path = table(tmp_path / "log.csv", BARE, header=False, encoding=encoding)
    track = read(path)
    assert len(track) == N
    assert track.time_s == pytest.approx(SECONDS)
    assert sum("because of its values" in text for text in track.notes) == 3


def test_a_table_without_names_is_shown_and_asked_about(tmp_path: Path) -> None:
    path = table(tmp_path / "log.csv", BARE | {"x": (LON + 100).round(7)}, header=False)
    said = complaint(path)
    assert "(line 1) 1: 2019-05-05T04:19:04Z, 2: 7.591" in said
    assert "--column lon=2 --column lat=3 --column time=1" in said
    (track,) = read_tracks(path, columns={"lon": "2", "lat": "3", "work": "4"})
    assert np.allclose(track.lon, LON + 100)
    assert track.working is not None
    assert track.working.all()
    assert "line 1" in complaint(path, columns={"lon": "2", "lat": "5", "time": "4"})


def test_a_column_may_be_named_by_its_number(tmp_path: Path) -> None:
    path = table(tmp_path / "log.csv", {"a": SECONDS, "b": LON, "c": LAT})
    assert read(path, columns={"time": "1", "lon": "2", "lat": "3"}).time_s[0] == SECONDS[0]
    path = table(tmp_path / "log.csv", {"3": SECONDS, "b": LON, "c": LAT})
    assert read(path, columns={"time": "3", "lon": "2", "lat": "c"}).time_s[0] == SECONDS[0]


def test_windows_text(tmp_path: Path) -> None:
    columns = {"time": SECONDS, "field": "Bäckers € Höhe"} | PLACE
    path = table(tmp_path / "log.csv", columns, encoding="cp1252")
    assert read(path).named == {"field": "Bäckers € Höhe"}


def test_points_without_times_in_the_order_of_a_drive(tmp_path: Path) -> None:
    turns = np.concatenate([LON, LON[::-1], LON]), np.repeat(LAT[0] + [0, 1e-4, 2e-4], N)
    path = table(tmp_path / "log.csv", {"lon": turns[0], "lat": turns[1]})
    (track,) = read_tracks(path)
    assert not track.timed
    assert (np.diff(track.time_s) > 0).all()
    assert any("holds no times" in text for text in track.warnings)
    rng = np.random.default_rng(1)
    place = {"lon": rng.uniform(0, 0.001, 3 * N), "lat": rng.uniform(0, 0.001, 3 * N)}
    said = complaint(table(tmp_path / "log.csv", place))
    assert "Nor are they in the order of a drive" in said
    assert "Export the log again with its times" in said


@pytest.mark.parametrize(("unit_m", "wide"), [(0.0254, 480.0), (0.01, 400.0), (0.3048, 20.0)])
def test_a_width_has_the_unit_in_which_the_distance_fits_the_positions(
    tmp_path: Path, unit_m: float, wide: float
) -> None:
    """Whatever system the flow is written in."""
    step_m = pyproj.Geod(ellps="WGS84").inv(LON[0], LAT[0], LON[1], LAT[1])[2]
    columns = PLACE | {"time": TIMES, "Travel Dis": step_m / unit_m, "Swath Widt": wide}
    for flow in ("flow_kg_s", "flow_lb_s"):
        track = read(table(tmp_path / "a.csv", columns | {flow: 2.0}))
        assert track.width_m is not None
        assert np.allclose(track.width_m, wide * unit_m)


LOCAL = TIMES.strftime("%m/%d/%Y %H:%M:%S.%f")


def test_a_work_state_and_local_times_by_other_names(tmp_path: Path) -> None:
    on = np.arange(N) % 30 < 20
    columns = {"when": LOCAL, "LONGITUDES": LON, "LATITUDES": LAT, "WORKSTATE": on.astype(int)}
    track = read(table(tmp_path / "log.csv", columns))
    assert track.time_s == pytest.approx(SECONDS)
    assert track.working is not None
    assert (track.working == on).all()
    assert not track.warnings


@pytest.mark.parametrize(
    ("times", "taken"),
    [
        ({"k": LOCAL}, True),
        ({"k": TIMES.strftime("%Y-%m-%d"), "j": TIMES.strftime("%H:%M:%S")}, True),
        ({"k": LOCAL, "j": (TIMES + pd.Timedelta("2h")).strftime("%H:%M:%S %m/%d/%Y")}, False),
        ({"k": SECONDS.astype(int)}, False),  # it may count anything
        ({"k": np.repeat(LOCAL[0], N)}, None),  # when it was exported, say
    ],
)
def test_times_by_their_values_are_taken_or_asked_about(
    tmp_path: Path, times: dict[str, object], taken: bool | None
) -> None:
    track = read(table(tmp_path / "log.csv", {**PLACE, **times}))
    assert track.timed == (taken is True)
    assert ("--column" in track.warnings[0]) == (taken is not None)
    if taken:
        assert track.time_s == pytest.approx(SECONDS)


@pytest.mark.parametrize(
    ("states", "amount", "asked"),
    [(("raised", "lowered"), True, True), ((0, 1), False, True), ((0, 1), True, False)],
)
def test_states_by_another_name_are_asked_about(
    tmp_path: Path, states: tuple[object, object], amount: bool, asked: bool
) -> None:
    on = np.arange(N) % 30 < 20
    columns = {**PLACE, "time": SECONDS, "b7": [states[int(k)] for k in on]}
    columns |= {"rate (kg/ha)": 100.0} if amount else {}
    track = read(table(tmp_path / "log.csv", columns))
    assert track.working is None
    assert any("--column 'work=b7'" in text for text in track.warnings) == asked


def test_a_width_in_a_unit_of_something_else_is_refused(tmp_path: Path) -> None:
    columns = {**PLACE, "time": SECONDS, "width (gal/ac)": 12.0}
    track = read(table(tmp_path / "log.csv", columns))
    assert track.width_m is None
    assert any("gal/ac" in text for text in track.warnings)
    with pytest.raises(InputError) as refused:
        read(tmp_path / "log.csv", columns={"width": "width (gal/ac)"})
    assert "gal/ac" in str(refused.value)


@pytest.mark.parametrize("wide_m", [4.8, 12.192])
def test_passes_tell_whether_a_width_is_in_inches_or_centimetres(
    tmp_path: Path, wide_m: float
) -> None:
    along = np.arange(0.0, 200.0, 2.0)
    lanes = np.repeat(np.arange(12), len(along))
    north = np.concatenate([along if k % 2 == 0 else along[::-1] for k in range(12)])
    lat = LAT[0] + north / 111_195
    lon = LON[0] + lanes * wide_m / 111_195 / np.cos(np.radians(LAT[0]))
    columns = {"time": np.arange(len(lat)), "lon": lon, "lat": lat, "swath": 480, "flow_kg_s": 1.0}
    (track,) = read_tracks(table(tmp_path / "log.csv", columns))
    assert track.width_m is not None
    assert np.allclose(track.width_m, wide_m)
    assert not any("swath" in text for text in track.warnings)
    (short,) = read_tracks(
        table(tmp_path / "short.csv", {k: v[:150] if np.ndim(v) else v for k, v in columns.items()})
    )
    assert any("[in]" in text for text in short.warnings)


def test_states_without_a_zero_are_warned_of(tmp_path: Path) -> None:
    columns = {**PLACE, "time": SECONDS, "WorkStatus": np.where(np.arange(N) % 30 < 20, 2, 1)}
    track = read(table(tmp_path / "log.csv", columns))
    assert track.working is not None
    assert track.working.all()
    assert any("WorkStatus" in text for text in track.warnings)


def test_states_of_boom_sections(tmp_path: Path) -> None:
    bits = np.where(np.arange(N) % 30 < 20, "1101", "0000")
    for name in ("Boom Sections", "b7"):
        track = read(table(tmp_path / f"{name}.csv", {**PLACE, "time": SECONDS, name: bits}))
        assert (track.sections is None) == (name == "b7")
        assert any("--column 'sections=b7'" in text for text in track.warnings) == (name == "b7")


def test_an_amount_in_volumes_still_tells_when_the_tool_was_up(tmp_path: Path) -> None:
    on = np.arange(N) % 30 < 20
    columns = {**PLACE, "time": SECONDS, "Rate (gal/ac)": np.where(on, 10.0, 0.0)}
    track = read(table(tmp_path / "log.csv", columns))
    assert not track.rates
    assert track.working is not None
    assert (track.working == on).all()
    assert sum("Rate (gal/ac)" in text for text in track.warnings) == 2  # its unit, and this use


def test_degrees_in_whole_numbers(tmp_path: Path) -> None:
    parts = {name: np.rint(values * 1e7).astype(int) for name, values in PLACE.items()}
    read(table(tmp_path / "log.csv", {**parts, "time": SECONDS}))


def test_days_alone_leave_the_order_of_the_file(tmp_path: Path) -> None:
    track = read(table(tmp_path / "log.csv", {**PLACE, "Date": TIMES.strftime("%Y-%m-%d")}))
    assert not track.timed
    assert (np.diff(track.time_s) > 0).all()
    assert pd.Timestamp(track.time_s[0], unit="s").date() == TIMES[0].date()
    assert any("time of day" in text for text in track.warnings)
