"""The plan over time as one inline picture: a row for the drill and one for each paddock.

Days run across in percent of the width, so that the picture shrinks to paper and scrolls on a
phone while its rows keep their height beside the names.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from markupsafe import Markup

from evenacre.language import mark, tr
from evenacre.planning.interseeding.plan_types import WHOLE_SHARE, InterseedPlan, PaddockPlan
from evenacre.reports.sentences import interseeding_words as iw

HEAD, ROW = 48, 36
"""Heights of the head and of a row, CSS pixels."""
_DAY_PIXELS = 16  # no day is narrower on a screen
_DAY = dt.timedelta(days=1)
_DATES = 12  # of the scale that have room on paper
_WORDS = {
    "herd": mark("herd grazing"),
    "window": mark("seeding window"),
    "visit": mark("seeding, by its number"),
    "part": mark("seeding, part of a paddock"),
    "rest": mark("rest before grazing"),
    "short": mark("feed or rest is short"),
    "lost": mark("lost to weather"),
    "booked": mark("drill wanted elsewhere"),
}


@dataclass(frozen=True)
class Timeline:
    """Pieces of the page."""

    names: list[tuple[str, str]]  # of the rows, from the top, each whole and short
    picture: Markup
    wide: int  # on a screen, CSS pixels
    legend: list[tuple[str, str]]  # class of each sign that is drawn, and what it means


def timeline(plan: InterseedPlan) -> Timeline:
    """Draw a plan over time, from the first move or open day to the last."""
    first, last = iw.span(plan)
    names = [p.paddock.field.name for p in plan.paddocks]
    drawing = _Drawing(first, (last - first).days + 1, len(plan.paddocks) + 1)
    drawing.days()
    drawing.drill(plan)
    for row, paddock in enumerate(plan.paddocks, 1):
        drawing.paddock(row, paddock, plan)
    return Timeline(
        names=[(tr("The drill"), tr("The drill")), *zip(names, iw.short_names(names), strict=True)],
        picture=drawing.picture(_told(plan)),
        wide=drawing.count * _DAY_PIXELS,
        legend=[(key, tr(words)) for key, words in _WORDS.items() if key in drawing.drawn],
    )


class _Drawing:
    def __init__(self, first: dt.date, count: int, rows: int) -> None:
        self.first = first
        self.count = count
        self.rows = rows
        self.drawn: set[str] = set()
        self._parts: list[Markup] = []

    def _x(self, day: dt.date) -> float:
        return min(max(100.0 * (day - self.first).days / self.count, 0.0), 100.0)

    def _add(self, shape: str, *values: object) -> None:
        self._parts.append(Markup(shape).format(*values))

    def _bar(
        self, kind: str, row: int, first: dt.date, after: dt.date, inset: int, told: str
    ) -> None:
        """A bar over days, ``after`` left out, so far inside its row."""
        left, right = self._x(first), self._x(after)
        if right <= left:
            return
        self.drawn.add(kind)
        self._add(
            '<rect class="{}" x="{:.3f}%" width="{:.3f}%" y="{}" height="{}"><title>{}</title>'
            "</rect>",
            *(kind, left, right - left, HEAD + row * ROW + inset, ROW - 2 * inset, told),
        )

    def _text(self, kind: str, x: float, y: int, text: str) -> None:
        self._add('<text class="{}" x="{:.3f}%" y="{}">{}</text>', kind, x, y, text)

    def _on_day(self, kind: str, row: int, day: dt.date, y: int, text: str) -> None:
        """A text in the middle of a day."""
        middle = (self._x(day) + self._x(day + _DAY)) / 2
        self._text(kind, middle, HEAD + row * ROW + y, text)

    def days(self) -> None:
        """The scale: a line and a date every Monday, and lines between the rows."""
        every = (self.first + n * _DAY for n in range(self.count))
        marks = [day for day in every if day == self.first or day.weekday() == 0]
        sparse = -(-len(marks) // _DATES)
        for place, day in enumerate(marks):
            x, left = self._x(day), self.count - (day - self.first).days
            line = '<line class="week" x1="{0:.3f}%" x2="{0:.3f}%" y1="{1}" y2="{2}"/>'
            self._add(line, x, HEAD - 8, HEAD + self.rows * ROW)
            # Left unnamed where its name would lie on that of the next Monday, or past the end.
            crowded = day == self.first and 0 < 7 - day.weekday() < 4
            if not crowded and left >= 4 * sparse:
                kind = "date" if place % sparse == 0 else "date between"
                self._text(kind, x, HEAD - 14, iw.short_day(day))
        for row in range(self.rows + 1):
            line = '<line class="row" x1="0" x2="100%" y1="{0}" y2="{0}"/>'
            self._add(line, HEAD + row * ROW)

    def drill(self, plan: InterseedPlan) -> None:
        """Days lost and booked, and every visit."""
        for d in plan.days:
            if d.lost or d.booked_s or d.booked_for:
                kind = "lost" if d.lost else "booked"
                told = tr("lost to weather") if d.lost else ", ".join(d.booked_for) or tr("booked")
                self._bar(kind, 0, d.day, d.day + _DAY, 3, f"{iw.day_text(d.day)}: {told}")
        for visit, number in iw.numbered(plan).items():
            told = f"{number}: {visit.paddock}, {iw.day_text(visit.day)}"
            self._bar("visit", 0, visit.day, visit.day + _DAY, 3, told)

    def paddock(self, row: int, p: PaddockPlan, plan: InterseedPlan) -> None:
        """Window below, then the rest, the herd and the visits above it."""
        for first, last in iw.spells(p.window, plan.days):
            told = tr(
                "May be seeded {first} to {last}", first=iw.day_text(first), last=iw.day_text(last)
            )
            self._bar("window", row, first, last + _DAY, 4, told)
        if p.visits and p.graze_from:
            told = tr("No grazing before {day}", day=iw.day_text(p.graze_from))
            self._bar("rest", row, p.visits[-1].day + _DAY, p.graze_from, 13, told)
        for stay in (s.stay for s in p.stays):
            told = tr(
                "Herd in {enter}, out {leave}",
                enter=iw.day_text(stay.enter),
                leave=iw.day_text(stay.leave),
            )
            self._bar("herd", row, stay.enter, stay.leave, 8, told)
        numbers = iw.numbered(plan)
        for visit in p.visits:
            kind = "visit" if visit.share >= WHOLE_SHARE else "part"
            told = tr(
                "{number}: {share:.0f} % on {day}",
                number=numbers[visit],
                share=100 * visit.share,
                day=iw.day_text(visit.day),
            )
            self._bar(kind, row, visit.day, visit.day + _DAY, 3, told)
            self._on_day("number", row, visit.day, 23, str(numbers[visit]))
        for lack in plan.herd.shortages:
            inside = 0 <= (lack.day - self.first).days < self.count
            if lack.paddock == p.paddock.field.name and inside:
                self.drawn.add("short")
                self._on_day("short", row, lack.day, 24, "!")

    def picture(self, told: str) -> Markup:
        """The whole of it; ``told`` says it in words."""
        return Markup(
            '<svg class="timeline-picture" role="img" aria-label="{}" width="100%" height="{}">{}'
            "</svg>"
        ).format(
            told,
            HEAD + self.rows * ROW + 2,
            Markup("").join(self._parts),
        )


def _told(plan: InterseedPlan) -> str:
    """Say when the drill goes where."""
    visits = [
        tr(
            "{number}: {paddock}, {day}",
            number=n,
            paddock=visit.paddock,
            day=iw.day_text(visit.day),
        )
        for visit, n in iw.numbered(plan).items()
    ]
    if not visits:
        return tr("No paddock is seeded. The days of the herd and windows are in the tables below.")
    return tr(
        "The drill goes to {visits}. Herd, windows and rest are in the tables below.",
        visits="; ".join(visits),
    )
