"""Archives that reach out, multiply or pretend."""

from __future__ import annotations

import stat
import struct
import zipfile
import zlib
from collections.abc import Callable

from hostile.cases import Case, Place, collection, texts
from hostile.formats import packed
from hostile.pipelines import _WRITES as RECIPE

_MAP = collection()
_TASKDATA = (
    '<?xml version="1.0" encoding="UTF-8"?><ISO11783_TaskData VersionMajor="4" VersionMinor="2" '
    'ManagementSoftwareManufacturer="a" ManagementSoftwareVersion="1" DataTransferOrigin="1">'
    "{0}</ISO11783_TaskData>"
)
_ZEROS = 60_000_000


def _zip(name: str, content: Callable[[Place], bytes]) -> Callable[[Place], str]:
    return lambda at: at.write(name, content(at))


def _members(members: dict[str, str]) -> Callable[[Place], bytes]:
    return lambda at: packed({at.filled(n): at.filled(c) for n, c in members.items()})


def _link(target: str) -> Callable[[Place], bytes]:
    def make(at: Place) -> bytes:
        name = at.folder / "made.zip"
        with zipfile.ZipFile(name, "w") as archive:
            info = zipfile.ZipInfo("a.geojson")
            info.external_attr = (stat.S_IFLNK | 0o777) << 16
            archive.writestr(info, at.filled(target))
        content = name.read_bytes()
        name.unlink()
        return content

    return make


def _bomb(suffix: str) -> Callable[[Place], bytes]:
    start = _MAP.encode() if suffix == "geojson" else b"SQLite format 3\0"
    return lambda at: packed({f"a.{suffix}": start + b" " * _ZEROS})


def _nested(depth: int) -> bytes:
    content = packed({"a.geojson": " " * 10_000_000})
    for _ in range(depth):
        content = packed({f"{i}.zip": content for i in range(16)})
    return content


def _overlapping(count: int, suffix: str, size: int = 20_000_000) -> bytes:
    """Every name leads to the same few bytes, which grow great when taken out.

    The directory of a zip may list as many members as it likes, all at one offset.
    """
    data = b" " * size
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    body = packer.compress(data) + packer.flush()
    names = [f"{i:05}.{suffix}".encode() for i in range(count)]
    sizes = struct.pack(
        "<HHHHHIIIHH", 20, 0, 8, 0, 0, zlib.crc32(data), len(body), size, len(names[0]), 0
    )
    local = b"PK\3\4" + sizes + names[0] + body
    entry = b"PK\1\2\x14\0" + sizes + struct.pack("<HHHII", 0, 0, 0, 0, 0)
    directory = b"".join(entry + name for name in names)
    listed = min(count, 0xFFFF)
    end = struct.pack("<4sHHHHIIH", b"PK\5\6", 0, 0, listed, listed, len(directory), len(local), 0)
    return local + directory + end


def _flagged(content: bytes, flag: int) -> bytes:
    """Set a flag of every member, as of one that is locked."""
    altered = bytearray(content)
    for mark, offset in ((b"PK\3\4", 6), (b"PK\1\2", 8)):
        place = altered.find(mark)
        while place >= 0:
            altered[place + offset] |= flag
            place = altered.find(mark, place + 4)
    return bytes(altered)


def _sized(content: bytes, size: int) -> bytes:
    """Say another size of every member than it has."""
    altered = bytearray(content)
    for mark, offset in ((b"PK\3\4", 22), (b"PK\1\2", 24)):
        place = altered.find(mark)
        while place >= 0:
            struct.pack_into("<I", altered, place + offset, size)
            place = altered.find(mark, place + 4)
    return bytes(altered)


