"""Positions of records as WGS 84 degrees."""

from __future__ import annotations

import re

import numpy as np
from pyproj import CRS, Transformer

from evenacre.errors import InputError
from evenacre.geo.geodesy import wrapped
from evenacre.io.common.findings import FEW, Findings
from evenacre.io.logs.columns.column_roles import ColumnPlan
from evenacre.io.maps.crs import parse_crs
from evenacre.io.tables.headers import read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr, trn
from evenacre.model import BoolArray, FloatArray

_FARM_DEGREES = 5.0
# S may be a band of the north or mean the south, so it is not read.
_ZONE = re.compile(r"(\d{1,2})([C-HJ-NP-RT-X]?)")


def column_positions(
    table: RecordTable, plan: ColumnPlan, crs: str | None, findings: Findings
) -> tuple[FloatArray, FloatArray]:
    """Longitude and latitude of every record from its columns, NaN where there is none."""
    for first, second, projected in (("lon", "lat", False), ("x", "y", True)):
        east, north = plan.get(first), plan.get(second)
        if east is None or north is None:
            continue
        place = f'columns "{east.column}" and "{north.column}"'
        x = table.numbers(east.column, east.meaning, findings)
        y = table.numbers(north.column, north.meaning, findings)
        if projected and crs is None:
            crs = _utm_zone(table, findings)
        elif _in_whole_parts(x, y):
            findings.note(
                tr(
                    "{file}: {place} are taken as 1e-7 of a degree, in whole numbers.",
                    file=table.file,
                    place=place,
                )
            )
            x, y = x * 1e-7, y * 1e-7
        x, y = _unprojected(x, y, crs, table.file, place, findings, labelled=not projected)
        return checked_degrees(x, y, table.file, place, findings)
    raise table.error(
        "",
        tr(
            "no columns of longitude and latitude were found among {listing}.",
            listing=table.listing,
        ),
        tr(
            "Name them with --column lon=COLUMN --column lat=COLUMN (or x= and y= with "
            "--tracks-crs when they are projected)."
        ),
    )


def _in_whole_parts(lon: FloatArray, lat: FloatArray) -> bool:
    """Tell degrees that were kept as whole numbers of their ten-millionth parts."""
    known = np.isfinite(lon) & np.isfinite(lat) & (lon != 0) & (lat != 0)
    if not known.any():
        return False
    lon, lat = lon[known], lat[known]
    whole = ((lon % 1 == 0) & (lat % 1 == 0)).all() and np.abs(lon).min() > 1e6
    return bool(whole and _like_degrees(lon * 1e-7, lat * 1e-7))


def _utm_zone(table: RecordTable, findings: Findings) -> str | None:
    """The UTM zone that a column tells, in all records the same: ``15``, ``15N`` or ``15T``."""
    for name in table.names:
        if read_header(name).full not in ("utm_zone", "zone_utm"):
            continue
        zones = {text.removesuffix(".0").upper() for text in table.words(name)} - {""}
        found = _ZONE.fullmatch(zones.pop()) if len(zones) == 1 else None
        if found is None or not 1 <= int(found[1]) <= 60:
            return None
        south = bool(found[2]) and found[2] < "N"  # letters of the bands count from the south
        half = "south" if south else "north"
        said = tr(
            "{about}: coordinates are taken as UTM zone {found} {half}",
            about=table.about(name),
            found=found[1],
            half=half,
        )
        if found[2]:
            findings.note(f"{said}.")
        else:
            findings.warn(tr("{said}; it does not say which side of the equator.", said=said))
        return f"EPSG:{(32700 if south else 32600) + int(found[1])}"
    return None


