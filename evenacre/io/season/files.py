"""The files a season names: found, fingerprinted, and the map files read."""

from __future__ import annotations

import glob
import hashlib
import os
from collections.abc import Callable, Hashable, Mapping, MutableMapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path, PurePath
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from evenacre.errors import InputError
from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import did_you_mean
from evenacre.io.maps.driving import gate_in, read_gate, read_line
from evenacre.io.maps.field_layers import (
    read_boundary,
    read_crossed,
    read_setbacks,
    read_unworkable,
    read_zones,
    with_crossed,
)
from evenacre.io.maps.read_layer import LayerCache, Source, held_layer
from evenacre.io.season.schema import DrivenTable, FieldTable, GateTable, SourceTable
from evenacre.io.taskdata.folder import is_taskdata, taskdata_parts
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import blocks
from evenacre.io.untrusted.kinds import SHAPEFILE_PARTS
from evenacre.language import now_spoken, tr
from evenacre.model import Field, InputFile

KnownShapes = MutableMapping[Hashable, tuple[Any, list[str]]]
"""What readers made of maps, and said of it, by all that hangs on."""


@dataclass
class SeasonFiles:
    """Finds files beside the season file (``base`` is its folder) and remembers every one."""

    base: Path
    problems: ProblemCollector
    # Maps that were handed over instead of a file, by the name that stands for the file
    held: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    known: KnownShapes | None = None  # maps that are not read again, by whoever keeps them
    _found: dict[Path, PurePath] = field(default_factory=dict)
    _cache: LayerCache = field(default_factory=dict)

    def find(self, name: str, path: KeyPath) -> Path | None:
        """Return the file of a name; None when it is not there, which is told."""
        near = ""
        if name in self.held:
            file = Path(name)
            layer = held_layer(self.held[name])
            self._cache.update({(file, None, areas): layer for areas in (True, False)})
            self._found[file] = PurePath(name)
            return file
        try:
            file = Path(os.path.normpath(self.base / name))
            if file.is_dir() and not is_taskdata(file):
                self.problems.add(
                    path, tr('"{name}" is a folder.', name=name), tr("Name the file in it.")
                )
                return None
            if file.exists():
                self.add(file, name)
                return file
            if file.is_symlink():
                near = tr("It is a link that leads nowhere.")
            elif file.parent.is_dir():
                beside = sorted(entry.name for entry in file.parent.iterdir())
                near = did_you_mean(file.name, beside)
        except (OSError, ValueError):
            near = tr("This cannot be the name of a file.")
        self.problems.add(
            path,
            tr('There is no file "{name}".', name=name),
            near or tr("Check the name and the folder."),
        )
        return None

    def add(self, file: Path, name: str) -> None:
        """Remember a file that was read, by the name people know it by."""
        self._found.setdefault(file, PurePath(os.path.normpath(name)))

    def inputs(self) -> tuple[InputFile, ...]:
        """Fingerprint every file that was found, in order of name."""
        found: dict[str, InputFile] = {}
        for file, name in self._found.items():
            if str(name) in self.held:
                found[str(name)] = InputFile(str(name), frame_sha256(self.held[str(name)]))
                continue
            for part in parts_of(file):
                label = (name.parent / part.relative_to(file.parent)).as_posix()
                if label not in found:
                    digest, size = hashlib.sha256(), 0
                    for block in blocks(part, label, budget.MAP_BYTES):
                        digest.update(block)
                        size += len(block)
                    found[label] = InputFile(label, digest.hexdigest(), size)
        return tuple(found[label] for label in sorted(found))

    def field(self, table: FieldTable, path: KeyPath) -> tuple[Field | None, list[str]]:
        """Read the geometry of a field, or None when something is wrong, and warnings."""
        before = len(self.problems.problems)
        warnings: list[str] = []

        def read(reader: Callable[..., tuple[Any, list[str]]], key: str, *args: object) -> Any:
            drawn = getattr(table, key)
            named = {"name_column": drawn.name_column} if hasattr(drawn, "name_column") else {}
            return self.shapes(reader, drawn, (*path, key), warnings, *args, **named)

        boundary = read(read_boundary, "boundary")
        unworkable = read(read_unworkable, "unworkable", boundary)
        width_m = table.cross.width if table.cross else None
        crossed = read(partial(read_crossed, width_m), "cross", boundary)
        unworkable = with_crossed(unworkable, crossed)
        zones = read(read_zones, "zones", boundary)
        distance = table.setbacks and table.setbacks.distance
        setbacks = read(read_setbacks, "setbacks", distance, boundary)
        if len(self.problems.problems) > before:
            return None, warnings
        if boundary is not None and unworkable is not None and unworkable.covers(boundary):
            what = tr("The unworkable ground covers the whole field.")
            remedy = tr("Give only the ground that is not worked.")
            self.problems.add((*path, "unworkable"), what, remedy)
            return None, warnings
        given = (boundary, unworkable, zones, setbacks, table.fence, crossed)
        plot = Field(table.name, *given)
        return self.driven(plot, table, path, warnings), warnings

    def driven(
        self, plot: Field, table: DrivenTable, path: KeyPath, warnings: list[str]
    ) -> Field | None:
        """Give a field its gate and the line to follow; None when something is wrong with one."""
        before = len(self.problems.problems)
        for key in ("gate", "line"):
            if getattr(table, key) is not None and plot.boundary is None:
                what = tr("It goes with a boundary, and the field has none.")
                self.problems.add((*path, key), what, tr('Add boundary = "field.geojson".'))
                return None
        gate, line, gate_width_m = plot.gate, plot.line, plot.gate_width_m
        if table.gate is not None:
            gate_width_m = table.gate.width
            gate = self._gate(table.gate, plot.boundary, (*path, "gate"), warnings)
        if table.line is not None:
            place = (*path, "line")
            line = self.shapes(read_line, table.line, place, warnings, plot.boundary)
        if len(self.problems.problems) > before:
            return None
        return replace(plot, gate=gate, line=line, gate_width_m=gate_width_m)

    def _gate(
        self, table: GateTable, boundary: Any, path: KeyPath, warnings: list[str]
    ) -> shapely.Point | None:
        if (table.place is None) == (table.file is None):
            what = tr("A gate is a place or a map.")
            remedy = tr(
                'Write gate = "40.10231, -92.59870", latitude first, or gate = "gates.gpkg".'
            )
            self.problems.add(path, what, remedy)
            return None
        gate: shapely.Point | None
        if table.file is not None:
            drawn = SourceTable(
                file=table.file, layer=table.layer, where=table.where, crs=table.crs
            )
            gate = self.shapes(read_gate, drawn, path, warnings, boundary)
            return gate
        assert table.place is not None
        try:
            gate, said = gate_in(boundary, np.array([table.place[::-1]]))
        except InputError as error:
            self.problems.add(path, error.problems[0].what, error.problems[0].remedy)
            return None
        warnings += [text[0].upper() + text[1:] for text in said]
        return gate

    def shapes(
        self,
        reader: Callable[..., tuple[Any, list[str]]],
        table: SourceTable | None,
        path: KeyPath,
        warnings: list[str],
        *args: object,
        **options: object,
    ) -> Any:
        """Read a map with one of the readers of `field_layers`; None when it cannot be."""
        file = self.find(table.file, path) if table else None
        if table is None or file is None:
            return None
        name = self._found[file].as_posix()
        source = Source(file, table.layer, table.where, table.crs, name)
        key = None
        if self.known is not None and table.file not in self.held:
            key = _all_it_hangs_on(reader, source, args, options)
        if self.known is not None and key in self.known:
            shapes, said = self.known[key]
        else:
            try:
                shapes, said = reader(source, *args, cache=self._cache, **options)
            except InputError as error:
                self.problems.take(error)
                return None
            if self.known is not None and key is not None:
                self.known[key] = shapes, said
        warnings.extend(said)
        return shapes


