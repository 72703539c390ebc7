"""Logs, tickets, blockages, plans and books that ask for too much."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from functools import reduce
from operator import xor

from hostile.cases import Case, Place, texts
from hostile.sizes import _lines

_HEAD = "time,lon,lat"
_DAY = "2026-04-14T"


def _table(rows: Iterable[str], head: str = _HEAD) -> str:
    return "\n".join([head, *rows]) + "\n"


def _drive(count: int, head: str = _HEAD, more: str = "") -> str:
    return _table(
        (
            f"{_DAY}{12 + i // 3600:02}:{i // 60 % 60:02}:{i % 60:02}Z,-92.33,"
            f"{38.95 + i * 1e-5:.6f}{more}"
            for i in range(count)
        ),
        head,
    )


def _altered(row: str) -> str:
    lines = _drive(100).splitlines()
    lines[50] = row
    return "\n".join(lines)


_TABLES: dict[str, str | bytes] = {
    "two ends of the world": _table(
        f"{_DAY}12:00:{i:02}Z,{-92.33 if i % 2 else 151.2},{38.95 if i % 2 else -33.9}"
        for i in range(60)
    ),
    "one fix far away": _altered(f"{_DAY}12:00:49Z,0,0"),
    "one fix at the pole": _altered(f"{_DAY}12:00:49Z,-92.33,90"),
    "one fix not a number": _altered(f"{_DAY}12:00:49Z,nan,inf"),
    "one fix of a huge number": _altered(f"{_DAY}12:00:49Z,1e308,-1e308"),
    "years": _table(
        f"{1900 + i:04}-04-14T12:00:00Z,-92.33,{38.95 + i * 1e-5:.6f}" for i in range(200)
    ),
    "a gap of a billion seconds": _altered("2057-12-21T12:00:00Z,-92.33,38.9505"),
    "year one": _altered("0001-01-01T00:00:00Z,-92.33,38.9505"),
    "year 9999": _altered("9999-12-31T23:59:59Z,-92.33,38.9505"),
    "year beyond": _altered("99999999-12-31T23:59:59Z,-92.33,38.9505"),
    "seconds without end": _table(f"{10**i},-92.33,{38.95 + i * 1e-5}" for i in range(300)),
    "backwards": _table(
        f"{_DAY}12:{59 - i // 60:02}:{59 - i % 60:02}Z,-92.33,{38.95 + i * 1e-5}"
        for i in range(3000)
    ),
    "one moment": _table(f"{_DAY}12:00:00Z,-92.33,{38.95 + i * 1e-5}" for i in range(20_000)),
    "one place": _table(f"{_DAY}12:00:{i % 60:02}Z,-92.33,38.95" for i in range(20_000)),
    "across a continent": _table(
        f"{_DAY}12:{i // 60:02}:{i % 60:02}Z,{-120 + i * 0.02:.4f},38.95" for i in range(3000)
    ),
    "around the world": _table(
        f"{_DAY}12:{i // 60:02}:{i % 60:02}Z,{-180 + i * 0.1:.4f},0" for i in range(3600)
    ),
    "wide tool": _drive(100, _HEAD + ",width [m]", ",1000000"),
    "endless tool": _drive(100, _HEAD + ",width [m]", ",1e308"),
    "tool below nothing": _drive(100, _HEAD + ",width [m]", ",-6"),
    "long step": _drive(100, _HEAD + ",distance [m]", ",1e12"),
    "great rate": _drive(100, _HEAD + ",rate [kg/ha]", ",1e308"),
    "great speed": _drive(100, _HEAD + ",speed [m/s]", ",1e308"),
    "many rows": _drive(50, _HEAD + "," + ",".join(f"row {i}" for i in range(2000)), ",1" * 2000),
    "many sections": _drive(
        50, _HEAD + "," + ",".join(f"section {i}" for i in range(10**6, 10**6 + 300)), ",1" * 300
    ),
    "section of a great number": _drive(50, _HEAD + ",section_number", ",999999999999"),
    "many machines": _table(
        (f"{_DAY}12:00:{i % 60:02}Z,-92.33,{38.95 + i * 1e-5},m{i}" for i in range(5000)),
        _HEAD + ",machine",
    ),
    "100,000 columns": ",".join(f"c{i}" for i in range(100_000)) + "\n" + "1," * 99_999 + "1\n",
    "columns without names": "," * 100_000 + "\n" + "," * 100_000 + "\n",
    "same columns": "lat," * 5000 + "lon\n" + "1," * 5000 + "1\n",
    "one line": _HEAD + "," + "a" * 100_000_000,
    "one cell": _HEAD + f'\n{_DAY}12:00:00Z,-92.33,"' + "a\n" * 20_000_000,
    "quotes": _HEAD + '\n"' + '""' * 10_000_000,
    "only separators": ";,\t|" * 1_000_000,
    "only ends": "\n" * 20_000_000,
    "carriage returns": "\r" * 5_000_000,
    "zeros": b"\0" * 20_000_000,
    "zeros amid": _drive(50).replace("38.9502", "38\x009502"),
    "formulas": _drive(50, '=HYPERLINK("http://127.0.0.1:1"),lon,lat'),
    "names with controls": _drive(50, "time,lon,lat,\x1b]0;owned\x07\u202e", ",1"),
    "utf-16": _drive(50).encode("utf-16"),
    "utf-32": _drive(50).encode("utf-32"),
    "broken utf-8": b"time,lon,lat,\xff\xfe\n" + b"\xc3\x28," * 100,
    "digits": _altered(f"{_DAY}12:00:49Z,-92.33,{'3' * 1_000_000}"),
    "digits of time": _altered(f"{'9' * 100_000},-92.33,38.9505"),
    "underscores": _altered(f"{_DAY}12:00:49Z,-9_2.3_3,3_8.95"),
    "units": _drive(50, "time,lon,lat,rate [kg^999999999/ha]", ",1"),
    "deep units": _drive(50, "time,lon,lat,rate [" + "(" * 5000 + "kg" + ")" * 5000 + "]", ",1"),
    "code for units": _drive(50, "time,lon,lat,rate [__import__('os').system('id')]", ",1"),
    "power of units": _drive(50, "time,lon,lat,rate [9**9**9 kg/ha]", ",1"),
    "dates of regular expressions": _altered("2" * 50_000 + "-,-92.33,38.95"),
}


def _sentence(body: str) -> str:
    return f"${body}*{reduce(xor, body.encode(), 0):02X}"


_SENTENCES: dict[str, str | bytes] = {
    "sentence without end": "$GPRMC," + "1" * 20_000_000,
    "no ends of lines": "$GPRMC,120000,A,3857,N,09219,W,1,0,140426,,*00" * 100_000,
    "fields": "$GPGGA" + "," * 5_000_000,
    "dates": "\r\n".join(
        _sentence(f"GPRMC,120000.00,A,3857.{i:04},N,09219.0,W,5.0,0.0,0101{i % 100:02},,")
        for i in range(3000)
    ),
    "clock jumps": "\r\n".join(
        _sentence(
            f"GPRMC,{'000000' if i % 2 else '235959'}.00,A,3857.{i:04},N,09219.0,W,5,0,140426,,"
        )
        for i in range(5000)
    ),
    "latitudes beyond": "\r\n".join(
        _sentence(f"GPRMC,1200{i:02}.00,A,9999999.9,N,99999999.9,W,5,0,140426,,") for i in range(60)
    ),
    "not numbers": "\r\n".join(
        _sentence(f"GPRMC,1200{i:02},A,nan,N,inf,W,1e999,-0x10,140426,,") for i in range(60)
    ),
    "binary": b"\xb5\x62" * 1_000_000,
    "binary length lies": b"\xb5\x62\x01\x07\xff\xff" * 100_000,
    "zeros between": "\0".join("$GPGGA,120000,3857,N,09219,W,1,8,1,1,M,1,M,,"),
    "week": "\r\n".join(_sentence(f"GPZDA,120000,99,99,{i:04},00,00") for i in range(3000)),
}
_POINT = '<trkpt lat="{0}" lon="{1}"><time>{2}</time></trkpt>'


def _gpx(points: Iterable[tuple[object, object, object]], more: str = "") -> str:
    inner = "".join(_POINT.format(*point) for point in points)
    return (
        '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk>'
        f"<trkseg>{inner}</trkseg></trk>{more}</gpx>"
    )


_GPX: dict[str, str | bytes] = {
    "far": _gpx((38.95 if i % 2 else -89, -92.33, f"{_DAY}12:00:{i:02}Z") for i in range(60)),
    "not numbers": _gpx(("NaN", "INF", f"{_DAY}12:00:{i:02}Z") for i in range(60)),
    "years": _gpx((38.95 + i * 1e-5, -92.33, f"{i + 1:04}-01-01T00:00:00Z") for i in range(3000)),
    "no times": _gpx((38.95, -92.33, "") for i in range(3000)),
    "times of words": _gpx((38.95, -92.33, "a" * 1000) for i in range(1000)),
    "segments": _gpx([], "<trk>" + "<trkseg/>" * 300_000 + "</trk>"),
    "tracks": _gpx([], "<trk><trkseg/></trk>" * 100_000),
    "routes": _gpx([], "<rte>" + '<rtept lat="1" lon="1"/>' * 100_000 + "</rte>"),
    "links": _gpx([], '<metadata><link href="@URL@/a"/></metadata>'),
    "deep extensions": _gpx(
        [], "<extensions>" + "<a>" * 50_000 + "</a>" * 50_000 + "</extensions>"
    ),
    "long text": _gpx([], f"<metadata><name>{'a' * 50_000_000}</name></metadata>"),
    "namespaces": _gpx([], "<a " + " ".join(f'xmlns:n{i}="u{i}"' for i in range(20_000)) + "/>"),
}

_RAIN: dict[str, str | bytes] = {
    "amounts": _table(
        [f"2024-08-{d:02},{'9' * d}e{d * 10}" for d in range(1, 29)], "date,rain (mm)"
    ),
    "not amounts": _table(["2024-08-01,nan", "2024-08-02,inf", "2024-08-03,-0"], "date,rain (in)"),
    "far apart": _table(["1970-01-01,1", "2100-12-31,1"], "date,rain (in)"),
    "formula": _table(["=cmd|'/C calc'!A0,=1+1"], "date,rain (in)"),
    "controls": _table(["2024-08-01,\x1b[2J\u202e"], "date,rain (in)"),
    "many": _table(["2024-08-01 07:00,0.1"] * 200_000, "date,rain (in)"),
    "many units": _table([f"2024-08-01,{i} furlong{i}" for i in range(20_000)], "date,rain"),
}

_TICKETS = "time,field,event,compartment,product,weight (lb),weighed by"
_LOADS: dict[str, str | bytes] = {
    "weights": _table([f"{_DAY}12:00:00Z,Home,filled,,18-46-0,1e308,"] * 50, _TICKETS),
    "not weights": _table([f"{_DAY}12:00:00Z,Home,filled,,18-46-0,nan,"] * 50, _TICKETS),
    "many": _table([f"{_DAY}12:00:00Z,Home,filled,,18-46-0,100,"] * 200_000, _TICKETS),
    "formula": _table(["=cmd|'/C calc'!A0,Home,filled,,18-46-0,100,"], _TICKETS),
    "controls": _table([f"{_DAY}12:00:00Z,\x1b[2J\u202e,filled,,\x07,100,"], _TICKETS),
    "scale": _table([f"{_DAY}12:00:00Z,Home,filled,,18-46-0,100,truck 1e-300 lb"], _TICKETS),
    "columns": _table(["1," * 50_000], _TICKETS + ",a" * 50_000),
    "one line": _TICKETS + "\n" + "a" * 50_000_000,
    "times": _table(
        [f"{y:04}-01-01T00:00:00Z,Home,filled,,18-46-0,10," for y in range(1, 9999, 7)], _TICKETS
    ),
    "json": json.dumps({"weight": 1}),
}
_STOPS = "start,end,tower"
_BLOCKED: dict[str, str | bytes] = {
    "many": _table([f"{_DAY}12:00:00Z,{_DAY}12:00:10Z,1"] * 200_000, _STOPS),
    "forever": _table(["0001-01-01T00:00:00Z,9999-12-31T23:59:59Z,1"], _STOPS),
    "backwards": _table([f"{_DAY}13:00:00Z,{_DAY}12:00:00Z,1"] * 100, _STOPS),
    "tower": _table([f"{_DAY}12:00:00Z,{_DAY}12:00:10Z,999999999999"], _STOPS),
    "rows": _table([f"{_DAY}12:00:00Z,{_DAY}12:00:10Z,1-999999999999"], "start,end,rows"),
    "list of rows": _table(
        [f'{_DAY}12:00:00Z,{_DAY}12:00:10Z,"{",".join("1" * 100_000)}"'], "start,end,rows"
    ),
    "controls": _table(["\x1b[2J,\u202e,\x07"], _STOPS),
    "one line": _STOPS + "\n" + "a" * 50_000_000,
}


def _plan(**changes: object) -> str:
    visit = {"date": "2026-08-20", "area_m2": 1000.0, "seed_kg": 1.0}
    paddock = {
        "paddock": "Home",
        "workable_m2": 1000.0,
        "window": {"opens": "2026-08-15", "closes": "2026-08-25"},
        "visits": [visit],
    }
    whole = {
        "schema": "evenacre/plan/1",
        "seed": {"product": "clover"},
        "paddocks": [paddock],
        **changes,
    }
    return json.dumps(whole)


_PLANS: dict[str, str | bytes] = {
    "sound": _plan(),
    "many paddocks": _plan(
        paddocks=[
            {"paddock": f"p{i}", "workable_m2": 1.0, "window": None, "visits": []}
            for i in range(50_000)
        ]
    ),
    "many visits": _plan(
        paddocks=[
            {
                "paddock": "Home",
                "workable_m2": 1.0,
                "window": {"opens": "0001-01-01", "closes": "9999-12-31"},
                "visits": [{"date": "2026-08-20", "area_m2": 1.0, "seed_kg": 1.0}] * 50_000,
            }
        ]
    ),
    "long spells": _plan(
        paddocks=[
            {
                "paddock": "Home",
                "workable_m2": 1.0,
                "window": {
                    "opens": "0001-01-01",
                    "closes": "9999-12-31",
                    "spells": [{"first": "0001-01-01", "last": "9999-12-31"}] * 1000,
                },
                "visits": [{"date": "0001-01-01", "area_m2": 1.0, "seed_kg": 1.0}],
            }
        ]
    ),
    "controls": _plan(seed={"product": "\x1b[2J\u202e"}),
    "deep": "[" * 200_000,
    "deep objects": '{"a":' * 100_000,
    "digits": '{"schema": ' + "9" * 5_000_000 + "}",
    "schema": _plan(schema="evenacre/plan/1." + "9" * 100_000),
    "same keys": '{"schema": "evenacre/plan/1", "seed": {}, "seed": {}, "paddocks": []}',
    "null": "null",
    "infinity": _plan().replace("1000.0", "Infinity"),
    "recipe": '{"type": "gdal_streamed_alg", '
    '"command_line": "gdal vector convert @SECRET@ @VICTIM@"}',
    "not unicode": b"\xff\xfe\xff",
}
_BOOKS: dict[str, str | bytes] = {
    "many": "product,setting,rate (lb/ac)\n" + "18-46-0,42,110\n" * 100_000,
    "columns": "product," * 50_000 + "setting\n",
    "formula": "product,setting,rate (lb/ac)\n=cmd|'/C calc'!A0,42,110\n",
    "controls": "product,setting,rate (lb/ac)\n18-46-0,\x1b[2J\u202e,110\n",
    "great": "product,setting,rate (lb/ac)\n18-46-0,42,1e308\n18-46-0,1e308,110\n",
    "one line": "product,setting\n" + "a" * 50_000_000,
    "open quote": 'product,setting\n"' + "a\n" * 5_000_000,
    "zeros": b"\0" * 10_000_000,
    "not a book": b"MZ\x90\0" * 1000,
}


def _linked_book(at: Place) -> str:
    """A book that is a link to a file of somebody else."""
    (at.folder / "book.csv").symlink_to(at.home / "secret.geojson")
    return "book.csv"


def _many_fixes(count: int) -> Callable[[], Iterable[str]]:
    def parts() -> Iterable[str]:
        yield _HEAD + "\n"
        for i in range(0, count, 1000):
            yield "".join(
                f"{1_776_168_000 + j},-92.33,{38.9 + (j % 1000) * 1e-5:.6f}\n"
                for j in range(i, i + 1000)
            )

    return parts


def cases() -> list[Case]:
    """By kind of file."""
    tables = [(f"{n}.csv", t) for n, t in _TABLES.items()]
    return [
        *texts("log", tables, "log "),
        *texts("log", [(f"{name}.nmea", text) for name, text in _SENTENCES.items()], "nmea "),
        *texts("log", [(f"{name}.gpx", text) for name, text in _GPX.items()], "gpx "),
        *texts("tickets", [(f"{n}.csv", t) for n, t in _LOADS.items()], "tickets "),
        *texts("rain", [(f"{n}.csv", t) for n, t in _RAIN.items()], "rain "),
        *texts("blockages", [(f"{n}.csv", t) for n, t in _BLOCKED.items()], "blockages "),
        *texts("plan", [(f"{n}.json", t) for n, t in _PLANS.items()], "plan "),
        *texts("book", [(f"{n}.csv", t) for n, t in _BOOKS.items()], "book "),
        Case(
            "log of ten million fixes", "log", _lines("a.csv", _many_fixes(10_000_000)), heavy=True
        ),
    ]
