"""Bring coordinates of any system to WGS 84, and say so when they fit none."""

from __future__ import annotations

import re

import geopandas as gpd
import numpy as np
import pyproj
import pyproj.network
import shapely

from evenacre.errors import InputError
from evenacre.geo.geodesy import unwrap
from evenacre.language import tr
from evenacre.model import FloatArray

# Whatever this computer is set to: no field needs a grid from the network.
pyproj.network.set_network_enabled(active=False)  # type: ignore[attr-defined]

_SUCH_AS = 'crs = "EPSG:26915" (on the command line --boundary-crs or --tracks-crs EPSG:26915)'


# What PROJ takes for more than a system: files of its own, steps of a calculation.
_MORE_THAN_A_SYSTEM = re.compile(
    r"\binit\s*=\s*(?!epsg:)|\bpipeline\b|\bstep\b|(?:grids|file|catalog)\s*=\s*(?!@null\b)",
    re.IGNORECASE,
)
_GRID_FILE = re.compile(r'(?:grids=|PARAMETERFILE\["[^"]*",")([^\s"]*)', re.IGNORECASE)


def to_wgs84(
    frame: gpd.GeoDataFrame, file: str, crs_text: str | None = None
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Bring a layer to WGS 84 degrees, longitudes running on past 180.

    It is two-dimensional without empty geometry; ``crs_text`` goes before what the file says.
    """
    warnings: list[str] = []
    bounds = np.asarray(frame.total_bounds)
    coordinates, owner = shapely.get_coordinates(frame.geometry.array, return_index=True)
    broken = owner[~np.isfinite(coordinates).all(axis=1)]
    if len(broken):
        raise InputError.at(
            file,
            tr("feature {index}", index=frame.index[broken[0]]),
            tr("Some of its coordinates are not numbers."),
            tr("Draw that outline again."),
        )
    crs = _source_crs(frame, file, crs_text, bounds, warnings)
    frame = frame.set_crs(crs, allow_override=True)
    if frame.crs.is_geographic:
        _check_degrees(file, coordinates)
    if frame.crs.to_epsg() != 4326:
        try:
            frame = frame.to_crs("EPSG:4326")
        except pyproj.exceptions.ProjError:
            raise _outside(file) from None
    _check_degrees(file, shapely.get_coordinates(frame.geometry.array))
    return frame.set_geometry(unwrap(frame.geometry.array), crs="EPSG:4326"), warnings


def parse_crs(text: str, file: str) -> pyproj.CRS:
    """Read a coordinate system as people write it: ``EPSG:26915`` or a WKT text."""
    try:
        crs = pyproj.CRS(text) if not _MORE_THAN_A_SYSTEM.search(text) else None
    except pyproj.exceptions.CRSError:
        crs = None
    if crs is None:
        raise InputError.at(
            file,
            "crs",
            tr('"{said}" is not a coordinate system.', said=text),
            tr('Write an EPSG code, such as "EPSG:4326" or "EPSG:26915".'),
        )
    return _without_files(crs, file)


def _without_files(crs: pyproj.CRS, file: str) -> pyproj.CRS:
    """Refuse a system that needs a file: any on this computer could be named."""
    for found in _GRID_FILE.finditer(crs.to_wkt()):
        if found[1].lower() != "@null":  # how Web Mercator says that it needs none
            raise InputError.at(
                file,
                "crs",
                tr(
                    'Its coordinate system needs a file of its own ("{found}"), which is not read.',
                    found=found[1],
                ),
                tr("Export it again in WGS 84."),
            )
    return crs


def _source_crs(
    frame: gpd.GeoDataFrame,
    file: str,
    crs_text: str | None,
    bounds: FloatArray,
    warnings: list[str],
) -> pyproj.CRS:
    if crs_text is not None:
        crs = parse_crs(crs_text, file)
        # GeoJSON without a word on the matter counts as WGS 84: nothing is contradicted.
        says = frame.crs
        if says is not None and says.to_epsg() != 4326 and says != crs:
            warnings.append(
                tr(
                    "{file}: the file says its coordinates are in {name}; they were taken "
                    "for {name_2} as told.",
                    file=file,
                    name=says.name,
                    name_2=crs.name,
                )
            )
        return crs
    if frame.crs is not None:
        return _without_files(frame.crs, file)
    degrees = abs(bounds[[0, 2]]).max() <= 360 and abs(bounds[[1, 3]]).max() <= 90
    if not degrees:
        raise InputError.at(
            file,
            "",
            tr(
                "It does not say which coordinate system it is in, and its coordinates (such "
                "as {bounds:.1f}, {bounds_2:.1f}) are not degrees.",
                bounds=bounds[0],
                bounds_2=bounds[1],
            ),
            tr("Copy the .prj part too, or give the system: {such_as}.", such_as=_SUCH_AS),
        )
    warnings.append(
        tr(
            "{file}: it does not say which coordinate system it is in; its coordinates look "
            "like degrees and were taken for WGS 84.",
            file=file,
        )
    )
    return pyproj.CRS("EPSG:4326")


def _outside(file: str) -> InputError:
    return InputError.at(
        file,
        "",
        tr("Its coordinates do not fit the coordinate system the file names."),
        tr("Export it again in WGS 84, or give the right one: {such_as}.", such_as=_SUCH_AS),
    )


def _check_degrees(file: str, coordinates: FloatArray) -> None:
    if not np.isfinite(coordinates).all():
        raise _outside(file)
    lon, lat = abs(coordinates).max(axis=0)
    if lon <= 360 and lat <= 90:
        return
    if lat <= 360 and lon <= 90:
        raise InputError.at(
            file,
            "",
            tr(
                "It has a latitude of {lat:.4f}, beyond the pole: longitude and latitude "
                "look swapped.",
                lat=lat,
            ),
            tr("Export it with longitude first."),
        )
    raise InputError.at(
        file,
        "",
        tr(
            "Its coordinates (up to {lon:.1f}, {lat:.1f}) are not degrees, though the file "
            "says so.",
            lon=lon,
            lat=lat,
        ),
        tr("Give the system they are in: {such_as}.", such_as=_SUCH_AS),
    )
