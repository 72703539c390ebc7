"""A calendar that a phone imports (RFC 5545)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime
from pathlib import Path

from icalendar import Calendar, Event, vText

from evenacre import __version__
from evenacre.model.outputs import CalendarEvent
from evenacre.shown_text import shown

# A revision counts the minutes from here, so that a later plan is a later revision.
_FIRST = datetime(2020, 1, 1, tzinfo=UTC)


def write_calendar(
    path: Path, events: Sequence[CalendarEvent], *, name: str, generated: datetime
) -> None:
    """Write events as an iCalendar file.

    Times of day carry a zone, which is written with them, or none: then they go by whatever clock
    the phone keeps. ``generated``, with its zone, counts as the time of the last change: events
    imported again replace the earlier ones of the same ``uid``, and their sequence grows with it.
    """
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", f"-//Evenacre//Evenacre {__version__}//EN")
    calendar.add("method", "PUBLISH")
    # The property of RFC 7986, and the one that phones knew before it.
    for key in ("name", "x-wr-calname"):
        calendar.add(key, vText(shown(name)))
    stamp = generated.astimezone(UTC).replace(microsecond=0)
    for event in events:
        entry = Event()
        entry.add("uid", event.uid)
        entry.add("dtstamp", stamp)
        entry.add("last-modified", stamp)
        entry.add("sequence", int((stamp - _FIRST).total_seconds() // 60))
        entry.add("dtstart", event.start)
        entry.add("dtend", event.end)
        for key, text in (
            ("summary", event.title),
            ("description", event.text),
            ("location", event.place),
        ):
            if text or key == "summary":
                entry.add(key, shown(text))
        # A move of the herd does not make the day busy.
        entry.add("transp", "OPAQUE" if isinstance(event.start, datetime) else "TRANSPARENT")
        calendar.add_component(entry)
    days = [date(e.start.year, e.start.month, 1) for e in events]
    if days:
        # The rules of the years around; else the library writes those of seventy years.
        calendar.add_missing_timezones(
            date(min(days).year - 1, 1, 1), date(max(days).year + 2, 1, 1)
        )
    path.write_bytes(calendar.to_ical())
