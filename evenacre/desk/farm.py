"""The farm's folder: where the desk keeps what, and no way out of it."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from evenacre.desk.memory import Memory
from evenacre.errors import InputError
from evenacre.io.result_folder.staging import disk_troubles_told
from evenacre.io.result_folder.whole_file import write_whole
from evenacre.io.untrusted.archives import is_hidden

STATE = ".evenacre-desk"
"""Hidden folder in the farm's: what the desk itself has to remember."""
_FORMAT = 2  # of what is remembered: raised where a page reads what an earlier desk did not keep


@dataclass(frozen=True)
class Farm:
    """A farm's folder, as :func:`open_farm` gives it.

    Attributes
    ----------
    root : Path
        Resolved: no link leads anywhere below it unnoticed.
    memory : Memory
    """

    root: Path
    memory: Memory = field(default_factory=Memory, compare=False, repr=False)

    @property
    def season(self) -> Path:
        """The season file."""
        return self.root / "season.toml"

    @property
    def brought(self) -> Path:
        """What was brought, untouched, a folder for each time."""
        return self.root / "brought"

    @property
    def drawn(self) -> Path:
        """What was drawn on the map, a file for each shape and change."""
        return self.root / "drawn"

    @property
    def typed(self) -> Path:
        """Tables that were typed in, a file for each change."""
        return self.root / "typed"

    @property
    def results(self) -> Path:
        """A folder for each result."""
        return self.root / "results"

    @property
    def incoming(self) -> Path:
        """Files on their way in."""
        return self.state / "incoming"

    @property
    def versions(self) -> Path:
        """Earlier versions of the season file."""
        return self.state / "versions"

    @property
    def books(self) -> Path:
        """Earlier settings books."""
        return self.state / "books"

    @property
    def state(self) -> Path:
        """What the desk has to remember."""
        return self.root / STATE

    def deliveries(self) -> list[str]:
        """What lies in the folder of what was brought: each time that something came, one more."""
        try:
            return sorted(one.name for one in self.brought.iterdir() if not is_hidden(one.name))
        except OSError:
            return []

    def holds(self, path: Path) -> bool:
        """Tell whether a path, all links followed, lies in the folder."""
        try:
            return path.resolve().is_relative_to(self.root)
        except (OSError, ValueError, RuntimeError):  # a name that is none, or links in a ring
            return False

    def refuse_links(self) -> None:
        """Refuse a link in the place of what the desk itself reads and writes.

        Raises
        ------
        InputError
        """
        own_places = (self.season, self.brought, self.drawn, self.typed, self.results, self.state)
        for own in (*own_places, self.incoming, self.versions, self.books):
            if own.is_symlink():
                told = "This is a link; the desk stays in the farm's folder."
                raise InputError.at(own, "", told, "Put what it leads to in its place.")

    def remember(self, name: str, value: object) -> None:
        """Keep a JSON value for the next start, whole or not at all."""
        kept = {"format": _FORMAT, "kept": value}
        write_whole(self.state / f"{name}.json", json.dumps(kept).encode(), private=True)

    def recall(self, name: str) -> Any:
        """Give back what was kept, not to be changed; None of what this version cannot read."""
        path = self.state / f"{name}.json"

        def read() -> Any:
            try:
                told = json.loads(path.read_bytes())
            except (OSError, ValueError):
                return None
            known = isinstance(told, dict) and told.get("format") == _FORMAT
            return told.get("kept") if known else None

        try:
            status = path.stat()
        except OSError:
            return None
        stamp = (status.st_ino, status.st_size, status.st_mtime_ns)
        return self.memory.of(f"recalled {name}", stamp, read)


def open_farm(folder: Path) -> Farm:
    """Make or enter a farm's folder.

    Raises
    ------
    InputError
        When it is no folder, cannot be written, or a link stands where the desk would write.
    """
    what = "The desk needs a folder of its own there."
    with disk_troubles_told(folder / STATE, "another FOLDER"):
        if folder.exists() and not folder.is_dir():
            raise InputError.at(folder, "", "This is a file, not a folder.", what)
        folder.mkdir(parents=True, exist_ok=True)
        farm = Farm(folder.resolve())
        farm.refuse_links()
        farm.state.mkdir(mode=0o700, exist_ok=True)
    return farm
