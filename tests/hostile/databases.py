"""Databases that compute, write or never end when they are only looked at."""

from __future__ import annotations

import os
import shutil
import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
from shapely.geometry import Polygon

from hostile.cases import SQUARE, VICTIM, Case, Place, texts

_ENDLESS = "WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) "


def _geopackage(at: Place, name: str = "a.gpkg", layer: str = "field") -> Path:
    path = at.folder / name
    frame = gpd.GeoDataFrame({"name": ["Home"]}, geometry=[Polygon(SQUARE)], crs="EPSG:4326")
    frame.to_file(path, layer=layer, driver="GPKG")
    return path


def _altered(*statements: str, name: str = "a.gpkg") -> Callable[[Place], str]:
    """A GeoPackage that was opened up and changed."""

    def make(at: Place) -> str:
        path = _geopackage(at, name)
        base = sqlite3.connect(path)
        base.execute("PRAGMA synchronous = OFF")
        base.execute("PRAGMA trusted_schema = 1")
        base.execute("PRAGMA writable_schema = 1")
        # Its own triggers need functions that this connection has not.
        for (trigger,) in base.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            base.execute(f'DROP TRIGGER "{trigger}"')
        for statement in statements:
            base.executescript(f"BEGIN; {at.filled(statement)}; COMMIT")
        base.close()
        return name

    return make


def _listed(view: str) -> str:
    """Make a view a layer of its own."""
    return (
        f"CREATE VIEW bad AS {view};"
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
        "VALUES ('bad', 'features', 'bad', 4326);"
        "INSERT INTO gpkg_geometry_columns VALUES ('bad', 'geom', 'POLYGON', 4326, 0, 0);"
    )


def _instead(view: str) -> str:
    """Put a view in the place of the only layer."""
    return f"ALTER TABLE field RENAME TO hidden; CREATE VIEW field AS {view};"


def _schema(sql: str, kind: str = "table", name: str = "v") -> str:
    """Write a definition past the parser, as an edited file has it."""
    quoted = sql.replace("'", "''")
    return (
        "INSERT INTO sqlite_master (type, name, tbl_name, rootpage, sql) "
        f"VALUES ('{kind}', '{name}', '{name}', 0, '{quoted}');"
    )


