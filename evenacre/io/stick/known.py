"""The season that is there already, and what of the stick it has taken in."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from evenacre.errors import InputError
from evenacre.io.season.build import SeasonDraft
from evenacre.io.season.load import draft_season
from evenacre.io.stick.files import digest
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_whole
from evenacre.model import Implement


@dataclass(frozen=True)
class KnownTrack:
    """A log that an operation names."""

    operation: int
    path: Path
    layer: str | None
    sha256: str  # or, of one that is not there any more, what was kept of it

    def is_of(self, sha256: str) -> bool:
        """Whether a file is this one."""
        return sha256.startswith(self.sha256)


@dataclass(frozen=True)
class KnownSeason:
    """A season file as it was read."""

    path: Path
    text: str
    raw: dict[str, Any]
    draft: SeasonDraft | None
    tracks: tuple[KnownTrack, ...] = ()
    gathered: dict[str, str] = field(default_factory=dict)  # digest by name
    content: bytes = b""

    @property
    def time_zone(self) -> str | None:
        """Zone of local times."""
        return self.draft.season.time_zone if self.draft else None

    @property
    def implements(self) -> dict[str, Implement]:
        """Those whose measures are known, by name."""
        return self.draft.season.implements if self.draft else {}

    def tables(self, key: str) -> list[dict[str, Any]]:
        """Entries of a list of tables."""
        return [entry for entry in self.raw.get(key, []) if isinstance(entry, dict)]


def read_known(path: Path) -> KnownSeason:
    """Read the season that is to be added to; an empty one where there is none.

    Raises
    ------
    InputError
        When it is no TOML, or its tables are none.
    """
    if not path.exists():
        return KnownSeason(path, "", {}, None)
    content = read_whole(path, str(path), budget.SEASON_BYTES)
    draft = draft_season(path, must_hold="fields")
    text = content.decode("utf-8-sig")
    raw = tomllib.loads(text)
    wrong = [key for key in ("field", "operation", "product", "implement") if _is_odd(raw, key)]
    if wrong:
        what = f"[{wrong[0]}] stands for a single table."
        raise InputError.at(path.name, wrong[0], what, f"Write [[{wrong[0]}]], in two brackets.")
    kept = raw.get("gathered")
    pairs = kept.items() if isinstance(kept, dict) else ()
    seen = {name: sha for name, sha in pairs if isinstance(sha, str)}
    tracks = []
    for number, operation in enumerate(raw.get("operation", [])):
        named = operation.get("tracks", [])
        for entry in named if isinstance(named, list) else [named]:
            table = entry if isinstance(entry, dict) else {"file": entry}
            name = str(table.get("file", ""))
            file = path.parent / name
            # One that was moved is known by the fingerprint that was taken of it.
            sha = digest(file) if file.exists() else seen.get(name)
            if sha is not None:
                tracks.append(KnownTrack(number, file, table.get("layer"), sha))
    return KnownSeason(path, text, raw, draft, tuple(tracks), seen, content)


def _is_odd(raw: dict[str, Any], key: str) -> bool:
    entries = raw.get(key, [])
    return not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries)
