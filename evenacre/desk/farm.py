"""The farm's folder: where the desk keeps what, and no way out of it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenacre.errors import InputError
from evenacre.io.result_folder.staging import disk_troubles_told
from evenacre.io.result_folder.whole_file import write_whole

STATE = ".evenacre-desk"
"""Hidden folder in the farm's: what the desk itself has to remember."""


@dataclass(frozen=True)
class Farm:
    """A farm's folder, as :func:`open_farm` gives it.

    Attributes
    ----------
    root : Path
        Resolved: no link leads anywhere below it unnoticed.
    """

    root: Path

    @property
    def season(self) -> Path:
        """The season file."""
        return self.root / "season.toml"

    @property
    def brought(self) -> Path:
        """What was brought, untouched, a folder for each time."""
        return self.root / "brought"

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
    def state(self) -> Path:
        """What the desk has to remember."""
        return self.root / STATE

    def holds(self, path: Path) -> bool:
        """Tell whether a path, all links followed, lies in the folder."""
        try:
            return path.resolve().is_relative_to(self.root)
        except (OSError, ValueError, RuntimeError):  # a name that is none, or links in a ring
            return False

    def remember(self, name: str, value: object) -> None:
        """Keep a JSON value for the next start, whole or not at all."""
        write_whole(self.state / f"{name}.json", json.dumps(value).encode(), private=True)

    def recall(self, name: str) -> Any:
        """Give back what was kept; None where there is nothing that can be read."""
        try:
            return json.loads((self.state / f"{name}.json").read_bytes())
        except (OSError, ValueError):
            return None


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
        own_places = (farm.season, farm.brought, farm.results, farm.state)
        for own in (*own_places, farm.incoming, farm.versions):
            if own.is_symlink():
                told = "This is a link; the desk writes nowhere but into the farm's folder."
                raise InputError.at(own, "", told, "Put what it leads to in its place.")
        farm.state.mkdir(mode=0o700, exist_ok=True)
    return farm