_NAMES = {
    "slip": "../../../../secret.geojson",
    "slip back": "..\\..\\secret.geojson",
    "absolute": "/etc/cron.d/a.geojson",
    "absolute home": "@HOME@/new.geojson",
    "drive": "C:\\Windows\\a.geojson",
    "share": "\\\\127.0.0.1\\share\\a.geojson",
    "device": "CON.geojson",
    "device folder": "aux/nul.geojson",
    "stream": "a.geojson:hidden.geojson",
    "controls": "a\x1b[2J\x07.geojson",
    "newline": "a\n/vsicurl/x.geojson",
    "long": "a" * 60_000 + ".geojson",
    "deep": "a/" * 20_000 + "a.geojson",
    "address": "vsicurl/http:/127.0.0.1:1/a.geojson",
    "braces": "{/vsicurl/@URL@/}/a.geojson",
    "archive in the name": "a.zip/b.zip/c.geojson",
    "query": "a.geojson?x=1.geojson",
    "not unicode": "\udcff.geojson".encode("utf-8", "replace").decode(),
    "right to left": "a\u202enosjoeg.geojson",
}
_INSIDE = {
    "recipe.geojson": RECIPE,
    "recipe.gdalg.json": RECIPE,
    "a.json": RECIPE,
    "a.gpkg": RECIPE,
    "a.kml": '<OGRVRTDataSource><OGRVRTLayer name="secret-neighbour"><SrcDataSource>@SECRET@'
    "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
    "late.kml": " " * 5000 + '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>@SECRET@'
    "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
    "b.kml": "<OGRWFSDataSource><URL>@URL@</URL></OGRWFSDataSource>",
    "a.vrt": '<OGRVRTDataSource><OGRVRTLayer name="a"/></OGRVRTDataSource>',
}
_TASK_FILES = {
    "slip": '<XFR A="../../secret" B="1"/><TSK A="TSK1" G="3"><TLG A="../../secret"/></TSK>',
    "absolute": '<XFR A="/etc/passwd" B="1"/><TSK A="TSK1" G="3"><TLG A="/etc/passwd"/></TSK>',
    "url": '<XFR A="@URL@/a" B="1"/>',
    "itself": '<XFR A="TASKDATA" B="1"/>',
    "ten thousand": "".join(f'<XFR A="XFR{i:05}" B="1"/>' for i in range(10_000)),
    "grid of billions": '<TSK A="TSK1" G="1"><GRD A="0" B="0" C="1e-9" D="1e-9" E="4000000000" '
    'F="4000000000" G="GRD00001" I="1"/></TSK>',
    "grid below nothing": '<TSK A="TSK1" G="1"><GRD A="0" B="0" C="1" D="1" E="-5" F="-5" '
    'G="GRD00001" I="2" J="0"/></TSK>',
    "log named out": '<TSK A="TSK1" G="3"><TLG A="TLG00001/../../x" C="1"/></TSK>',
    "log by an address": '<TSK A="TSK1" G="3"><TLG A="/vsicurl/@URL@/x" C="1"/></TSK>',
    "partfields": "".join(f'<PFD A="PFD{i}" C="a" D="1"/>' for i in range(100_000)),
    "points": '<PFD A="PFD1" C="a" D="1"><PLN A="1"><LSG A="1">'
    + '<PNT A="2" C="38.95" D="-92.33"/>' * 200_000
    + "</LSG></PLN></PFD>",
    "far points": '<PFD A="PFD1" C="a" D="1"><PLN A="1"><LSG A="1">'
    + "".join(f'<PNT A="2" C="{y}" D="{x}"/>' for x, y in ((0, 0), (1e308, 0), ("NaN", "INF")))
    + "</LSG></PLN></PFD>",
    "ids": "".join('<PFD A="PFD1" C="a" D="1"/>' for _ in range(1000)),
    "names": '<PFD A="PFD1" C="&#x202e;&#27;[2J" D="1"/>'.replace("&#27;", "\x7f"),
    "long name": f'<PFD A="PFD1" C="{"a" * 20_000_000}" D="1"/>',
    "devices": '<DVC A="DVC1" B="a">'
    + "".join(f'<DET A="DET{i}" B="{i}" C="2" E="{i}" F="{i}"/>' for i in range(1, 20_000))
    + "</DVC>",
    "device in itself": '<DVC A="DVC1"><DET A="DET1" B="1" C="1" E="1" F="1"/></DVC>',
}


def _task_folder(inner: str, files: dict[str, bytes] | None = None) -> Callable[[Place], str]:
    def make(at: Place) -> str:
        at.write("TASKDATA/TASKDATA.XML", _TASKDATA.replace("{0}", inner))
        for name, content in (files or {}).items():
            at.write(f"TASKDATA/{name}", content)
        return "TASKDATA"

    return make


_TIMELOG = '<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="0001" B="" C="DET1"/></TIM>'
_LOGGED = (
    '<DVC A="DVC1" B="drill" C="1" D="A000000000000000" F="00000000000000" G="FF000000006E65">'
    '<DET A="DET1" B="1" C="1" E="1" F="0"/></DVC><TSK A="TSK1" G="4"><TLG A="TLG00001"/></TSK>'
)


