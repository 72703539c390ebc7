"""Good small files of every text format, and ways to spoil them."""

from __future__ import annotations

import re
from functools import reduce

from hypothesis import strategies as st

SECONDS = range(12)


def csv_log() -> bytes:
    lines = ["lon,lat,time,speed (km/h),work,width (ft),sections,rate (lb/ac),machine"]
    lines += [
        f"-93.5,{40 + s * 2e-5:.7f},2026-04-14T10:00:{s:02d}Z,8.6,{s % 2},20,1{s % 2}0,150.5,A"
        for s in SECONDS
    ]
    return "\n".join(lines).encode()


def semicolon_log() -> bytes:
    lines = ["field;part;date;time;x;y;dist (m)"]
    lines += [f"1;2;14.04.2026;10:00:{s:02d};455000,{s};4420000,5;0,4" for s in SECONDS]
    return "\r\n".join(lines).encode("latin-1")


def gpx_log() -> bytes:
    points = "".join(
        f'<trkpt lat="{40 + s * 2e-5}" lon="-93.5"><ele>200</ele>'
        f"<time>2026-04-14T10:00:{s:02d}Z</time><extensions><speed>2.4</speed></extensions></trkpt>"
        for s in SECONDS
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" '
        f'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'
    ).encode()


def signed(body: str) -> str:
    """A sentence with its checksum."""
    return f"${body}*{reduce(lambda x, c: x ^ ord(c), body, 0):02X}"


def nmea_log() -> bytes:
    sentences = []
    for s in SECONDS:
        place = f"40{10 + s * 1e-3:09.6f},N,09330.500000,W"
        sentences += [
            signed(f"GNGGA,1000{s:02d}.00,{place},4,12,0.8,200.0,M,-30.0,M,1.0,0001"),
            signed(f"GPRMC,1000{s:02d}.00,A,{place},4.7,0.0,140426,,,R"),
            signed("GPVTG,0.0,T,,M,4.7,N,8.7,K,R"),
            signed(f"GPZDA,1000{s:02d}.00,14,04,2026,00,00"),
        ]
    return "\r\n".join(sentences).encode()


def geojson_log() -> bytes:
    features = ",".join(
        f'{{"type":"Feature","properties":{{"time":"2026-04-14T10:00:{s:02d}Z","work":{s % 2}}},'
        f'"geometry":{{"type":"Point","coordinates":[-93.5,{40 + s * 2e-5:.7f}]}}}}'
        for s in SECONDS
    )
    return f'{{"type":"FeatureCollection","features":[{features}]}}'.encode()


def geojson_boundary() -> bytes:
    ring = "[[-93.5,40],[-93.49,40],[-93.49,40.01],[-93.5,40.01],[-93.5,40]]"
    return (
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"Creek",'
        f'"zone":1}},"geometry":{{"type":"Polygon","coordinates":[{ring}]}}}}]}}'
    ).encode()


def season() -> bytes:
    return b"""farm = "Three Larks Farm"
units = "us"
time_zone = "America/Chicago"
[settings]
skip_min_width = "4 in"
max_gap = "5 s"
[[product]]
name = "18-46-0"
analysis = { N = 18, P2O5 = 46, K2O = 0 }
price = "840 USD/ton"
[[implement]]
name = "drill"
width = "20 ft"
rows = 32
rows_per_tower = 8
sections = [8, 8, 8, 8]
tow = [ { hitch_to_axle = "14 ft", axle_to_pin = "4 ft" } ]
[[field]]
name = "Creek Forty"
boundary = "field.geojson"
[[operation]]
name = "Spring fertilizer"
field = "Creek Forty"
date = 2026-04-14
implement = "drill"
tracks = ["log.csv"]
products = [ { product = "18-46-0", rate = "150 lb/ac" } ]
blockages = "blockages.csv"
"""


def blockages() -> bytes:
    lines = ["start,end,tower"]
    lines += [f"2026-04-14T10:00:0{i}Z,2026-04-14T10:00:0{i + 1}Z,{i % 4 + 1}" for i in range(5)]
    return "\n".join(lines).encode()


LOGS = {
    "log.csv": csv_log(),
    "semicolon.csv": semicolon_log(),
    "log.gpx": gpx_log(),
    "log.nmea": nmea_log(),
    "log.geojson": geojson_log(),
}
"""Logs by a name that shows their format."""

_NUMBER = re.compile(rb"\d+(?:\.\d+)?")
_WORD = re.compile(rb"[A-Za-z]{2,}")
_ODD_NUMBERS = [
    *(b"1e308", b"-1e308", b"1e-320", b"9" * 30, b"-9223372036854775809", b"nan", b"inf", b"-0"),
    *(b"0", b"1e12", b"253402300800", b"4294967296", b"1,5", b"", b"0x10", b"9999-99-99"),
]
_ODD_TEXTS = [
    *(b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b"'", b"\n", b"\r", b",", b";", b"$", b"*"),
    *(b"<", b"&", b"]", b"}", b"null", b"\xc3", b"\xe2\x80\x8b", b"=1+1", b"\\", b"\t", b"," * 300),
]


@st.composite
def spoilt(draw: st.DrawFn, good: bytes) -> bytes:
    """A good file after a few accidents."""
    data = good
    for _ in range(draw(st.integers(1, 4))):
        data = _ACCIDENTS[draw(st.sampled_from(sorted(_ACCIDENTS)))](draw, data)
    return data


def _place(draw: st.DrawFn, data: bytes) -> int:
    return draw(st.integers(0, len(data)))


def _cut(draw: st.DrawFn, data: bytes) -> bytes:
    return data[: _place(draw, data)]


def _drop(draw: st.DrawFn, data: bytes) -> bytes:
    a, b = sorted((_place(draw, data), _place(draw, data)))
    return data[:a] + data[b:]


def _repeat(draw: st.DrawFn, data: bytes) -> bytes:
    a, b = sorted((_place(draw, data), _place(draw, data)))
    return data[:b] + data[a:b] * draw(st.integers(1, 3)) + data[b:]


def _swap(draw: st.DrawFn, data: bytes) -> bytes:
    a, b, c = sorted(_place(draw, data) for _ in range(3))
    return data[:a] + data[b:c] + data[a:b] + data[c:]


def _insert(draw: st.DrawFn, data: bytes) -> bytes:
    at = _place(draw, data)
    piece = draw(st.one_of(st.binary(max_size=30), st.sampled_from(_ODD_TEXTS)))
    return data[:at] + piece + data[at:]


def _odd_number(draw: st.DrawFn, data: bytes) -> bytes:
    return _replace(draw, data, _NUMBER, _ODD_NUMBERS)


def _odd_word(draw: st.DrawFn, data: bytes) -> bytes:
    return _replace(draw, data, _WORD, [*_ODD_NUMBERS, *_ODD_TEXTS])


def _replace(draw: st.DrawFn, data: bytes, kind: re.Pattern[bytes], odd: list[bytes]) -> bytes:
    found = [m.span() for m in kind.finditer(data)]
    if not found:
        return data
    a, b = draw(st.sampled_from(found))
    if draw(st.booleans()):  # everywhere
        return data.replace(data[a:b], draw(st.sampled_from(odd)))
    return data[:a] + draw(st.sampled_from(odd)) + data[b:]


_ACCIDENTS = {
    "cut": _cut,
    "drop": _drop,
    "insert": _insert,
    "odd number": _odd_number,
    "odd word": _odd_word,
    "repeat": _repeat,
    "swap": _swap,
}
