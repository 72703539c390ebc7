"""Tables of text read as tracks: good files in every dialect, bad ones with one clear word."""

import csv
import itertools
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from complaints import complaint, has
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from pyproj import Transformer

from evenacre.errors import InputError
from evenacre.io.logs.read_tracks import read_tracks

ACRE_M2 = 4046.8564224  # NIST SP 811
LB_KG = 0.45359237  # NIST SP 811
CHICAGO = "America/Chicago"
REAL_LOG = Path(__file__).parents[2] / "shared/data/real_harvest_log.csv"


def utc(*parts: int) -> float:
    return datetime(*parts, tzinfo=ZoneInfo("UTC")).timestamp()


def log(n: int = 40, **columns: object) -> pd.DataFrame:
    """A machine going north at 2 m/s (spherical degrees), one fix a second."""
    frame = pd.DataFrame(
        {
            "lon": np.full(n, -93.5),
            "lat": 40 + np.arange(n) * 2 / 111_195,
            "time": np.arange(n) + 1_557_029_944,
        }
    )
    return frame.assign(**columns)


def one(path: Path, frame: pd.DataFrame, **kwargs: object):
    frame.to_csv(path / "log.csv", index=False)
    (track,) = read_tracks(path / "log.csv", **kwargs)
    return track


def write(path: Path, text: str | bytes) -> Path:
    file = path / "log.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


# --- the real log ---------------------------------------------------------------------------


@pytest.mark.skipif(not REAL_LOG.exists(), reason="the real log is not kept in the repository")
def test_real_log_keeps_its_sums():
    with REAL_LOG.open(newline="") as file:
        rows = list(csv.DictReader(file))
    mapping = {
        "time": "time [s]",
        "flow": "mass [lb/s]",
        "distance": "dist [in]",
        "interval": "seconds [s]",
    }
    (track,) = read_tracks(REAL_LOG, columns=mapping)
    assert len(track) == len(rows)
    mass = sum(float(r["mass"]) * float(r["seconds"]) for r in rows) * LB_KG
    assert np.sum(track.flows[""] * track.interval_s) == pytest.approx(mass, rel=1e-12)
    inches = sum(float(r["dist"]) for r in rows)
    assert track.distance_m.sum() == pytest.approx(inches * 0.0254, rel=1e-12)
    assert track.interval_s.sum() == sum(float(r["seconds"]) for r in rows)
    assert track.lon.tolist() == [float(r["long"]) for r in rows]
    assert track.lat.tolist() == [float(r["lat"]) for r in rows]
    assert track.time_s.tolist() == [float(r["time"]) for r in rows]
    back = sum(float(b["time"]) < float(a["time"]) for a, b in itertools.pairwise(rows))
    assert back > 0
    assert has(track.warnings, "backwards", str(back))


@pytest.mark.skipif(not REAL_LOG.exists(), reason="the real log is not kept in the repository")
def test_real_log_is_read_without_a_mapping():
    (track,) = read_tracks(REAL_LOG)
    assert track.distance_m[0] == pytest.approx(116 * 0.0254)
    assert has(track.notes, '"dist"', "in", "fits the positions")
    assert track.interval_s[0] == 3
    assert track.flows == {}


# --- dialects ---------------------------------------------------------------------------------


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"])
def test_separators_and_encodings(tmp_path, separator, encoding):
    frame = log(5, **{"Größe é": "naïf"})
    text = frame.to_csv(index=False, sep=separator)
    (track,) = read_tracks(write(tmp_path, text.encode(encoding)))
    np.testing.assert_array_equal(track.lat, frame["lat"])
    np.testing.assert_array_equal(track.time_s, frame["time"])


@pytest.mark.parametrize("separator", [";", "\t", ","])
def test_decimal_comma(tmp_path, separator):
    frame = log(5, **{"speed (km/h)": 7.25})
    text = frame.to_csv(index=False, sep=separator, decimal=",", quoting=csv.QUOTE_MINIMAL)
    (track,) = read_tracks(write(tmp_path, text))
    np.testing.assert_allclose(track.lat, frame["lat"], rtol=0, atol=1e-12)
    np.testing.assert_allclose(track.speed_mps, 7.25 / 3.6)


def test_unquoted_decimal_comma_between_commas_is_refused(tmp_path):
    text = complaint(write(tmp_path, "lon,lat,time\n-93,5,40,1,0\n-93,5,40,2,1\n"))
    assert "line 2" in text
    assert "decimal commas" in text


