"""Logs of receiver sentences, held against pynmea2 and against published sentences."""

from datetime import UTC, datetime
from functools import reduce
from pathlib import Path

import numpy as np
import pynmea2
import pytest
from complaints import has
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from evenacre.errors import InputError
from evenacre.io.logs.formats.nmea.sentences import scan_sentences
from evenacre.io.logs.read_tracks import read_tracks

# D. DePriest, NMEA data (gpsinformation.org/dale/nmea.htm): GGA, RMC, VTG.
# E. S. Raymond, NMEA Revealed (gpsd.gitlab.io/gpsd/NMEA.html): GNS, ZDA. (The page prints a comma
# before the star of the GNS sentence, against which its checksum speaks.)
# NOAA Physical Sciences Laboratory, cruise PISTON 2019, raw positions
# (downloads.psl.noaa.gov/psd3/cruises/PISTON_2019/Sally_Ride/flux/Raw/19259): NOAA.
DEPRIEST = (
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
    "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48",
)
GPSD = (
    "$GPGNS,224749.00,3333.4268304,N,11153.3538273,W,D,19,0.6,406.110,-26.294,6.0,0138,S*6A",
    "$GPZDA,160012.71,11,03,2004,-1,00*7D",
)
NOAA = (
    "$GPHDT,228.02,T*0F",
    "$GPGGA,195959.00,1813.38282955,N,12606.12767097,E,2,07,1.4,17.2,M,36.5,M,4.0,0129*78",
    "$GPGLL,1813.38282955,N,12606.12767097,E,195959.00,A,D*6D",
    "$GPVTG,262.13,T,265.08,M,1.31,N,2.43,K,D*2D",
    "$GPZDA,195959.00,16,09,2019,00,00*6A",
    "$GPRMC,195959.00,A,1813.38282955,N,12606.12767097,E,1.31,262.13,160919,3.0,W,D*21",
    "$GPGGA,200000.00,1813.38274046,N,12606.12733500,E,2,07,1.4,17.3,M,36.5,M,5.0,0129*7A",
    "$GPVTG,234.78,T,237.74,M,0.60,N,1.12,K,D*2D",
    "$GPZDA,200000.00,16,09,2019,00,00*60",
    "$GPRMC,200000.00,A,1813.38274046,N,12606.12733500,E,0.60,234.78,160919,3.0,W,D*28",
)
READ = [s for s in (*DEPRIEST, *GPSD, *NOAA) if s[3:6] in ("GGA", "RMC", "VTG", "GNS", "ZDA")]
KNOT_MPS = 0.514444444  # NIST SP 811, to nine digits


def signed(body: str) -> str:
    return f"${body}*{reduce(lambda x, c: x ^ ord(c), body, 0):02X}"


def gga(second: float, i: int = 0, quality: int = 4, talker: str = "GN") -> str:
    return signed(
        f"{talker}GGA,{clock(second)},40{10 + i * 1e-4:010.7f},N,09330.0000000,W,{quality},"
        "12,0.8,200.0,M,-30.0,M,1.0,0001"
    )


def rmc(second: float, date: str, i: int = 0, status: str = "A", mode: str = ",R") -> str:
    return signed(
        f"GPRMC,{clock(second)},{status},40{10 + i * 1e-4:010.7f},N,09330.0000000,W,4.7,0.0,"
        f"{date},,{mode}"
    )


def clock(second: float) -> str:
    second %= 86400
    return f"{second // 3600:02.0f}{second // 60 % 60:02.0f}{second % 60:05.2f}"


def log(path: Path, *sentences: str, newline: str = "\r\n") -> Path:
    file = path / "log.txt"
    file.write_bytes("".join(s + newline for s in sentences).encode())
    return file


def one(path: Path, *sentences: str, **kwargs: object):
    (track,) = read_tracks(log(path, *sentences), **kwargs)
    return track


def utc(*parts: int) -> float:
    return datetime(*parts, tzinfo=UTC).timestamp()


