"""Every file of a stick: folders below folders, zips in zips, hidden ones passed over."""

from __future__ import annotations

import hashlib
import re
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from evenacre.errors import InputError
from evenacre.io.result_folder.ownership import (
    EXPORT,
    MEASURED,
    PASSES,
    PLAN,
    SUMMARY,
    read_account,
)
from evenacre.io.season.files import parts_of
from evenacre.io.stick.identify import Kind
from evenacre.io.taskdata.folder import MAIN, is_taskdata
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.archives import is_hidden, open_archive, read_member, shown_below
from evenacre.io.untrusted.files import blocks
from evenacre.io.untrusted.kinds import MAPS, PROSE, SENTENCES, SHAPEFILE_PARTS, SHEETS, TABLES
from evenacre.shown_text import shown

_MOST_FILES = 20_000
# Parts of a layer that is named by another of its files, and what map programs leave beside one.
_BESIDE_SHP = {*SHAPEFILE_PARTS[1:], ".sbn", ".sbx", ".qix", ".qpj", ".qmd", ".xml"}
_MAPS = MAPS | {".kmz"}
_LOGS = TABLES | SENTENCES | SHEETS | {".gpx", ".zip", ".toml"}
_PLAIN = re.compile(r"[^\w ()+.,=-]")


@dataclass(frozen=True)
class StickFile:
    """A file that is there to be read; for task data it is the XML file."""

    path: Path
    name: str  # as people know it: below the stick, through zips: "spring.zip/logs/a.csv"
    sha256: str
    packed: bool = False  # its path is a copy out of a zip, there for a while


@dataclass(frozen=True)
class PassedOver:
    """What was not read, and why."""

    name: str
    kind: Kind
    why: str


@dataclass
class Stick:
    """What is below a folder, or in a zip.

    Attributes
    ----------
    root : Path
    own : set of Path
        Files and folders that an earlier run wrote, which are not gathered again.
    """

    root: Path
    own: set[Path]
    passed_over: list[PassedOver] = field(default_factory=list)
    _scratch: Path = Path()
    _count: int = 0

    @contextmanager
    def opened(self) -> Iterator[Stick]:
        """Unpack zips for as long as their files are needed."""
        with tempfile.TemporaryDirectory(prefix="evenacre-") as scratch:
            self._scratch = Path(scratch)
            yield self

    def files(self, say: Callable[[str], None] = lambda _name: None) -> list[StickFile]:
        """Find every file once; those of the same bytes stand once, loose ones before packed."""
        found: dict[str, StickFile] = {}
        everything = list(self._below(self.root, "", packed=False, depth=0, say=say))
        for file in sorted(everything, key=lambda f: (f.packed, f.name.count("/"), f.name)):
            if (first := found.setdefault(file.sha256, file)) is not file:
                why = f"It is a copy of {first.name}."
                self.passed_over.append(PassedOver(file.name, Kind.COPY, why))
        return sorted(found.values(), key=lambda f: f.name)

    def _below(
        self, place: Path, name: str, *, packed: bool, depth: int, say: Callable[[str], None]
    ) -> Iterator[StickFile]:
        if shown(name) != name:
            self._pass(shown(name), Kind.UNKNOWN, "Its name holds signs that no name should.")
        elif name and place.is_symlink():
            self._pass(name, Kind.UNKNOWN, "It is a link, which is not followed.")
        elif place.is_dir():
            yield from self._folder(place, name, packed=packed, depth=depth, say=say)
        elif not place.is_file():
            self._pass(name, Kind.UNKNOWN, "It is no file that can be read.")
        elif place.suffix.lower() == ".zip":
            yield from self._zip(place, name, packed=packed, depth=depth, say=say)
        else:
            yield from self._file(place, name or place.name, packed, say)

    def _folder(
        self, folder: Path, name: str, *, packed: bool, depth: int, say: Callable[[str], None]
    ) -> Iterator[StickFile]:
        try:
            entries = sorted(e for e in folder.iterdir() if not is_hidden(e.name))
        except OSError as error:
            self._pass(name, Kind.UNKNOWN, f"It cannot be read ({error.strerror}).")
            return
        for account in (SUMMARY, PLAN, PASSES, MEASURED, EXPORT):
            if name and (folder / account).is_file() and read_account(folder, account) is not None:
                self._pass(name, Kind.RESULT, "A result that Evenacre wrote.")
                return
        mains = [entry for entry in entries if entry.name.lower() == MAIN and entry.is_file()]
        if mains:
            yield from self._file(mains[0], f"{name}/{mains[0].name}".lstrip("/"), packed, say)
            entries = [e for e in entries if e.is_dir() or e.suffix.lower() in _LOGS]
        layers = {entry.stem for entry in entries if entry.suffix.lower() == ".shp"}
        for entry in entries:
            of_layer = entry.name.partition(".")[0] in layers or entry.stem in layers
            if (of_layer and entry.suffix.lower() in _BESIDE_SHP) or self._is_own(entry):
                continue
            inner = f"{name}/{entry.name}" if name else entry.name
            yield from self._below(entry, inner, packed=packed, depth=depth, say=say)

    def _is_own(self, entry: Path) -> bool:
        try:
            return entry.resolve() in self.own
        except OSError:  # a link that nobody may follow
            return False

    def _file(
        self, path: Path, name: str, packed: bool, say: Callable[[str], None]
    ) -> Iterator[StickFile]:
        self._count += 1
        if self._count > _MOST_FILES:
            what = f"It holds over {_MOST_FILES:,} files, more than are looked at."
            raise InputError.at(self.root, "", what, "Name a folder in it.")
        say(name)
        try:
            yield StickFile(path, name, digest(path), packed)
        except InputError as error:
            self._pass(name, Kind.UNKNOWN, error.problems[0].what)

    def _zip(
        self, path: Path, name: str, *, packed: bool, depth: int, say: Callable[[str], None]
    ) -> Iterator[StickFile]:
        """Take a zip as it is where readers do; else what is in it."""
        try:
            with open_archive(path, name or path.name) as archive:
                members = [
                    m for m in archive.infolist() if not (m.is_dir() or is_hidden(m.filename))
                ]
                if _is_one(members):
                    yield from self._file(path, name or path.name, packed, say)
                    return
                if depth >= budget.ARCHIVE_DEPTH:
                    self._pass(name, Kind.UNKNOWN, "It is a zip in a zip in a zip; unpack it.")
                    return
                folder = self._unpack(archive, members, name or path.name)
        except InputError as error:
            if not name:
                raise
            self._pass(name, Kind.UNKNOWN, error.problems[0].what)
            return
        yield from self._folder(folder, name, packed=True, depth=depth + 1, say=say)

    def _unpack(self, archive: zipfile.ZipFile, members: list[zipfile.ZipInfo], label: str) -> Path:
        home = Path(tempfile.mkdtemp(dir=self._scratch))
        left = budget.MAP_BYTES
        for member in members:
            parts = [_PLAIN.sub("_", part) for part in PurePosixPath(member.filename).parts]
            file = home.joinpath(*parts)
            try:
                content = read_member(archive, member, label, left)
                left -= len(content)
                file.parent.mkdir(parents=True, exist_ok=True)
                file.write_bytes(content)
            except InputError as error:
                self._pass(f"{label}/{member.filename}", Kind.UNKNOWN, error.problems[0].what)
            except OSError as error:
                why = f"It could not be unpacked ({error.strerror})."
                self._pass(f"{label}/{member.filename}", Kind.UNKNOWN, why)
        return home

    def _pass(self, name: str, kind: Kind, why: str) -> None:
        self.passed_over.append(PassedOver(name, kind, why))


