"""Accidents that files have: what is wrong with each depends on what kind of file it is.

Every accident leaves a file that its format's own reader still takes for one of its kind more
often than not, so that what is behind that reader is reached. A seed always gives the same.
"""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import io
import json
import re
import sqlite3
import struct
import tomllib
import zipfile
from collections.abc import Callable
from functools import reduce
from random import Random
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")
_WORD = re.compile(rb"[A-Za-z]{2,}")
_ODD_NUMBERS = [
    *(b"1e308", b"-1e308", b"1e-320", b"9" * 30, b"-9223372036854775809", b"nan", b"inf", b"-0"),
    *(b"0", b"1e12", b"253402300800", b"4294967296", b"1,5", b"", b"0x10", b"9999-99-99", b"-1"),
    *(b"91", b"-181", b"360", b"1", b"2", b"1e400", b"0.0000001", b"1e15", b"65535"),
]
_ODD_TEXTS = [
    *(b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b"'", b"\n", b"\r", b",", b";", b"$", b"*"),
    *(b"<", b"&", b"]", b"}", b"null", b"\xc3", b"\xe2\x80\x8b", b"=1+1", b"\\", b"\t", b"," * 300),
    *("١٢٣".encode(), "½".encode(), "²".encode(), b"\xed\xa0\x80", b"\x85", b"\x1f", b"%s", b"{}"),
    *(b"[" * 3000, b'{"a":' * 3000, b"9" * 5000, b"<a>" * 300),
]
_ODD_CELLS = [
    *("2026-04-14T10:00:00Z", "2026-04-14 10:00:00", "14.04.2026", "4/14/2026 10:00:00 PM"),
    *("10:00:00", "24:00", "0:60", "1776174000", "1776174000000", "46126.5", "2026-13-01"),
    *("0001-01-01", "9999-12-31T23:59:59Z", "2026-04-14T10:00:00+25:00", "+14:00", "today"),
    *("true", "off", "0101", "2", "11111111", "0b11", "1;0", "20 ft", "1e400 lb", "-5 kg", "1-9"),
    *("9-1", "tower 3", "filled", "remaining", "N", "W", "93°30'W", "5'6\"", "x" * 400, "١٢", "½"),
]
_HEADERS = [
    *("lon", "lat", "x", "y", "time", "date", "start", "end", "elapsed (s)", "time of day", "work"),
    *("speed [mph]", "heading", "interval (s)", "dist (in)", "width (m)", "machine", "sections"),
    *("rows", "section_number", "row_number", "section 1", "section 2", "row 1", "state", "tower"),
    *("rate (kg/ha)", "rate 18-46-0 (lb/ac)", "flow (lb/s)", "mass", "target rate", "utm_e", "GPS"),
    *("event", "weight (lb)", "weight", "product", "compartment", "field", "operation", "cause"),
    *("weighed by", "resolution", "setting", "roller", "fan", "rate [kg/ha]", "scatter [%]"),
    *("complete", "bulk density [lb/bu]", "ground speed [mph]", "catches", "target", "", "rate []"),
]
_ODD_VALUES: list[Any] = [
    *(None, True, False, 0, -1, 1, 2, 1e308, -1e308, 1e-320, 10**30, 2**63, float("nan"), 0.5),
    *(float("inf"), "", " ", "nan", "inf", "\0", "½", "é" * 300, [], {}, [[]], [None], {"a": 1}),
    *("20 ft", "-5 lb/ac", "1e400 lb", "0 m", "5 lb/parsec", "30 days", "12 h", "3 %", "1 USD/ton"),
    *("2026-04-14", "0001-01-01", "9999-12-31", "2026-02-30", "10:00", "24:00", "-9"),
    *(dt.date(2026, 4, 14), dt.date(1, 1, 1), dt.date(9999, 12, 31), dt.time(10), dt.time(0)),
    *(dt.datetime(2026, 4, 14, 10), dt.datetime(1, 1, 1, tzinfo=dt.UTC), "../x", "America/Chicago"),
]
_BINARY = [
    *(struct.pack(f"<{code}", value) for code in "bhi" for value in (0, 1, -1, 127, -128)),
    *(struct.pack("<H", v) for v in (0x7FFF, 0x8000, 0xFFFF)),
    *(struct.pack("<I", v) for v in (0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 86_400_000, 9_000_000)),
    *(struct.pack("<d", v) for v in (float("nan"), float("inf"), 1e308, 91.0, -181.0, 0.0)),
]
_MOST_UNPACKED = 1 << 20
Accident = Callable[[bytes, Random], bytes]