def _unprojected(
    x: FloatArray,
    y: FloatArray,
    crs: str | None,
    file: str,
    place: str,
    findings: Findings,
    *,
    labelled: bool,
) -> tuple[FloatArray, FloatArray]:
    """Degrees of coordinates, ``labelled`` when the file says that they are already."""
    if crs is not None:
        system = parse_crs(crs, file)
        if system.is_projected and labelled and _like_degrees(x, y):
            findings.warn(
                tr(
                    "{file}: {place} hold degrees, so the coordinate system {name} is not used.",
                    file=file,
                    place=place,
                    name=system.name,
                )
            )
        elif not system.equals(CRS.from_epsg(4326)):
            known = np.isfinite(x) & np.isfinite(y)
            to_wgs84 = Transformer.from_crs(system, 4326, always_xy=True)
            x[known], y[known] = to_wgs84.transform(x[known], y[known])
    elif not labelled:
        if not _like_degrees(x, y):
            raise InputError.at(
                file,
                place,
                tr(
                    "the positions are not degrees, and nothing says in which coordinate "
                    "system they are."
                ),
                tr(
                    'Name it: crs = "EPSG:26915" for UTM zone 15N (on the command line '
                    "--tracks-crs EPSG:26915)."
                ),
            )
        findings.warn(
            tr(
                "{file}: {place} name no coordinate system; they look like degrees and are "
                "taken as WGS 84 longitude and latitude.",
                file=file,
                place=place,
            )
        )
    return x, y


def _like_degrees(x: FloatArray, y: FloatArray) -> bool:
    """Tell degrees from metres: in range, and no wider than a farm."""
    known = np.isfinite(x) & np.isfinite(y) & ((x != 0) | (y != 0))
    if not known.any():
        return True
    low, high = np.percentile(y[known], [1, 99])
    inside = (np.abs(x[known]) <= 360) & (np.abs(y[known]) <= 90)
    return bool(inside.mean() > 1 - FEW and high - low < _FARM_DEGREES)


def checked_degrees(
    lon: FloatArray, lat: FloatArray, file: str, place: str, findings: Findings
) -> tuple[FloatArray, FloatArray]:
    """Degrees continuous across the antimeridian, NaN where there is no position.

    Raises
    ------
    InputError
        When latitude and longitude look swapped, or no position is left.
    """
    lon, lat = lon.copy(), lat.copy()
    nowhere = (lon == 0) & (lat == 0)  # what receivers write before they have a fix
    lon[nowhere], lat[nowhere] = np.nan, np.nan
    if nowhere.any():
        findings.warn(
            tr(
                "{file}: {positions} of 0, 0 taken as no fix.",
                file=file,
                positions=trn("{count:,} position", "{count:,} positions", nowhere.sum()),
            )
        )
    bad = (np.abs(lat) > 90) | (np.abs(lon) > 360)
    if bad.any():
        if bad.sum() > FEW * np.isfinite(lon).sum():
            raise InputError.at(file, place, *_out_of_range(lon, lat, bad))
        lon[bad], lat[bad] = np.nan, np.nan
        findings.warn(
            tr(
                "{file}: {positions} off the Earth, taken as missing.",
                file=file,
                positions=trn("{count:,} position", "{count:,} positions", bad.sum()),
            )
        )
    missing = ~(np.isfinite(lon) & np.isfinite(lat))
    if missing.all():
        raise InputError.at(file, place, tr("no record has a position."), tr("Check the columns."))
    if missing.any():
        lon[missing], lat[missing] = np.nan, np.nan
        findings.warn(
            tr(
                "{file}: {records} no position.",
                file=file,
                records=trn("{count:,} record has", "{count:,} records have", missing.sum()),
            )
        )
    return _continuous(wrapped(lon)), lat


def _out_of_range(lon: FloatArray, lat: FloatArray, bad: BoolArray) -> tuple[str, str]:
    row = int(np.flatnonzero(bad)[0])
    first = f"({lon[row]:g}, {lat[row]:g})"
    if np.nanmax(np.abs(lon)) <= 90 and np.nanmax(np.abs(lat)) <= 360:
        return (
            tr(
                "latitude and longitude look swapped: the latitude of {first} is beyond 90.",
                first=first,
            ),
            tr("Swap the two columns, such as --column lon=LATITUDE_COLUMN."),
        )
    return (
        tr("{first} is not a longitude and latitude in degrees.", first=first),
        tr(
            "If these are projected coordinates, name the columns as x and y and give --tracks-crs."
        ),
    )


def _continuous(lon: FloatArray) -> FloatArray:
    """Let longitudes run past 180 where the track crosses the antimeridian."""
    known = lon[np.isfinite(lon)]
    step = np.abs(np.diff(known))
    crossed = (step > 180) & (np.abs(known[1:]) > 179) & (np.abs(known[:-1]) > 179)
    return np.where(lon < 0, lon + 360, lon) if crossed.any() else lon
