"""The sheet a printed map is drawn on: title, outline, scale bar, north arrow, legend.

It is written as SVG, in points from the upper left; PNG is drawn from that.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any
from xml.sax.saxutils import escape

import geopandas as gpd
import numpy as np
import shapely

from evenacre.arrays import FloatArray
from evenacre.geo.overlay import outlines
from evenacre.model.audit_result import AuditResult
from evenacre.reports import figure_text
from evenacre.reports.maps.marks import Mark
from evenacre.reports.printed_ground import PrintedGround
from evenacre.reports.writers.fonts import width_of
from evenacre.reports.writers.raster import raster
from evenacre.shown_text import shown
from evenacre.units.display import UnitSystem

# Colours differ in lightness as well as in hue, and every one goes with a hatch, an outline or a
# number, so that a map still reads in grey or by a colour-blind eye.
ONCE = "#cfe3d2"
TWICE = "#e9a23b"
MORE = "#6d2e8c"
SKIP = "#c4122f"
OUTSIDE = "#4a5a6a"
NOTHING = "#b3afa8"
HEADLAND = "#1d4e89"
SETBACK = "#006d8f"
BOUNDARY = "#1a1a1a"
PASS = "#2b5d7d"
ZONE = "#5b3a1e"

_INCH = 72.0
_DETAIL_M = 0.1  # what a printed map can show


@dataclass(frozen=True)
class Format:
    """How large a sheet is, in inches but for the letters, which are in points."""

    wide: float
    tallest: float  # of the drawing itself
    # For the words around it
    title: float
    strip: float
    legend: float
    points: float
    dpi: int
    columns: int  # of the legend
    shortest: float = 2.0
    titled: bool = True


WHOLE_PAGE = Format(
    wide=8.0, tallest=11.0, title=0.7, strip=0.65, legend=0.85, points=10, dpi=130, columns=3
)
BESIDE_FIGURES = Format(
    wide=3.4,
    tallest=2.7,
    title=0.15,
    strip=0.45,
    legend=0.75,
    points=6.5,
    dpi=220,
    columns=2,
    shortest=1.2,
    titled=False,
)
"""On part of a page that gives the title itself."""
BESIDE_MAP = replace(
    BESIDE_FIGURES, wide=2.05, tallest=1.9, strip=0.4, legend=0.78, points=5.5, columns=1
)
"""Beside another map, on less than a third of the width of a page."""


def ground(
    facecolor: str, edgecolor: str | None = None, linewidth: float = 0.0, **more: str
) -> dict[str, Any]:
    """Style of ground that is filled."""
    return {"facecolor": facecolor, "edgecolor": edgecolor, "linewidth": linewidth, **more}


UNWORKABLE = ground("#d8d4cc", OUTSIDE, 0.6, hatch="\\\\")


@dataclass(frozen=True)
class Drawn:
    """A finished sheet, either way."""

    svg: bytes  # its words stay text
    dpi: int

    @property
    def png(self) -> bytes:
        """As a picture."""
        return raster(self.svg.decode(), self.dpi)


@dataclass(frozen=True)
class Entry:
    """A line of the legend; ``sample`` draws what it is about: given its left end and middle."""

    label: str
    sample: Callable[[float, float], str] = lambda _x, _y: ""


@dataclass
class Sheet:
    """A map that is being drawn, and the entries of its legend: of what there is to see.

    Attributes
    ----------
    page : (float, float)
        Width and height in points.
    room : (float, float, float, float)
        Left, top, right and bottom of the ground on it.
    corner : (float, float)
        Upper left corner of the ground in the plane, metres.
    scale : float
        Points a metre.
    """

    page: tuple[float, float]
    room: tuple[float, float, float, float]
    corner: tuple[float, float]
    scale: float
    format: Format = WHOLE_PAGE
    title: str = ""
    legend: list[Entry] = field(default_factory=list)
    _shapes: list[tuple[float, str]] = field(default_factory=list)
    _hatches: dict[tuple[str, str, str], str] = field(default_factory=dict)

    @property
    def points(self) -> float:
        """Size of the letters."""
        return self.format.points

    def head(self, subtitle: str, strip: float, units: UnitSystem) -> None:
        """Set the title, and the scale and north about a line so far below the upper edge."""
        (wide, _), size = self.page, self.points
        lines = ((self.title, 0.12, 13), (subtitle, 0.42, 10)) if self.format.titled else ()
        for text, inches, points in lines:
            short = textwrap.shorten(text, 75, placeholder=" ...")
            self._add(9, _text(0.02 * wide, _INCH * inches + 0.76 * points, short, points))
        per_metre = units.length.per_si
        length = _round_down(wide / self.scale * per_metre / 4)
        x, bar = 1.5 * _SIDE * wide, length / per_metre * self.scale
        words = f"{length} {units.length.word}"
        self._add(
            9,
            f'<path d="M{x:.2f},{strip - 0.75 * size:.2f}h{bar:.2f}" stroke="black" '
            f'stroke-width="{0.45 * size:g}"/>'
            + _text(x + bar / 2, strip + 0.75 * size, words, size, "middle"),
        )
        x, tall = 0.95 * wide, 0.8 * _INCH * self.format.strip / 2
        tip, foot = strip - tall, strip + tall - 1.1 * size
        self._add(
            9,
            f'<path d="M{x:.2f},{foot:.2f}V{tip + 3:.2f}" stroke="black" stroke-width="1.6"/>'
            f'<path d="M{x:.2f},{tip:.2f}l3,5.5h-6Z"/>'
            + _text(x, strip + tall, "N", 1.2 * size, "middle", bold=True),
        )

    def fill(self, area: gpd.GeoSeries, label: str = "", order: float = 1.0, **style: Any) -> None:
        """Fill ground; without a label it is not in the legend."""
        if not len(area):
            return
        if way := self._way(rings(area), closed=True):
            self._add(order, self._filled(way, **style))
        if label:
            self.legend.append(self.patch(label, **style))

    def patch(self, label: str, **style: Any) -> Entry:
        """What filled ground is in the legend."""
        wide, tall = _SAMPLE[0] * self.points, _SAMPLE[1] * self.points

        def sample(x: float, y: float) -> str:
            way = f"M{x:.2f},{y - tall / 2:.2f}h{wide:.2f}v{tall:.2f}h{-wide:.2f}Z"
            return self._filled(way, **style)

        return Entry(label, sample)

    def draw(
        self, lines: Iterable[Any], label: str, order: float, *, linestyle: Any, **style: Any
    ) -> None:
        """Draw lines of one colour and width."""
        chains = np.array(list(lines), dtype=object)
        if not len(chains):
            return
        self._add(order, _stroke(self._way(chains), linestyle=linestyle, **style))
        wide = _SAMPLE[0] * self.points

        def sample(x: float, y: float) -> str:
            return _stroke(f"M{x:.2f},{y:.2f}h{wide:.2f}", linestyle=linestyle, **style)

        self.legend.append(Entry(label, sample))

    def spot(self, x: float, y: float, order: float, label: str = "", **sign: Any) -> None:
        """Set a sign at a place of the plane; without a label it is not in the legend."""
        self._add(order, _sign(*self.in_points(np.array([[x, y]]))[0], **sign))
        if label:
            self.told(label, **sign)

    def told(self, label: str, **sign: Any) -> None:
        """Put a sign into the legend."""
        half = _SAMPLE[0] * self.points / 2
        self.legend.append(Entry(label, lambda x, y: _sign(x + half, y, **sign)))

    def label(self, place: FloatArray, off: FloatArray, text: str, size: float, ink: str) -> None:
        """Write so many points beside a place of the plane, moved where it would leave the map."""
        half = np.array([width_of(text, size), size]) / 2 + _MARGIN
        left, top, right, bottom = self.room
        x, y = np.clip(
            self.in_points(place[None])[0] + off,
            [left + half[0], top + half[1]],
            [right - half[0], bottom - half[1]],
        )
        self._add(7, _text(x, y + _MIDDLE * size, text, size, "middle", ink=ink, halo=3.5))

    def in_points(self, xy_m: FloatArray) -> FloatArray:
        """Where places (n, 2) of the plane lie on the sheet."""
        return (xy_m - self.corner) * (self.scale, -self.scale) + self.room[:2]

    def flag(
        self,
        place: FloatArray,
        corners: Sequence[tuple[float, float]],
        mark: Mark,
        scale: float,
        text: str,
        across: float,
    ) -> None:
        """Draw a mark: corners are counted from its place, up, so many times ``scale`` points."""
        (x, y), ys = place, [y for _, y in corners]
        at = [(x + scale * dx, y - scale * dy) for dx, dy in corners]
        outline = "L".join(f"{u:.2f},{v:.2f}" for u, v in at)
        staff = f'<path d="M{x:.2f},{y:.2f}v{-scale * max(ys, key=abs):.2f}"'
        flag = f'<path d="M{outline}Z" fill="{mark.fill}"'
        halo = f' fill="none" stroke="white" stroke-width="{_HALO}"/>'
        dashes = ' stroke-dasharray="2.7 1.44"' if mark.dashed else ""
        self._add(
            7,
            f'{staff}{halo}{staff} stroke="{mark.edge}" stroke-width="1.1"/>'
            f'<path d="M{outline}Z"{halo}'
            f'{flag} stroke="{mark.edge}" stroke-width="0.9"{dashes}/>',
        )
        size, middle = 14 * scale, y - scale * (min(ys) + max(ys)) / 2 + _MIDDLE * 14 * scale
        self._add(
            8, _text(x + scale * across / 2, middle, text, size, "middle", bold=True, ink=mark.ink)
        )

    def png(self, columns: int | None = None) -> bytes:
        """Set the legend at the foot, in columns, and draw the sheet."""
        return self.drawn("", columns).png

    def drawn(self, description: str, columns: int | None = None) -> Drawn:
        """Set the legend; the description is for who cannot see the sheet."""
        wide, tall = self.page
        legend = self._legend(columns or self.format.columns)
        ground = "\n".join(shape for _, shape in sorted(self._shapes, key=lambda s: s[0]))
        hatches = "".join(_pattern(*kind, name) for kind, name in self._hatches.items())
        svg = (
            '<?xml version="1.0" encoding="utf-8"?>\n'
            '<svg role="img" xmlns="http://www.w3.org/2000/svg" '
            f'width="{wide:.2f}pt" height="{tall:.2f}pt" viewBox="0 0 {wide:.2f} {tall:.2f}" '
            f'font-family="{_LETTERS}" stroke-linejoin="round">\n'
            f"<title>{_written(self.title)}</title><desc>{_written(description)}</desc>\n"
            f'<defs>{hatches}</defs>\n<rect width="100%" height="100%" fill="white"/>\n'
            f'<g id="map">\n{ground}\n</g>\n{legend}\n</svg>\n'
        )
        return Drawn(svg.encode(), self.format.dpi)

    def _add(self, order: float, shape: str) -> None:
        self._shapes.append((order, shape))

    def _way(self, chains: np.ndarray, *, closed: bool = False) -> str:
        """Lines, or rings, of the plane as a path."""
        xy, owner = shapely.get_coordinates(chains, return_index=True)
        if not len(xy):
            return ""
        places = [f"{x},{y}" for x, y in np.round(self.in_points(xy), 2).tolist()]
        starts = [*np.flatnonzero(np.diff(owner, prepend=-1)).tolist(), len(places)]
        if closed:  # the last place of a ring is its first
            return "".join(f"M{' '.join(places[a : b - 1])}Z" for a, b in pairwise(starts))
        return "".join(f"M{' '.join(places[a:b])}" for a, b in pairwise(starts))

    def _filled(
        self,
        way: str,
        *,
        facecolor: str,
        edgecolor: str | None = None,
        linewidth: float = 0.0,
        hatch: str = "",
        linestyle: Any = "solid",
    ) -> str:
        edge = _edge(edgecolor, linewidth, linestyle) if edgecolor and linewidth else ""
        fill = facecolor
        if hatch:
            kind = (hatch, edgecolor or "black", facecolor)
            fill = f"url(#{self._hatches.setdefault(kind, f'hatch{len(self._hatches)}')})"
        return f'<path d="{way}" fill="{fill}" fill-rule="evenodd"{edge}/>'

    def _legend(self, columns: int) -> str:
        parts = [c for c in np.array_split(np.arange(len(self.legend)), columns) if len(c)]
        labels = [[self.legend[i].label for i in part] for part in parts]
        beside = _SAMPLE[0] + 0.8  # of a sample and the way to its words, in letters
        widths = [beside + max(width_of(text, 1.0) for text in texts) for texts in labels]
        whole = self.points * (sum(widths) + _APART * (len(widths) - 1))
        room = self.page[0] - 2 * _SIDE * self.page[0]
        size = self.points * min(1.0, room / whole) if whole else self.points
        foot, rows = self.page[1] - 1.5 * self.points, max(map(len, parts), default=0)
        x, made = _SIDE * self.page[0] + 0.4 * self.points, []
        for part, wide in zip(parts, widths, strict=True):
            for row, i in enumerate(part):
                y, entry = foot - _PITCH * self.points * (rows - 1 - row), self.legend[i]
                made.append(entry.sample(x, y))
                made.append(_text(x + beside * self.points, y + _MIDDLE * size, entry.label, size))
            x += size * (wide + _APART)
        return "\n".join(made)


_LETTERS = "DejaVu Sans, Verdana, Geneva, Arial, Helvetica, sans-serif"
_SIDE = 0.01  # of the width of a sheet
_SAMPLE = (2.4, 1.1)  # width and height in the legend, in letters
_APART, _PITCH = 2.0, 1.6  # columns and lines of the legend, likewise
_MIDDLE = 0.36  # of a letter's size: from the middle of a capital to its foot
_MARGIN = 1.0  # around a label
_HALO = 2.4
_DASHES = {"dashed": (3.7, 1.6), "dashdot": (6.4, 1.6, 1.0, 1.6)}  # times the width of a line
_SIGNS = {
    "circle": "M-.5,0a.5,.5 0 1 0 1,0a.5,.5 0 1 0 -1,0Z",
    "square": "M-.5,-.5h1v1h-1Z",
    "diamond": "M0,-.71L.71,0 0,.71 -.71,0Z",
    "cross": "M-.25,-.5L0,-.25 .25,-.5 .5,-.25 .25,0 .5,.25 .25,.5 0,.25 -.25,.5 -.5,.25 -.25,0 "
    "-.5,-.25Z",
    "arrow": "M.5,0L-.5,-.5V.5Z",
}
"""Of size 1, about their place."""
# Points a side: what is repeated of a hatch. Whole pixels of any picture, or it would show.
_TILE = 72.0


def _written(text: str) -> str:
    return escape(shown(text))


def _text(
    x: float,
    y: float,
    text: str,
    size: float,
    anchor: str = "start",
    *,
    bold: bool = False,
    ink: str = "black",
    halo: float = 0.0,
) -> str:
    weight = ' font-weight="700"' if bold else ""
    around = ""
    if halo:
        around = f' stroke="white" stroke-width="{halo}" paint-order="stroke"'
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" text-anchor="{anchor}" '
        f'fill="{ink}"{weight}{around}>{_written(text)}</text>'
    )


def _edge(colour: str, width: float, linestyle: Any) -> str:
    dashes = _DASHES.get(linestyle) if isinstance(linestyle, str) else linestyle[1]
    array = " ".join(f"{width * part:g}" for part in dashes or ())
    dashed = f' stroke-dasharray="{array}"' if array else ""
    return f' stroke="{colour}" stroke-width="{width:g}"{dashed}'


def _stroke(way: str, *, color: str, linewidth: float, linestyle: Any) -> str:
    return f'<path d="{way}" fill="none"{_edge(color, linewidth, linestyle)}/>'


def _sign(
    x: float,
    y: float,
    *,
    shape: str,
    size: float,
    fill: str,
    edge: str = "none",
    width: float = 0.0,
    turn: float = 0.0,
) -> str:
    turned = f" rotate({-math.degrees(turn):.1f})" if turn else ""
    return (
        f'<path d="{_SIGNS[shape]}" transform="translate({x:.2f} {y:.2f}){turned} '
        f'scale({size:g})" fill="{fill}" stroke="{edge}" stroke-width="{width / size:g}"/>'
    )


def _pattern(hatch: str, ink: str, ground: str, name: str) -> str:
    """A hatch as a tile: signs that are there more often lie closer."""
    sign, many = hatch[0], 6 * len(hatch)
    step, ways = _TILE / many, []
    slants = [2 * k * step for k in range(many + 1)]
    if sign in "/x":
        ways += [f"M{x:g},0L{x - _TILE:g},{_TILE:g}" for x in slants]
    if sign in "\\x":
        ways += [f"M{x - _TILE:g},0L{x:g},{_TILE:g}" for x in slants]
    if sign == "-":
        ways += [f"M0,{(k + 0.5) * step:g}h{_TILE:g}" for k in range(many)]
    style = f'fill="none" stroke="{ink}" stroke-width="0.5"'
    if sign in "o.":
        r = step * (0.2 if sign == "o" else 0.1)
        ring = f"a{r:g},{r:g} 0 1 0 {2 * r:g},0a{r:g},{r:g} 0 1 0 {-2 * r:g},0Z"
        ways += [
            f"M{(column + 0.25 + row % 2 / 2) * step - r:g},{(row + 0.5) * step:g}{ring}"
            for row in range(many)
            for column in range(many)
        ]
        style = f'fill="{ink}"' if sign == "." else style
    size = f'width="{_TILE:g}" height="{_TILE:g}"'
    return (
        f'<pattern id="{name}" {size} patternUnits="userSpaceOnUse">'
        f'<rect {size} fill="{ground}"/><path d="{"".join(ways)}" {style}/></pattern>'
    )


def rings(area: gpd.GeoSeries) -> np.ndarray:
    """Outlines of ground, to the detail a printed map can show."""
    parts = shapely.get_parts(area.to_numpy())
    polygons = parts[(shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)]
    return outlines(polygons, _DETAIL_M)[0]


def blank(result: AuditResult, title: str, units: UnitSystem, format: Format = WHOLE_PAGE) -> Sheet:
    """Lay out a map of the field with its outline, and a scale bar and north arrow below it."""
    frames = (result.layers[n] for n in ("field", "outside", "cover"))
    boxes = np.array([f.total_bounds for f in frames if len(f)])
    box = (*boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0))
    ground = PrintedGround(result, units).text("boundary_area_m2")
    subtitle = ", ".join(t for t in (figure_text.day(result.date), ground) if t)
    return outlined(result.layers["field"].geometry, box, title, subtitle, units, format)


def outlined(
    outline: gpd.GeoSeries,
    box: Sequence[float],
    title: str,
    subtitle: str,
    units: UnitSystem,
    format: Format = WHOLE_PAGE,
) -> Sheet:
    """Lay out a map of what lies in a box (left, bottom, right, top), with a field's outline."""
    left, bottom, right, top = box
    margin = 0.02 * max(right - left, top - bottom, 1.0)
    wide_m, tall_m = right - left + 2 * margin, top - bottom + 2 * margin
    height = float(np.clip(format.wide * tall_m / wide_m, format.shortest, format.tallest))
    page = _INCH * format.wide, _INCH * (format.title + height + format.strip + format.legend)
    scale = min(page[0] / wide_m, _INCH * height / tall_m)
    # What the room is longer or wider than the ground lies on both sides of it.
    x, y = (page[0] - scale * wide_m) / 2, (_INCH * height - scale * tall_m) / 2
    above = _INCH * format.title
    room = (x, above + y, x + scale * wide_m, above + y + scale * tall_m)
    made = Sheet(page, room, (left - margin, top + margin), scale, format, title)
    made.fill(outline, order=5, **ground("none", BOUNDARY, 1.5))
    strip = above + _INCH * (height + format.strip / 2)
    made.head(subtitle, strip, units)
    return made


def _round_down(value: float) -> int:
    """Greatest of 1, 2, 5, 10, 20 ... that does not exceed a value of at least 1."""
    power = 10 ** int(np.floor(np.log10(max(value, 1.0))))
    return int(max(n for n in (1, 2, 5) if n * power <= max(value, 1.0)) * power)


def mark_entry(mark: Mark, label: str, points: float) -> Entry:
    """A mark in the legend, with letters of that size."""
    corners = np.array(mark.corners("1"))
    about = corners - np.vstack([[0.0, 0.0], corners]).mean(axis=0)
    about *= 0.65 * points / np.abs(about).max()

    def sample(x: float, y: float) -> str:
        at = about * (1, -1) + (x + _SAMPLE[0] * points / 2, y)
        outline = "L".join(f"{u:.2f},{v:.2f}" for u, v in at.tolist())
        return f'<path d="M{outline}Z" fill="{mark.fill}" stroke="{mark.edge}"/>'

    return Entry(label, sample)