_FID = "SELECT fid, geom, name FROM hidden"
_VIEWS = {
    "endless view": _instead(_ENDLESS + "SELECT x AS fid, (SELECT geom FROM hidden) geom FROM c"),
    "endless layer": _listed(_ENDLESS + "SELECT x AS fid, NULL AS geom FROM c"),
    "endless count": _instead(
        _ENDLESS + "SELECT fid, geom, (SELECT count(*) FROM c) AS name FROM hidden"
    ),
    "wide product": _instead(
        "WITH n(x) AS (VALUES(0),(1),(2),(3),(4),(5),(6),(7),(8),(9)) "
        "SELECT a.fid, a.geom, a.name FROM hidden a, " + ", ".join(f"n n{i}" for i in range(12))
    ),
    "huge value": _instead("SELECT fid, geom, printf('%.*c', 900000000, 'a') AS name FROM hidden"),
    "huge blob": _instead("SELECT fid, zeroblob(900000000) AS geom, name FROM hidden"),
    "many huge values": _instead(
        "WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c LIMIT 100000) "
        "SELECT x AS fid, geom, printf('%.*c', 1000000, 'a') AS name FROM c, hidden"
    ),
    "view of itself": _instead("SELECT * FROM field"),
    "views doubling": "CREATE VIEW v0 AS SELECT fid, geom, name FROM field;"
    + "".join(
        f"CREATE VIEW v{i} AS SELECT * FROM v{i - 1} UNION ALL SELECT * FROM v{i - 1};"
        for i in range(1, 40)
    )
    + _listed("SELECT * FROM v39"),
    "extension function": _instead("SELECT fid, geom, load_extension('@SECRET@') name FROM hidden"),
    "file function": _instead("SELECT fid, geom, writefile('@OUTSIDE@', 'a') name FROM hidden"),
    "read function": _instead("SELECT fid, geom, readfile('@SECRET@') AS name FROM hidden"),
    "blob function": _instead("SELECT fid, BlobFromFile('@SECRET@') AS geom, name FROM hidden"),
    "layer function": _instead(
        "SELECT fid, geom, ogr_datasource_load_layers('@SECRET@', 0, 'x') AS name FROM hidden"
    ),
    "geocode function": _instead(
        "SELECT fid, geom, ogr_geocode('@URL@', 'geometry') AS name FROM hidden"
    ),
    "raster function": _instead(
        "SELECT fid, geom, gdal_get_pixel_value('/vsicurl/@URL@/a.tif', 1, 'pixel', 0, 0) AS name "
        "FROM hidden"
    ),
    "config function": _instead(
        "SELECT fid, geom, ogr_version(), AutoGPKGStart(), InvalidateLayerStatistics() AS name "
        "FROM hidden"
    ),
    "style function": _instead("SELECT fid, geom, eval('DELETE FROM hidden') name FROM hidden"),
    "pragma in a view": _listed("SELECT 1 AS fid, NULL AS geom, * FROM pragma_database_list"),
}
_TABLES = {
    "VirtualOGR": "CREATE VIRTUAL TABLE v USING VirtualOGR('@SECRET@')",
    "VirtualOGR written": "CREATE VIRTUAL TABLE v USING VirtualOGR('@VICTIM@', 1)",
    "VirtualOGR url": "CREATE VIRTUAL TABLE v USING VirtualOGR('/vsicurl/@URL@/a.geojson')",
    "VirtualShape": "CREATE VIRTUAL TABLE v USING VirtualShape('secret', 'UTF-8', 4326)",
    "VirtualXL": "CREATE VIRTUAL TABLE v USING VirtualXL('@SECRET@')",
    "VirtualText": "CREATE VIRTUAL TABLE v USING VirtualText('@SECRET@', 'UTF-8', 1)",
    "VirtualDbf": "CREATE VIRTUAL TABLE v USING VirtualDbf('@SECRET@', 'UTF-8')",
    "csv": "CREATE VIRTUAL TABLE v USING csv(filename='@SECRET@')",
    "zipfile": "CREATE VIRTUAL TABLE v USING zipfile('@SECRET@')",
    "fsdir": "CREATE VIRTUAL TABLE v USING fsdir('.')",
    "dbstat": "CREATE VIRTUAL TABLE v USING dbstat",
}
_TRIGGER = (
    "CREATE TRIGGER t AFTER {0} ON {1} BEGIN DELETE FROM field; "
    "UPDATE gpkg_contents SET identifier = 'owned'; END;"
)
_OTHERS = {
    "triggers": _TRIGGER.format("INSERT", "gpkg_contents")
    + _TRIGGER.replace("TRIGGER t", "TRIGGER t2").format("UPDATE", "gpkg_contents"),
    "trigger on a view": _instead(_FID)
    + "CREATE TRIGGER t INSTEAD OF INSERT ON field BEGIN DELETE FROM hidden; END;",
    "extensions": "CREATE TABLE IF NOT EXISTS gpkg_extensions (table_name TEXT, column_name TEXT, "
    "extension_name TEXT, definition TEXT, scope TEXT);"
    + "".join(
        f"INSERT INTO gpkg_extensions VALUES ('field', 'c{i}', 'x', '@URL@/x', 'read-write');"
        for i in range(5000)
    ),
    "text search": "CREATE VIRTUAL TABLE s USING fts5(a); DROP TABLE IF EXISTS s_data_x;"
    "UPDATE s_data SET block = zeroblob(100000);",
    "index that lies": "UPDATE rtree_field_geom_node SET data = randomblob(100000);",
    "generated column": "ALTER TABLE field ADD COLUMN g AS (load_extension('@SECRET@'));",
    "generated endless": "ALTER TABLE field ADD COLUMN g AS "
    "(length(replace(hex(zeroblob(900000000)), '0', 'aa')));",
    "index on a function": "CREATE INDEX i ON field (lower(name)) WHERE length(name) > 0;",
    "check that calls": _schema("CREATE TABLE v (a CHECK (load_extension('@SECRET@')))"),
    "rootpage nowhere": "UPDATE sqlite_master SET rootpage = 99999 WHERE name = 'field';",
    "rootpage shared": "UPDATE sqlite_master SET rootpage = 1 WHERE name = 'field';",
    "broken schema": "UPDATE sqlite_master SET sql = 'CREATE TABLE field (' WHERE name='field';",
    "many layers": "".join(
        f"CREATE TABLE t{i} (fid INTEGER PRIMARY KEY, geom BLOB);"
        f"INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
        f"VALUES ('t{i}', 'features', 't{i}', 4326);"
        f"INSERT INTO gpkg_geometry_columns VALUES ('t{i}', 'geom', 'POLYGON', 4326, 0, 0);"
        for i in range(3000)
    ),
    "layer names": 'ALTER TABLE field RENAME TO "../../x' + "\x1b[2J" + '";'
    "UPDATE gpkg_contents SET table_name = '../../x' || char(27) || '[2J';"
    "UPDATE gpkg_geometry_columns SET table_name = '../../x' || char(27) || '[2J';",
    "injected layer name": 'ALTER TABLE field RENAME TO "a\'; DROP TABLE gpkg_contents; --";'
    "UPDATE gpkg_contents SET table_name = 'a''; DROP TABLE gpkg_contents; --';"
    "UPDATE gpkg_geometry_columns SET table_name = 'a''; DROP TABLE gpkg_contents; --';",
    "injected srs": "UPDATE gpkg_spatial_ref_sys SET definition = "
    '\'GEOGCS["@URL@",EXTENSION["PROJ4","+proj=longlat +nadgrids=@HOME@/secret.geojson"]]\';',
    "remote srs": "UPDATE gpkg_spatial_ref_sys SET organization = 'IMPORT', definition = '@URL@';",
    "srs of megabytes": "UPDATE gpkg_spatial_ref_sys SET definition = printf('%.*c', "
    "90000000, 'a');",
    "no page size": "PRAGMA user_version = -1; PRAGMA application_id = 0;",
    "contents lies": "UPDATE gpkg_contents SET min_x = 9e999, max_x = -9e999;",
    "counts lie": "CREATE TABLE IF NOT EXISTS gpkg_ogr_contents (table_name, feature_count);"
    "UPDATE gpkg_ogr_contents SET feature_count = 9223372036854775807;",
    "metadata": "CREATE TABLE gpkg_metadata (id, md_scope, md_standard_uri, mime_type, metadata);"
    "INSERT INTO gpkg_metadata VALUES (1, 'dataset', '@URL@', 'text/xml', "
    "'<GDALMultiDomainMetadata/>');",
    "attached": _schema("CREATE VIEW v AS SELECT * FROM other.t", "view"),
    "negative ids": "UPDATE field SET fid = -9223372036854775808;",
    "many columns": "".join(f"ALTER TABLE field ADD COLUMN c{i};" for i in range(1900)),
    "long value": "UPDATE field SET name = printf('%.*c', 100000000, 'a');",
    "wrong kinds": "UPDATE field SET geom = 'not a blob', name = x'00ff';",
}