# --- the published sentences ------------------------------------------------------------------


@pytest.mark.parametrize("sentence", READ)
def test_published_sentences_are_whole(sentence: str) -> None:
    pynmea2.parse(sentence, check=True)
    scan = scan_sentences(f"{sentence}\r\n".encode())
    assert scan.damaged == 0
    assert len(scan.kinds[sentence[3:6]]) == 1


@pytest.mark.parametrize("sentence", READ)
def test_any_changed_character_is_found(sentence: str) -> None:
    for place in range(6, len(sentence)):
        changed = "0" if sentence[place] != "0" else "1"
        altered = sentence[:place] + changed + sentence[place + 1 :]
        scan = scan_sentences(f"{sentence}\r\n{altered}\r\n".encode())
        assert len(scan.kinds[sentence[3:6]]) == 1
        assert scan.damaged == 1 or place == 6  # without its comma it is no sentence


def test_depriest_sentences_say_what_he_says(tmp_path) -> None:
    track = one(tmp_path, *DEPRIEST)
    assert track.lat == pytest.approx([48 + 7.038 / 60], abs=1e-12)
    assert track.lon == pytest.approx([11 + 31 / 60], abs=1e-12)
    assert track.time_s == pytest.approx([utc(1994, 3, 23, 12, 35, 19)])
    assert track.speed_mps == pytest.approx([22.4 * KNOT_MPS], rel=1e-8)
    assert np.degrees(track.heading_rad) == pytest.approx([84.4])


def test_a_ships_log_with_a_counter_before_each_sentence(tmp_path) -> None:
    track = one(tmp_path, *(f"{41 + 44 * i:07d} {s}" for i, s in enumerate(NOAA)))
    assert track.time_s == pytest.approx([utc(2019, 9, 16, 19, 59, 59), utc(2019, 9, 16, 20)])
    told = [pynmea2.parse(s) for s in NOAA if "GGA" in s]
    np.testing.assert_allclose(track.lat, [m.latitude for m in told], atol=1e-12)
    np.testing.assert_allclose(track.lon, [m.longitude for m in told], atol=1e-12)
    assert track.speed_mps == pytest.approx([1.31 * KNOT_MPS, 0.6 * KNOT_MPS], rel=1e-8)
    # Differential, by the dilution that stands beside it.
    dilution = [float(m.horizontal_dil) for m in told]
    assert track.sigma_m == pytest.approx([0.6 * d for d in dilution])


def test_the_error_that_a_receiver_gives_itself_holds_over_its_kind_of_fix(tmp_path) -> None:
    said = signed(f"GPGST,{clock(5)},0.9,,,,0.03,0.04,0.1")
    read = pynmea2.parse(said)
    track = one(tmp_path, gga(5), said, gga(6, 1))
    own = np.sqrt((float(read.std_dev_latitude) ** 2 + float(read.std_dev_longitude) ** 2) / 2)
    assert track.sigma_m == pytest.approx([own, 0.02], rel=1e-3)


# --- pynmea2 as writer and reader -------------------------------------------------------------


def pynmea_drive(n: int = 120) -> list[str]:
    """Two talkers, four kinds, south and west, written by pynmea2."""
    sentences = []
    for i in range(n):
        when = f"{10 + i // 60:02d}{i % 60:02d}{(i * 7) % 60:02d}.{i % 10}0"
        place = (f"33{59.9 - i * 0.013:09.6f}", "S", f"151{12 + i * 0.017:09.6f}", "W")
        talker = ("GP", "GL", "GN")[i % 3]
        quality = "1245"[i % 4]
        more = ("11", "0.9", "10.0", "M", "20.0", "M", "", "")
        speed = (f"{i * 0.05:.2f}", f"{i * 2.5:.1f}")
        day = ("140426", "", "", "A")
        sentences += [
            str(pynmea2.GGA(talker, "GGA", (when, *place, quality, *more))),
            str(pynmea2.RMC(talker, "RMC", (when, "A", *place, *speed, *day))),
            str(pynmea2.GSA(talker, "GSA", ("A", "3", *["07"] * 12, "1.7", "0.9", "1.4"))),
            str(pynmea2.ZDA(talker, "ZDA", (when, "14", "04", "2026", "00", "00"))),
        ]
    return sentences


