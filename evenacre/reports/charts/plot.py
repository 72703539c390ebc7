"""What all charts share: an SVG as wide as its place, whose letters keep their size.

Places run across in percent and down in CSS pixels, so that a chart is as legible on a phone as on
paper. Lines and areas lie in a nested drawing that is stretched; strokes and letters are not. The
look (letters, colours, dashes) is in ``look.css``, by class; nothing is told by colour alone.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib.resources import files

from markupsafe import Markup

from evenacre.language import number

# Light and dark. Good, less and more differ in lightness too, and in outline, sign or word.
PALETTE = {
    "good": ("#b5d8c6", "#2f6650"),
    "good-ink": ("#1b5e46", "#9fd8bd"),
    "less": ("#f3d9c0", "#6b3f22"),
    "less-ink": ("#a34a00", "#f0b27a"),
    "more": ("#8f7fb8", "#7d6bb0"),
    "more-ink": ("#43307a", "#cbbcf5"),
}
"""Colours of charts alone, by the end of the name they have in ``look.css``."""

_PAGE = {"ink": "#17191c", "soft": "#55585c", "line": "#c9c5ba", "paper": "#ffffff"}
_BAR = 14  # CSS pixels
_LETTERS = 42  # of the words above bars that have room on a phone
_LONGEST = 0.55  # of the width that the longest bar takes: its figure stands behind it
_FINE = 1000  # of the stretched drawing, either way
_LINE = 18  # of words
_LETTER = 6.6  # pixels that a letter of them takes, about

Place = tuple[float, float]
"""In shares, from the lower left."""


@dataclass(frozen=True)
class Sign:
    """A line of the legend: a class of the look, and what it means."""

    kind: str
    words: str
    line: bool = False  # rather than ground
    mark: str = ""  # a letter that stands for it


@dataclass(frozen=True)
class Bar:
    """A bar of a row: its class, how long it is, and the figure behind it."""

    kind: str
    value: float
    text: str
    mark: float | None = None  # a line across it, such as what was wanted


@dataclass
class Drawing:
    """An SVG in the making, so high; its words lie over its lines, whichever came first."""

    height: float
    _parts: list[Markup | tuple[str, float, float, list[Place], bool]] = field(default_factory=list)
    _words: list[Markup] = field(default_factory=list)

    def _add(self, shape: str, *values: object) -> None:
        self._parts.append(Markup(shape).format(*values))

    def rect(self, kind: str, y: float, wide: float, high: float) -> None:
        """Add a rectangle from the left, ``wide`` in shares of the width."""
        shape = '<rect class="{}" x="0" y="{:.1f}" width="{:.2f}%" height="{:.1f}"/>'
        self._add(shape, kind, y, 100 * wide, high)

    def line(self, kind: str, x0: float, y0: float, x1: float, y1: float) -> None:
        """Add a straight line, across in shares."""
        shape = '<line class="{}" x1="{:.2f}%" y1="{:.1f}" x2="{:.2f}%" y2="{:.1f}"/>'
        self._add(shape, kind, 100 * x0, y0, 100 * x1, y1)

    def text(
        self, kind: str, x: float, y: float, text: str, *, anchor: str = "start", dx: int = 0
    ) -> None:
        """Add words, so many pixels beside a place."""
        shape = '<text class="{}" x="{:.2f}%" y="{:.1f}" dx="{}" text-anchor="{}">{}</text>'
        self._words.append(Markup(shape).format(kind, 100 * x, y, dx, anchor, text))

    def path(
        self, kind: str, top: float, high: float, places: list[Place], *, closed: bool = False
    ) -> None:
        """Add a line, or an area, in a band of the chart as wide as it is."""
        self._parts.append((kind, top, high, places, closed))

    def shapes(self, width: float | None = None) -> Markup:
        """All shapes: stretched to whatever width, or in pixels of one."""
        every = (p if isinstance(p, Markup) else _path(*p, width) for p in self._parts)
        return Markup("").join((*every, *self._words))


def _path(
    kind: str, top: float, high: float, places: list[Place], closed: bool, width: float | None
) -> Markup:
    wide, tall, above = (_FINE, _FINE, 0.0) if width is None else (width, high, top)
    points = [f"{wide * x:.1f} {above + tall * (1 - y):.1f}" for x, y in places]
    way = "M" + "L".join(points) + ("Z" if closed else "")
    if width is not None:
        return Markup('<path class="{}" d="{}"/>').format(kind, way)
    return Markup(
        '<svg x="0" y="{:.1f}" width="100%" height="{:.1f}" viewBox="0 0 {} {}" '
        'preserveAspectRatio="none"><path class="{}" d="{}" vector-effect="non-scaling-stroke"/>'
        "</svg>"
    ).format(top, high, _FINE, _FINE, kind, way)


@dataclass(frozen=True)
class Chart:
    """A figure: what is to be learned from it, and the drawing.

    Attributes
    ----------
    title : str
        What is to be learned.
    told : str
        All that it shows, for who does not see it.
    drawing : Drawing
    legend : tuple of Sign
    note : str
        What it leaves out, or how it is to be read.
    name : str
        Of its file, without an ending.
    """

    title: str
    told: str
    drawing: Drawing
    legend: tuple[Sign, ...] = ()
    note: str = ""
    name: str = ""

    @property
    def picture(self) -> Markup:
        """The SVG for a page that has the look, as wide as its place."""
        shape = (
            '<svg class="chart-picture" role="img" aria-label="{}" width="100%" height="{:.0f}">{}'
            "</svg>"
        )
        return Markup(shape).format(self.told, self.drawing.height, self.drawing.shapes())

    def alone(self, width: int = 640) -> str:
        """The SVG by itself, so many pixels wide, with title, legend and look."""
        words = textwrap.wrap(self.title, int(width / _LETTER) - 6)
        shapes = [
            Markup('<text class="figure" x="0" y="{}">{}</text>').format(14 + _LINE * n, line)
            for n, line in enumerate(words)
        ]
        top = _LINE * len(words) + 8
        shapes.append(
            Markup('<svg y="{}" width="{}" height="{:.0f}" overflow="visible">{}</svg>').format(
                top, width, self.drawing.height, self.drawing.shapes(width)
            )
        )
        foot = top + self.drawing.height + 6
        for n, sign in enumerate(self.legend):
            shapes.append(
                Markup(
                    '<g transform="translate(0 {:.0f})">{}<text x="36" y="13">{}</text></g>'
                ).format(foot + _LINE * n, swatch(sign), sign.words)
            )
        high = foot + _LINE * len(self.legend) + 4
        colours = _PAGE | {f"chart-{name}": pair[0] for name, pair in PALETTE.items()}
        style = re.sub(r"var\(--([\w-]+)\)", lambda found: colours[found[1]], look())
        return Markup(
            '<svg xmlns="http://www.w3.org/2000/svg" class="chart-picture" role="img" '
            'viewBox="-8 -4 {wide} {high:.0f}" width="{wide}" height="{high:.0f}">'
            "<title>{title}</title><desc>{told}</desc><style>{style}</style>"
            '<rect x="-8" y="-4" width="{wide}" height="{high:.0f}" fill="#ffffff"/>'
            "{shapes}</svg>\n"
        ).format(
            wide=width + 16,
            high=high + 8,
            title=self.title,
            told=self.told,
            style=Markup(style),
            shapes=Markup("").join(shapes),
        )


def swatch(sign: Sign) -> Markup:
    """What a sign of the legend looks like, 28 by 16 pixels."""
    if sign.mark:
        shape = '<text class="sign {}" x="14" y="14" text-anchor="middle">{}</text>'
        return Markup(shape).format(sign.kind, sign.mark)
    if sign.line:
        return Markup('<path class="{}" d="M1 8H27"/>').format(sign.kind)
    return Markup('<rect class="{}" x="1" y="2" width="26" height="12"/>').format(sign.kind)


def look() -> str:
    """The look of all charts, as CSS with names for colours."""
    return files("evenacre.reports.charts").joinpath("look.css").read_text(encoding="utf-8")


def page_style() -> Markup:
    """The look for a page, and its colours by light and by dark."""
    light, dark = (
        "".join(f"--chart-{name}:{pair[n]};" for name, pair in PALETTE.items()) for n in (0, 1)
    )
    return Markup(
        f":root{{{light}}}@media (prefers-color-scheme: dark){{:root{{{dark}}}}}"
        f"@media print{{:root{{{light}}}}}{look()}"
    )


def bars(
    title: str,
    rows: Sequence[tuple[str, Sequence[Bar]]],
    *,
    legend: tuple[Sign, ...] = (),
    note: str = "",
    name: str = "",
) -> Chart:
    """Draw rows of bars, each with its words above and a figure behind each bar."""
    most = max((max(b.value, b.mark or 0.0) for _, row in rows for b in row), default=0.0) or 1.0
    wrapped = [textwrap.wrap(words, _LETTERS, max_lines=2, placeholder=" …") for words, _ in rows]
    high = sum(
        _LINE * len(lines) + (_BAR + 4) * len(row) + 10
        for lines, (_, row) in zip(wrapped, rows, strict=True)
    )
    drawing, y = Drawing(high), 0.0
    for lines, (_, row) in zip(wrapped, rows, strict=True):
        for line in lines:
            drawing.text("words", 0.0, y + 14, line)
            y += _LINE
        y += 2
        for bar in row:
            end = wide = _LONGEST * bar.value / most
            drawing.rect(bar.kind, y, wide, _BAR)
            if bar.mark is not None:
                wanted = _LONGEST * bar.mark / most
                drawing.line("wanted", wanted, y - 3, wanted, y + _BAR + 3)
                end = max(wide, wanted)
            drawing.text("figure", end, y + _BAR - 2.5, bar.text, dx=6)
            y += _BAR + 4
        y += 8
    named = {sign.kind: f"{sign.words} " for sign in legend}
    told = "; ".join(
        f"{words}: {', '.join(named.get(b.kind, '') + b.text for b in row)}" for words, row in rows
    )
    return Chart(title, f"{title}. {told}.", drawing, legend, note, name)


def ticks(most: float, about: int = 4) -> list[float]:
    """Round values from 0 to a greatest one at most: steps of 1, 2 or 5 times a power of ten."""
    if not most > 0:
        return [0.0]
    power = 10.0 ** math.floor(math.log10(most / about))
    step = next(n * power for n in (1, 2, 5, 10) if most / (n * power) <= about + 1)
    return [round(n * step, 10) for n in range(int(most / step + 1e-9) + 1)]


def scale(
    drawing: Drawing, top: float, high: float, most: float, unit: str, *, right: bool = False
) -> None:
    """Draw lines across at round values; their figures stand on them, the unit at the topmost.

    Figures stand at the left, or at the ``right`` where the chart's own line begins at the left.
    """
    values = ticks(most)
    for value in values:
        y = top + high * (1 - value / most)
        drawing.line("grid", 0.0, y, 1.0, y)
        shown = number(value, ",g")
        words = f"{shown} {unit}" if value == values[-1] else shown
        if right and not value:  # where the line ends
            continue
        drawing.text("tick", float(right), y - 3, words, anchor="end" if right else "start")
