"""What a person draws: corners as text, held against other ground, and put into the season."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
import shapely
from pydantic import TypeAdapter, ValidationError
from shapely.geometry.base import BaseGeometry

from evenacre.desk.farm import Farm
from evenacre.desk.season_pages import tables_in
from evenacre.errors import InputError, Problem, gathered
from evenacre.geo.geodesy import WGS84_GEOD, geodesic_area_m2, unwrap, wrapped
from evenacre.geo.outlines import (
    ground_in,
    left_of,
    moved_along,
    onto_fences,
    rings_of,
    shared_m2,
    split,
)
from evenacre.io.common.suggestions import listed
from evenacre.io.maps.repair import plain_reason
from evenacre.io.season import values
from evenacre.io.season.ground import (
    Ground,
    Kind,
    Plot,
    Shape,
    read_ground,
    rounded,
    verdict,
)
from evenacre.io.season.load import draft_season
from evenacre.model import FloatArray
from evenacre.units.display import in_both
from evenacre.workflows.called import OF_THE_TERMINAL

Form = Literal["area", "line", "point"]
_STICKS_WITHIN_M = 1.0
_SMALLEST_M2 = 50.0
_SEEN_M2 = 1.0
_PIECE = "The new piece"
_MOST_CORNERS, _MOST_RINGS = 20_000, 200
_ROW = re.compile(r"[^\n]*\S[^\n]*")


@dataclass(frozen=True)
class Part:
    """Something that is drawn of a plot.

    Attributes
    ----------
    key : str
        In the season file.
    forms : tuple of str
        As what it can be drawn.
    says : str
        Key of what has to be said besides.
    asks : str
        How that is asked for, with an example.
    kinds : tuple of str
        What may have it.
    """

    key: str
    title: str
    hint: str
    forms: tuple[Form, ...]
    says: str = ""
    asks: str = ""
    example: str = ""
    kinds: tuple[Kind, ...] = ("field", "paddock")


BOUNDARY = Part("boundary", "Outline", "Its fence, corner by corner.", ("area",))
PARTS = {
    part.key: part
    for part in (
        BOUNDARY,
        Part(
            "gate",
            "Gate",
            "The way in and out, on the fence.",
            ("point",),
            *("width", "How wide it is, from post to post", "16 ft"),
        ),
        Part(
            "unworkable",
            "Ground not worked",
            "A pond, rocks, trees: kept off, and not driven over.",
            ("area",),
        ),
        Part(
            "cross",
            "Waterway to cross",
            "Grassed: not worked, but crossed with the drill lifted.",
            ("line", "area"),
            *("width", "How wide it is, where it is drawn as a line", "30 ft"),
        ),
        Part(
            "keep_out",
            "Too wet this time",
            "It is grazed, but left out of this seeding.",
            ("area",),
            *("until", "The day from which it bears the drill; empty: not this time", "2027-05-20"),
            kinds=("paddock",),
        ),
        Part(
            "setbacks",
            "To keep away from",
            "A well, a ditch, a pond, and how far to keep away from it.",
            ("point", "line", "area"),
            *("distance", "How far to keep away", "100 ft"),
            kinds=("field",),
        ),
        Part(
            "line",
            "Line that passes follow",
            "Along a slope or old rows; passes run beside it.",
            ("line",),
        ),
    )
}
"""What can be drawn, by key."""


@dataclass(frozen=True)
class Asked:
    """What is to be drawn: a shape of a plot, there or new.

    Attributes
    ----------
    name : str
        Of the plot; empty of a new one.
    number : int or None
        Which shape of its part; None of a new one.
    cuts : bool
        Whether the line is to cut the plot in pieces.
    """

    kind: Kind
    name: str
    part: Part
    form: Form
    number: int | None = None
    cuts: bool = False


@dataclass
class Judged:
    """What is to be said of a drawing as it stands.

    Attributes
    ----------
    wrong : dict of str to str
        By the box that it concerns: ``"name"``, ``"corners"`` or ``"said"``.
    notes : list of str
    size : str
        How large or long it is.
    drawn : list of array
        The corners that were drawn, ring by ring, longitude first.
    shape : geometry or None
        As it would be kept; None where it cannot be.
    pieces : list of geometry
        Of a plot that is cut.
    moved : dict of str to geometry
        Outlines of neighbours that go along, by name.
    """

    wrong: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    size: str = ""
    drawn: list[FloatArray] = field(default_factory=list)
    shape: BaseGeometry | None = None
    pieces: list[BaseGeometry] = field(default_factory=list)
    moved: dict[str, BaseGeometry] = field(default_factory=dict)


# What is there


def known_ground(farm: Farm) -> tuple[Mapping[str, Any], Ground]:
    """The season's tables and its ground; nothing of a season that cannot be read."""
    try:
        seen, raw = tables_in(farm)
    except InputError:
        return {}, Ground()
    key = (seen, _stamps(farm, raw))
    found: Ground = farm.memory.of(
        "ground", key, lambda: read_ground(raw, farm.root, farm.memory.shapes)
    )
    return raw, found


