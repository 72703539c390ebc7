"""Calendars written here, read back by the vobject package and held to RFC 5545 line by line."""

from __future__ import annotations

import datetime as dt
import os
import re
import subprocess
import sys
import unicodedata
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st

from evenacre.io.writers.calendar_ics import write_calendar
from evenacre.model.outputs import CalendarEvent

CHICAGO = ZoneInfo("America/Chicago")
GENERATED = dt.datetime(2026, 8, 1, 6, 30, 15, 250_000, tzinfo=dt.UTC)
TITLE = "Säen: Mühlbach, Nord; \\ Süd"
TEXT = "Laden 1: 150 lb; Rotklee, 3 Teile\nLaden 2: übrig\\n bleibt nichts, " + "weiß " * 60
SEEDING = CalendarEvent(
    "one@evenacre",
    dt.datetime(2026, 8, 8, 7, 30, tzinfo=CHICAGO),
    dt.datetime(2026, 8, 8, 13, 5, tzinfo=CHICAGO),
    TITLE,
    TEXT,
    "Mühlbach, Nord; unten",
)
MOVE = CalendarEvent(
    "two@evenacre", dt.date(2026, 8, 3), dt.date(2026, 8, 4), "Herd into Creek 1", "", "Creek 1"
)


def written(tmp_path: Path, *events: CalendarEvent, generated: dt.datetime = GENERATED) -> bytes:
    path = tmp_path / "calendar.ics"
    write_calendar(path, events, name="Three Larks Farm: interseeding", generated=generated)
    return path.read_bytes()


def read(data: bytes) -> dict[str, vobject.base.Component]:
    calendar = vobject.readOne(data.decode("utf-8"))
    return {event.uid.value: event for event in calendar.contents.get("vevent", [])}


def unfolded(data: bytes) -> list[str]:
    """Content lines (RFC 5545, 3.1): a line break and a space go on with the line before."""
    return data.replace(b"\r\n ", b"").decode("utf-8").split("\r\n")[:-1]


def test_text_comes_back_as_it_went_in(tmp_path: Path) -> None:
    event = read(written(tmp_path, SEEDING, MOVE))["one@evenacre"]
    assert event.summary.value == TITLE
    assert event.description.value == TEXT
    assert event.location.value == "Mühlbach, Nord; unten"


def test_commas_semicolons_and_line_breaks_are_escaped(tmp_path: Path) -> None:
    lines = unfolded(written(tmp_path, SEEDING))
    assert "SUMMARY:Säen: Mühlbach\\, Nord\\; \\\\ Süd" in lines
    assert "LOCATION:Mühlbach\\, Nord\\; unten" in lines
    (described,) = (line for line in lines if line.startswith("DESCRIPTION:"))
    # A line break is a backslash and an n; the writer's own backslash is doubled.
    assert "3 Teile\\nLaden 2: übrig\\\\n bleibt" in described


def test_times_of_day_in_their_zone(tmp_path: Path) -> None:
    data = written(tmp_path, SEEDING, MOVE)
    event = read(data)["one@evenacre"]
    # Central daylight time is five hours behind.
    assert event.dtstart.value.astimezone(dt.UTC) == dt.datetime(2026, 8, 8, 12, 30, tzinfo=dt.UTC)
    assert event.dtend.value.astimezone(dt.UTC) == dt.datetime(2026, 8, 8, 18, 5, tzinfo=dt.UTC)
    lines = unfolded(data)
    assert "DTSTART;TZID=America/Chicago:20260808T073000" in lines
    assert lines.count("BEGIN:VTIMEZONE") == 1
    assert lines.index("TZID:America/Chicago") < lines.index("BEGIN:VEVENT")


@pytest.mark.parametrize("zone", ["America/Chicago", "Europe/Berlin", "Pacific/Auckland", "UTC"])
def test_the_zone_is_right_on_every_day_of_the_year(tmp_path: Path, zone: str) -> None:
    """The rules in the file alone, read by vobject, against the zone's own."""
    days = [dt.date(2026, 1, 1) + dt.timedelta(days=n) for n in range(365)]
    moments = [dt.datetime.combine(d, dt.time(8), ZoneInfo(zone)) for d in days]
    hour = dt.timedelta(hours=1)
    events = [CalendarEvent(f"{n}@e", m, m + hour, "Seed") for n, m in enumerate(moments)]
    found = read(written(tmp_path, *events))
    for number, moment in enumerate(moments):
        assert found[f"{number}@e"].dtstart.value.astimezone(dt.UTC) == moment


