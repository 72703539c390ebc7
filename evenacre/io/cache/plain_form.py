"""Values as plain bytes and back: numbers, text and shapes only, so reading runs nothing."""

from __future__ import annotations

import dataclasses
import io
import json
from collections.abc import Mapping
from functools import lru_cache
from itertools import accumulate, pairwise
from typing import Any, get_args, get_type_hints

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from geopandas.array import GeometryDtype, from_wkb
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from evenacre.language import tr

_LENGTH_BYTES = 8
# Names that modules import for their types alone.
_FOR_TYPES = {
    "gpd": gpd,
    "shapely": shapely,
    "Affine": Affine,
    "BaseGeometry": BaseGeometry,
    "CRS": CRS,
}


class NotPlainError(TypeError):
    """A value that has no plain form."""


def pack(value: object) -> bytes:
    """Write a value as bytes; equal values give equal bytes.

    Raises
    ------
    NotPlainError
        For anything but plain scalars, text, bytes, tuples, lists, dictionaries, dataclasses,
        arrays, tables, shapes and coordinate systems, nested at will.
    """
    packer = _Packer()
    tree = packer.tree(value)
    text = json.dumps([list(map(len, packer.blobs)), tree], separators=(",", ":")).encode()
    return b"".join([len(text).to_bytes(_LENGTH_BYTES, "big"), text, *packer.blobs])


def unpack(data: bytes, kind: type) -> Any:
    """Read a value of a dataclass back, of the very types it had.

    That class and those its fields name are the only ones made. Bytes that hold no such value
    raise ValueError, LookupError or TypeError.
    """
    start = _LENGTH_BYTES + int.from_bytes(data[:_LENGTH_BYTES], "big")
    lengths, tree = json.loads(data[_LENGTH_BYTES:start])
    blobs = [data[a:b] for a, b in pairwise(accumulate(lengths, initial=start))]
    return _Unpacker(blobs, {_name(k): k for k in _kinds(kind)}).value(tree)


def _name(kind: type) -> str:
    return f"{kind.__module__}.{kind.__qualname__}"


@lru_cache
def _kinds(kind: type) -> frozenset[type]:
    """Return a dataclass and every one that its fields may hold."""
    found: set[type] = set()
    waiting: list[Any] = [kind]
    while waiting:
        hint = waiting.pop()
        waiting += get_args(hint)
        if isinstance(hint, type) and dataclasses.is_dataclass(hint) and hint not in found:
            found.add(hint)
            waiting += get_type_hints(hint, localns=_FOR_TYPES).values()
    return frozenset(found)


