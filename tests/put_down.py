"""Jobs of the plane put down on Earth, as the engine is given them.

The plane is a Lambert azimuthal equal-area projection, so that its areas are areas of the
ground.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from jobs import Floats, Job
from pyproj import Transformer
from shapely.geometry.base import BaseGeometry

from evenacre.model import Field, Operation, Track

MISSOURI = (-92.6, 40.1)
CANTERBURY = (171.9, -43.7)
LAPLAND = (25.3, 66.2)
TAVEUNI = (179.9999, -16.85)  # astride the antimeridian
QUITO = (-78.45, 0.02)
PLACES = {
    "Missouri": MISSOURI,
    "Canterbury": CANTERBURY,
    "Lapland": LAPLAND,
    "Taveuni": TAVEUNI,
    "Quito": QUITO,
}


def lonlat_of(x: Floats, y: Floats, place: tuple[float, float]) -> tuple[Floats, Floats]:
    """Longitude and latitude of plane positions put down with the origin at ``place``.

    The plane's centre lies a kilometre to the south: PROJ's inverse is exact at the centre
    itself and 1.5 mm off everywhere around it, which would bend a field with a corner there.
    """
    to_plane, x0, y0 = _plane(*place)
    lon, lat = to_plane.transform(x + x0, y + y0, direction="INVERSE")
    return np.asarray(lon), np.asarray(lat)


@cache
def _plane(lon0: float, lat0: float) -> tuple[Transformer, float, float]:
    """The plane of a place and the place in it; making one takes longer than using it."""
    plane = f"+proj=laea +lon_0={lon0} +lat_0={lat0 - 0.01} +datum=WGS84 +units=m"
    to_plane = Transformer.from_crs("EPSG:4326", plane, always_xy=True)
    return to_plane, *to_plane.transform(lon0, lat0)


def on_earth(
    geometry: BaseGeometry, place: tuple[float, float], turn: float, shift: tuple[float, float]
) -> BaseGeometry:
    """A plane geometry put down at ``place``, its longitudes unbroken past 180."""

    def put(points: Floats) -> Floats:
        lon, lat = lonlat_of(*_moved(points[:, 0], points[:, 1], turn, shift), place)
        lon = place[0] + (lon - place[0] + 180.0) % 360.0 - 180.0
        return np.column_stack([lon, lat])

    return shapely.transform(geometry, put)


def operation(
    job: Job,
    place: tuple[float, float] = MISSOURI,
    *,
    turn: float = 0.0,
    shift: tuple[float, float] = (0.0, 0.0),
    jitter_m: float = 0.0,
    seed: int = 0,
    separate: bool = False,
) -> Operation:
    """The job as the engine is given it.

    Parameters
    ----------
    job : Job
    place : (lon, lat)
        Where on Earth the plane's origin goes.
    turn, shift : float, (float, float)
        The job is turned about the origin and then moved, in the plane.
    jitter_m : float
        Standard deviation of white noise on each coordinate of the log.
    separate : bool
        One track per drive instead of one log of them all.
    """
    rng = np.random.default_rng(seed)
    tracks = []
    for i, drive in enumerate(job.drives):
        x, y = _moved(drive.x_m, drive.y_m, turn, shift)
        noise = rng.normal(0.0, jitter_m, (2, len(x))) if jitter_m else np.zeros((2, 1))
        lon, lat = lonlat_of(x + noise[0], y + noise[1], place)
        tracks.append(
            Track(
                source=f"drive-{i + 1}.csv",
                time_s=drive.time_s,
                lon=lon,
                lat=lat,
                working=drive.working,
                sections=drive.sections,
                rates=drive.rates,
                flows=drive.flows,
            )
        )
    if not separate:
        tracks = [joined(tracks)]

    def put(geometry: BaseGeometry) -> BaseGeometry:
        return on_earth(geometry, place, turn, shift)

    zones = None
    if job.zones:
        zones = gpd.GeoDataFrame(
            {"zone": list(job.zones)},
            geometry=[put(z) for z in job.zones.values()],
            crs="EPSG:4326",
        )
    return Operation(
        name=job.name,
        field=Field(
            name=job.name,
            boundary=put(job.boundary),
            unworkable=None if job.unworkable is None else put(job.unworkable),
            zones=zones,
        ),
        implement=job.implement,
        tracks=tuple(tracks),
        applications=job.applications,
        blockages=job.blockages,
        settings=job.settings,
    )


def joined(tracks: Sequence[Track]) -> Track:
    """Several tracks as one log."""

    def together(name: str) -> npt.NDArray[np.generic] | None:
        parts = [getattr(t, name) for t in tracks]
        return None if parts[0] is None else np.concatenate(parts)

    return replace(
        tracks[0],
        source="log.csv",
        **{name: together(name) for name in ("time_s", "lon", "lat", "working", "sections")},
        rates={k: np.concatenate([t.rates[k] for t in tracks]) for k in tracks[0].rates},
        flows={k: np.concatenate([t.flows[k] for t in tracks]) for k in tracks[0].flows},
    )


def split(track: Track, at: Sequence[int]) -> tuple[Track, ...]:
    """One log cut into several files before the records ``at``."""
    edges = [0, *sorted(set(at)), len(track)]
    parts = []
    for i, (a, b) in enumerate(itertools.pairwise(edges)):
        if a == b:
            continue
        cut = {
            name: None if (values := getattr(track, name)) is None else values[a:b]
            for name in ("time_s", "lon", "lat", "working", "sections")
        }
        parts.append(
            replace(
                track,
                source=f"part-{i}.csv",
                **cut,
                rates={k: v[a:b] for k, v in track.rates.items()},
                flows={k: v[a:b] for k, v in track.flows.items()},
            )
        )
    return tuple(parts)


def _moved(x: Floats, y: Floats, turn: float, shift: tuple[float, float]) -> tuple[Floats, Floats]:
    cos, sin = math.cos(turn), math.sin(turn)
    return x * cos - y * sin + shift[0], x * sin + y * cos + shift[1]