def test_whole_days_are_dates_and_do_not_make_the_day_busy(tmp_path: Path) -> None:
    data = written(tmp_path, MOVE)
    event = read(data)["two@evenacre"]
    assert type(event.dtstart.value) is dt.date
    assert event.dtstart.value == dt.date(2026, 8, 3)
    assert event.dtend.value == dt.date(2026, 8, 4)
    assert event.transp.value == "TRANSPARENT"
    lines = unfolded(data)
    assert "DTSTART;VALUE=DATE:20260803" in lines
    assert "BEGIN:VTIMEZONE" not in lines
    assert not any(line.startswith("DESCRIPTION") for line in lines)


def test_a_time_without_a_zone_stays_without_one(tmp_path: Path) -> None:
    start = dt.datetime(2026, 8, 8, 7, 30)
    lines = unfolded(
        written(tmp_path, CalendarEvent("f@e", start, start + dt.timedelta(hours=2), "Seed"))
    )
    assert "DTSTART:20260808T073000" in lines
    assert "DTEND:20260808T093000" in lines


def test_what_a_phone_needs_is_there(tmp_path: Path) -> None:
    """RFC 5545: 3.6 (VERSION, PRODID), 3.6.1 (UID and DTSTAMP of each event), 3.1 (line ends)."""
    data = written(tmp_path, SEEDING, MOVE)
    lines = unfolded(data)
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    assert lines.count("VERSION:2.0") == 1
    assert sum(line.startswith("PRODID:") for line in lines) == 1
    assert "X-WR-CALNAME:Three Larks Farm: interseeding" in lines
    assert lines.count("BEGIN:VEVENT") == lines.count("DTSTAMP:20260801T063015Z") == 2
    assert {line for line in lines if line.startswith("UID:")} == {
        "UID:one@evenacre",
        "UID:two@evenacre",
    }
    assert data.count(b"\n") == data.count(b"\r\n")
    assert all(re.match(r"[A-Z-]+[;:]", line) for line in lines)


def test_no_line_is_longer_than_75_octets(tmp_path: Path) -> None:
    data = written(tmp_path, SEEDING, MOVE)
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    # A sign of several octets is not torn apart.
    for line in data.split(b"\r\n"):
        line.decode("utf-8")


def test_a_later_plan_is_a_later_revision_of_the_same_events(tmp_path: Path) -> None:
    before = read(written(tmp_path, SEEDING, MOVE))
    later = read(written(tmp_path, SEEDING, MOVE, generated=GENERATED + dt.timedelta(minutes=1)))
    assert before.keys() == later.keys()
    for uid, event in before.items():
        assert int(later[uid].sequence.value) > int(event.sequence.value) > 0
        assert later[uid].dtstamp.value > event.dtstamp.value
        assert int(later[uid].sequence.value) < 2**31


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    """In processes that order their sets differently, too."""
    script = tmp_path / "write.py"
    script.write_text(
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from pathlib import Path\n"
        "import test_calendar as t\n"
        "folder = Path(sys.argv[2]); folder.mkdir()\n"
        "t.written(folder, t.SEEDING, t.MOVE)\n"
    )
    for seed in ("1", "2"):
        subprocess.run(
            [sys.executable, script, Path(__file__).parent, tmp_path / seed],
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=True,
        )
    first, second = ((tmp_path / seed / "calendar.ics").read_bytes() for seed in ("1", "2"))
    assert first == second == written(tmp_path, SEEDING, MOVE)


def test_a_calendar_without_events(tmp_path: Path) -> None:
    assert read(written(tmp_path)) == {}


def test_spaces_that_hold_words_together_stay(tmp_path: Path) -> None:
    title = "Leaves on Sat\N{NO-BREAK SPACE}8\N{NO-BREAK SPACE}Aug"
    event = CalendarEvent("n@e", dt.date(2026, 8, 8), dt.date(2026, 8, 9), title)
    assert read(written(tmp_path, event))["n@e"].summary.value == title


def commands(sign: str) -> bool:
    """Whether a sign is no part of a text: controls, turns of direction, noncharacters."""
    turns = unicodedata.bidirectional(sign) in ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI",
                                                "FSI", "PDI")  # fmt: skip
    return (
        turns
        or unicodedata.category(sign) == "Cc"
        or ord(sign) & 0xFFFE == 0xFFFE
        or (0xFDD0 <= ord(sign) <= 0xFDEF)
    )


@given(text=st.text(max_size=200))
def test_any_text_is_held(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    """Whatever a paddock is called: one event, whole lines, nothing lost but what commands."""
    event = CalendarEvent("x@e", dt.date(2026, 8, 8), dt.date(2026, 8, 9), "Seed", f"a{text}z")
    data = written(tmp_path_factory.mktemp("any"), event)
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    lines = unfolded(data)
    assert lines.count("BEGIN:VEVENT") == 1
    (described,) = (line for line in lines if line.startswith("DESCRIPTION:"))
    kept = "".join(s for s in f"a{text}z" if s in "\t\n" or not commands(s))
    escaped = kept.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    assert described == f"DESCRIPTION:{escaped}".replace("\n", "\\n")
