"""The drill from above, to scale, as SVG: what is to be measured is marked on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from xml.etree import ElementTree as ET

from evenacre.desk.rig import Body, Measure, Rig
from evenacre.units.display import UnitSystem

# All in pixels.
_MARGIN, _LINE, _TICK = 10, 19, 4
_LANES = (16, 38)  # beside the drill
_LETTER = 6.4  # a usual one of the labels
_LABELS = (130, 320)  # their column, at least and at most
_ROOM_BELOW = 46
_BELOW = {"width": 26, "row_spacing": 14}  # the openers
_FINEST_ROWS = 3
_WHEELS_M = {"tractor": (0.9, 1.1, 0.5), "cart": (0.5, 1.0, 0.4)}  # half long, from middle, wide
_SCALES = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


def drawing(rig: Rig, units: UnitSystem, wide: int, high: int) -> str:
    """Draw a drill into a place so many pixels wide and, if it can be, no higher than that."""
    return _Drawing(rig, units, wide, high).made()


class _Drawing:
    def __init__(self, rig: Rig, units: UnitSystem, wide: int, high: int) -> None:
        self.rig, self.units = rig, units
        self.noted = _noted(rig)
        longest = max(len(text) for _, text, _ in self.noted)
        labels = min(max(longest * _LETTER + 8, _LABELS[0]), _LABELS[1], wide * 0.6)
        self.front_m, back_m = rig.ahead_m
        half_m = max(rig.implement.width_m / 2, abs(rig.antenna[0]), 1.4)
        room = wide - labels - _LANES[1] - 14 - 2 * _MARGIN
        long_m = self.front_m - back_m
        tallest = max(high - _ROOM_BELOW - 2 * _MARGIN, 60)
        self.scale = min(room / (2 * half_m), tallest / long_m)
        # Where it is the height that bounds it, the drill stands in the middle of what is left.
        self.middle = _MARGIN + room / 2
        self.edge = self.middle + half_m * self.scale
        self.column = self.edge + _LANES[1] + 14
        self.wide = wide
        body = max(long_m * self.scale, len(self.noted) * _LINE)
        self.top = _MARGIN + (body - long_m * self.scale) / 2
        self.high = math.ceil(body + 2 * _MARGIN + _ROOM_BELOW)
        self.svg = ET.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "class": "rig",
                "viewBox": f"0 0 {wide} {self.high}",
                "width": str(wide),
                "height": str(self.high),
                "role": "img",
                "aria-label": "The drill from above, to scale; in words below.",
            },
        )

    def made(self) -> str:
        rig = self.rig
        for body in rig.bodies:
            self._body(body)
        self._drill()
        for one in rig.bins:
            self._box(self.svg, "bin", 0.9, one.front_m, one.back_m)
        antenna = self._at(*rig.antenna)
        self._add(self.svg, "circle", "antenna", cx=antenna[0], cy=antenna[1], r=5)
        for measure in rig.measures:
            self._measure(measure)
        self._labels()
        self._scale_bar()
        return ET.tostring(self.svg, encoding="unicode")

    # What there is

    def _body(self, body: Body) -> None:
        group = self._group(f"{body.kind} assumed")
        if body.pin_m is not None:
            self._line(group, "tongue", self._at(0, body.pin_m), self._at(0, body.front_m))
            self._pin(group, body.pin_m)
        long, out, thick = _WHEELS_M[body.kind]
        self._wheels(group, body.axle_m, long, out, thick)
        if body.kind == "tractor":
            self._wheels(group, body.axle_m + 2.6, 0.55, 0.95, 0.35)
        self._box(group, "", body.half_m, body.front_m, body.back_m)

    def _drill(self) -> None:
        rig, implement = self.rig, self.rig.implement
        group = self._group("drill" if rig.width_known else "drill assumed")
        half = implement.width_m / 2
        if rig.pin_m > rig.frame_m:
            self._line(group, "tongue", self._at(0, rig.pin_m), self._at(0, rig.frame_m))
        if implement.tow:
            self._pin(group, rig.pin_m)
            self._wheels(group, rig.axle_m, 0.4, min(1.2, half), 0.3)
        self._box(group, "frame", half, rig.frame_m, rig.tool_m)
        rows = implement.rows if implement.rows_known else 0
        tool = self._at(-half, rig.tool_m), self._at(half, rig.tool_m)
        self._line(group, "tool" if rows else "tool assumed", *tool)
        each = implement.row_spacing_m
        if rows and each * self.scale >= _FINEST_ROWS:
            marks = "".join(
                f"M{x:.1f} {y:.1f}v6" for x, y in
                (self._at(-half + (n + 0.5) * each, rig.tool_m) for n in range(rows))
            )  # fmt: skip
            ET.SubElement(group, "path", {"class": "openers", "d": marks, "data-box": "rows"})
        edge = -half
        for count in implement.section_rows[:-1] if rows else ():
            edge += count * each
            x, y = self._at(edge, rig.tool_m)
            self._line(group, "section", (x, y - 4), (x, y + 10))
        fed = implement.rows_per_tower if rows else None
        for first in range(0, rows, fed) if fed else ():
            last = min(first + (fed or 0), rows)
            x, y = self._at(-half + (first + last) / 2 * each, rig.tool_m + 0.3)
            self._add(group, "circle", "tower", cx=x, cy=y, r=4)

    # What is to be measured

    def _measure(self, one: Measure) -> None:
        group = self._group("measure" if one.given else "measure assumed", one.box)
        if one.lane == 2:
            (x1, y1), (x2, y2) = self._at(*one.start), self._at(*one.end)
            below = _BELOW.get(one.box, 0)
            self._span(group, (x1, y1 + below), (x2, y2 + below), upright=False)
            return
        x = self.edge + _LANES[one.lane]
        (_, y1), (_, y2) = self._at(*one.start), self._at(*one.end)
        for y in (y1, y2):
            self._line(group, "guide", (self.middle, y), (x, y))
        self._span(group, (x, y1), (x, y2), upright=True)

    def _span(
        self,
        group: ET.Element,
        start: tuple[float, float],
        end: tuple[float, float],
        *,
        upright: bool,
    ) -> None:
        """A line with a stroke across each end."""
        across = (_TICK, 0) if upright else (0, _TICK)
        self._line(group, "", start, end)
        for x, y in (start, end):
            ends = (x - across[0], y - across[1]), (x + across[0], y + across[1])
            self._line(group, "", *ends)

    def _labels(self) -> None:
        """Names and figures, one below the other, each led to what it is about."""
        places = [self._leads_to(about) for _, _, about in self.noted]
        order = sorted(range(len(places)), key=lambda n: places[n][1])
        lines = spread([places[n][1] for n in order], _LINE, _MARGIN, self.high - 20)
        for line, n in zip(lines, order, strict=True):
            (box, text, about), (x, y) = self.noted[n], places[n]
            given = not isinstance(about, Measure) or about.given
            group = self._group("named" if given else "named assumed", box)
            self._line(group, "lead", (x, y), (self.column - 4, line))
            most = int((self.wide - self.column) / _LETTER)
            self._text(group, self.column, line + 4, _cut(text, most))

    def _leads_to(self, about: Measure | tuple[float, float]) -> tuple[float, float]:
        if not isinstance(about, Measure):
            return self._at(*about)
        (x1, y1), (x2, y2) = self._at(*about.start), self._at(*about.end)
        if about.box in _BELOW:
            return x2, y2 + _BELOW[about.box]
        if about.lane == 2:
            return (x1 + x2) / 2, (y1 + y2) / 2
        return self.edge + _LANES[about.lane], (y1 + y2) / 2

    def _scale_bar(self) -> None:
        length = self.units.length
        fitting = [one for one in _SCALES if self._long(one) <= 90]
        bar = max(fitting, default=_SCALES[0])
        group, y = self._group("scale"), self.high - 8
        self._span(group, (_MARGIN, y), (_MARGIN + self._long(bar), y), upright=False)
        words = f"{bar:g} {length.label}, driving ↑"
        self._text(group, _MARGIN + self._long(bar) + 8, y + 4, words)

    def _long(self, shown: float) -> float:
        return shown / self.units.length.per_si * self.scale

    # Shapes

    def _at(self, right_m: float, ahead_m: float) -> tuple[float, float]:
        x = self.middle + right_m * self.scale
        return round(x, 1), round(self.top + (self.front_m - ahead_m) * self.scale, 1)

    def _group(self, kind: str, box: str = "") -> ET.Element:
        return ET.SubElement(self.svg, "g", {"class": kind, **({"data-box": box} if box else {})})

    def _add(self, group: ET.Element, tag: str, kind: str, **values: float) -> None:
        shape = ET.SubElement(group, tag, {name: f"{v:.1f}" for name, v in values.items()})
        if kind:
            shape.set("class", kind)

    def _line(
        self, group: ET.Element, kind: str, start: tuple[float, float], end: tuple[float, float]
    ) -> None:
        self._add(group, "line", kind, x1=start[0], y1=start[1], x2=end[0], y2=end[1])

    def _box(
        self, group: ET.Element, kind: str, half_m: float, front_m: float, back_m: float
    ) -> None:
        x, y = self._at(-half_m, front_m)
        high = (front_m - back_m) * self.scale
        wide = 2 * half_m * self.scale
        self._add(group, "rect", kind, x=x, y=y, width=wide, height=high)

    def _wheels(
        self, group: ET.Element, axle_m: float, long_m: float, out_m: float, wide_m: float
    ) -> None:
        for side in (-1, 1):
            x, y = self._at(side * out_m - wide_m / 2, axle_m + long_m)
            size = wide_m * self.scale, 2 * long_m * self.scale
            self._add(group, "rect", "wheel", x=x, y=y, width=size[0], height=size[1])

    def _pin(self, group: ET.Element, pin_m: float) -> None:
        x, y = self._at(0, pin_m)
        self._add(group, "circle", "pin", cx=x, cy=y, r=3)

    def _text(self, group: ET.Element, x: float, y: float, words: str) -> None:
        shape = ET.SubElement(group, "text", {"x": f"{x:.1f}", "y": f"{y:.1f}"})
        shape.text = words


def _noted(rig: Rig) -> list[tuple[str, str, Measure | tuple[float, float]]]:
    """What is named beside the drill: box, words and what it is about."""
    found: list[tuple[str, str, Measure | tuple[float, float]]] = [
        (one.box, f"{one.label}: {one.said}", one) for one in rig.measures
    ]
    for one in rig.bins:
        middle = (0.9, (one.front_m + one.back_m) / 2)
        found.append((one.box, f"{one.name}: {one.said}", middle))
    return found


def spread(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Places near those wanted (ascending), so far apart that none covers the next.

    They stay above ``low`` and, where there is room for all, below ``high``.
    """
    placed: list[float] = []
    for at in wanted:
        placed.append(max(at, placed[-1] + apart if placed else low + apart / 2))
    limit = max(high - apart / 2, low + apart * (len(placed) - 0.5))
    for number in reversed(range(len(placed))):
        placed[number] = min(placed[number], limit)
        limit = placed[number] - apart
    return placed


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"
