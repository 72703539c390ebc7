"""Where everything of a drill lies, seen from above, by the figures of its form so far."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector, fields_of
from evenacre.io.season.build import implement_of
from evenacre.io.season.schema import CompartmentTable, ImplementTable, KeyTable, TowTable
from evenacre.model import Implement
from evenacre.units.display import UnitSystem

# Sizes of what no figure tells, about those of machines in use (no source: they are drawn dashed).
_WIDTH_M = 6.0
_TRACTOR_M = (3.8, 0.9, 0.5)  # ahead of and behind its fixed axle, half its width
_CART_M = (1.7, 1.2)  # half its length, half its width
_FRAME_M = 0.6
_WHEELS_M = 1.0  # from the middle
# Keys that contradict each other are left out in this order until the rest agrees.
_DOUBTFUL = ("rows_per_tower", "sections", "row_spacing", "rows", "compartments")
_NOT_DRAWN = ("name", "cost")
_NOT_GIVEN = "not given"
_LISTED: dict[str, type[KeyTable]] = {
    "tow": TowTable,
    "behind": TowTable,
    "compartments": CompartmentTable,
}
_UNITS_OF = {"tow": "Tow", "behind": "Behind"}


@dataclass(frozen=True)
class Measure:
    """A figure to be taken with a tape, from one place to another.

    Attributes
    ----------
    box : str
        Name of its box in the form.
    label : str
    said : str
        The figure as it was typed, or what is assumed.
    given : bool
        Whether somebody typed it.
    start, end : tuple of float
        To the right of the middle of the drill, and ahead of the antenna (m).
    lane : int
        0 in the line of figures that lead from the antenna to the openers, 1 beside it, 2 across.
    """

    box: str
    label: str
    said: str
    given: bool
    start: tuple[float, float]
    end: tuple[float, float]
    lane: Literal[0, 1, 2] = 0


@dataclass(frozen=True)
class Body:
    """A tractor or cart; its size is never told.

    Attributes
    ----------
    pin_m : float or None
        The pin that pulls it, ahead of the antenna.
    axle_m : float
    front_m, back_m : float
        Ahead of the antenna.
    half_m : float
        Half its width.
    """

    kind: Literal["tractor", "cart"]
    pin_m: float | None
    axle_m: float
    front_m: float
    back_m: float
    half_m: float


@dataclass(frozen=True)
class Bin:
    """A compartment, at its place and as long as its share of the volume."""

    box: str
    name: str
    said: str
    front_m: float
    back_m: float


@dataclass(frozen=True)
class Rig:
    """A tractor with its drill, driving ahead.

    Attributes
    ----------
    implement : Implement
        As an audit would have it; where its width is not known, with one to be drawn.
    width_known : bool
    measures : tuple of Measure
    bodies : tuple of Body
    bins : tuple of Bin
    pin_m, axle_m : float
        Of the drill: what pulls it and its own axle, the same where it is mounted.
    tool_m : float
        The line of its openers.
    antenna : tuple of float
    remarks : tuple of str
        What was assumed, and what follows.
    """

    implement: Implement
    width_known: bool
    measures: tuple[Measure, ...]
    bodies: tuple[Body, ...]
    bins: tuple[Bin, ...]
    pin_m: float
    axle_m: float
    tool_m: float
    antenna: tuple[float, float]
    remarks: tuple[str, ...]

    @property
    def frame_m(self) -> float:
        """The front of the drill's frame."""
        return self.tool_m + _FRAME_M

    @property
    def ahead_m(self) -> tuple[float, float]:
        """The foremost and the last of it."""
        ends = [end for body in self.bodies for end in (body.front_m, body.back_m)]
        ends += [place[1] for one in self.measures for place in (one.start, one.end)]
        ends += [self.frame_m, self.tool_m, self.pin_m]
        return max(ends), min(ends)