def _blob(wkb: bytes, head: bytes = b"GP\0\1" + struct.pack("<i", 4326)) -> str:
    return f"UPDATE field SET geom = x'{(head + wkb).hex()}';"


_COUNT = 0xFFFFFFFF
_BLOBS = {
    "points lie": struct.pack("<BIII", 1, 3, 1, _COUNT),
    "rings lie": struct.pack("<BII", 1, 3, _COUNT),
    "parts lie": struct.pack("<BII", 1, 6, 0x0FFFFFFF),
    "members lie": struct.pack("<BII", 1, 7, 0x7FFFFFFF) + b"\1",
    "lines lie": struct.pack("<BII", 1, 2, 0x08000000),
    "deep": struct.pack("<BII", 1, 7, 1) * 50_000 + struct.pack("<BIdd", 1, 1, 0, 0),
    "deep curves": struct.pack("<BII", 1, 10, 1) * 50_000,
    "big endian": struct.pack(">BII", 0, 3, _COUNT),
    "no order": struct.pack("<BII", 9, 3, 1),
    "unknown kind": struct.pack("<BII", 1, 999, 1),
    "not numbers": struct.pack("<BIII", 1, 3, 1, 4) + struct.pack("<8d", *[float("nan")] * 8),
    "endless numbers": struct.pack("<BIII", 1, 3, 1, 4)
    + struct.pack("<8d", *[float("inf"), 1e308] * 4),
    "cut off": struct.pack("<BIII", 1, 3, 1, 4) + b"\0" * 10,
    "empty": b"",
}


def _journal(at: Place) -> str:
    """A database whose last change was broken off: opening it to write would roll it back."""
    path = _geopackage(at)
    base = sqlite3.connect(path, isolation_level=None)
    base.execute("PRAGMA cache_size = 1")
    base.execute("PRAGMA cache_spill = 1")
    base.execute("BEGIN IMMEDIATE")
    base.execute("CREATE TABLE filler (a)")
    for _ in range(50):
        base.execute("INSERT INTO filler VALUES (zeroblob(4000))")
    hot = at.folder / "hot.gpkg"
    shutil.copyfile(path, hot)
    shutil.copyfile(f"{path}-journal", f"{hot}-journal")
    base.rollback()
    base.close()
    path.unlink()
    return hot.name


def _log_beside(at: Place) -> str:
    """A database whose last changes stand in a log beside it."""
    path = _geopackage(at)
    base = sqlite3.connect(path)
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("CREATE TABLE filler (a)")
    base.commit()
    for suffix in ("", "-wal"):
        shutil.copyfile(f"{path}{suffix}", at.folder / f"live.gpkg{suffix}")
    base.close()
    path.unlink()
    return "live.gpkg"