def test_comment_lines_blank_lines_and_a_trailing_separator(tmp_path):
    file = write(tmp_path, "# a log\nsep=;\nlon;lat;time\n-93;40;0;\n\n-93;41;1;\n")
    (track,) = read_tracks(file)
    assert track.lat.tolist() == [40, 41]


def test_old_line_ends(tmp_path):
    (track,) = read_tracks(write(tmp_path, "lon,lat,time\r-93,40,0\r-93,41,1\r"))
    assert track.lat.tolist() == [40, 41]


def test_line_cut_short_is_left_out(tmp_path):
    text = log(300).to_csv(index=False) + "-93.5,40"
    (track,) = read_tracks(write(tmp_path, text))
    assert len(track) == 300
    assert has(track.warnings, "line 302", "left out")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\n \n", "empty"),
        (b"\xef\xbb\xbf", "empty"),
        (b"lon,lat,time\n", "no records"),
        (b"lon\n1\n", "one column"),
        (b"-93.1,40.1,0\n-93.1,40.2,1\n", "column names"),
        (b"\x00\x01\x02\x00\xff\xfe\x10\x80\x90" * 40, "not a text file"),
        (b"$GPGGA,123519,4807.038,N,01131.000,E\n", "whole"),
    ],
)
def test_not_a_log(tmp_path, content, words):
    text = complaint(write(tmp_path, content))
    assert "log.csv" in text
    assert words in text


def test_spreadsheet(tmp_path):
    (tmp_path / "log.xlsx").write_bytes(b"PK\3\4" + bytes(99))
    assert "zip is damaged" in complaint(tmp_path / "log.xlsx")
    (tmp_path / "log.xls").write_bytes(b"\xd0\xcf\x11\xe0" + bytes(99))
    assert "as CSV" in complaint(tmp_path / "log.xls")


_CELLS = st.one_of(
    st.floats(),
    st.integers(-(10**12), 10**12),
    st.sampled_from(
        ["", "on", "0", "1", "2019-05-05", "5/13/2019 4:19 PM", "24:00", "nan", "é", "-"]
    ),
    st.text(max_size=8),
)
_NAMES = st.sampled_from(
    [
        *("lon", "lat", "time", "date", "x", "y", "speed (mph)", "heading", "work", "sections"),
        *("section_1", "section_2", "machine_id", "rate (lb/ac)", "distance", "interval", "width"),
    ]
)
_WHEN = st.datetimes(datetime(1971, 1, 1), datetime(2199, 1, 1))
_TIMES = st.sampled_from(
    [
        st.integers(0, 10**5),
        st.floats(1e9, 2e9),
        _WHEN.map(str),
        _WHEN.map(lambda when: when.strftime("%m/%d/%Y %I:%M:%S %p")),
        st.times().map(str),
        _CELLS,
    ]
)