def _all_it_hangs_on(
    reader: Callable[..., Any], source: Source, args: tuple[object, ...], options: dict[str, object]
) -> Hashable | None:
    """A key of what a reader makes of a map as its files are now; None where there is none."""
    name = getattr(reader, "__qualname__", None)
    if name is None or source.path.is_dir():
        return None
    try:
        stamps = tuple(
            (str(part), status.st_ino, status.st_size, status.st_mtime_ns)
            for part in parts_of(source.path)
            for status in [part.stat()]
        )
        told = (source.layer, repr(sorted(source.where.items())), source.crs, source.label)
        key = (now_spoken().tag, name, told, stamps, args, tuple(sorted(options.items())))
        hash(key)
    except (OSError, TypeError):
        return None
    return key


def parts_of(file: Path) -> list[Path]:
    """Return a file and what belongs to it: a Shapefile's parts, the files of task data."""
    parts = taskdata_parts(file)
    if parts is not None:
        return [part for part in parts if not part.is_symlink()]
    if file.is_dir():
        return sorted(p for p in file.rglob("*") if p.is_file() and not p.is_symlink())
    if file.suffix.lower() == ".shp":
        near = sorted(file.parent.glob(f"{glob.escape(file.stem)}.*"))
        return [part for part in near if part.suffix.lower() in SHAPEFILE_PARTS]
    return [file]


def frame_sha256(frame: gpd.GeoDataFrame) -> str:
    """Fingerprint the shapes and attributes of a map that no file holds."""
    rows = pd.util.hash_pandas_object(frame.to_wkb(hex=True).astype(str), index=False)
    return hashlib.sha256(rows.to_numpy().tobytes() + str(frame.crs).encode()).hexdigest()
