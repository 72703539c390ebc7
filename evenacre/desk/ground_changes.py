"""What is drawn goes into the season: files of its own, and the tables that name them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import count, islice
from pathlib import Path
from string import ascii_lowercase
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.desk import forms
from evenacre.desk.bring import free_place
from evenacre.desk.drawing import (
    BOUNDARY,
    PARTS,
    Asked,
    Judged,
    Part,
    degrees,
    has_several,
    known_ground,
    overlaps,
    standing_alone,
    told_of,
    with_shape,
)
from evenacre.desk.drawn_files import settle
from evenacre.desk.farm import Farm
from evenacre.errors import InputError
from evenacre.geo.geodesy import wrapped
from evenacre.geo.outlines import apart_m, joined
from evenacre.io.season.edit import change_season
from evenacre.io.season.ground import Ground, Kind, Plot, Shape, rounded, write_shapes
from evenacre.units.display import in_both

_IN_THE_FENCE_M = 10.0


def keep(farm: Farm, asked: Asked, given: Mapping[str, str], told: Judged) -> str:
    """Write a drawing that is right into files of its own, and the season that names them.

    Returns
    -------
    str
        Name of the plot.

    Raises
    ------
    ChangedElsewhereError
        When the season was changed since the page was opened; nothing is kept then.
    InputError
    """
    _, ground = known_ground(farm)
    name = asked.name or " ".join(given.get("name", "").split())
    with _Pen(farm, given.get("seen", "")) as pen:
        known = ground.plot(asked.kind, name) or Plot(asked.kind, name, None, {"name": name})
        plot = standing_alone(ground, known)
        assert told.shape is not None
        if asked.part is BOUNDARY:
            pen.put(plot, boundary=pen.drawn(name, "boundary", [Shape(told.shape)]))
            for other, outline in told.moved.items():
                one = ground.plot(asked.kind, other)
                if one is not None:
                    pen.put(one, boundary=pen.drawn(other, "boundary", [Shape(outline)]))
        else:
            changed = with_shape(plot, asked, told.shape, given)
            pen.put(plot, **pen.part(changed, asked.part, given.get("said", "").strip()))
    return name


def take_out(farm: Farm, kind: Kind, name: str, seen: str, key: str, number: int) -> None:
    """Take a shape out of a plot."""
    _, ground = known_ground(farm)
    plot = ground.plot(kind, name)
    if plot is None:
        return
    left = tuple(one for n, one in enumerate(plot.parts.get(key, ())) if n != number)
    with _Pen(farm, seen) as pen:
        if left:
            pen.put(plot, **pen.part(replace(plot, parts={key: left}), PARTS[key]))
        else:
            pen.put(plot, **{key: None})


def take_out_paddock(farm: Farm, name: str, seen: str) -> None:
    """Take a paddock out of the season."""
    _, ground = known_ground(farm)
    with _Pen(farm, seen) as pen:
        _forget(pen, ground, name)


def cut(farm: Farm, asked: Asked, told: Judged, seen: str) -> list[str]:
    """Put the pieces of a plot in its place; those of a field become paddocks in it.

    Returns
    -------
    list of str
        Their names.
    """
    _, ground = known_ground(farm)
    plot = ground.plot(asked.kind, asked.name)
    assert plot is not None
    plot = standing_alone(ground, plot)
    taken = {one.name for one in ground.plots if one.kind == "paddock"}
    names = [] if plot.kind == "field" else [plot.name]
    fresh = (one for one in _numbered(plot.name, 1 + len(names)) if one not in taken)
    names += islice(fresh, len(told.pieces) - len(names))
    with _Pen(farm, seen) as pen:
        for number, (name, piece) in enumerate(zip(names, told.pieces, strict=True)):
            shares = _share_of(plot, piece)
            shares["boundary"] = pen.drawn(name, "boundary", [Shape(piece)])
            if number == 0 and plot.kind == "paddock":
                pen.put(plot, **shares)
                continue
            table = {key: value for key, value in plot.table.items() if key not in shares}
            if plot.kind == "field":
                table = {key: table[key] for key in ("fence",) if key in table}
            table |= {key: value for key, value in shares.items() if value is not None}
            pen.add({**table, "name": name}, after=plot if plot.kind == "paddock" else None)
        if plot.kind == "paddock":
            pen.rename_in_lists(plot.name, names)
    return names


def _numbered(name: str, first: int) -> Iterator[str]:
    """Names for more of the same: with a letter, where a number ends the name already."""
    if name[-1].isdigit():
        yield from (f"{name}{letter}" for letter in ascii_lowercase[first - 1 :])
    yield from (f"{name} {number}" for number in count(first))


def join(farm: Farm, name: str, other: str, seen: str) -> None:
    """Make one paddock of two that touch; it has the first one's name.

    Raises
    ------
    InputError
        When they do not touch.
    """
    _, ground = known_ground(farm)
    one, two = ground.plot("paddock", name), ground.plot("paddock", other)
    if one is None or two is None or one.outline is None or two.outline is None or one == two:
        what = "There are no two outlines to join."
        raise InputError.at("Join", "", what, "Choose a neighbour that is drawn.")
    whole = rounded(joined([one.outline, two.outline]))
    parts = [len(shapely.get_parts(shape)) for shape in (whole, one.outline, two.outline)]
    if parts[0] >= parts[1] + parts[2]:
        gap = in_both("length", apart_m(one.outline, two.outline))
        what = f"{name} and {other} do not share a fence: {gap} lie between them."
        raise InputError.at("Join", "", what, "Move the corners of one onto the other's first.")
    others = [plot for plot in ground.beside("paddock", name) if plot.name != other]
    if found := overlaps(Plot("paddock", name, None, {}, whole, "drawn"), others):
        raise InputError(replace(problem, file="Join") for problem in found)
    one, two = standing_alone(ground, one), standing_alone(ground, two)
    with _Pen(farm, seen) as pen:
        changes: dict[str, Any] = {
            "boundary": pen.drawn(name, "boundary", [Shape(whole)]),
            **_parts_of_both(pen, one, two, whole),
        }
        pen.put(one, **changes)
        _forget(pen, ground, other)


def stray_moves(raw: Mapping[str, Any], ground: Ground) -> list[str]:
    """Paddocks that moves of the herd name and that are none; none where a map cannot be read."""
    if raw.get("paddocks") and not ground.map_shapes:
        return []
    known = {plot.name for plot in ground.plots if plot.kind == "paddock"}
    moves = [str(one.get("paddock")).strip() for one in forms.tables_of(raw, forms.KINDS["move"])]
    return [name for name in dict.fromkeys(moves) if name not in known]


def mend_moves(farm: Farm, name: str, other: str, seen: str) -> None:
    """Let moves name another paddock than one that is gone; without one they are taken out."""
    with _Pen(farm, seen) as pen:
        pen.rename_in_moves(name, other)


def _share_of(plot: Plot, piece: BaseGeometry) -> dict[str, Any]:
    """What a piece of a plot has of what is drawn of it; None of what it has not."""
    shares: dict[str, Any] = {}
    for key, shapes in plot.parts.items():
        if "paddock" not in PARTS[key].kinds:
            continue
        if key == "gate":
            near = [apart_m(shape.geometry, shapely.boundary(piece)) for shape in shapes]
            has = bool(near) and min(near) <= _IN_THE_FENCE_M
        else:
            has = key == "line" or any(shape.geometry.intersects(piece) for shape in shapes)
        shares[key] = plot.table.get(key) if has else None
    return shares


def _parts_of_both(pen: _Pen, one: Plot, two: Plot, whole: BaseGeometry) -> dict[str, Any]:
    """What is drawn of two paddocks that become one."""
    changes: dict[str, Any] = {}
    for key in ("unworkable", "cross", "keep_out"):
        ours, theirs = one.parts.get(key, ()), two.parts.get(key, ())
        if key == "keep_out" and (several := _several_wet(one, two)):
            changes[key] = several
            continue
        if has_several(one, key) or has_several(two, key):
            what = f"{PARTS[key].title}: several maps are named for it."
            raise InputError.at("Join", "", what, "Leave one under Season, and join then.")
        if not theirs:
            continue
        says = PARTS[key].says
        said = [_said(plot, key) for plot in (one, two) if plot.parts.get(key) and says]
        if len(set(said)) > 1:
            what = f"{PARTS[key].title}: {one.name} and {two.name} do not say the same of it."
            raise InputError.at("Join", "", what, "Give both the same first, or draw one anew.")
        both = replace(one, parts={key: (*ours, *theirs)})
        changes |= pen.part(both, PARTS[key], said[0] if said else "")
    for key in ("gate", "line"):
        fits = [
            plot.table.get(key)
            for plot in (one, two)
            for shape in plot.parts.get(key, ())
            if key == "line" or apart_m(shape.geometry, shapely.boundary(whole)) <= _IN_THE_FENCE_M
        ]
        changes[key] = fits[0] if fits else None
    return changes


def _several_wet(one: Plot, two: Plot) -> list[Any]:
    """Maps of wet ground of both, where they cannot be one map: each has a day of its own."""
    ours, theirs = (
        held if isinstance(held, list) else [] if held is None else [held]
        for held in (plot.table.get("keep_out") for plot in (one, two))
    )
    drawn = not theirs or bool(two.parts.get("keep_out"))
    same_day = not (ours and theirs) or _said(one, "keep_out") == _said(two, "keep_out")
    if max(len(ours), len(theirs)) <= 1 and drawn and same_day:
        return []
    return [*ours, *(entry for entry in theirs if entry not in ours)]


def _said(plot: Plot, key: str) -> str:
    return str(told_of(plot, key).get(PARTS[key].says, ""))


def _forget(pen: _Pen, ground: Ground, name: str) -> None:
    """Take a paddock out of tables, map and lists."""
    plot = ground.plot("paddock", name)
    if plot is None:
        return
    if plot.number is not None:
        pen.drop(plot)
    if plot.on_map:
        left = {one: shape for one, shape in ground.map_shapes.items() if one != name}
        pen.put_map(left)
    pen.rename_in_lists(name, [])


class _Pen:
    """Changes the season once, when all is drawn; of a change that fails no file stays."""

    def __init__(self, farm: Farm, seen: str) -> None:
        self._farm, self._seen = farm, seen
        self._files: list[Path] = []
        self._changes: list[Callable[[Any], None]] = []
        # Numbers of tables hold until one comes or goes.
        self._later: list[Callable[[Any], None]] = []

    def __enter__(self) -> _Pen:
        return self

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        try:
            if kind is None:
                change_season(self._farm.season, self._seen, self._change, self._farm.versions)
                named, self._files = self._files, []
                settle(self._farm, self._farm.drawn, named)
        finally:
            for path in self._files:
                path.unlink(missing_ok=True)

    def _change(self, document: Any) -> None:
        for change in (*self._changes, *self._later):
            change(document)

    def drawn(self, name: str, what: str, shapes: Sequence[Shape]) -> str:
        """Write shapes into a file of their own; nothing that was drawn before is written over."""
        self._farm.drawn.mkdir(exist_ok=True)
        path = free_place(self._farm.drawn, f"{name} {what}", ".geojson", what)
        self._files.append(path)
        write_shapes(path, shapes)
        return path.relative_to(self._farm.root).as_posix()

    def part(self, plot: Plot, part: Part, said: str | None = None) -> dict[str, Any]:
        """What the season says of a part, drawn anew; what is said besides stays without it."""
        shapes = plot.parts[part.key]
        value = _said(plot, part.key) if said is None and part.says else said
        if part.key == "gate":
            lon, lat = shapely.get_coordinates(shapes[0].geometry)[0]
            place = f"{degrees(lat)}, {degrees(float(wrapped(np.array(lon))))}"
            return {"gate": {"place": place, part.says: value} if value else place}
        file = self.drawn(plot.name, part.title.lower(), shapes)
        return {part.key: {"file": file, part.says: value} if value else file}

    def put(self, plot: Plot, **changes: Any) -> None:
        """Change keys of a plot's table; None takes one out."""
        kind = forms.KINDS[plot.kind]
        table = {**plot.table, "name": plot.table.get("name", plot.name), **changes}
        table = {key: value for key, value in table.items() if value is not None}
        self._changes.append(lambda doc: forms.put_table(kind, table, doc, plot.number))

    def add(self, table: Mapping[str, Any], after: Plot | None) -> None:
        """Add a paddock, behind another where that has a table."""
        kind = forms.KINDS["paddock"]
        number = after.number if after else None
        at = None if number is None else number + 1 + len(self._later)
        self._later.append(lambda doc: forms.put_table(kind, table, doc, None, at=at))

    def drop(self, plot: Plot) -> None:
        """Take a plot's table out."""
        kind, number = forms.KINDS[plot.kind], plot.number
        assert number is not None
        self._later.append(lambda doc: forms.drop_table(kind, doc, number))

    def put_map(self, shapes: Mapping[str, BaseGeometry]) -> None:
        """Let the map of paddocks be a copy that holds these; the one that was brought stays."""
        kind = forms.KINDS["paddocks"]
        if not shapes:
            self._later.append(lambda doc: forms.drop_table(kind, doc, 0))
            return
        file = self.drawn("paddocks", "map", [Shape(one, name) for name, one in shapes.items()])
        table = {"file": file, "name_column": "name"}

        def change(document: Any) -> None:
            document["paddocks"] = table

        self._changes.append(change)

    def rename_in_lists(self, name: str, names: Sequence[str]) -> None:
        """Put names in the place of one wherever paddocks are listed."""

        def change(document: Any) -> None:
            for key, listed in (("grazing", "order"), ("seeding", "ready")):
                table = document.get(key)
                held = table.get(listed) if isinstance(table, Mapping) else None
                if not isinstance(held, list):
                    continue
                at = [n for n, one in enumerate(held) if str(one).strip() == name]
                for n in reversed(at):
                    del held[n]
                    for one in reversed(names):
                        held.insert(n, one)

        self._changes.append(change)

    def rename_in_moves(self, name: str, other: str) -> None:
        """Let moves of the herd name another paddock; without one they go."""
        kind = forms.KINDS["move"]

        def change(document: Any) -> None:
            moves = list(enumerate(forms.tables_of(document, kind)))
            for number, move in reversed(moves):
                if str(move.get("paddock")).strip() != name:
                    continue
                if other:
                    document[kind.key][number]["paddock"] = other
                else:
                    forms.drop_table(kind, document, number)

        self._later.append(change)