@settings(deadline=None, max_examples=150, suppress_health_check=list(HealthCheck))
@given(
    data=st.data(),
    names=st.lists(_NAMES, max_size=5),
    kinds=st.tuples(st.sampled_from([st.floats(-94, -93), _CELLS]), _TIMES),
    separator=st.sampled_from([",", ";", "\t"]),
)
def test_whatever_a_table_holds_it_is_read_or_refused_in_words(
    tmp_path, data, names, kinds, separator
):
    lon, time = kinds
    row = st.tuples(lon, st.floats(40, 41), time, *[st.one_of(st.integers(0, 1), _CELLS)] * 5)
    rows = data.draw(st.lists(row, min_size=1, max_size=8))
    names = ["lon", "lat", "time", *names]
    with (tmp_path / "log.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, delimiter=separator)
        writer.writerows([names, *(row[: len(names)] for row in rows)])
    try:
        tracks = read_tracks(tmp_path / "log.csv")
    except InputError as error:
        tracks = []
        event(error.problems[0].what[:20])
    assert sum(len(track) for track in tracks) <= len(rows)
    for track in tracks:
        assert np.isfinite(track.time_s).all()
        assert np.nanmax(np.abs(track.lat), initial=0) <= 90
        assert (np.isnan(track.lon) == np.isnan(track.lat)).all()


@settings(deadline=None, max_examples=60, suppress_health_check=list(HealthCheck))
@given(content=st.binary(max_size=300))
def test_whatever_bytes_a_file_holds_it_is_refused_in_words(tmp_path, content):
    with pytest.raises(InputError):
        read_tracks(write(tmp_path, content))


def test_missing_file_and_folder(tmp_path):
    assert "no such file" in complaint(tmp_path / "gone.csv")
    assert "folder" in complaint(tmp_path)


# --- columns ----------------------------------------------------------------------------------


def test_guesses_are_reported_with_their_units(tmp_path):
    frame = log(
        20,
        **{
            "Rt_Apd_lb/ac": 150.0,
            "Target_Rate_lb_ac": 155.0,
            "Swth_Wdth_ft": 20.0,
            "Distance (ft)": 6.0,
            "Ground Speed(mph)": 4.5,
            "Heading": 90.0,
        },
    )
    track = one(tmp_path, frame)
    np.testing.assert_allclose(track.rates[""], 150 * LB_KG / ACRE_M2)
    assert list(track.rates) == [""]
    np.testing.assert_allclose(track.width_m, 20 * 0.3048)
    np.testing.assert_allclose(track.distance_m, 6 * 0.3048)
    np.testing.assert_allclose(track.speed_mps, 4.5 * 0.44704)
    np.testing.assert_allclose(track.heading_rad, np.pi / 2)
    for column in frame.columns.drop("Target_Rate_lb_ac"):
        assert has(track.notes, f'"{column}" taken as', "because"), column


@pytest.mark.parametrize(
    ("header", "si"),
    [
        ("Rate (kg/ha)", 1e-4),
        ("rate_lb_ac", LB_KG / ACRE_M2),
        ("AppliedRate [lbs/acre]", LB_KG / ACRE_M2),
        ("Applied Rate kg/ha", 1e-4),
    ],
)
def test_rate_units_in_headers(tmp_path, header, si):
    track = one(tmp_path, log(5, **{header: 100.0}))
    np.testing.assert_allclose(track.rates[""], 100 * si)


def test_rates_of_two_products_and_one_rate_in_two_units(tmp_path):
    rates = {"Rate 18-46-0 (lb/ac)": 100.0, "Rate 0-0-60 (lb/ac)": 50.0}
    track = one(tmp_path, log(5, **rates))
    assert list(track.rates) == ["18-46-0", "0-0-60"]
    rates = {"Rate (lb/ac)": 100.0, "Rate (kg/ha)": 112.085}
    track = one(tmp_path, log(5, **rates))
    assert list(track.rates) == [""]
    assert has(track.notes, "repeats the rate")
    track = one(tmp_path, log(5, **(rates | {"Rate (kg/ha)": 90.0})))
    assert has(track.warnings, "another rate", "5 records")


def test_mapping_by_name_and_unit(tmp_path):
    frame = log(5, A=2.0, B=30.0, **{"C [x]": 3.0}).rename(columns={"lon": "here", "lat": "there"})
    mapping = {
        "lon": "HERE",
        "lat": "there",
        "flow:urea": "A [lb/s]",
        "width": "B [in]",
        "rate:urea": "C [x] [kg/ha]",
    }
    track = one(tmp_path, frame, columns=mapping)
    np.testing.assert_allclose(track.flows["urea"], 2 * LB_KG)
    np.testing.assert_allclose(track.width_m, 30 * 0.0254)
    np.testing.assert_allclose(track.rates["urea"], 3e-4)


@pytest.mark.parametrize(
    ("mapping", "words"),
    [
        ({"lon": "longg"}, ("longg", "Did you mean", "lon")),
        ({"weight": "lon"}, ("weight", "role")),
        ({"rate": "spread"}, ("spread", "no unit", "rate=spread [lb/ac]")),
        ({"flow": "spread"}, ("spread", "no unit", "flow=spread [lb/s]")),
        ({"width": "spread"}, ("spread", "no unit", "width=spread [ft]")),
        ({"distance": "spread"}, ("spread", "no unit", "distance=spread [ft]")),
        ({"rate": "spread [mph]"}, ("mph", "mass per area")),
        ({"section": "spread"}, ("section:1",)),
        ({"section:2": "spread"}, ("section 1 has no column",)),
        ({"width": "spread [km]"}, ("cannot be right",)),
    ],
)
def test_bad_mappings(tmp_path, mapping, words):
    log(30, spread=151.0).to_csv(tmp_path / "log.csv", index=False)
    text = complaint(tmp_path / "log.csv", columns=mapping)
    assert all(word in text for word in words), text


def test_unit_less_columns_are_not_guessed_but_said(tmp_path):
    track = one(tmp_path, log(30, **{"Applied Rate": 150.0, "swath width": 20.0}))
    assert track.rates == {}
    assert track.width_m is None
    assert has(track.warnings, "Applied Rate", "not used", "[lb/ac]")
    assert has(track.warnings, "swath width", "not used", "[ft]")
    assert len(track.warnings) == 2


@pytest.mark.parametrize(
    ("name", "stated"),
    [
        ("Rate (gal/1000 sq ft)", "gal/1000 sq ft"),
        ("Rate (bu/ac)", "bu/ac"),
        ("Rate (%)", "%"),
        ("Rate (seeds/ac)", "seeds/ac"),
        ("applied_gal_ac", "gal/ac"),
        ("applied_kg", "kg"),
        ("Speed (mi/gal)", "mi/gal"),
        ("Distance (lb)", "lb"),
    ],
)
def test_a_unit_that_is_stated_is_never_remedied_into_another(tmp_path, name, stated):
    track = one(tmp_path, log(30, **{name: 2.0}))
    assert track.rates == {}
    assert track.speed_mps is None
    assert track.distance_m is None
    (said,) = track.warnings
    assert f'"{stated}"' in said
    assert "--column" not in said
    text = complaint(tmp_path / "log.csv", columns={"rate": name})
    assert f'"{stated}"' in text
    assert f"{name} [" not in text


def test_a_wide_swath_of_stated_unit_is_not_remedied_into_another(tmp_path):
    log(30, **{"width (m)": 240.0}).to_csv(tmp_path / "log.csv", index=False)
    text = complaint(tmp_path / "log.csv")
    assert "cannot be right" in text
    assert "[" not in text


def test_a_ton_that_may_be_either_is_asked_for(tmp_path):
    track = one(tmp_path, log(30, **{"Rate (T/ac)": 2.0}))
    (said,) = track.warnings
    assert "[ton/ac]" in said
    assert "[tonne/ac]" in said


def test_rates_by_the_thousand_square_feet_are_read(tmp_path):
    for name in ("Rate (lb/1000 sq ft)", "Rate lb per 1000 sq ft", "rate_lb_1000sqft"):
        track = one(tmp_path, log(5, **{name: 3.0}))
        # NIST SP 811, B.8: a pound and a square foot.
        np.testing.assert_allclose(track.rates[""], 3 * LB_KG / 92.90304, rtol=1e-12)


def test_guessed_column_of_text_is_left_out_with_a_warning(tmp_path):
    track = one(tmp_path, log(30, **{"speed (mph)": "fast"}))
    assert track.speed_mps is None
    assert has(track.warnings, "line 2", '"fast"', "not used")


@pytest.mark.parametrize(("unit", "si"), [("m", 1), ("ft", 0.3048), ("in", 0.0254)])
def test_unit_of_distance_told_by_positions(tmp_path, unit, si):
    track = one(tmp_path, log(30, distance=2 / si), columns={"distance": "distance"})
    np.testing.assert_allclose(track.distance_m, 2.0)
    assert has(track.notes, f"distance in {unit}", "fits the positions")


@pytest.mark.parametrize(("unit", "si"), [("m/s", 1), ("mph", 0.44704), ("km/h", 1 / 3.6)])
def test_unit_of_speed_told_by_positions(tmp_path, unit, si):
    track = one(tmp_path, log(30, speed=2 / si))
    np.testing.assert_allclose(track.speed_mps, 2.0)
    assert has(track.notes, f"speed in {unit}", "fits the positions")


def test_running_total_of_distance_becomes_steps(tmp_path):
    track = one(tmp_path, log(40, **{"distance (m)": 500 + 2.0 * np.arange(40)}))
    assert track.distance_m[0] == 0
    np.testing.assert_allclose(track.distance_m[1:], 2.0)


def test_role_can_be_left_unguessed(tmp_path):
    track = one(tmp_path, log(5, **{"speed (mph)": 4.0}), columns={"speed": ""})
    assert track.speed_mps is None


# --- states -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words",
    [("1", "0"), ("on", "OFF"), ("TRUE", "false"), ("Working", "idle"), ("yes", "No"), ("2", "0")],
)
def test_work_states(tmp_path, words):
    states = np.array([words[0], words[1], words[0], words[0], words[1]])
    track = one(tmp_path, log(5, work_state=states))
    assert track.working.tolist() == [True, False, True, True, False]