def test_positions_times_and_speeds_are_those_pynmea2_reads(tmp_path) -> None:
    sentences = pynmea_drive()
    track = one(tmp_path, *sentences)
    read = [pynmea2.parse(s, check=True) for s in sentences]
    fixes = [m for m in read if isinstance(m, pynmea2.GGA)]
    speeds = [m for m in read if isinstance(m, pynmea2.RMC)]
    np.testing.assert_allclose(track.lat, [m.latitude for m in fixes], rtol=0, atol=1e-11)
    np.testing.assert_allclose(track.lon, [m.longitude for m in fixes], rtol=0, atol=1e-11)
    times = [m.datetime.replace(tzinfo=UTC).timestamp() for m in speeds]
    np.testing.assert_allclose(track.time_s, times, rtol=0, atol=1e-6)
    knots = np.array([m.spd_over_grnd for m in speeds])
    np.testing.assert_allclose(track.speed_mps, knots * KNOT_MPS, rtol=1e-8)
    courses = np.array([m.true_course for m in speeds])
    np.testing.assert_allclose(np.degrees(track.heading_rad), courses, atol=1e-9)
    sigma = {1: 2.0, 2: 0.6, 4: 0.02, 5: 0.2}
    expected = [sigma[m.gps_qual] for m in fixes]
    np.testing.assert_allclose(track.sigma_m, expected, rtol=1e-3)


def test_gns_and_vtg_alone(tmp_path) -> None:
    sentences = [
        str(pynmea2.GNS("GN", "GNS", ("101500.20", "4010.5000000", "N", "09330.2500000", "W",
                                      mode, "15", "0.7", "200.1", "-30.1", "1.0", "0001")))
        for mode in ("RR", "FA", "NA")
    ]  # fmt: skip
    sentences = [s.replace("101500", f"10150{i}") for i, s in enumerate(sentences)]
    sentences = [signed(s[1:].partition("*")[0]) for s in sentences]
    motion = signed("GNVTG,90.0,T,,M,10.0,N,18.5,K,A")
    track = one(tmp_path, *(s for fix in sentences for s in (fix, motion)))
    assert track.lat == pytest.approx([40 + 10.5 / 60] * 3)
    assert track.lon == pytest.approx([-93 - 30.25 / 60] * 3)
    assert track.sigma_m == pytest.approx([0.02, 0.2, 2.0], rel=1e-3)
    assert track.speed_mps == pytest.approx([10 * KNOT_MPS] * 3, rel=1e-8)
    assert track.heading_rad == pytest.approx([np.pi / 2] * 3)


# --- time and date ----------------------------------------------------------------------------


def test_midnight_passes_with_and_without_a_date(tmp_path) -> None:
    seconds = 86390 + np.arange(0, 20, 0.2)
    fixes = [gga(s, i) for i, s in enumerate(seconds)]
    undated = one(tmp_path, *fixes)
    np.testing.assert_allclose(undated.time_s, seconds, atol=1e-6)
    assert has(undated.notes, "no date", "--column date=")
    given_day = one(tmp_path, *fixes, columns={"date": "2026-04-14"})
    np.testing.assert_allclose(given_day.time_s, utc(2026, 4, 14) + seconds, atol=1e-6)
    dates = ["140426" if s < 86400 else "150426" for s in seconds]
    both = [s for i, d in enumerate(dates) for s in (fixes[i], rmc(seconds[i], d, i))]
    dated = one(tmp_path, *both)
    np.testing.assert_allclose(dated.time_s, utc(2026, 4, 14) + seconds, atol=1e-6)