def _stamps(farm: Farm, raw: Mapping[str, Any]) -> tuple[tuple[str, int, int], ...]:
    """Size and time of every file that may be a map of the season's."""

    def texts(value: Any) -> list[str]:
        if isinstance(value, str):
            return [value]
        inner = value.values() if isinstance(value, Mapping) else value
        return [t for one in inner for t in texts(one)] if isinstance(value, Mapping | list) else []

    found = []
    named = [raw.get(key) for key in ("field", "paddock", "paddocks")]
    for name in sorted(set(texts([one for one in named if one is not None]))):
        with suppress(OSError, ValueError):
            status = (farm.root / name).stat()
            found.append((name, status.st_size, status.st_mtime_ns))
    return tuple(found)


def remarks_on(farm: Farm) -> Remarks:
    """What is wrong with the ground of a season, and what is remarked of fields and paddocks."""
    try:
        seen, raw = tables_in(farm)
    except InputError:
        return [], {}
    if not raw:
        return [], {}
    key = (seen, _stamps(farm, raw))
    found: Remarks = farm.memory.of("remarks", key, lambda: _remarks(farm))
    return found


Remarks = tuple[list[str], Mapping[tuple[str, str], list[str]]]
"""Problems, and warnings by kind and name."""


def _remarks(farm: Farm) -> Remarks:
    found: list[Problem] = []
    said: Mapping[tuple[str, str], list[str]] = {}
    with gathered(found):
        draft = draft_season(farm.season, logs=False, must_hold="fields", known=farm.memory.shapes)
        found += draft.problems
        said = draft.said
    # What herd and seeding lack is told where they are typed.
    of_ground = [
        one
        for one in found
        if one.file != farm.season.name or one.place.startswith(("field ", "paddock"))
    ]
    return [OF_THE_TERMINAL.sub("", str(one)) for one in of_ground], said


def standing_alone(ground: Ground, plot: Plot) -> Plot:
    """A paddock that goes by a field with what the field has, which an own outline would end."""
    plot = replace(plot, table={"name": plot.name, **plot.table})
    held = ground.plot("field", plot.name)
    if plot.kind == "field" or held is None or plot.drawn_in:
        return plot
    keys = [key for key in held.parts if "paddock" in PARTS[key].kinds and key not in plot.parts]
    told = {key: held.table[key] for key in (*keys, "fence") if key in held.table}
    return replace(
        plot,
        table={**told, **plot.table},
        parts={**plot.parts, **{key: held.parts[key] for key in keys}},
    )


def told_of(plot: Plot, key: str) -> Mapping[str, Any]:
    """What a plot's table says of a part beside its shapes."""
    held = plot.table.get(key)
    if isinstance(held, list) and len(held) == 1:
        (held,) = held
    return held if isinstance(held, Mapping) else {}


def has_several(plot: Plot, key: str) -> bool:
    """Whether several maps stand where what is drawn is one."""
    held = plot.table.get(key)
    return isinstance(held, list) and len(held) > 1


# Corners as text


def corners_text(shape: BaseGeometry | None) -> str:
    """Corners, one a line, latitude first; an empty line between rings."""
    return "\n\n".join(
        "\n".join(f"{degrees(lat)}, {degrees(lon)}" for lon, lat in _wrapped(ring).tolist())
        for ring in (rings_of(shape) if shape is not None else [])
    )


def latlon(rings: Sequence[FloatArray]) -> list[list[list[float]]]:
    """Corners as a map in the browser takes them, latitude first."""
    return [np.round(ring[:, ::-1], 9).tolist() for ring in rings]


def latlon_rings(shape: BaseGeometry | None) -> list[list[list[float]]]:
    """Corners of a shape so; none of none."""
    return [] if shape is None else latlon(rings_of(shape))


