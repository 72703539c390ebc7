"""Arguments of Python calls: quantities, maps and tracks at hand, and complaints about them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from inspect import signature
from pathlib import Path
from typing import Any, TypeAlias

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.io.common.suggestions import choice
from evenacre.io.logs.formats.layer_log import read_layer_tracks
from evenacre.io.maps.read_layer import LayerCache, Source, held_layer
from evenacre.io.season.files import frame_sha256
from evenacre.io.writers.track_layer import track_layer
from evenacre.model import Application, InputFile, Product, Track
from evenacre.workflows.called import about_arguments

Quantity: TypeAlias = str | float
"""Text with a unit, or a number in SI."""
Drawn: TypeAlias = str | Path | BaseGeometry | gpd.GeoSeries | gpd.GeoDataFrame
"""A map: a file, or what is at hand."""
Log: TypeAlias = str | Path | Track | gpd.GeoDataFrame
"""A log of the drive: a file, or what is at hand."""
Products: TypeAlias = (
    str | Product | Mapping[str, Quantity | None] | Sequence[str | Product | Application]
)

# SI units of the quantities that may be given as numbers.
_UNITS = {
    **dict.fromkeys(
        ("width", "row_spacing", "setback_distance", "cross_width", "turn_radius"), "m"
    ),
    **dict.fromkeys(("tractor_length", "tractor_width"), "m"),
    **dict.fromkeys(("gate_width", "transport_width"), "m"),
    **dict.fromkeys(("axle_to_antenna", "antenna_ahead", "antenna_left"), "m"),
    **dict.fromkeys(("hitch_to_axle", "tool_behind"), "m"),
    **dict.fromkeys(("skip_min_width", "pass_to_pass", "within_pass"), "m"),
    **dict.fromkeys(("circumference", "wheel_diameter"), "m"),
    **dict.fromkeys(("area", "area_error", "done", "skip_min_area"), "m2"),
    **dict.fromkeys(
        ("left", "left_error", "started", "full", "catch", "opener_catch", "scale", "fill"), "kg"
    ),
    **dict.fromkeys(("rate", "rate_min", "rate_max", "target", "products", "tested"), "kg/m2"),
    **dict.fromkeys(("speed", "turn_speed"), "m/s"),
    **dict.fromkeys(("delay", "max_gap"), "s"),
    "bulk_density": "kg/m3",
    "turns_per_area": "/m2",
}


def check_names(call: Callable[..., Any], given: Iterable[str], known: Sequence[str]) -> None:
    """Refuse an argument that a call does not know, beside those of its signature."""
    for name in given:
        if name not in known:
            every = [*signature(call).parameters, *known]
            raise InputError.at(
                call.__name__, name, "It takes no such argument.", choice(name, every)
            )


def as_text(name: str, value: Any) -> Any:
    """Write a number in SI with its unit, as the command line would have it."""
    if isinstance(value, list | tuple):
        return [as_text(name, one) for one in value]
    if name == "overlap" and isinstance(value, float):
        return f"{100 * value!r} %"
    if name in _UNITS and isinstance(value, int | float | np.number):
        return f"{float(value)!r} {_UNITS[name]}"
    return value


def as_list(value: Any) -> list[Any]:
    """One or several as a list."""
    return [*value] if isinstance(value, list | tuple) else [value]


def given(**arguments: Any) -> dict[str, Any]:
    """Arguments that were used, as the command line has them: quantities as text, pairs as A=B."""
    used: dict[str, Any] = {}
    for name, value in arguments.items():
        if isinstance(value, Mapping):
            used[name] = [f"{key}={as_text(name, one)}" for key, one in value.items()]
        elif value is not None:
            used[name] = as_text(name, value)
    return used


def frame_of(name: str, drawn: Any, crs: Any = None) -> gpd.GeoDataFrame | None:
    """A map at hand as a frame; None for a file.

    ``crs`` was given for it; a bare geometry is in longitude and latitude when None.
    """
    if isinstance(drawn, str | Path):
        return None
    if isinstance(drawn, BaseGeometry):
        degrees = abs(drawn.bounds[1]) <= 90 and abs(drawn.bounds[3]) <= 90  # NaN when empty
        return gpd.GeoDataFrame(geometry=[drawn], crs=4326 if degrees and crs is None else None)
    if isinstance(drawn, gpd.GeoSeries):
        return gpd.GeoDataFrame(geometry=drawn)
    if isinstance(drawn, gpd.GeoDataFrame) and drawn.active_geometry_name is not None:
        return drawn
    what = "It has no geometry" if isinstance(drawn, gpd.GeoDataFrame) else "It is no map"
    raise InputError.at(
        name,
        "",
        f"{what}: a {type(drawn).__name__} was given.",
        "Give a file, a geometry, a GeoSeries or a GeoDataFrame with a geometry.",
    )


def stand_in(name: str, drawn: Any) -> str:
    """What stands for the file of a map or log that has none, in complaints and results."""
    kind = type(drawn).__name__
    return f"{name} ({'an' if kind[0] in 'AEIOU' else 'a'} {kind} given in Python)"


def crs_text(crs: Any) -> str | None:
    """A coordinate system as text."""
    if crs is None or isinstance(crs, str):
        return crs
    return f"EPSG:{crs}" if isinstance(crs, int) else str(CRS.from_user_input(crs).to_wkt())


def tracks_from_geodataframe(
    frame: gpd.GeoDataFrame,
    *,
    columns: Mapping[str, str] | None = None,
    crs: Any = None,
    time_zone: str | None = None,
    source: str = "",
) -> list[Track]:
    """Read a log that is at hand as a frame: what a file of it would say.

    Points are fixes, each line is a working pass, and each polygon a step of one. What the
    columns mean is guessed from their names; the notes of the tracks say how.

    Parameters
    ----------
    frame : GeoDataFrame
        n records. An index of times counts as a column ``time``.
    columns : mapping of str to str, optional
        Role to column name with an optional unit, ``{"flow": "mass [lb/s]"}``.
    crs : optional
        System of the coordinates, over what the frame says; anything that GeoPandas takes.
    time_zone : str, optional
        Zone of times that name none, such as ``America/Chicago``.
    source : str, optional
        What the tracks are called in results.

    Returns
    -------
    list of Track
        One for each machine, arrays of shape (n,) in SI units, positions in WGS 84 degrees.

    Raises
    ------
    InputError
        When the frame cannot be read as a log.

    Examples
    --------
    >>> log = gpd.read_file("log.geojson")
    >>> (track,) = ev.tracks_from_geodataframe(log, columns={"rate": "rate [lb/ac]"})
    >>> len(track) == len(log)
    True
    """
    with about_arguments(tracks="frame"):
        held = frame_of("tracks", frame)
        if held is None:
            remedy = "Give a GeoDataFrame, or read it with evenacre.read_tracks."
            raise InputError.at("frame", "", "It is the name of a file.", remedy)
        if isinstance(held.index, pd.DatetimeIndex):
            held = held.reset_index(names=held.index.name or "time")
        stand = Path(source or stand_in("tracks", frame))
        cache: LayerCache = {(stand, None, False): held_layer(held)}
        source_of = Source(stand, crs=crs_text(crs))
        return read_layer_tracks(source_of, columns or {}, time_zone, cache)


def tracks_to_geodataframe(tracks: Track | Sequence[Track]) -> gpd.GeoDataFrame:
    """Lay tracks out as points, one a record, in columns that carry their units.

    Parameters
    ----------
    tracks : Track or sequence of Track

    Returns
    -------
    GeoDataFrame
        EPSG:4326; ``time``, ``speed (m/s)``, ``heading (deg)``, ``work``, ``rate NAME
        (kg/m2)`` and so on. What no track holds has no column, and a record without a position
        no geometry. :func:`tracks_from_geodataframe` reads it back.

    Raises
    ------
    InputError
        When there is no track.

    Examples
    --------
    >>> points = ev.tracks_to_geodataframe(ev.read_tracks("log.csv"))
    >>> points.crs.to_epsg(), "speed (m/s)" in points.columns
    (4326, False)
    """
    every = [tracks] if isinstance(tracks, Track) else list(tracks)
    if not every:
        raise InputError.at("tracks", "", "There is none.", "Give a Track, or several.")
    return track_layer(every)


def read_logs(
    logs: Log | Sequence[Log],
    columns: Mapping[str, str] | None,
    crs: Any,
    time_zone: str | None,
) -> tuple[list[Path], tuple[Track, ...], list[InputFile]]:
    """Part logs into files and tracks at hand, and say what the latter were."""
    several = as_list(logs)
    files: list[Path] = []
    tracks: list[Track] = []
    inputs: list[InputFile] = []
    for number, log in enumerate(several, start=1):
        name = "tracks" if len(several) == 1 else f"tracks {number}"
        if isinstance(log, str | Path):
            files.append(Path(log))
            continue
        label = stand_in(name, log)
        if isinstance(log, Track):
            tracks.append(log)
        else:
            options = {"columns": columns, "crs": crs, "time_zone": time_zone}
            tracks += tracks_from_geodataframe(log, **options, source=label)
        frame = track_layer([log]) if isinstance(log, Track) else log
        inputs.append(InputFile(label, frame_sha256(frame)))
    return files, tuple(tracks), inputs


def product_texts(
    products: Products, prices: Mapping[str, Quantity] | None, currency: str
) -> tuple[dict[str, list[Any]], dict[str, Product]]:
    """Products as the command line has them, and those that were given whole by name.

    The former are ``product``, and ``rate`` and ``price`` where there are any, one for each.
    """
    whole: dict[str, Product] = {}
    rates: dict[str, Any] = {}
    if isinstance(products, str | Product):
        products = [products]
    targets = products if isinstance(products, Mapping) else {}
    for entry in products:
        used = entry if isinstance(entry, Application) else None
        product = used.product if used else entry
        if isinstance(product, Product):
            whole[product.name] = product
        name = product.name if isinstance(product, Product) else str(product)
        rates[name] = as_text("products", used.target_kg_per_m2 if used else targets.get(name))
    texts: dict[str, list[Any]] = {"product": list(rates)} if rates else {}
    if any(rate is not None for rate in rates.values()):
        texts["rate"] = list(rates.values())
    if unknown := [name for name in prices or {} if name not in rates]:
        raise InputError.at("prices", unknown[0], "It is no product.", choice(unknown[0], rates))
    if prices:
        asked = [prices.get(name) for name in rates]
        texts["price"] = [
            p if p is None or isinstance(p, str) else f"{float(p)!r} {currency}/kg" for p in asked
        ]
    return texts, whole
