"""What a command has written so far: the truth that a stopped run has to tell."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from evenacre.language import tr

_MOST_NAMED = 5


@dataclass
class Written:
    """What a command has put into people's folders, and what they are to be told of it."""

    # Files and folders that are in their place, whole
    places: list[Path] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)  # sentences about files that people changed

    def when_stopped(self) -> str:
        """What there is of a run that was stopped."""
        if not self.places:
            return tr("Stopped. Nothing was written.")
        places = named([str(place) for place in self.places])
        return tr("Stopped. Written before that: {places}.", places=places)


def named(names: list[str]) -> str:
    """The first few names, and that there are more."""
    more = len(names) - _MOST_NAMED
    listed = ", ".join(names[:_MOST_NAMED])
    return tr("{named} and {more} more", named=listed, more=more) if more > 0 else listed
