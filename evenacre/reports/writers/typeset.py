"""Documents of words, tables and pictures as PDF that is tagged for screen readers.

What people named reaches the page as data and is never run: the template is fixed, reads no
file, and takes one JSON text.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Literal, TypeAlias

import typst

from evenacre.language import date_text, now_spoken, tr
from evenacre.reports.writers.as_html import PageTable
from evenacre.reports.writers.fonts import faces, fonts_folder
from evenacre.shown_text import shortened, shown

Size: TypeAlias = Literal["us-letter", "a4"]
_LONGEST = 400
"""Letters of one text; of a longer one the middle is left out, so that every row fits a page."""
_LONGEST_WIDE = 1200
"""Of a sentence that has the width of a page, or most of it."""
_FEW = 2  # columns, of which each is wide
_FOOT = 100
"""Of the foot, which stays on one line."""
_TEMPLATE = Path(__file__).with_name("typeset.typ")
# Of countries where letter paper is in use: Unicode CLDR, supplemental data, measurementData,
# paperSize "US-Letter".
_LETTER_CURRENCIES = frozenset(
    ("BZD", "CAD", "CLP", "COP", "CRC", "GTQ", "MXN", "NIO", "PAB", "PHP", "USD", "SVC", "VES")
)


@dataclass(frozen=True)
class Lines:
    """Sentences below a heading, if it has one; ``marked`` ones are to be read first."""

    title: str
    lines: Sequence[str]
    marked: bool = False


@dataclass(frozen=True)
class Small:
    """What is there to be looked up, one after the other in small letters."""

    texts: Sequence[str]


@dataclass(frozen=True)
class Blanks:
    """Lines to be filled in by hand, several on one line of the page."""

    labels: Sequence[Sequence[str]]


@dataclass(frozen=True)
class Picture:
    """A picture beside other parts; without any, as wide as there is room."""

    image: bytes  # PNG or SVG
    alt: str  # for who cannot see it
    beside: Sequence[Part] = ()
    title: str = ""  # above it


@dataclass(frozen=True)
class Row:
    """Parts side by side."""

    parts: Sequence[Part]
    shares: Sequence[int] = (1, 1)  # of the width, one for each column


@dataclass(frozen=True)
class Section:
    """Parts that belong together, under a heading of their own."""

    title: str
    about: str
    parts: Sequence[Part]
    new_page: bool = False


Part: TypeAlias = PageTable | Lines | Small | Blanks | Picture | Row | Section


@dataclass(frozen=True)
class Paper:
    """A document of one page or more."""

    above: str  # in small letters, over the title
    title: str
    about: str
    parts: Sequence[Part]
    foot: str  # of every page
    points: float = 8  # of its letters


def paper_size(
    units: str, currency: str = "", asked: Literal["letter", "a4"] | None = None
) -> Size:
    """Letter with US units and in countries where it is in use, else A4; or what was asked for."""
    usual = units == "us" or currency in _LETTER_CURRENCIES
    return "us-letter" if asked == "letter" or (usual and asked is None) else "a4"


def typeset(paper: Paper, *, size: Size, made: datetime) -> bytes:
    """Set a document as PDF; equal ones give equal bytes.

    Parameters
    ----------
    paper : Paper
    size : {"us-letter", "a4"}
    made : datetime
        Told in the file.
    """
    told, _, country = now_spoken().tag.partition("_")
    document = {
        "size": size,
        "language": told,
        "region": country or None,
        "made": tr("Made {day}.", day=date_text(made.date())),
        "pages": tr("page {page} of {pages}", page="{page}", pages="{pages}"),
        **_plain(vars(paper)),
        "foot": shortened(shown(paper.foot), _FOOT),
    }

    def pdf(standards: list[Any]) -> bytes:
        return typst.compile(
            _TEMPLATE,
            root=_TEMPLATE.parent,
            font_paths=faces(fonts_folder()),
            format="pdf",
            sys_inputs={"document": json.dumps(document)},
            pdf_standards=standards,
            timestamp=int(made.timestamp()),
        )

    try:
        return pdf(["ua-1"])
    except typst.TypstError:  # the standard allows no letter that no font has
        return pdf([])


def _without_empty(table: PageTable) -> PageTable:
    """Leave out columns with nothing in them: a page is narrow."""
    kept = [x for x in range(len(table.head)) if any(row[x] for row in table.rows)]
    return replace(
        table,
        head=tuple(table.head[x] for x in kept),
        rows=[tuple(row[x] for x in kept) for row in table.rows],
        words=sum(x < table.words for x in kept),
        order=(),
    )


def _plain(value: Any, longest: int = _LONGEST) -> Any:
    """Parts and texts as JSON types; a part tells its kind."""
    if isinstance(value, str):
        return shortened(shown(value), longest)
    if isinstance(value, bytes):
        return [*value]
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item, longest) for item in value]
    if isinstance(value, PageTable):
        value = _without_empty(value)
    if isinstance(value, Part):
        plain = {"kind": type(value).__name__, **_plain(vars(value))}
        if isinstance(value, Lines):
            plain["lines"] = _plain(value.lines, _LONGEST_WIDE)
        if isinstance(value, PageTable):
            plain["remark"] = _plain(value.remark, _LONGEST_WIDE)
            if len(value.head) <= _FEW:
                plain["rows"] = _plain(value.rows, _LONGEST_WIDE)
        return plain
    return value
