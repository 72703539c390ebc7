"""Put paddocks together from a map of them, from tables of their own and from fields."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.geodesy import geodesic_area_m2
from evenacre.geo.overlay import only_polygons
from evenacre.io.common.problem_collector import KeyPath
from evenacre.io.common.suggestions import choice
from evenacre.io.maps.field_layers import odd_size, read_unworkable
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.pasture.paddock_map import overlaps, read_paddocks
from evenacre.io.season.pasture.schema import GrazingTable, PaddocksTable, PaddockTable
from evenacre.io.season.schema import FieldTable, as_source
from evenacre.model import Field, Paddock
from evenacre.units.display import in_both

DAY_S = 86400.0
_MAP: KeyPath = ("paddocks",)
_SAME_SHARE = 0.01


@dataclass
class Paddocks:
    """The paddocks of a season.

    Attributes
    ----------
    made : dict of str to Paddock or None
        In the order of the file. None: already complained about.
    all_known : bool
        False when some could not be read, so that a name cannot be called unknown.
    written : dict of str to mapping
        The table of each as it stands in the file.
    places : dict of str to KeyPath
    warnings : list of str
    """

    made: dict[str, Paddock | None] = field(default_factory=dict)
    all_known: bool = True
    written: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    places: dict[str, KeyPath] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)


class PaddockBuilder:
    """Makes the paddocks of a season.

    Parameters
    ----------
    files : SeasonFiles
    fields : mapping
        By name; None for one that is already complained about.
    grazing : GrazingTable
        With what holds where a paddock does not say.
    """

    def __init__(
        self, files: SeasonFiles, fields: Mapping[str, Field | None], grazing: GrazingTable
    ) -> None:
        self.files, self.fields, self.grazing = files, fields, grazing
        self.complaints = files.complaints
        self.found = Paddocks()

    def build(self, drawn: object, entries: Sequence[Any]) -> Paddocks:
        """Make every paddock.

        Parameters
        ----------
        drawn : object
            What ``[paddocks]`` holds; None when there is none.
        entries : sequence
            The ``[[paddock]]`` tables as written.
        """
        shapes = self._drawn(drawn) if drawn is not None else {}
        tables = self._tables(entries)
        for name in dict.fromkeys([*shapes, *tables]):
            table = tables.get(name, PaddockTable(name=name))
            self.found.places.setdefault(name, _MAP)
            made = table and self._ground(table, shapes, on_map=drawn is not None)
            self.found.made[name] = self._paddock(table, made) if table and made else None
        self._check_overlaps()
        return self.found

    def _drawn(self, drawn: object) -> dict[str, BaseGeometry]:
        """Return the shapes of the map by name."""
        table = self.complaints.check(PaddocksTable, as_source(drawn), _MAP, ("file", "layer"))
        frame = None
        if table is not None:
            frame = self.files.shapes(
                read_paddocks, table, _MAP, self.found.warnings, name_column=table.name_column
            )
        if frame is None:
            self.found.all_known = False
            return {}
        shapes: dict[str, BaseGeometry] = {}
        numbers: dict[str, object] = {}
        for number, name, shape in zip(frame.index, frame["name"], frame.geometry, strict=True):
            if name in shapes:
                self.complaints.add(
                    _MAP,
                    f'Features {numbers[name]} and {number} are both called "{name}".',
                    "Rename one, or take another name_column.",
                )
                continue
            shapes[name], numbers[name] = shape, number
            self.found.warnings += odd_size(shape, f"{name}: the paddock")
        return shapes

    def _tables(self, entries: Sequence[Any]) -> dict[str, PaddockTable | None]:
        tables: dict[str, PaddockTable | None] = {}
        for index, entry in enumerate(entries):
            path: KeyPath = ("paddock", index)
            table = self.complaints.check(
                PaddockTable, entry, path, ("name", "boundary", "unworkable")
            )
            name = entry.get("name") if isinstance(entry, Mapping) else None
            name = name.strip() if isinstance(name, str) else ""
            if not name:
                self.found.all_known = False
                continue
            if name in tables:
                what = f'"{name}" is defined twice.'
                self.complaints.add((*path, "name"), what, "Rename one.")
                continue
            tables[name] = table
            self.found.written[name] = entry
            self.found.places[name] = path
        return tables

    def _ground(
        self, table: PaddockTable, shapes: Mapping[str, BaseGeometry], *, on_map: bool
    ) -> Field | None:
        """Outline a paddock: its own boundary, else a field's of its name, else the map's."""
        name, path = table.name, self.found.places[table.name]
        if table.boundary is not None:
            plot = FieldTable(name=name, boundary=table.boundary, unworkable=table.unworkable)
            ground, said = self.files.field(plot, path)
            self.found.warnings += said
            return ground
        if name in self.fields:
            known = self.fields[name]
            if known is None:
                return None
            ground = known
        else:
            ground = Field(name)
        if ground.boundary is None and name in shapes:
            ground = replace(ground, boundary=shapes[name])
        elif name in shapes:
            self._compare(name, ground.boundary, shapes[name])
        if ground.boundary is None:
            if on_map and self.found.all_known:
                self.complaints.add(
                    (*path, "name"),
                    f'There is no paddock "{name}" on the map, nor a field of that name.',
                    choice(name, [*shapes, *self.fields], "Give its boundary."),
                )
            elif not on_map:
                self.complaints.add(
                    (*path, "boundary"),
                    "Its boundary is not given, and no field has its name.",
                    'Add boundary = "paddock.geojson".',
                )
            return None
        return self._with_unworkable(ground, table, path)

    def _with_unworkable(self, ground: Field, table: PaddockTable, path: KeyPath) -> Field | None:
        if table.unworkable is None:
            return ground
        place = (*path, "unworkable")
        bare = self.files.shapes(
            read_unworkable, table.unworkable, place, self.found.warnings, ground.boundary
        )
        if bare is None:
            return None
        if bare.covers(ground.boundary):
            self.complaints.add(
                place,
                "The unworkable ground covers the whole paddock.",
                "Give only the ground that is not worked.",
            )
            return None
        return replace(ground, unworkable=bare)

    def _compare(self, name: str, ours: BaseGeometry, map_s: BaseGeometry) -> None:
        """Warn where a field and the map's paddock of the same name are not the same ground."""
        differs = geodesic_area_m2(only_polygons(shapely.symmetric_difference(ours, map_s)))
        if differs > _SAME_SHARE * geodesic_area_m2(ours):
            self.found.warnings.append(
                f"{name}: the field and the paddock of this name differ by "
                f"{in_both('area', differs)}; the field's outline was used."
            )

    def _paddock(self, table: PaddockTable, ground: Field) -> Paddock:
        def either(key: str) -> Any:
            own = getattr(table, key)
            return getattr(self.grazing, key) if own is None else own

        given = {"utilization": either("utilization")} if either("utilization") is not None else {}
        return Paddock(
            field=ground,
            forage_kg_per_m2=either("forage"),
            growth_kg_per_m2_per_day=(either("growth") or 0.0) * DAY_S,
            forage_most_kg_per_m2=either("forage_most"),
            value=table.value,
            seeded=table.seed,
            window=table.window,
            **given,
        )

    def _check_overlaps(self) -> None:
        """Complain of ground in two paddocks; a sliver along a fence is only told."""
        shapes = {name: p.field.boundary for name, p in self.found.made.items() if p is not None}
        for first, second, shared_m2, sliver in overlaps(shapes):
            what = f'"{first}" and "{second}" overlap by {in_both("area", shared_m2)}'
            if sliver:
                self.found.warnings.append(
                    f"{what}, a sliver along their fence that counts in both."
                )
            else:
                self.complaints.add(
                    self.found.places[second],
                    f"{what}.",
                    "Correct their outlines, so that no ground counts twice.",
                )