def spoil(content: bytes, chance: Random, kind: str) -> bytes:
    """A file of a kind (its ending) after one to four accidents."""
    accidents = _BY_KIND.get(kind, (_text,))
    for _ in range(chance.choice((1, 1, 2, 4))):
        content = chance.choice(accidents)(content, chance)
    return content


# --- bytes ---------------------------------------------------------------------------------------


def _bytes(data: bytes, chance: Random) -> bytes:
    """Flip, overwrite, cut, drop, repeat or move bytes."""
    a, b = sorted(chance.randrange(len(data) + 1) for _ in range(2))
    b = min(b, a + chance.choice((1, 4, 16, 1 << 20)))
    match chance.randrange(7):
        case 0 | 1 | 2:
            odd = chance.choice(_BINARY)
            return data[:a] + odd + data[a + len(odd) :]
        case 3:
            return data[:a] + bytes([chance.randrange(256)]) + data[a + 1 :]
        case 4:
            return data[:a] if chance.random() < 0.3 else data[:a] + data[b:]
        case 5:
            return data[:b] + data[a:b] * chance.randint(1, 3) + data[b:]
        case _:
            return data[b:] + data[a:b] if chance.random() < 0.1 else data[:a] + data[a:b][::-1]


# --- text ----------------------------------------------------------------------------------------


def _text(data: bytes, chance: Random) -> bytes:
    """Put an odd number or word in the place of one, or of all that are the same."""
    kind, odd = chance.choice(((_NUMBER, _ODD_NUMBERS), (_WORD, _ODD_NUMBERS + _ODD_TEXTS)))
    found = [m.span() for m in kind.finditer(data)]
    if not found or chance.random() < 0.2:
        a = chance.randrange(len(data) + 1)
        return data[:a] + chance.choice(_ODD_TEXTS) + data[a:]
    a, b = chance.choice(found)
    if chance.random() < 0.2:
        return data.replace(data[a:b], chance.choice(odd))
    return data[:a] + chance.choice(odd) + data[b:]


def _lines(data: bytes, chance: Random) -> bytes:
    """Drop, repeat, swap or join lines; change how they end, or how they are encoded."""
    lines = data.split(b"\n")
    a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
    match chance.randrange(8):
        case 0:
            del lines[a]
        case 1:
            lines.insert(b, lines[a])
        case 2:
            lines[a], lines[b] = lines[b], lines[a]
        case 3:
            lines[a : a + 1] = lines[a : a + 1] * chance.choice((2, 20))
        case 4:
            lines[a : a + 2] = [b"".join(lines[a : a + 2])]
        case 5:
            return data.replace(b"\n", chance.choice((b"\r\n", b"\r", b"\n\n", b"")))
        case 6:
            with contextlib.suppress(UnicodeError):
                text = data.decode()
                return text.encode(chance.choice(("utf-16", "utf-16-be", "latin-1", "utf-8-sig")))
        case _:
            lines = lines[:a]
    return b"\n".join(lines)


# --- tables of text ------------------------------------------------------------------------------