def place_in(text: str) -> tuple[float, float]:
    """A latitude and a longitude as a person writes them.

    Raises
    ------
    InputError
    """
    try:
        found: tuple[float, float] = _PLACE.validate_python(text)
    except ValidationError as error:
        told = error.errors()[0].get("ctx", {})
        what = str(told.get("what", error))
        raise InputError.at("Place", "", what, str(told.get("remedy", ""))) from None
    return found


_PLACE: TypeAdapter[tuple[float, float]] = TypeAdapter(values.Place)


def rings_in(text: str) -> list[FloatArray]:
    """Corners of each ring that a text holds, (n, 2), longitude first.

    Raises
    ------
    InputError
        When a line is no place, or there are too many.
    """
    rings: list[list[tuple[float, float]]] = [[]]
    count = 0
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        if not line.strip():
            rings += [[]] if rings[-1] else []
            continue
        count += 1
        if count > _MOST_CORNERS or len(rings) > _MOST_RINGS:
            what = f"There are over {_MOST_CORNERS:,} corners, or {_MOST_RINGS} pieces."
            raise InputError.at("Corners", "", what, "Draw it with fewer.")
        try:
            lat, lon = place_in(line.strip().rstrip(",;"))
        except InputError as error:
            problem = error.problems[0]
            what = f"Line {number}: {problem.what}"
            raise InputError.at("Corners", "", what, problem.remedy) from None
        rings[-1].append((lon, lat))
    whole = [np.array(ring) for ring in rings if ring]
    if not whole:
        return []
    # Across the antimeridian longitudes run on.
    together = unwrap(np.array([shapely.MultiPoint(np.vstack(whole))], dtype=object))[0]
    ends = np.cumsum([len(ring) for ring in whole])[:-1]
    return np.split(shapely.get_coordinates(together), ends)


def degrees(value: float) -> str:
    """Degrees as they are written: to a tenth of a millimetre."""
    return f"{value:.9f}".rstrip("0").rstrip(".")


def _wrapped(ring: FloatArray) -> FloatArray:
    return np.column_stack([wrapped(ring[:, 0]), ring[:, 1]])


# What is to be said of it


def judged(ground: Ground, asked: Asked, given: Mapping[str, str]) -> Judged:
    """Hold a drawing against the ground there is.

    Parameters
    ----------
    given : mapping
        The boxes: ``corners``; ``name`` of a new plot; ``said`` of what a part says besides;
        ``called`` of a shape; ``sticks``, ``trims`` and ``together``, where they are ticked;
        ``moves``, corners from and to.
    """
    told = Judged()
    plot = ground.plot(asked.kind, asked.name) if asked.name else None
    name = asked.name or " ".join(given.get("name", "").split())
    if not name:
        told.wrong["name"] = "It has no name yet. Give it one."
    elif not asked.name and ground.plot(asked.kind, name) is not None:
        told.wrong["name"] = f'There is a {asked.kind} "{name}" already. Take another name.'
    try:
        told.drawn = rings = rings_in(given.get("corners", ""))
    except InputError as error:
        told.wrong["corners"] = _in_words(error)
        return told
    if not rings:
        told.wrong["corners"] = "Nothing is drawn yet."
        return told
    beside = ground.beside(asked.kind, name)
    if asked.part is BOUNDARY and not asked.cuts:
        if "together" in given and plot is not None:
            told.moved, beside = _moved_along(beside, asked.kind, given, told)
        outlines = [one.outline for one in beside if one.outline is not None]
        if "sticks" in given and all(len(ring) > 2 for ring in rings):
            rings, count = onto_fences(rings, outlines, _STICKS_WITHIN_M)
            if count:
                told.notes.append(f"{_counted(count, 'corner')} put onto a neighbour's fence.")
    shape = _shape_of(rings, asked.form, told)
    if shape is None:
        return told
    if asked.cuts:
        _judge_cut(ground, plot, shape, told)
        return told
    if asked.part is BOUNDARY and "trims" in given:
        paddocks = [o.outline for o in beside if o.kind == asked.kind and o.outline is not None]
        shape = left_of(shape, paddocks)
        if shape.is_empty:
            told.wrong["corners"] = "All of it lies in neighbours. Draw it beside them."
            return told
    told.shape, told.size = rounded(shape), _size(shape, asked.form)
    base = standing_alone(ground, plot or Plot(asked.kind, name or "It", None, {}))
    fresh = with_shape(base, asked, told.shape, given)
    _ask_readers(fresh, beside, asked, given, told)
    for one in beside:
        if one.name in told.moved and one.kind == asked.kind:
            _ask_of_neighbour(one, [fresh, *(other for other in beside if other is not one)], told)
    goes_along = ground.plot("paddock", name) if asked.kind == "field" else None
    if goes_along is not None and not goes_along.drawn_in and asked.part is BOUNDARY:
        _ask_of_neighbour(replace(goes_along, outline=told.shape), beside, told)
    if asked.part is BOUNDARY:
        told.notes += _against_fields(ground, asked, name, told.shape)
    return told


