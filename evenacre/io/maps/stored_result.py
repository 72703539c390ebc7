"""What an earlier audit found, read back from its folder."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from evenacre.errors import InputError
from evenacre.io.result_folder.ownership import SUMMARY, read_account
from evenacre.io.untrusted.files import read_whole
from evenacre.io.untrusted.map_reader import UnreadableMapError, map_reader
from evenacre.language import mark, tr

LAYERS = ("fields", "unworkable", "cover", "outside", "skips", "passes")
_REMEDY = mark("Audit it again.")


@dataclass(frozen=True)
class StoredOperation:
    """One operation of an earlier audit.

    Attributes
    ----------
    record : mapping
        Its figures in SI by key, as in ``summary.json``.
    layers : dict of str to GeoDataFrame
        Those of `LAYERS` that have something in them, EPSG:4326.
    """

    record: Mapping[str, Any]
    layers: dict[str, gpd.GeoDataFrame]


def stored_records(folder: Path) -> list[Mapping[str, Any]]:
    """Figures of every operation in the folder of an audit.

    Raises
    ------
    InputError
        When it is none.
    """
    account = read_account(folder, SUMMARY)
    try:
        told = json.loads(read_whole(folder / SUMMARY)) if account is not None else {}
        records = told.get("operations") if account and account.kind == "evenacre/summary" else None
    except (ValueError, AttributeError, RecursionError):
        records = None
    if not isinstance(records, list) or not all(isinstance(one, Mapping) for one in records):
        raise InputError.at(folder.name, SUMMARY, tr("It is no audit."), tr(_REMEDY))
    return list(records)


def stored_operation(folder: Path, number: int) -> StoredOperation:
    """Read one operation of an audit, by its place in the account.

    Raises
    ------
    InputError
        When there is none, or its layers cannot be read.
    """
    records = stored_records(folder)
    if not 0 <= number < len(records):
        raise InputError.at(folder.name, SUMMARY, tr("It has no such operation."), tr(_REMEDY))
    record, path = records[number], folder / "layers.gpkg"
    label, reader = f"{folder.name}/{path.name}", map_reader()
    layers = {}
    try:
        there = {name for name, _ in reader.layers(path, label)}
        for name in LAYERS:
            frame = reader.read(path, name, label) if name in there else pd.DataFrame()
            own = _of(frame, record)
            if own is not None:
                layers[name] = own
    except UnreadableMapError:
        raise InputError.at(label, "", tr("It cannot be read as a map."), tr(_REMEDY)) from None
    if "fields" not in layers:
        raise InputError.at(label, "", tr("The field is not in it."), tr(_REMEDY))
    return StoredOperation(record, layers)


def _of(frame: pd.DataFrame, record: Mapping[str, Any]) -> gpd.GeoDataFrame | None:
    """The shapes of an operation; None where there are none."""
    if not isinstance(frame, gpd.GeoDataFrame) or not {"field", "operation"} <= {*frame.columns}:
        return None
    about = [frame[key] == record.get(key) for key in ("field", "operation")]
    own = frame[about[0] & about[1] & frame.geometry.notna()]
    return own if len(own) else None
