"""Formats that are no map of a field, names that are addresses, and layers that lie."""

from __future__ import annotations

import gzip
import io
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import xlsxwriter
from shapely.geometry import Polygon

from hostile.cases import SQUARE, Case, Place, collection, texts

# Each of these, as a name, tells a map library where to go and look.
_ADDRESSES = [
    *("/vsicurl/@URL@/a.geojson", "/vsicurl_streaming/@URL@/a.geojson", "/vsis3/bucket/a.geojson"),
    *("/vsigzip/@SECRET@", "/vsizip/@SECRET@", "/vsitar/@SECRET@", "/vsistdin/", "/vsimem/a"),
    *("/vsisubfile/0_100,@SECRET@", "/vsicrypt/key=abc,file=@SECRET@", "/vsicached?file=@SECRET@"),
    *("/vsisparse/a.xml", "/vsihdfs/a", "/vsiaz/a/b", "/vsigs/a/b", "/vsioss/a/b", "/vsiswift/a"),
    *("@URL@/a.geojson", "https://127.0.0.1:1/a.geojson", "ftp://127.0.0.1:1/a.geojson"),
    *(
        "file://@HOME@/secret.geojson",
        "file:secret-neighbour.geojson",
        "\\\\127.0.0.1\\share\\a.shp",
    ),
    *("PG:host=127.0.0.1 port=1 dbname=a", "postgresql://127.0.0.1:1/a", "MySQL:a,host=127.0.0.1"),
    *("MSSQL:server=127.0.0.1", "ODBC:a", "OCI:a/b@c", "SQLITE:@SECRET@", "ADBC:@SECRET@"),
    *("ADBC:http://127.0.0.1:1", "GPSBabel:nmea:@SECRET@", "GPSBABEL:gpx:@SECRET@"),
    *("WFS:@URL@/wfs", "OAPIF:@URL@", "WFS3:@URL@", "CSW:@URL@", "OGCAPI:@URL@", "ES:@URL@"),
    *(
        "Carto:a",
        "AmigoCloud:a",
        "PLScenes:",
        "NGW:@URL@/resource/1",
        "EEDA:",
        "EEDAI:a",
        "STACIT:@URL@",
    ),
    *("STACTA:@URL@/a.json", "WMS:@URL@/wms", "WMTS:@URL@", "WCS:@URL@", "TMS:@URL@", "IIP:@URL@"),
    *("GTFS:@SECRET@", "MVT:@URL@/{z}", "MVT:@SECRET@", "PMTILES:@URL@", "MapML:@URL@"),
    *("GPKG:@SECRET@:a", "CSV:@SECRET@", "GeoJSON:@SECRET@", "ESRIJSON:@URL@", "TopoJSON:@URL@"),
    *("GeoJSONSeq:@SECRET@", "JSONFG:@SECRET@", "GML:@SECRET@", "GMLAS:@SECRET@", "DXF:@SECRET@"),
    *("LIBKML:@SECRET@", "OpenFileGDB:@SECRET@", "MiraMonVector:@SECRET@", "VRT:@SECRET@"),
    *("vrt://@SECRET@", "DERIVED_SUBDATASET:LOGAMPLITUDE:a", "NETCDF:a:b", "HDF5:a", "ZARR:@URL@"),
    *("PDF:1:@SECRET@", "XODR:a", "Selafin:@SECRET@", "Parquet:@URL@/a.parquet", "S3:a"),
    *("<OGRVRTDataSource>", '{"type":"FeatureCollection"}', "|id", "`id`", "$(id)", ";id", "-o"),
    *("--config", "%s%n%n", "a\nb.geojson", "a\x1b[2J.geojson", "a\u202egpj.geojson", " ", "~"),
    *("~root", "~/secret.geojson", "$HOME/secret.geojson", "%TEMP%", "${PATH}", "con", "NUL.txt"),
    *("a?b#c.geojson", "*", "[a-z]*", "secret*", "..", ".", "/", "...", "a" * 255, "b" * 5000),
]


def _real(name: str) -> Callable[[Place], str]:
    """A file (a copy of the recipe for a map) that is really called so."""

    def make(at: Place) -> str:
        at.write(at.filled(name).lstrip("/"), collection())
        return at.filled(name)

    return make


