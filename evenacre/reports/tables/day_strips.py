"""Strips of days: window, days planned and days done of each paddock, one below the other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from markupsafe import Markup

from evenacre.planning.interseeding.comparison import PaddockCompared
from evenacre.reports.sentences.interseeding_words import short_day

KEY = (
    "In the strip of days the bar is the window, a diamond a day planned, a dot a day seeded, and "
    "a cross a day seeded outside the window; thin lines begin a month."
)
_WIDE, _HIGH, _MARK = 200.0, 24.0, 5.0
_MIDDLE = _HIGH / 2


@dataclass(frozen=True)
class Strip:
    """The days that all strips show, so that they stand below one another."""

    first: dt.date
    last: dt.date

    @classmethod
    def over(cls, paddocks: Iterable[PaddockCompared]) -> Strip | None:
        """Take in every day that is known; None when none is."""
        days = [day for p in paddocks for day in _days(p)]
        return cls(min(days), max(days)) if days else None

    @property
    def title(self) -> str:
        """First and last day."""
        return f"{short_day(self.first)} to {short_day(self.last)}"

    def of(self, p: PaddockCompared) -> Markup:
        """Draw one paddock as SVG; its words stand in the table beside it."""
        return Markup(
            f'<svg class="strip" viewBox="0 0 {_WIDE:g} {_HIGH:g}" aria-hidden="true">'
            f"{''.join(self._shapes(p))}</svg>"
        )

    def _shapes(self, p: PaddockCompared) -> Iterator[str]:
        window = p.planned.window if p.planned else None
        for month in self._months():
            yield f'<path class="month" d="M{self._x(month):.1f} 0v{_HIGH:g}"/>'
        for first, last in window.spells if window else ():
            left, right = self._x(first), self._x(last + dt.timedelta(1))
            yield (
                f'<rect class="open" x="{left:.1f}" y="4" width="{right - left:.1f}" '
                f'height="{_HIGH - 8:g}"/>'
            )
        for visit in p.planned.visits if p.planned else ():
            x, m = self._x(visit.day, 0.5), _MARK + 2
            yield f'<path class="planned" d="M{x - m:.1f} {_MIDDLE:g}l{m} {-m}l{m} {m}l{-m} {m}z"/>'
        for day in (one.day for one in p.days if one.day is not None):
            x, m = self._x(day, 0.5), _MARK
            if window is None or window.days_outside(day) == 0:
                yield f'<circle class="done" cx="{x:.1f}" cy="{_MIDDLE:g}" r="{m - 1:g}"/>'
            else:
                cross = f"M{x - m:.1f} {_MIDDLE - m:g}l{2 * m} {2 * m}m0 {-2 * m}l{-2 * m} {2 * m}"
                yield f'<path class="out" d="{cross}"/>'

    def _x(self, day: dt.date, more: float = 0.0) -> float:
        """Where a day begins, or so much of a day later, with room for a mark at either end."""
        span = (self.last - self.first).days + 1
        return _MARK + (_WIDE - 2 * _MARK) * ((day - self.first).days + more) / span

    def _months(self) -> list[dt.date]:
        days = (self.last - self.first).days
        every = (self.first + dt.timedelta(n) for n in range(1, days + 1))
        return [day for day in every if day.day == 1]


def _days(p: PaddockCompared) -> Iterator[dt.date]:
    if p.planned is not None:
        yield from (visit.day for visit in p.planned.visits)
        for spell in p.planned.window.spells if p.planned.window else ():
            yield from spell
    yield from (one.day for one in p.days if one.day is not None)