def test_one_date_a_minute_is_enough_over_midnight(tmp_path) -> None:
    seconds = 86340 + np.arange(0, 120, 1.0)
    day = signed("GNZDA,235930.00,31,12,2025,00,00")
    fixes = [gga(s, i) for i, s in enumerate(seconds)]
    track = one(tmp_path, *fixes[:31], day, *fixes[31:])
    np.testing.assert_allclose(track.time_s, utc(2025, 12, 31) + seconds, atol=1e-6)


def test_one_date_is_enough_for_a_long_day(tmp_path) -> None:
    seconds = 5 * 3600 + np.arange(0, 20 * 3600, 60.0)
    day = signed("GNZDA,050000.00,14,04,2026,00,00")
    for place in (0, len(seconds)):
        fixes = [gga(s, i) for i, s in enumerate(seconds)]
        fixes.insert(place, day if place == 0 else day.replace("050000", "010000"))
        fixes = [signed(s[1:].partition("*")[0]) for s in fixes]
        track = one(tmp_path, *fixes)
        start = utc(2026, 4, 14 if place == 0 else 13)
        np.testing.assert_allclose(track.time_s, start + seconds, atol=1e-6)


def test_a_night_between_two_days_of_work(tmp_path) -> None:
    evening, morning = 18 * 3600 + np.arange(5), 8 * 3600 + np.arange(5)
    first = [s for i, t in enumerate(evening) for s in (gga(t, i), rmc(t, "140426", i))]
    second = [s for i, t in enumerate(morning, 5) for s in (gga(t, i), rmc(t, "170426", i))]
    track = one(tmp_path, *first, *second)
    expected = np.concatenate([utc(2026, 4, 14) + evening, utc(2026, 4, 17) + morning])
    np.testing.assert_allclose(track.time_s, expected, atol=1e-6)
    assert has(track.warnings, "2 dates")


