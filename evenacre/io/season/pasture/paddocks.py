"""Put paddocks together from a map of them, from tables of their own and from fields."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.geodesy import geodesic_area_m2
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import in_degrees, intersect, union, valid, without
from evenacre.io.common.problem_collector import KeyPath
from evenacre.io.common.suggestions import choice
from evenacre.io.maps.field_layers import (
    NAME_COLUMNS,
    check_reach,
    names_of,
    number_unnamed,
    odd_size,
    read_crossed,
    read_unworkable,
    with_crossed,
)
from evenacre.io.maps.read_layer import LayerCache, Source, read_layer
from evenacre.io.maps.repair import to_polygons
from evenacre.io.season.checks import is_new
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.pasture.schema import GrazingTable, PaddocksTable, PaddockTable
from evenacre.io.season.schema import FieldTable, SourceTable, as_source
from evenacre.io.season.values import DAY_S
from evenacre.language import tr
from evenacre.model import Field, Paddock, WetGround
from evenacre.units.display import in_both

_MAP: KeyPath = ("paddocks",)
_SAME_SHARE = 0.01
# Two fences walked one after the other leave a sliver between them; anything wider or larger
# is ground that would be grazed and seeded twice.
_SLIVER_M, _SLIVER_SHARE, _SEEN_M2 = 3.0, 0.02, 1.0


class Paddocks:
    """The paddocks of a season: of ``[paddocks]`` (None: there is none) and ``[[paddock]]``.

    What ``grazing`` says holds where one of them does not. Where they are ``grazed`` and nobody
    says otherwise, they are fenced.
    """

    def __init__(
        self,
        files: SeasonFiles,
        fields: Mapping[str, Field | None],
        grazing: GrazingTable,
        drawn: object,
        entries: Sequence[Any],
        *,
        grazed: bool,
    ) -> None:
        self.files, self.fields, self.problems = files, fields, files.problems
        # In the order of the file. None: something is wrong with it.
        self.made: dict[str, Paddock | None] = {}
        self.all_known = True  # False when some could not be read, so that no name is unknown
        # The table of each as it stands in the file, and its place.
        self.written: dict[str, Mapping[str, Any]] = {}
        self.places: dict[str, KeyPath] = {}
        self.warnings: list[str] = []
        shapes = self._drawn(drawn) if drawn is not None else {}
        tables = self._tables(entries)
        for name in dict.fromkeys([*shapes, *tables]):
            table = tables.get(name, PaddockTable(name=name))
            self.places.setdefault(name, _MAP)
            ground = table and self._ground(table, shapes, on_map=drawn is not None)
            self.made[name] = None
            if table and ground:
                growth = grazing.growth if table.growth is None else table.growth
                made = grazing.given(Paddock) | table.given(Paddock)
                made |= {"growth_kg_per_m2_per_day": (growth or 0.0) * DAY_S, "seeded": table.seed}
                made.pop("keep_out", None)
                made["keep_out"] = self._wet(table, ground)
                said = (table.fence, ground.fenced, grazed)
                ground = replace(ground, fenced=next(one for one in said if one is not None))
                self.made[name] = Paddock(**made | {"field": ground})
        self._check_overlaps()

    def _drawn(self, drawn: object) -> dict[str, BaseGeometry]:
        """Return the shapes of the map by name."""
        table = self.problems.check(PaddocksTable, as_source(drawn), _MAP, ("file", "layer"))
        frame = None
        if table is not None:
            frame = self.files.shapes(
                read_paddocks, table, _MAP, self.warnings, name_column=table.name_column
            )
        if frame is None:
            self.all_known = False
            return {}
        shapes: dict[str, BaseGeometry] = {}
        numbers: dict[str, object] = {}
        for number, name, shape in zip(frame.index, frame["name"], frame.geometry, strict=True):
            if name in shapes:
                what = tr(
                    'Features {numbers} and {number} are both called "{name}".',
                    numbers=numbers[name],
                    number=number,
                    name=name,
                )
                self.problems.add(_MAP, what, tr("Rename one, or take another name_column."))
                continue
            shapes[name], numbers[name] = shape, number
            self.warnings += odd_size(shape, f"{name}: the paddock")
        return shapes

    def _tables(self, entries: Sequence[Any]) -> dict[str, PaddockTable | None]:
        tables: dict[str, PaddockTable | None] = {}
        for index, entry in enumerate(entries):
            path: KeyPath = ("paddock", index)
            table = self.problems.check(
                PaddockTable, entry, path, ("name", "boundary", "unworkable")
            )
            name = entry.get("name") if isinstance(entry, Mapping) else None
            name = name.strip() if isinstance(name, str) else ""
            if not name:
                self.all_known = False
                continue
            if not is_new(name, tables, self.problems, (*path, "name")):
                continue
            tables[name] = table
            self.written[name] = entry
            self.places[name] = path
        return tables

    def _ground(
        self, table: PaddockTable, shapes: Mapping[str, BaseGeometry], *, on_map: bool
    ) -> Field | None:
        """Outline a paddock: its own boundary, else a field's of its name, else the map's."""
        name, path = table.name, self.places[table.name]
        if table.boundary is not None:
            plot = FieldTable(
                name=name,
                boundary=table.boundary,
                unworkable=table.unworkable,
                cross=table.cross,
                gate=table.gate,
                line=table.line,
            )
            ground, said = self.files.field(plot, path)
            self.warnings += said
            return ground
        ground = self.fields.get(name, Field(name))
        if ground is None:
            return None
        if ground.boundary is None and name in shapes:
            ground = replace(ground, boundary=shapes[name])
        elif name in shapes:
            # Where a field and the map's paddock are not the same ground.
            ours, drawn = ground.boundary, shapes[name]
            ways = ((ours, drawn), (drawn, ours))
            differs = sum(geodesic_area_m2(in_degrees(without, *way)) for way in ways)
            if differs > _SAME_SHARE * geodesic_area_m2(ours):
                self.warnings.append(
                    tr(
                        "{name}: the field and the paddock of this name differ by {in_both}; "
                        "the field's outline was used.",
                        name=name,
                        in_both=in_both("area", differs),
                    )
                )
        if ground.boundary is None:
            if on_map and self.all_known:
                what = tr(
                    'There is no paddock "{name}" on the map, nor a field of that name.', name=name
                )
                remedy = choice(name, [*shapes, *self.fields], "Give its boundary.")
                self.problems.add((*path, "name"), what, remedy)
            elif not on_map:
                what = tr("Its boundary is not given, and no field has its name.")
                self.problems.add(
                    (*path, "boundary"), what, tr('Add boundary = "paddock.geojson".')
                )
            return None
        said = []
        driven = self.files.driven(ground, table, path, said)
        self.warnings += [f"{name}: {text}" for text in said]
        if driven is None or (table.unworkable is None and table.cross is None):
            return driven
        ground = driven
        bare, crossed = ground.unworkable, ground.crossed
        if table.unworkable is not None:
            bare = self._part(table.unworkable, ground, (*path, "unworkable"))
            if bare is None:
                return None
        if table.cross is not None:
            read = partial(read_crossed, table.cross.width)
            crossed = self._part(table.cross, ground, (*path, "cross"), read)
            if crossed is None:
                return None
        return replace(ground, unworkable=with_crossed(bare, crossed), crossed=crossed)

    def _wet(self, table: PaddockTable, ground: Field) -> tuple[WetGround, ...]:
        """What is too wet, and until when; not all of the paddock."""
        place, wet = (*self.places[table.name], "keep_out"), []
        for index, one in enumerate(table.keep_out):
            at = (*place, index) if len(table.keep_out) > 1 else place
            drawn = self._part(one, ground, at)
            if drawn is not None:
                wet.append(WetGround(drawn, one.until))
        if len(wet) > 1:
            every = in_degrees(union, np.array([one.ground for one in wet], dtype=object))
            if every.covers(ground.boundary):
                what = tr("Together they cover the whole paddock, of which nothing would be left.")
                self.problems.add(place, what, tr("Give not_before for all of it."))
        return tuple(wet)

    def _part(
        self,
        drawn: SourceTable,
        ground: Field,
        place: KeyPath,
        read: Callable[..., tuple[BaseGeometry, list[str]]] = read_unworkable,
    ) -> BaseGeometry | None:
        """Ground that is left out of a paddock; not all of it."""
        bare: BaseGeometry | None = self.files.shapes(
            read, drawn, place, self.warnings, ground.boundary
        )
        if bare is not None and bare.covers(ground.boundary):
            what = tr("It covers the whole paddock, of which nothing would be left.")
            self.problems.add(place, what, tr("Give only the ground that is left out."))
            return None
        return bare

    def _check_overlaps(self) -> None:
        """Complain of ground in two paddocks; a sliver along a fence is only told.

        A sliver is narrow, on average, and a small part of the smaller of the two.
        """
        shapes = {name: p.field.boundary for name, p in self.made.items() if p is not None}
        if len(shapes) < 2:
            return
        names, degrees = list(shapes), np.array(list(shapes.values()), dtype=object)
        flat = valid(WorkingPlane.around(degrees).project(degrees))
        first, second = shapely.STRtree(flat).query(flat, predicate="intersects")
        pairs = first < second
        first, second = first[pairs], second[pairs]
        shared = intersect(flat[first], flat[second])
        area, around = shapely.area(shared), shapely.length(shared)
        smaller = np.minimum(shapely.area(flat[first]), shapely.area(flat[second]))
        sliver = (2.0 * area < _SLIVER_M * around) & (area < _SLIVER_SHARE * smaller)
        for i in np.flatnonzero(area > _SEEN_M2):
            one, other = names[first[i]], names[second[i]]
            what = tr(
                '"{one}" and "{other}" overlap by {in_both}',
                one=one,
                other=other,
                in_both=in_both("area", float(area[i])),
            )
            if sliver[i]:
                self.warnings.append(
                    tr("{what}, a sliver along their fence that counts in both.", what=what)
                )
            else:
                remedy = tr("Correct their outlines, so that no ground counts twice.")
                self.problems.add(self.places[other], f"{what}.", remedy)


def read_paddocks(
    source: Source, *, name_column: str | None = None, cache: LayerCache | None = None
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Read a map whose every feature is a paddock, and warnings; the nameless are numbered.

    The frame has columns ``name`` and geometry, EPSG:4326; its index is the feature's number.
    """
    frame, warnings = read_layer(source, cache=cache)
    warnings += check_reach(frame, source.name, "paddock")
    frame, mended = to_polygons(frame, source.name, "paddock")
    names = names_of(frame, NAME_COLUMNS, source, name_column)
    if not all(names):
        bare = sum(not name for name in names)
        warnings.append(
            tr(
                "{name}: {bare} paddocks have no name; they were numbered.",
                name=source.name,
                bare=bare,
            )
        )
    named = gpd.GeoDataFrame(
        {"name": number_unnamed(names, "paddock")},
        geometry=list(frame.geometry.array),
        index=frame.index,
        crs=4326,
    )
    return named, warnings + mended
