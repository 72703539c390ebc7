"""Write a field, its zones and a planned rate as ISO 11783-10 task data."""

from __future__ import annotations

import os
import tempfile
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import SubElement

import numpy as np
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.io.taskdata import ddis, elements
from evenacre.io.taskdata.elements import OUTSIDE
from evenacre.model import Field, FloatArray

_MOST_ZONES = 254
_MOST_KG_PER_M2 = 2000.0
_FOLDER = "TASKDATA"
_FIRST = (1980, 1, 1, 0, 0, 0)  # the oldest date a zip can hold, so that equal input is equal


@dataclass(frozen=True)
class RateGrid:
    """A planned rate in cells of equal size.

    Attributes
    ----------
    west, south : float
        Outer corner, degrees.
    east_deg, north_deg : float
        Size of a cell.
    kg_per_m2 : (rows, columns) float
        Rows from the south, columns from the west; NaN where nothing is planned.
    """

    west: float
    south: float
    east_deg: float
    north_deg: float
    kg_per_m2: FloatArray


def write_taskdata(
    target: Path,
    field: Field,
    *,
    product: str,
    task: str = "",
    rate_kg_per_m2: float | None = None,
    zone_rates: Mapping[str, float] | None = None,
    grid: RateGrid | None = None,
    farm: str = "",
) -> Path:
    """Write one planned task as task data version 4.

    Of the rates at most one kind is given: one for the field, one for each of its zones, or a
    grid. Without any, the zones are written without rates.

    Parameters
    ----------
    target : Path
        A name that ends in ``.zip``, or a folder, into which a TASKDATA folder goes.
    field : Field
        With a boundary.
    product, task, farm : str
        Names; that of the task is the product's when empty.
    rate_kg_per_m2 : float, optional
    zone_rates : mapping of str to float, optional
        kg per m2 for every zone of the field.
    grid : RateGrid, optional

    Returns
    -------
    Path
        The zip, or the folder with the files.

    Raises
    ------
    InputError
        When the field has no boundary, a rate cannot be, or there is no room to write.
    ValueError
        When several kinds of rate are given.
    """
    if sum(given is not None for given in (rate_kg_per_m2, zone_rates, grid)) > 1:
        raise ValueError("give one kind of rate")
    if field.boundary is None:
        raise InputError.at(field.name, "", "the field has no boundary.", "Draw its outline.")
    root = elements.root_element()
    if farm:
        SubElement(root, "FRM", A="FRM1", B=elements.name(farm))
    elements.add_field(root, field, field.boundary, farm)
    SubElement(root, "PDT", A="PDT1", B=elements.name(product))
    default = 1 if rate_kg_per_m2 is not None or grid is not None else OUTSIDE
    job = elements.add_task(root, task or product, farm, default)
    elements.add_zone(job, OUTSIDE, "nothing planned", 0.0)
    files: dict[str, bytes] = {}
    if grid is not None:
        steps = _steps(grid.kg_per_m2, field.name)
        elements.add_zone(job, default, "see the grid", 0.0)
        corner, cell = (grid.west, grid.south), (grid.east_deg, grid.north_deg)
        files.update(elements.add_grid(job, corner, cell, steps, default, "GRD00001"))
    elif rate_kg_per_m2 is not None:
        _steps(np.array([rate_kg_per_m2]), field.name)
        elements.add_zone(job, default, "whole field", rate_kg_per_m2)
    else:
        for code, (name, ground) in enumerate(_zones(field), start=1):
            elements.add_zone(job, code, name, _rate_of(zone_rates, name, field.name), ground)
    files["TASKDATA.XML"] = elements.to_bytes(root)
    try:
        return (
            _to_zip(target, files) if target.suffix.lower() == ".zip" else _to_folder(target, files)
        )
    except OSError as error:
        raise InputError.at(
            target, "", f"it cannot be written ({error.strerror}).", "Write somewhere else."
        ) from None


def _steps(kg_per_m2: FloatArray, field: str) -> np.ndarray:
    """Rates in the format's steps; where nothing is planned, none."""
    rates = np.nan_to_num(np.asarray(kg_per_m2, dtype=float), posinf=np.inf)
    if rates.size == 0 or rates.min() < 0 or rates.max() > _MOST_KG_PER_M2:
        raise InputError.at(
            field, "", "a planned rate is negative or far too high.", "Plan rates in kg per m2."
        )
    return np.rint(rates / ddis.KG_PER_M2).astype(np.int32)


def _zones(field: Field) -> list[tuple[str, BaseGeometry]]:
    if field.zones is None:
        return []
    if len(field.zones) > _MOST_ZONES:
        raise InputError.at(
            field.name,
            "",
            f"it has {len(field.zones)} zones; the format holds {_MOST_ZONES}.",
            "Join zones that get the same.",
        )
    return list(zip(field.zones["zone"], field.zones.geometry.array, strict=True))


def _rate_of(rates: Mapping[str, float] | None, zone: str, field: str) -> float | None:
    if rates is None:
        return None
    if zone not in rates:
        raise InputError.at(
            field, f'zone "{zone}"', "no rate is planned for it.", "Plan one; 0 for nothing."
        )
    _steps(np.array([rates[zone]]), field)
    return rates[zone]


def _to_zip(target: Path, files: Mapping[str, bytes]) -> Path:
    """Write a zip that appears whole or not at all."""
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, draft = tempfile.mkstemp(dir=target.parent, prefix=".taskdata-", suffix=".zip")
    try:
        with os.fdopen(handle, "wb") as stream, zipfile.ZipFile(stream, "w") as archive:
            for name in sorted(files):
                info = zipfile.ZipInfo(f"{_FOLDER}/{name}", _FIRST)
                info.compress_type = zipfile.ZIP_DEFLATED
                info.external_attr = 0o644 << 16
                archive.writestr(info, files[name])
        os.chmod(draft, 0o644)
        os.replace(draft, target)
    except BaseException:
        Path(draft).unlink(missing_ok=True)
        raise
    return target


def _to_folder(target: Path, files: Mapping[str, bytes]) -> Path:
    folder = target if target.name.upper() == _FOLDER else target / _FOLDER
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError.at(
            folder, "", "there is something in it already.", "Name a new folder, or empty it."
        )
    folder.mkdir(parents=True, exist_ok=True)
    # The main file comes last: without it the folder is no task data.
    for name in sorted(files, key=lambda name: (name == "TASKDATA.XML", name)):
        (folder / name).write_bytes(files[name])
    return folder