@pytest.mark.parametrize(
    ("name", "up", "down", "turned"),
    [
        ("Lifted", 1, 0, True),
        ("tool_raised", "yes", "no", True),
        ("Implement Up", "TRUE", "FALSE", True),
        ("Lifted", "raised", "lowered", False),  # these say themselves where the tool is
    ],
)
def test_a_column_of_lifting_tells_when_there_is_no_work(tmp_path, name, up, down, turned):
    is_up = np.array([True, True, False, False, True, False])
    track = one(tmp_path, log(6, **{name: np.where(is_up, up, down)}))
    np.testing.assert_array_equal(track.working, ~is_up)
    assert has(track.warnings, "no work is counted") == turned


def test_an_empty_cell_of_lifting_keeps_the_state_before(tmp_path):
    track = one(tmp_path, log(5, lifted=["", "0", "", "1", ""]))
    np.testing.assert_array_equal(track.working, [False, True, True, False, False])


def test_a_state_of_work_goes_before_one_of_lifting(tmp_path):
    track = one(tmp_path, log(3, lifted=[0, 0, 1], work_state=[0, 1, 1]))
    np.testing.assert_array_equal(track.working, [False, True, True])


def test_heights_of_lifting_are_no_states_unless_it_is_said(tmp_path):
    heights = [0, 40, 80, 100, 0]
    track = one(tmp_path, log(5, lifted=heights))
    assert track.working is None
    assert has(track.warnings, "other numbers than 0 and 1")
    track = one(tmp_path, log(5, lifted=heights), columns={"work": "lifted"})
    np.testing.assert_array_equal(track.working, [True, False, False, False, True])


