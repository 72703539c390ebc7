"""GDAL with nothing but the drivers a file needs, and no way out."""

from __future__ import annotations

import pyogrio
from pyogrio.core import _register_drivers  # the one call that has no public name

from evenacre.io.untrusted.kinds import MapKind

_DRIVERS = {
    MapKind.GEOJSON: ("GeoJSON", "GeoJSONSeq"),
    MapKind.GEOPACKAGE: ("GPKG",),
    MapKind.SHAPEFILE: ("ESRI Shapefile",),
    MapKind.KML: ("LIBKML", "KML"),
    MapKind.FLATGEOBUF: ("FlatGeobuf",),
    MapKind.GML: ("GML",),
    MapKind.GPX: ("GPX",),
}
_OPTIONS = {
    # Nothing is written beside the file: no lock, no index kept for later, no schema.
    MapKind.GEOPACKAGE: {
        "IMMUTABLE": "YES",
        "LIST_ALL_TABLES": "NO",
        "PRELUDE_STATEMENTS": "PRAGMA trusted_schema = OFF",
    },
    MapKind.GML: {"WRITE_GFS": "NO"},
}
_CONFIG = {
    # A proxy of a kind that does not exist: requests end before a socket is connected.
    "GDAL_HTTP_PROXY": "none://",
    "GDAL_HTTPS_PROXY": "none://",
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "none",
    "GML_DOWNLOAD_SCHEMA": "NO",
    "GDAL_XML_VALIDATION": "NO",
    "GML_SKIP_RESOLVE_ELEMS": "ALL",
    "LIBKML_RESOLVE_STYLE": "NO",
    "OGR_SQLITE_ALLOW_EXTERNAL_ACCESS": "NO",
    "OGR_SQLITE_LOAD_EXTENSIONS": "",
    "GDAL_PAM_ENABLED": "NO",
    "SHAPE_RESTORE_SHX": "NO",
    "GDAL_NUM_THREADS": "1",
}


def close_ways_out() -> None:
    """Turn off what would let a map file reach the network or write."""
    pyogrio.set_gdal_config_options(_CONFIG)


def allow_only(kind: MapKind) -> dict[str, str]:
    """Leave GDAL the drivers of one kind of file, so that no other can answer for it.

    Parameters
    ----------
    kind : MapKind
        One that GDAL reads. Drivers that this build of GDAL lacks are passed over.

    Returns
    -------
    dict
        The options to open the file with.

    Raises
    ------
    RuntimeError
        When GDAL keeps others all the same.
    """
    allowed = set(_DRIVERS[kind])
    pyogrio.set_gdal_config_options({"GDAL_SKIP": None, "OGR_SKIP": None})
    _register_drivers()
    others = set(pyogrio.list_drivers()) - allowed
    pyogrio.set_gdal_config_options({"OGR_SKIP": ",".join(sorted(others))})
    _register_drivers()
    if kept := set(pyogrio.list_drivers()) - allowed:
        raise RuntimeError(f"GDAL keeps the drivers {sorted(kept)}")
    return _OPTIONS.get(kind, {})