def _cells(data: bytes, chance: Random) -> bytes:
    """Change cells, columns, their names or the separator of a table."""
    text = data.decode("utf-8", errors="replace")
    separator = max(",;\t|", key=text.count)
    try:
        rows = [row for row in csv.reader(io.StringIO(text), delimiter=separator) if row]
    except csv.Error:
        return _text(data, chance)
    if not rows:
        return _text(data, chance)
    column = chance.randrange(max(len(row) for row in rows))
    other = chance.randrange(max(len(row) for row in rows))
    act = chance.randrange(8)
    if act == 0:  # one cell
        row = chance.choice(rows)
        row[chance.randrange(len(row))] = _odd_cell(chance)
    elif act == 1:
        rows[0][chance.randrange(len(rows[0]))] = chance.choice(_HEADERS)
    elif act == 2:
        separator = chance.choice(",;\t|")
    elif act == 3:
        rows = [[cell.replace(".", ",") for cell in row] for row in rows]
    for number, row in enumerate(rows):
        if column >= len(row) or other >= len(row):
            continue
        if act == 4 and number:
            row[column] = chance.choice((row[other], str(number), ""))
        elif act == 5:
            row[column], row[other] = row[other], row[column]
        elif act == 6:
            row.insert(column, row[other] if number else chance.choice(_HEADERS))
        elif act == 7:
            del row[column]
    if act == 4 and chance.random() < 0.7:
        odd = _odd_cell(chance)
        rows[1:] = [[*row[:column], odd, *row[column + 1 :]] for row in rows[1:]]
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator="\n").writerows(rows)
    return out.getvalue().encode(errors="replace")


def _odd_cell(chance: Random) -> str:
    if chance.random() < 0.5:
        return chance.choice(_ODD_CELLS)
    return chance.choice(_ODD_NUMBERS + _ODD_TEXTS).decode(errors="replace")


def _sentences(data: bytes, chance: Random) -> bytes:
    """Change a part of an NMEA sentence and sign it again."""
    found = list(re.finditer(rb"\$([^*\r\n]*)\*[0-9A-Fa-f]{2}", data))
    if not found:
        return _text(data, chance)
    sentence = chance.choice(found)
    parts = sentence[1].split(b",")
    place = chance.randrange(len(parts))
    odd = [*_ODD_NUMBERS, b"240000.00", b"235960.99", b"311226", b"000000", b"9060.0", b"18060.0"]
    match chance.randrange(4):
        case 0:
            kinds = (b"GGA", b"RMC", b"GNS", b"ZDA", b"VTG", b"GLL")
            parts[0] = parts[0][:2] + chance.choice(kinds)
        case 1:
            del parts[place]
        case _:
            parts[place] = chance.choice(odd)
    body = b",".join(parts)
    fresh = b"$%s*%02X" % (body, reduce(lambda x, c: x ^ c, body, 0))
    if chance.random() < 0.2:
        return data.replace(sentence[0], fresh)
    return data[: sentence.start()] + fresh + data[sentence.end() :]


# --- trees ---------------------------------------------------------------------------------------


def _json(data: bytes, chance: Random) -> bytes:
    try:
        tree = json.loads(data)
    except (ValueError, RecursionError):
        return _text(data, chance)
    return json.dumps(_branch(tree, chance), default=str).encode(errors="replace")


def _toml(data: bytes, chance: Random) -> bytes:
    try:
        tree = tomllib.loads(data.decode())
    except (ValueError, RecursionError):
        return _text(data, chance)
    return "\n".join(_pairs(_branch(tree, chance))).encode(errors="replace")


def _branch(tree: Any, chance: Random) -> Any:
    """Change, drop, repeat, rename or move a value somewhere in a tree."""
    places: list[tuple[Any, Any]] = []
    pending = [tree] if isinstance(tree, dict | list) else []
    while pending:
        node = pending.pop()
        inside = node.items() if isinstance(node, dict) else enumerate(node)
        for key, value in inside:
            places.append((node, key))
            if isinstance(value, dict | list):
                pending.append(value)
    if not places:
        return {"a": tree}
    (node, key), (from_node, from_key) = chance.choice(places), chance.choice(places)
    value = node[key]
    match chance.randrange(8):
        case 0 if isinstance(value, str):
            node[key] = _text(value.encode(errors="replace"), chance).decode(errors="replace")
        case 1 if isinstance(value, int | float):
            node[key] = value * chance.choice((-1, 0, 0.5, 2, 1e-9, 1e9)) + chance.randint(-1, 1)
        case 2:
            del node[key]
        case 3:
            node[key] = json.loads(json.dumps(from_node[from_key], default=str))
        case 4 if isinstance(node, list):
            node.insert(chance.randrange(len(node) + 1), value)
        case 4:
            node[str(from_key)] = node.pop(key)
        case 5:
            node[key] = [value]
        case _:
            node[key] = chance.choice(_ODD_VALUES)
    return tree