def test_a_receiver_without_fractions_at_five_hertz(tmp_path) -> None:
    track = one(tmp_path, *(gga(36000 + i // 5, i) for i in range(50)))
    np.testing.assert_allclose(np.diff(track.time_s), 0.2, atol=1e-6)
    assert len(track) == 50


def test_a_wrong_day_is_refused_and_other_columns_are_not_used(tmp_path) -> None:
    with pytest.raises(InputError, match="not a date"):
        one(tmp_path, gga(1), columns={"date": "14.4.26"})
    track = one(tmp_path, gga(1), gga(2, 1), columns={"work": "tool"})
    assert has(track.warnings, "no columns", "work")


# --- quality ----------------------------------------------------------------------------------


def test_places_without_a_fix_are_dropped_and_counted(tmp_path) -> None:
    kinds = [4, 4, 0, 5, 2, 1, 4]
    track = one(tmp_path, *(gga(36000 + i, i, quality=q) for i, q in enumerate(kinds)))
    assert np.isnan(track.lon).tolist() == [q == 0 for q in kinds]
    expected = [0.02, 0.02, np.nan, 0.2, 0.6, 2.0, 0.02]
    np.testing.assert_allclose(track.sigma_m, expected, rtol=1e-3)
    assert has(track.warnings, "left out 1 position", "no fix")
    assert has(track.warnings, "3 positions are not RTK fixed", "2 m")
    assert has(track.notes, "50.0 % RTK fixed")


def test_status_v_is_no_fix_where_nothing_better_is_told(tmp_path) -> None:
    states = "AVA"
    moments = [rmc(36000 + i, "140426", i, status=s) for i, s in enumerate(states)]
    track = one(tmp_path, *moments)
    assert np.isnan(track.lon).tolist() == [False, True, False]
    track = one(tmp_path, *(s for i, m in enumerate(moments) for s in (m, gga(36000 + i, i))))
    assert np.isfinite(track.lon).all()


def test_two_receivers_in_one_log_are_noticed(tmp_path) -> None:
    same = [s for i in range(20) for s in (gga(36000 + i, i), gga(36000 + i, i, talker="GP"))]
    track = one(tmp_path, *same)
    assert len(track) == 20
    assert not has(track.warnings, "two receivers")
    # 0.001 minute further north: 1.85 m.
    other = [s for i in range(20) for s in (gga(36000 + i, i), gga(36000 + i, i + 10, talker="GP"))]
    track = one(tmp_path, *other)
    assert len(track) == 20
    np.testing.assert_allclose(track.lat, 40 + (10 + np.arange(20) * 1e-4) / 60, atol=1e-9)
    assert has(track.warnings, "20 times", "two receivers")


def test_coarse_places_are_said(tmp_path) -> None:
    track = one(tmp_path, DEPRIEST[0], DEPRIEST[0].replace("123519", "123520").replace("47", "4D"))
    assert has(track.warnings, "185 cm only")
    # Rounding to 0.001 minute of latitude (1.853 m), even over a step: step / sqrt(12).
    assert track.sigma_m[0] == pytest.approx(np.hypot(2.0, 1.853 / np.sqrt(12)), rel=1e-3)


def test_never_a_fix(tmp_path) -> None:
    with pytest.raises(InputError, match="never had a fix"):
        one(tmp_path, signed("GPGGA,101500.00,,,,,0,00,99.9,,,,,,"))
    with pytest.raises(InputError, match="GGA, GNS or RMC"):
        one(tmp_path, DEPRIEST[2], GPSD[1])


# --- damage -----------------------------------------------------------------------------------


@pytest.mark.parametrize("newline", ["\r\n", "\n", "\r"])
def test_line_ends_and_a_cut_last_line(tmp_path, newline: str) -> None:
    file = log(tmp_path, *(gga(36000 + i, i) for i in range(20)), newline=newline)
    file.write_bytes(file.read_bytes()[:-30])
    (track,) = read_tracks(file)
    assert len(track) == 19
    assert has(track.warnings, "left out 1 sentence cut off or garbled")


def test_sentences_that_contradict_their_checksum_are_counted(tmp_path) -> None:
    fixes = [gga(36000 + i, i) for i in range(20)]
    fixes[3] = fixes[3].replace("4010", "4011")
    fixes[4] = fixes[4][:25]
    track = one(tmp_path, *fixes)
    assert len(track) == 18
    assert has(track.warnings, "left out 2 sentences")


def test_a_log_without_checksums_is_used_and_said(tmp_path) -> None:
    track = one(tmp_path, *(gga(36000 + i, i).partition("*")[0] for i in range(20)))
    assert len(track) == 20
    assert has(track.warnings, "no checksums")


def test_garbled_throughout(tmp_path) -> None:
    with pytest.raises(InputError, match="none of its 5 sentences"):
        one(tmp_path, *(gga(i).replace("N,", "S,") for i in range(5)))


@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(junk=st.lists(st.binary(max_size=40), min_size=8, max_size=8))
@example([b"\xfe\xff", *[b""] * 6, b"\0"])  # like the mark of text of two bytes a sign
def test_any_bytes_between_sentences_change_nothing(tmp_path, junk: list[bytes]) -> None:
    fixes = [gga(36000 + i, i).encode() for i in range(8)]
    file = tmp_path / "log.ubx"
    file.write_bytes(b"".join(a + b + b"\r\n" for a, b in zip(junk, fixes, strict=True)))
    (track,) = read_tracks(file)
    np.testing.assert_allclose(track.time_s, 36000 + np.arange(8), atol=1e-6)


def test_binary_messages_before_the_first_sentence(tmp_path) -> None:
    file = tmp_path / "log.bin"
    noise = np.random.default_rng(4).integers(0, 256, 30_000, dtype=np.uint8).tobytes()
    file.write_bytes(noise + "\r\n".join(gga(36000 + i, i) for i in range(9)).encode())
    (track,) = read_tracks(file)
    assert len(track) == 9


def test_numbers_that_are_none_are_left_out(tmp_path) -> None:
    odd = [
        "GPGGA,10:15,4010.0,N,09330.0,W,4,12,0.8,200.0,M,-30.0,M,,",
        "GPGGA,251500.00,4010.0,N,09330.0,W,4,12,0.8,200.0,M,-30.0,M,,",
        "GPGGA,101500.00,9910.0,N,09330.0,W,4,12,0.8,200.0,M,-30.0,M,,",
        "GPGGA,101501.00,4075.0,N,09330.0,W,4,12,0.8,200.0,M,-30.0,M,,",
        "GPGGA,101502.00,nan,N,inf,W,4,12,0.8,200.0,M,-30.0,M,,",
    ]
    track = one(tmp_path, *map(signed, odd), gga(36903), gga(36904, 1))
    assert np.isfinite(track.lon).tolist() == [False, False, False, True, True]
    assert has(track.warnings, "left out 2 sentences without a time")


def worn(draw: st.DrawFn, line: str) -> str:
    """A sentence with one character changed or added, its ``$`` and ``*`` left alone."""
    star = line.index("*")
    at = draw(st.integers(7, len(line) - 1).filter(lambda at: at != star))
    if at > star:
        return line[:at] + draw(st.sampled_from("0123456789ABCDEF")) + line[at + 1 :]
    changed = draw(st.characters(min_codepoint=33, max_codepoint=126, exclude_characters="$*"))
    return line[:at] + changed + line[at + draw(st.integers(0, 1)) :]


@st.composite
def worn_lines(draw: st.DrawFn) -> list[str]:
    """Fixes written by pynmea2, a second apart, some of them damaged afterwards."""
    lines = []
    for i in range(draw(st.integers(1, 25))):
        talker = draw(st.sampled_from(["GP", "GN", "GL", "GA"]))
        lat = draw(st.integers(0, 90 * 60 * 10**5 - 1))
        lon = draw(st.integers(1, 180 * 60 * 10**5 - 1))
        place = (
            f"{lat // 6_000_000:02d}{lat % 6_000_000 / 1e5:08.5f}",
            draw(st.sampled_from("NS")),
            f"{lon // 6_000_000:03d}{lon % 6_000_000 / 1e5:08.5f}",
            draw(st.sampled_from("EW")),
        )
        quality = draw(st.sampled_from("124567"))
        more = ("11", "0.9", "10.0", "M", "20.0", "M", "", "")
        line = str(
            pynmea2.GGA(talker, "GGA", (f"10{i // 60:02d}{i % 60:02d}.00", *place, quality, *more))
        )
        if draw(st.integers(0, 3)) == 0:
            line = worn(draw, line)
        lines.append(line)
    return lines


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(lines=worn_lines())
def test_worn_logs_hold_what_pynmea2_finds_in_them(tmp_path, lines: list[str]) -> None:
    # One fix at either end keeps the log from being taken for one without checksums.
    first, last = gga(35000), gga(45000)
    expected = []
    for line in [first, *lines, last]:
        try:
            message = pynmea2.parse(line, check=True)
        except pynmea2.ParseError:
            continue
        expected.append((message.latitude, (message.longitude + 180) % 360 - 180))
    file = log(tmp_path, first, *lines, last)
    (track,) = read_tracks(file)
    found = np.column_stack([track.lat, (track.lon + 180) % 360 - 180])
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-9)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("name", ["log.nmea", "log.txt"])
def test_text_of_two_bytes_a_sign(tmp_path, encoding: str, name: str) -> None:
    lines = "\r\n".join(gga(s, s) for s in range(12)) + "\r\n"
    (tmp_path / "plain.nmea").write_text(lines)
    (tmp_path / name).write_bytes(lines.encode(encoding))
    (plain,), (wide,) = read_tracks(tmp_path / "plain.nmea"), read_tracks(tmp_path / name)
    np.testing.assert_array_equal(wide.lat, plain.lat)
    np.testing.assert_array_equal(wide.time_s, plain.time_s)