def _only_named(name: str) -> Callable[[Place], str]:
    return lambda at: at.filled(name)


def _frame(count: int = 1) -> gpd.GeoDataFrame:
    shapes = [Polygon(np.add(SQUARE, [0.002 * i, 0])) for i in range(count)]
    return gpd.GeoDataFrame({"name": [f"n{i}" for i in range(count)]}, geometry=shapes, crs=4326)


def _shapefile(**altered: Callable[[bytearray], object]) -> Callable[[Place], str]:
    """A Shapefile with bytes of its parts changed."""

    def make(at: Place) -> str:
        path = at.folder / "a.shp"
        _frame(3).to_file(path)
        for part, alter in altered.items():
            content = bytearray(path.with_suffix(f".{part}").read_bytes())
            new = alter(content)
            path.with_suffix(f".{part}").write_bytes(new if isinstance(new, bytes) else content)
        return path.name

    return make


def _put(offset: int, form: str, *values: float) -> Callable[[bytearray], object]:
    return lambda content: struct.pack_into(form, content, offset, *values)


# Offsets after the published description of the format: 100 bytes of head, then 8 of record head,
# kind, box (32), parts, points.
_SHAPEFILES = {
    "record length": {"shp": _put(104, ">i", 0x7FFFFFFF)},
    "record length below nothing": {"shp": _put(104, ">i", -5)},
    "parts": {"shp": _put(100 + 8 + 36, "<i", 0x7FFFFFFF)},
    "points": {"shp": _put(100 + 8 + 40, "<i", 0x7FFFFFFF)},
    "points below nothing": {"shp": _put(100 + 8 + 40, "<i", -1)},
    "first part": {"shp": _put(100 + 8 + 44, "<i", 0x7FFFFFF0)},
    "not numbers": {"shp": _put(100 + 8 + 48, "<2d", float("nan"), float("inf"))},
    "file length": {"shp": _put(24, ">i", 0x7FFFFFFF)},
    "kind": {"shp": _put(32, "<i", 77)},
    "index offset": {"shx": _put(100, ">i", 0x7FFFFFFF)},
    "index length": {"shx": _put(24, ">i", 0x7FFFFFFF)},
    "index cut off": {"shx": lambda content: bytes(content[:103])},
    "records": {"dbf": _put(4, "<I", 0xFFFFFFFF)},
    "record width": {"dbf": _put(10, "<H", 0xFFFF)},
    "head width": {"dbf": _put(8, "<H", 0xFFFF)},
    "field width": {"dbf": _put(48, "<B", 255)},
    "field kind": {"dbf": _put(43, "<B", 0x1B)},
    "no head": {"dbf": lambda content: b""},
    "system": {"prj": lambda content: b'GEOGCS["' + b"a" * 5_000_000},
    "deep system": {"prj": lambda content: b"PROJCS[" * 50_000},
    "grid system": {
        "prj": lambda content: b"+proj=longlat +nadgrids=./secret-neighbour.geojson +no_defs"
    },
    "url system": {"prj": lambda content: b"http://127.0.0.1:1/crs"},
    "code page": {"cpg": lambda content: b"../../../x\0\x1b[2J" * 1000},
}


def _without(part: str) -> Callable[[Place], str]:
    """A Shapefile that lacks a part, which opening might want to make again."""

    def make(at: Place) -> str:
        _shapefile()(at)
        (at.folder / f"a.{part}").unlink()
        return "a.shp"

    return make


def _linked_part(at: Place) -> str:
    _shapefile()(at)
    (at.folder / "a.dbf").unlink()
    (at.folder / "a.dbf").symlink_to(at.home / "secret.geojson")
    return "a.shp"


def _beside_shapefile(name: str, content: str) -> Callable[[Place], str]:
    def make(at: Place) -> str:
        at.write(name, content)
        return _shapefile()(at)

    return make


def _flat(alter: Callable[[bytearray], object]) -> Callable[[Place], str]:
    """A FlatGeobuf file with bytes changed."""

    def make(at: Place) -> str:
        path = at.folder / "a.fgb"
        _frame(20).to_file(path, driver="FlatGeobuf")
        content = bytearray(path.read_bytes())
        new = alter(content)
        path.write_bytes(new if isinstance(new, bytes) else content)
        return path.name

    return make