class _Packer:
    """Turns a value into a tree for JSON; what is large goes into blobs beside it."""

    def __init__(self) -> None:
        self.blobs: list[bytes] = []

    def tree(self, value: Any) -> Any:
        kind = type(value)
        if value is None or kind in (bool, int, float, str):
            return value
        if kind is bytes:
            return ["bytes", self._blob(value)]
        if kind in (tuple, list):
            return [kind.__name__, *map(self.tree, value)]
        if kind is dict:
            return ["dict", *([self.tree(k), self.tree(v)] for k, v in value.items())]
        if isinstance(value, np.generic):
            return ["scalar", self._array(np.asarray(value))]
        if kind is np.ndarray:
            return ["array", self._array(value)]
        if isinstance(value, BaseGeometry):
            return ["shape", self._blob(shapely.to_wkb(value))]
        if kind is CRS:
            return ["crs", value.srs]
        if kind is Affine:
            return ["affine", *tuple(value)[:6]]
        if kind in (pd.DataFrame, gpd.GeoDataFrame):
            return self._frame(value)
        if dataclasses.is_dataclass(value):
            fields = [getattr(value, field.name) for field in dataclasses.fields(value)]
            return ["of", _name(kind), *map(self.tree, fields)]
        raise NotPlainError(_name(kind))

    def _blob(self, data: bytes) -> int:
        self.blobs.append(data)
        return len(self.blobs) - 1

    def _array(self, values: np.ndarray) -> int:
        if values.dtype.hasobject:
            raise NotPlainError("array of objects")
        stream = io.BytesIO()
        np.lib.format.write_array(stream, values, allow_pickle=False)
        return self._blob(stream.getvalue())

    def _frame(self, frame: pd.DataFrame) -> list[Any]:
        if frame.attrs:
            raise NotPlainError("table with attributes")
        geometry = frame.active_geometry_name if isinstance(frame, gpd.GeoDataFrame) else None
        columns = [self._column(frame.iloc[:, i]) for i in range(frame.shape[1])]
        lead = [type(frame).__name__, geometry]
        return ["frame", *lead, self._index(frame.index), self._index(frame.columns), *columns]

    def _index(self, index: pd.Index[Any]) -> list[Any]:
        if isinstance(index, pd.RangeIndex):
            return ["range", self.tree(index.name), index.start, index.stop, index.step]
        if isinstance(index, pd.MultiIndex):
            raise NotPlainError("index of several levels")
        return ["index", self.tree(index.name), self._column(index)]

    def _column(self, column: Any) -> list[Any]:
        values, dtype = column.array, column.dtype
        if isinstance(dtype, GeometryDtype):
            shapes = [shape or b"" for shape in shapely.to_wkb(np.asarray(values))]
            lengths = self._array(np.array(list(map(len, shapes)), np.int64))
            return ["shapes", values.crs and values.crs.srs, lengths, self._blob(b"".join(shapes))]
        if isinstance(dtype, np.dtype) and not dtype.hasobject:
            return ["array", self._array(np.asarray(values))]
        if pd.api.types.pandas_dtype(str(dtype)) != dtype:
            raise NotPlainError(str(dtype))
        return ["column", str(dtype), *map(self.tree, values)]


class _Unpacker:
    """The way back."""

    def __init__(self, blobs: list[bytes], kinds: Mapping[str, type]) -> None:
        self._blobs, self._kinds = blobs, kinds

    def value(self, tree: Any) -> Any:
        match tree:
            case ["bytes", blob]:
                return self._blobs[blob]
            case ["tuple" | "list" as kind, *values]:
                return (tuple if kind == "tuple" else list)(map(self.value, values))
            case ["dict", *pairs]:
                return {self.value(k): self.value(v) for k, v in pairs}
            case ["scalar", blob]:
                return self._array(blob)[()]
            case ["array", blob]:
                return self._array(blob)
            case ["shape", blob]:
                return shapely.from_wkb(self._blobs[blob])
            case ["crs", srs]:
                return _crs(srs)
            case ["affine", *numbers]:
                return Affine(*numbers)
            case ["frame", *parts]:
                return self._frame(*parts)
            case ["of", kind, *fields]:
                return self._kinds[kind](*map(self.value, fields))
            case ["shapes", crs, lengths, blob]:
                ends = accumulate(self._array(lengths).tolist(), initial=0)
                shapes = [self._blobs[blob][a:b] or None for a, b in pairwise(ends)]
                return from_wkb(np.array([*shapes, None], dtype=object)[:-1], crs=crs and _crs(crs))
            case ["column", dtype, *values]:
                return pd.Series(list(map(self.value, values)), dtype=dtype)  # never guessed
            case ["range", name, start, stop, step]:
                return pd.RangeIndex(start, stop, step, name=self.value(name))
            case ["index", name, values]:
                return pd.Index(self.value(values), name=self.value(name))
            case [*_]:
                raise ValueError(tr("there is no {tree}", tree=tree[:1]))
        return tree

    def _array(self, blob: int) -> np.ndarray:
        return np.lib.format.read_array(io.BytesIO(self._blobs[blob]), allow_pickle=False)

    def _frame(self, kind: str, geometry: str | None, index: Any, names: Any, *columns: Any) -> Any:
        frame = pd.DataFrame(dict(enumerate(map(self.value, columns))))
        frame.index, frame.columns = self.value(index), self.value(names)
        return gpd.GeoDataFrame(frame, geometry=geometry) if kind == "GeoDataFrame" else frame


@lru_cache
def _crs(srs: str) -> CRS:
    return CRS.from_user_input(srs)
