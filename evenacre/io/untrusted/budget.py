"""What one file may cost: the sizes, counts and times beyond which it is refused.

Real files stay far below: a season of fixes five times a second is some 100 MB of text, a
county's soil map some 300 MB. The figures keep a run below 2 GB whatever it is given.
"""

from __future__ import annotations

from evenacre.errors import InputError
from evenacre.language import tr

MB = 1 << 20

MAP_BYTES = 1024 * MB
"""Largest map file, unpacked if it came in a zip."""
TEXT_BYTES = 256 * MB
"""Largest log or table of text."""
RECORDS = 5_000_000
"""Most records of one log or table: more than two months of ten-hour days at 2 Hz."""
NOTES = 20_000
"""Most lines of a table that people keep, of tickets or blockages."""
TAGS = 4 * RECORDS
"""Most tags of a log in XML."""
SETTINGS_BYTES = 8 * MB
"""Largest settings book and plan."""
SEASON_BYTES = 1 * MB
SEASON_DOTS = 500
"""Most dots on one line of a season file: keys of keys of keys take time that grows with the
square of their number."""

READER_BYTES = 1024 * MB
"""Memory of the process that reads maps, over what it starts with."""
LAYER_BYTES = 384 * MB
"""Largest layer once it is read."""
LAYERS = 100
FEATURES = 5_000_000
ATTRIBUTES = 1000
ROW_GROUPS = 5_000
OUTLINES = 20_000
"""Areas of a layer that are laid over a field."""
OUTLINE_CORNERS = 500_000
"""Corners of all these areas."""
OUTLINE_HOLES = 5_000
OUTLINE_PAIRS = 5_000_000
"""Pairs of areas that may meet: each is looked at."""

ARCHIVE_MEMBERS = 20_000
ARCHIVE_MAPS = 500
"""Most maps, logs and zips that are unpacked of one zip and those inside it."""
ARCHIVE_DEPTH = 3
"""How deep in a zip another one is looked into."""
# Logs shrink ten to fifty times; a thousandfold is the mark of a zip bomb.
ARCHIVE_RATIO, ARCHIVE_RATIO_FROM_BYTES = 300, 4 * MB

_MAP_SECONDS, _MAP_SECONDS_PER_MB = 20.0, 1.0


def map_seconds(size_bytes: int) -> float:
    """Time (s) that a map file may take to be read: ten times what files that are read take."""
    return _MAP_SECONDS + _MAP_SECONDS_PER_MB * size_bytes / MB


def too_large(file: str, limit_bytes: int) -> InputError:
    """Say that a file is over its budget."""
    return InputError.at(
        file,
        "",
        tr(
            "It is larger than the {limit_bytes:,} MB that are read of such a file.",
            limit_bytes=limit_bytes // MB,
        ),
        tr("Export less at a time: one field, or a day."),
    )


def check_layers(count: int) -> None:
    """Refuse a map of too many layers, without naming the file."""
    if count > LAYERS:
        raise InputError.at(
            "",
            "",
            tr(
                "It holds {count:,} layers, more than the {layers} that are read.",
                count=count,
                layers=LAYERS,
            ),
            tr("Export those that are needed."),
        )


def check_count(content: bytes, mark: bytes, most: int, file: str) -> None:
    """Refuse text that would be taken apart into too many pieces, a mark in each."""
    if content.count(mark) > most:
        raise InputError.at(
            file,
            "",
            tr("It has over {most:,} records or tags, more than are read of one file.", most=most),
            tr("Export less at a time: one field, or a day."),
        )