def test_empty_work_state_keeps_the_last(tmp_path):
    track = one(tmp_path, log(5, work=["", "on", "", "off", ""]))
    assert track.working.tolist() == [False, True, True, False, False]
    assert has(track.warnings, "3 empty cells", '"work"')


def test_word_that_is_no_state(tmp_path):
    log(5, q=["on", "off", "purple", "on", "on"]).to_csv(tmp_path / "log.csv", index=False)
    text = complaint(tmp_path / "log.csv", columns={"work": "q"})
    assert "line 4" in text
    assert "purple" in text


@pytest.mark.parametrize("name", ["section_{}", "Section {} state", "sec{}", "row {}"])
def test_section_columns(tmp_path, name):
    states = np.random.default_rng(5).integers(0, 2, (30, 12)).astype(bool)
    columns = {name.format(i + 1): states[:, i].astype(int) for i in reversed(range(12))}
    track = one(tmp_path, log(30, **columns))
    np.testing.assert_array_equal(track.sections, states)
    assert track.sections_are_rows == name.startswith("row")


def test_section_columns_by_mapping(tmp_path):
    frame = log(3, left=["on", "off", "on"], right=["off", "off", "on"])
    track = one(tmp_path, frame, columns={"row:1": "left", "row:2": "right"})
    assert track.sections.tolist() == [[True, False], [False, False], [True, True]]
    assert track.sections_are_rows


def test_bit_strings_keep_their_zeros(tmp_path):
    frame = log(4, section_states=["000011", "011111", "", "1 1 1 0 1 1"])
    track = one(tmp_path, frame)
    assert ["".join(str(int(b)) for b in row) for row in track.sections] == [
        "000011",
        "011111",
        "000000",
        "111011",
    ]
    track = one(tmp_path, log(3, bits=["11", "1011", "11"]), columns={"rows": "bits"})
    assert track.sections[0].tolist() == [False, False, True, True]
    assert track.sections_are_rows
    assert has(track.warnings, "zeros lost")


# --- times ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "second", "zone", "expected"),
    [
        ("2019-05-05T04:19:04Z", "2019-05-05T04:19:05.5Z", None, utc(2019, 5, 5, 4, 19, 4)),
        ("2019-05-05T04:19:04-05", "2019-05-05T04:19:05.5-0500", None, utc(2019, 5, 5, 9, 19, 4)),
        ("2019-05-05 04:19:04", "2019-05-05 04:19:05.5", None, utc(2019, 5, 5, 4, 19, 4)),
        ("5/5/2019 4:19:04 AM", "5/5/2019 4:19:05.5 AM", None, utc(2019, 5, 5, 4, 19, 4)),
        ("5/5/2019 4:19:04 PM", "5/5/2019 4:19:05.5 PM", None, utc(2019, 5, 5, 16, 19, 4)),
        ("5/5/2019 12:19:04 AM", "5/5/2019 12:19:05.5 AM", None, utc(2019, 5, 5, 0, 19, 4)),
        ("5/5/2019 4:19:04 AM", "5/5/2019 4:19:05.5 AM", CHICAGO, utc(2019, 5, 5, 9, 19, 4)),
        ("1/5/2019 4:19:04 AM", "1/5/2019 4:19:05.5 AM", CHICAGO, utc(2019, 1, 5, 10, 19, 4)),
        ("25.12.2019 04:19:04", "25.12.2019 04:19:05,5", None, utc(2019, 12, 25, 4, 19, 4)),
        ("25/12/2019 04:19:04", "25/12/2019 04:19:05.5", None, utc(2019, 12, 25, 4, 19, 4)),
        ("12/25/19 04:19:04", "12/25/19 04:19:05.5", None, utc(2019, 12, 25, 4, 19, 4)),
        ("5 May 2019 04:19:04", "5 May 2019 04:19:05.5", None, utc(2019, 5, 5, 4, 19, 4)),
        ("1557029944", "1557029945.5", None, utc(2019, 5, 5, 4, 19, 4)),
        ("1557029944000", "1557029945500", None, utc(2019, 5, 5, 4, 19, 4)),
        ("0", "1.5", None, 0.0),
        ("04:19:04", "04:19:05.5", None, 15544.0),
    ],
)  # fmt: skip
def test_times(tmp_path, first, second, zone, expected):
    file = write(tmp_path, f'lon;lat;time\n-93;40;"{first}"\n-93;40.00001;"{second}"\n')
    (track,) = read_tracks(file, time_zone=zone)
    np.testing.assert_allclose(track.time_s, [expected, expected + 1.5], rtol=0, atol=1e-5)


