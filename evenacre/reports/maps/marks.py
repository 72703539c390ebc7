"""Marks of places to go back to: small flags on a staff whose foot stands at the place.

How sure a place is shows by the outline of its flag as well as by its colour, and is the same on
screen, on paper and in the legend.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from evenacre.language import mark, tr

FLAG = 20.0
"""Height of a flag; all lengths here are in pixels of the screen, or half points of a sheet."""
STAFF = 9.0
"""From the place up to the flag."""
_LETTER, _ROOM = 9.0, 11.0


@dataclass(frozen=True)
class Mark:
    """How one kind of place is marked.

    ``outline`` holds (share, reach, height) of each corner: a corner lies ``share`` times the
    width of the writing and ``reach`` away from the staff, and ``height`` times that of the flag
    above its lower edge.
    """

    label: str
    outline: tuple[tuple[float, float, float], ...]
    fill: str
    ink: str  # of the writing
    edge: str  # of outline and staff
    dashed: bool = False
    asks: bool = False  # a question mark follows the number

    def width(self, text: str) -> float:
        """How far a flag with some writing reaches from its staff."""
        across = self.across(text)
        return max(share * across + reach for share, reach, _ in self.outline)

    def across(self, text: str) -> float:
        """Width of the writing with its margins."""
        return _LETTER * len(self.writing(text)) + _ROOM

    def writing(self, text: str) -> str:
        """What stands on the flag."""
        return f"{text}?" if self.asks else text

    def corners(self, text: str) -> list[tuple[float, float]]:
        """Outline of a flag with some writing: x from the staff, y up from the place."""
        across = self.across(text)
        return [(share * across + reach, STAFF + FLAG * h) for share, reach, h in self.outline]


_CRIMSON, _GOLD, _NAVY = "#a50f2d", "#f7c64a", "#10233f"
_SQUARE = ((0, 0, 0), (1, 0, 0), (1, 0, 1), (0, 0, 1))
_NOTCHED = ((0, 0, 0), (1, 8, 0), (1, 0, 0.5), (1, 8, 1), (0, 0, 1))
_POINTED = ((0, 0, 0), (1, 0, 0), (1, 9, 0.5), (1, 0, 1), (0, 0, 1))

MARKS = {
    "sure": Mark(mark("surely bare"), _SQUARE, _CRIMSON, "#ffffff", _CRIMSON),
    "likely": Mark(mark("likely bare"), _NOTCHED, _GOLD, _NAVY, _NAVY),
    "look first": Mark(
        mark("look first"), _POINTED, "#ffffff", _NAVY, _NAVY, dashed=True, asks=True
    ),
    "": Mark(mark("bare by the log"), _SQUARE, "#ffffff", _CRIMSON, _CRIMSON),
}
"""By the standing of a place; the last where no chance is known."""


def mark_data() -> dict[str, Any]:
    """What the page's script draws marks from."""
    return {
        name: {
            "outline": m.outline,
            "fill": m.fill,
            "ink": m.ink,
            "edge": m.edge,
            "dashed": m.dashed,
            "asks": m.asks,
        }
        for name, m in MARKS.items()
    } | {"size": [FLAG, STAFF, _LETTER, _ROOM]}


def mark_picture(standing: str, text: str) -> Markup:
    """Draw a flag as SVG, for a legend or a list."""
    m = MARKS[standing]
    wide, tall = m.width(text) + 3, FLAG + STAFF + 2
    path = "L".join(f"{x + 1.5:g} {tall - 1 - y:g}" for x, y in m.corners(text))
    dash = Markup(' stroke-dasharray="4 2.5"') if m.dashed else ""
    return Markup(
        '<svg class="flag" viewBox="0 0 {wide:g} {tall:g}" width="{wide:g}" height="{tall:g}" '
        'aria-hidden="true"><path d="M1.5 {foot:g}V{top:g}" stroke="{edge}" stroke-width="2"/>'
        '<path d="M{path}Z" fill="{fill}" stroke="{edge}" stroke-width="1.5"{dash}/>'
        '<text x="{x:g}" y="{y:g}" fill="{ink}" text-anchor="middle">{text}</text></svg>'
    ).format(
        wide=wide,
        tall=tall,
        foot=tall,
        top=1,
        path=path,
        edge=m.edge,
        fill=m.fill,
        ink=m.ink,
        dash=dash,
        x=1.5 + m.across(text) / 2,
        y=tall - 1 - STAFF - FLAG / 2 + 5,
        text=m.writing(text),
    )


def marks_told(standings: set[str]) -> list[tuple[str, str]]:
    """Marks that are on a map, surest first, with their words."""
    return [(name, tr(m.label)) for name, m in MARKS.items() if name in standings]