def rig_of(table: Mapping[str, Any], units: UnitSystem) -> Rig:
    """Lay a drill out by what its form says so far; what is wrong in it counts as not given.

    Parameters
    ----------
    table : mapping
        As the season file would have it.
    units : UnitSystem
        Of what is assumed and of sums.
    """
    typed = _typed(table)
    implement = typed.implement
    width_known = implement.width_known
    if not width_known:
        implement = implement.of_width(_WIDTH_M)
    said = _Said(table, typed)
    pin_m = -implement.antenna_ahead_m
    left_m = -implement.antenna_left_m
    axle_m = -implement.axle_to_antenna_m
    measures = [
        said.measure("axle_to_antenna", (0.0, axle_m), (0.0, 0.0), lane=1),
        said.measure("antenna_left", (left_m, 0.0), (0.0, 0.0), lane=2),
        said.measure("antenna_ahead", (0.0, 0.0), (0.0, pin_m)),
    ]
    before, behind = _TRACTOR_M[:2]
    bodies = [Body("tractor", None, axle_m, axle_m + before, axle_m - behind, _TRACTOR_M[2])]
    towed, chain = _chain(implement.tow, pin_m, "tow", said, 0)
    measures += chain
    own = towed.pop() if towed else None
    bodies += towed
    drill_pin_m, drill_axle_m = (own.pin_m, own.axle_m) if own else (pin_m, pin_m)
    assert drill_pin_m is not None
    tool_m = drill_axle_m - implement.tool_behind_m
    measures.append(said.measure("tool_behind", (0.0, drill_axle_m), (0.0, tool_m)))
    if implement.behind:
        last_pin_m = drill_axle_m - implement.tool_to_pin_m
        measures.append(said.measure("tool_to_pin", (0.0, drill_axle_m), (0.0, last_pin_m), 1))
        followers, chain = _chain(implement.behind, last_pin_m, "behind", said, 1)
        bodies += followers
        measures += chain
    half_m = implement.width_m / 2
    whole = said.measure("width", (-half_m, tool_m), (half_m, tool_m), 2)
    if not whole.given:
        how = "rows and their spacing" if width_known else _NOT_GIVEN
        whole = replace(whole, said=f"{units.length.text(implement.width_m)} ({how})")
    if "row_spacing" in typed.read.model_fields_set:
        last = (half_m - implement.row_spacing_m, tool_m)
        measures.append(said.measure("row_spacing", last, (half_m, tool_m), 2))
    rig = Rig(
        implement,
        width_known,
        (*measures, whole),
        tuple(bodies),
        (),
        drill_pin_m,
        drill_axle_m,
        tool_m,
        (left_m, 0.0),
        tuple(_remarks(implement, units, width_known=width_known)),
    )
    return replace(rig, bins=tuple(_bins(rig, table, typed.places)))


@dataclass(frozen=True)
class _Typed:
    """What of a form can be understood.

    Attributes
    ----------
    read : ImplementTable
    places : dict of str to list of int
        Of what is listed, the rows of the form that it came from.
    implement : Implement
        As an audit would have it.
    """

    read: ImplementTable
    places: Mapping[str, list[int]]
    implement: Implement


def _typed(table: Mapping[str, Any]) -> _Typed:
    """Leave out what is wrong or only half typed so far."""
    known: dict[str, Any] = {"name": "drill"}
    places: dict[str, list[int]] = {}
    for key, value in table.items():
        if (inner := _LISTED.get(key)) is not None:
            rows = [_understood(inner, row) for row in value] if isinstance(value, list) else []
            places[key] = [n for n, row in enumerate(rows) if row is not None]
            known[key] = [row for row in rows if row is not None]
        elif key not in _NOT_DRAWN and not _is_wrong(ImplementTable, {"name": "drill", key: value}):
            known[key] = value
    for doubtful in ("", *_DOUBTFUL):
        known.pop(doubtful, None)
        read = ImplementTable.model_validate(known)
        made, _ = implement_of(read, known, "", ProblemCollector(_nowhere), (), logged=True)
        if made is not None:
            return _Typed(read, places, made)
    return _Typed(read, places, Implement(width_m=1.0, width_known=False))


def _understood(model: type[KeyTable], row: object) -> dict[str, Any] | None:
    """What of a row can be read; None where it lacks what it cannot do without."""
    if not isinstance(row, Mapping):
        return None
    needed = {key for key, declared in fields_of(model).items() if declared.is_required()}
    least = {key: row[key] for key in needed if key in row}
    if _is_wrong(model, least):
        return None
    return {k: v for k, v in row.items() if k in needed or not _is_wrong(model, {**least, k: v})}


def _is_wrong(model: type[KeyTable], table: Mapping[str, Any]) -> bool:
    trouble = ProblemCollector(_nowhere)
    trouble.check(model, table)
    return bool(trouble.problems)


def _nowhere(_path: KeyPath) -> tuple[str, str]:
    return "", ""