def _pairs(table: dict[str, Any]) -> list[str]:
    return [f"{json.dumps(str(key))} = {_as_toml(value)}" for key, value in table.items()]


def _as_toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, list):
        return f"[{', '.join(_as_toml(v) for v in value)}]"
    if isinstance(value, dict):
        return f"{{{', '.join(_pairs(value))}}}"
    return json.dumps("" if value is None else value).replace("\x7f", "")


_VALUE = re.compile(rb'"([^"<>]*)"|>([^<>]+)<')
_ELEMENT = re.compile(rb"<([\w:]+)\b[^<>]*?(?:/>|>.*?</\1>)", re.DOTALL)


def _xml(data: bytes, chance: Random) -> bytes:
    """Change an attribute or a text, or drop, repeat or move an element."""
    act = chance.randrange(6)
    found = list((_VALUE if act < 3 else _ELEMENT).finditer(data))
    if not found:
        return _text(data, chance)
    one, other = chance.choice(found), chance.choice(found)
    if act < 3:
        a, b = one.span(1 if one[1] is not None else 2)
        odd = [*_ODD_NUMBERS, *(c.encode() for c in _ODD_CELLS), other[1] or other[2] or b""]
        fresh = chance.choice(odd).replace(b'"', b"")
        if act == 0:
            fresh = _text(data[a:b], chance)
        return data[:a] + fresh + data[b:]
    if act == 3:
        return data[: one.start()] + data[one.end() :]
    if act == 4:
        return data[: one.end()] + one[0] * chance.choice((1, 1, 30)) + data[one.end() :]
    return data[: one.start()] + other[0] + data[one.end() :]


# --- containers ----------------------------------------------------------------------------------