def _count_lies(content: bytearray) -> None:
    place = content.index(struct.pack("<Q", 20))
    struct.pack_into("<Q", content, place, 1 << 60)


def _count_much(content: bytearray) -> None:
    place = content.index(struct.pack("<Q", 20))
    struct.pack_into("<Q", content, place, 50_000_000)


def _tail(value: int) -> Callable[[bytearray], object]:
    def alter(content: bytearray) -> None:
        for i in range(len(content) // 2, len(content) - 8, 64):
            struct.pack_into("<I", content, i, value)

    return alter


_FLATS = {
    "count": _count_lies,
    "count of millions": _count_much,
    "header length": _put(8, "<I", 0xFFFFFFFF),
    "header length much": _put(8, "<I", 0x0FFFFFFF),
    "header offsets": _put(12, "<I", 0x7FFFFFFF),
    "features": _tail(0xFFFFFFFF),
    "features much": _tail(0x10000000),
    "cut off": lambda content: bytes(content[: len(content) // 2]),
    "version": _put(3, "<B", 99),
}


def _table(at: Place, table: pa.Table, **options: object) -> str:
    path = at.folder / "a.parquet"
    geo = (
        '{"version":"1.0.0","primary_column":"geometry","columns":{"geometry":'
        '{"encoding":"WKB","geometry_types":[]}}}'
    )
    pq.write_table(table.replace_schema_metadata({"geo": geo}), path, **options)
    return path.name


_WKB = Polygon(SQUARE).wkb


def _long_strings(codec: str, encoded: bool) -> Callable[[Place], str]:
    """Little on disk, gigabytes in memory: one value of a dictionary, many times over."""

    def make(at: Place) -> str:
        value = pa.array(["a" * (1 << 20)])
        indices = pa.array(np.zeros(5_600, dtype=np.int32))
        names = pa.DictionaryArray.from_arrays(indices, value)
        shapes = pa.DictionaryArray.from_arrays(indices, pa.array([_WKB]))
        return _table(
            at,
            pa.table({"name": names, "geometry": shapes}),
            compression=codec,
            store_schema=encoded,
        )

    return make


def _many_shapes(at: Place) -> str:
    """As many outlines as can be told of in little space."""
    indices = pa.array(np.zeros(60_000_000, dtype=np.int32))
    return _table(
        at,
        pa.table({"geometry": pa.DictionaryArray.from_arrays(indices, pa.array([_WKB]))}),
        compression="zstd",
        store_schema=False,
    )


def _page_bomb(codec: str) -> Callable[[Place], str]:
    def make(at: Place) -> str:
        shapes = pa.array([_WKB] * 3, pa.binary())
        names = pa.array(["\0" * (1 << 26)] * 3, pa.large_string())
        return _table(
            at,
            pa.table({"name": names, "geometry": shapes}),
            compression=codec,
            use_dictionary=False,
        )

    return make


def _shape_bomb(at: Place) -> str:
    """One outline of a hundred million equal points."""
    points = np.tile(np.array([-92.33, 38.95]), 20_000_000)
    wkb = struct.pack("<BIII", 1, 3, 1, 20_000_000) + points.tobytes()
    return _table(at, pa.table({"geometry": pa.array([wkb], pa.binary())}), compression="zstd")


def _nested(at: Place) -> str:
    kind: pa.DataType = pa.int8()
    for _ in range(90):
        kind = pa.list_(kind)
    empty = pa.array([None] * 3, kind)
    return _table(at, pa.table({"deep": empty, "geometry": pa.array([_WKB] * 3)}))


def _wide(count: int) -> Callable[[Place], str]:
    def make(at: Place) -> str:
        columns = {f"c{i}": pa.array([1], pa.int8()) for i in range(count)}
        return _table(at, pa.table({**columns, "geometry": pa.array([_WKB])}))

    return make


def _groups(at: Place) -> str:
    shapes = pa.array([_WKB] * 30_000)
    return _table(at, pa.table({"geometry": shapes}), row_group_size=1)


def _said(geo: str) -> Callable[[Place], str]:
    """A GeoParquet file with other words on what its columns are."""

    def make(at: Place) -> str:
        table = pa.table({"geometry": pa.array([_WKB])})
        table = table.replace_schema_metadata({"geo": at.filled(geo)})
        pq.write_table(table, at.folder / "a.parquet")
        return "a.parquet"

    return make


_GEO = '{"version":"1.0.0","primary_column":"geometry","columns":{"geometry":{"encoding":"WKB",'
_WORDS = {
    "remote system": _GEO + '"geometry_types":[],"crs":"@URL@/crs"}}}',
    "system with a grid": _GEO
    + '"geometry_types":[],"crs":"+proj=longlat +nadgrids=@HOME@/secret.geojson"}}}',
    "deep words": _GEO + '"x":' + "[" * 100_000 + "]" * 100_000 + "}}}",
    "no words": "{}",
    "other encoding": _GEO.replace("WKB", "pickle") + '"geometry_types":[]}}}',
    "another column": _GEO.replace('"primary_column":"geometry"', '"primary_column":"x"')
    + '"geometry_types":[]}}}',
}


def _extension(at: Place) -> str:
    """Columns of kinds that a program may be tempted to revive by name."""
    geometry = pa.array([_WKB])
    field = pa.field(
        "x",
        pa.binary(),
        metadata={
            "ARROW:extension:name": "arrow.py_extension_type",
            "ARROW:extension:metadata": b"cos\nsystem\n(S'touch written'\ntR.",
        },
    )
    schema = pa.schema([field, pa.field("geometry", pa.binary())])
    return _table(at, pa.Table.from_arrays([pa.array([b"a"]), geometry], schema=schema))


def _pandas_words(at: Place) -> str:
    table = pa.table({"geometry": pa.array([_WKB])}).replace_schema_metadata(
        {
            "geo": _GEO + '"geometry_types":[]}}}',
            "pandas": '{"index_columns":[{"kind":"range","start":0,"stop":9e18,"step":1}],'
            '"columns":[{"name":"geometry","pandas_type":"object","numpy_type":"object"}],'
            '"column_indexes":[]}',
        }
    )
    pq.write_table(table, at.folder / "a.parquet")
    return "a.parquet"


def _footer(length: int) -> bytes:
    return b"PAR1" + b"\0" * 100 + struct.pack("<I", length) + b"PAR1"


def _partitioned(at: Place) -> str:
    """A folder with the name of a file, as some programs write them."""
    (at.folder / "a.parquet" / "p=1").mkdir(parents=True)
    _frame().to_parquet(at.folder / "a.parquet" / "p=1" / "part.parquet")
    (at.folder / "a.parquet" / "_metadata").write_bytes(_footer(100))
    (at.folder / "a.parquet" / "secret.parquet").symlink_to("../secret-neighbour.geojson")
    return "a.parquet"


def _spreadsheet(at: Place, name: str = "a.xlsx") -> str:
    """A spreadsheet that takes its cells from elsewhere."""
    with zipfile.ZipFile(at.folder / name, "w") as book:
        book.writestr(
            "[Content_Types].xml",
            '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>',
        )
        book.writestr(
            "xl/externalLinks/_rels/externalLink1.xml.rels",
            at.filled('<Relationships><Relationship Target="@URL@/a.xlsx"/></Relationships>'),
        )
        book.writestr("xl/workbook.xml", "<workbook><externalReferences/></workbook>")
        book.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        book.writestr("content.xml", at.filled('<a xlink:href="@URL@/a.ods"/>'))
    return name


_SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    "{0}</sheetData></worksheet>"
)
_WORKBOOKS: dict[str, dict[str, str]] = {
    "far cell": {
        "xl/worksheets/sheet1.xml": _SHEET.replace(
            "{0}",
            '<row r="1"><c r="A1"><v>1</v></c></row>'
            '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>',
        )
    },
    "entities": {
        "xl/sharedStrings.xml": "<!DOCTYPE a ["
        + '<!ENTITY b0 "aaaaaaaaaa">'
        + "".join(f'<!ENTITY b{i + 1} "{f"&b{i};" * 10}">' for i in range(12))
        + "]><sst><si><t>&b12;</t></si></sst>"
    },
    "entity of a file": {
        "xl/sharedStrings.xml": '<!DOCTYPE a [<!ENTITY b SYSTEM "@SECRET@">]>'
        "<sst><si><t>&b;</t></si></sst>"
    },
    "links": {
        "xl/_rels/workbook.xml.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/'
        'package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats'
        '.org/officeDocument/2006/relationships/worksheet" Target="@URL@/a.xml" '
        'TargetMode="External"/></Relationships>'
    },
    "slip": {
        "xl/_rels/workbook.xml.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/'
        'package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats'
        '.org/officeDocument/2006/relationships/worksheet" Target="../../@SECRET@"/>'
        "</Relationships>"
    },
    "bomb": {"xl/worksheets/sheet1.xml": _SHEET.replace("{0}", " " * 60_000_000)},
    "many sheets": {
        "xl/workbook.xml": '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/'
        'main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">'
        "<sheets>"
        + "".join(f'<sheet name="s{i}" sheetId="{i}" r:id="rId1"/>' for i in range(1, 20_000))
        + "</sheets></workbook>"
    },
    "program": {"xl/vbaProject.bin": 'Sub Auto_Open(): Shell "touch written": End Sub'},
}


def _workbook(altered: dict[str, str]) -> Callable[[Place], str]:
    """A log in a spreadsheet with formulas that call, and with members of its own."""

    def make(at: Place) -> str:
        made = io.BytesIO()
        with xlsxwriter.Workbook(made, {"in_memory": True}) as book:
            sheet = book.add_worksheet()
            sheet.write_row(0, 0, ["time", "lon", "lat", "width"])
            for row in range(1, 30):
                sheet.write_row(row, 0, [1_776_168_000 + row, -92.33, 38.95 + row * 1e-5])
                sheet.write_formula(row, 3, f'=WEBSERVICE("{at.url}/a")')
            sheet.write_formula(30, 3, "=cmd|'/C touch written'!A0")
        with zipfile.ZipFile(made) as archive:
            members = {name: archive.read(name) for name in archive.namelist()}
        members |= {name: at.filled(text).encode() for name, text in altered.items()}
        return at.write("a.xlsx", packed(members))

    return make


def _geodatabase(at: Place) -> str:
    """A folder database made of nothing but its names."""
    folder = at.folder / "a.gdb"
    folder.mkdir()
    for number in range(1, 9):
        (folder / f"a{number:08x}.gdbtable").write_bytes(struct.pack("<I", 3) + b"\xff" * 200)
        (folder / f"a{number:08x}.gdbtablx").write_bytes(struct.pack("<I", 3) + b"\xff" * 200)
    (folder / "secret.txt").write_text("a")
    (folder / "gdb").write_bytes(b"\5\0\0\0\xde\xad\xbe\xef")
    return "a.gdb"


_BINARY = {
    "a.tif": b"II*\0\x08\0\0\0" + b"\xff" * 200,
    "bigtiff.tif": b"II+\0\x08\0\0\0\x10" + b"\xff" * 200,
    "tiff.geojson": b"II*\0\x08\0\0\0" + b"\xff" * 200,
    "a.pdf": b"%PDF-1.7\n1 0 obj<</Type/Catalog/OpenAction<</S/URI/URI(@)>>>>endobj\ntrailer<<>>",
    "a.000": b"00241 3LE1 0900 $$$   5504" + b" " * 100 + b"\x1e" * 100,
    "a.dgn": b"\x08\x09\xfe\x02" + b"\0" * 600,
    "a.tab": b"!table\n!version 300\n!charset Neutral\nDefinition Table\n  Type LINKED\n"
    b'  File "secret-neighbour.geojson"\n',
    "a.mif": b'Version 300\nCharset "Neutral"\nDelimiter ","\nColumns 99999999\n  a Char(9)\nData\n'
    + b"Pline 2000000000\n1 1\n",
    "a.pol": b"POL \x01\x00" + b"\xff" * 300,
    "a.rel": b"[VERSIO]\nVers=4\n[EXTENSIO]\nfitxer=secret-neighbour.geojson\n",
    "a.pmtiles": b"PMTiles\3" + b"\xff" * 200,
    "a.pbf": b"\0\0\0\x0d\x0a\x09OSMHeader\x18\x7f" + b"\xff" * 100,
    "a.osm": b'<osm version="0.6">' + b'<node id="1" lat="1" lon="1"/>' * 1000 + b"</osm>",
    "a.slf": struct.pack(">i", 80) + b" " * 80 + struct.pack(">iiiii", 80, 8, 99999999, 0, 8),
    "a.vct": b"\xff" * 400,
    "a.sql": b"COPY a FROM PROGRAM 'id';",
    "a.e00": b"EXP  0 /A.E00\nARC  2\n" + b" 9999999999" * 1000,
    "a.dxf": b"  0\nSECTION\n  2\nBLOCKS\n" + b"  0\nBLOCK\n  2\nA\n  0\nINSERT\n  2\nA\n" * 1000,
    "a.dwg": b"AC1032" + b"\0" * 500,
    "a.sxf": b"SXF\0" + b"\xff" * 400,
    "a.jml": b'<?xml version="1.0"?><JCSDataFile>' + b"<a>" * 2000,
    "a.gtm": b"\xd3\0TrackMaker" + b"\xff" * 200,
    "a.gmt": b'# @VGMT1.0 @GPOLYGON\n# @Je4326\n# @Jp"+proj=longlat +nadgrids=./secret"\n> \n',
    "a.vfk": b'&HVERZE;"5.0"\n' + b"&BPAR" * 3000,
    "a.ntf": b"01" + b"A" * 5000,
    "a.url": b"[InternetShortcut]\nURL=http://127.0.0.1:1/a.geojson\n",
    "a.webloc": b"<plist><dict><key>URL</key><string>http://127.0.0.1:1/</string></dict></plist>",
    "a.desktop": b"[Desktop Entry]\nType=Link\nURL=http://127.0.0.1:1/\nExec=id\n",
    "a.txt": b"http://127.0.0.1:1/a.geojson\n",
    "a.lnk": b"L\0\0\0\x01\x14\x02\0" + b"\0" * 200,
    "a.pkl": b"cos\nsystem\n(S'touch written'\ntR.",
    "pickle.geojson": b"cos\nsystem\n(S'touch written'\ntR.",
    "a.npy": b"\x93NUMPY\1\0v\0{'descr': '|O', 'fortran_order': False, 'shape': (9999999999,)}",
    "a.feather": b"ARROW1\0\0" + b"\xff" * 200 + b"ARROW1",
    "arrow.geojson": b"ARROW1\0\0" + b"\xff" * 200 + b"ARROW1",
    "a.nc": b"CDF\1" + b"\xff" * 200,
    "a.h5": b"\x89HDF\r\n\x1a\n" + b"\xff" * 200,
    "a.grb": b"GRIB" + b"\xff" * 200,
    "a.jp2": b"\0\0\0\x0cjP  \r\n\x87\n" + b"\xff" * 200,
    "a.png": b"\x89PNG\r\n\x1a\n" + b"\0\0\0\rIHDR" + b"\x7f" * 30,
    "a.exe": b"MZ" + b"\0" * 500,
    "a.so": b"\x7fELF" + b"\0" * 500,
    "script.geojson": b"#!/bin/sh\ntouch written\n",
    "a.mvt": b"\x1a\xff\xff\xff\xff\x0f" * 50,
    "gzip.geojson": gzip.compress(collection().encode()),
    "a.geojson.gz": gzip.compress(collection().encode()),
    "bomb.geojson.gz": gzip.compress(collection().encode() + b" " * 50_000_000),
    "a.tar": b"a" * 100 + b"0000644\0" + b"\0" * 400,
    "a.7z": b"7z\xbc\xaf\x27\x1c" + b"\0" * 100,
    "a.rar": b"Rar!\x1a\7\0" + b"\0" * 100,
}


def cases() -> list[Case]:
    """Other formats, addresses for names, Shapefile, FlatGeobuf and GeoParquet that lie."""
    table = 'id,WKT\n1,"POLYGON ((0 0,1 0,1 1,0 0))"\n'
    typed = [("a.csvt", "Integer,WKT"), ("a.prj", "@URL@/crs"), ("a.vrt", "<OGRVRTDataSource/>")]

    def csv(at: Place) -> str:
        for name, content in typed:
            at.write(name, content)
        return at.write("a.csv", table)

    return [
        *(Case(f"address {n[:60]}", "map", _only_named(n)) for n in _ADDRESSES),
        *(
            Case(f"file called {n[:60]}", "map", _real(n), restless="\n" in n)
            for n in _ADDRESSES
            if n.strip("./ ") and len(n) < 256 and not n.startswith(("..", "@URL@"))
        ),
        *(Case(f"shapefile {n}", "map", _shapefile(**a)) for n, a in _SHAPEFILES.items()),
        *(Case(f"shapefile without {p}", "map", _without(p)) for p in ("shx", "dbf", "prj", "cpg")),
        Case("shapefile linked part", "map", _linked_part, reads=("@HOME@/secret.geojson",)),
        Case(
            "shapefile beside aux", "map", _beside_shapefile("a.shp.aux.xml", "<PAMDataset>" * 999)
        ),
        Case(
            "shapefile beside xml",
            "map",
            _beside_shapefile("a.shp.xml", '<!DOCTYPE a SYSTEM "@URL@">'),
        ),
        Case(
            "shapefile beside qix", "map", _beside_shapefile("a.qix", "SQT\1\1\0\0\0" + "\x7f" * 99)
        ),
        Case("shapefile beside sbn", "map", _beside_shapefile("a.sbn", "\x7f" * 400)),
        Case("shapefile beside idm", "map", _beside_shapefile("a.idm", "<a><b>" * 100)),
        *(Case(f"flatgeobuf {name}", "map", _flat(alter)) for name, alter in _FLATS.items()),
        Case("parquet long strings", "map", _long_strings("zstd", False)),
        Case("parquet long strings, plain", "map", _long_strings("none", False)),
        Case("parquet kept dictionary", "map", _long_strings("zstd", True)),
        Case("parquet many shapes", "map", _many_shapes, heavy=True),
        Case("parquet zstd pages", "map", _page_bomb("zstd")),
        Case("parquet gzip pages", "map", _page_bomb("gzip"), heavy=True),
        Case("parquet brotli pages", "map", _page_bomb("brotli"), heavy=True),
        Case("parquet one huge shape", "map", _shape_bomb, heavy=True),
        Case("parquet nested", "map", _nested),
        Case("parquet wide", "map", _wide(3_000)),
        Case("parquet very wide", "map", _wide(100_000), heavy=True),
        Case("parquet many groups", "map", _groups),
        *(Case(f"parquet {name}", "map", _said(words)) for name, words in _WORDS.items()),
        Case("parquet extension", "map", _extension),
        Case("parquet pandas words", "map", _pandas_words),
        *texts(
            "map",
            [
                ("footer below nothing.parquet", _footer(0xFFFFFFFF)),
                ("footer much.parquet", _footer(0x7FFFFFFF)),
                ("footer noise.parquet", _footer(100)),
                ("json.parquet", collection()),
            ],
            "parquet ",
        ),
        Case("parquet as geojson", "map", lambda at: _renamed(at, _wide(3)(at), "a.geojson")),
        Case("parquet folder", "map", _partitioned),
        Case("geodatabase", "map", _geodatabase),
        Case("geodatabase as log", "log", _geodatabase),
        Case("spreadsheet", "map", _spreadsheet),
        Case("spreadsheet ods", "map", lambda at: _spreadsheet(at, "a.ods")),
        Case("spreadsheet as log", "log", _spreadsheet),
        *(
            Case(f"spreadsheet {name}", "log", _workbook(altered))
            for name, altered in _WORKBOOKS.items()
        ),
        *texts("log", [("a.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\xff" * 5000)], "ole "),
        Case("spreadsheet as zip", "map", lambda at: _spreadsheet(at, "a.zip")),
        Case("csv with sidecars", "map", csv),
        Case("csv with sidecars as log", "log", csv),
        *texts("map", _BINARY.items(), "format "),
        *texts("log", list(_BINARY.items())[::3], "format as log "),
    ]


def _renamed(at: Place, name: str, new: str) -> str:
    return Path(at.folder / name).rename(at.folder / new).name


def packed(members: dict[str, bytes | str], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip of members."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return file.getvalue()