class _Said:
    """Words for the figures of a form."""

    def __init__(self, table: Mapping[str, Any], typed: _Typed) -> None:
        self.table, self.typed = table, typed

    def measure(
        self,
        key: str,
        start: tuple[float, float],
        end: tuple[float, float],
        lane: Literal[0, 1, 2] = 0,
    ) -> Measure:
        """A figure of the drill itself."""
        given = key in self.typed.read.model_fields_set
        said = _figure(self.table, key, given=given)
        return Measure(key, _words(key).capitalize(), said, given, start, end, lane)

    def of_unit(
        self, kind: str, number: int, key: str, from_m: float, to_m: float, lane: Literal[0, 1]
    ) -> Measure:
        """A figure of a towed unit."""
        units, place = getattr(self.typed.read, kind), self.typed.places[kind][number]
        given = key in units[number].model_fields_set
        said = _figure(self.table[kind][place], key, given=given)
        label = _words(key).capitalize()
        if len(units) > 1 or kind == "behind":
            label = f"{_UNITS_OF[kind]} {place + 1}, {_words(key)}"
        box = f"{kind}.{place}.{key}"
        return Measure(box, label, said, given, (0.0, from_m), (0.0, to_m), lane)


def _figure(table: Mapping[str, Any], key: str, *, given: bool) -> str:
    if given:
        return str(table[key])
    return f"0 ({'not understood' if key in table else _NOT_GIVEN})"


def _words(key: str) -> str:
    return key.replace("_", " ")


def _chain(
    units: Any, pin_m: float, kind: str, said: _Said, lane: Literal[0, 1]
) -> tuple[list[Body], list[Measure]]:
    """Towed units from a pin on, and the figures that place them."""
    bodies, measures = [], []
    half, wide = _CART_M
    for number, unit in enumerate(units):
        axle_m = pin_m - unit.hitch_to_axle_m
        front_m = axle_m + min(half, 0.7 * unit.hitch_to_axle_m)
        bodies.append(Body("cart", pin_m, axle_m, front_m, axle_m - half, wide))
        measures.append(said.of_unit(kind, number, "hitch_to_axle", pin_m, axle_m, lane))
        if number + 1 < len(units):
            pin_m = axle_m - unit.axle_to_pin_m
            measures.append(said.of_unit(kind, number, "axle_to_pin", axle_m, pin_m, lane))
    return bodies, measures


def _bins(rig: Rig, table: Mapping[str, Any], places: Mapping[str, list[int]]) -> Iterator[Bin]:
    """Compartments from front to back on the cart, or on the drill where there is none."""
    carts = [body for body in rig.bodies if body.kind == "cart"]
    if carts:
        front_m, back_m = carts[0].front_m - 0.2, carts[0].back_m + 0.2
    else:
        front_m, back_m = rig.frame_m + 1.6, rig.frame_m + 0.1
    parts = rig.implement.compartments
    total = sum(part.volume_m3 for part in parts)
    ends = itertools.accumulate((part.volume_m3 / total for part in parts), initial=0.0)
    for number, (part, (start, end)) in enumerate(
        zip(parts, itertools.pairwise(ends), strict=True)
    ):
        long_m = front_m - back_m
        place = places["compartments"][number]
        said = str(table["compartments"][place]["volume"])
        box = f"compartments.{place}.volume"
        yield Bin(box, part.name, said, front_m - start * long_m, front_m - end * long_m)


def _remarks(implement: Implement, units: UnitSystem, *, width_known: bool) -> Iterator[str]:
    """What follows of the figures, and what was assumed where there are none."""
    length = units.length
    if implement.tells("behind"):
        yield f"Openers {length.text(implement.behind_m)} behind the antenna, driving straight."
    else:
        yield (
            "Nothing says how far the openers are behind the antenna: they are drawn right under "
            "it. An audit asks the log, which often tells."
        )
    if not implement.tow:
        yield "No towed unit is given: the drill is drawn as mounted on the tractor."
    if implement.rows_known:
        rows = f"{implement.rows} rows"
        if width_known:
            rows += f", {_small(implement.row_spacing_m, units)} apart"
        if fed := implement.rows_per_tower:
            rows += f", {-(-implement.rows // fed)} towers of {fed}"
        if implement.section_rows:
            rows += f", {len(implement.section_rows)} sections"
        yield f"{rows}."
    else:
        yield "The number of rows is not given: openers are drawn as a dashed line."
    if implement.product_lag_s:
        yield f"Product needs {implement.product_lag_s:g} s from the meter to the openers."


def _small(length_m: float, units: UnitSystem) -> str:
    return f"{length_m / 0.0254:.3g} in" if units.name == "us" else f"{100 * length_m:.3g} cm"
