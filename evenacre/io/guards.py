"""Refuse map files that could do harm by being opened."""

from __future__ import annotations

from typing import IO

import pyogrio

from evenacre.errors import InputError

_MOST_ATTRIBUTES = 1000
_LOOKED_AT = 4096


def check_own_data(file: IO[bytes], name: str) -> None:
    """Refuse a file that only points to others: it could fetch any file, or from anywhere.

    Parameters
    ----------
    file : binary file
        Its beginning is read.
    name : str
        Named in the complaint.

    Raises
    ------
    InputError
    """
    start = file.read(_LOOKED_AT)
    if b"<OGRVRT" in start or b"<VRTDataset" in start:
        raise InputError.at(
            name, "", "It holds no map, but points to other files.", "Give the map itself."
        )


def check_attributes(dataset: str, layer: str, name: str, place: str) -> None:
    """Refuse more attributes than a map has: each is a column as long as the layer.

    Raises
    ------
    InputError
    """
    count = len(pyogrio.read_info(dataset, layer=layer)["fields"])
    if count > _MOST_ATTRIBUTES:
        raise InputError.at(
            name,
            place,
            f"Its features have {count:,} attributes, more than the {_MOST_ATTRIBUTES:,} that "
            "can be read.",
            "Export it again with fewer.",
        )