def _shape_of(rings: list[FloatArray], form: Form, told: Judged) -> BaseGeometry | None:
    """A sound shape of corners; None, which is told, where they make none."""
    if form == "point":
        if len(rings) > 1 or len(rings[0]) > 1:
            told.wrong["corners"] = "This is one place; there are several. Keep one of them."
            return None
        return shapely.Point(rings[0][0])
    least, what = (2, "A line") if form == "line" else (3, "An outline")
    if min(len(np.unique(ring, axis=0)) for ring in rings) < least:
        told.wrong["corners"] = f"{what} needs {least} corners at least."
        return None
    if form == "line":
        if len(rings) > 1:
            told.wrong["corners"] = "This is one line; there are several. Keep one of them."
            return None
        line = shapely.LineString(rings[0])
        if not line.is_simple:
            told.wrong["corners"] = "The line crosses itself. Move a corner, so that it does not."
            return None
        return line
    shape = ground_in(rings)
    if not shape.is_valid:
        reason = plain_reason(shapely.is_valid_reason(shape), latitude_first=True)
        reason = f"{reason[0].upper()}{reason[1:]}"
        told.wrong["corners"] = f"{reason}. Move a corner, so that it does not."
        return None
    return shape


def _size(shape: BaseGeometry, form: Form) -> str:
    if form == "point":
        return ""
    if form == "line":
        return f"{in_both('length', WGS84_GEOD.geometry_length(shape))} long"
    fence = abs(WGS84_GEOD.geometry_area_perimeter(shape)[1])
    area = in_both("area", geodesic_area_m2(shape))
    return f"{area}; all around {in_both('length', fence)}"


def overlaps(plot: Plot, others: Sequence[Plot]) -> list[Problem]:
    """What readers refuse of a plot beside others, with what its table says."""
    written = {key: dict(told_of(plot, key)) for key in plot.parts}
    known = {
        key: {PARTS[key].says: told[PARTS[key].says]} if PARTS[key].says in told else {}
        for key, told in written.items()
    }
    return verdict(plot, others, known)[0]


def _ask_of_neighbour(plot: Plot, others: Sequence[Plot], told: Judged) -> None:
    """Let readers look at another plot that changes along."""
    for problem in overlaps(plot, others):
        about = "" if f'"{plot.name}"' in problem.what else f"{plot.name}: "
        told.wrong.setdefault("corners", f"{about}{problem.what} {problem.remedy}")


def _judge_cut(ground: Ground, plot: Plot | None, line: BaseGeometry, told: Judged) -> None:
    """Cut a plot along a line, and say what comes of it."""
    if plot is None or plot.outline is None:
        told.wrong["corners"] = "There is no outline that could be cut."
        return
    if plot.kind == "field":
        paddocks = [one for one in ground.plots if one.kind == "paddock" and one.outline]
        shared = shared_m2(plot.outline, [one.outline for one in paddocks if one.outline])
        if inside := [one.name for one, area in zip(paddocks, shared, strict=True) if area > 1.0]:
            what = f"Paddocks are in it already ({listed(inside)}): ground would count twice."
            told.wrong["corners"] = f"{what} Split those, or take them out first."
            return
    pieces = [rounded(one) for one in split(plot.outline, line)]
    areas = [geodesic_area_m2(one) for one in pieces]
    if len(pieces) <= len(shapely.get_parts(plot.outline)):
        told.wrong["corners"] = "The line does not cut it in two. Draw it from fence to fence."
    elif min(areas) < _SMALLEST_M2:
        what = f"One piece would be only {in_both('area', min(areas))}."
        told.wrong["corners"] = f"{what} Draw the line elsewhere."
    else:
        told.pieces = pieces
        told.size = " and ".join(in_both("area", area) for area in areas)
        # What was a sliver beside all of it may be too much beside a piece.
        others = [one for one in ground.beside(plot.kind, plot.name) if one.kind == "paddock"]
        for piece in pieces:
            _ask_of_neighbour(Plot("paddock", _PIECE, None, {}, piece, "drawn"), others, told)


