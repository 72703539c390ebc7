"""Versions of what works a result out: this program, its libraries, and the data they bring."""

from __future__ import annotations

import platform
import re
import zoneinfo
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from evenacre import __version__

_LIBRARIES = ("numpy", "scipy", "pandas", "pyarrow", "shapely", "geopandas", "pyproj", "pyogrio")
_DRAWN_BY = ("rasterio", "matplotlib", "XlsxWriter", "typst")


def versions() -> dict[str, str]:
    """Versions by name; what is not installed is not there.

    Returns
    -------
    dict of str to str
        GEOS, GDAL and PROJ are those that are linked; time zones are those of the package or,
        without it, of the system.
    """
    import pyogrio
    import pyproj
    import rasterio
    import shapely

    found = {"Evenacre": __version__, "Python": platform.python_version()}
    for name in (*_LIBRARIES, *_DRAWN_BY):
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    found["GEOS"] = shapely.geos_version_string
    found["PROJ"] = pyproj.proj_version_str
    found["EPSG"] = str(pyproj.database.get_database_metadata("EPSG.VERSION"))
    found["GDAL"] = ".".join(map(str, pyogrio.__gdal_version__))
    found["GDAL (rasters)"] = rasterio.__gdal_version__
    found["tzdata"] = _time_zones()
    return found


def _time_zones() -> str:
    """Version of the rules of time zones: the system's, where it has any, as zoneinfo looks."""
    for folder in map(Path, zoneinfo.TZPATH):
        if folder.is_dir():
            rules = folder / "tzdata.zi"
            head = rules.read_text(encoding="ascii")[:64] if rules.is_file() else ""
            found = re.match(r"# version (\S+)", head)
            return found[1] if found else "of the system"
    return version("tzdata")