def test_local_time_is_said(tmp_path):
    file = write(tmp_path, "lon,lat,time\n-93,40,5/5/2019 4:19:04 AM\n-93,41,5/5/2019 4:19:05 AM\n")
    (track,) = read_tracks(file)
    assert has(track.notes, "no time zone", "--time-zone")
    (track,) = read_tracks(file, time_zone="America/Chicago")
    assert has(track.notes, "America/Chicago is used")


def test_doubtful_order_of_day_and_month_is_warned_of(tmp_path):
    file = write(tmp_path, "lon,lat,time\n-93,40,5/4/2019 04:19:04\n-93,41,5/4/2019 04:19:05\n")
    (track,) = read_tracks(file)
    assert track.time_s[0] == utc(2019, 5, 4, 4, 19, 4)
    assert has(track.warnings, "both readings are possible")


@pytest.mark.parametrize(
    ("dates", "times"),
    [
        (["5/5/2019", "5/5/2019"], ["4:19:04 AM", "4:19:05 AM"]),
        (["2019-05-05", "2019-05-05"], ["04:19:04", "04:19:05"]),
        (["5/5/2019 12:00:00 AM"] * 2, ["04:19:04", "04:19:05"]),
        (["20190505", "20190505"], ["041904", "041905"]),
    ],
)
def test_date_and_time_apart(tmp_path, dates, times):
    frame = log(2, time=times, Date=dates)
    track = one(tmp_path, frame)
    assert track.time_s.tolist() == [utc(2019, 5, 5, 4, 19, 4), utc(2019, 5, 5, 4, 19, 5)]


def test_date_and_seconds_since_midnight(tmp_path):
    track = one(tmp_path, log(2, time=["15599.5", "15600.5"], Date="2019-05-05"))
    assert track.time_s.tolist() == [utc(2019, 5, 5, 4, 19, 59) + s for s in (0.5, 1.5)]


def test_clock_without_a_date_runs_past_midnight(tmp_path):
    track = one(tmp_path, log(3, time=["23:59:59", "00:00:00", "00:00:01"]))
    assert np.diff(track.time_s).tolist() == [1, 1]


def test_mixed_time_zones_become_utc(tmp_path):
    times = ["2019-05-05T04:00:00-05:00", "2019-05-05T10:00:01+01:00", "2019-05-05T09:00:02Z"]
    track = one(tmp_path, log(3, time=times))
    assert track.time_s.tolist() == [utc(2019, 5, 5, 9, 0, s) for s in range(3)]
    assert has(track.warnings, "mixes time zones")


def test_hour_that_comes_twice_is_warned_of(tmp_path):
    track = one(
        tmp_path,
        log(2, time=["2019-11-03 01:30:00", "2019-11-03 01:30:01"]),
        time_zone="America/Chicago",
    )
    assert track.time_s[0] == utc(2019, 11, 3, 6, 30, 0)
    assert has(track.warnings, "twice")


@pytest.mark.parametrize("word", ["today", "now"])
def test_a_word_is_no_time_of_the_day_it_is_read(tmp_path, word):
    frame = log(time=[word] * 40)
    assert f'"{word}" is not a time' in complaint(write(tmp_path, frame.to_csv(index=False)))


def test_unknown_time_zone(tmp_path):
    log(3, time="2019-05-05 04:00:00").to_csv(tmp_path / "log.csv", index=False)
    assert "Mars/Base" in complaint(tmp_path / "log.csv", time_zone="Mars/Base")