def _records(place: tuple[float, float, float, float], step_ms: int, days: int) -> bytes:
    """Positions that jump between two places on the globe, as the standard packs them."""
    record = b""
    for i in range(2000):
        y, x = place[:2] if i % 2 else place[2:]
        record += struct.pack(
            "<IHiiBBBi",
            *((i * step_ms) % 86_400_000, (i * days) % 65536, int(y * 1e7), int(x * 1e7), 1),
            *(1, 0, 1000),
        )
    return record


_TIMED = {
    "two ends of the world": _records((38.95, -92.33, -89.9, 179.9), 1000, 0),
    "years": _records((38.95, -92.33, 38.9501, -92.33), 1000, 30),
    "nowhere": _records((0, 0, 0, 0), 1000, 0),
    "noise": bytes(i * 137 % 256 for i in range(100_000)),
    "values lie": struct.pack("<IHiiBB", 0, 0, 389500000, -923300000, 1, 255) * 1000,
    "ends amid": b"\0" * 7,
}


def _task_links(at: Place) -> str:
    """Task data whose log is a link to another file."""
    _task_folder(_LOGGED, {"TLG00001.XML": _TIMELOG.encode()})(at)
    (at.folder / "TASKDATA" / "TLG00001.BIN").symlink_to("../secret-neighbour.geojson")
    return "TASKDATA"