def unpacked(content: bytes) -> list[tuple[str, bytes]]:
    """Members of a small zip; none of one that is damaged."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = archive.infolist()
            if sum(member.file_size for member in members) > _MOST_UNPACKED:
                return []
            return [(member.filename, archive.read(member)) for member in members]
    except Exception:  # each way of being damaged has an error of its own
        return []


def packed(members: list[tuple[str, bytes]]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in members:
            archive.writestr(zipfile.ZipInfo(name), data)
    return out.getvalue()


def _members(data: bytes, chance: Random) -> bytes:
    """Spoil a member of a zip, or drop, rename, repeat or swap members."""
    members = unpacked(data)
    if not members:
        return _bytes(data, chance)
    a, b = chance.randrange(len(members)), chance.randrange(len(members))
    (name, content), (other_name, other) = members[a], members[b]
    match chance.randrange(12):
        case 0:
            del members[a]
        case 1:
            odd = (other_name, name.lower(), name[:3], "../x", name.replace(".", "2."), "é.xml", "")
            members[a] = (chance.choice(odd) or "x", content)
        case 2:
            members[a], members[b] = (name, other), (other_name, content)
        case _:
            kind = name.rpartition(".")[2].lower()
            members[a] = (name, chance.choice(_BY_KIND.get(kind, (_bytes,)))(content, chance))
    try:
        return packed(members)
    except (UnicodeError, ValueError, struct.error):
        return data


def _database(data: bytes, chance: Random) -> bytes:
    """Change cells, rows or columns of a GeoPackage."""
    try:
        with contextlib.closing(sqlite3.connect(":memory:")) as base:
            base.deserialize(data)
            kinds = "SELECT name FROM sqlite_master WHERE type = ?"
            for (trigger,) in base.execute(kinds, ("trigger",)).fetchall():
                base.execute(f'DROP TRIGGER "{trigger}"')
            table = chance.choice(base.execute(kinds, ("table",)).fetchall())[0]
            columns = [row[1] for row in base.execute(f'PRAGMA table_info("{table}")')]
            column = chance.choice(columns)
            rows = base.execute(f'SELECT rowid, "{column}" FROM "{table}"').fetchall()
            row, value = chance.choice(rows) if rows else (0, None)
            act = chance.randrange(10)
            if act == 0:
                base.execute(f'DELETE FROM "{table}" WHERE rowid = ?', (row,))
            elif act == 1:
                fresh = chance.choice(_HEADERS)
                base.execute(f'ALTER TABLE "{table}" RENAME COLUMN "{column}" TO "{fresh}"')
            elif act == 2:
                base.execute(f'UPDATE "{table}" SET "{column}" = ?', (_odd_stored(value, chance),))
            else:
                base.execute(
                    f'UPDATE OR REPLACE "{table}" SET "{column}" = ? WHERE rowid = ?',
                    (_odd_stored(value, chance), row),
                )
            base.commit()
            return base.serialize()
    except (sqlite3.Error, IndexError, OverflowError, UnicodeError, MemoryError):  # or no bytes
        return _bytes(data, chance)


def _odd_stored(value: Any, chance: Random) -> Any:
    if isinstance(value, bytes) and chance.random() < 0.8:
        return _bytes(value, chance)
    odd = chance.choice([*_ODD_VALUES, *_ODD_CELLS])
    return odd if isinstance(odd, float | None) else str(odd)


def _columns(data: bytes, chance: Random) -> bytes:
    """Change cells, types or names of columns, or what a GeoParquet file says of itself."""
    try:
        table = pq.read_table(pa.BufferReader(data))
        place = chance.randrange(table.num_columns)
        name, cells = table.column_names[place], table.column(place).to_pylist()
        match chance.randrange(6):
            case 0:
                about = dict(table.schema.metadata or {})
                about[b"geo"] = _json(about.get(b"geo", b"{}"), chance)
                table = table.replace_schema_metadata(about)
            case 1:
                table = table.drop_columns([name])
            case 2:
                kinds = (pa.string(), pa.int32(), pa.float64(), pa.binary(), pa.bool_())
                fresh = table.column(place).cast(chance.choice(kinds))
                table = table.set_column(place, name, fresh)
            case 3:
                table = table.rename_columns(
                    [chance.choice(_HEADERS) if n == name else n for n in table.column_names]
                )
            case _:
                cells[chance.randrange(len(cells))] = _odd_stored(cells[0], chance)
                about = table.schema.metadata
                table = table.set_column(place, name, pa.array(cells))
                table = table.replace_schema_metadata(about)
        out = io.BytesIO()
        pq.write_table(table, out, compression="none")
        return out.getvalue()
    except (pa.ArrowException, OSError, ValueError, TypeError, IndexError, OverflowError):
        return _bytes(data, chance)


_BY_KIND: dict[str, tuple[Accident, ...]] = {
    "csv": (_cells, _cells, _cells, _text, _lines),
    "gpx": (_xml, _xml, _text, _lines),
    "kml": (_xml, _xml, _text),
    "gml": (_xml, _xml, _text),
    "xml": (_xml, _xml, _xml, _text),
    "nmea": (_sentences, _sentences, _text, _lines),
    "log": (_text, _lines, _cells, _xml, _sentences, _json),
    "json": (_json, _json, _json, _text),
    "geojson": (_json, _json, _json, _text),
    "toml": (_toml, _toml, _toml, _text, _lines),
    "bin": (_bytes,),
    "fgb": (_bytes,),
    "zip": (_members, _members, _members, _members, _bytes),
    "xlsx": (_members, _members, _members, _members, _bytes),
    "gpkg": (_database, _database, _bytes),
    "parquet": (_columns, _columns, _bytes),
}
