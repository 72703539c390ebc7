"""A season of one operation, from the options of the command line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd

from evenacre.errors import InputError
from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.season.build import build_season
from evenacre.io.season.files import SeasonFiles
from evenacre.model import Season

_OPTIONS = {
    "layer": "layer",
    "where": "where",
    "distance": "distance",
    "name_column": "name-column",
    "crs": "crs",
}


def season_from_options(
    *,
    boundary: Path | None = None,
    tracks: Sequence[Path] = (),
    width: str | None = None,
    rows: int | None = None,
    row_spacing: str | None = None,
    products: Sequence[str] = (),
    rates: Sequence[str] = (),
    prices: Sequence[str] = (),
    zones: Path | None = None,
    unworkable: Path | None = None,
    setbacks: Path | None = None,
    setback_distance: str | None = None,
    columns: Mapping[str, str] | Sequence[str] = (),
    boundary_layer: str | None = None,
    boundary_where: Sequence[str] = (),
    boundary_crs: str | None = None,
    zones_layer: str | None = None,
    zones_name_column: str | None = None,
    unworkable_layer: str | None = None,
    setbacks_layer: str | None = None,
    tracks_layer: str | None = None,
    tracks_crs: str | None = None,
    time_zone: str | None = None,
    implement: Mapping[str, Any] | None = None,
    settings: Mapping[str, Any] | None = None,
    blockages: Path | None = None,
    field_name: str | None = None,
    operation_name: str | None = None,
    date: str | None = None,
    units: str = "us",
    currency: str = "USD",
    base: Path | None = None,
    held: Mapping[str, gpd.GeoDataFrame] | None = None,
    logs: bool = True,
) -> Season:
    """Make a season of one operation, checked as a season file is.

    Parameters
    ----------
    boundary, zones, unworkable, setbacks, blockages : Path, optional
    tracks : sequence of Path
    width, row_spacing : str, optional
        With units.
    rows : int, optional
    products, rates, prices : sequence of str
        One rate, and one price, for each product in the same order, or none at all.
    columns : mapping, or sequence of ``"ROLE=NAME"``
    boundary_where : sequence of ``"ATTRIBUTE=VALUE"``
    implement, settings : mapping, optional
        Further keys of the season file's ``[[implement]]`` and ``[settings]``.
    base : Path, optional
        The folder names are relative to; the working folder when None.
    held : mapping of str to GeoDataFrame, optional
        Maps handed over instead of a file, by the name that stands for the file.
    logs : bool
        False for work to come, which has none.

    Raises
    ------
    InputError
        With every complaint at once; each names its option: the parameter's name with
        dashes (``--row-spacing``), singular for ``--product``, ``--rate``, ``--price`` and
        ``--column``.
    """
    complaints = ProblemCollector(_name_option)
    log = Path(tracks[0]).stem if tracks else "field"
    picked = [text.partition("=")[2].strip() for text in boundary_where]
    name = field_name or (picked[0] if len(picked) == 1 else "")
    name = name or (Path(boundary).stem if boundary else log)
    job = operation_name or " and ".join(products) or "drive"
    _check_pairs(products, rates, prices, complaints)
    _check_files(
        complaints,
        boundary=(boundary, boundary_layer, list(boundary_where) or None, boundary_crs),
        zones=(zones, zones_layer, zones_name_column),
        unworkable=(unworkable, unworkable_layer),
        setbacks=(setbacks, setbacks_layer, setback_distance),
    )
    raw: dict[str, Any] = {
        "units": units,
        "currency": currency,
        "settings": dict(settings or {}),
        "product": [
            _given(name=product, price=_nth(prices, index))
            for index, product in enumerate(products)
        ],
        "implement": [
            _given(
                name="drill", width=width, rows=rows, row_spacing=row_spacing, **(implement or {})
            )
        ],
        "field": [
            _given(
                name=name,
                boundary=_source(
                    boundary,
                    layer=boundary_layer,
                    where=_pairs(boundary_where, ("field", 0, "boundary", "where"), complaints),
                    crs=boundary_crs,
                ),
                unworkable=_source(unworkable, layer=unworkable_layer),
                zones=_source(zones, layer=zones_layer, name_column=zones_name_column),
                setbacks=_source(setbacks, layer=setbacks_layer, distance=setback_distance),
            )
        ],
        "operation": [
            _given(
                name=job,
                field=name,
                implement="drill",
                date=date,
                tracks=[_source(track, layer=tracks_layer, crs=tracks_crs) for track in tracks],
                columns=_pairs(columns, ("operation", 0, "columns"), complaints),
                products=[
                    _given(product=product, rate=_nth(rates, index))
                    for index, product in enumerate(products)
                ],
                blockages=str(blockages) if blockages else None,
            )
        ],
    }
    if time_zone:
        raw["time_zone"] = time_zone
    draft = build_season(raw, SeasonFiles(base or Path(), complaints, held or {}), logs=logs)
    if draft.problems:
        raise InputError(draft.problems)
    return draft.season


def _check_pairs(
    products: Sequence[str],
    rates: Sequence[str],
    prices: Sequence[str],
    complaints: ProblemCollector,
) -> None:
    for option, given in (("rate", rates), ("price", prices)):
        if given and len(given) != len(products):
            complaints.add(
                ("product", 0, option),
                f"It is given {_counted(len(given), 'time')} for "
                f"{_counted(len(products), 'product')}.",
                f"Give one --{option} for each --product, in the same order.",
            )


def _check_files(complaints: ProblemCollector, **sources: tuple[object, ...]) -> None:
    """Ask for the file where only how to read it was said."""
    for key, (file, *details) in sources.items():
        if file is None and any(detail is not None for detail in details):
            complaints.add(
                ("field", 0, key),
                "Other options say how to read this file, but it is not given.",
                f"Give --{key} FILE, or leave those options out.",
            )


def _counted(number: int, noun: str) -> str:
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"


def _given(**keys: Any) -> dict[str, Any]:
    return {key: value for key, value in keys.items() if value is not None}


def _nth(values: Sequence[str], index: int) -> str | None:
    return values[index] if index < len(values) else None


def _source(file: Path | None, **keys: Any) -> dict[str, Any] | None:
    return _given(file=str(file), **keys) if file is not None else None


def _pairs(
    given: Mapping[str, str] | Iterable[str], path: KeyPath, complaints: ProblemCollector
) -> dict[str, str]:
    if isinstance(given, Mapping):
        return dict(given)
    pairs: dict[str, str] = {}
    for text in given:
        name, sign, value = text.partition("=")
        if not sign or not name.strip():
            complaints.add(path, f'"{text}" has no = sign.', 'Write it as "NAME=VALUE".')
        elif name.strip() in pairs:
            complaints.add(path, f'"{name.strip()}" is given twice.', "Keep one of them.")
        pairs.setdefault(name.strip(), value.strip())
    return pairs


def _name_option(path: KeyPath) -> tuple[str, str]:
    """Name the option that a key of the season came from."""
    words = [part for part in path if isinstance(part, str)]
    if not words:
        return "options", ""
    table, *rest = words
    if table == "product":
        return f"--{rest[0] if rest and rest[0] != 'name' else 'product'}", ""
    if table == "operation" and rest[:1] == ["products"]:
        return "--rate" if rest[-1] == "rate" else "--product", ""
    if table == "operation" and rest[:1] == ["columns"]:
        return "--column", rest[1] if len(rest) > 1 else ""
    if table in ("field", "operation") and rest and rest[0] not in ("name", "field"):
        option = rest[0] + "".join(f"-{_OPTIONS[key]}" for key in rest[1:] if key in _OPTIONS)
        return f"--{option.replace('setbacks-distance', 'setback-distance')}", ""
    if table in ("field", "operation"):
        return f"--{table}-name", ""
    if rest[:1] == ["tow"]:
        rest = rest[1:] or rest  # the command line gives the chain by its lengths
    option = rest[0] if table in ("implement", "settings") and rest else table
    return f"--{option.replace('_', '-')}", ""
