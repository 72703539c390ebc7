"""What kind of map a file is, told by its content alone."""

from __future__ import annotations

import codecs
import re
from enum import Enum

from evenacre.io.untrusted.files import narrowed

LOOKED_AT = 1 << 16
"""Bytes at the beginning of a file that tell its kind."""

SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")
MAPS = frozenset((".shp", ".gpkg", ".geojson", ".kml", ".fgb", ".gml"))
MAPS |= {".parquet", ".geoparquet", ".pq"}
SHEETS = frozenset((".xlsx", ".xlsm", ".xlsb", ".xls", ".ods"))
TABLES = frozenset((".csv", ".tsv", ".tab"))
SENTENCES = frozenset((".nmea", ".nma", ".ubx"))
PROSE = frozenset((".txt", ".log", ".dat", ".asc"))
"""Suffixes of texts that are as often words about the files beside them as they are logs."""

_XML_ROOT = re.compile(rb"<(?:[A-Za-z_][\w.-]*:)?([A-Za-z_][\w.-]*)[\s/>]")
_XML_ASIDE = re.compile(rb"<\?.*?\?>|<!--.*?-->|<!DOCTYPE[^\[>]*(\[.*?\])?\s*>", re.DOTALL)


class MapKind(Enum):
    """The kinds of map file that are read."""

    GEOJSON = "GeoJSON"
    GEOPACKAGE = "GeoPackage"
    SHAPEFILE = "Shapefile"
    KML = "KML"
    FLATGEOBUF = "FlatGeobuf"
    GML = "GML"
    GPX = "GPX"
    GEOPARQUET = "GeoParquet"
    ZIP = "zip"


_POINTERS = (b"<OGRVRT", b"<VRTDataset", b"<OGRWFSDataSource", b'"gdal_streamed_alg"')
_MAGIC = {
    b"SQLite format 3\0": MapKind.GEOPACKAGE,
    b"\0\0\x27\x0a": MapKind.SHAPEFILE,
    b"fgb\x03fgb": MapKind.FLATGEOBUF,
    b"PAR1": MapKind.GEOPARQUET,
    b"PK\x03\x04": MapKind.ZIP,
}


def map_kind(start: bytes) -> MapKind | None:
    """Tell the kind of a map file from its beginning.

    Parameters
    ----------
    start : bytes
        `LOOKED_AT` of them, or the whole file.

    Returns
    -------
    MapKind or None
        None when it is no map that is read.
    """
    for magic, kind in _MAGIC.items():
        if start.startswith(magic):
            return kind
    text = narrowed(start).removeprefix(codecs.BOM_UTF8).lstrip(b" \t\r\n\x1e")
    if text.startswith((b"{", b"[")):
        return MapKind.GEOJSON
    return _xml_kind(text) if text.startswith(b"<") else None


def points_elsewhere(start: bytes) -> bool:
    """Tell whether a file holds no map, but a recipe or an address to get one from."""
    return any(mark in start for mark in _POINTERS)


def _xml_kind(text: bytes) -> MapKind | None:
    root = _XML_ROOT.search(_XML_ASIDE.sub(b"", text))
    if root is None:
        return None
    name = root[1].lower()
    if name == b"kml":
        return MapKind.KML
    if name == b"gpx":
        return MapKind.GPX
    return MapKind.GML if b"http://www.opengis.net/gml" in text else None