def _journal_names_another(at: Place) -> str:
    """A journal that names a master journal elsewhere, to be deleted after the roll-back."""
    name = _journal(at)
    other = os.fsencode(at.folder / VICTIM)
    with (at.folder / f"{name}-journal").open("ab") as file:
        checksum = sum(other) & 0xFFFFFFFF
        file.write(struct.pack(">I", 1) + other + struct.pack(">II", len(other), checksum))
        file.write(b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7")
    return name


def _read_only_folder(at: Place) -> str:
    _geopackage(at, "a.sqlite")
    return "a.sqlite"


def _link_named(at: Place) -> str:
    """A database under a name that a database library reads as an address."""
    _geopackage(at, "a.gpkg")
    (at.folder / "file:a.gpkg?mode=rwc&vfs=unix-none").symlink_to("a.gpkg")
    return "file:a.gpkg?mode=rwc&vfs=unix-none"


def _plain_database(*statements: str, name: str = "a.sqlite") -> Callable[[Place], str]:
    def make(at: Place) -> str:
        base = sqlite3.connect(at.folder / name)
        base.execute("PRAGMA writable_schema = 1")
        for statement in statements:
            base.executescript(at.filled(statement))
        base.commit()
        base.close()
        return name

    return make


def _lying_header(at: Place) -> str:
    path = _geopackage(at)
    content = bytearray(path.read_bytes())
    content[28:32] = struct.pack(">I", 0xFFFFFFF0)  # pages
    content[16:18] = b"\0\1"  # of 64 KiB
    path.write_bytes(content)
    return path.name


def cases() -> list[Case]:
    """Views, virtual tables, triggers, journals, shapes that lie."""
    start = b"SQLite format 3\0"
    tiles = (
        "CREATE TABLE metadata (name, value); CREATE TABLE tiles (zoom_level, tile_column, "
        "tile_row, tile_data); INSERT INTO metadata VALUES ('format', 'pbf'), "
        "('json', '{\"vector_layers\":[{\"id\":\"a\"}]}'), ('url', '@URL@');"
    )
    return [
        *(
            Case(f"gpkg {n}", "map", _altered(s), chief=n == "endless view")
            for n, s in _VIEWS.items()
        ),
        *(Case(f"gpkg {n}", "map", _altered(_schema(s))) for n, s in _TABLES.items()),
        *(
            Case(
                f"gpkg {name} as the layer",
                "map",
                _altered(_schema(sql), _listed("SELECT 1 AS fid, NULL AS geom, * FROM v")),
            )
            for name, sql in list(_TABLES.items())[:3]
        ),
        *(
            Case(f"gpkg {n}", "map", _altered(sql), heavy=n == "many columns")
            for n, sql in _OTHERS.items()
        ),
        *(Case(f"gpkg shape {name}", "map", _altered(_blob(b))) for name, b in _BLOBS.items()),
        Case(
            "gpkg box lies",
            "map",
            _altered(_blob(b"\0" * 9, b"GP\0\x0b" + struct.pack("<i4d", -1, 1e308, -1e308, 0, 0))),
        ),
        Case("gpkg hot journal", "map", _journal),
        Case("gpkg journal of another", "map", _journal_names_another),
        Case("gpkg log beside", "map", _log_beside),
        Case("gpkg header lies", "map", _lying_header),
        Case("gpkg as sqlite", "map", _read_only_folder),
        Case("gpkg as address", "map", _link_named),
        Case("gpkg as kml", "map", lambda at: _geopackage(at).rename(at.folder / "a.kml").name),
        Case("gpkg as csv log", "log", lambda at: _geopackage(at).rename(at.folder / "a.csv").name),
        *(
            Case(f"sqlite {name}", "map", _plain_database(_schema(sql)))
            for name, sql in _TABLES.items()
        ),
        Case(
            "sqlite spatial",
            "map",
            _plain_database(
                "CREATE TABLE geometry_columns (f_table_name, f_geometry_column, geometry_type, "
                "coord_dimension, srid, geometry_format); CREATE TABLE spatial_ref_sys (srid, "
                "auth_name, auth_srid, srtext); INSERT INTO geometry_columns VALUES "
                "('secret', 'g', 3, 2, 4326, 'WKB'); CREATE TABLE secret (g BLOB);"
            ),
        ),
        Case("sqlite tiles", "map", _plain_database(tiles, name="a.mbtiles")),
        Case("sqlite tiles as gpkg", "map", _plain_database(tiles, name="a.gpkg")),
        *texts(
            "map",
            [
                ("start only.gpkg", start),
                ("start and nothing.gpkg", start + b"\0" * 100_000),
                ("start and noise.gpkg", start + bytes(i * 31 % 256 for i in range(100_000))),
            ],
            "gpkg ",
        ),
    ]