def digest(path: Path) -> str:
    """Fingerprint a file with all its parts."""
    total = hashlib.sha256()
    for part in parts_of(path):
        for block in blocks(part, part.name, budget.MAP_BYTES):
            total.update(block)
    return total.hexdigest()


def _is_one(members: list[zipfile.ZipInfo]) -> bool:
    """Tell whether a zip holds one set of task data or one map, whatever lies beside it."""
    names = [PurePosixPath(member.filename) for member in members]
    homes = [name.parent for name in names if name.name.lower() == MAIN]
    if homes:
        others = [n for n in names if n.parent != homes[0] or n.suffix.lower() in _LOGS]
        return len(homes) == 1 and not any(n.suffix.lower() in _MAPS | _LOGS for n in others)
    kinds = [kind for name in names if (kind := name.suffix.lower()) in _MAPS | _LOGS]
    return len(kinds) == 1 and kinds[0] in _MAPS


def is_stick(path: Path) -> bool:
    """Tell a folder or zip of many files from one that is a log, a map or task data itself."""
    if path.is_dir():
        if path.suffix.lower() == ".gdb":
            return False
        return not is_taskdata(path) or any(map(_is_other, _files_below(path)))
    kinds = _kinds_in(path)
    several = sum(kind in _MAPS | _LOGS for kind in kinds)
    return several > 1 or _several_texts(kinds) or bool({".toml", ".zip"} & set(kinds))


def holds_several_logs(path: Path) -> bool:
    """Tell a folder, or a zip in which there may be more logs than one, from a log with a map."""
    kinds = _kinds_in(path)
    return path.is_dir() or sum(kind in _LOGS for kind in kinds) > 1 or _several_texts(kinds)


def _kinds_in(path: Path) -> list[str]:
    """Suffixes of the files in a zip; none of task data, or of what is no zip."""
    if path.suffix.lower() != ".zip" or not path.is_file() or is_taskdata(path):
        return []
    try:
        with open_archive(path, path.name) as archive:
            members = [m for m in archive.infolist() if not (m.is_dir() or is_hidden(m.filename))]
    except InputError:
        return []  # its reader will say what is wrong
    return [PurePosixPath(member.filename).suffix.lower() for member in members]


def _several_texts(kinds: list[str]) -> bool:
    """Texts may be logs too, but beside a log or a map they are more often about it."""
    return sum(kind in PROSE for kind in kinds) > 1 and not _MAPS.union(_LOGS).intersection(kinds)


def _files_below(folder: Path) -> Iterator[Path]:
    for home, folders, names in shown_below(folder):
        if read_account(home, SUMMARY) is not None:
            folders[:] = []
            continue
        yield from (home / name for name in names)


def _is_other(file: Path) -> bool:
    """Whether a file beside task data is something else that an audit could use."""
    suffix = file.suffix.lower()
    return suffix in _MAPS | _LOGS and (suffix != ".zip" or not is_taskdata(file))