def cases() -> list[Case]:
    """Names, links, bombs, disguises; and task data, which comes in archives."""
    plain = packed({"a.geojson": _MAP})
    bombs: dict[str, tuple[str, Callable[[Place], bytes]]] = {
        "nested": ("a.zip", lambda at: _nested(3)),
        "bomb of json": ("a.zip", _bomb("geojson")),
        "bomb of a database": ("a.zip", _bomb("gpkg")),
        "bomb of kml": ("a.zip", _bomb("kml")),
        "overlapping": ("a.zip", lambda at: _overlapping(5000, "geojson")),
        "overlapping kml": ("a.zip", lambda at: _overlapping(5000, "kml")),
        "many members": ("a.zip", lambda at: _overlapping(60_000, "txt", 0)),
        "many maps": ("a.zip", lambda at: _overlapping(3_000, "geojson", 0)),
        "locked": ("a.zip", lambda at: _flagged(plain, 1)),
        "strongly locked": ("a.zip", lambda at: _flagged(plain, 0x41)),
        "size lies small": ("a.zip", lambda at: _sized(plain, 1)),
        "size lies large": ("a.zip", lambda at: _sized(plain, 0xFFFFFFF0)),
        "cut off": ("a.zip", lambda at: plain[:-30]),
        "comment": ("a.zip", lambda at: plain[:-2] + struct.pack("<H", 60000) + b"\x1b[2J" * 15000),
        "behind an image": ("a.zip", lambda at: b"\x89PNG\r\n\x1a\n" + b"\0" * 999 + plain),
        "behind a map": ("a.zip", lambda at: _MAP.encode() + plain),
        "behind a map, named so": ("a.geojson", lambda at: _MAP.encode() + plain),
        "behind a script": ("a.zip", lambda at: b"#!/bin/sh\ntouch written\n" + plain),
        "two directories": ("a.zip", lambda at: plain + packed({"a.geojson": at.filled(RECIPE)})),
        "same name twice": ("a.zip", _twice),
        "only folders": ("a.zip", lambda at: packed({"a.geojson/": "", "b.shp/": ""})),
        "empty": ("a.zip", lambda at: b"PK\5\6" + b"\0" * 18),
        "no zip": ("a.zip", lambda at: b"PK\3\4" + b"\xff" * 300),
        "method": ("a.zip", lambda at: _methods(plain)),
        "kmz bomb": ("a.kmz", lambda at: packed({"doc.kml": " " * _ZEROS})),
        "kmz in zip": ("a.zip", lambda at: packed({"a.kmz": packed({"doc.kml": "<kml/>"})})),
        "zip in zip": ("a.zip", lambda at: packed({"a.zip": plain})),
        "shapefile without parts": ("a.zip", lambda at: packed({"a.shp": b"\0\0\x27\x0a" * 30})),
    }
    tasks: dict[str, Callable[[Place], bytes]] = {
        "bomb": lambda at: packed({"TASKDATA/TASKDATA.XML": " " * _ZEROS}),
        "log bomb": lambda at: packed(
            {
                "TASKDATA/TASKDATA.XML": _TASKDATA.replace("{0}", _LOGGED),
                "TASKDATA/TLG00001.XML": _TIMELOG,
                "TASKDATA/TLG00001.BIN": b"\0" * _ZEROS,
            }
        ),
        "grid bomb": lambda at: packed(
            {
                "TASKDATA/TASKDATA.XML": _TASKDATA.replace("{0}", _TASK_FILES["grid of billions"]),
                "TASKDATA/GRD00001.BIN": b"\0" * _ZEROS,
            }
        ),
        "slip": lambda at: packed({"../TASKDATA/TASKDATA.XML": _TASKDATA.replace("{0}", "")}),
        "two of them": lambda at: packed(
            {f"{i}/TASKDATA.XML": _TASKDATA.replace("{0}", "") for i in range(2000)}
        ),
        "overlapping": lambda at: _overlapping(3000, "XML"),
        "nested": lambda at: _nested(3),
        "many zips": lambda at: packed(
            {
                f"{i}.zip": packed({f"{i}/TASKDATA.XML": _TASKDATA.replace("{0}", str(i))})
                for i in range(1_500)
            }
        ),
        "many sets": lambda at: packed(
            {
                f"{i}.zip": packed({f"{i}/TASKDATA.XML": _TASKDATA.replace("{0}", str(i))})
                for i in range(300)
            }
        ),
        "locked": lambda at: _flagged(
            packed({"TASKDATA/TASKDATA.XML": _TASKDATA.replace("{0}", "")}), 1
        ),
    }
    logs: dict[str, Callable[[Place], bytes]] = {
        "nested": lambda at: _nested(3),
        "bomb of a table": lambda at: packed({"a.csv": "time,lon,lat\n" + " " * _ZEROS}),
        "bomb in a zip": lambda at: packed({"a.zip": packed({"a.csv": " " * _ZEROS})}),
        "many zips": lambda at: packed({f"{i}.zip": plain for i in range(3_000)}),
        "many tables": lambda at: packed({f"{i}.csv": "time,lon,lat\n" for i in range(1_500)}),
        "slip in a zip": lambda at: packed({"a.zip": packed({"../../a.csv": "time,lon,lat\n"})}),
    }
    return [
        *(Case(f"zip of logs {n}", "log", _zip("a.zip", c)) for n, c in logs.items()),
        *(
            Case(f"zip name {name}", "map", _zip("a.zip", _members({member: _MAP})))
            for name, member in _NAMES.items()
        ),
        *(
            Case(f"zip with {name}", "map", _zip("a.zip", _members({name: text})))
            for name, text in _INSIDE.items()
        ),
        Case("zip link to a file", "map", _zip("a.zip", _link("@SECRET@"))),
        Case("zip link far", "map", _zip("a.zip", _link("/etc/passwd"))),
        *(Case(f"zip {name}", "map", _zip(*content)) for name, content in bombs.items()),
        *(Case(f"task data zip {n}", "task data", _zip("a.zip", c)) for n, c in tasks.items()),
        *(
            Case(f"task data {name}", "task data", _task_folder(inner))
            for name, inner in _TASK_FILES.items()
        ),
        *(
            Case(
                f"task data log {name}",
                "task data",
                _task_folder(_LOGGED, {"TLG00001.XML": _TIMELOG.encode(), "TLG00001.BIN": content}),
            )
            for name, content in _TIMED.items()
        ),
        Case("task data linked log", "task data", _task_links),
        *texts("task data", [("a.zip", plain), ("TASKDATA.XML", "<" * 100_000)], "task data no "),
    ]


def _twice(at: Place) -> bytes:
    name = at.folder / "made.zip"
    with zipfile.ZipFile(name, "w") as archive:
        archive.writestr("a.geojson", _MAP)
        info = zipfile.ZipInfo("a.geojson")
        archive.filelist.append(info) if False else archive.writestr(
            "./a.geojson", at.filled(RECIPE)
        )
    content = name.read_bytes()
    name.unlink()
    return content


def _methods(content: bytes) -> bytes:
    """Say that members were packed in a way nobody knows."""
    altered = bytearray(content)
    for mark, offset in ((b"PK\3\4", 8), (b"PK\1\2", 10)):
        struct.pack_into("<H", altered, altered.find(mark) + offset, 99)
    return bytes(altered)