def test_several_fixes_in_a_second_are_spread(tmp_path):
    n = 50
    track = one(tmp_path, log(n, time=1_557_029_944 + (np.arange(n) + 2) // 5))
    np.testing.assert_allclose(np.diff(track.time_s), 0.2, atol=1e-6)
    assert has(track.notes, "share each second")


def test_time_backwards_stays_in_file_order_with_a_count(tmp_path):
    frame = log(6)
    frame["time"] = [10, 11, 9, 12, 5, 13]
    track = one(tmp_path, frame)
    assert track.time_s.tolist() == [10, 11, 9, 12, 5, 13]
    assert has(track.warnings, "backwards 2 times")


def test_no_time_but_intervals(tmp_path):
    frame = log(4, interval=[1, 3, 2, 1]).drop(columns="time")
    track = one(tmp_path, frame)
    assert track.time_s.tolist() == [1, 4, 6, 7]
    assert has(track.notes, "no time column")


@pytest.mark.parametrize("name", ["seconds since start", "elapsed_s", "Elapsed (s)", "seconds"])
def test_seconds_since_the_start(tmp_path, name):
    frame = log(4).drop(columns="time").assign(**{name: [0.0, 1.5, 2.0, 7.0]})
    track = one(tmp_path, frame)
    assert track.time_s.tolist() == [0, 1.5, 2, 7]
    assert has(track.notes, "since the start of the log")


@pytest.mark.parametrize("name", ["ts", "iso", "ISO 8601"])
def test_short_names_of_a_column_of_times(tmp_path, name):
    track = one(tmp_path, log(4).rename(columns={"time": name}))
    assert track.time_s.tolist() == one(tmp_path, log(4)).time_s.tolist()


def test_no_time_at_all(tmp_path):
    log(4).drop(columns="time").to_csv(tmp_path / "log.csv", index=False)
    text = complaint(tmp_path / "log.csv")
    assert "no column of times" in text
    assert "--column time=" in text


def test_dates_only_are_no_times(tmp_path):
    log(20, time="2019-05-05").to_csv(tmp_path / "log.csv", index=False)
    assert "same time" in complaint(tmp_path / "log.csv")


def test_several_dates_are_listed(tmp_path):
    times = ["2019-05-05 04:00:00", "2019-05-06 04:00:00", "2019-05-09 04:00:00"]
    track = one(tmp_path, log(3, time=times))
    assert has(track.warnings, "3 dates", "2019-05-05, 2019-05-06, 2019-05-09")


def test_unreadable_times(tmp_path):
    times = pd.Series(pd.date_range("2019-05-05", periods=300, freq="s").astype(str))
    times[7] = "lunch"
    track = one(tmp_path, log(300, time=times))
    assert len(track) == 299
    assert has(track.warnings, "lunch", "line 9")
    times[7:20] = "lunch"
    log(300, time=times).to_csv(tmp_path / "log.csv", index=False)
    text = complaint(tmp_path / "log.csv")
    assert "lunch" in text
    assert "line 9" in text


# --- numbers ----------------------------------------------------------------------------------


def test_few_bad_cells_are_missing_with_a_warning(tmp_path):
    cells = pd.Series(np.full(300, "150"))
    cells[[41, 77]] = "E12"
    track = one(tmp_path, log(300, **{"rate (lb/ac)": cells}))
    assert np.isnan(track.rates[""]).sum() == 2
    assert has(track.warnings, "2 cells", '"E12"', "line 43")


def test_many_bad_cells_are_an_error_naming_the_first(tmp_path):
    log(40, lat=["40"] * 30 + ["north"] * 10).to_csv(tmp_path / "log.csv", index=False)
    text = complaint(tmp_path / "log.csv")
    assert "line 32" in text
    assert "north" in text
    assert "10 such cells" in text


def test_lines_are_counted_as_an_editor_counts_them(tmp_path):
    text = complaint(write(tmp_path, "# c\nlon,lat,time\n-93,40,0\n\n\n-93,x,1\n"))
    assert "line 6" in text


def test_empty_rates_stay_missing_without_complaint(tmp_path):
    track = one(tmp_path, log(5, **{"rate (lb/ac)": [150, None, None, 150, 0]}))
    assert np.isnan(track.rates[""]).tolist() == [False, True, True, False, False]
    assert track.warnings == ()


def test_nan_and_infinite_cells(tmp_path):
    frame = log(300)
    frame["lat"] = frame["lat"].astype(str)
    frame.loc[3, "lat"] = "NaN"
    frame.loc[5, "lat"] = "inf"
    track = one(tmp_path, frame)
    assert np.flatnonzero(np.isnan(track.lat)).tolist() == [3, 5]
    assert np.flatnonzero(np.isnan(track.lon)).tolist() == [3, 5]
    assert has(track.warnings, "infinite", "line 7")
    assert has(track.warnings, "2 records have no position")


def test_negative_widths_are_missing(tmp_path):
    track = one(tmp_path, log(5, **{"width (ft)": [20, -1, 20, 20, 20]}))
    assert np.isnan(track.width_m).tolist() == [False, True, False, False, False]
    assert has(track.warnings, "below zero")


# --- positions --------------------------------------------------------------------------------


def test_swapped_columns(tmp_path):
    frame = log(5).rename(columns={"lon": "lat", "lat": "lon"})
    frame.to_csv(tmp_path / "log.csv", index=False)
    assert "swapped" in complaint(tmp_path / "log.csv")


def test_projected_columns_need_a_system(tmp_path):
    frame = log(20)
    east, north = Transformer.from_crs(4326, 26915, always_xy=True).transform(
        frame["lon"], frame["lat"]
    )
    projected = frame.drop(columns=["lon", "lat"]).assign(Easting=east, Northing=north)
    projected.to_csv(tmp_path / "log.csv", index=False)
    text = complaint(tmp_path / "log.csv")
    assert "--tracks-crs" in text
    assert "Easting" in text
    (track,) = read_tracks(tmp_path / "log.csv", crs="EPSG:26915")
    np.testing.assert_allclose(track.lon, frame["lon"], atol=1e-9)
    np.testing.assert_allclose(track.lat, frame["lat"], atol=1e-9)
    assert "EPSG:bogus" in complaint(tmp_path / "log.csv", crs="EPSG:bogus")


def test_degrees_called_x_and_y(tmp_path):
    track = one(tmp_path, log(5).rename(columns={"lon": "X", "lat": "Y"}))
    assert track.lon[0] == -93.5
    assert has(track.warnings, "look like degrees", "WGS 84")


def test_projected_numbers_called_longitude(tmp_path):
    log(5, lon=457_000.0, lat=4_427_000.0).to_csv(tmp_path / "log.csv", index=False)
    assert "not a longitude and latitude" in complaint(tmp_path / "log.csv")


def test_no_position_columns(tmp_path):
    log(5).drop(columns="lon").to_csv(tmp_path / "log.csv", index=False)
    assert "--column lon=" in complaint(tmp_path / "log.csv")


def test_antimeridian_runs_on(tmp_path):
    track = one(tmp_path, log(4, lon=[179.9998, 179.9999, -180.0, -179.9999]))
    np.testing.assert_allclose(track.lon, [179.9998, 179.9999, 180.0, 180.0001])


def test_one_wild_fix_does_not_look_like_the_antimeridian(tmp_path):
    track = one(tmp_path, log(4, lon=[-93.5, -93.5, 120.0, -93.5]))
    assert track.lon.tolist() == [-93.5, -93.5, 120.0, -93.5]


def test_fixes_of_nought_are_no_fixes(tmp_path):
    frame = log(5)
    frame.loc[2, ["lon", "lat"]] = 0.0
    track = one(tmp_path, frame)
    assert np.isnan(track.lon[2])
    assert has(track.warnings, "0, 0")


# --- records ----------------------------------------------------------------------------------


def test_single_fix_and_duplicates(tmp_path):
    track = one(tmp_path, log(1))
    assert has(track.warnings, "single fix")
    frame = log(5)
    track = one(tmp_path, pd.concat([frame, frame.iloc[[4, 4]]]))
    assert len(track) == 7


def test_machines_are_kept_apart(tmp_path):
    frame = log(6, machine_id=["A", "B"] * 3, **{"speed (mph)": np.arange(6)})
    frame.to_csv(tmp_path / "log.csv", index=False)
    first, second = read_tracks(tmp_path / "log.csv")
    assert first.source.endswith("machine_id A")
    np.testing.assert_allclose(second.speed_mps, np.array([1, 3, 5]) * 0.44704)
    assert has(first.notes, "2 machines")


def test_reading_twice_gives_the_same(tmp_path):
    frame = log(30, **{"rate (lb/ac)": 150.0, "work": 1})
    a, b = one(tmp_path, frame), one(tmp_path, frame)
    assert a.notes == b.notes
    assert a.warnings == b.warnings
    np.testing.assert_array_equal(a.rates[""], b.rates[""])