def _moved_along(
    beside: Sequence[Plot], kind: Kind, given: Mapping[str, str], told: Judged
) -> tuple[dict[str, BaseGeometry], list[Plot]]:
    """Neighbours whose shared corners go where they were moved to, and all of them so."""
    moves = []
    for row in _ROW.findall(given.get("moves", ""))[:_MOST_CORNERS]:
        start, _, end = row.partition(">")
        with suppress(InputError):
            ends = [np.array(place_in(one.strip())[::-1]) for one in (start, end)]
            moves.append((ends[0], ends[1]))
    moved: dict[str, BaseGeometry] = {}
    found = []
    for one in beside:
        if one.kind == kind and one.drawn_in and one.outline is not None and moves:
            new = moved_along(one.outline, moves)
            if not new.equals_exact(one.outline, 0.0):
                moved[one.name] = rounded(new)
                if not new.is_valid:
                    what = f'"{one.name}" would cross itself, whose shared corners move along.'
                    told.wrong["corners"] = f"{what} Move the corner less far."
                size = in_both("area", geodesic_area_m2(new))
                told.notes.append(f"{one.name} moves along: it is {size} then.")
                one = replace(one, outline=new)
        found.append(one)
    return moved, found


def with_shape(plot: Plot, asked: Asked, shape: BaseGeometry, given: Mapping[str, str]) -> Plot:
    """The plot with a shape in its place."""
    if asked.part is BOUNDARY:
        return replace(plot, outline=shape, drawn_in="drawn")
    shapes = list(plot.parts.get(asked.part.key, ()))
    drawn = Shape(shape, " ".join(given.get("called", "").split())[:200])
    if asked.number is None:
        shapes.append(drawn)
    else:
        shapes[asked.number] = drawn
    if asked.part.key in ("gate", "line"):  # there is one of each
        shapes = [drawn]
    return replace(plot, parts={**plot.parts, asked.part.key: tuple(shapes)})


def _ask_readers(
    plot: Plot, beside: Sequence[Plot], asked: Asked, given: Mapping[str, str], told: Judged
) -> None:
    """Let the readers of a season say what they think of a plot."""
    if plot.outline is None:
        told.wrong["corners"] = f"{plot.name} has no outline yet. Draw that first."
        return
    if has_several(plot, asked.part.key):
        told.wrong["corners"] = "Several maps are named for it. Change them under Season."
        return
    written = {}
    for key in plot.parts:
        says = PARTS[key].says
        value = told_of(plot, key).get(says)
        if key == asked.part.key and says:
            value = given.get("said", "").strip() or None
            lines = any("Line" in one.geometry.geom_type for one in plot.parts[key])
            if value is None and (key == "setbacks" or lines):
                told.wrong["said"] = f"{PARTS[key].asks}: write it with its unit."
                return
        written[key] = {says: value} if says and value is not None else {}
    problems, warnings = verdict(plot, beside, written)
    for problem in problems:
        places = (f"{asked.part.key}.{asked.part.says}", f"{asked.part.key}.0.{asked.part.says}")
        box = {"name": "name", **dict.fromkeys(places, "said")}.get(problem.place, "corners")
        told.wrong.setdefault(box, f"{problem.what} {problem.remedy}")
    told.notes += dict.fromkeys(warnings)


def _against_fields(ground: Ground, asked: Asked, name: str, shape: BaseGeometry) -> list[str]:
    """What is worth knowing of where a plot lies, though no reader minds."""
    fields = [one for one in ground.beside("field", name) if one.kind == "field"]
    if not fields:
        return []
    shared = shared_m2(shape, [one.outline for one in fields if one.outline is not None])
    if asked.kind == "field":
        pairs = zip(fields, shared, strict=True)
        return [
            f"{in_both('area', float(area))} of it lie in {one.name} too."
            for one, area in pairs
            if area > _SEEN_M2
        ]
    outside = geodesic_area_m2(shape) - float(shared.sum())
    if shared.sum() > _SEEN_M2 and outside > _SMALLEST_M2:
        return [f"{in_both('area', outside)} of it lie outside the field that it is in."]
    return []


def _in_words(error: InputError) -> str:
    return " ".join(f"{one.what} {one.remedy}" for one in error.problems)


def _counted(count: int, what: str) -> str:
    return f"{count} {what} was" if count == 1 else f"{count} {what}s were"
